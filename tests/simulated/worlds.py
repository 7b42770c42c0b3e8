"""Worlds: small dye shelves whose physics is not that of any fit, to test promises against.

A world is a family (its physics) and a seed (dyes, cloth, ladders, scatter and all noise). The
seeds of a family go from mild to harsh and round again every ten. Constants may be chosen on the
families marked DEVELOP with `DEVELOP_SEEDS`; those marked REPORT, with `REPORT_SEEDS`, are for the
report alone and were used for no constant.

    some = world("pairs", 103)
    ladders = some.ladders("Lab")
    pots = some.read(some.dye(some.mixes(300, seed=1), seed=1), "Lab", seed=1)
    floor = some.floor(pots)

Axis letters: N pots, D dyes, B bands (31, 400 to 700 nm). Amounts are % owf.
"""

import zlib
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from tests.simulated import physics, scatter
from tests.simulated.eye import Array, delta_e, lab, lab_of_screen, screen
from tests.simulated.physics import Maker, Physics
from tests.simulated.shelves import draw_shelf
from tests.simulated.workshop import Workshop

DEVELOP, REPORT = "develop", "report"
DEVELOP_SEEDS, REPORT_SEEDS = tuple(range(10)), tuple(range(1100, 1110))
SPECTRUM, LAB, PHOTOGRAPH, HEX = "spectrum", "Lab", "photograph", "hex"


@dataclass(frozen=True)
class Family:
    """One physics: what it is for, how it is made, and how its colours are usually read."""

    use: str
    about: str
    make: Maker | None = None
    kinds: tuple[str, ...] = (SPECTRUM, LAB, PHOTOGRAPH)


#: Which families may choose a constant and which only report. `additive` is the model's own physics
#: and shows what scatter alone costs; `workshop` keeps a maker of its own, below.
FAMILIES = {
    "additive": Family(DEVELOP, "the model's own physics: scatter alone", physics.additive),
    "workshop": Family(DEVELOP, "the large workshop: many small departures at once"),
    "scattering": Family(DEVELOP, "scatter that changes with depth", physics.scattering),
    "competition": Family(DEVELOP, "dyes that share sites", physics.competition),
    "facets": Family(DEVELOP, "two fibres side by side, unlevel", physics.facets),
    "isotherm": Family(DEVELOP, "uptake that starts late or ends early", physics.isotherm),
    "company": Family(DEVELOP, "bands that other dyes move", physics.company),
    "crowding": Family(DEVELOP, "bands that move as the fibre fills", physics.crowding),
    "glow": Family(DEVELOP, "two dyes that shine of themselves", physics.glow),
    "printed": Family(DEVELOP, "pastes that cover in part", physics.printed, (HEX,)),
    "paint": Family(REPORT, "two constants: colorants in a white", physics.paint),
    "pairs": Family(REPORT, "interaction of either sign, pair by pair", physics.pairs),
    "gloss": Family(REPORT, "hairs, and a sheen with the absorption", physics.gloss),
    "aggregation": Family(REPORT, "bands that move and widen with depth", physics.aggregation),
    "fluorescence": Family(REPORT, "dyes that emit, and quench each other", physics.fluorescence),
    "drift": Family(REPORT, "days and lots astray, with heavy tails", physics.additive),
    "translucent": Family(REPORT, "one thin layer over a backing", physics.translucent),
    "opaque": Family(REPORT, "colorants that hide the ground", physics.opaque, (HEX,)),
}


@dataclass(frozen=True, eq=False)
class Pots:
    """Pieces that were dyed: recipes (N, D) as asked, and their true reflectance (N, B)."""

    amounts: Array
    reflectance: Array


@dataclass(frozen=True, eq=False)
class Readings:
    """Readings of pieces, one row each.

    Attributes
    ----------
    kind : "spectrum", "Lab", "photograph" or "hex".
    amounts : (N, D) recipes as asked, % owf; all zero is undyed.
    piece : (N,) which piece of cloth.
    lab : (N, 3) CIELAB as read, under D65 and this `observer` (2 degrees for hex, else 10).
    reflectance : (N, B), for spectra only.
    covariance : (N, 3, 3) true covariance of `lab`, for photographs only; readings of one frame
        are also correlated with each other (`scatter.photograph_covariance`).
    frame : (N,) which photograph.
    codes : (N, 3) eight-bit sRGB, for hex only; 0 and 255 are clipped.
    """

    kind: str
    amounts: Array
    piece: NDArray[np.int64]
    lab: Array
    observer: int = 10
    reflectance: Array | None = None
    covariance: Array | None = None
    frame: NDArray[np.int64] | None = None
    codes: NDArray[np.int64] | None = None

    def __len__(self) -> int:
        return len(self.amounts)


