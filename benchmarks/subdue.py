"""Does a subdued series come out as asked? ``python -m benchmarks.subdue``.

Bright mixes of the simulated workshop, made quieter by every route on the fitted model; then the
workshop dyes them. Workshop seeds 0 to 2.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from benchmarks.shelf import swatch_set
from dyemix.arrays import Array
from dyemix.colour.appearance import difference
from dyemix.colour.ciede2000 import delta_e
from dyemix.colour.colorimetry import lab
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.swatches import Reading
from dyemix.fitting.fit import fit
from dyemix.model.dyes import DyeSet
from dyemix.series.steps import Step
from dyemix.series.subdue import subdue, subdue_on
from tests.simulated.workshop import Row, Workshop

#: Three hue families: two primaries of the base, and a third to take its chroma away.
FAMILIES = {
    "orange": ("marigold", "scarlet", "cobalt"),
    "violet": ("rose", "cobalt", "lemon"),
    "green": ("lemon", "turquoise", "rose"),
}
SHARES = (0.02, 0.05, 0.10, 0.20)
BRIGHT = 35.0


def bright_mixes(dyes: DyeSet, count: int = 30, seed: int = 6) -> list[Recipe]:
    """Mixes of one or two dyes with C* of 35 or more, 0.3 to 2 % owf in all, evenly drawn."""
    rng = np.random.default_rng(seed)
    pairs = [(name,) for name in dyes.names] + list(combinations(dyes.names, 2))
    out: list[Recipe] = []
    while len(out) < count:
        names = pairs[rng.integers(len(pairs))]
        total = float(np.exp(rng.uniform(np.log(0.3), np.log(2.0))))
        share = rng.uniform(0.2, 0.8) if len(names) > 1 else 1.0
        doses = (total * share, total * (1.0 - share))
        recipe = Recipe({n: round(x, 2) for n, x in zip(names, doses, strict=False)})
        if np.hypot(*dyes.predict(recipe).lab[1:]) >= BRIGHT:
            out.append(recipe)
    return out


@dataclass(frozen=True, eq=False)
class Dyed:
    """Steps called reached, and the CIELAB ``(N, 3)`` that the workshop got from their recipes."""

    steps: tuple[Step, ...]
    asked_for: int
    labs: Array

    @property
    def off(self) -> Array:
        """ΔL*, ΔC*, ΔH* ``(N, 3)`` of the cloth from what was asked."""
        return difference(np.array([s.asked for s in self.steps]), self.labs)

    @property
    def within(self) -> float:
        """Share of steps whose cloth stays within the stated bound."""
        asked = np.array([s.asked for s in self.steps])
        bound = np.array([s.bound for s in self.steps])
        return float((delta_e(asked, self.labs) <= bound).mean())


def dyed(seed: int, noise: bool, count: int = 30, best: bool = True) -> Dyed:
    """The workshop dyes every reached step of the best route of each kind, for `count` mixes."""
    shop = Workshop(seed, noise)
    dyes = fit(swatch_set([*shop.ladder(), *mixtures(shop)]))
    steps: list[Step] = []
    asked_for = 0
    for recipe in bright_mixes(dyes, count):
        found = subdue(dyes, recipe)
        routes = found.best if best else found.routes
        asked_for += sum(len(route.steps) for route in routes)
        steps += [s for route in routes for s in route.steps[: route.reached]]
    labs = [lab(shop.read(shop.dye(dict(s.recipe))), dyes.light) for s in steps]
    return Dyed(tuple(steps), asked_for, np.array(labs))


def mixtures(shop: Workshop, count: int = 12) -> list[Row]:
    """A few mixtures, so that competition can be fitted; none is what a series asks for."""
    return [
        row
        for i, recipe in enumerate(shop.mixture_recipes(count))
        for row in shop.swatch(f"M{i:02d}", recipe)
    ]


def second_baths(seed: int, noise: bool, count: int = 10) -> Dyed:
    """The workshop dyes second baths over the mixes, the piece read first."""
    shop = Workshop(seed, noise)
    dyes = fit(swatch_set([*shop.ladder(), *mixtures(shop)]))
    steps, labs, asked_for = [], [], 0
    for recipe in bright_mixes(dyes, count):
        piece = shop.dye(dict(recipe))
        found = subdue_on(dyes, Reading(recipe, shop.read(piece)))
        for route in found.best:
            asked_for += len(route.steps)
            for step in route.steps[: route.reached]:
                steps.append(step)
                labs.append(lab(shop.read(shop.dye_on(piece, dict(step.recipe))), dyes.light))
    return Dyed(tuple(steps), asked_for, np.array(labs))


def strength(dyes: DyeSet, dye: str) -> float:
    """% owf at which a dye's peak K/S (beyond the cloth's) equals 3: primaries of one strength."""
    i = dyes.index(dye)
    depths = np.geomspace(0.01, 4.0, 400)
    amounts = np.zeros((400, len(dyes)))
    amounts[:, i] = depths
    k = dyes.whole.surface.k_over_s(dyes.reflectance(amounts)) - dyes.whole.cloth
    return float(np.interp(3.0, k.max(axis=1), depths))


def chroma_kept(seed: int = 0) -> dict[str, tuple[Array, Array]]:
    """For each family, chroma kept (%) at each of `SHARES`: by the model, and by the workshop.

    The workshop is noise-free. A share p of the third primary takes the place of as much of the
    base: ``(1 − p) · base + p · third``, each primary at equal strength, the base half and half.
    """
    shop = Workshop(seed, False)
    dyes = fit(swatch_set([*shop.ladder(), *mixtures(shop)]))
    out = {}
    for family, names in FAMILIES.items():
        one, two, third = (strength(dyes, name) for name in names)
        recipes = [
            Recipe({names[0]: (1 - p) * one / 2, names[1]: (1 - p) * two / 2, names[2]: p * third})
            for p in (0.0, *SHARES)
        ]
        model = np.array([dyes.predict(r).lab for r in recipes])
        cloth = np.array([lab(shop.true_reflectance(dict(r)), dyes.light) for r in recipes])
        kept = [100.0 * np.hypot(x[:, 1], x[:, 2]) / np.hypot(*x[0, 1:]) for x in (model, cloth)]
        out[family] = (kept[0][1:], kept[1][1:])
    return out


def main() -> None:
    print("Chroma kept (%), computed, when 2, 5, 10, 20 % of a third primary stands in:")
    for seed in range(3):
        for family, (model, cloth) in chroma_kept(seed).items():
            print(f"  seed {seed} {family:<7} model {model.round(1)}  workshop {cloth.round(1)}")
    for seed in range(3):
        clean = dyed(seed, False)
        light, _, hue = np.abs(clean.off).T
        print(
            f"seed {seed}, noise-free: {len(clean.steps)} of {clean.asked_for} steps reached; "
            f"|ΔL*| mean {light.mean():.2f}, worst {light.max():.2f}; "
            f"|ΔH*| mean {hue.mean():.2f}, worst {hue.max():.2f}"
        )
        noisy = dyed(seed, True)
        print(f"seed {seed}, noisy: {100 * noisy.within:.0f} % of {len(noisy.steps)} within bound")
        over = second_baths(seed, True)
        print(f"seed {seed}, second bath, noisy: {100 * over.within:.0f} % of {len(over.steps)}; "
              f"mean ΔL*, ΔC*, ΔH* {over.off.mean(axis=0).round(2)}")  # fmt: skip


if __name__ == "__main__":
    main()
