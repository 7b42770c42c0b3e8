"""From a colour to recipes, from a dry piece to the next one, and to the swatch to dye next."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

from click import Choice, UsageError, argument, option

import dyemix
from dyemix import console
from dyemix.cli import shared
from dyemix.cli.shared import WEIGHT, WRITTEN, command, dyes_option, given
from dyemix.errors import DyemixError


@command()
@argument("recipe")
@shared.shelf_options
@shared.light_option
@shared.json_option
def predict(recipe: str, light: Any) -> None:
    """Say what a recipe should look like.

    RECIPE is in % of dry cloth weight, as 'marigold 0.8 + navy 0.25'.
    """
    shared.show(shared.dyes().predict(recipe, light))


@command()
@argument("colour", metavar="[TARGET]", required=False)
@shared.shelf_options
@shared.max_dyes_option
@option("--count", default=8, show_default=True, help="How many recipes to list.")
@dyes_option("--use", help="Dyes that must be in.")
@dyes_option("--avoid", help="Dyes that must not be in.")
@dyes_option("--prefer", help="Dyes to use up first.")
@option("--total", type=float, metavar="OWF", help="Most dye in all, % of cloth weight.")
@option("--in-hand", metavar="JARS", help="What is left: 'navy 180 mL 2 %, gold 90 mL 2 %'.")
@option("--price", metavar="PRICES", help="Per gram of powder: 'navy 0.20, gold 0.15'.")
@option("--cloth", "cloth_g", type=WEIGHT, help="Dry weight of the piece, as 240g.")
@option("--measure", metavar="KIT", help="'spoons', 'spoons us', 'syringe 0.5' or 'scale 0.1'.")
@shared.stock_option
@option(
    "--rank", "rank_by", type=Choice(["likely", "paper"]), default="likely", show_default=True,
    help="What comes first.",
)  # fmt: skip
@option("--kl", "k_lightness", default=1.0, show_default=True, help="Lightness factor of ΔE2000.")
@option("--detail", is_flag=True, help="Add chances, lamps, and what limits each recipe.")
@shared.targets_option
@option("-o", "--output", type=WRITTEN, metavar="FILE", help="Recipes for --targets, as CSV.")
@shared.photo_options
@shared.answer_options
def match(
    colour: str | None, targets: Path | None, output: Path | None, detail: bool, **limits: Any
) -> None:
    """Find the blends that come nearest to a colour.

    TARGET is '#7d8a6e', or L* a* b* as '56 -10 13 D65/10', or a standard of the --book, or a piece
    in a photograph of the printed page, as 'photo.jpg B3'.
    """
    from dyemix.files.targets import read_targets
    from dyemix.matching.matches import recipes_table

    if (colour is None) == (targets is None):
        raise DyemixError("match one TARGET, as '#7d8a6e', or a list of them with --targets.")
    if output is not None and targets is None:
        raise DyemixError("-o writes the recipes of a list: give one with --targets.")
    if given("draw") is not None and targets is not None:
        raise DyemixError("--draw is for one TARGET, not for a list of them.")
    options, cloth_g = _understood(**limits), limits["cloth_g"] or 240
    if targets is None:
        words, dyes = str(colour), shared.dyes()
        found = dyemix.match(dyes, shared.target(words), **options)
        shared.show(found, found.text(detail=detail))
        if len(found):
            why, best = "Dye a 5 g square first, then", found[0].recipe
            _bath(why, best, words, found.target, dyes.demo, cloth_g)
        return
    wanted, dyes = read_targets(targets), shared.dyes()
    with console.waiting("Matching") as progress:
        many = dyemix.match_many(dyes, wanted, progress=progress, **options)
    if output is not None:
        shared.write(output, recipes_table(many))
    else:
        shared.show(many, "\n\n".join(found.text(detail=detail) for found in many))


def _bath(why: str, recipe: Any, words: str, target: Any, demo: bool, cloth_g: float = 240) -> None:
    asked = [str(recipe), "--cloth", f"{cloth_g:g}g", "--target", shared.typed(words, target)]
    asked += ["--stock", given("stock")] if given("stock") else []
    shared.then(why, "bath", *asked, demo=demo)


def _understood(
    in_hand: str | None, price: str | None, cloth_g: float | None, measure: str | None, **rest: Any
) -> dict[str, Any]:
    """What the words of the command mean to `match` and `match_many`."""
    from dyemix.matching.dispensing import Kit, parse_in_hand, parse_prices

    if (in_hand or measure) and cloth_g is None:
        raise DyemixError("--in-hand and --measure need the piece they are for: --cloth 240g.")
    grams = cloth_g or 0.0
    return {
        **rest,
        "in_hand": parse_in_hand(in_hand, grams) if in_hand else {},
        "price": parse_prices(price) if price else {},
        "kit": Kit.parse(measure, shared.strengths(), grams) if measure else None,
    }


@command()
@argument("recipe", required=False)
@option(
    "--reading", required=True, metavar="PIECE",
    help="Of the dry piece: a file, 'photo.jpg B3', '#7d8a6e', or L* a* b*.",
)  # fmt: skip
@option("--target", "aim", required=True, metavar="COLOUR", help="What it was meant to be.")
@option("--over", metavar="PIECE", help="RECIPE was a second bath, over this piece.")
@option("--other-dyes", is_flag=True, help="Let one more dye join the corrected recipe.")
@option(
    "--dosing", type=float, metavar="SHARE",
    help="How well you measure a dye, as 0.02 for 2 %; by default what your squares show.",
)  # fmt: skip
@option("--job", default="", help="The job it is of.")
@shared.date_option
@option("--lot", default="", help="Which lots of dye were used.")
@option("--note", default="", help="A note to keep with it.")
@shared.shelf_options
@shared.photo_options
@shared.json_option
def trial(
    recipe: str | None, reading: str, aim: str, over: str | None, other_dyes: bool,
    dosing: float | None, job: str, day: date | None, lot: str, note: str,
) -> None:  # fmt: skip
    """Say what a dry piece misses by, and what to do about it.

    RECIPE is what it was dyed by. Without one, two pieces are compared: the --reading with the
    --target. With --book the trial is kept there, for 'dyemix book learn'.
    """
    from dyemix.dataset.trial import Bath
    from dyemix.files.targets import read_piece

    if recipe is None:
        if over or other_dyes or dosing or job or day or lot or note:
            raise UsageError("without a RECIPE, --reading and --target are compared, no more.")
        _compare(reading, aim)
        return
    dyed, wanted, dyes = dyemix.Recipe.parse(recipe), shared.target(aim), shared.dyes()
    bath, on = Bath.FIRST, None
    if over is not None:
        bath, on = Bath.SECOND, read_piece(over, dyes.light)
    done = dyemix.Trial(
        dyed, read_piece(reading, dyes.light, dyed), wanted, day, lot, bath=bath, on=on
    )
    found = dyemix.correct(dyes, done, other_dyes=other_dyes, dosing=dosing)
    shared.show(found)
    if given("book") is not None:
        with shared.open_book() as book:
            book.add_trial(done, job, note)
        shared.kept(f"a trial of {job or done.recipe}.")
    if found.corrected.recipe != found.again.recipe:
        _bath("The next piece", found.corrected.recipe, aim, found.target, dyes.demo)
    shared.then("Which square would help most", "next", shared.typed(aim, found.target))


def _compare(reading: str, aim: str) -> None:
    """Show the difference of two pieces; between photographs, beside the camera's own error."""
    from dyemix.colour.colorimetry import D65_10
    from dyemix.colour.difference import Miss
    from dyemix.files.targets import read_piece
    from dyemix.reading import photographed

    one, other = photographed(reading), photographed(aim)
    if one is None or other is None:
        wanted = shared.target(aim).under(D65_10)
        miss = Miss.of(wanted.lab, read_piece(reading, wanted.light).colour(wanted.light))
        shared.show(miss, f"{miss}, {wanted.light}")
        return
    from dyemix.photo import difference

    first = shared.photograph(one[0])
    second = first if one[0] == other[0] else shared.photograph(other[0])
    shared.show(difference(second, other[1], first, one[1]))


@command("next")
@argument("colours", nargs=-1)
@shared.targets_option
@option("--count", default=1, show_default=True, help="How many squares to choose.")
@shared.max_dyes_option
@shared.shelf_options
@shared.json_option
def next_square(colours: tuple[str, ...], targets: Path | None, count: int, max_dyes: int) -> None:
    """Say which square would most lower the likely miss.

    Over all of the COLOURS, and --targets, that you want to dye; of one dye, or a mix.
    """
    from dyemix.files.targets import read_colours

    wanted = read_colours(colours, targets)
    dyes = shared.dyes()
    found = dyemix.next_swatch(dyes, wanted, count, max_dyes)
    shared.show(found)
    for choice in found.choices:
        shared.then("Dye it", "bath", str(choice.recipe), "--cloth", "5g", demo=dyes.demo)
