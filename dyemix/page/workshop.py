"""What the page asks of the library: each answer is worked out once for the same question."""

import threading
from collections.abc import Callable, Hashable, Iterable
from dataclasses import replace
from datetime import date
from functools import cached_property, wraps
from operator import attrgetter
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar, cast

import dyemix
from dyemix.arrays import Array
from dyemix.bench.bath_sheet import BathSheet
from dyemix.bench.method import dyed_share
from dyemix.bench.settings import BathSettings
from dyemix.bench.stock import Bottles, Stock, stated_stocks
from dyemix.cloth.levelness import Levelness, levelness
from dyemix.colour.appearance import Miss
from dyemix.colour.ciede2000 import delta_e
from dyemix.colour.colorimetry import D65_2, Light
from dyemix.dataset.conditions import parse_day
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.target import Target, Trial
from dyemix.dyebook.book import DyeBook
from dyemix.dyebook.past import dyed_for, led_to, promised
from dyemix.dyebook.records import JobRecord
from dyemix.errors import refuse
from dyemix.files.small_tables import typed_piece
from dyemix.gamut.reach import ShelfAround, around
from dyemix.matching.advice import suggest
from dyemix.matching.correct import Correction
from dyemix.matching.matches import Matches, Pot, verdict
from dyemix.model.dyes import DyeSet
from dyemix.page.slip import Slip
from dyemix.page.words import LADDER, counted, shows
from dyemix.plots.paper import on_screen, target_code
from dyemix.series.steps import Series

if TYPE_CHECKING:
    from dyemix.photo.decode import Photograph

T = TypeVar("T")
Asked = TypeVar("Asked", bound=Callable[..., Any])
#: Pots that are shown of a mix, and answers that are kept for when they are asked for again.
POTS, KEPT = 10, 512


class Mix(Pot):
    """A mix laid on the wanted cloth, the `target`: how it looks, and how far it may be off.

    `proven` is whether any mix of the shelf was read.
    """

    proven: bool

    @property
    def words(self) -> str:
        """What the likely miss is worth."""
        return LADDER[verdict(self.likely, self.proven)][0]

    @property
    def shows(self) -> str:
        """How it differs on paper, in words."""
        return shows(Miss.of(self.target.lab, self.prediction.lab).words)

    @property
    def beyond(self) -> bool:
        """Whether it is cleaner than a screen shows."""
        return not self.prediction.screen.inside

    @property
    def hex(self) -> str:
        """As it lies beside the wanted cloth under the lamp of the slip."""
        p = self.prediction  # what a piece has taught is in its CIELAB, not in its spectrum
        return on_screen(p, p.lab[None], lamp(p.light))[0]

    @cached_property
    def _pots(self) -> Array:
        """CIELAB ``(POTS, 3)`` of pots, nearest to the wanted cloth first."""
        return self.prediction.pots(self.target.lab, POTS)

    @cached_property
    def pots(self) -> list[tuple[str, str]]:
        """Codes of `POTS` pots, nearest first, and how each shows."""
        codes = on_screen(self.prediction, self._pots, lamp(self.prediction.light))
        words = (shows(Miss.of(self.target.lab, pot).words) for pot in self._pots)
        return list(zip(codes, words, strict=True))

    @property
    def counted(self) -> str:
        """What these pots are worth, counted."""
        return counted(delta_e(self.target.lab, self._pots))


def lamp(light: Light) -> Light:
    """The lamp that a screen is to show cloth under."""
    return Light(light.illuminant, D65_2.observer)


def kept(*fields: str) -> Callable[[Asked], Asked]:
    """An answer that is worked out once for the same `fields` of a slip and what else is asked."""
    question = attrgetter(*fields)

    def of(work: Asked) -> Asked:
        @wraps(work)
        def answer(shop: "Workshop", slip: Slip, *more: Any, **how: Any) -> Any:
            key = (work.__name__, question(slip), more)
            return shop.once(key, lambda: work(shop, slip, *more, **how))

        return cast(Asked, answer)

    return of


