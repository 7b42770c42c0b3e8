"""Colours as families: quieter, paler, darker, cards, and what the shelf reaches at all."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from click import Choice, UsageError, argument, group, option

import dyemix
from dyemix import console
from dyemix.cli import shared
from dyemix.cli.shared import READ, WEIGHT, Commands, command, given_only

_steps = option("--steps", type=int, help="How many steps.")
_hue = option(
    "--hue", type=Choice(["CIELAB", "CIECAM16"], case_sensitive=False),
    help="Whose hue is held; by default what suits the colour.",
    callback=lambda _, __, name: _hue_space(name),
)  # fmt: skip


def _hue_space(name: str | None) -> Any:
    from dyemix.colour.ciecam16 import HueSpace

    return None if name is None else HueSpace(name)


@command()
@argument("recipe", required=False)
@shared.shelf_options
@_steps
@option("--least", type=float, help="Share of the chroma that the last step keeps.")
@option("--let-down", type=float, help="How much L* may come down by the last step.")
@_hue
@option("--cam", is_flag=True, help="Let CIECAM16 colourfulness fall, not CIELAB chroma.")
@option("--over", metavar="PIECE", help="A piece to dye over: a file, '#ee6b4c', or L* a* b*.")
@option("--max-dyes", type=int, help="Most dyes in a recipe.")
@shared.light_option
@shared.answer_options
def subdue(recipe: str | None, over: str | None, cam: bool, **limits: Any) -> None:
    """Make a colour quieter, lightness and hue held.

    RECIPE is in % of dry cloth weight, as 'scarlet 1.2 + marigold 0.6'; or give a finished piece
    to dye --over.
    """
    from dyemix.colour.ciecam16 import Scale
    from dyemix.files.targets import read_piece

    if (recipe is None) == (over is None):
        raise UsageError("name a RECIPE, or a finished piece with --over, and not both.")
    if over is not None and (limits["let_down"] or cam):
        raise UsageError("--let-down and --cam are for a recipe, not for --over.")
    dyes, limits = shared.dyes(), given_only(limits)
    if over is not None:
        shared.show(dyemix.subdue_on(dyes, read_piece(over, dyes.light), **limits))
    else:
        scale = Scale.COLOURFULNESS if cam else Scale.CHROMA
        shared.show(dyemix.subdue(dyes, str(recipe), scale=scale, **limits))


@group(cls=Commands)
def series() -> None:
    """Step away from a recipe: tint, shade, tone, gradient; or lay out a shade card."""


def _of_one_recipe(name: str, help_text: str) -> None:
    @series.command(name, help=help_text)
    @argument("recipe")
    @shared.shelf_options
    @_steps
    @_hue
    @shared.light_option
    @shared.answer_options
    def _(recipe: str, **how: Any) -> None:
        shared.show(getattr(dyemix, name)(shared.dyes(), recipe, **given_only(how)))


_of_one_recipe("tint", "Make RECIPE paler in steps, hue held.")
_of_one_recipe("shade", "Darken RECIPE with black in steps, hue held.")
_of_one_recipe("tone", "Grey RECIPE in steps, lightness and hue held.")


@series.command()
@argument("first")
@argument("second")
@shared.shelf_options
@_steps
@shared.light_option
@shared.answer_options
def gradient(first: str, second: str, **how: Any) -> None:
    """Go from recipe FIRST to recipe SECOND in steps that look even."""
    shared.show(dyemix.gradient(shared.dyes(), first, second, **given_only(how)))


@series.command()
@argument("names", metavar="DYES")
@shared.shelf_options
@option("--depths", default="1", help="% owf in all; several make a row each, as '0.5, 1, 2'.")
@option("--parts", type=int, help="Into how many parts blends are divided.")
@shared.light_option
@shared.answer_options
def card(names: str, depths: str, **how: Any) -> None:
    """Predict every blend of two or three DYES.

    DYES are named as 'gold, scarlet, navy': a strip or triangle of blends, or two dyes at several
    --depths.
    """
    shared.show(dyemix.shade_card(shared.dyes(), names, depths, **given_only(how)))


@command()
@shared.shelf_options
@shared.targets_option
@option("--target", metavar="COLOUR", help="A colour to show: '#7d8a6e', or L* a* b*.")
@option("--tolerance", type=float, help="ΔE2000 on paper that counts as within reach.")
@shared.max_dyes_option
@option("--not-owned", type=READ, metavar="FILE", help="Swatches of dyes not owned, to add one.")
@option("--fewest", is_flag=True, help="Find the fewest dyes that serve all of --targets.")
@option("--cloth", "cloth_g", type=WEIGHT, help="Fewest: dry cloth of each colour, as 100g.")
@option("--stock", "stock_pct", type=float, help="Fewest: strength of the stocks, % w/v.")
@shared.light_option
@shared.answer_options
def reach(targets: Path | None, fewest: bool, max_dyes: int, **said: Any) -> None:
    """Show what the shelf can reach, and which dye to add or spare.

    With --fewest, the fewest dyes that serve all of the wanted colours, and what to buy of each.
    """
    from dyemix.files.targets import read_targets
    from dyemix.shelf import fitted

    said = given_only(said)
    other = {"target", "not_owned", "light"} if fewest else {"cloth_g", "stock_pct"}
    if other & said.keys():
        which = "--target, --not-owned and --light" if fewest else "--cloth and --stock"
        raise UsageError(f"{which} mean nothing {'with' if fewest else 'without'} --fewest.")
    if "not_owned" in said:
        said["other"] = fitted(said.pop("not_owned"))
    wanted = [] if targets is None else read_targets(targets)
    work_out, dyes = dyemix.family if fewest else dyemix.reach, shared.dyes()
    with console.waiting("Trying blends") as progress:
        found = work_out(dyes, wanted, max_dyes=max_dyes, progress=progress, **said)
    shared.show(found)
