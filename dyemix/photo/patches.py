"""The patch card: where it lies, what it should read, and the camera's matrix that it gives.

A 3 × 3 matrix or, where patches are many, the root-polynomial of degree two (Finlayson, Mackiewicz
& Hurlbert, IEEE Trans. Image Process. 24 (2015) 1460), fitted to a patch card in linear light. Both
keep hue and chroma when the exposure changes, which an ordinary polynomial does not. Which of them,
only the number of patches says, so that two pictures of one camera are read alike. Without a patch
card the file's own matrix stands, balanced on grey.
"""

from dataclasses import dataclass, field, replace
from functools import cache
from importlib.resources import files

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.ciede2000 import delta_e, metric
from dyemix.colour.colorimetry import D65_2, lab_from_xyz, lab_slope, xyz_from_lab
from dyemix.dataset.swatches import SwatchSet
from dyemix.errors import refuse, said
from dyemix.files import read_swatches
from dyemix.photo.decode import SRGB_TO_XYZ, Photograph
from dyemix.photo.layout import parts, quad
from dyemix.photo.places import Frame
from dyemix.photo.sample import raster
from dyemix.writing import Named

#: Within one picture the camera is wrong by nearly the same amount on nearly the same colour: the
#: shared part falls as exp(−d/8) with the distance d in ΔE2000 where a patch card was fitted, as
#: exp(−d/13) where not (benchmarks/photo_errors.py).
SHARED_OVER = (8.0, 13.0)

#: Patches whose luminance (Y of white 1) is about this weigh half: stray light rules the dark ones.
_DARK = 0.03
#: Weight of the file's own matrix, in squared ΔE2000 units per squared unit of the matrix: it
#: decides what few or dull patches leave open. From 10 to 300 cloth is read alike.
_PULL = 30.0
#: Root terms need this many patches: with the vivid ones clipped away they would extrapolate. With
#: 24 they come a tenth nearer to cloth on average, under every lamp.
ENOUGH_FOR_ROOTS = 20
#: Cloth is not paint, and some patches say only so much: this power of what they miss when left
#: out, over what is usual, tells a camera's errors (0.7 of 0.5, 0.7 and 1, by the tail and by how
#: alike cameras' shares under the bound are).
_OWN = 0.7
#: What a typical sensor counts of linear sRGB, rows red, green and blue: the mean of the sensors
#: on which all errors were chosen (benchmarks/photo_errors.py, as all that follow).
_SENSOR = np.array([[0.54, 0.37, 0.09], [0.11, 0.72, 0.17], [0.05, 0.24, 0.71]])
#: What is added to those counts, a unit of the log ratio of red to blue in white: how redder lamps
#: show cloth to these sensors otherwise than daylight does (benchmarks/photo_errors.py, both).
_LAMP = np.array([[-0.11, 0.08, 0.03], [-0.09, 0.01, 0.08], [-0.08, -0.02, 0.10]])
#: Standard errors in ΔE2000 units (lightness, chroma, hue), a unit of the log ratio of red to blue
#: by which the light differs from the one a matrix stands for.
LIGHT_ERROR = (0.0, 0.85, 0.95)
#: Standard errors that cameras usually have where cloth is so light and so full of colour, and by
#: how many times they are larger at a hue, which counts in full where chroma is far above the last:
#: with a patch card, balanced on grey in a light that is told, and in one that is not. Dull cloth
#: of a few narrow bands looks alike to the eye only, and no picture shows which: there it is
#: widest, and most so for the hues at which the bands of cameras and of the eye end apart.
_USUAL = files("dyemix").joinpath("data", "photo_errors.csv")
LIGHTNESS, CHROMA = np.array([20.0, 35, 50, 65, 80, 95]), np.array([0.0, 10, 20, 40, 70])
ANGLES, _COLOURED = np.arange(0.0, 360.0, 45.0), 4.0
#: The lights that a dyer can name, and their log ratio of red to blue at least, in a camera set to
#: daylight, where the picture need not show it.
LIT_BY = {"daylight": -np.inf, "white": 0.4, "warm": 1.7, "halogen": 1.7}
#: Added where tones are bent, as a share of chroma as ΔE2000 counts it: greys tell the curve, but
#: not what was done to saturation.
BENT_ERROR = (0.02, 0.11, 0.03)


def spread_in_lab(lab: Array, error: Array) -> Array:
    """Lab covariances ``(N, 3, 3)`` at colours ``(N, 3)`` of an error ``(3, 3)`` in ΔE2000."""
    back = np.linalg.inv(metric(lab))
    return np.asarray(back @ error @ back.transpose(0, 2, 1))


def _hats(values: Array, nodes: Array, period: float | None = None) -> Array:
    """Weights ``(N, K)`` of nodes in straight lines between them, and beyond the ends as there."""
    each = [np.interp(values, nodes, one, period=period) for one in np.eye(len(nodes))]
    return np.stack(each, axis=1)


