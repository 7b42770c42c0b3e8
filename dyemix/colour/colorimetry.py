"""From reflectance to XYZ, CIELAB and an sRGB hex code, under a stated light.

Inside the package reflectance lies on one grid, 400–700 nm at 10 nm (`WAVELENGTHS`, ``B = 31``
bands), as a fraction. A colour never travels without its `Light`: illuminant and observer.

Sources: CIE 015:2018 (CIELAB); ASTM E308 (weights, end bands folded in); CIE 167:2005 (Sprague
interpolation); IEC 61966-2-1 (sRGB).
"""

import re
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from dyemix.arrays import LAB, Array, Flags, headed, numbers
from dyemix.errors import DyemixError, TargetError, refuse

WAVELENGTHS: Array = np.arange(400.0, 701.0, 10.0)
WAVELENGTHS.setflags(write=False)

#: The year in which CIE set an observer up, and its angle.
_OBSERVERS = {1931: 2, 1964: 10}
_LIGHT = re.compile(
    r"\s*([A-Z][\w.\-]*)\s*(?:[/ ,]\s*(?:CIE\s*)?(\d+)\s*(?:°|deg|degrees?)?)?\s*", re.IGNORECASE
)
_ALIASES = {"F2": "FL2", "F11": "FL11", "CWF": "FL2", "TL84": "FL11"}


@dataclass(frozen=True)
class Light:
    """An illuminant and an observer, as CIE names them: ``Light("D65", 10)``.

    `observer` is 2 (CIE 1931) or 10 (CIE 1964) degrees. Raises `DyemixError` for any other, and for
    an illuminant that nobody has tables for.

    >>> print(Light.parse("A/2"))
    A/2°
    """

    illuminant: str = "D65"
    observer: int = 10

    def __post_init__(self) -> None:
        name = str(self.illuminant).upper()
        object.__setattr__(self, "illuminant", _ALIASES.get(name, name))
        refuse(self.observer not in (2, 10), "colour.light.observer", self.observer)
        weights(self)

    @classmethod
    def parse(cls, text: "str | Light") -> "Light":
        """Read ``D65/10``, ``D65/10°``, ``A CIE 1931`` or ``D50`` (then 10°); a light is itself."""
        if isinstance(text, Light):
            return text
        match = _LIGHT.fullmatch(str(text))
        if not match:
            raise DyemixError(f"{text!r} is not a light: write illuminant/observer, as D65/10.")
        observer = int(match[2] or 10)
        return cls(match[1], _OBSERVERS.get(observer, observer))

    def __str__(self) -> str:
        return f"{self.illuminant}/{self.observer}°"


@cache
def weights(light: Light) -> Array:
    """Weights ``(B, 3)`` that turn reflectance into XYZ, Y of a perfect white being 100.

    Those of the common lights are shipped with the package; any other illuminant that
    colour-science carries is worked out on first use. Raises `DyemixError` for an unknown one.
    """
    table = files("dyemix").joinpath("data", "lights.csv").read_text(encoding="utf-8")
    head = f"{light.illuminant},{light.observer},"
    rows = [line.split(",")[3:] for line in table.splitlines() if line.startswith(head)]
    found = np.array(rows, dtype=float) if rows else weights_from_colour_science(light)
    found.setflags(write=False)
    return found


def colour_science() -> Any:
    """The library, imported when it is needed first: that takes about a second."""
    import warnings

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it speaks of optional packages on import
        import colour
    return colour


def stimuli(light: Light, wavelengths: Array) -> Array:
    """Power of the lamp times the observer's response ``(3, W)`` at `wavelengths` ``(W,)`` nm.

    From the tables of colour-science. Raises `DyemixError` for an illuminant that it lacks.
    """
    colour = colour_science()
    lamps = {name.upper(): lamp for name, lamp in colour.SDS_ILLUMINANTS.items()}
    refuse(light.illuminant not in lamps, "colour.light.unknown", light.illuminant)
    lamp = lamps[light.illuminant]
    year = {angle: year for year, angle in _OBSERVERS.items()}[light.observer]
    observer = colour.MSDS_CMFS[f"CIE {year} {light.observer} Degree Standard Observer"]
    response = [np.interp(wavelengths, observer.wavelengths, band) for band in observer.values.T]
    return np.asarray(np.interp(wavelengths, lamp.wavelengths, lamp.values) * np.array(response))


