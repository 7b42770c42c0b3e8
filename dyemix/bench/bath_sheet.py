"""The bath sheet: from a recipe to what to measure, in the order in which it is done.

The sums are common practice (`dataset.recipe`, `method`); the figures are the dyer's (`settings`),
the words stand in `templates/sheets/bath.txt`.
"""

from collections.abc import Iterable, Mapping
from dataclasses import field, replace
from datetime import date
from math import ceil
from typing import Any, ClassVar

import numpy as np

from dyemix.bench.method import Auxiliary, Cost, Fibre, Method, dyed_as, held, salt_and_soda
from dyemix.bench.settings import BathSettings
from dyemix.bench.sheet import Sheet, written
from dyemix.bench.stock import Bottles, Dose, Stock
from dyemix.colour.ciede2000 import delta_e
from dyemix.dataset.conditions import mottled, same
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.target import Target
from dyemix.errors import DyemixError, refuse, said
from dyemix.matching.matches import Pot
from dyemix.model.dyes import DyeSet

#: Depth at which dyes are ranked by lightness, % owf.
_RANKING_DEPTH = 1.0


class BathSheet(Sheet):
    """One bath. `str()` is the text for the bench, `to_html()` a page, `to_json()` the figures.

    Attributes
    ----------
    job, cloth, target, expect : the caller's words, printed as they are.
    on : the date of the sheet.
    cloth_g : dry weight, g, of all `pieces`.
    recipe : % owf.
    method : how it is dyed; `as_swatches` is what of it was taken from the swatches, in words.
    total_ml : the liquor in all.
    cloth_holds_ml : what the wetted (or presoaked) cloth already holds.
    doses : palest dye first where `palest_first`; else as written.
    salt, soda, water_ml : the rest of the bath; water is what makes it up to `total_ml`.
    syringe_miss, spoon_miss : what rounding does to the colour on paper, ΔE2000; None without
        fitted dyes.
    warnings : what to see to first.
    settings : the figures it rests on.
    fibre : what the cloth is made of, as far as it was said.
    second_bath : whether it goes over a finished piece.
    """

    template: ClassVar[str] = "bath"

    job: str
    on: date
    cloth: str
    cloth_g: float
    pieces: int
    target: str
    expect: str
    recipe: Recipe
    method: Method
    as_swatches: tuple[str, ...]
    wetted: bool
    total_ml: float
    cloth_holds_ml: float
    doses: tuple[Dose, ...]
    palest_first: bool
    salt: Auxiliary
    soda: Auxiliary
    water_ml: float
    cost: Cost | None
    syringe_miss: float | None
    spoon_miss: float | None
    warnings: tuple[str, ...]
    settings: BathSettings
    fibre: Fibre = field(default_factory=Fibre)
    demo: bool = False
    second_bath: bool = False

    @property
    def fibre_named(self) -> str:
        """The cloth in words, with its fibres where they were said apart."""
        of = self.fibre.words
        apart = self.cloth and of not in ("", self.cloth)
        return f"{self.cloth} ({of})" if apart else self.cloth or of

    @property
    def low_water(self) -> bool:
        """Whether there is too little water to stir."""
        return self.settings.is_low_water(self.method.liquor_ratio)

    @property
    def poured_ml(self) -> float:
        """Dye liquor poured on: every stock, the salt solution and the water, mL."""
        return sum(dose.ml for dose in self.doses) + self.salt.into_bath_ml + self.water_ml


