"""From a colour to recipes, from a dry piece to the next one, and to the swatch to dye next."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

from click import UsageError

import dyemix
from dyemix import console
from dyemix.cli import shared
from dyemix.cli.shared import command, given, given_only


@command("RECIPE", "shelf light json")
def predict(recipe: str, light: Any) -> None:
    """Say what a recipe should look like.

    RECIPE is in % of dry cloth weight, as 'marigold 0.8 + navy 0.25'.
    """
    shared.show(shared.dyes().predict(recipe, light))


@command(
    "[TARGET]",
    "shelf max-dyes count use avoid prefer total in-hand price cloth measure stock rank kl detail "
    "targets output photo answer",
)
def match(
    target: str | None, targets: Path | None, output: Path | None, detail: bool, **limits: Any
) -> None:
    """Find the blends that come nearest to a colour.

    TARGET is '#7d8a6e', or L* a* b* as '56 -10 13 D65/10', or a standard of the --book, or a piece
    in a photograph of the printed page, as 'photo.jpg B3'. The --output is the recipes of a list
    of --targets, as CSV.
    """
    from dyemix.files.targets import read_targets
    from dyemix.matching.matches import recipes_table

    if (target is None) == (targets is None):
        raise UsageError("match one TARGET, as '#7d8a6e', or a list of them with --targets.")
    if (output if targets is None else given("draw")) is not None:
        raise UsageError("--output is for a list of --targets, --draw for one TARGET.")
    limits, cloth_g = _understood(**given_only(limits)), limits["cloth_g"] or 240
    if targets is None:
        words, dyes = str(target), shared.dyes()
        found = dyemix.match(dyes, shared.target(words), **limits)
        shared.show(found, found.text(detail=detail))
        if len(found):
            why, best = "Dye a 5 g swatch first, then", found[0].recipe
            _bath(why, best, words, found.target, dyes.demo, cloth_g)
        return
    wanted, dyes = read_targets(targets), shared.dyes()
    with console.waiting("Matching") as progress:
        many = dyemix.match_many(dyes, wanted, progress=progress, **limits)
    if output is not None:
        shared.write(output, recipes_table(many))
    else:
        shared.show(many, "\n\n".join(found.text(detail=detail) for found in many))


def _bath(why: str, recipe: Any, words: str, target: Any, demo: bool, cloth_g: float = 240) -> None:
    asked = [str(recipe), "--cloth", f"{cloth_g:g}g", "--target", shared.typed(words, target)]
    asked += ["--stock", given("stock")] if given("stock") else []
    shared.then(why, "bath", *asked, demo=demo)


def _understood(
    in_hand: str = "", price: str = "", cloth_g: float = 0, measure: str = "", **rest: Any
) -> dict[str, Any]:
    """What the words of the command mean to `match` and `match_many`."""
    from dyemix.dataset.units import STOCK_PCT
    from dyemix.matching.dispensing import Kit, parse_in_hand, parse_prices

    if (in_hand or measure) and not cloth_g:
        raise UsageError("--in-hand and --measure need the piece they are for: --cloth 240g.")
    if in_hand:
        rest["in_hand"] = parse_in_hand(in_hand, cloth_g)
    if price:
        rest["price"] = parse_prices(price)
    if measure:
        found = shared.stocks() or STOCK_PCT
        bottles = {s.dye: s.strength_pct for s in found} if isinstance(found, tuple) else None
        rest["kit"] = Kit.parse(measure, bottles or {"": found}, cloth_g)
    return rest


@command("[RECIPE]", "reading! target! over other-dyes dosing job date lot note shelf photo json")
def trial(
    recipe: str | None, reading: str, aim: str, over: str | None, other_dyes: bool,
    dosing: float | None, day: date | None, **kept: str | None,
) -> None:  # fmt: skip
    """Say what a dry piece misses by, and what to do.

    RECIPE is what it was dyed by, as a second bath where it went --over a piece. Without one, two
    pieces are compared: the --reading with the --target. With --book the trial is kept there, for
    'dyemix book learn'.
    """
    from dyemix.dataset.trial import Bath

    job, lot, note = (kept[name] or "" for name in ("job", "lot", "note"))
    if recipe is None:
        if over or other_dyes or dosing or day or job or lot or note:
            raise UsageError("without a RECIPE, --reading and --target are compared, no more.")
        _compare(reading, aim)
        return
    dyed, wanted, dyes = dyemix.Recipe.parse(recipe), shared.target(aim), shared.dyes()
    bath, on = Bath.FIRST, None
    if over is not None:
        bath, on = Bath.SECOND, shared.piece(over, dyes.light)
    piece = shared.piece(reading, dyes.light, dyed)
    done = dyemix.Trial(dyed, piece, wanted, day, lot, bath=bath, on=on)
    found = dyemix.correct(dyes, done, other_dyes=other_dyes, dosing=dosing)
    shared.show(found)
    if given("book") is not None:
        with shared.open_book() as book:
            book.add_trial(done, job, note)
        shared.kept(f"a trial of {job or done.recipe}.")
    if found.corrected.recipe != found.again.recipe:
        _bath("The next piece", found.corrected.recipe, aim, found.target, dyes.demo)
    shared.then("Which swatch would help most", "next", shared.typed(aim, found.target))


def _compare(reading: str, aim: str) -> None:
    """Show the difference of two pieces; between photographs, beside the camera's own error."""
    from dyemix.colour.colorimetry import D65_10
    from dyemix.colour.difference import Miss
    from dyemix.reading import photographed

    one, other = photographed(reading), photographed(aim)
    if one is None or other is None:
        wanted = shared.target(aim).under(D65_10)
        miss = Miss.of(wanted.lab, shared.piece(reading, wanted.light).colour(wanted.light))
        shared.show(miss, f"{miss}, {wanted.light}")
        return
    from dyemix.photo import difference

    first = shared.photograph(one[0])
    second = first if one[0] == other[0] else shared.photograph(other[0])
    shared.show(difference(second, other[1], first, one[1]))


@command("[COLOURS]...", "targets count max-dyes shelf json", name="next")
def next_one(colours: tuple[str, ...], targets: Path | None, **how: Any) -> None:
    """Say which swatch would most lower the likely miss.

    Over all of the COLOURS, and --targets, that you want to dye; of one dye, or a mix.
    """
    from dyemix.files.targets import read_colours

    wanted, dyes = read_colours(colours, targets), shared.dyes()
    found = dyemix.next_swatch(dyes, wanted, **given_only(how))
    shared.show(found)
    for choice in found.choices:
        shared.then("Dye it", "bath", str(choice.recipe), "--cloth", "5g", demo=dyes.demo)
