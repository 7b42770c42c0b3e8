"""Several baths at once: a day of jobs, or the first swatches and the table to fill in for them."""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from datetime import date
from functools import partial
from itertools import product
from math import ceil
from typing import Any, ClassVar, Self

from dyemix.bench.bath_sheet import BathSheet, bath_sheet
from dyemix.bench.method import dyed_as, method_in_words, stated
from dyemix.bench.settings import ORDERS, BathSettings, Making
from dyemix.bench.sheet import Sheet
from dyemix.bench.stock import Dose, Stock, read_each
from dyemix.dataset.recipe import Recipe, dye_names, is_name
from dyemix.dataset.result import Value
from dyemix.dataset.swatches import CHECK, Reading, SwatchSet
from dyemix.dataset.target import Target
from dyemix.dataset.units import FOR_WEAK
from dyemix.errors import DyemixError, Fault, InputError, RecipeError, TargetError, refuse
from dyemix.files.rows import weight
from dyemix.files.small_tables import Column, number
from dyemix.model.dyes import DyeSet
from dyemix.writing import Named

#: How many dyes the mix that checks the first fit is of, at most.
_MIXED = 3


class Job(Value):
    """One bath to plan; the fields are those of `bath_sheet`. `file` and `row` say its place."""

    job: str
    recipe: str
    cloth_g: float
    cloth: str = ""
    pieces: int = 1
    target: Target | str = ""
    liquor_ratio: float | None = None
    alkali: str | None = None
    row: int | None = None
    file: str | None = None


def _whole(text: str) -> int:
    refuse(not text.isdecimal() or int(text) < 1, f"{text!r} is not a whole number of 1 or more.")
    return int(text)


def _aim(text: str) -> Target | str:
    """A colour that is wanted, or other words of the caller's."""
    with suppress(TargetError):
        return Target.parse(text)
    return text


_RECIPE = Column("recipe", needed=True)
_COLUMNS = (
    Column("job", needed=True), _RECIPE, Column("cloth_g", weight, needed=True), Column("cloth"),
    Column("pieces", _whole), Column("target", _aim),
    Column("liquor ratio", partial(stated, "liquor_ratio")), Column("alkali"),
)  # fmt: skip


def read_jobs(path: Named) -> tuple[Job, ...]:
    """Jobs, one a row.

    Columns ``job``, ``recipe``, ``cloth_g`` (or with a unit, as ``8.5 oz``), and if wanted
    ``cloth``, ``pieces``, ``target``, ``liquor ratio``, ``alkali``.

    Raises `InputError` with every fault of the file.
    """
    return read_each(path, _COLUMNS, lambda place, values: Job(**values, **place))


def read_recipes(path: Named, cloth_g: float) -> tuple[Job, ...]:
    """A job for each target of the recipes that ``match --targets`` wrote, on so much cloth.

    Its best recipe is the first. Raises `InputError` with every fault of the file.
    """

    def job(place: dict[str, Any], values: dict[str, Any]) -> Job:
        named = {"job": values.pop("target"), "target": values.pop("wanted", "")}
        return Job(**named, cloth_g=cloth_g, **values, **place)

    columns = (Column("target", needed=True), _RECIPE, Column("wanted", _aim))
    every = read_each(path, columns, job, others=True)
    return tuple({job.job: job for job in reversed(every)}.values())[::-1]


class Need(Value):
    """A stock, or a solution of salt or soda, for all baths of a day.

    Attributes
    ----------
    of : the dye; ``salt`` or ``soda``.
    need_ml : in all baths, mL, dilutions included, each made once for all of them.
    left_ml : left over from a bottle within its life; 0 where that is not noted.
    how : to make up what lacks, with the spare; None where enough is left.
    stock : the bottle that was meant; None for salt and soda.
    """

    of: str
    need_ml: float
    left_ml: float
    how: Making | None
    stock: Stock | None = None