def near(lab: Array) -> Array:
    """Weights ``(N, R)`` at Lab ``(N, 3)`` of the rows of the table of usual errors."""
    chroma, angle = np.hypot(lab[:, 1], lab[:, 2]), np.degrees(np.arctan2(lab[:, 2], lab[:, 1]))
    grid = np.einsum("nk,nj->nkj", _hats(lab[:, 0], LIGHTNESS), _hats(chroma, CHROMA))
    turned = (chroma / (chroma + _COLOURED))[:, np.newaxis] * _hats(angle, ANGLES, 360.0)
    return np.hstack([grid.reshape(len(lab), -1), turned])


@cache
def _table(of: str) -> Array:
    """Logs ``(R, 3)`` of the table of `usual`."""
    with _USUAL.open(encoding="utf-8") as file:
        rows = [line.split(",")[4:] for line in file if line.startswith(f"{of},")]
    return np.asarray(np.log(np.array(rows, dtype=float)))


def usual(lab: Array, of: str) -> Array:
    """Standard errors ``(N, 3)``, in the three parts of ΔE2000, that cameras usually have at Lab
    ``(N, 3)``: `of` ``"card"``, one of `LIT_BY`, or ``"untold"``.
    """
    return np.asarray(np.exp(near(lab) @ _table(of)))


def features(rgb: Array, count: int) -> Array:
    """``(N, 3)``, or with the roots of the products ``(N, 6)``: so many as are counted."""
    if count == 3:
        return rgb
    r, g, b = np.maximum(rgb, 0.0).T
    return np.column_stack([rgb, np.sqrt(r * g), np.sqrt(r * b), np.sqrt(g * b)])


@dataclass(frozen=True, eq=False)
class CameraMatrix:
    """How linear camera values become colours.

    Attributes
    ----------
    coefficients : ``(3, F)`` from 3 linear values, or 6 `features`, to XYZ, Y of white 1.
    of : which errors are usual for it (`usual`), and how many `times` as large they are.
    bent : how likely it is that saturation was changed.
    patches : names of those it was fitted to; none where it is balanced on grey alone.
    left_out : ``(P,)`` ΔE2000 of each patch when it was left out.
    """

    coefficients: Array
    of: str
    times: float = 1.0
    bent: float = 0.0
    patches: tuple[str, ...] = ()
    left_out: Array = field(default_factory=lambda: np.empty(0))

    def lab(self, rgb: Array) -> Array:
        """CIELAB ``(N, 3)`` under D65/2° of linear values ``(N, 3)``."""
        xyz = features(rgb, self.coefficients.shape[1]) @ self.coefficients.T
        return lab_from_xyz(100.0 * xyz, D65_2)

    def stated(self, rgb: Array, cast: Array) -> Array:
        """Covariance ``(N, 3, 3)``, in the three parts of ΔE2000, of its error at linear values
        ``(N, 3)``; `cast` ``(N,)`` is by how much the light is redder than the one it stands for.
        """
        lab = self.lab(rgb)
        chroma = np.hypot(lab[:, 1], lab[:, 2])
        apart = np.square(np.outer(cast, LIGHT_ERROR))
        apart += self.bent * np.square(np.outer(chroma / (1.0 + 0.045 * chroma), BENT_ERROR))
        error = np.square(self.times * usual(lab, self.of)) + apart
        return np.asarray(error[:, np.newaxis] * np.eye(3))

    def slope(self, rgb: Array) -> Array:
        """Derivative ``(N, 3, 3)`` of L*, a*, b* (rows) by the camera's values, by differences."""
        steps = 1e-4 * np.eye(3)
        apart = [self.lab(rgb + step) - self.lab(rgb - step) for step in steps]
        return np.stack(apart, axis=2) / 2e-4

    def __str__(self) -> str:
        miss = self.left_out
        if not self.patches:
            return said("photo.grey_untold" if self.of == "untold" else "photo.grey")
        return said(
            "photo.fitted", roots=" with roots" * (self.coefficients.shape[1] > 3),
            count=len(miss), mean=miss.mean(), most=miss.max(),
            worst=self.patches[int(np.argmax(miss))],
        )  # fmt: skip