def weights_from_colour_science(light: Light) -> Array:
    """Work the weights out from the illuminant and observer tables of colour-science.

    ASTM E308 is linear, so interpolating and summing the identity once gives its weights. The
    10 nm reflectance is interpolated by Sprague's method (CIE 167) and the products are summed
    at the interval at which CIE publishes the illuminant: 1 nm for A and D65 (ISO/CIE 11664-2),
    5 nm for the others. Wavelengths beyond 400 and 700 nm use the end reflectance (E308).
    """
    fine = np.arange(360.0, 780.1, 1.0 if light.illuminant in ("A", "D65") else 5.0)
    product, within = stimuli(light, fine), np.clip(fine, WAVELENGTHS[0], WAVELENGTHS[-1])
    return np.asarray(100.0 * sprague(WAVELENGTHS, within) @ product.T / product[1].sum())


def sprague(wavelengths: Array, wanted: Array) -> Array:
    """The matrix ``(B', W)`` from values at even `wavelengths` to those at `wanted` ``(W,)``.

    Sprague's interpolation (CIE 167) is linear: it is the identity interpolated.
    """
    even = np.linspace(wavelengths[0], wavelengths[-1], len(wavelengths))
    interpolator = colour_science().SpragueInterpolator
    return np.array([interpolator(even, unit)(wanted) for unit in np.eye(len(even))])


D65_10 = Light("D65", 10)
D65_2 = Light("D65", 2)
#: A light, as it is or as text; or the one that an answer has by default.
AnyLight = Light | str | None


@cache
def white(light: Light) -> Array:
    """XYZ ``(3,)`` of the perfect white, Y = 100: the same white on both sides of a comparison."""
    found = weights(light).sum(axis=0)
    found.setflags(write=False)
    return np.asarray(found)


def xyz(reflectance: ArrayLike, light: Light) -> Array:
    """XYZ ``(..., 3)`` of reflectance ``(..., B)``, Y of a perfect white being 100."""
    return np.asarray(np.asarray(reflectance, dtype=float) @ weights(light))


#: Where f turns from a cube root into its own tangent, and the share of white at that.
_LINEAR_BELOW_ROOT = 6.0 / 29.0
_LINEAR_BELOW = _LINEAR_BELOW_ROOT**3
TO_LAB = np.array([[0.0, 116.0, 0.0], [500.0, -500.0, 0.0], [0.0, 200.0, -200.0]])


def cube_root_and_slope(share: Array) -> tuple[Array, Array]:
    """f of CIE 015:2018 equations 8.6–8.11 at XYZ over that of white, and its slope."""
    root = np.cbrt(np.maximum(share, _LINEAR_BELOW))
    slope = 1.0 / (3.0 * root * root)
    return root + np.minimum(share - _LINEAR_BELOW, 0.0) * slope, slope


def lab_from_xyz(xyz: ArrayLike, light: Light) -> Array:
    """CIELAB ``(..., 3)`` (CIE 015:2018, equations 8.3–8.11)."""
    lab = cube_root_and_slope(np.asarray(xyz, dtype=float) / white(light))[0] @ TO_LAB.T
    lab[..., 0] -= 16.0
    return np.asarray(lab)


def lab_slope(xyz: ArrayLike, light: Light) -> Array:
    """Derivative ``(..., 3, 3)`` of L*, a*, b* (rows) with respect to X, Y, Z (columns)."""
    _, slope = cube_root_and_slope(np.asarray(xyz, dtype=float) / white(light))
    return np.asarray(TO_LAB * (slope / white(light))[..., np.newaxis, :])


