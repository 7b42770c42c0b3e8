"""What rounding to spoons, syringe or scale costs: all dyes together, or each to its own nearest.

200 random recipes of two to four dyes, each the target itself, so that all of the ΔE2000 is the
rounding's. Both ways have the same kit, the same weaker stocks for doses too small to measure, and
never round a dye to nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from benchmarks.shelf import shelf
from dyemix.arrays import Array
from dyemix.colour.ciede2000 import delta_e
from dyemix.colour.colorimetry import D65_10
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.units import stock_ml
from dyemix.matching.limits import Kit, Measured, measured
from dyemix.model.dyes import DyeSet

TARGETS = 200
CLOTHS = (25.0, 60.0, 240.0)
KITS = {
    "quarter teaspoons": {"measure": "spoons"},
    "syringe, 1 mL": {"measure": "syringe", "step": 1.0},
    "syringe, 0.5 mL": {"measure": "syringe", "step": 0.5},
    "scale, 0.1 g": {"measure": "scale", "step": 0.1},
}


@dataclass(frozen=True, eq=False)
class Rounded:
    """ΔE2000 ``(T,)`` from rounding alone, jointly and dye by dye, and how many needed weaker."""

    joint: Array
    one_by_one: Array
    weaker: int


def dye_by_dye(dyes: DyeSet, recipe: Recipe, done: Measured, kit: Kit) -> Array:
    """Amounts ``(D,)``: every dye to its own nearest step of the stock in use, at least one."""
    amounts = np.zeros(len(dyes))
    for dose in done.doses:
        strength = kit.strength(dose.dye) / dose.dilution
        steps = max(1.0, np.round(stock_ml(kit.cloth_g, recipe[dose.dye], strength) / kit.step_ml))
        amounts[dyes.index(dose.dye)] = steps * kit.step_ml * strength / kit.cloth_g
    return amounts


def recipes(dyes: DyeSet, count: int = TARGETS, seed: int = 4) -> list[Recipe]:
    """Random recipes of two to four dyes, 0.3 to 3 % owf in all."""
    rng = np.random.default_rng(seed)
    out = []
    for i in range(count):
        names = rng.choice(dyes.names, 2 + i % 3, replace=False)
        shares = rng.dirichlet(np.full(len(names), 1.5))
        total = np.exp(rng.uniform(np.log(0.3), np.log(3.0)))
        doses = np.maximum(total * shares, 0.01)
        out.append(Recipe({str(n): float(c) for n, c in zip(names, doses, strict=True)}))
    return out


def rounded(dyes: DyeSet, kit: Kit, some: list[Recipe]) -> Rounded:
    """Both ways for each recipe."""
    joint, alone, weaker = [], [], 0
    for recipe in some:
        target = dyes.predict(recipe, D65_10).lab
        done = measured(dyes, recipe, kit, target, D65_10)
        plain = dye_by_dye(dyes, recipe, done, kit)
        joint.append(done.residual)
        alone.append(float(delta_e(target, dyes.colours(plain, D65_10)[0])))
        weaker += bool(done.weaker)
    return Rounded(np.array(joint), np.array(alone), weaker)


def main() -> None:
    """Print mean and worst ΔE2000 for each kit and weight of cloth; 2 % stock."""
    dyes = shelf()
    some = recipes(dyes)
    print(f"{TARGETS} recipes, stocks of 2 %: ΔE2000 (D65, 10°) from rounding alone.\n")
    print(f"{'kit':<20}{'cloth':>7}{'together':>10}{'worst':>7}{'one by one':>12}{'worst':>7}"
          f"{'weaker':>8}")  # fmt: skip
    for name, options in KITS.items():
        for cloth in CLOTHS:
            found = rounded(dyes, Kit(cloth, **options), some)  # type: ignore[arg-type]
            print(
                f"{name:<20}{cloth:>5.0f} g{found.joint.mean():>10.2f}{found.joint.max():>7.2f}"
                f"{found.one_by_one.mean():>12.2f}{found.one_by_one.max():>7.2f}{found.weaker:>8}"
            )


if __name__ == "__main__":
    main()
