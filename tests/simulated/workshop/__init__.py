"""The simulated workshop: invented dyes, cloth and instrument to test a fit against."""

from tests.simulated.workshop.workshop import (
    SETTINGS,
    WAVELENGTHS,
    Piece,
    Row,
    Workshop,
    format_recipe,
    parse_recipe,
    write_table,
)

__all__ = [
    "SETTINGS",
    "WAVELENGTHS",
    "Piece",
    "Row",
    "Workshop",
    "format_recipe",
    "parse_recipe",
    "write_table",
]
