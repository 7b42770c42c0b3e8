"""From colours to amounts: how much of each dye of a recipe lies in each cell of a piece.

Every cell asks the forward model which amounts ≥ 0, as K/S summed band by band, give the three
responses that were seen. Unknowns are working amounts g over those of the recipe's dose, in which
K/S is linear; the residual is the difference of cube roots of the responses (white 1), in which
equal steps look about equal (CIE 015:2018). An inverse table over cube roots starts each cell;
undamped Gauss–Newton steps in single precision, in the closed form of the normal equations, bring
most of them home, with dyes that rest on a bound held there; those that do not settle (out of
reach, or cycling on a bound) are finished by the damped solver, `model.least_squares`.

Three responses fix three dyes at most. Of more, the recipe's ratios are the prior: a row more for
each dye draws its share of the dose, as far as it works, to the mean of all, `RATIOS` strong.

Arrays stand with the long axis last, ``(k, N)``: numpy then works along memory.
"""

import os
from collections.abc import Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dyemix.arrays import Array, Flags, Indices
from dyemix.colour.colorimetry import D65_2, Light, weights
from dyemix.dataset.recipe import Recipe
from dyemix.errors import RecipeError
from dyemix.model.dyes import DyeSet
from dyemix.model.kubelka_munk import depth_law
from dyemix.model.least_squares import Residual, eliminated, solve
from dyemix.model.mixtures import company_share

Single = NDArray[np.float32]

#: A cell may hold so many times the dose: where liquor stood, low-water pieces hold several.
MOST = 14.0
#: How strongly recipes of more than three dyes are drawn to their ratios: a dye that is its whole
#: dose off weighs as much as 0.003 in a cube root, 0.35 L*, about what a cell is sure to.
RATIOS = 0.003
#: Nodes along each side of the inverse table; points that it is made from.
_NODES, _POINTS = 33, 8000
_STEPS, _SETTLED = 4, 2e-3
#: Keeps a dye that no longer darkens anything solvable.
_RIDGE = np.float32(1e-9)
_CHUNK = 8192
#: Responses below this are no cloth's: the camera's matrix can give them, noise in the dark too.
DARKEST = 1e-4