def bath_sheet(
    recipe: Mapping[str, float] | str, cloth_g: float, *,
    stocks: Iterable[Stock] | float | None = None, wetted: bool = True,
    settings: BathSettings | None = None, dyes: DyeSet | None = None, job: str = "",
    cloth: str = "", fibre: str | None = None, target: Target | str | None = None,
    expect: str | None = None, pieces: int = 1, on: date | None = None, allow_demo: bool = False,
    second_bath: bool = False, **how: float | str | None,
) -> BathSheet:  # fmt: skip
    """Work out one bath.

    What is left out is taken from the conditions that the swatches of `dyes` were dyed under,
    and where they do not say from `settings`; a departure from the swatches is a warning. Figures
    may be words, as a swatch table has them: ``1:20``, ``overnight``, ``Glauber 50 g/L``.

    Parameters
    ----------
    recipe : in % owf; also in mL or spoons of the `stocks` given, or in g of powder.
    cloth_g : dry weight of the cloth, g.
    stocks : the bottles, or one strength for every dye (% w/v); the settings' if left out.
    wetted : whether the cloth goes in wet and wrung.
    fibre : what the cloth is made of, as ``cotton 65 %, polyester 35 %``; what the conditions of
        the swatches say, or the words of the cloth, if left out. % owf counts on the part that
        takes dye.
    dyes : the fitted dyes the recipe came from, which know how the swatches were dyed.
    job, cloth, target, expect : printed on the sheet; for a `Target` and fitted dyes, what to
        expect is worked out.
    pieces : how many pieces the cloth is, for the cost of one.
    on : date of the sheet; today if left out.
    second_bath : whether it goes over a finished piece, which the `dyes` are laid over.
    how : what is asked of the `Method`, as ``liquor_ratio=5``: ``liquor_ratio``, mL of total liquor
        per g of dry cloth; ``alkali``, ``presoak``, ``with`` the dye or ``after`` it; ``salt`` and
        ``soda`` ash, g/L of the total liquor, soda of a presoak and as ``"50 g/L solution"`` of
        its solution, as is ``soda_solution``; ``temperature`` °C and ``hours`` of fixing.

    Raises
    ------
    DyemixError
        For a demo dye set without `allow_demo`, amounts out of range, liquids that do not fit into
        the total liquor, and fibres that soda harms or that take no dye. `RecipeError` for a
        dye without stock or swatches.

    >>> sheet = bath_sheet("rust 1.5", cloth_g=120)
    >>> sheet.recipe
    Recipe({'rust': 1.5})
    """
    settings = settings or BathSettings()
    refuse(not 0 < cloth_g <= 1_000_000, "bench.cloth", cloth_g)
    refuse(pieces < 1, f"{pieces} pieces is out of range: 1 or more.")
    refuse(not isinstance(on or date.min, date), "bench.date", on)
    refuse(dyes is not None and dyes.demo and not allow_demo, "bench.demo")
    conditions = (dyes.conditions if dyes else None) or {}
    cloth_then = conditions.get("cloth", "")
    made_of = Fibre.told(conditions, cloth, fibre or "")
    bottles = Bottles.of(stocks, settings, made_of.dyed)
    recipe = Recipe.parse(recipe, bottles.measures(cloth_g))
    was, unread = dyed_as(conditions, settings)
    asked = {name: value for name, value in how.items() if value is not None}
    if "solution" in str(asked.get("soda")):
        asked["soda_solution"] = asked.pop("soda")
    method = Method.of(asked, was, recipe, wetted, settings)
    total = cloth_g * method.liquor_ratio
    holds = cloth_g * held(wetted, method.alkali, settings)
    salt, soda = salt_and_soda(method, cloth_g, holds, recipe.total, settings)
    ranked: Mapping[str, float] = recipe
    if dyes is not None:  # palest first: by the lightness of each dye alone
        lightness = dyes.colours(_RANKING_DEPTH * np.eye(len(dyes)))[:, 0]
        order = sorted(recipe, key=lambda dye: lightness[dyes.index(dye)], reverse=True)
        ranked = {dye: recipe[dye] for dye in order}
    doses = bottles.doses(ranked, cloth_g)
    stocks_ml, solutions_ml = sum(dose.ml for dose in doses), salt.into_bath_ml + soda.into_bath_ml
    water = total - stocks_ml - solutions_ml - holds
    room, cure = total - solutions_ml - holds, "more liquor (a higher ratio)"
    # A weaker stock mixed on the day takes up more room than one that is made so weak.
    undiluted = sum(d.ml if d.dilution == 1 else settings.smallest_dose for d in doses)
    if soda.into_bath_ml and (soda.solution_g_l or 0.0) < settings.soda_solution_usual[0]:
        cure = f"a soda solution stronger than {soda.solution_g_l:g} g/L, or {cure}"
    elif room > 0 and all(dose.dilution == 1 for dose in doses):
        cure = f"stocks {ceil(10 * stocks_ml / room) / 10:g} times as strong, or {cure}"
    elif undiluted <= room:
        cure = f"a weaker stock, that needs no dilution, or {cure}"
    parts = (recipe, cloth_g, stocks_ml, solutions_ml, holds, total - water, total, cure)
    refuse(water < -1e-6 * total, "bench.holds", *parts)
    aim = "" if target is None else str(target)
    if isinstance(target, Target):
        aim += " from a screen: a direction, not a standard" if target.kind == "hex" else ""
        if dyes is not None and expect is None:
            expect = _expected(dyes, recipe, target, settings.is_low_water(method.liquor_ratio))
    syringe = spoons = None
    if dyes is not None:
        by_syringe = {d.dye: d.owf / d.exact_ml * d.ml for d in doses}
        by_spoons = {d.dye: d.owf / d.exact_ml * d.spoons.ml for d in doses}
        exact, *near = dyes.colours([dyes.amounts(r) for r in (recipe, by_syringe, by_spoons)])
        syringe, spoons = (float(delta_e(exact, colour)) for colour in near)
    sheet = BathSheet(
        job=job, on=on or date.today(), cloth=cloth or cloth_then, cloth_g=float(cloth_g),
        pieces=pieces, target=aim, recipe=recipe, method=method,
        as_swatches=tuple(
            name.replace("_", " ") for name, then in was.items()
            if name not in asked and getattr(method, name) == then
        ),
        expect=expect or "", wetted=wetted, total_ml=total, cloth_holds_ml=holds, doses=doses,
        palest_first=dyes is not None or len(recipe) < 2, salt=salt, soda=soda,
        water_ml=max(water, 0.0), cost=Cost.of(doses, salt, soda, settings), syringe_miss=syringe,
        spoon_miss=spoons, warnings=() if dyes is None else dyes.predict(recipe).warnings,
        settings=settings, fibre=made_of, demo=dyes is not None and dyes.demo,
        second_bath=second_bath,
    )  # fmt: skip
    _, (notes,) = written(
        "warnings", settings, sheet=sheet, was=was, unread=unread,
        departures=method.departures(was),
        other_cloth="" if not cloth or same("cloth", cloth, cloth_then) else cloth_then,
    )  # fmt: skip
    texts = (*(text for (text,) in notes.rows), *settings.may_split(recipe))
    return replace(sheet, warnings=(*sheet.warnings, *texts))


def undyeable(recipe: Recipe, dyes: DyeSet, **how: Any) -> str:
    """Why no bath as `bath_sheet` works it out takes a recipe of `dyes`, demo or not; "" of one
    that is taken.
    """
    try:
        bath_sheet(recipe, dyes=dyes, allow_demo=True, **how)
    except DyemixError as error:
        return str(error)
    return ""


def dyeable(recipe: Recipe, dyes: DyeSet, **how: Any) -> bool:
    """Whether a bath as `bath_sheet` works it out takes a recipe of `dyes`, demo or not."""
    return not undyeable(recipe, dyes, **how)


def _expected(dyes: DyeSet, recipe: Recipe, target: Target, low_water: bool) -> str:
    """ΔE2000 from the target on paper and in the pot, under its light or the swatches'."""
    if low_water and not mottled(dyes.conditions):
        dyes = replace(dyes, scatter=dyes.scatter.mottled())
    light = target.light or dyes.light
    pot = Pot.of(dyes.predict(recipe, light), target)
    return said("bench.expect", pot.residual, pot.likely, pot.bound, light)
