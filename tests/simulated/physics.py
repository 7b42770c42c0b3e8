"""How dyed cloth reflects in each family of worlds.

Each maker takes a generator, a `Shelf` and a harshness h (0 mild to 1 harsh), and returns what maps
amounts in the bath (N, D), % owf, to reflectance (N, B). What is fitted elsewhere adds the
absorptions of dyes that scatter nothing, each with a law of its own; every maker but `additive`
breaks that in a way of its own. All figures are invented.
"""

from collections.abc import Callable

import numpy as np

from tests.simulated.eye import WAVELENGTHS, Array
from tests.simulated.shelves import Shelf, smooth_noise

Physics = Callable[[Array], Array]
Maker = Callable[[np.random.Generator, Shelf, float], Physics]

_FROM_MIDDLE = (WAVELENGTHS - 550.0) / 150.0


def additive(rng: np.random.Generator, shelf: Shelf, h: float) -> Physics:
    """The model's own physics: what is left is dosing, pots, days, lots and readings."""
    return lambda amounts: shelf.opaque(shelf.absorption(shelf.fixed(amounts)))


def scattering(rng: np.random.Generator, shelf: Shelf, h: float) -> Physics:
    """Scatter falls as the fibre fills, and each dye adds or takes some of its own."""
    count = len(shelf.names)
    own = h * rng.uniform(-0.12, 0.35, (count, 1)) * (1.0 + 0.5 * smooth_noise(rng, count, 80.0))
    fall = h * rng.uniform(0.35, 0.65)
    half = rng.uniform(1.0, 3.0)

    def reflect(amounts: Array) -> Array:
        fixed = shelf.fixed(amounts)
        load = fixed.sum(axis=1, keepdims=True)
        scatter = (1.0 + np.maximum(fixed @ own, -0.5)) * (1.0 - fall * load / (load + half))
        return shelf.opaque(shelf.absorption(fixed), scatter)

    return reflect


def paint(rng: np.random.Generator, shelf: Shelf, h: float) -> Physics:
    """Two constants: a colorant takes room from a white that scatters, and scatters itself."""
    count = len(shelf.names)
    room = (0.03 + 0.20 * h) * np.exp(0.3 * rng.standard_normal(count))
    scatters = rng.uniform(0.05, 1.0 + 1.2 * h, (count, 1))
    scatters = scatters * np.exp(h * (0.5 * _FROM_MIDDLE + 0.3 * smooth_noise(rng, count, 70.0)))

    def reflect(amounts: Array) -> Array:
        parts = amounts * room
        share = parts / (1.0 + parts.sum(axis=1, keepdims=True))
        ground = 1.0 - share.sum(axis=1, keepdims=True)
        absorption = ground * shelf.cloth + (share / room) @ shelf.curves
        return shelf.opaque(absorption, ground + share @ scatters)

    return reflect


def competition(rng: np.random.Generator, shelf: Shelf, h: float) -> Physics:
    """Dyes share one kind of site (competitive Langmuir): each keeps the others out."""
    strike = np.exp(0.5 * rng.standard_normal(len(shelf.names)))
    filled = (0.03 + 0.20 * h) * strike

    def reflect(amounts: Array) -> Array:
        return shelf.opaque(
            shelf.absorption(amounts / (1.0 + (amounts * filled).sum(axis=1, keepdims=True)))
        )

    return reflect


def pairs(rng: np.random.Generator, shelf: Shelf, h: float) -> Physics:
    """One dye takes up or pushes out another, pair by pair, mostly in one sense in one world."""
    count = len(shelf.names)
    sense = rng.choice([-1.0, 1.0]) * h * rng.uniform(0.05, 0.25)
    push = sense + (0.05 + 0.22 * h) * rng.standard_normal((count, count))
    np.fill_diagonal(push, 0.0)

    def reflect(amounts: Array) -> Array:
        return shelf.opaque(
            shelf.absorption(shelf.fixed(amounts) * np.exp(np.log1p(amounts) @ push))
        )

    return reflect