def xyz_from_lab(lab: ArrayLike, light: Light) -> Array:
    """XYZ ``(..., 3)`` of CIELAB ``(..., 3)``: the inverse of `lab_from_xyz`."""
    lab = np.asarray(lab, dtype=float)
    fy = (lab[..., 0] + 16.0) / 116.0
    f = np.stack([fy + lab[..., 1] / 500.0, fy, fy - lab[..., 2] / 200.0], axis=-1)
    root = np.maximum(f, _LINEAR_BELOW_ROOT)
    share = root**3 + np.minimum(f - _LINEAR_BELOW_ROOT, 0.0) * 3.0 * root * root
    return np.asarray(share * white(light))


def lab(reflectance: ArrayLike, light: Light) -> Array:
    """CIELAB ``(..., 3)`` of reflectance ``(..., B)`` under `light`."""
    return lab_from_xyz(xyz(reflectance, light), light)


# Linear sRGB from XYZ (Y of white = 1), IEC 61966-2-1.
_SRGB = np.array([[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.2040, 1.0570]])
#: A channel may stray this far outside 0–1 (half of one 8-bit step) and still count as inside.
_HALF_STEP = 0.5 / 255.0


@dataclass(frozen=True)
class ScreenColour:
    """An sRGB hex code, and whether the colour lies inside what sRGB can show."""

    hex: str
    inside: bool

    def __str__(self) -> str:
        return self.hex if self.inside else f"{self.hex} (beyond sRGB: the nearest code)"


def _encoded(xyz: Array) -> Array:
    """sRGB values ``(..., 3)``, 1 at the top, of XYZ under D65/2°; beyond 0 to 1 outside sRGB."""
    rgb = xyz / 100.0 @ _SRGB.T
    low = np.maximum(rgb, 0.0)
    return np.asarray(np.where(rgb <= 0.0031308, 12.92 * rgb, 1.055 * low ** (1 / 2.4) - 0.055))


def screen_pixels(responses: Array) -> Array:
    """sRGB values ``(..., 3)`` from 0 to 1 of XYZ under D65/2°, each 1 for a perfect white."""
    return np.asarray(np.clip(_encoded(responses * white(D65_2)), 0.0, 1.0))


def screen_colours(lab_d65_2: ArrayLike) -> list[ScreenColour]:
    """sRGB codes of CIELAB ``(N, 3)`` under D65/2°, sRGB's own light.

    A colour outside sRGB is clipped channel by channel, and says so in `ScreenColour.inside`.
    """
    encoded = _encoded(xyz_from_lab(np.atleast_2d(np.asarray(lab_d65_2, dtype=float)), D65_2))
    inside = np.all((encoded > -_HALF_STEP) & (encoded < 1.0 + _HALF_STEP), axis=1)
    bytes_ = np.rint(255.0 * np.clip(encoded, 0.0, 1.0)).astype(int)
    codes = ("#{:02x}{:02x}{:02x}".format(*row) for row in bytes_)
    return [ScreenColour(code, bool(ok)) for code, ok in zip(codes, inside, strict=True)]


def screen_colour(reflectance: ArrayLike) -> ScreenColour:
    """sRGB code of one reflectance ``(B,)``, computed under D65/2° whatever the light at hand."""
    return screen_colours(lab(reflectance, D65_2))[0]


def lab_to_hex(lab_d65_2: ArrayLike) -> str:
    """The nearest sRGB code of one CIELAB ``(3,)`` under D65/2°, sRGB's own light.

    >>> lab_to_hex([56.2, -8.7, 12.4])
    '#808b71'
    """
    values = numbers(headed(lab_d65_2, LAB))
    one = values.shape == np.shape(LAB) and np.isfinite(values).all()
    refuse(not one, "colour.code.lab", lab_d65_2, error=TargetError)
    return screen_colours(values)[0].hex


