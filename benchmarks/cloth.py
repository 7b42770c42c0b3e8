"""Mottled pieces by photograph: figures and amounts against the truth, ten seeds an order.

``python -m benchmarks.cloth [MIX] [COUNT] [FIRST]`` runs one mix alone. Seeds 300 on report; on 100
to 115, and on two further mixes, was chosen what there is to choose. Pieces are of the
simulated strike (`tests/simulated/strike.py`) in the physics of the workshop of seed 0; the squares
that the dyes are fitted to were photographed by the same camera, as the piece is. A perfect
observer sees the same pieces without camera, folds or threads, by dyes fitted to spectra.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from dyemix.arrays import Array, Flags
from dyemix.cloth.doubt import stated_error, worlds
from dyemix.cloth.figures import Blocks
from dyemix.cloth.levelness import Levelness
from dyemix.cloth.preview import Preview, preview
from dyemix.colour.ciede2000 import delta_e
from tests.simulated.strike import FINE, MIXES, ORDERS, Dyed, dye
from tests.simulated.struck import (
    by_camera,
    by_eye,
    photographed_dyes,
    place_of,
    shop,
    spectral_dyes,
)

#: The dullest and the clearest of the mixes that may be asked to be right dye by dye.
_BARS = {"clear": 8.0, "quiet": 15.0, "dull": 15.0}


def _main(found: Levelness | Preview) -> Array:
    return np.array([figure.value for figure in found.figures[:6]])


def truth(piece: Dyed) -> Array:
    """The main figures of a piece as it is ``(6,)``."""
    return np.array([piece.undyed, piece.unevenness, piece.splitting, *piece.mean_colour])


def by_blocks(found: Levelness, piece: Dyed) -> tuple[Array, Array, Array]:
    """Estimated and true amounts over the dose ``(N, k)`` of the same places, and 90 % errors."""
    cells = found.cells
    assert cells is not None
    relative = cells.amounts / piece.dose.astype(np.float32)
    main = Blocks.of(cells.inside, relative, cells.responses, cells.cell_mm)
    n = round(main.side_mm / cells.cell_mm)
    world = worlds(cells, main)
    error = np.full(main.relative.shape, np.nan)
    error[world.some] = world.blocks
    fine, inside = piece.amounts / piece.dose, np.argwhere(main.inside)
    if not found.name.endswith(".jpg"):
        return main.relative, piece.blocks(fine)[inside[:, 0], inside[:, 1]], error
    corner, other = inside * n, inside * n + n - 1
    middle = sum(cells.places[at[:, 0], at[:, 1]] for at in (corner, other)) / 2.0
    at = (middle - place_of(piece))[:, ::-1] * FINE
    half = round(found.figures[0].block_mm * FINE / 2)
    low = np.clip(np.rint(at).astype(int) - half, 0, np.array(fine.shape[:2]) - 2 * half)
    summed = np.pad(fine.cumsum(axis=0).cumsum(axis=1), ((1, 0), (1, 0), (0, 0)))
    a, b = low.T
    total = summed[a + 2 * half, b + 2 * half] - summed[a, b + 2 * half]
    total = total - summed[a + 2 * half, b] + summed[a, b]
    return main.relative, total / (2 * half) ** 2, error


def misses(blocks: tuple[Array, Array, Array], to_mean: bool) -> tuple[Array, Flags]:
    """Relative errors of amounts over a tenth of the dose, dye by dye ``(k,)`` medians; and which
    blocks' stated errors cover.
    """
    got, true, error = blocks
    held = true > 0.1
    a, b = (got / got.mean(axis=0), true / true.mean(axis=0)) if to_mean else (got, true)
    off = np.abs(a / np.where(held, b, 1.0) - 1.0)
    medians = np.array([np.median(off[held[:, i], i]) for i in range(got.shape[1])])
    known = held & ~np.isnan(error)
    return medians, (np.abs(got - true) <= error)[known]


def round_trip(found: Levelness, order: str, seed: int) -> Array:
    """How far undyed share, unevenness, splitting and mean colour (ΔE2000) of a preview that is
    made of a piece are from the piece's own ``(4,)``.
    """
    assert found.cells is not None
    dyes, own = found.cells.unmixer.dyes, _main(found)
    pieces = [replace(found, order=order)]
    again = _main(preview(dyes, found.recipe, order=order, pieces=pieces, seed=seed)[0])
    return np.array([*np.abs(again - own)[:3], float(delta_e(again[3:], own[3:]))])


def ranked(values: Array, true: Array) -> float:
    """Share of seeds whose three orders ``(S, 3)`` are ranked as the truth ranks them."""
    same = np.argsort(values, axis=1) == np.argsort(true, axis=1)
    return float(same.all(axis=1).mean())


def ranked_beyond(values: Array, true: Array, errors: Array) -> tuple[int, int, float]:
    """How many pairs of orders differ in truth by more than the stated error of their difference
    ``(S, 3)``, how many of these are the right way round, and in what share of seeds all of them.
    """
    one, other = np.array(list(combinations(range(values.shape[1]), 2))).T
    apart = true[:, one] - true[:, other]
    told = np.abs(apart) > errors
    right = (values[:, one] - values[:, other]) * apart > 0.0
    return int(told.sum()), int((told & right).sum()), float((right | ~told).all(axis=1).mean())


def _rank_correlation(one: Array, other: Array) -> float:
    from scipy.stats import spearmanr

    return float(spearmanr(one.ravel(), other.ravel())[0])


@dataclass(frozen=True)
class Seed:
    """What became of the pieces of one seed, an order a row.

    Main figures by camera, `seen`, in truth and their stated errors ``(3, 6)``; those of the
    differences of `pairs` of orders ``(3, 6)``; median errors of amounts as a perfect observer and
    as the `camera` sees them ``(3, k)``; which blocks' errors cover; what a preview is off
    ``(3, 4)``.
    """

    seen: Array
    true: Array
    stated: Array
    pairs: Array
    eye: Array
    camera: Array
    covered: Flags
    back: Array


def one_seed(mix: str, seed: int) -> Seed:
    """Dye, photograph and analyse a piece of each order."""
    names, rows, covered, draws = tuple(MIXES[mix]), [], [], []
    for order in ORDERS:
        piece = dye(MIXES[mix], order, seed, shop=shop())
        squares, stem = photographed_dyes(names), f"{mix}-{seed}-{order}"
        found = by_camera(piece, squares, stem, order, seed=seed)
        perfect = by_eye(piece, spectral_dyes(names))
        medians, covers = misses(by_blocks(found, piece), True)
        stated = np.array([figure.error for figure in found.main])
        rows.append((
            _main(found), truth(piece), stated, misses(by_blocks(perfect, piece), False)[0],
            medians, round_trip(perfect, order, seed),
        ))  # fmt: skip
        covered.append(covers)
        draws.append(found.draws)
    seen, true, told, eye, camera, back = (np.array(part) for part in zip(*rows, strict=True))
    pairs = np.array([stated_error(one - other) for one, other in combinations(draws, 2)])
    return Seed(seen, true, told, pairs, eye, camera, np.concatenate(covered), back)


def gathered(seeds: Sequence[Seed], *parts: str) -> list[Array]:
    """Each of these parts ``(S, 3, ...)`` of all seeds."""
    return [np.array([getattr(seed, part) for seed in seeds]) for part in parts]


def tell(mix: str, seeds: Sequence[Seed]) -> None:
    """Print what became of the pieces of one mix."""
    names = tuple(MIXES[mix])
    seen, true, stated, pairs, eye, camera, back = gathered(
        seeds, "seen", "true", "stated", "pairs", "eye", "camera", "back"
    )
    covered = np.concatenate([seed.covered for seed in seeds])
    print(f"{mix}: {len(seeds)} seeds of {', '.join(ORDERS)}")
    off = np.abs(seen - true)[..., 0]
    print(f"  undyed share off by {off.mean():.1f} points, {off.max():.1f} at worst (asked: 2)")
    for k, name in enumerate(("undyed share", "unevenness", "splitting")):
        slope = np.polyfit(true[..., k].ravel(), seen[..., k].ravel(), 1)[0]
        agree = _rank_correlation(seen[..., k], true[..., k])
        kept = ranked(seen[..., k], true[..., k])
        count, right, seeds_right = ranked_beyond(seen[..., k], true[..., k], pairs[..., k])
        print(
            f"  {name}: slope {slope:.2f}, rank correlation {agree:.3f}, orders as truth ranks "
            f"them in {100 * kept:.0f} % of seeds (asked: 90); {right} of {count} pairs apart "
            "in truth by more than the stated error of the difference are the right way round, all "
            f"of a seed's in {100 * seeds_right:.0f} %"
        )
    eyes = 100.0 * np.median(eye, axis=(0, 1))
    told = ", ".join(f"{n} {x:.0f}" for n, x in zip(names, eyes, strict=True))
    bar = f"asked: {_BARS[mix]:.0f}"
    print(f"  perfect observer, 2 mm blocks: median {eyes.mean():.1f} % off ({bar}): {told}")
    by_dye = 100.0 * np.median(camera, axis=(0, 1))
    told = ", ".join(f"{n} {x:.0f}" for n, x in zip(names, by_dye, strict=True))
    bar = "asked: 12" if mix == "clear" else "no bar"
    print(f"  camera, of each dye's mean: median {by_dye.mean():.1f} % off ({bar}): {told}")
    figures = (np.abs(seen - true) <= stated).mean(axis=(0, 1))
    print(
        f"  stated 90 % errors cover {100 * covered.mean():.0f} % of amounts of "
        f"blocks, of figures {', '.join(f'{100 * x:.0f}' for x in figures)} % (asked: 80 pooled)"
    )
    worst = back.max(axis=(0, 1))
    print(
        f"  analysed, previewed, analysed: undyed {worst[0]:.1f}, unevenness {worst[1]:.2f}, "
        f"splitting {worst[2]:.2f}, mean colour {worst[3]:.2f} ΔE2000 at worst (asked: 2, 0.1, "
        "0.5, 0.5)"
    )


def main(mixes: Sequence[str] = tuple(MIXES), count: int = 10, first: int = 300) -> None:
    """Print each mix, and all of them pooled."""
    found = {mix: [one_seed(mix, first + i) for i in range(count)] for mix in mixes}
    for mix, seeds in found.items():
        tell(mix, seeds)
    every = [seed for seeds in found.values() for seed in seeds]
    seen, true, stated = gathered(every, "seen", "true", "stated")
    covered = 100 * (np.abs(seen - true) <= stated).mean()
    slope = np.polyfit(true[..., 2].ravel(), seen[..., 2].ravel(), 1)[0]
    print(
        f"all: figures covered {covered:.0f} %; splitting slope {slope:.2f}, rank correlation "
        f"{_rank_correlation(seen[..., 2], true[..., 2]):.3f}"
    )


if __name__ == "__main__":
    words = sys.argv[1:]
    main(tuple(words[:1]) or tuple(MIXES), *map(int, words[1:]))