def facets(rng: np.random.Generator, shelf: Shelf, h: float) -> Physics:
    """A weave of two fibres that take each dye up unlike, both seen side by side, unlevel."""
    count = len(shelf.names)
    share = rng.uniform(0.35, 0.65)
    prefers = (0.3 + 1.0 * h) * rng.standard_normal(count) + h * rng.uniform(-0.7, 0.7)
    depths, parts = np.polynomial.hermite_e.hermegauss(5)
    unlevel = np.exp((0.05 + 0.30 * h) * depths)

    def reflect(amounts: Array) -> Array:
        fixed = shelf.fixed(amounts)
        total = np.zeros((len(amounts), len(WAVELENGTHS)))
        for size, part in zip(unlevel, parts / parts.sum(), strict=True):
            for weight, sign in ((share, 0.5), (1.0 - share, -0.5)):
                on_it = fixed * size * np.exp(sign * prefers)
                total += weight * part * shelf.opaque(shelf.absorption(on_it))
        return total

    return reflect


def gloss(rng: np.random.Generator, shelf: Shelf, h: float) -> Physics:
    """Hairs that hardly dye, over a sheen that rises where the cloth absorbs most (bronzing)."""
    hairs = h * rng.uniform(0.15, 0.35)
    taken = rng.uniform(0.1, 0.4)
    bronze = h * rng.uniform(0.02, 0.08)
    tilt = 0.3 * h * _FROM_MIDDLE * rng.choice([-1.0, 1.0])

    def reflect(amounts: Array) -> Array:
        fixed = shelf.fixed(amounts)
        deep = shelf.absorption(fixed)
        below = (1.0 - hairs) * shelf.opaque(deep)
        below += hairs * shelf.opaque(shelf.absorption(taken * fixed))
        return np.asarray(below * (1.0 + 0.1 * tilt) + bronze * (1.0 + tilt) * deep / (deep + 8.0))

    return reflect


def isotherm(rng: np.random.Generator, shelf: Shelf, h: float) -> Physics:
    """Uptake that starts slowly or ends early, of a bath that all its dyes exhaust together."""
    count = len(shelf.names)
    slow = rng.random(count) < 0.5
    rise = np.where(slow, 1.0 + h * rng.uniform(0.3, 0.9, count), 1.0)
    full = np.where(slow, rng.uniform(2.0, 5.0, count), 8.0 - 6.5 * h * rng.random(count))
    spent = h * rng.uniform(0.3, 0.9)

    def reflect(amounts: Array) -> Array:
        powers = (amounts / full) ** rise
        load = amounts.sum(axis=1, keepdims=True)
        fixed = full * powers / (1.0 + powers) / (1.0 + spent * load / (1.0 + load))
        return shelf.opaque(shelf.absorption(1.4 * fixed))

    return reflect


def company(rng: np.random.Generator, shelf: Shelf, h: float) -> Physics:
    """Bands that other dyes move and raise or lower."""
    count = len(shelf.names)
    moves = h * rng.uniform(-18.0, 18.0, count)
    gains = 1.0 + h * rng.uniform(-0.25, 0.35, count)
    half = rng.uniform(0.2, 1.0)
    return _moving(
        shelf, moves, gains, half, lambda amounts, _: amounts.sum(axis=1, keepdims=True) - amounts
    )


def crowding(rng: np.random.Generator, shelf: Shelf, h: float) -> Physics:
    """Bands that move and lose height as the fibre fills, whichever dye fills it."""
    moves = h * rng.uniform(-35.0, 35.0, len(shelf.names))
    keeps = 1.0 - h * rng.uniform(0.0, 0.5, len(shelf.names))
    half = rng.uniform(1.0, 4.0)
    return _moving(shelf, moves, keeps, half, lambda _, fixed: fixed.sum(axis=1, keepdims=True))


