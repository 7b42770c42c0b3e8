"""The transfer curves and primaries of an ICC matrix profile, at full precision.

Pillow's colour management gives 8 bits back and clips to the profile it converts to, so a Display
P3 red would be lost on the way to sRGB. The profiles of cameras and phones are matrix profiles:
three curves and three colorants, read here. Source: ICC.1:2022, 10.6 (curveType), 10.18
(parametricCurveType), 10.31 (XYZType), E.3 (chromatic adaptation, linear Bradford).
"""

from __future__ import annotations

import struct
from dataclasses import dataclass

import numpy as np

from dyemix.arrays import Array

#: Bradford adaptation from the profile's D50 to D65 (ICC.1:2022 annex E, linear Bradford).
_BRADFORD = np.array(
    [[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]]
)
_D50 = np.array([0.9642, 1.0, 0.8249])
_D65 = np.array([0.95047, 1.0, 1.08883])
D65_FROM_D50: Array = np.linalg.solve(
    _BRADFORD, np.diag((_BRADFORD @ _D65) / (_BRADFORD @ _D50)) @ _BRADFORD
)

# Powers of the parametric curve by its type: how many numbers, and which of g a b c d e f.
_PARAMETERS = {0: "g", 1: "gab", 2: "gabc", 3: "gabcd", 4: "gabcdef"}


@dataclass(frozen=True, eq=False)
class Profile:
    """A matrix profile: `curves` is ``(levels, 3)``, linear 0–1; `to_xyz` ``(3, 3)`` gives XYZ
    under D65, Y of white 1.
    """

    curves: Array
    to_xyz: Array


def _curve(data: bytes, x: Array) -> Array | None:
    """Value of one curve tag at codes `x` (0–1); None for a type that is not a curve."""
    kind = data[:4]
    if kind == b"curv":
        (count,) = struct.unpack(">I", data[8:12])
        if count == 0:
            return x
        values = np.frombuffer(data[12 : 12 + 2 * count], ">u2").astype(float)
        if count == 1:
            return np.asarray(x ** (values[0] / 256.0))
        return np.interp(x, np.linspace(0.0, 1.0, count), values / 65535.0)
    if kind != b"para":
        return None
    (form,) = struct.unpack(">H", data[8:10])
    names = _PARAMETERS.get(form)
    if names is None:
        return None
    numbers = struct.unpack(f">{len(names)}i", data[12 : 12 + 4 * len(names)])
    p = dict.fromkeys("gabcdef", 0.0) | {"a": 1.0}
    p |= {name: number / 65536.0 for name, number in zip(names, numbers, strict=True)}
    upper = np.maximum(p["a"] * x + p["b"], 0.0) ** p["g"]
    if form == 0:
        return np.asarray(upper)
    if form in (1, 2):
        return np.asarray(np.where(x >= -p["b"] / p["a"], upper + p["c"], p["c"]))
    return np.asarray(np.where(x >= p["d"], upper + p["e"], p["c"] * x + p["f"]))


def read_profile(data: bytes, levels: int) -> Profile | None:
    """The curves at `levels` codes and the matrix; None for a profile that has no matrix."""
    try:
        (count,) = struct.unpack(">I", data[128:132])
        tags = {}
        for i in range(min(count, 100)):
            name, offset, size = struct.unpack(">4sII", data[132 + 12 * i : 144 + 12 * i])
            tags[name] = data[offset : offset + size]
        x = np.linspace(0.0, 1.0, levels)
        curves = [_curve(tags[name], x) for name in (b"rTRC", b"gTRC", b"bTRC")]
        columns = [struct.unpack(">3i", tags[name][8:20]) for name in (b"rXYZ", b"gXYZ", b"bXYZ")]
    except (KeyError, struct.error, ValueError):
        return None
    found = [curve for curve in curves if curve is not None]
    if len(found) < 3:
        return None
    to_xyz = D65_FROM_D50 @ (np.array(columns, dtype=float).T / 65536.0)
    return Profile(np.stack(found, axis=1), to_xyz)
