"""What to expect of a recipe for a target, as a line of the sheet."""

from __future__ import annotations

from dyemix.colour.ciede2000 import delta_e
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.target import Target
from dyemix.model.dyes import DyeSet
from dyemix.model.uncertainty import lab_covariance, likely


def expected(dyes: DyeSet, recipe: Recipe, target: Target) -> str:
    """ΔE2000 from the target on paper, and in the pot as `dyemix.model.uncertainty` has it.

    A target without a light takes that of the swatches. Raises `RecipeError` for a dye that has
    no swatches.
    """
    light = target.light or dyes.light
    amounts = dyes.amounts(recipe)[None, :]
    labs = dyes.predict_many(amounts, light)
    pot = likely(target.lab, labs, lab_covariance(dyes, amounts, light))
    return (
        f"ΔE2000 {float(delta_e(target.lab, labs[0])):.1f} on paper, {pot.mean[0]:.1f} likely in "
        f"the pot, nine pots in ten below {pot.bound[0]:.1f} ({light})"
    )
