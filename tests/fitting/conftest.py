"""What the tests of the fit share."""

from __future__ import annotations

from dyemix.dataset.recipe import Recipe

#: Mixes of four dyes of the workshop.
RECIPES = tuple(
    Recipe.parse(text)
    for text in (
        "marigold 0.8 + navy 0.25",
        "navy 0.6 + scarlet 0.3",
        "marigold 0.4 + scarlet 0.5",
        "navy 0.3 + turquoise 0.5",
        "turquoise 0.8 + marigold 0.3",
        "scarlet 1.2 + navy 0.15",
        "marigold 1.5 + turquoise 0.2 + navy 0.2",
        "scarlet 0.2 + turquoise 1.2",
    )
)