def _moving(
    shelf: Shelf, moves: Array, gains: Array, half: float, load: Callable[[Array, Array], Array]
) -> Physics:
    """Bands that move (nm) and change height by a factor, half way where the `load`, told from
    amounts and those on the fibre, is `half`.
    """
    moved = np.array(
        [
            gain * np.interp(WAVELENGTHS - move, WAVELENGTHS, curve)
            for curve, move, gain in zip(shelf.curves, moves, gains, strict=True)
        ]
    )

    def reflect(amounts: Array) -> Array:
        fixed = shelf.fixed(amounts)
        loaded = load(amounts, fixed)
        share = loaded / (loaded + half)
        return shelf.opaque(
            shelf.cloth + (fixed * (1.0 - share)) @ shelf.curves + (fixed * share) @ moved
        )

    return reflect


def glow(rng: np.random.Generator, shelf: Shelf, h: float) -> Physics:
    """Two dyes glow: broad light far from their bands, kept back only by what absorbs it."""
    peaks = WAVELENGTHS[np.argmax(shelf.curves, axis=1)]
    chosen = rng.choice(np.flatnonzero(peaks < 600.0), 2, replace=False)
    yields = h * rng.uniform(0.05, 0.25, 2)
    away = (WAVELENGTHS - peaks[chosen, np.newaxis] - rng.uniform(55.0, 90.0, (2, 1))) / 28.0
    light = yields[:, np.newaxis] * np.exp(-0.5 * away**2)

    def reflect(amounts: Array) -> Array:
        fixed = shelf.fixed(amounts)
        absorption = shelf.absorption(fixed)
        plain = shelf.opaque(absorption)
        by_dye = fixed[:, chosen, np.newaxis] * shelf.curves[chosen] / absorption[:, np.newaxis]
        taken = (by_dye * (1.0 - plain)[:, np.newaxis]).mean(axis=2)
        return np.asarray(plain * (1.0 + 2.0 * taken @ light))

    return reflect


def printed(rng: np.random.Generator, shelf: Shelf, h: float) -> Physics:
    """Pastes with a white in them cover the ground in part, and little shows through."""
    count = len(shelf.names)
    covers = rng.uniform(0.5, 2.5, count)
    white = 0.3 + 6.0 * h * rng.uniform(0.5, 1.5, count)
    ground = 1.0 / (1.0 + shelf.cloth + np.sqrt(shelf.cloth * (shelf.cloth + 2.0)))
    sinks = 0.3 * (1.0 - h)

    def reflect(amounts: Array) -> Array:
        parts = np.maximum(amounts, 1e-9)
        ratio = parts @ (4.0 * shelf.curves) / (parts @ white)[:, np.newaxis]
        paste = 1.0 / (1.0 + ratio + np.sqrt(ratio * (ratio + 2.0)))
        cover = -np.expm1(-(amounts @ covers))[:, np.newaxis]
        stained = ground * (1.0 - sinks * cover * (1.0 - paste))
        return shelf.seen(cover * paste + (1.0 - cover) * stained)

    return reflect


def aggregation(rng: np.random.Generator, shelf: Shelf, h: float) -> Physics:
    """Bands that move, widen and lose height as a dye stacks; other dyes break the stacks up."""
    count = len(shelf.names)
    moves = h * rng.uniform(-45.0, 45.0, count)
    widens = 1.0 + h * rng.uniform(0.0, 1.2, count)
    loses = h * rng.uniform(0.0, 0.7, count)
    breaks = rng.uniform(1.0, 4.0)
    stacked = np.empty_like(shelf.curves)
    kernel_nm = WAVELENGTHS[:, np.newaxis] - WAVELENGTHS
    for i, curve in enumerate(shelf.curves):
        moved = np.interp(WAVELENGTHS - moves[i], WAVELENGTHS, curve)
        blur = np.exp(-0.5 * (kernel_nm / (30.0 * (widens[i] - 1.0) + 2.0)) ** 2)
        stacked[i] = (1.0 - loses[i]) * (blur @ moved) / blur.sum(axis=1)

    def reflect(amounts: Array) -> Array:
        fixed = shelf.fixed(amounts)
        others = fixed.sum(axis=1, keepdims=True) - fixed
        share = fixed / (fixed + 1.0 + breaks * others)
        return shelf.opaque(
            shelf.cloth + (fixed * (1.0 - share)) @ shelf.curves + (fixed * share) @ stacked
        )

    return reflect


