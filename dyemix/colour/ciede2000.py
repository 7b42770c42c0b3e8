"""CIEDE2000, and the residual and slope that let a solver minimise it.

Source: CIE 142-2001; Sharma, Wu & Dalal, Color Res. Appl. 30 (2005) 21, whose equation numbers
are given below. The formula is stated with its factors: kL : kC : kH = 1 : 1 : 1 unless the
caller says otherwise (textile practice sometimes takes kL = 2).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from dyemix.arrays import LAB, Array, headed
from dyemix.errors import DyemixError, refuse

_TINY = 1e-12
_DEG = np.pi / 180.0
_TURN = 2.0 * np.pi
#: T of eq. 15, less 1, as the real part of a polynomial in exp(ih), and its slope by ih.
_T = np.array([-0.17, 0.24, 0.32, -0.20]) * np.exp(1j * _DEG * np.array([-30.0, 0.0, 6.0, -63.0]))
_T_AND_SLOPE = np.stack([_T, _T * np.arange(1, 5)])


def _seventh(chroma: Array) -> Array:
    """``C⁷ / (C⁷ + 25⁷)``; multiplied out, since a power of seven is slow in the hot path."""
    square = chroma * chroma
    power = square * square * square * chroma
    return np.asarray(power / (power + 25.0**7))


def check_lightness_factor(k_lightness: float) -> None:
    """Raises `DyemixError` for a lightness factor of ΔE2000 that nobody works with."""
    refuse(not 0.01 <= k_lightness <= 100, "colour.difference.factor", k_lightness)


def delta_e(reference: ArrayLike, sample: ArrayLike, k_lightness: float = 1.0) -> Array:
    """ΔE2000 between CIELAB ``(..., 3)`` of one light; they broadcast.

    Columns of a table, and entries of a series, are taken by their names. Raises `DyemixError` for
    another shape or other names.

    >>> float(delta_e([50, 2.5, 0], [50, 0, -2.5]).round(4))
    4.3065
    """
    pair = [headed(values, LAB) for values in (reference, sample)]
    for shape in map(np.shape, pair):
        refuse(shape[-1:] != (3,), "colour.difference.shape", shape)
    shapes = [np.shape(values)[-2::-1] for values in pair]
    if any(1 not in sizes and sizes[0] != sizes[1] for sizes in zip(*shapes, strict=False)):
        raise DyemixError(f"{np.shape(pair[0])} colours have no partners in {np.shape(pair[1])}.")
    check_lightness_factor(k_lightness)
    residual, _ = delta_e_parts(*_leading(*pair), k_lightness, slope=False)
    return np.asarray(np.sqrt((residual * residual).sum(axis=0)))


def delta_e_residual(
    reference: ArrayLike, sample: ArrayLike, k_lightness: float = 1.0, slope: bool = True
) -> tuple[Array, Array]:
    """`delta_e_parts` of colours ``(..., 3)``: residual ``(..., 3)``, its slope ``(..., 3, 3)``."""
    residual, by_lab = delta_e_parts(*_leading(reference, sample), k_lightness, slope)
    by_lab = np.moveaxis(by_lab, (0, 1), (-2, -1)) if slope else by_lab
    return np.moveaxis(residual, 0, -1), by_lab


def metric(labs: Array) -> Array:
    """Slope ``(..., 3, 3)`` of the three parts of ΔE2000 by L*, a*, b*, for small steps from `labs`
    ``(..., 3)``.
    """
    # At the very same colour the hue has no slope, and at a grey neither: there, just beside it.
    grey = np.hypot(labs[..., 1:2], labs[..., 2:]) < 1e-3
    beside = labs + 1e-3 * grey * np.eye(3)[1]
    return delta_e_residual(beside, beside + 1e-6)[1]


def _leading(reference: ArrayLike, sample: ArrayLike) -> tuple[Array, Array]:
    """Two arrays of colours ``(..., 3)``, broadcast, with L*, a*, b* first."""
    ref, smp = np.asarray(reference, dtype=float), np.asarray(sample, dtype=float)
    apart = smp.ndim - ref.ndim
    ref, smp = ref[(None,) * max(apart, 0)], smp[(None,) * max(-apart, 0)]
    return np.moveaxis(ref, -1, 0), np.moveaxis(smp, -1, 0)


def delta_e_parts(
    reference: Array, sample: Array, k_lightness: float = 1.0, slope: bool = True,
    side: ArrayLike | None = None,
) -> tuple[Array, Array]:  # fmt: skip
    """Three numbers whose squares add up to ΔE2000², and their slope.

    ΔE2000 (Sharma eq. 22) is a quadratic form, ``u² + v² + w² + R_T v w`` with ``u = ΔL'/S_L``,
    ``v = ΔC'/S_C``, ``w = ΔH'/S_H``. Completing the square gives
    ``r = (u, v + R_T w/2, w √(1 − R_T²/4))``, so that least squares on r is least squares on
    ΔE2000 itself. The slope carries the weights too (they depend on the mean of both colours).

    Parameters
    ----------
    reference, sample : CIELAB ``(3, ...)``, of as many axes; they broadcast.
    side : 1 or −1, of all or each, continues the branch of hues that lie that way round
        (counter-clockwise, or clockwise, of the reference) smoothly past the jump of the formula
        where they stand 180° apart: equal to ΔE2000 up to it, and what a solver needs to come down
        to its very edge.

    Returns
    -------
    residual : ``(3, ...)``
    slope : ``(3, 3, ...)``, of the residual (rows) by the sample's L*, a*, b* (columns); empty when
        `slope` is false. None is given across the jump, where no slope is right.
    """
    shape = np.broadcast_shapes(reference.shape[1:], sample.shape[1:])
    # Both colours on an axis of two: few calls, which is what the hot path is made of.
    both = np.empty((3, 2, *shape))
    both[:, 0], both[:, 1] = reference, sample
    lightness, a, b = both

    square_b = b * b
    c = np.sqrt(a * a + square_b)  # eq. 2
    mean = np.maximum((c[0] + c[1]) * 0.5, _TINY)  # eq. 3
    share = _seventh(mean)
    root = np.sqrt(share)
    stretch = 1.5 - 0.5 * root  # 1 + G, eq. 4
    p = stretch * a  # eq. 5
    q = np.sqrt(p * p + square_b)  # eq. 6
    h = np.arctan2(b, p)  # eq. 7
    h += _TURN * (h < 0.0)
    turn = h[1] - h[0]  # eq. 10, where 180° stays what it is
    turn -= _TURN * np.rint(turn * (1.0 / _TURN))
    if side is not None:
        way = np.asarray(side, dtype=float)
        turn = np.where(way * turn < -np.pi / 2.0, turn + way * _TURN, turn)
    half = turn * 0.5
    sin_half = np.sin(half)
    product = np.sqrt(q[0] * q[1])
    d_hue = 2.0 * product * sin_half  # eq. 11
    # eq. 14, whose cases all say: half the turn on from the first hue. The mean with a grey, which
    # has another rule, weighs nothing, since d_hue is 0.
    hue = h[0] + half
    hue -= _TURN * np.floor(hue * (1.0 / _TURN))
    powers = np.empty((4, *shape), dtype=complex)
    powers.real[0], powers.imag[0] = np.cos(hue), np.sin(hue)
    powers[1] = powers[0] * powers[0]
    powers[2:] = powers[:2] * powers[1]
    t, d_t = (_T_AND_SLOPE @ powers.reshape(4, -1)).reshape(2, *shape)
    t = 1.0 + t.real  # eq. 15
    chroma = np.maximum((q[0] + q[1]) * 0.5, _TINY)  # eq. 13
    off = (hue - 275.0 * _DEG) * (1.0 / (25.0 * _DEG))
    angle = 60.0 * _DEG * np.exp(-off * off)  # twice Δθ, eq. 16
    share2 = _seventh(chroma)
    r_c = 2.0 * np.sqrt(share2)  # eq. 17
    r_t = -np.sin(angle) * r_c  # eq. 21
    light = (lightness[0] + lightness[1]) / 2.0 - 50.0
    square = light * light
    under = np.sqrt(20.0 + square)
    s_l = k_lightness * (1.0 + 0.015 * square / under)  # eq. 18
    s_c = 1.0 + 0.045 * chroma  # eq. 19
    s_h = 1.0 + 0.015 * chroma * t  # eq. 20
    u, v, w = (lightness[1] - lightness[0]) / s_l, (q[1] - q[0]) / s_c, d_hue / s_h
    rest = np.sqrt(np.maximum(1.0 - r_t * r_t / 4.0, _TINY))
    residual = np.empty((3, *shape))
    residual[0], residual[1], residual[2] = u, v + r_t * w / 2.0, w * rest
    if not slope:
        return residual, np.empty(0)

    # Slopes by a* and b* of the sample travel together on an axis of two, behind that of colours.
    # At zero chroma every direction is as good as another; the floors only avoid 0/0.
    n = np.maximum(q, _TINY)
    along = p / n
    d_g = (-0.875 * root * (1.0 - share) / (mean * np.maximum(c[1], _TINY))) * both[1:, 1]
    d_p = a[:, np.newaxis] * d_g
    d_p[1, 0] += stretch
    d_q, d_h = along[:, np.newaxis] * d_p, (b / (-n * n))[:, np.newaxis] * d_p
    d_q[1, 1] += b[1] / n[1]
    d_h[1, 1] += along[1] / n[1]
    d_q1, d_q2 = d_q
    d_mean_hue, d_chroma = (d_h[0] + d_h[1]) * 0.5, (d_q1 + d_q2) * 0.5
    d_d_hue = (q[1] * d_q1 + q[0] * d_q2) * (sin_half / np.maximum(product, _TINY))
    d_d_hue += (product * np.cos(half)) * (d_h[1] - d_h[0])
    by_hue = np.cos(angle) * r_c * angle * off * (2.0 / (25.0 * _DEG))
    d_r_t = by_hue * d_mean_hue + (r_t * (3.5 - 3.5 * share2) / chroma) * d_chroma
    d_v = ((d_q2 - d_q1) - (v * 0.045) * d_chroma) / s_c
    by_mean = chroma * d_t.imag
    d_w = (d_d_hue - (w * 0.015) * (t * d_chroma - by_mean * d_mean_hue)) / s_h
    d_s_l = k_lightness * 0.0075 * light * (40.0 + square) / (under * under * under)
    out = np.zeros((3, 3, *shape))
    out[0, 0] = (1.0 - u * d_s_l) / s_l
    out[1, 1:] = d_v + (r_t * d_w + w * d_r_t) / 2.0
    out[2, 1:] = rest * d_w - (w * r_t / (4.0 * rest)) * d_r_t
    return residual, out
