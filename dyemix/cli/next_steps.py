"""Commands to go on with, printed as they work when they are pasted."""

from contextlib import suppress
from pathlib import Path
from typing import Any

from dyemix import console
from dyemix.cli import shared
from dyemix.cli.options import GROUPS, given, options_of
from dyemix.errors import InputError


def then(why: str, *words: str, alone: bool = False) -> None:
    """Print a command that works as printed: the shelf's options go along, unless it is `alone`."""
    if given("json"):
        return
    of = ("only", *(("book", "method") if given("book") else ("swatches",)), "check", "leave-out")
    takes = options_of(*words[:2])
    carried = [] if alone else shared.asked(*(name for name in of if name in takes))
    shared.say(console.pasted([*words, *carried], f"{why}: "))


def amounts(recipe: Any) -> str:
    """A recipe to be typed again, with more digits than anybody measures."""
    return " + ".join(f"{dye} {owf:.5g}" for dye, owf in recipe.items())


def shelf(when: str, table: Path, method: str = "") -> None:
    """Print how to go on with a table of swatches: by itself, or in the book, by this `method`."""
    from dyemix.dyebook.connection import find_book

    book = "workshop.dyebook"
    with suppress(InputError):
        book = str(find_book())
    then(when, "fit", "--swatches", str(table), alone=True)
    words = ("book", "add", str(table), "--book", book, *(("--method", method) if method else ()))
    then("Or in a book", *words, alone=True)


def weighed(cloth_g: float | None = None) -> list[str]:
    """The cloth, to be asked for again: as given, or what amounts were shown for."""
    return ["--cloth", f"{cloth_g or shared.shown_for():g}g"]


def _meant(words: str, target: Any, over: str | None) -> list[str]:
    """What is wanted, but where a job of the book keeps it, and the piece that it goes over, to be
    named again: a standard or a photograph by its name, for what three numbers do not tell.
    """
    from dyemix.reading import photographed

    again = words in shared.standards() or photographed(words)
    kept = shared.wanted("")
    known = target is None or (kept and kept.under(target.light) == target)
    aim = [] if known else ["--target", words if again else str(target.typed)]
    how = GROUPS["photo"].split() if photographed(words) or photographed(over or "") else ()
    return [*aim, *(["--over", over] if over else []), *shared.asked(*how)]


def bath(
    why: str, what: Any, dyes: Any, words: str = "", target: Any = None, *,
    over: str | None = None, cloth_g: float = 0.0,
) -> None:  # fmt: skip
    """Print the command for the bath of what has a recipe, or a day of those in a table; and what
    to see to first, where no bath holds it.
    """
    from dyemix.bench.bath_sheet import undyeable

    asked = [*weighed(cloth_g), *_meant(words, target, over)]
    asked += shared.asked("stock", "spoons", "job")
    told, fibre = shared.stated(dyes), shared.cloth_then()[1]
    if fibre not in ("", told.get("fibre"), told.get("cloth")):
        asked += ["--fibre", fibre]
    if not isinstance(what, str) and not given("json"):
        recipe = (getattr(what, "measured", None) or what).recipe
        at_hand = {"stocks": shared.stocks(dyes), "settings": shared.settings(dyes), "fibre": fibre}
        if fault := undyeable(recipe, dyes, cloth_g=cloth_g or shared.shown_for(), **at_hand):
            shared.say(console.wrapped(fault))
            why = "Once that is so"
        what = amounts(recipe)
    then(why, "bath", what, *asked, *(["--demo"] if dyes.demo else []))


def trial(recipe: Any, dyes: Any, words: str, target: Any, over: str | None = None) -> str:
    """Print the command for the piece that comes of a recipe; gives how its reading is asked."""
    reading = f"{shared.READING} {dyes.light}".rstrip("°")
    asked = [*weighed(), *_meant(words, target, over), "--reading", reading, *shared.asked("job")]
    then("Once dry, with your reading", "trial", amounts(recipe), *asked)
    return reading