def fluorescence(rng: np.random.Generator, shelf: Shelf, h: float) -> Physics:
    """Some dyes give part of what they absorb back at longer waves; other dyes quench it."""
    count = len(shelf.names)
    peaks = WAVELENGTHS[np.argmax(shelf.curves, axis=1)]
    emits = rng.random(count) < 0.5
    emits[np.argmin(peaks)] = True
    emits &= np.array([name not in ("black", "brown", "navy") for name in shelf.names])
    yields = np.where(emits, h * rng.uniform(0.15, 0.40, count), 0.0)
    centre = (peaks + rng.uniform(40.0, 60.0, count))[:, np.newaxis]
    emission = np.exp(-0.5 * ((WAVELENGTHS - centre) / 18.0) ** 2)
    emission /= emission.sum(axis=1, keepdims=True)
    shorter = np.clip(1.0 - (WAVELENGTHS - centre) / 60.0, 0.0, 1.0) * (centre > WAVELENGTHS)
    quench = rng.uniform(0.3, 1.5)

    def reflect(amounts: Array) -> Array:
        fixed = shelf.fixed(amounts)
        absorption = shelf.absorption(fixed)
        plain = shelf.opaque(absorption)
        by_dye = fixed[..., np.newaxis] * shelf.curves / absorption[:, np.newaxis]
        photons = ((1.0 - plain)[:, np.newaxis] * by_dye * shorter).sum(axis=2)
        others = fixed.sum(axis=1, keepdims=True) - fixed
        given = yields * photons / (1.0 + quench * (others + 0.5 * fixed))
        return np.asarray(plain + np.sqrt(plain) * (given @ emission))

    return reflect


def translucent(rng: np.random.Generator, shelf: Shelf, h: float) -> Physics:
    """One thin layer read over a backing: Kubelka & Munk 1931 of finite thickness."""
    thick = 3.0 * (0.6 / 3.0) ** h
    backing = rng.choice([0.9, 0.8, 0.4]) * np.ones_like(WAVELENGTHS)

    def reflect(amounts: Array) -> Array:
        return shelf.seen(film(shelf.absorption(shelf.fixed(amounts)), np.ones(1), thick, backing))

    return reflect


def opaque(rng: np.random.Generator, shelf: Shelf, h: float) -> Physics:
    """Colorants that scatter lie on the ground and hide it; harsh ones lie on little else."""
    count = len(shelf.names)
    scatters = h * rng.uniform(0.1, 1.5, (count, 1))
    scatters = scatters * np.exp(0.4 * _FROM_MIDDLE + 0.4 * smooth_noise(rng, count, 60.0))
    ground = 1.0 / (1.0 + shelf.cloth + np.sqrt(shelf.cloth * (shelf.cloth + 2.0)))
    fibre = 4.0 * (1.0 - h) + 0.02
    full = 6.0 * (1.0 - h) + 1.2

    def reflect(amounts: Array) -> Array:
        laid = amounts / (1.0 + amounts.sum(axis=1, keepdims=True) / full)
        scatter = fibre + laid @ scatters
        absorption = fibre * shelf.cloth + laid @ shelf.curves * (1.5 + 0.6 * fibre)
        return shelf.seen(film(absorption, scatter, 1.0, ground))

    return reflect


def film(absorption: Array, scatter: Array, thick: float, backing: Array) -> Array:
    """Reflectance of a layer over a backing, any shape (Kubelka 1948, eq. 12, hyperbolic)."""
    a = 1.0 + absorption / scatter
    b = np.sqrt(a * a - 1.0)
    turns = b / np.tanh(np.clip(b * scatter * thick, 1e-9, 50.0))
    return np.asarray((1.0 - backing * (a - turns)) / (a - backing + turns))
