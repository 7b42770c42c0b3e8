"""Commands on colours as families: quieter, paler, darker, cards, reach. They compute nothing."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from dyemix.cli.options import (
    FILE,
    as_json_option,
    draw_option,
    shelf_dyes,
    shelf_options,
    show,
    waiting,
)
from dyemix.dataset.units import STOCK_PCT


def _draw(found: Any, picture: Path | None) -> None:
    """Draw a series, where a picture is asked for."""
    if picture is not None:
        from dyemix.plots.series import draw_series

        draw_series(found, picture)
        click.echo(f"Drawn: {picture}", err=True)


_HUES = click.Choice(["CIELAB", "CIECAM16"], case_sensitive=False)


def _hue(name: str | None) -> Any:
    from dyemix.colour.ciecam16 import HueSpace

    return HueSpace(name) if name else None


def _piece(words: str) -> Any:
    """The piece to dye over: the first reading of a file, or a colour."""
    path = Path(words)
    if not path.suffix or words.startswith("#"):
        return words
    from dyemix.files import read_swatches

    return read_swatches(path).readings[0]


@click.command(context_settings={"ignore_unknown_options": True})
@click.argument("recipe", required=False)
@shelf_options
@click.option("--steps", default=5, show_default=True, help="How many steps down.")
@click.option("--least", type=float, help="Share of the chroma that the last step keeps.")
@click.option("--let-down", default=0.0, help="How much L* may come down by the last step.")
@click.option("--hue", type=_HUES, help="Whose hue is held; by default what suits the colour.")
@click.option("--cam", is_flag=True, help="Let CIECAM16 colourfulness fall, not CIELAB chroma.")
@click.option(
    "--on", "piece", metavar="PIECE",
    help="A finished piece to dye over: a file with its reading, '#ee6b4c', or L* a* b*.",
)  # fmt: skip
@click.option("--max-dyes", type=int, help="Most dyes in a recipe.")
@draw_option
@as_json_option
def subdue(
    recipe: str | None,
    swatches: Path | None,
    check: Path | None,
    leave_out: tuple[str, ...],
    steps: int,
    least: float | None,
    let_down: float,
    hue: str | None,
    cam: bool,
    piece: str | None,
    max_dyes: int | None,
    draw: Path | None,
    as_json: bool,
) -> None:
    """Make RECIPE, as 'scarlet 1.2 + marigold 0.6' (% owf), quieter; or a piece: --on."""
    if (recipe is None) == (piece is None):
        raise click.UsageError("name a RECIPE, or a finished piece with --on, and not both.")
    dyes = shelf_dyes(swatches, check, leave_out)
    given = {"least": least, "max_dyes": max_dyes, "hue": _hue(hue)}
    chosen = {name: value for name, value in given.items() if value is not None}
    if piece is not None:
        from dyemix.series.subdue import subdue_on

        if let_down or cam:
            raise click.UsageError("--let-down and --cam are for a recipe, not for --on.")
        over = subdue_on(dyes, _piece(piece), steps, **chosen)
        show(over, as_json)
        _draw(over, draw)
        return
    from dyemix.colour.ciecam16 import Scale
    from dyemix.series.subdue import subdue as make_quieter

    assert recipe is not None
    scale = Scale.COLOURFULNESS if cam else Scale.CHROMA
    found = make_quieter(dyes, recipe, steps, let_down=let_down, scale=scale, **chosen)
    show(found, as_json)
    _draw(found, draw)


def _series(name: str, help_text: str) -> click.Command:
    """A command that makes a series of one recipe: tint, shade, tone."""

    @click.command(name, help=help_text)
    @click.argument("recipe")
    @shelf_options
    @click.option("--steps", default=5, show_default=True, help="How many steps.")
    @click.option("--hue", type=_HUES, help="Whose hue is held; by default what suits the colour.")
    @draw_option
    @as_json_option
    def command(
        recipe: str,
        swatches: Path | None,
        check: Path | None,
        leave_out: tuple[str, ...],
        steps: int,
        hue: str | None,
        draw: Path | None,
        as_json: bool,
    ) -> None:
        import dyemix

        make = getattr(dyemix, name)
        dyes = shelf_dyes(swatches, check, leave_out)
        found = make(dyes, recipe, steps, hue=_hue(hue))
        show(found, as_json)
        _draw(found, draw)

    return command


tint = _series("tint", "Make RECIPE paler in steps, hue held.")
shade = _series("shade", "Darken RECIPE with black in steps, hue held.")
tone = _series("tone", "Grey RECIPE in steps, lightness and hue held.")


@click.command()
@click.argument("first")
@click.argument("second")
@shelf_options
@click.option("--steps", default=6, show_default=True, help="How many steps between the two.")
@draw_option
@as_json_option
def gradient(
    first: str,
    second: str,
    swatches: Path | None,
    check: Path | None,
    leave_out: tuple[str, ...],
    steps: int,
    draw: Path | None,
    as_json: bool,
) -> None:
    """Go from recipe FIRST to recipe SECOND in steps that look even."""
    from dyemix.series.tints import gradient as make

    found = make(shelf_dyes(swatches, check, leave_out), first, second, steps)
    show(found, as_json)
    _draw(found, draw)


@click.command()
@click.argument("dyes", metavar="DYES")
@shelf_options
@click.option("--depth", default=1.0, show_default=True, help="% owf in all.")
@click.option("--depths", default="", help="A row a depth, two dyes: as '0.5, 1, 2'.")
@click.option("--parts", type=int, help="Into how many parts blends are divided.")
@draw_option
@as_json_option
def card(
    dyes: str,
    swatches: Path | None,
    check: Path | None,
    leave_out: tuple[str, ...],
    depth: float,
    depths: str,
    parts: int | None,
    draw: Path | None,
    as_json: bool,
) -> None:
    """Predict every blend of two or three DYES, as 'gold, scarlet, navy': a shade card."""
    from dyemix.series.shade_card import parse_depths, shade_card

    shelf = shelf_dyes(swatches, check, leave_out)
    levels = parse_depths(depths)
    found = shade_card(shelf, dyes.split(","), depth, depths=levels, parts=parts)
    show(found, as_json)
    if draw is not None:
        from dyemix.plots.cards import draw_card

        draw_card(found, draw)
        click.echo(f"Drawn: {draw}", err=True)


@click.command()
@shelf_options
@click.option("--max-dyes", default=3, show_default=True, help="Most dyes in a blend: 3 or 4.")
@click.option("--target", metavar="COLOUR", help="A colour to show: '#7d8a6e', or L* a* b*.")
@click.option("--colours", type=FILE, metavar="FILE", help="A table of wanted colours.")
@click.option(
    "--tolerance", default=1.5, show_default=True, help="ΔE2000 that counts as within reach."
)
@click.option(
    "--other-book", type=FILE, metavar="FILE",
    help="Swatches, or saved dyes, of dyes not owned: which would add most?",
)  # fmt: skip
@draw_option
@as_json_option
def reach(
    swatches: Path | None,
    check: Path | None,
    leave_out: tuple[str, ...],
    max_dyes: int,
    target: str | None,
    colours: Path | None,
    tolerance: float,
    other_book: Path | None,
    draw: Path | None,
    as_json: bool,
) -> None:
    """Show what the shelf can reach on this cloth, and which dye to add or could be spared."""
    from dyemix.files.targets import read_targets
    from dyemix.gamut.reach import reach as work_out
    from dyemix.shelf import fitted

    dyes = shelf_dyes(swatches, check, leave_out)
    other = fitted(other_book) if other_book is not None else None
    wanted = read_targets(colours) if colours is not None else ()
    with waiting("Comparing shelves") as progress:
        found = work_out(
            dyes, wanted, target=target, other=other, tolerance=tolerance, max_dyes=max_dyes,
            progress=progress,
        )  # fmt: skip
    show(found, as_json)
    if draw is not None:
        from dyemix.plots.reach import draw_reach

        draw_reach(found, draw)
        click.echo(f"Drawn: {draw}", err=True)


@click.command()
@shelf_options
@click.option("--colours", type=FILE, required=True, metavar="FILE", help="The wanted colours.")
@click.option(
    "--tolerance", default=3.0, show_default=True, help="ΔE2000 that each may miss by on paper."
)
@click.option("--max-dyes", default=3, show_default=True, help="Most dyes in a recipe.")
@click.option("--cloth", default="100g", show_default=True, help="Dry cloth of each colour.")
@click.option("--stock", default=STOCK_PCT, show_default=True, help="Stock strength, % w/v.")
@as_json_option
def family(
    swatches: Path | None,
    check: Path | None,
    leave_out: tuple[str, ...],
    colours: Path,
    tolerance: float,
    max_dyes: int,
    cloth: str,
    stock: float,
    as_json: bool,
) -> None:
    """Find the fewest dyes that serve all the wanted colours, and what to buy of each."""
    from dyemix.dataset.units import parse_weight
    from dyemix.files.targets import read_targets
    from dyemix.gamut.family import family as find

    wanted = read_targets(colours)
    cloth_g = parse_weight(cloth)
    dyes = shelf_dyes(swatches, check, leave_out)
    with waiting("Trying blends") as progress:
        found = find(
            dyes, wanted, tolerance, max_dyes, cloth_g=cloth_g, stock_pct=stock, progress=progress
        )
    show(found, as_json)


COMMANDS = (subdue, tint, shade, tone, gradient, card, reach, family)
