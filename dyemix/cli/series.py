"""Colours as families: quieter, paler, darker, cards, and what the shelf reaches at all."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from click import UsageError, group

import dyemix
from dyemix import console
from dyemix.cli import shared
from dyemix.cli.options import Commands, command, given, given_only


def _understood(hue: str | None = None, **how: Any) -> dict[str, Any]:
    """What was given of how to step, the space whose hue is held by its own type."""
    from dyemix.colour.ciecam16 import HueSpace

    return given_only({**how, "hue": None if hue is None else HueSpace(hue)})


@command("[RECIPE]", "shelf measures steps least let-down hue cam over max-dyes light photo answer")
def subdue(recipe: str | None, over: str | None, cam: bool, **how: Any) -> None:
    """Make a colour quieter, lightness and hue held.

    RECIPE is in % of dry cloth weight, as 'scarlet 1.2 + marigold 0.6'; or give a finished piece
    to dye --over.
    """
    from dyemix.colour.ciecam16 import Scale

    if (recipe is None) == (over is None):
        raise UsageError("name a RECIPE, or a finished piece with --over, and not both.")
    if over is not None and (how["let_down"] is not None or cam):
        raise UsageError("--let-down and --cam are for a recipe, not for --over.")
    dyes, how = shared.dyes(recipe or ""), _understood(**how)
    if over is not None:
        shared.show(dyemix.subdue_on(dyes, shared.piece(over, dyes.light), **how))
    else:
        scale = Scale.COLOURFULNESS if cam else Scale.CHROMA
        shared.show(dyemix.subdue(dyes, shared.recipe(str(recipe), dyes), scale=scale, **how))


@group(cls=Commands)
def series() -> None:
    """Step away from a recipe, or lay out a shade card."""


@command("RECIPE", "shelf measures steps hue light answer", into=series)
def tint(recipe: str, **how: Any) -> None:
    """Make RECIPE paler in steps, hue held."""
    dyes = shared.dyes(recipe)
    shared.show(dyemix.tint(dyes, shared.recipe(recipe, dyes), **_understood(**how)))


@command("RECIPE", "shelf measures steps hue light answer", into=series)
def shade(recipe: str, **how: Any) -> None:
    """Darken RECIPE with black in steps, hue held."""
    dyes = shared.dyes(recipe)
    shared.show(dyemix.shade(dyes, shared.recipe(recipe, dyes), **_understood(**how)))


@command("RECIPE", "shelf measures steps hue light answer", into=series)
def tone(recipe: str, **how: Any) -> None:
    """Grey RECIPE in steps, lightness and hue held."""
    dyes = shared.dyes(recipe)
    shared.show(dyemix.tone(dyes, shared.recipe(recipe, dyes), **_understood(**how)))


@command("FIRST SECOND", "shelf measures steps light answer", into=series)
def gradient(first: str, second: str, **how: Any) -> None:
    """Go from recipe FIRST to SECOND in even steps."""
    dyes = shared.dyes(first, second)
    ends = [shared.recipe(words, dyes) for words in (first, second)]
    shared.show(dyemix.gradient(dyes, *ends, **given_only(how)))


@command("DYES", "shelf depths parts light answer", into=series)
def card(dyes: str, **how: Any) -> None:
    """Predict every blend of two or three DYES.

    DYES are named as 'gold, scarlet, navy': a strip or triangle of blends, or two dyes at several
    --depths.
    """
    shared.show(dyemix.shade_card(shared.dyes(), dyes, **given_only(how)))


@command("", "shelf targets target tolerance max-dyes not-owned fewest measures light answer")
def reach(targets: Path | None, aim: str | None, fewest: bool, **said: Any) -> None:
    """Show what the shelf reaches, and which dye to add.

    With --fewest, the fewest dyes that serve all of the --targets, and what to buy of each for
    100 g or --cloth of each colour.
    """
    from dyemix.files.targets import read_targets
    from dyemix.shelf import fitted

    said = given_only({**said, "target": aim, "stock_pct": shared.strength()})
    said |= given_only({"cloth_g": given("cloth_g")})
    if {"target", "not_owned", "light"} & said.keys() and fewest:
        raise UsageError("--target, --not-owned and --light mean nothing with --fewest.")
    if {"cloth_g", "stock_pct"} & said.keys() and not fewest:
        raise UsageError("--cloth and --stock mean nothing without --fewest.")
    if "not_owned" in said:
        said["other"] = fitted(said.pop("not_owned"))
    wanted = [] if targets is None else read_targets(targets)
    work_out, dyes = dyemix.family if fewest else dyemix.reach, shared.dyes()
    with console.waiting("Trying blends") as progress:
        found = work_out(dyes, wanted, progress=progress, **said)
    shared.show(found)
