"""From the camera's linear values to CIELAB under D65/2°, with the error of that step.

A 3 × 3 matrix, or the root-polynomial of degree two (Finlayson, Mackiewicz & Hurlbert, IEEE Trans.
Image Process. 24 (2015) 1460), fitted to a patch card in linear light and chosen by leaving each
patch out. Both keep hue and chroma when the exposure changes, which an ordinary polynomial does
not. Without a patch card the file's own matrix stands, balanced on grey.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import product
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from dyemix.arrays import Array
from dyemix.colour.ciede2000 import delta_e, delta_e_residual
from dyemix.colour.colorimetry import D65_2, lab_from_xyz, lab_slope, xyz_from_lab

Kind = Literal["grey", "linear", "root"]

#: Patches whose luminance (Y of white 1) is about this weigh half: stray light rules the dark ones.
_DARK = 0.03
#: Weights of the file's own matrix, in squared ΔE2000 units per squared unit of the matrix.
_PULLS = (1.0, 30.0, 100.0, 300.0, 1000.0)
#: A patch in more or less light than the others differs by this at least (log of its light).
_SHADED = 0.1
#: Root terms need this many patches: with the vivid ones clipped away they would extrapolate.
ENOUGH_FOR_ROOTS = 20
#: Cloth is not paint: its spectra differ from those of a patch card more than the patches among
#: themselves. Factor on the standard error, computed with two measured cameras on the samples of
#: CIE 224:2017 that are not textiles (benchmarks/photo_errors.py).
CLOTH_FACTOR = 1.45
#: Standard errors in ΔE2000 units (lightness, chroma, hue) of a camera balanced on grey alone in
#: daylight and white LED light, computed as above on the ISO 17321-1 patches; and beside it, a unit
#: of the log ratio of red to blue by which the light differs from the one a matrix stands for.
GREY_ERROR, LIGHT_ERROR = (0.9, 1.6, 2.3), (0.3, 2.0, 3.1)
#: Added to it where tones are bent, or may be: greys tell the curve, but not what was done to
#: saturation.
BENT_ERROR = (0.3, 1.2, 0.6)


def metric(lab: Array) -> Array:
    """Slope ``(N, 3, 3)`` of the three parts of ΔE2000 by L*, a*, b*, at each colour ``(N, 3)``."""
    _, slope = delta_e_residual(lab, lab + 1e-6)
    return slope


def spread_in_lab(lab: Array, error: Array) -> Array:
    """Lab covariances ``(N, 3, 3)`` at colours ``(N, 3)`` of an error ``(3, 3)`` in ΔE2000."""
    back = np.linalg.inv(metric(lab))
    return np.asarray(back @ error @ back.transpose(0, 2, 1))


def features(rgb: Array, kind: Kind) -> Array:
    """``(N, 3)``, or with the roots of the products ``(N, 6)``."""
    if kind != "root":
        return rgb
    r, g, b = np.maximum(rgb, 0.0).T
    roots = np.sqrt(np.stack([r * g, r * b, g * b], axis=1))
    return np.concatenate([rgb, roots], axis=1)


@dataclass(frozen=True, eq=False)
class CameraMatrix:
    """How linear camera values become colours.

    Attributes
    ----------
    kind : grey (balance only), linear (3 × 3) or root (degree two).
    coefficients : ``(3, F)`` from features to XYZ, Y of white 1.
    error : ``(3, 3)`` covariance in ΔE2000 units of the three parts of a difference.
    left_out : ``(P,)`` ΔE2000 of each patch when it was left out; empty without patches.
    patches : their names.
    """

    kind: Kind
    coefficients: Array
    error: Array
    left_out: Array = field(default_factory=lambda: np.empty(0))
    patches: tuple[str, ...] = ()

    def lab(self, rgb: Array) -> Array:
        """CIELAB ``(N, 3)`` under D65/2° of linear values ``(N, 3)``."""
        return lab_from_xyz(100.0 * features(rgb, self.kind) @ self.coefficients.T, D65_2)

    def slope(self, rgb: Array) -> Array:
        """Derivative ``(N, 3, 3)`` of L*, a*, b* (rows) by the camera's values, by differences."""
        step = 1e-4
        return np.stack(
            [(self.lab(rgb + step * e) - self.lab(rgb - step * e)) / (2 * step) for e in np.eye(3)],
            axis=2,
        )

    def __str__(self) -> str:
        if self.kind == "grey":
            return "colour: the file's own primaries, balanced on grey; no patch card."
        name = {"linear": "3 × 3 matrix", "root": "root-polynomial of degree 2"}[self.kind]
        worst = self.patches[int(np.argmax(self.left_out))]
        return (
            f"colour: {name} on {len(self.left_out)} patches; left out one at a time they miss by "
            f"{self.left_out.mean():.1f} ΔE2000 on average, {self.left_out.max():.1f} at worst "
            f"({worst})."
        )


