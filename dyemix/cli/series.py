"""Colours as families: quieter, paler, darker, cards, and what the shelf reaches at all."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from click import UsageError, group

import dyemix
from dyemix import console
from dyemix.cli import shared
from dyemix.cli.options import Commands, command, given, given_only


def _show(
    work_out: Any, dyes: Any, *what: Any, measure: str | None, detail: bool,
    over: str | None = None, **how: Any,
) -> None:  # fmt: skip
    """Answer with a series, every step in % owf and as measured, and with the bath of one."""
    kit = shared.kit(measure, dyes)
    found = work_out(dyes, *what, **given_only({**how, "kit": kit}))
    shared.show(found, shared.short(found, dyes, detail=detail))
    if found.middle is not None:
        step, why = found.steps[found.middle], f"To dye step {found.middle + 1}"
        shared.bath(why, step, dyes, over=over)


@command(
    "[RECIPE]",
    "shelf measures measure steps least let-down hue cam over max-dyes detail light photo answer",
)
def subdue(recipe: str | None, over: str | None, cam: bool, **how: Any) -> None:
    """Make a colour quieter, lightness and hue held.

    RECIPE is in % of dry cloth weight, as 'scarlet 1.2 + marigold 0.6'; or give a finished piece
    to dye --over.
    """
    from dyemix.colour.appearance import Scale

    if (recipe is None) == (over is None):
        raise UsageError("name a RECIPE, or a finished piece with --over, and not both.")
    if over is not None and (how["let_down"] is not None or cam):
        raise UsageError("--let-down and --cam are for a recipe, not for --over.")
    dyes = shared.dyes(recipe or "")
    if over is not None:
        del how["let_down"]
        _show(dyemix.subdue_on, dyes, shared.piece(over, dyes.light), over=over, **how)
    else:
        scale = Scale.COLOURFULNESS if cam else Scale.CHROMA
        _show(dyemix.subdue, dyes, shared.recipe(str(recipe), dyes), scale=scale, **how)


@group(cls=Commands)
def series() -> None:
    """Step away from a recipe, or lay out a shade card."""


def _steps(name: str, words: str) -> None:
    """A command that steps away from one recipe."""

    def run(recipe: str, **how: Any) -> None:
        dyes = shared.dyes(recipe)
        _show(getattr(dyemix, name), dyes, shared.recipe(recipe, dyes), **how)

    run.__doc__ = words
    options = "shelf measures measure steps hue detail light answer"
    command("RECIPE", options, name=name, into=series)(run)


_steps("tint", "Make RECIPE paler in steps, hue held.")
_steps("shade", "Darken RECIPE with black in steps, hue held.")
_steps("tone", "Grey RECIPE in steps, lightness and hue held.")


@command("FIRST SECOND", "shelf measures measure steps detail light answer", into=series)
def gradient(first: str, second: str, **how: Any) -> None:
    """Go from recipe FIRST to SECOND in even steps."""
    dyes = shared.dyes(first, second)
    _show(dyemix.gradient, dyes, *(shared.recipe(words, dyes) for words in (first, second)), **how)


@command("DYES", "shelf depths parts light answer", into=series)
def card(dyes: str, **how: Any) -> None:
    """Predict every blend of two or three DYES.

    DYES are named as 'gold, scarlet, navy': a strip or triangle of blends, or two dyes at several
    --depths.
    """
    shared.show(dyemix.shade_card(shared.dyes(), dyes, **given_only(how)))


@command(
    "[TARGET]", "shelf targets target tolerance max-dyes not-owned fewest measures light answer"
)
def reach(
    target: str | None, targets: Path | None, aim: str | None, fewest: bool, **said: Any
) -> None:
    """Show what the shelf reaches, and which dye to add.

    TARGET, or --target, is a colour as for match: can it be had, and what stops it? With --fewest,
    the fewest dyes that serve all of the --targets, and what to buy of each, of the stock at hand,
    for 100 g or --cloth of each colour.
    """
    from dyemix.files.targets import read_targets
    from dyemix.shelf import fitted

    said, words = given_only(said), target or aim
    if target is not None and aim is not None:
        raise UsageError("name the colour once, as TARGET or with --target.")
    if fewest and (words or {"not_owned", "light"} & said.keys()):
        raise UsageError("a TARGET, --not-owned and --light mean nothing with --fewest.")
    if not fewest and (given("cloth_g") or given("stock")):
        raise UsageError("--cloth and --stock mean nothing without --fewest.")
    if "not_owned" in said:
        said["other"] = fitted(said.pop("not_owned"))
    wanted, dyes = [] if targets is None else read_targets(targets), shared.dyes()
    if fewest:
        at_hand = shared.bottles(dyes).measures(shared.shown_for())
        said |= {"cloth_g": at_hand.cloth_g, "stock_pct": at_hand.stock_pct}
    elif words:
        said["target"] = shared.target(words)
    with console.waiting("Trying blends") as progress:
        work_out = dyemix.family if fewest else dyemix.reach
        found = work_out(dyes, wanted, progress=progress, **said)
    shared.show(found)
