"""How templates of whole pages are found and filled in: escaped, and nothing left undefined."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

from dyemix.bench.sheet import whole
from dyemix.dataset.recipe import format_amount

if TYPE_CHECKING:
    from jinja2 import Environment


@cache
def environment() -> Environment:
    """Templates of `templates/`, by their path in it."""
    from jinja2 import Environment, PackageLoader, StrictUndefined  # slow to import

    made = Environment(
        loader=PackageLoader("dyemix"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters |= {"whole": whole, "owf": format_amount, "one": "{:.1f}".format}
    return made
