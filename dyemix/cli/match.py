"""The command `dyemix match`: which blends reach a colour, within what the dyer wants and has."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from dyemix.cli.options import (
    FILE,
    as_json_option,
    draw_option,
    print_text,
    read_target,
    say,
    shelf_dyes,
    shelf_options,
    show,
    waiting,
)
from dyemix.dataset.units import STOCK_PCT
from dyemix.errors import DyemixError


@click.command(context_settings={"ignore_unknown_options": True})
@click.argument("target", required=False)
@shelf_options
@click.option("--max-dyes", default=3, show_default=True, help="Most dyes in a recipe.")
@click.option("--count", default=8, show_default=True, help="How many recipes to list.")
@click.option("--use", multiple=True, metavar="DYE", help="A dye that must be in.")
@click.option("--avoid", multiple=True, metavar="DYE", help="A dye that must not be in.")
@click.option("--prefer", multiple=True, metavar="DYE", help="A dye to use up first.")
@click.option("--total", type=float, metavar="OWF", help="Most dye in all, % of cloth weight.")
@click.option("--in-hand", metavar="JARS", help="What is left: 'navy 180 mL 2 %, gold 90 mL 2 %'.")
@click.option("--price", metavar="PRICES", help="Per gram of powder: 'navy 0.20, gold 0.15'.")
@click.option("--cloth", metavar="WEIGHT", help="Dry weight of the piece, as 240g.")
@click.option(
    "--measure", metavar="KIT", help="Round to 'spoons', 'spoons us', 'syringe 0.5' or 'scale 0.1'."
)
@click.option(
    "--stock",
    default=f"{STOCK_PCT:g}",
    show_default=True,
    help="Strength of the stocks, % w/v: 'navy 1, 2'.",
)
@click.option(
    "--rank", "rank_by", type=click.Choice(["likely", "paper"]), default="likely",
    show_default=True, help="What comes first.",
)  # fmt: skip
@click.option("--kl", default=1.0, show_default=True, help="Lightness factor of ΔE2000.")
@click.option("--detail", is_flag=True, help="Add chances, lamps, and what limits each recipe.")
@click.option("--cell", metavar="CELL", help="TARGET is a photo of the sheet: match this cell.")
@click.option("--card", type=FILE, metavar="TABLE", help="Reference values of its patch card.")
@click.option("--targets", type=FILE, metavar="FILE", help="A list of colours, one a row.")
@click.option("-o", "--output", type=FILE, metavar="FILE", help="Write their recipes, as CSV.")
@draw_option
@as_json_option
def match(
    target: str | None,
    swatches: Path | None,
    check: Path | None,
    leave_out: tuple[str, ...],
    detail: bool,
    cell: str | None,
    card: Path | None,
    targets: Path | None,
    output: Path | None,
    draw: Path | None,
    as_json: bool,
    **limits: Any,
) -> None:
    """Find the blends that come nearest to TARGET: '#7d8a6e', or L* a* b* as '56 -10 13'."""
    if (target is None) == (targets is None):
        raise DyemixError("match one TARGET, as '#7d8a6e', or a list of them with --targets.")
    options = _options(**limits)
    if targets is not None:
        from dyemix.files.targets import read_targets

        wanted = read_targets(targets)
        _many(shelf_dyes(swatches, check, leave_out), wanted, options, output, as_json)
        return
    from dyemix.matching.match import match as find

    if cell is not None:
        from dyemix.photo import PhotoOptions, examine_photo

        one = examine_photo(Path(target or ""), PhotoOptions(card=card)).target(cell)
    else:
        one = read_target(target or "")
    found = find(shelf_dyes(swatches, check, leave_out), one, **options)
    if detail and not as_json:
        print_text(found.text(detail=True))
    else:
        show(found, as_json)
    if draw is not None:
        from dyemix.plots.results import draw_match

        draw_match(found, path=draw)
        say(f"Drawn: {draw}")


def _options(
    max_dyes: int,
    count: int,
    use: tuple[str, ...],
    avoid: tuple[str, ...],
    prefer: tuple[str, ...],
    total: float | None,
    in_hand: str | None,
    price: str | None,
    cloth: str | None,
    measure: str | None,
    stock: str,
    rank_by: str,
    kl: float,
) -> dict[str, Any]:
    """What the words of the command mean to `match` and `match_many`."""
    from dyemix.dataset.units import parse_weight
    from dyemix.matching.dispensing import Kit, parse_in_hand, parse_prices

    if (in_hand or measure) and cloth is None:
        raise DyemixError("--in-hand and --measure need the piece they are for: --cloth 240g.")
    grams = parse_weight(cloth) if cloth else 0.0
    return {
        "count": count, "k_lightness": kl, "rank_by": rank_by, "max_dyes": max_dyes, "use": use,
        "avoid": avoid, "prefer": prefer, "total": total,
        "in_hand": parse_in_hand(in_hand, grams) if in_hand else {},
        "price": parse_prices(price) if price else {},
        "kit": Kit.parse(measure, stock, grams) if measure else None,
    }  # fmt: skip


def _many(
    dyes: Any, wanted: list[Any], options: dict[str, Any], output: Path | None, as_json: bool
) -> None:
    from dyemix.matching.match import match_many

    with waiting("colours") as progress:
        found = match_many(dyes, wanted, progress=progress, **options)
    if output is not None:
        from dyemix.matching.matches import write_recipes

        write_recipes(found, output)
        say(f"Written: {output}")
    elif as_json:
        show(found, as_json)
    else:
        print_text("\n\n".join(str(matches) for matches in found))