class Unmixer:
    """Finds the amounts of one recipe's dyes behind three responses: XYZ under a light, white 1.

    `dyes` of the `recipe` alone, `dose` ``(k,)`` in % owf.
    """

    def __init__(
        self, dyes: DyeSet, recipe: Mapping[str, float] | str, light: Light = D65_2
    ) -> None:
        self.recipe = Recipe.parse(recipe)
        if not self.recipe:
            raise RecipeError("an undyed piece has no dyes to tell apart: give its recipe.")
        self.dyes, self.dose = dyes.take(list(self.recipe)), np.array(list(self.recipe.values()))
        self.light, blends, w = light, self.dyes.whole, weights(light)
        self._sensed = w / w.sum(axis=0)
        self._unit, most = blends.working(np.outer([1.0, MOST], self.dose))
        self._most = most / self._unit
        # How a curve changes in company is taken as it is in the recipe, so that K/S stays linear.
        share = company_share(self.dose)[:, np.newaxis]
        curves = np.maximum(blends.curves + share * blends.company_curve, 0.0)
        k, curves = len(self.dose), curves * self._unit[:, np.newaxis]
        self._pull = RATIOS * (np.eye(k) - 1.0 / k) if k > 3 else np.zeros((0, k))
        slopes = (self._sensed.T[:, np.newaxis, :] * curves).reshape(-1, curves.shape[1])
        parts = curves.T, blends.cloth[:, np.newaxis], np.ascontiguousarray(self._sensed.T), slopes
        self._parts = {kind: [x.astype(kind) for x in parts] for kind in (np.float32, np.float64)}
        # Depths ``(G, k)`` and what works at them, rising.
        depths = np.concatenate([[0.0], np.geomspace(1e-4, 1.5 * MOST, 1500)])
        self._depth = depths[:, np.newaxis] * self.dose
        self._alone = np.maximum.accumulate(depth_law(self._depth, blends.law), axis=0)

    # Forward --------------------------------------------------------------------------------------

    def responses(self, amounts: Array) -> Array:
        """Responses ``(N, 3)`` of amounts ``(N, k)`` in % owf, as level cloth of them would be."""
        return np.asarray(self.dyes.reflectance(amounts) @ self._sensed)

    def _roots(self, x: NDArray[Any]) -> tuple[NDArray[Any], NDArray[Any]]:
        """From relative working amounts ``(k, N)`` to cube roots of the responses ``(3, N)`` and
        their slope ``(3, k, N)``, in the precision of the amounts.
        """
        curves, cloth, sensed, slopes = self._parts[x.dtype.type]
        r0, k2 = self.dyes.whole.surface.r0, self.dyes.whole.surface.k2
        through = (1.0 - r0) * (1.0 - k2)
        ks = curves @ x
        ks += cloth
        root_of = np.sqrt(ks * (ks + 2.0))
        ks += root_of
        ks += 1.0
        inside = np.reciprocal(ks, out=ks)
        out = np.reciprocal(1.0 - k2 * inside)
        share = inside * out
        root = np.cbrt(sensed @ share * through + r0)
        share *= out
        share /= root_of  # dR/dk = −R/√(k² + 2k), through the surface
        jacobian = (slopes @ share).reshape(3, *x.shape)
        jacobian *= (-through / (3.0 * root * root))[:, np.newaxis]
        return root, jacobian

    def residual(self, roots: Array) -> Residual:
        """Of relative working amounts ``(k, M)`` to seen `roots` ``(3, N)``, for the solver."""

        def at(x: Array, rows: Indices) -> tuple[Array, Array]:
            root, jacobian = self._roots(x)
            pull = np.repeat(self._pull[:, :, np.newaxis], x.shape[1], axis=2)
            off = np.concatenate([root - roots[:, rows], self._pull @ x])
            return off, np.concatenate([jacobian, pull])

        return at

    # Inverse --------------------------------------------------------------------------------------

    def solve(self, responses: Array | Single) -> tuple[Single, Flags]:
        """Amounts ``(N, k)`` in % owf, and which cells ``(N,)`` no amounts give within 0.01.

        `responses` ``(N, 3)``; those at or below `DARKEST` are taken as that, out of reach.
        """
        out = np.empty((len(responses), len(self.dose)), np.float32)
        missed = np.empty(len(responses), dtype=bool)

        def work(part: slice) -> None:
            roots = np.cbrt(np.maximum(responses[part].T, DARKEST)).astype(np.float32)
            x, settled, off = self._steps(self._start(roots), roots)
            left = np.flatnonzero(~settled)
            if len(left):
                top = np.repeat(self._most[:, np.newaxis], len(left), axis=1)
                residual = self.residual(roots[:, left].astype(float))
                found = solve(residual, x[:, left].astype(float), top, steps=25)
                x[:, left], off[left] = found.x, np.sqrt(found.cost)
            out[part] = self._depths(x.T)
            missed[part] = (off > 0.01) | (responses[part].min(axis=1) <= DARKEST)

        parts = list(slices(len(responses), _CHUNK))
        with ThreadPoolExecutor(min(len(parts) or 1, os.cpu_count() or 1)) as pool:
            list(pool.map(work, parts))
        return out, missed

    def _depths(self, x: Single) -> Single:
        """Amounts ``(N, k)`` in % owf of relative working amounts: the law of each dye undone.

        What a dye does in company depends on the others' amounts, so it is undone in turns, each
        an order nearer.
        """
        g, more = x.T * self._unit.astype(np.float32)[:, np.newaxis], np.ones(1)
        blends = self.dyes.whole
        for turn in range(4):
            columns = zip(g / more, self._alone.T, self._depth.T, strict=True)
            found = np.array([np.interp(*column) for column in columns])
            if turn == 3 or not (blends.company.any() or blends.interaction.any()):
                break
            more = blends.grown(found.T).T
        return np.asarray(found.T, dtype=np.float32)

    def _steps(self, x: Single, roots: Single) -> tuple[Single, Flags, Single]:
        """Undamped steps to `roots` ``(3, N)``: amounts, which settled, how far they are off."""
        most, pull = self._most.astype(np.float32)[:, np.newaxis], self._pull.astype(np.float32)
        square = pull.T @ pull
        ridge = square + _RIDGE * np.eye(len(x), dtype=np.float32)
        for _ in range(_STEPS):
            root, jacobian = self._roots(x)
            off = root - roots
            slope = np.einsum("min,mn->in", jacobian, off) + square @ x
            normal = np.einsum("min,mjn->ijn", jacobian, jacobian)
            normal += ridge[:, :, np.newaxis]
            held = ((x <= 0.0) & (slope > 0.0)) | ((x >= most) & (slope < 0.0))
            system = np.concatenate([normal, slope[:, np.newaxis]], axis=1)
            before, step = x, eliminated(system, held)[0][:, 0]
            x = np.clip(x - step, np.float32(0.0), most)
        moved = np.abs(x - before).max(axis=0)
        return x, moved < _SETTLED * (1.0 + x.max(axis=0)), np.sqrt((off * off).sum(axis=0))

    def _start(self, roots: Single) -> Single:
        """Relative working amounts ``(k, N)`` from the nearest node of the inverse table."""
        low, step, table = self._table
        at = np.clip(np.rint((roots - low) / step), 0, _NODES - 1).astype(np.intp)
        return np.ascontiguousarray(table[:, at[0], at[1], at[2]])

    @cached_property
    def _table(self) -> tuple[Single, Single, Single]:
        """Lowest node and step ``(3, 1)``, and working amounts at the nodes ``(k, n, n, n)``."""
        from scipy.spatial import cKDTree

        k = len(self.dose)
        side = np.linspace(0.0, 1.0, max(2, round(_POINTS ** (1.0 / k)))) ** 2.5
        points = np.stack(np.meshgrid(*[side] * k, indexing="ij")).reshape(k, -1)
        points *= self._most[:, np.newaxis]
        roots = self._roots(points)[0]
        low, high = roots.min(axis=1, keepdims=True), roots.max(axis=1, keepdims=True)
        step = (high - low) / (_NODES - 1)
        nodes = low + step * np.indices((_NODES,) * 3).reshape(3, -1)
        nearest = cKDTree((roots / step).T).query((nodes / step).T)[1]
        x = points[:, nearest].astype(np.float32)
        for part in slices(nodes.shape[1], _CHUNK):
            wanted = nodes[:, part].astype(np.float32)
            x[:, part] = self._steps(np.ascontiguousarray(x[:, part]), wanted)[0]
        table = x.reshape(k, *(_NODES,) * 3)
        return low.astype(np.float32), step.astype(np.float32), table


def slices(count: int, size: int) -> Iterator[slice]:
    """All of `count`, so many at a time."""
    return (slice(i, min(i + size, count)) for i in range(0, count, size))