class BenchPlan(Sheet):
    """Baths of one day, in order, and what to make for all of them. `str()` is the plan."""

    template: ClassVar[str] = "plan"

    on: date
    sheets: tuple[BathSheet, ...]
    stocks: tuple[Need, ...]
    solutions: tuple[Need, ...]
    settings: BathSettings
    demo: bool

    @classmethod
    def of(cls, sheets: Sequence[BathSheet]) -> Self:
        """The day of these baths, all of one date and of the same settings."""
        on, settings = sheets[0].on, sheets[0].settings
        stocks = tuple(_stock_needs(sheets, on, settings))
        solutions = tuple(_solutions(sheets, settings))
        return cls(on, tuple(sheets), stocks, solutions, settings, any(s.demo for s in sheets))

    @property
    def warnings(self) -> tuple[str, ...]:
        """Every warning of every bath once, with the jobs it is about unless it is all of them."""
        jobs: dict[str, list[str]] = {}
        for sheet in self.sheets:
            mixed = self.settings.may_split(sheet.recipe)  # said once of all of them
            for warning in (w for w in sheet.warnings if w not in mixed):
                jobs.setdefault(warning, []).append(sheet.job)
        about = (
            warning if len(named) == len(self.sheets) else f"{', '.join(named)}: {warning}"
            for warning, named in jobs.items()
        )
        return (*about, *self.settings.may_split(dose.dye for dose in self.doses))

    @property
    def doses(self) -> tuple[Dose, ...]:
        """Every dose of every bath."""
        return tuple(dose for sheet in self.sheets for dose in sheet.doses)


def bench_plan(jobs: Sequence[Job], *, dyes: DyeSet | None = None, **how: Any) -> BenchPlan:
    """Plan several baths together; `how` is what `bath_sheet` takes, for all of them.

    Cups go from the palest to the deepest: by the lightness that `dyes` predict, or else by
    depth. Raises `InputError` with what is wrong with every job, `DyemixError` for none at all.

    >>> from dyemix.bench.plan import Job
    >>> len(bench_plan([Job("napkins", "rust 1.5", 120.0), Job("runner", "navy 2", 300.0)]).sheets)
    2
    """
    refuse(not jobs, "there are no jobs to plan: give at least one.")
    sheets, faults = [], []
    for job in jobs:
        asked = {name: value for name, value in vars(job).items() if name not in ("row", "file")}
        try:
            sheets.append(bath_sheet(**asked, dyes=dyes, **how))
        except DyemixError as error:
            faults.append(Fault(f"job {job.job}: {error}", job.file, job.row))
    if faults:
        raise InputError(faults)
    depth = [s.recipe.total if dyes is None else -dyes.predict(s.recipe).lab[0] for s in sheets]
    return BenchPlan.of([sheets[i] for i in sorted(range(len(sheets)), key=depth.__getitem__)])


def _stock_needs(sheets: Sequence[BathSheet], on: date, settings: BathSettings) -> Iterator[Need]:
    """Stock of each dye over all cups, most first.

    Of a dilution 10 mL of the stronger make 100, for all cups that take it.
    """
    doses, needed = [dose for sheet in sheets for dose in sheet.doses], {}
    for stock in dict.fromkeys(dose.stock for dose in doses):
        ml = 0.0
        for times in (1000, 100, 10, 1):
            own = sum(d.ml for d in doses if d.dilution == times and d.stock == stock)
            ml = own + FOR_WEAK * ceil(ml / (10 * FOR_WEAK))
        needed[stock] = ml
    for stock, ml in sorted(needed.items(), key=lambda item: -item[1]):
        left = 0.0 if stock.past_life(on, settings) else stock.left_ml or 0.0
        wanted = ml * (1.0 + settings.stock_spare / 100.0) - left
        wanted = ceil(wanted / settings.stock_batch) * settings.stock_batch
        strongest = settings.strongest(stock.dye)
        how = settings.making(stock.strength_pct, wanted, strongest) if left < ml else None
        yield Need(stock.dye, ml, left, how, stock)


def _solutions(sheets: Sequence[BathSheet], settings: BathSettings) -> Iterator[Need]:
    """The solutions of salt and soda for baths whose grams are too few to weigh."""
    for name, pct in (("salt", settings.small_salt_stock), ("soda", settings.small_soda_stock)):
        if ml := sum(getattr(sheet, name).stock_ml or 0.0 for sheet in sheets):
            spare = 1.0 + settings.stock_spare / 100.0
            yield Need(name, ml, 0.0, settings.making(pct, spare * ml))


# The first swatches -------------------------------------------------------------------------------


class SwatchPlan(BenchPlan):
    """The swatches of a first weekend. `str()` is the sheet for the bench.

    Each of `sheets` is a bath of its own, its job the label of the swatch.
    """

    template: ClassVar[str] = "first_swatches"

    def table(self) -> SwatchSet:
        """The swatch table with every reading blank."""
        bath, method = self.sheets[0], self.sheets[0].method
        conditions = {
            "cloth": bath.fibre_named,
            "alkali": ORDERS[method.alkali],
            "liquor ratio": f"{method.liquor_ratio:g}:1",
            "temperature": f"{method.temperature:g} °C",
            "hours": f"{method.hours:g}",
            **dict.fromkeys(("salt", "soda", "date", "light"), ""),
            "stock_pct": f"{self.settings.stock_strength:g}",
            "cloth_g": f"{bath.cloth_g:g}",
            "spoons": self.settings.spoons,
        }
        made = ((swatch.recipe, None, swatch.job, "blank") for swatch in self.sheets)
        return SwatchSet(tuple(Reading(*each, conditions=conditions) for each in made))


