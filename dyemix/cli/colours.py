"""Colours: to recipes, from a dry piece to the next, quieter, paler, and what can be reached."""

from datetime import date
from functools import partial
from pathlib import Path
from typing import Any

from click import get_current_context

import dyemix
from dyemix import console
from dyemix.cli import next_steps, shared
from dyemix.cli.options import given, given_only, misused


def predict(recipe: str, light: Any) -> None:
    """Say what a recipe should look like.

    RECIPE is in % of dry cloth weight, as 'marigold 0.8 + navy 0.25'; or of liquid stock on --cloth
    of so much, as 'marigold 2 tbsp + navy 15 mL'.
    """
    from dyemix.dataset.conditions import mottled

    dyes = shared.dyes(recipe)
    found = dyes.predict(shared.recipe(recipe, dyes), light)
    shared.show(found, "\n".join([str(found), *mottled(dyes.conditions)]))


def match(
    target: str | None, targets: Path | None, output: Path | None, detail: bool, **limits: Any
) -> None:
    """Find the blends that come nearest to a colour.

    TARGET is '#7d8a6e', or L* a* b* as '56 -10 13 D65/10', or a standard of the --book, or a piece
    in a photograph of the printed page, as 'photo.jpg B3'. The --output is the recipes of a list
    of --targets, as CSV.
    """
    from dyemix.bench.suggested import dyed_before, suggested, to_choose_from
    from dyemix.files.rows import parse_in_hand
    from dyemix.matching.advice import suggest
    from dyemix.matching.matches import recipes_table

    misused((target is None) == (targets is None), "usage.one_target")
    other = output or limits["workers"] if targets is None else given("draw")
    misused(other is not None, "usage.one_or_many")
    dyes, limits = shared.dyes(*(f"{dye} 1" for dye in limits["use"])), given_only(limits)
    whole = detail or "count" in limits or given("json") or given("draw")
    if in_hand := limits.pop("in_hand", ""):
        misused(not given("cloth_g"), "usage.in_hand")
        dyed_g = shared.bottles(dyes).measures(given("cloth_g")).cloth_g
        limits["in_hand"], strengths = parse_in_hand(in_hand, dyed_g)
        if not given("stock"):  # a jar is as strong as it is told, whatever a book has
            get_current_context().meta["stock"] = strengths
    limits["kit"] = shared.kit(limits.pop("measure", None), dyes)
    if targets is None:
        words = str(target)
        if not whole:
            limits["left"] = shared.bottles(dyes).left(shared.shown_for())
        found: Any = (dyemix.match if whole else suggest)(dyes, shared.target(words), **limits)
        limited = {"use", "avoid", "max_dyes", "total", "in_hand"} & {*limits}
        before = None
        if not limited and not given("json") and (book := shared.chosen()):
            from dyemix.dyebook.past import dyed_for  # of a book only: it takes a while

            before = dyed_for(book, dyes, found.target, given("used method"))
        if whole:
            shared.show(found, found.text(detail=detail))
        else:
            at_hand = shared.bottles(dyes), shared.shown_for()
            shared.show(found, suggested(found, *at_hand, before, limits["kit"]))
        if detail and not given("json") and (dyed := [m.recipe for m in found if m.recipe]):
            from dyemix.cloth.preview import preview

            order, known = shared.alkali(dyes)
            how = {"order": order, "pieces": shared.pieces(), "light": found.target.light}
            shared.say(console.wrapped(preview(dyes, *dyed, **how).short() + known))
        if before and whole:
            told = f"{before.corrected.recipe}: {dyed_before(before)}."
            shared.say(console.wrapped("\n".join([told, *before.corrected.prediction.warnings])))
        best = found[0]
        if before and not whole:
            best = to_choose_from(found, before)[0][0]
        elif before and before.corrected.likely <= best.likely:
            best = before.corrected
        again = before is not None and best is before.corrected
        why = "Dye it so" if again else f"Dye {shared.square_g(dyes):g} g of it first, then"
        if best.recipe:
            next_steps.bath(why, best, dyes, words, found.target)
        return
    wanted = shared.targets(targets)
    with console.waiting("Matching") as progress:
        many = dyemix.match_many(dyes, wanted, progress=progress, **limits)
    if output is None:
        shared.show(many, "\n\n".join(found.text(detail=detail) for found in many))
        return
    shared.write(output, recipes_table(many))
    if output != Path("-"):
        next_steps.bath("A day of them", str(output), dyes)