def _solve(rgb: Array, xyz: Array, kind: Kind, own: Array, pull: float) -> Array:
    """Least squares on ΔE2000 to first order: linear in the matrix, weighted at each patch.

    `pull` draws the matrix towards `own` ``(3, 3)``, the file's own primaries, whose roots weigh
    nothing: a camera has already done its best to get there.
    """
    inputs = features(rgb, kind)
    lab = lab_from_xyz(100.0 * xyz, D65_2)
    slope = metric(lab) @ lab_slope(100.0 * xyz, D65_2) * 100.0
    slope *= (xyz[:, 1] / (xyz[:, 1] + _DARK))[:, np.newaxis, np.newaxis]
    rows = np.einsum("nij,nk->nijk", slope, inputs).reshape(3 * len(rgb), -1)
    wanted = np.einsum("nij,nj->ni", slope, xyz).ravel()
    prior = np.zeros((3, inputs.shape[1]))
    prior[:, :3] = own
    rows = np.concatenate([rows, np.sqrt(pull) * np.eye(prior.size)])
    wanted = np.concatenate([wanted, np.sqrt(pull) * prior.ravel()])
    return np.asarray(np.linalg.lstsq(rows, wanted, rcond=None)[0].reshape(3, -1))


def _leave_out(rgb: Array, xyz: Array, kind: Kind, own: Array, pull: float) -> Array:
    """CIELAB ``(P, 3)`` of each patch as the others predict it."""
    each = np.arange(len(rgb))
    rest = [_solve(rgb[each != i], xyz[each != i], kind, own, pull) for i in each]
    return lab_from_xyz(100.0 * np.einsum("pxf,pf->px", rest, features(rgb, kind)), D65_2)


def fit_patches(rgb: Array, lab: Array, names: tuple[str, ...], own: Array) -> CameraMatrix:
    """Fit to patches: camera values ``(P, 3)``, about 1 at white, and their CIELAB ``(P, 3)``.

    Takes a 3 × 3 matrix for 6 to 19 patches; from 20, whichever of it and the root-polynomial
    misses less, on average, the patches left out one at a time. How far to draw either towards
    the file's `own` matrix to XYZ ``(3, 3)`` is chosen in the same way.
    """
    xyz = xyz_from_lab(lab, D65_2) / 100.0
    kinds: tuple[Kind, ...] = ("linear", "root") if len(rgb) >= ENOUGH_FOR_ROOTS else ("linear",)
    best: CameraMatrix | None = None
    for kind, pull in product(kinds, _PULLS):
        guess = _leave_out(rgb, xyz, kind, own, pull)
        miss = delta_e(lab, guess)
        if best is not None and miss.mean() >= best.left_out.mean():
            continue
        parts = delta_e_residual(lab, guess, slope=False)[0]
        # One bad patch must not make every error wide, nor vanish.
        parts *= np.minimum(1.0, 4.0 * np.median(miss) / np.maximum(miss, 1e-9))[:, np.newaxis]
        error = CLOTH_FACTOR**2 * parts.T @ parts / len(parts)
        best = CameraMatrix(kind, _solve(rgb, xyz, kind, own, pull), error, miss, names)
    assert best is not None
    return best


def shaded(rgb: Array, lab: Array, own: Array, used: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """On which patches ``(P,)`` more or less light falls than on the others, by far.

    Among those `used` each is predicted by the others, as in `fit_patches`; what a shadow or glare
    changes is its brightness, by more than a matrix misses.
    """
    xyz = xyz_from_lab(lab, D65_2) / 100.0
    guess = np.zeros_like(lab)
    guess[used] = _leave_out(rgb[used], xyz[used], "linear", own, _PULLS[1])
    seen = xyz_from_lab(guess, D65_2)[:, 1] / 100.0
    ratio = np.log((seen + _DARK) / (xyz[:, 1] + _DARK))
    ratio -= np.median(ratio[used])
    return np.asarray(np.abs(ratio) > max(_SHADED, 4.0 * float(np.median(np.abs(ratio[used])))))


def balance(to_xyz: Array, bent: bool = False) -> CameraMatrix:
    """The file's own matrix, for values already balanced on grey."""
    error = np.square(GREY_ERROR) + (np.square(BENT_ERROR) if bent else 0.0)
    return CameraMatrix("grey", to_xyz, np.diag(error))