def first_swatches(
    dyes: Sequence[str] | str, cloth: str, stock_pct: float | None = None,
    swatch_g: float | None = None, *, settings: BathSettings | None = None, on: date | None = None,
    **how: Any,
) -> SwatchPlan:  # fmt: skip
    """Plan the first swatches: undyed, the settings' depths of each dye, a repeat, a mix as check.

    Each is a bath, worked out as `bath_sheet` works out any other.

    Parameters
    ----------
    dyes : names of the stock dyes, or one text with commas between them. The mix is of the first
        three.
    cloth : what it is dyed on, in words; after a comma also when the alkali goes in and the liquor
        ratio, as a method may be called: ``linen, alkali with, 5:1``.
    stock_pct : strength of every stock, % w/v (g per 100 mL); the settings' where left out.
    swatch_g : dry weight of one swatch, grams, above 0; 5 g where left out, 10 g in low water.
    on : date of the sheet; today if left out.
    how : how all of them are dyed, as `bath_sheet` takes it; the settings' way where left out.

    Raises
    ------
    RecipeError
        For no dye, one named twice, a name that a recipe cannot hold, no cloth.
    DyemixError
        For an amount out of range.

    >>> plan = first_swatches("rust, navy", "linen")
    >>> "undyed" in str(plan)
    True
    """
    names = [name for name in dye_names(dyes) if name]
    refuse(not names, "bench.no_dyes", error=RecipeError)
    for i, name in enumerate(names):
        refuse(not is_name(name), "bench.no_name", name, error=RecipeError)
        refuse(name in names[:i], "bench.named_twice", name, error=RecipeError)
    cloth, called = method_in_words(cloth)
    refuse(not cloth, "bench.no_cloth", error=RecipeError)
    for name, value in called.items():
        other = stated(name, how.setdefault(name, value)) != value
        refuse(other, "bench.called", name.replace("_", " "), how[name], value)
    settings = _with(settings, stock_strength=stock_pct)
    ratio = stated("liquor_ratio", how.get("liquor_ratio") or settings.liquor_ratio)
    swatch_g = settings.square_g(ratio) if swatch_g is None else swatch_g
    depths = settings.first_depths
    dyed = [Recipe(), *(Recipe({name: depth}) for name, depth in product(names, depths))]
    planned = {str(place): recipe for place, recipe in enumerate(dyed, start=1)}
    planned["repeat"] = Recipe({names[0]: depths[(len(depths) - 1) // 2]})
    planned[CHECK] = Recipe(dict.fromkeys(names[:_MIXED], float(settings.first_mix)))
    return _planned(planned, swatch_g, settings, on, cloth=cloth, **how)


def planned_again(
    swatches: SwatchSet, settings: BathSettings | None = None, on: date | None = None
) -> SwatchPlan:
    """The plan that a table of first swatches was written by, from what it says of them.

    Raises `RecipeError` for a table that does not say what its swatches weigh.
    """
    told = {**swatches.readings[0].conditions, **swatches.conditions()}
    refuse(not told.get("cloth_g"), "bench.no_weight", error=RecipeError)
    strength = number(told["stock_pct"]) if told.get("stock_pct") else None
    settings = _with(settings, stock_strength=strength, spoons=told.get("spoons"))
    known, _ = dyed_as(told, settings)
    planned = {r.swatch: r.recipe for r in swatches.readings if r.recipe is not None}
    cloth, cloth_g = told.get("cloth", ""), weight(told["cloth_g"])
    return _planned(planned, cloth_g, settings, on, cloth=cloth, **known)


def _planned(
    planned: Mapping[str, Recipe], swatch_g: float, settings: BathSettings, on: date | None,
    **how: Any,
) -> SwatchPlan:  # fmt: skip
    """A bath for each recipe, by its label."""
    # One time for all, that of the slowest: swatches dyed for other times are of another method.
    _, times = settings.slowest({dye for recipe in planned.values() for dye in recipe})
    hours = settings.usual_hours(settings.temperature) * times
    how = {"hours": hours, **how, "settings": settings, "on": on}
    return SwatchPlan.of([bath_sheet(planned[job], swatch_g, job=job, **how) for job in planned])


def _with(settings: BathSettings | None, **changes: Any) -> BathSettings:
    """The settings, with what was said otherwise."""
    named = {name: value for name, value in changes.items() if value not in (None, "")}
    return replace(settings or BathSettings(), **named)
