"""What a fit says about itself: how well it predicts what it has not seen."""

from collections.abc import Iterable, Sequence

import numpy as np

from dyemix.arrays import LAB, Array
from dyemix.colour.ciede2000 import delta_e
from dyemix.dataset.result import Result, Row, Several, Value
from dyemix.errors import said

#: Fewer own mixes than this do not tell whether promises are kept.
FEWEST_TO_TELL = 5
#: Words of the warnings that are said at first sight: they change what is dyed or typed.
_URGENT = ("A slip?", "left out", "censored")
#: Ladders whose depths, left out, miss by more than this (ΔE2000, root mean square) in what no
#: other strength would mend, beyond what is open of them, are not those of dyes on cloth.
NOT_DYE = 1.2


class DyeReport(Value):
    """One dye's ladder. Differences are ΔE2000 under the light of the report.

    `inner` are the left-out predictions between the palest and the deepest swatch, `ends` those
    of the two end depths, which test extrapolation: each by a fit without that depth, law
    included. `lab_alone` says that its curve comes from CIELAB readings. `left_out` is the CIELAB
    predicted for each of the `depths` by the fit without it. `next` tells which square to dye
    next, and `next_depth` (% owf) its depth, where one is wanted.
    """

    name: str
    depths: tuple[float, ...]
    law: str
    warnings: tuple[str, ...]
    next: str
    lab_alone: bool = False
    inner: tuple[float, ...] = ()
    ends: tuple[float, ...] = ()
    left_out: tuple[tuple[float, float, float], ...] = ()
    next_depth: float | None = None

    @property
    def mean(self) -> float | None:
        """Mean left-out ΔE2000 of the inner depths; None where there are none."""
        return sum(self.inner) / len(self.inner) if self.inner else None


class MixtureCheck(Value):
    """A mixture as a fit that has not seen it predicts it.

    `measured` and `predicted` are CIELAB; `delta_e` is found between them; `likely`, `median` and
    `bound` (nine pots in ten) were promised.
    """

    label: str
    measured: tuple[float, float, float]
    predicted: tuple[float, float, float]
    delta_e: float
    likely: float
    median: float
    bound: float

    @property
    def kept(self) -> bool:
        """Whether it came within what was promised for nine pots in ten."""
        return self.delta_e <= self.bound


def mixture_checks(
    labels: Sequence[str], measured: Array, predicted: Array, *promised: Array
) -> tuple[MixtureCheck, ...]:
    """Mixes by labels, CIELAB ``(N, 3)`` and what was promised ``(N,)``, in the class's order."""
    figures = np.transpose([delta_e(measured, predicted), *promised])
    rows = zip(labels, measured.tolist(), predicted.tolist(), figures, strict=True)
    return tuple(MixtureCheck(s, tuple(m), tuple(p), *map(float, f)) for s, m, p, f in rows)


def promises_kept(checks: tuple[MixtureCheck, ...]) -> str:
    """How many mixes came within what was promised, or that they are too few to tell."""
    few = "fit.one_mix" if len(checks) == 1 else "fit.few_mixes"
    return said(few if len(checks) < FEWEST_TO_TELL else "fit.promises_kept", **_in_all(checks))


def _in_all(checks: tuple[MixtureCheck, ...]) -> dict[str, object]:
    """How many mixes, how many within their promise, their mean ΔE2000 and the worst."""
    off = [check.delta_e for check in checks]
    worst, kept = checks[off.index(max(off))], sum(check.kept for check in checks)
    return {"count": len(off), "kept": kept, "mean": sum(off) / len(off), "worst": worst}


class Evaluation(Several[MixtureCheck]):
    """Swatches as they were read and as dyes predict them, and what was promised of each.

    `checks` holds them one by one, their CIELAB under `light`.
    """

    HELD = "checks"
    checks: tuple[MixtureCheck, ...]
    light: str
    demo: bool = False

    @property
    def delta_e(self) -> Array:
        """ΔE2000 ``(N,)`` of measured from predicted."""
        return np.array([check.delta_e for check in self.checks])

    def _rows(self) -> Iterable[Row]:
        axes = [f"{word} {axis}" for word in ("measured", "predicted") for axis in LAB]
        for check in self.checks:
            labs = dict(zip(axes, (*check.measured, *check.predicted), strict=True))
            figures = ("delta_e", "likely", "median", "bound", "kept")
            told = {name: getattr(check, name) for name in figures}
            yield {"swatch": check.label, **labs, "light": self.light, **told}

    def _lines(self) -> Iterable[str]:
        return [f"{promises_kept(self.checks)} (ΔE2000, {self.light})."]