def trial(
    recipe: str | None, reading: str, aim: str | None, over: str | None, other_dyes: bool,
    dosing: float | None, day: date | None, picture: Path | None, **kept: str | None,
) -> None:  # fmt: skip
    """Say what a dry piece misses by, and what to do.

    RECIPE is what it was dyed by, as a second bath where it went --over a piece. Without one, two
    pieces are compared: the --reading with the --target. With a book the trial is kept there, and
    moves the dyes from then on.
    """
    from dyemix.colour.appearance import Miss
    from dyemix.dyebook.rows import plain_picture
    from dyemix.matching.correct import Outcome
    from dyemix.reading import photographed

    lot, note, aimed = kept["lot"] or "", kept["note"] or "", aim or ""
    shown, other = photographed(reading), photographed(aimed)
    if recipe is None:
        more = over or other_dyes or dosing or day or picture or lot or note
        misused(more or given("job") or given("draw") or aim is None, "usage.alone")
        if shown is None or other is None:
            wanted = shared.target(aimed).under(dyemix.Light())
            miss = Miss.of(wanted.lab, shared.piece(reading, wanted.light).colour(wanted.light))
            shared.show(miss, f"{miss}, {wanted.light}")
            return
        from dyemix.photo import difference

        second = shared.photograph(shown[0])  # beside the camera's own error
        first = second if shown[0] == other[0] else shared.photograph(other[0])
        shared.show(difference(first, other[1], second, shown[1]))
        return
    dyes = shared.dyes(recipe)
    wanted, dyed = shared.wanted(aim), shared.recipe(recipe, dyes)
    book, job = shared.chosen(), given("job") or ""
    misused(wanted is None and (given("draw") or not book), "usage.no_target")
    on = None if over is None else shared.piece(over, dyes.light)
    piece = shared.piece(reading, dyes.light, dyed)
    done = dyemix.Trial(dyed, piece, wanted, day or date.today(), lot, on)
    found = None
    if wanted is not None:
        agreed = shared.agreed(wanted, 0.0)
        found = dyemix.correct(dyes, done, None, other_dyes, True, dosing, agreed)
    if book:
        seen = picture or (shown[0] if shown else None)
        book.add_trial(done, job, note, given("method") or "", seen and plain_picture(seen))
        shared.kept(f"a trial of {job or dyed}.")
    if found is None:  # a square, dyed to learn from
        ground = dyes if on is None else dyes.over(on)
        shared.show(miss := Miss.of(ground.predict(dyed).lab, piece.colour(dyes.light)),
                    f"{miss} from what was predicted, {dyes.light}")  # fmt: skip
        return
    shared.show(found)
    if book and found.outcome is Outcome.A_SLIP:
        why = "Where it is in the recipe or the reading, take the trial out"
        next_steps.then(why, "book", "strike", "--job", job or str(dyed))
    elif book:
        shared.tell_astray(book.dyes(given("used method")), str(done))
    if book and job:
        why = "The next piece, corrected" if found.changed else "The same again"
        next_steps.then(why, "book", "repeat", job, *next_steps.weighed(), "--keep")
    elif found.changed:
        known = "" if book else " (only in a --book its sheet knows of this one)"
        next_steps.bath(f"The next piece{known}", found.corrected, dyes, aimed, found.target)
    if found.second_bath is not None:
        why = "The second bath over this piece"
        next_steps.bath(why, found.second_bath, dyes, aimed, found.target, over=reading)
    next_steps.then("Which swatch would help most", "next", found.target.typed)


def next_one(colours: tuple[str, ...], targets: Path | None, **how: Any) -> None:
    """Say which swatch would most lower the likely miss.

    Over all of the COLOURS, and --targets, that you want to dye; of one dye, or a mix.
    """
    from dyemix.bench.bath_sheet import dyeable

    dyes = shared.dyes()
    wanted = shared.targets(targets, colours)
    misused(not wanted, "tables.no_colour")
    stocks, own, square_g = shared.stocks(dyes), shared.settings(dyes), shared.square_g(dyes)
    fits = partial(dyeable, dyes=dyes, cloth_g=square_g, stocks=stocks, settings=own)
    shared.show(found := dyemix.next_swatch(dyes, wanted, dyeable=fits, **given_only(how)))
    for choice in found.choices:
        next_steps.bath("Dye it", choice, dyes, cloth_g=square_g)


