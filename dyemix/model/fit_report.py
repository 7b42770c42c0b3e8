"""What a fit says about itself: how well it predicts swatches it has not seen."""

from __future__ import annotations

from dataclasses import dataclass

from dyemix.dataset.swatches import DEMO_WARNING


@dataclass(frozen=True)
class DyeReport:
    """One dye's ladder. Differences are ΔE2000 under the light of the report.

    `inner` are the left-out predictions between the palest and the deepest swatch, `ends` those
    of the two end depths, which test extrapolation. `lab_alone` says that its curve comes from
    CIELAB readings.
    """

    name: str
    depths: tuple[float, ...]
    law: str
    inner: tuple[float, ...]
    ends: tuple[float, ...]
    odd: tuple[str, ...]
    advice: str
    lab_alone: bool = False

    @property
    def mean(self) -> float | None:
        """Mean left-out ΔE2000 of the inner depths; None where there are none."""
        return sum(self.inner) / len(self.inner) if self.inner else None


@dataclass(frozen=True)
class MixtureCheck:
    """A mixture predicted by a fit that has not seen it."""

    label: str
    delta_e: float


@dataclass(frozen=True)
class FitReport:
    """The report of a fit, its verdict first.

    Attributes
    ----------
    light : the light of every ΔE2000 here, as ``D65/10°``.
    surface, surface_note : the surface term, and how it was chosen.
    dyes : one `DyeReport` a dye.
    own_mixtures : mixtures of the table itself, none of which the fit has seen.
    set_aside : mixtures given only to check the fit.
    expected : likely miss in the pot of a pair of these dyes at middle depths, mean over the
        pairs; None for one dye.
    method : the conditions shared by the swatches, or that none were recorded.
    """

    light: str
    surface: str
    surface_note: str
    dyes: tuple[DyeReport, ...]
    own_mixtures: tuple[MixtureCheck, ...] = ()
    set_aside: tuple[MixtureCheck, ...] = ()
    method: str = ""
    notes: tuple[str, ...] = ()
    expected: float | None = None
    rough: bool = False
    demo: bool = False

    @property
    def checks(self) -> tuple[MixtureCheck, ...]:
        return self.own_mixtures + self.set_aside

    @property
    def left_out(self) -> float | None:
        """Mean ΔE2000 over every inner depth left out, all dyes together."""
        inner = [x for dye in self.dyes for x in dye.inner]
        return sum(inner) / len(inner) if inner else None

    @property
    def verdict(self) -> str:
        """What these swatches are good for, in one sentence."""
        if not self.dyes:
            return "Nothing yet: no dye has a swatch that was read."
        if self.checks:
            mean = sum(c.delta_e for c in self.checks) / len(self.checks)
            worst = max(c.delta_e for c in self.checks)
            if len(self.checks) == 1:
                return (
                    f"On your own one mix the miss is {mean:.1f} (ΔE2000, {self.light}): one is "
                    "little to go by."
                )
            return (
                f"On your own {len(self.checks)} mixes the average miss is {mean:.1f}, the worst "
                f"{worst:.1f} (ΔE2000, {self.light})."
            )
        names = ", ".join(d.name for d in self.dyes)
        if len(self.dyes) == 1:
            return f"Depths of {names}, no mixes yet."
        if self.left_out is None:
            return (
                f"A first idea of {names}, no mixes yet: good for choosing which square to dye "
                "next, not for a customer's cloth."
            )
        if self.expected is None:
            return f"{names}, no mixes yet."
        return (
            "Good for choosing dyes and dyeing a test square, not yet for a customer's cloth: "
            f"expect a miss of about {max(self.expected, 0.5):.1f} (ΔE2000, {self.light}; no mixes "
            "yet)."
        )

    def __str__(self) -> str:
        lines = [DEMO_WARNING] if self.demo else []
        lines += [self.verdict, f"Method: {self.method}", f"Surface: {self.surface_note}"]
        width = max([len(d.name) for d in self.dyes], default=3)
        lines.append("")
        lines.append(
            f"{'dye':<{width}}  depths  range % owf   law         left-out miss  ends   "
            "(ΔE2000, mean / worst)"
        )
        for dye in self.dyes:
            span = f"{min(dye.depths):g}–{max(dye.depths):g}"
            inner = f"{dye.mean:.1f} / {max(dye.inner):.1f}" if dye.mean is not None else "–"
            ends = " and ".join(f"{x:.1f}" for x in dye.ends) or "–"
            lines.append(
                f"{dye.name:<{width}}  {len(dye.depths):>6}  {span:<12}  {dye.law:<10}  "
                f"{inner:<13}  {ends}"
            )
            if dye.lab_alone:
                lines.append(f"{'':<{width}}  from L*a*b* alone")
            lines += [f"{'':<{width}}  odd: {text}" for text in dye.odd]
            if dye.advice:
                lines.append(f"{'':<{width}}  next: {dye.advice}")
        for title, checks in (
            ("Mixes in the table, none used in the fit", self.own_mixtures),
            ("Mixes set aside", self.set_aside),
        ):
            if checks:
                mean = sum(c.delta_e for c in checks) / len(checks)
                worst = max(checks, key=lambda c: c.delta_e)
                lines += [
                    "",
                    f"{title}: {len(checks)}, average miss {mean:.2f}, worst {worst.delta_e:.1f} "
                    f"({worst.label}).",
                ]
        return "\n".join([*lines, *(["", *self.notes] if self.notes else [])])
