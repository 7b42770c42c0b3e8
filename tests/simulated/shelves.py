"""Invented dyes, cloth and surface: what the families of worlds start from.

Axis letters: N recipes, D dyes, B bands (31, 400 to 700 nm). All figures are invented.
"""

from dataclasses import dataclass

import numpy as np

from tests.simulated.eye import WAVELENGTHS, Array

#: Flat absorption, and bands (peak nm, height, half width at half height to short and long waves).
Absorption = tuple[float, list[tuple[float, float, float, float]]]
_BRIGHT_YELLOW: dict[str, Absorption] = {
    "lemon": (0.003, [(422, 1.0, 46, 36)]),
    "gold": (0.006, [(438, 1.0, 52, 46), (488, 0.25, 28, 30)]),
}
_BRIGHT_RED: dict[str, Absorption] = {
    "scarlet": (0.005, [(508, 1.0, 46, 32), (540, 0.5, 24, 26), (400, 0.25, 30, 40)]),
    "rose": (0.003, [(548, 1.0, 28, 23), (518, 0.65, 30, 22), (400, 0.12, 30, 40)]),
}
_BRIGHT_BLUE: dict[str, Absorption] = {
    "cobalt": (0.005, [(600, 1.0, 47, 27), (640, 0.82, 25, 25), (405, 0.08, 30, 40)]),
    "turquoise": (0.003, [(670, 1.0, 24, 24), (626, 0.78, 42, 24), (400, 0.10, 22, 24)]),
}
_BLACK: dict[str, Absorption] = {
    "black": (0.09, [(598, 1.0, 72, 52), (490, 0.5, 50, 60), (415, 0.48, 40, 45)])
}
_DULLER: dict[str, Absorption] = {
    "orange": (0.006, [(484, 1.0, 52, 38), (405, 0.2, 30, 40)]),
    "violet": (0.006, [(560, 1.0, 48, 36), (600, 0.38, 26, 28), (405, 0.15, 30, 45)]),
    "navy": (0.03, [(606, 1.0, 68, 48), (415, 0.25, 40, 50)]),
    "leaf": (0.012, [(424, 0.72, 45, 36), (644, 1.0, 45, 29)]),
    "rust": (0.014, [(482, 1.0, 62, 44), (420, 0.5, 42, 42)]),
    "brown": (0.06, [(454, 1.0, 70, 60), (545, 0.55, 52, 66)]),
}


@dataclass(frozen=True, eq=False)
class Shelf:
    """Dyes on a cloth, before a family gives them its physics.

    `curves` (D, B) is absorption per unit on the fibre relative to the scatter of the cloth,
    `cloth` (B,) that of the cloth itself; `exponent` and `capacity` (D,) are the law of depth
    ``c^n / (1 + c^n / q)``; `first` and `inside` are the surface: the share of light that never
    enters the cloth, and the share of what would leave that is sent back.
    """

    names: tuple[str, ...]
    curves: Array
    cloth: Array
    exponent: Array
    capacity: Array
    first: float
    inside: float

    def fixed(self, amounts: Array) -> Array:
        """Amounts on the fibre (N, D) of dyes each by itself, from % owf (N, D)."""
        powers = amounts**self.exponent
        return np.asarray(powers / (1.0 + powers / self.capacity))

    def seen(self, below: Array) -> Array:
        """Reflectance with the surface, from that below it, any shape (Saunderson 1942)."""
        return self.first + (1.0 - self.first) * (1.0 - self.inside) * below / (
            1.0 - self.inside * below
        )

    def opaque(self, absorption: Array, scatter: Array | float = 1.0) -> Array:
        """Reflectance of opaque cloth, any shape (Kubelka & Munk 1931), surface included."""
        ratio = absorption / scatter
        return self.seen(1.0 / (1.0 + ratio + np.sqrt(ratio * (ratio + 2.0))))

    def absorption(self, fixed: Array) -> Array:
        """Absorption (N, B) of cloth that carries these amounts (N, D)."""
        return np.asarray(self.cloth + fixed @ self.curves)


def smooth_noise(rng: np.random.Generator, count: int, length_nm: float) -> Array:
    """Curves (count, B) of variance 1, correlated over bands as a Gaussian of this length."""
    apart = (WAVELENGTHS[:, np.newaxis] - WAVELENGTHS) / length_nm
    root = np.linalg.cholesky(np.exp(-0.5 * apart**2) + 1e-6 * np.eye(len(WAVELENGTHS)))
    return np.asarray(rng.standard_normal((count, len(WAVELENGTHS))) @ root.T)


def draw_shelf(rng: np.random.Generator) -> Shelf:
    """Six to nine dyes: a bright yellow, red and blue, a black, and some duller ones."""
    chosen = dict(_BLACK)
    for pair in (_BRIGHT_YELLOW, _BRIGHT_RED, _BRIGHT_BLUE):
        name = str(rng.choice(sorted(pair)))
        chosen[name] = pair[name]
    others = {**_DULLER, **_BRIGHT_YELLOW, **_BRIGHT_RED, **_BRIGHT_BLUE}
    left = sorted(set(others) - set(chosen))
    for name in rng.choice(left, rng.integers(2, 6), replace=False):
        chosen[str(name)] = others[str(name)]
    names = tuple(sorted(chosen))
    curves = np.array([_curve(rng, *chosen[name]) for name in names])
    count = len(names)
    strength = 4.6 * np.exp(0.22 * rng.standard_normal(count))
    strength[names.index("black")] *= 1.25
    bent = rng.random(count) < 0.5
    fall = rng.uniform(0.10, 0.30) * np.exp(-(WAVELENGTHS - 400.0) / rng.uniform(50.0, 100.0))
    cloth = rng.uniform(0.78, 0.88) - fall
    return Shelf(
        names,
        curves * strength[:, np.newaxis],
        (1.0 - cloth) ** 2 / (2.0 * cloth),
        np.where(bent, rng.uniform(0.80, 1.0, count), rng.uniform(0.95, 1.06, count)),
        np.where(bent, np.inf, np.exp(rng.uniform(np.log(6.0), np.log(40.0), count))),
        float(rng.uniform(0.004, 0.025)),
        float(rng.uniform(0.0, 0.5)),
    )


def _curve(
    rng: np.random.Generator, flat: float, bands: list[tuple[float, float, float, float]]
) -> Array:
    """One dye's absorption (B,), its highest point 1, moved about what is listed."""
    peaks, heights, short, long = np.array(bands, dtype=float).T[..., np.newaxis]
    count = (len(bands), 1)
    peaks = peaks + 5.0 * rng.standard_normal(count)
    heights = heights * np.exp(0.2 * rng.standard_normal(count))
    wider = np.exp(0.1 * rng.standard_normal(count))
    distance = WAVELENGTHS - peaks
    width = wider * np.where(distance < 0, short, long)
    curve = (heights * np.exp2(-((distance / width) ** 2))).sum(axis=0)
    curve = curve / curve.max() + flat * np.exp(0.3 * rng.standard_normal())
    return np.asarray(curve * np.exp(0.12 * smooth_noise(rng, 1, 35.0)[0]))