def _solve(seen: Array, xyz: Array, own: Array) -> Array:
    """Least squares on ΔE2000 to first order: linear in the matrix, weighted at each patch.

    Drawn towards `own` ``(3, 3)``, the file's, whose roots weigh nothing: a camera has already done
    its best to get there.
    """
    slope = metric(lab_from_xyz(100.0 * xyz, D65_2)) @ lab_slope(100.0 * xyz, D65_2) * 100.0
    slope *= (xyz[:, 1] / (xyz[:, 1] + _DARK))[:, np.newaxis, np.newaxis]
    rows = np.einsum("nij,nk->nijk", slope, seen).reshape(3 * len(seen), -1)
    wanted = np.einsum("nij,nj->ni", slope, xyz).ravel()
    prior = np.hstack([own, np.zeros((3, seen.shape[1] - 3))])
    rows = np.concatenate([rows, np.sqrt(_PULL) * np.eye(prior.size)])
    wanted = np.concatenate([wanted, np.sqrt(_PULL) * prior.ravel()])
    return np.asarray(np.linalg.lstsq(rows, wanted, rcond=None)[0].reshape(3, -1))


def fit_patches(rgb: Array, lab: Array, names: tuple[str, ...], own: Array) -> CameraMatrix:
    """Fit to six or more patches: camera values ``(P, 3)``, about 1 at white, and their CIELAB.

    `own` ``(3, 3)`` is the file's matrix to XYZ. The error is by what each patch misses when it is
    left out.
    """
    xyz, each = xyz_from_lab(lab, D65_2) / 100.0, np.arange(len(rgb))
    seen = features(rgb, 6 if len(rgb) >= ENOUGH_FOR_ROOTS else 3)
    rest = [_solve(seen[each != i], xyz[each != i], own) for i in each]
    guess = lab_from_xyz(100.0 * np.einsum("pxf,pf->px", rest, seen), D65_2)
    miss = delta_e(lab, guess)
    size = miss / np.linalg.norm(usual(guess, "card"), axis=1)
    # One bad patch must not make every error wide, nor vanish.
    times = float(np.sqrt(np.mean(np.minimum(size, 4.0 * np.median(size)) ** 2))) ** _OWN
    return CameraMatrix(_solve(seen, xyz, own), "card", times, patches=names, left_out=miss)


def counted(to_xyz: Array) -> Array:
    """What a typical sensor counts ``(3, 3)`` of linear values in these primaries."""
    return np.asarray(_SENSOR @ np.linalg.inv(SRGB_TO_XYZ) @ to_xyz)


def balance(
    to_xyz: Array, white: Array | float = 1.0, bent: float = 0.0, lit_by: str = ""
) -> CameraMatrix:
    """The file's own matrix, for values already balanced on grey; `white` ``(3,)`` is what the
    picture's linear values were there, `bent` how likely its tones are bent, `lit_by` a light of
    `LIT_BY`.

    A camera set to another light should have been balanced where its sensor counts light (von
    Kries), not in the primaries of the file: that is made good by a typical sensor, and so is what
    lamps of such a colour show otherwise than daylight does. Where nobody says what light it was,
    it is taken as it shows, and the error is that of all lights by how often they are.
    """
    sensor, gains = counted(to_xyz), np.ones(3) * white
    balanced = np.diag(sensor.sum(axis=1) / (sensor @ gains)) @ sensor
    red = max(LIT_BY.get(lit_by, -np.inf), float(np.log(gains[0] / gains[2])))
    matrix = to_xyz @ np.linalg.inv(sensor) @ (np.eye(3) + red * _LAMP) @ balanced * gains
    return CameraMatrix(np.asarray(matrix), lit_by or "untold", bent=bent)


#: Mean ΔE*ab beyond which a card is another one, and below which it lies in its place: seen by a
#: camera that was not yet corrected.
_FAR, _NEAR = 22.0, 12.0
#: A card that lies a little off is still read in the middles of its patches.
_WORTH_MOVING = 0.5
_CONTRASTS = np.array([1.0, 0.85, 0.7])
_PER_MM = 4.0
#: mm around the box that the card may reach into.
_AROUND = 3.0
#: The middle of a patch that is averaged, in both directions.
CORE = 0.4


@dataclass(frozen=True, eq=False)
class Patches:
    """Known colours: names, CIELAB ``(P, 3)`` under D65/2°, and, once they are seen in a picture,
    their straight, even light ``(P, 3)``.
    """

    names: tuple[str, ...] = ()
    lab: Array = field(default_factory=lambda: np.empty((0, 3)))
    light: Array = field(default_factory=lambda: np.empty((0, 3)))

    @classmethod
    def read(cls, card: Named | SwatchSet) -> "Patches":
        """What a patch card should read, in the order of its rows, from any swatch table.

        Values in another light are brought to D65/2° through their spectra, or the smoothest ones.
        """
        table = card if isinstance(card, SwatchSet) else read_swatches(card)
        read = [r for r in table.readings if r.reflectance is not None]
        refuse(len(read) < 6, "photo.few_patches", of=table.source, count=len(read))
        names = tuple(r.name or r.swatch or f"patch {i}" for i, r in enumerate(read, start=1))
        return cls(names, np.array([r.colour(D65_2) for r in read]))