# Families of colours ------------------------------------------------------------------------------


def _show(
    work_out: Any, dyes: Any, *what: Any, measure: str | None, detail: bool,
    over: str | None = None, **how: Any,
) -> None:  # fmt: skip
    """Answer with a series, every step in % owf and as measured, and with the bath of one."""
    from dyemix.bench.suggested import in_steps
    from dyemix.dataset.conditions import mottled

    kit = shared.kit(measure, dyes)
    found = work_out(dyes, *what, **given_only({**how, "kit": kit}))
    steps = in_steps(found, shared.bottles(dyes), shared.shown_for(), detail)
    shared.show(found, "\n".join([steps, *mottled(dyes.conditions)]))
    if found.middle is not None:
        step, why = found.steps[found.middle], f"To dye step {found.middle + 1}"
        next_steps.bath(why, step, dyes, over=over)


def subdue(recipe: str | None, over: str | None, cam: bool, **how: Any) -> None:
    """Make a colour quieter, lightness and hue held.

    RECIPE is in % of dry cloth weight, as 'scarlet 1.2 + marigold 0.6'; or give a finished piece
    to dye --over.
    """
    from dyemix.colour.appearance import Scale

    misused((recipe is None) == (over is None), "usage.recipe_or_piece")
    misused(over is not None and (how["let_down"] is not None or cam), "usage.of_a_recipe")
    dyes = shared.dyes(recipe or "")
    if over is not None:
        del how["let_down"]
        _show(dyemix.subdue_on, dyes, shared.piece(over, dyes.light), over=over, **how)
    else:
        scale = Scale.COLOURFULNESS if cam else Scale.CHROMA
        _show(dyemix.subdue, dyes, shared.recipe(str(recipe), dyes), scale=scale, **how)


def steps(recipe: str, **how: Any) -> None:
    """Step away from a RECIPE, as the command is called: tint, shade or tone."""
    dyes, named = shared.dyes(recipe), get_current_context().info_name
    _show(getattr(dyemix, str(named)), dyes, shared.recipe(recipe, dyes), **how)


def gradient(first: str, second: str, **how: Any) -> None:
    """Go from recipe FIRST to SECOND in even steps."""
    dyes = shared.dyes(first, second)
    _show(dyemix.gradient, dyes, *(shared.recipe(words, dyes) for words in (first, second)), **how)


def card(dyes: str, **how: Any) -> None:
    """Predict every blend of two or three DYES.

    DYES are named as 'gold, scarlet, navy': a strip or triangle of blends, or two dyes at several
    --depths.
    """
    shared.show(dyemix.shade_card(shared.dyes(), dyes, **given_only(how)))


def reach(target: str | None, targets: Path | None, fewest: bool, **said: Any) -> None:
    """Show what the shelf reaches, and which dye to add.

    TARGET is a colour as for match: can it be had, and what stops it? With --fewest,
    the fewest dyes that serve all of the --targets, and what to buy of each, of the stock at hand,
    for 100 g or --cloth of each colour.
    """
    from dyemix.shelf import fitted

    said = given_only(said)
    misused(fewest and (target or {"not_owned", "light"} & said.keys()), "usage.fewest")
    misused(not fewest and (given("cloth_g") or given("stock")), "usage.not_fewest")
    if "not_owned" in said:
        said["other"] = fitted(said.pop("not_owned"))
    wanted, dyes = shared.targets(targets), shared.dyes()
    if fewest:
        bottles, cloth_g = shared.bottles(dyes), shared.shown_for()
        at_hand = bottles.measures(cloth_g)
        said |= {"cloth_g": at_hand.cloth_g, "stock_pct": at_hand.stock_pct}
        if bottles.undyed:
            console.remark(f"{cloth_g:g} g of cloth{bottles.undyed}: {at_hand.cloth_g:g} g.")
    elif target:
        said["target"] = shared.target(target)
    with console.waiting("Trying blends") as progress:
        work_out = dyemix.family if fewest else dyemix.reach
        found = work_out(dyes, wanted, progress=progress, **said)
    shared.show(found)
