"""Write the demo swatch tables: ``python -m tests.simulated.workshop.make_demo [folder]``.

The same bytes come out each time. One swatch carries a wrong label on purpose (``[demo]`` in
``settings.toml``): a ladder has to be checked before it is believed.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path

from tests.simulated.workshop.workshop import SETTINGS, Row, Workshop, format_recipe, write_table

HEADER = {
    "about": "invented dyes for a small workshop dyeing cotton-linen napkins for a café; "
    "not real, do not dye from these",
    "demo": "yes",
    "cloth": "cotton-linen napkin, mock-dyed",
    "alkali": "about 1 h after the dye",
    "liquor ratio": "20:1",
    "temperature": "24 C",
    "hours": "24",
    "salt": "50 g/L",
    "stock_pct": "1",
    "geometry": "d/8 specular excluded",
    "scale": "percent",
}


def demo_tables() -> tuple[list[Row], list[Row]]:
    """Rows of the ladder table, wrong label included, and of the set-aside mixtures."""
    demo = SETTINGS["demo"]
    shop = Workshop(seed=demo["seed"])
    ladder = shop.ladder()
    mixtures = shop.mixtures()
    dye = demo["mislabelled_dye"]
    label = format_recipe({dye: demo["mislabelled_as"]})
    name = next(row.swatch for row in ladder if row.recipe == label)
    dyed = shop.dye({dye: demo["mislabelled_dyed"]})
    ladder = [Row(name, label, shop.read(dyed)) if row.swatch == name else row for row in ladder]
    return ladder, mixtures


def main(arguments: Sequence[str] | None = None) -> None:
    """Write napkins.csv and napkins_mixtures.csv into the folder given, or swatch_data/."""
    words = sys.argv[1:] if arguments is None else arguments
    folder = Path(words[0]) if words else Path(__file__).resolve().parents[3] / "swatch_data"
    folder.mkdir(parents=True, exist_ok=True)
    ladder, mixtures = demo_tables()
    write_table(folder / "napkins.csv", ladder, HEADER)
    write_table(folder / "napkins_mixtures.csv", mixtures, HEADER)


if __name__ == "__main__":
    main()