def with_cards(photo: Photograph, frame: Frame, steps: int, lab: Array) -> Frame:
    """The frame with places for the steps and patches of the cards in their boxes."""
    found: dict[str, Array] = {}
    for box in frame.of("grey box") if steps else ():
        found["grey"] = parts(box, 1, steps)
    for box in frame.of("card box") if len(lab) else ():
        top, right = np.linalg.norm(box[1:3] - box[:2], axis=1)
        at = parts(box, *grid_of(len(lab), float(top / right)))
        found["patch"] = at if frame.layout is None else _find_patches(photo, lab, at)
    return replace(frame, places={**frame.places, **found})


def grid_of(count: int, aspect: float) -> tuple[int, int]:
    """Rows and columns of a card of `count` patches in a box so many times wider than high."""
    pairs = [(r, count // r) for r in range(1, count + 1) if count % r == 0]
    return min(pairs, key=lambda pair: abs(float(np.log(pair[1] / pair[0] / aspect))))


def _unlike(light: Array, lab: Array, to_xyz: Array) -> float:
    """Mean ΔE*ab of patches' light ``(P, 3)`` to their CIELAB, after a gain and a contrast.

    The camera's exposure, balance and tones are not known yet: one gain a channel, the median, and
    the best of a few contrasts are allowed for.
    """
    known = np.log(np.maximum(xyz_from_lab(lab, D65_2) / 100.0 @ np.linalg.inv(to_xyz).T, 1e-3))
    log = np.log(np.maximum(light, 1e-5)) * _CONTRASTS[:, np.newaxis, np.newaxis]
    gained = np.exp(log + np.median(known - log, axis=1, keepdims=True))
    seen = lab_from_xyz(100.0 * np.maximum(gained @ to_xyz.T, 0.0), D65_2)
    return float(np.linalg.norm(seen - lab, axis=2).mean(axis=1).min())


def _upside_down(light: Array, lab: Array, to_xyz: Array) -> bool:
    return _unlike(light, lab[::-1], to_xyz) < 0.6 * _unlike(light, lab, to_xyz)


def check_patches(photo: Photograph, seen: Array, lab: Array) -> None:
    """Refuse a card that is turned, missing or not the one of the table."""
    miss = _unlike(seen, lab, photo.to_xyz)
    cure = "photo.turn_card" if _upside_down(seen, lab, photo.to_xyz) else "photo.lay_card"
    photo.refuse(miss > _FAR, "photo.other_card", off=miss, cure=said(cure))


def _find_patches(photo: Photograph, lab: Array, filling: Array) -> Array:
    """Corners ``(P, 4, 2)`` in page mm of the patches, row by row; `filling` are those of a card
    that fills its box.

    The card may be smaller than that, or lie a little askew. Its own reference
    values ``(P, 3)`` say which place is right: there the patches look like them, up to exposure,
    balance and contrast. Where they fill the box that is where they are left; else size, place and
    turn are searched for.
    """
    import cv2

    middle, size = filling.mean(axis=(0, 1)), np.ptp(filling, axis=(0, 1))
    box, around = filling - middle, size + 2 * _AROUND
    pixels = np.rint(_PER_MM * around).astype(int)
    light = raster(photo, quad(*(middle - around / 2), *around), size=pixels)[0]
    smooth = cv2.blur(light, [int(x) for x in CORE * _PER_MM * np.ptp(box[0], axis=0)])

    def patches(values: Array) -> Array:
        dx, dy, sx, sy, turn = values
        cos, sin = np.cos(turn), np.sin(turn)
        shape = np.array([[cos * sx, -sin * sy], [sin * sx, cos * sy]])
        return np.asarray(box @ shape.T + middle + np.array([dx, dy]))

    def seen(values: Array) -> Array:
        at = _PER_MM * (patches(values).mean(axis=1) - middle + around / 2)
        x, y = np.clip(at.astype(int), 0, pixels - 1).T
        return np.asarray(smooth[y, x])

    nominal = np.array([0.0, 0.0, 1.0, 1.0, 0.0])
    first = _unlike(seen(nominal), lab, photo.to_xyz)
    # A turned card is told of, not indulged; moving a near one would fit the camera's own errors.
    if first < _NEAR or _upside_down(seen(nominal), lab, photo.to_xyz):
        return patches(nominal)
    from scipy.optimize import differential_evolution

    most = np.array([*(0.25 * size + _AROUND), 1.05, 1.05, 0.06])
    best = differential_evolution(
        lambda values: _unlike(seen(values), lab, photo.to_xyz),
        np.column_stack([[*-most[:2], 0.5, 0.5, -0.06], most]),
        rng=0, maxiter=60, tol=1e-3,
    )  # fmt: skip
    return patches(best.x if best.fun < _WORTH_MOVING * first else nominal)
