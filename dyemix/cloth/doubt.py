"""What is not known of a piece, drawn as worlds: sensor, fit, camera, shading and mixing together.

In each world colours are off as the camera may be wrong (alike for like colours), the light as it
may fall unevenly, and the dyes as their fit leaves them open, one draw for the whole piece. What
the figures make of that is their error. Model bias, not noise, rules it.
"""

from dataclasses import dataclass

import numpy as np

from dyemix.arrays import Array, Indices
from dyemix.cloth.amounts import Unmixer
from dyemix.cloth.figures import Blocks, difference, labs, main_figures, path
from dyemix.cloth.photographed import Photographed
from dyemix.colour.ciede2000 import metric
from dyemix.colour.colorimetry import D65_2, white, xyz_from_lab
from dyemix.model.uncertainty import effects
from dyemix.model.unknowns import OWN_SHARE

#: Nine times in ten a normal error is within so many standard deviations.
NINE_IN_TEN = 1.645
#: Worlds that are drawn, and the most blocks they are drawn for.
WORLDS, _BLOCKS = 32, 2500
#: Colours nearer than about this (ΔE*ab) are seen wrong alike; so far (blocks) light is alike.
_ALIKE, _FALL = 25.0, 15.0
#: Standard deviations of the light over a piece, of its level, and of one block by itself (working
#: values for cloth that was ironed and lies flat under a window).
_UNEVEN, _LEVEL, _GRAIN = 0.02, 0.012, 0.004
#: The errors that a card shows are those of paint; vivid dyes are off by so much more (simulated
#: camera 0; camera 1 is for the report).
_OF_DYES = 1.5
_WAVES = 48


@dataclass(frozen=True, eq=False)
class Worlds:
    """How far figures move, world by world.

    `draws` ``(W, 6)`` of the main figures. 90 % errors: `error` ``(6,)`` of those; `mean` ``(k,)``
    of the mean amounts, `blocks` ``(M, k)`` of those of the blocks `some` ``(M,)``, as shares of
    the dose; `difference` of the ΔE2000 from the mean, as a share of it.
    """

    draws: Array
    error: Array
    mean: Array
    some: Indices
    blocks: Array
    difference: float

    def typical(self, relative: Array) -> Array:
        """Median 90 % error ``(k,)`` of a block of over a tenth of the dose, as a share of it."""
        held = relative[self.some]
        share = [b[h > 0.1] / h[h > 0.1] for b, h in zip(self.blocks.T, held.T, strict=True)]
        return np.array([np.median(x) if len(x) else 0.0 for x in share])


def worlds(cells: Photographed, found: Blocks) -> Worlds:
    """Draw worlds, and see what becomes of the figures of blocks in each.

    What the dyes may be does not move the colours that were seen: it moves the path of the recipe,
    and the amounts, for which the solver is asked for what is seen less that move.
    """
    rng, unmixer = np.random.default_rng(18), cells.unmixer
    some = np.arange(len(found.relative))
    if len(some) > _BLOCKS:
        some = np.sort(np.random.default_rng(len(some)).choice(some, _BLOCKS, replace=False))
    relative, responses = found.relative[some], found.responses[some]
    at, seen, count = np.argwhere(found.inside)[some].astype(float), labs(responses), len(some)
    there, on_path = path(unmixer)
    points, colours = np.concatenate([relative, there]), np.concatenate([seen, on_path])
    by_dyes = _by_dyes(unmixer, points, colours, rng)
    camera = np.linalg.cholesky(_OF_DYES**2 * cells.camera + 1e-9 * np.eye(3))
    by_camera = _alike(unmixer, seen, np.asarray(camera), rng, cells.anchored)
    light = _UNEVEN * _fields(at, _FALL, 1, rng) + _LEVEL * rng.standard_normal((WORLDS, 1, 1))
    light = np.exp(light + _GRAIN * rng.standard_normal((WORLDS, count, 1)))
    looks = light * _responses(seen + by_camera)
    asked = light * _responses(seen + by_camera - by_dyes[:, :count])
    solved = unmixer.solve(np.concatenate([responses[np.newaxis], asked]).reshape(-1, 3))[0]
    amounts = solved.reshape(WORLDS + 1, count, -1).astype(float) / unmixer.dose
    amounts = np.maximum(relative + amounts[1:] - amounts[0], 0.0)
    paths = on_path + by_dyes[:, count:]
    draws = np.array([main_figures(*each) for each in zip(amounts, looks, paths, strict=True)])
    draws -= main_figures(relative, responses, on_path)
    apart = np.array([difference(r) for r in looks]) / max(difference(responses), 1e-9) - 1.0
    mean, by_block = _spread(amounts.mean(axis=1)), _spread(amounts)
    return Worlds(draws, stated_error(draws), mean, some, by_block, float(stated_error(apart)))