@dataclass(frozen=True, eq=False)
class World:
    """A dyer's shelf with a known truth.

    Attributes
    ----------
    reflect : what maps amounts in the bath (N, D) to reflectance (N, B).
    depths : % owf of the squares of every dye, 3 to 6 of them, palest first.
    again : one square in so many is dyed again; 0 for none.
    readings : how often each square of the ladders is read.
    """

    family: str
    seed: int
    names: tuple[str, ...]
    reflect: Physics
    scatter: scatter.Scatter
    depths: tuple[float, ...]
    again: int
    readings: int

    @property
    def kinds(self) -> tuple[str, ...]:
        """The kinds of reading that this family is for."""
        return FAMILIES[self.family].kinds

    def recipe(self, amounts: Array) -> dict[str, float]:
        """Amounts (D,) as dye: % owf, without those that are zero."""
        return {n: float(c) for n, c in zip(self.names, amounts, strict=True) if c > 0}

    def truth(self, amounts: Array) -> Array:
        """Reflectance (N, B) of the average pot of recipes (N, D), free of every scatter."""
        return self.reflect(np.asarray(amounts, dtype=float))

    def truth_lab(self, amounts: Array, kind: str = SPECTRUM) -> Array:
        """CIELAB (N, 3) of the same, as this kind of reading shows it free of error."""
        true = self.truth(amounts)
        return lab_of_screen(self._codes(true)) if kind == HEX else lab(true)

    def _codes(self, spectra: Array) -> NDArray[np.int64]:
        return screen(spectra, self.scatter.gain, self.scatter.vivid)

    def mixes(self, count: int, seed: int) -> Array:
        """Recipes (count, D) of two or three dyes, a third of them quiet, spread over depths."""
        rng = self._rng(1, seed)
        pool = 4 * count
        amounts = np.zeros((pool, len(self.names)))
        totals = np.exp(rng.uniform(np.log(2.5 * self.depths[0]), np.log(self.depths[-1]), pool))
        for row, total in zip(amounts, totals, strict=True):
            members = rng.choice(len(self.names), rng.integers(2, 4), replace=False)
            shares = 0.06 + 0.94 * rng.dirichlet(np.full(len(members), 1.5))
            row[members] = total * shares / shares.sum()
        amounts = np.where(amounts > 0, np.maximum(amounts.round(3), 0.005), 0.0)
        chroma = np.hypot(*self.truth_lab(amounts)[:, 1:].T)
        quiet = np.argsort(chroma)[: pool // 3]
        some = rng.choice(quiet, count // 3, replace=False)
        rest = np.setdiff1d(np.arange(pool), some)
        chosen = np.concatenate([some, rng.choice(rest, count - len(some), replace=False)])
        return np.asarray(amounts[rng.permutation(chosen)])

    def dye(self, amounts: Array, seed: int) -> Pots:
        """Dye mixes (N, D), a few pots a day, from the lots of powder that mixes are made from."""
        rng = self._rng(2, seed)
        amounts = np.asarray(amounts, dtype=float)
        own = self.scatter.lots
        lots = rng.integers(1, own + 1, amounts.shape) if own else np.zeros(amounts.shape, int)
        powder = self._lots[lots, np.arange(len(self.names))]
        return self._pots(amounts, powder, int(rng.integers(4, 9)), rng)

    def ladders(self, kind: str = SPECTRUM) -> Readings:
        """Readings of undyed cloth, of each dye at each depth, and of some squares dyed again."""
        rng = self._rng(3)
        count = len(self.names)
        singles = np.concatenate([depth * np.eye(count) for depth in self.depths])
        singles = singles[np.argsort(np.argmax(singles, axis=1), kind="stable")]
        repeated = singles[self.again // 2 :: self.again] if self.again else singles[:0]
        amounts = np.concatenate([np.zeros((2, count)), singles, repeated])
        pots = self._pots(amounts, self._lots[0], int(rng.integers(8, 16)), rng)
        return self.read(pots, kind, -1, self.readings)

    def read(self, pots: Pots, kind: str, seed: int, readings: int = 1) -> Readings:
        """Read each piece `readings` times, one after the other; a photograph holds 20 pieces."""
        rng = self._rng(4, seed + 1, zlib.crc32(kind.encode()))
        piece = np.repeat(np.arange(len(pots.amounts)), readings)
        amounts, true = pots.amounts[piece], pots.reflectance[piece]
        if kind == PHOTOGRAPH:
            frame = np.tile(np.arange(readings), len(pots.amounts)) + readings * (piece // 20)
            labs, size = lab(true), self.scatter.photograph
            basis = size * scatter.frame_basis(labs)
            stated = basis @ basis.transpose(0, 2, 1) + np.diag((size * scatter.OWN) ** 2)
            seen = scatter.photograph(rng, labs, frame, size)
            return Readings(kind, amounts, piece, seen, covariance=stated, frame=frame)
        spectra = scatter.read_spectra(rng, true, self.scatter.reading)
        if kind == HEX:
            codes = self._codes(spectra)
            return Readings(kind, amounts, piece, lab_of_screen(codes), 2, codes=codes)
        if kind == LAB:
            return Readings(kind, amounts, piece, lab(spectra))
        if kind == SPECTRUM:
            return Readings(kind, amounts, piece, lab(spectra), reflectance=spectra)
        raise ValueError(f"no kind of reading {kind!r}: spectrum, Lab, photograph or hex")

    def floor(self, readings: Readings) -> Array:
        """ΔE2000 (N,) of the true model from these readings: what no calibration can go below."""
        return delta_e(self.truth_lab(readings.amounts, readings.kind), readings.lab)

    @cached_property
    def _lots(self) -> Array:
        """Strength (1 + lots, D) of each lot of powder; the first is that of the ladders."""
        shape = (1 + self.scatter.lots, len(self.names))
        return scatter.astray(self._rng(5), self.scatter.lot, self.scatter.tails, shape)

    def _pots(self, amounts: Array, powder: Array, per_day: int, rng: np.random.Generator) -> Pots:
        count = len(amounts)
        size = self.scatter
        days = scatter.astray(rng, size.day, size.tails, (count // per_day + 1, 1))
        factor = powder * days[np.arange(count) // per_day]
        factor = factor * np.exp(size.pot * rng.standard_normal((count, 1)))
        factor = factor * np.exp(size.dosing * rng.standard_normal(amounts.shape))
        return Pots(amounts, self.reflect(amounts * factor))

    def _rng(self, *key: int) -> np.random.Generator:
        return np.random.default_rng([zlib.crc32(self.family.encode()), self.seed, *key])


def _of_workshop(rng: np.random.Generator, seed: int) -> tuple[tuple[str, ...], Physics]:
    """Six to nine of the twelve dyes of a workshop, without its own noise."""
    shop = Workshop(seed, noise=False)
    some = np.sort(rng.choice(len(shop.dyes), rng.integers(6, 10), replace=False))
    names = tuple(shop.dyes[i] for i in some)

    def reflect(amounts: Array) -> Array:
        rows = [dict(zip(names, row.tolist(), strict=True)) for row in amounts]
        return np.array([shop.true_reflectance(row) for row in rows])

    return names, reflect


def harshness(seed: int) -> float:
    """From 0.1 (mild) at a seed that ends in 0 to 1 (harsh) at one that ends in 9."""
    return 0.1 * (1 + seed % 10)


def world(family: str, seed: int) -> World:
    """The world of a family and a seed, the same each time."""
    rng = np.random.default_rng([zlib.crc32(family.encode()), seed, 0])
    make = FAMILIES[family].make
    h = harshness(seed)
    shelf = draw_shelf(rng)
    names, reflect = (shelf.names, make(rng, shelf, h)) if make else _of_workshop(rng, seed)
    count = int(rng.integers(3, 7))
    low, high = np.exp(rng.uniform(np.log([0.03, 1.5]), np.log([0.15, 4.0])))
    depths = tuple(float(f"{x:.2g}") for x in np.geomspace(low, high, count))
    size = scatter.draw_scatter(rng, h if family == "drift" else 0.0)
    again, readings = int(rng.choice([0, 7, 5])), int(rng.choice([1, 2]))
    return World(family, seed, names, reflect, size, depths, again, readings)