class Workshop:
    """Fitted dyes and perhaps a dye book, of a method of it, and every answer the page gives.

    `done` says how far the answer at work is, where the library tells.
    """

    def __init__(self, dyes: DyeSet, book: Path | None = None, method: str = "") -> None:
        self.dyes, self.book_path, self.method, self.done = dyes, book, method, ""
        self._asking = threading.RLock()  # one answer at a time: two would only slow each other
        self._answers: dict[Hashable, Any] = {}
        self.stopped = threading.Event()

    def once(self, key: Hashable, work: Callable[[], T]) -> T:
        """The answer to a question, worked out where it is not among the last `KEPT`."""
        with self._asking:
            if key not in self._answers:
                self.done = ""
                self.stopped.clear()
                self._answers[key] = work()
                for oldest in list(self._answers)[:-KEPT]:
                    del self._answers[oldest]
            found: T = self._answers[key]
            return found

    def _tell(self, done: int, whole: int) -> None:
        """How far an answer is. Raises `DyemixError` once it is to be stopped."""
        self.done = f"{done} of {whole}"
        refuse(self.stopped.is_set(), "stopped: what stood before stands.")

    def book(self) -> DyeBook:
        """The dye book, open. Raises `DyemixError` where the page was opened without one."""
        lacking = "no dye book: open the page with --book workshop.dyebook to keep work."
        refuse(self.book_path is None, lacking)
        return DyeBook(self.book_path or "", create=False)

    def _kept(self, ask: Callable[[DyeBook], Iterable[T]]) -> tuple[T, ...]:
        """All that the book tells; nothing where the page was opened without one."""
        if self.book_path is None:
            return ()
        with self.book() as book:
            return tuple(ask(book))

    @cached_property
    def own(self) -> BathSettings:
        """The figures that sheets rest on, with the spoons that the swatches were dyed by."""
        stated = (self.dyes.conditions or {}).get("spoons", Slip.spoons)
        return BathSettings(spoons=stated)

    @cached_property
    def stock(self) -> str:
        """The strength of the stocks where the slip states none: of a dye with a bottle in the book
        that of the bottle, of every other that of the swatches.
        """
        known = (*stated_stocks(self.dyes.conditions, self.own), *self._kept(DyeBook.stocks))
        strengths = Bottles.of(known, self.own).measures(None).stock_pct
        return ", ".join(f"{dye} {pct:.3g}".strip() for dye, pct in strengths.items())

    def fibre(self, slip: Slip) -> str:
        """What the last sheet of the job says that its cloth is made of, where it says so."""
        sheets = self._kept(lambda book: book.sheets(slip.job)) if slip.job else ()
        return sheets[-1].fibre.words if sheets else ""

    def share(self, slip: Slip) -> str:
        """Of the weight of the job's cloth, else of cloth as the swatches', how much takes dye."""
        return f"{dyed_share(self.dyes.conditions, self.fibre(slip)):g}"

    # Colours ------------------------------------------------------------------------------------

    @kept("wanted", "light")
    def wanted(self, slip: Slip) -> Target:
        """The colour wanted under the one light of the slip, as the book keeps it where it does:
        with its own error and its spectrum. Raises `TargetError`.
        """
        light = Light.parse(slip.light) if slip.light else self.dyes.light
        kept = {job.wanted.typed: job.wanted for job in self.jobs() if job.wanted}
        kept |= {signed.name: signed.target for signed in self._kept(DyeBook.sign_offs)}
        target = kept.get(slip.wanted) or Target.parse(slip.wanted)
        return target.under(light) if target.reflectance is None else target.to_light(light)

    def agreed(self, slip: Slip, usual: float) -> float:
        """The ΔE2000 that was agreed on for a standard of the book; else what is `usual`."""
        signed = {signed.name: signed.tolerance for signed in self._kept(DyeBook.sign_offs)}
        return signed.get(self.wanted(slip).name, usual) if slip.wanted else usual

    def cloth(self, target: Target) -> str:
        """The code of the wanted cloth under its light."""
        return target_code(target, target.light and lamp(target.light))

    @kept("wanted", "light")
    def mix(self, slip: Slip, recipe: Recipe) -> Mix:
        """A recipe laid on the wanted cloth."""
        target = self.wanted(slip)
        # What a piece before told of it is in no fit.
        if (pot := led_to(self.before(slip), recipe)) is None:
            pot = Pot.of(self.dyes.predict(recipe, target.light), target)
        return Mix(**vars(pot), proven=bool(self.dyes.pots))

    # Answers ------------------------------------------------------------------------------------

    @kept("wanted", "light")
    def before(self, slip: Slip) -> Correction | None:
        """What the last piece for the wanted colour leads to, where the book has one."""
        wanted = self.wanted(slip)
        if self.book_path is None:
            return None
        with self.book() as book:
            return dyed_for(book, self.dyes, wanted, self.method)

    @kept("wanted", "light", "cloth", "share", "stock", "unit")
    def choices(self, slip: Slip) -> Matches:
        """At most three recipes that are chosen, and those that they were chosen from."""
        left = Bottles.of(self._kept(DyeBook.stocks), self.own).left(slip.dyed_g)
        return suggest(self.dyes, self.wanted(slip), left=left, kit=slip.kit)

    @kept("quiet", "wanted", "light")
    def quieter(self, slip: Slip) -> Series:
        """The mix it starts from in steps down, by every route. Raises `DyemixError`."""
        return dyemix.subdue(self.dyes, slip.quiet, steps=5, light=self.wanted(slip).light)

    @kept("wanted", "light")
    def shelf(self, slip: Slip) -> ShelfAround:
        """What the shelf gives near the wanted colour."""
        return around(self.dyes, self.wanted(slip))

    def to_spare(self) -> tuple[str, ...]:
        """Which jar would be missed least."""
        return self.once("spare", lambda: dyemix.reach(self.dyes, progress=self._tell).findings)

    @kept("recipe")
    def mottled(
        self, slip: Slip, key: str, grey: str = "", undyed: str = "", *, photo: "Photograph"
    ) -> Levelness:
        """The piece in a picture called `key`, in figures, by the steps of a grey card and the
        cells of undyed cloth where they were told. Raises `InputError` for no piece.
        """
        from dyemix.photo import PhotoOptions

        options = PhotoOptions(undyed=undyed, grey=grey.strip() or PhotoOptions.grey)
        found = levelness(self.dyes, photo, slip.mix, options=options)
        return replace(found, cells=None)  # which are large

    def pictures(self, slip: Slip) -> dict[str, bytes]:
        """The pictures that the book keeps of the job's pieces, numbered from 1."""
        return self._of_job(slip, DyeBook.pictures)

    def analysed(self, slip: Slip) -> dict[str, Levelness]:
        """The mottled pieces of the job that the book keeps in figures, numbered from 1."""
        return self._of_job(slip, DyeBook.pieces)

    def _of_job(self, slip: Slip, kept: Callable[[DyeBook, str], Iterable[T]]) -> dict[str, T]:
        found = self._kept(lambda book: kept(book, slip.job)) if slip.job else ()
        return {str(i): one for i, one in enumerate(found, 1)}

    def sheet(self, slip: Slip) -> BathSheet:
        """The bath sheet of the mix. Raises `DyemixError` for what the bath does not hold."""
        own = self.own
        # A bottle as strong as the slip says is the one that is poured from, with its age.
        kept = Bottles.of(self._kept(DyeBook.stocks), own).by_dye.values()
        poured = (b for b in kept if f"{b.actual_pct(own):.3g}" == f"{slip.strength(b.dye):.3g}")
        stocks = [*(Stock(dye, pct) for dye, pct in slip.strengths.items()), *poured]
        own = replace(own, tolerance=self.agreed(slip, own.tolerance))
        target = self.wanted(slip) if slip.wanted else None
        expect = promised(self.before(slip), slip.mix) if target else ""
        return dyemix.bath_sheet(
            slip.mix, slip.cloth_g, stocks=stocks, dyes=self.dyes, job=slip.job, target=target,
            expect=expect or None, allow_demo=True, settings=own, fibre=self.fibre(slip) or None,
        )  # fmt: skip

    def trial(self, slip: Slip) -> Trial:
        """The dry piece as it was entered. Raises `DyemixError` for what is no colour or day."""
        reading = typed_piece(slip.reading, self.dyes.light, slip.mix)
        day = parse_day(slip.date) if slip.date else date.today()
        return Trial(slip.mix, reading, self.wanted(slip), day, slip.lot)

    def jobs(self) -> tuple[JobRecord, ...]:
        """The jobs of the book, the latest first."""
        return self._kept(lambda book: [book.job(name) for name in reversed(book.jobs())])

    # What is kept -------------------------------------------------------------------------------

    def keep_sheet(self, slip: Slip, _: bytes | None = None) -> str:
        """Keep the bath sheet under its job; the word to say so."""
        refuse(not slip.job.strip(), "the job has no name: write one on the slip, and keep it.")
        with self.book() as book:
            book.add_recipe(slip.job, slip.mix, self.wanted(slip), slip.name)
            book.add_sheets(self.sheet(slip), method=self.method)
        return f"Kept: {slip.job}."

    def keep_trial(self, slip: Slip, picture: bytes | None = None) -> str:
        """Keep the piece, and its picture; it moves the dyes from now on."""
        trial = self.trial(slip)
        with self.book() as book:
            book.add_trial(trial, slip.job, slip.note, self.method, picture)
            own = bool(book.sets())
            learnt = book.dyes(self.method) if own else dyemix.learn(self.dyes, [trial]).dyes
        with self._asking:
            self.dyes = learnt
            self._answers.clear()
        return f"Kept: {slip.job or slip.mix}. The next answers reckon with this piece."