def stated_error(moved: Array) -> Array:
    """90 % errors of what has `moved` by so much in each world ``(W, ...)``."""
    return np.asarray(NINE_IN_TEN * np.sqrt((moved**2).mean(axis=0)))


def _spread(values: Array) -> Array:
    """90 % error over worlds by their middle two thirds: some worlds have no such depth."""
    low, high = np.quantile(values, [0.1587, 0.8413], axis=0)
    return np.asarray(NINE_IN_TEN * (high - low) / 2.0)


def _responses(seen: Array) -> Array:
    return np.asarray(np.maximum(xyz_from_lab(seen, D65_2) / white(D65_2), 1e-4))


def _by_dyes(unmixer: Unmixer, relative: Array, seen: Array, rng: np.random.Generator) -> Array:
    """How far CIELAB ``(W, N, 3)`` of amounts is off by what the fit leaves open, and in a mix."""
    dyes, known = unmixer.dyes, unmixer.dyes.known
    values, vectors = np.linalg.eigh(known.covariance)
    root = vectors * np.sqrt(np.maximum(values, 0.0) * known.widening)
    theta = rng.standard_normal((WORLDS, len(root))) @ root.T
    strengths, slopes = effects(dyes.whole, relative * unmixer.dose, D65_2, dyes.ladders.modes)
    off = np.einsum("njp,wp->wnj", slopes, theta)
    own = OWN_SHARE * known.strength * rng.standard_normal((WORLDS, len(unmixer.dose)))
    off += np.einsum("njk,nk,wk->wnj", strengths.by_strength, strengths.share, own)
    return np.asarray(off + _alike(unmixer, seen, known.rest * np.eye(3), rng, anchored=True))


def _alike(
    unmixer: Unmixer, seen: Array, root: Array, rng: np.random.Generator, anchored: bool
) -> Array:
    """CIELAB ``(W, N, 3)`` that colours ``(N, 3)`` are off, by a `root` ``(3, 3)`` in ΔE2000;
    nothing at undyed cloth, where that is `anchored`.

    Half of the variance is alike for like colours, half a shift common to all: a camera's primaries
    lean one way, and the mean of a piece of many colours would else be far too sure.
    """
    undyed = labs(unmixer.responses(np.zeros((1, len(unmixer.dose)))))
    back = np.linalg.inv(metric(seen)) @ root
    waves = _fields(np.concatenate([seen, undyed]), _ALIKE, 3, rng)
    common = np.linalg.cholesky((back @ back.transpose(0, 2, 1)).mean(axis=0) + 1e-9 * np.eye(3))
    shift = rng.standard_normal((WORLDS, 1, 3)) @ common.T
    apart = ((seen - undyed) ** 2).sum(axis=1, keepdims=True)
    near = np.exp(-0.5 * apart / _ALIKE**2) * anchored
    own = np.einsum("nij,wnj->wni", back, waves[:, :-1] - near * waves[:, -1:])
    return np.asarray(np.sqrt(0.5) * (own + (1.0 - near) * shift))


def _fields(at: Array, alike: float, parts: int, rng: np.random.Generator) -> Array:
    """Gaussian fields ``(W, N, parts)`` of variance 1 over points ``(N, d)``, by random waves
    (Rahimi & Recht 2007): alike within `alike`, strangers beyond.
    """
    waves = rng.standard_normal((_WAVES, at.shape[1])) / alike
    shape = np.cos(at @ waves.T + rng.uniform(0.0, 2.0 * np.pi, _WAVES)) * np.sqrt(2.0 / _WAVES)
    return np.asarray(shape @ rng.standard_normal((WORLDS, _WAVES, parts)))