class FitReport(Result):
    """The report of a fit, its verdict first.

    Attributes
    ----------
    light : the light of every ΔE2000 here, as ``D65/10°``.
    surface : the surface term.
    dyes : one `DyeReport` a dye.
    own_mixtures : mixtures of the table itself, each predicted from the others.
    set_aside : mixtures given only to check the fit.
    expected : likely miss in the pot of a pair of these dyes at middle depths, mean over the
        pairs; None for one dye.
    between : what that may be, from the tenth to the ninth part in ten of what is open about it.
    misfit : ΔE2000 (root mean square) by which inner depths left out of their ladders miss in what
        no other strength would mend, beyond what is open of them; None without any.
    next_swatches : which swatches to dye next and what they would buy, in one line.
    method : the conditions shared by the swatches, or that none were recorded.
    """

    light: str
    surface: str
    dyes: tuple[DyeReport, ...]
    own_mixtures: tuple[MixtureCheck, ...] = ()
    set_aside: tuple[MixtureCheck, ...] = ()
    expected: float | None = None
    between: tuple[float, float] = (0.0, 0.0)
    misfit: float | None = None
    next_swatches: str = ""
    method: str = ""
    warnings: tuple[str, ...] = ()
    demo: bool = False

    @property
    def checks(self) -> tuple[MixtureCheck, ...]:
        return self.own_mixtures + self.set_aside

    @property
    def verdict(self) -> str:
        """What these swatches are good for, in a sentence or two."""
        if not self.dyes:
            return said("fit.nothing")
        expect = said("fit.anything")
        if self.expected is not None:
            low, high = map("{:.1f}".format, self.between)
            between = "" if low == high else said("fit.between", low, high)
            expect = said("fit.expect", miss=self.expected, light=self.light, between=between)
        if self.misfit is not None and self.misfit > NOT_DYE:
            return said("fit.not_dye", misfit=self.misfit, expect=expect)
        if len(self.dyes) == 1:
            return said("fit.one_dye", names=self.dyes[0].name)
        if self.checks:
            which = "fit.own_mixes" if self.own_mixtures else "fit.mixes_aside"
            return said(which, kept=promises_kept(self.checks), expect=expect)
        use = said("fit.for_trying" if any(d.inner for d in self.dyes) else "fit.first_idea")
        return said("fit.no_mix", expect=expect, use=use)

    def _rows(self) -> Iterable[Row]:
        """One row a dye: depths, how far left-out ones were off, what is odd, what is next."""
        for dye in self.dyes:
            yield {
                "dye": dye.name, "depths": len(dye.depths), "palest": min(dye.depths),
                "deepest": max(dye.depths), "law": dye.law, "delta_e": dye.mean,
                "worst": max(dye.inner, default=None), "warnings": dye.warnings, "next": dye.next,
            }  # fmt: skip

    def _lines(self, detail: bool = False) -> Iterable[str]:
        """Which dyes are ready and which want what squares; `detail` adds figures and warnings."""
        yield from filter(None, [self.verdict, self.next_swatches])
        yield from self._in_full() if detail else self._in_short()

    def _in_short(self) -> Iterable[str]:
        """Dyes by what they want, those that want nothing first; and what is urgent."""
        wanting: dict[str, list[str]] = {"Ready": []}
        for d in self.dyes:
            wants = [*d.warnings, *([f"next, {d.next}"] if d.next else [])]
            words = "; ".join(want.rstrip(".") for want in wants)
            wanting.setdefault(words or "Ready", []).append(d.name)
        if ready := wanting.pop("Ready"):
            yield f"Ready: {', '.join(ready)}."
        yield from (f"{', '.join(names)}: {wants}" for wants, names in wanting.items())
        yield from (text for text in self.warnings if any(word in text for word in _URGENT))

    def _in_full(self) -> Iterable[str]:
        """Dye by dye, with figures; then the mixes, and all warnings."""
        width = max([len(d.name) for d in self.dyes], default=3)
        head = {"method": self.method, "surface": self.surface, "dye": f"{'dye':<{width}}"}
        yield said("fit.headings", **head)
        for dye in self.dyes:
            span = f"{min(dye.depths):g}–{max(dye.depths):g}"
            inner = f"{dye.mean:.1f} / {max(dye.inner):.1f}" if dye.mean is not None else "–"
            ends = " and ".join(f"{x:.1f}" for x in dye.ends) or "–"
            yield said("fit.row", dye, width, len(dye.depths), span, inner, ends)
            told = ["from L*a*b* alone"] if dye.lab_alone else []
            told += [f"odd: {text}" for text in dye.warnings]
            told += [f"next: {dye.next}"] if dye.next else []
            yield from (f"{'':<{width}}  {text}" for text in told)
        parts = ("fit.left_in_turn", self.own_mixtures), ("fit.set_aside", self.set_aside)
        for title, checks in parts:
            if checks:
                yield said("fit.mixes", title=said(title), **_in_all(checks))
        yield from ("", *self.warnings) if self.warnings else ()