def hex_to_lab(text: str) -> Array:
    """CIELAB ``(3,)`` under D65/2° of ``#rrggbb`` or ``#rgb``. Raises `TargetError`.

    >>> hex_to_lab("#7d8a6e").round(1).tolist()
    [55.7, -10.1, 13.4]
    """
    match = re.fullmatch(r"#?([0-9a-fA-F]{6}|[0-9a-fA-F]{3})", str(text).strip())
    if not match:
        raise TargetError(f"{text!r} is not a hex colour: write six digits, as #7d8a6e.")
    digits = match[1] if len(match[1]) == 6 else "".join(2 * d for d in match[1])
    encoded = np.array([int(digits[i : i + 2], 16) for i in (0, 2, 4)]) / 255.0
    linear = np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)
    return lab_from_xyz(100.0 * np.linalg.solve(_SRGB, linear), D65_2)


def smoothest_reflectance(lab: ArrayLike, light: Light) -> Array:
    """The smoothest reflectance ``(S, B)`` that has each CIELAB ``(S, 3)`` under `light`.

    Any other spectrum with this CIELAB fits as well: a colour read this way is rough. Raises
    `TargetError` for a colour that no reflectance between 0 and 1 has.
    """
    spectra, reached = smoothest(lab, light)
    first = np.atleast_2d(np.asarray(lab, dtype=float))[np.argmin(reached)]
    refuse(not reached.all(), "colour.reflectance.none", *first, light, error=TargetError)
    return spectra


def smoothest(lab: ArrayLike, light: Light) -> tuple[Array, Flags]:
    """The spectra of `smoothest_reflectance`, and which of them have the colour.

    Minimises the squared slope of ``z = logit R`` subject to the three stimuli, by Newton's
    method on the Lagrangian; the logit keeps R between 0 and 1. After Burns, Color Res. Appl. 45
    (2020) 8, with the logistic in place of his hyperbolic tangent (the same curve, rescaled).
    """
    goal = xyz_from_lab(np.atleast_2d(np.asarray(lab, dtype=float)), light)
    w, bands = weights(light), len(WAVELENGTHS)
    rise, every = np.diff(np.eye(bands), axis=0), np.arange(bands)
    rough, system = rise.T @ rise, np.zeros((len(goal), bands + 3, bands + 3))
    # What is added keeps the systems definite where no stimulus bends and where bands at 0 or 1
    # have no slope left; it changes steps alone, not where they end.
    system[:, :bands, :bands], system[:, bands:, bands:] = rough, -1e-9 * np.eye(3)
    diagonal = np.diag(rough) + 1e-7
    z, multiplier = np.zeros((len(goal), bands)), np.zeros((len(goal), 3))
    for _ in range(60):
        r = 1.0 / (1.0 + np.exp(-z))
        jacobian = (r * (1.0 - r))[:, :, np.newaxis] * w
        curvature = (multiplier @ w.T) * r * (1.0 - r) * (1.0 - 2.0 * r)
        system[:, every, every] = diagonal + np.maximum(curvature, 0.0)
        system[:, :bands, bands:], system[:, bands:, :bands] = jacobian, jacobian.swapaxes(1, 2)
        gradient = np.einsum("sbk,sk->sb", jacobian, multiplier) + z @ rough
        right = np.concatenate([-gradient, goal - r @ w], axis=1)[..., np.newaxis]
        solved = np.linalg.solve(system, right)[..., 0]
        step, change = solved[:, :bands], solved[:, bands:]
        # A step over 2 in logit leaves the region where the linearised stimuli mean anything.
        largest = np.abs(step).max(axis=1)
        z = np.clip(z + step * (2.0 / np.maximum(largest, 2.0))[:, np.newaxis], -30.0, 30.0)
        multiplier = multiplier + change
        if largest.max() < 1e-9:
            break
    r = 1.0 / (1.0 + np.exp(-z))
    return r, np.abs(r @ w - goal).max(axis=1) <= 1e-3
