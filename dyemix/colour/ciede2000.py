"""CIEDE2000, and the residual and slope that let a solver minimise it.

Source: CIE 142-2001; Sharma, Wu & Dalal, Color Res. Appl. 30 (2005) 21, whose equation numbers
are given below. The formula is stated with its factors: kL : kC : kH = 1 : 1 : 1 unless the
caller says otherwise (textile practice sometimes takes kL = 2).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from dyemix.arrays import Array

_TINY = 1e-12
_DEG = np.pi / 180.0
_TURN = 2.0 * np.pi
_COS30, _SIN30 = np.cos(30.0 * _DEG), np.sin(30.0 * _DEG)
_COS6, _SIN6 = np.cos(6.0 * _DEG), np.sin(6.0 * _DEG)
_COS63, _SIN63 = np.cos(63.0 * _DEG), np.sin(63.0 * _DEG)


def _seventh(chroma: Array) -> Array:
    """``C⁷ / (C⁷ + 25⁷)``; multiplied out, since a power of seven is slow in the hot path."""
    square = chroma * chroma
    power = square * square * square * chroma
    return np.asarray(power / (power + 25.0**7))


def delta_e(reference: ArrayLike, sample: ArrayLike, k_lightness: float = 1.0) -> Array:
    """ΔE2000 between CIELAB arrays ``(..., 3)`` of one light; they broadcast."""
    residual, _ = delta_e_residual(reference, sample, k_lightness, slope=False)
    return np.asarray(np.sqrt(np.sum(residual * residual, axis=-1)))


def delta_e_residual(
    reference: ArrayLike,
    sample: ArrayLike,
    k_lightness: float = 1.0,
    slope: bool = True,
    side: ArrayLike = 0,
) -> tuple[Array, Array]:
    """Three numbers whose squares add up to ΔE2000², and their slope.

    ΔE2000 (Sharma eq. 22) is a quadratic form, ``u² + v² + w² + R_T v w`` with ``u = ΔL'/S_L``,
    ``v = ΔC'/S_C``, ``w = ΔH'/S_H``. Completing the square gives
    ``r = (u, v + R_T w/2, w √(1 − R_T²/4))``, so that least squares on r is least squares on
    ΔE2000 itself. The slope carries the weights too (they depend on the mean of both colours).

    Returns
    -------
    residual : ``(..., 3)``
    slope : ``(..., 3, 3)``, of the residual (rows) by the sample's L*, a*, b* (columns); empty
        when `slope` is false. The formula jumps where the hues stand 180° apart: no slope is
        right there, and none is given across the jump.

    `side` 1 or −1, of all or each, continues the branch of hues that lie that way round
    (counter-clockwise, or clockwise, of the reference) smoothly past the jump: equal to ΔE2000 up
    to it, and what a solver needs to come down to its very edge.
    """
    ref = np.asarray(reference, dtype=float)
    smp = np.asarray(sample, dtype=float)
    shape = np.broadcast_shapes(ref.shape, smp.shape)[:-1]
    if smp.shape[:-1] != shape:
        smp = np.broadcast_to(smp, (*shape, 3))
    l1, a1, b1 = ref[..., 0], ref[..., 1], ref[..., 2]
    l2, a2, b2 = smp[..., 0], smp[..., 1], smp[..., 2]

    c1, c2 = np.hypot(a1, b1), np.hypot(a2, b2)  # eq. 2
    mean = np.maximum((c1 + c2) / 2.0, _TINY)  # eq. 3
    share = _seventh(mean)
    g = 0.5 * (1.0 - np.sqrt(share))  # eq. 4
    p1, p2 = (1.0 + g) * a1, (1.0 + g) * a2  # eq. 5
    q1, q2 = np.hypot(p1, b1), np.hypot(p2, b2)  # eq. 6
    h1, h2 = np.arctan2(b1, p1), np.arctan2(b2, p2)  # eq. 7
    h1, h2 = np.where(h1 < 0.0, h1 + _TURN, h1), np.where(h2 < 0.0, h2 + _TURN, h2)
    grey = q1 * q2 == 0.0
    turn = h2 - h1  # eq. 10
    far = np.abs(turn) > np.pi
    turn = np.where(grey, 0.0, turn - np.where(far, np.sign(turn) * _TURN, 0.0))
    way = np.asarray(side, dtype=float)
    turn = np.where(way * turn < -np.pi / 2.0, turn + way * _TURN, turn)
    product = np.sqrt(q1 * q2)
    d_hue = 2.0 * product * np.sin(turn / 2.0)  # eq. 11
    # eq. 14, whose cases all say: half a turn's way on from the first hue, or their sum for a grey
    hue = np.where(grey, h1 + h2, np.mod(h1 + turn / 2.0, _TURN))
    chroma = np.maximum((q1 + q2) / 2.0, _TINY)  # eq. 13
    cos, sin = np.cos(hue), np.sin(hue)
    cos2, sin2 = 2.0 * cos * cos - 1.0, 2.0 * sin * cos
    cos3, sin3 = cos2 * cos - sin2 * sin, sin2 * cos + cos2 * sin
    cos4, sin4 = 2.0 * cos2 * cos2 - 1.0, 2.0 * sin2 * cos2
    # eq. 15: 1 − 0.17 cos(h−30°) + 0.24 cos 2h + 0.32 cos(3h+6°) − 0.20 cos(4h−63°)
    t = (
        1.0
        - 0.17 * (cos * _COS30 + sin * _SIN30)
        + 0.24 * cos2
        + 0.32 * (cos3 * _COS6 - sin3 * _SIN6)
        - 0.20 * (cos4 * _COS63 + sin4 * _SIN63)
    )
    bell = np.exp(-(((hue / _DEG - 275.0) / 25.0) ** 2))
    angle = 60.0 * _DEG * bell  # twice Δθ, eq. 16
    share2 = _seventh(chroma)
    r_c = 2.0 * np.sqrt(share2)  # eq. 17
    r_t = -np.sin(angle) * r_c  # eq. 21
    light = (l1 + l2) / 2.0 - 50.0
    under = 20.0 + light * light
    s_l = k_lightness * (1.0 + 0.015 * light * light / np.sqrt(under))  # eq. 18
    s_c = 1.0 + 0.045 * chroma  # eq. 19
    s_h = 1.0 + 0.015 * chroma * t  # eq. 20
    u, v, w = (l2 - l1) / s_l, (q2 - q1) / s_c, d_hue / s_h
    rest = np.sqrt(np.maximum(1.0 - r_t * r_t / 4.0, _TINY))
    # Written part by part, here and below: stacking is slow in the hot path.
    residual = np.empty((*shape, 3))
    residual[..., 0], residual[..., 1], residual[..., 2] = u, v + r_t * w / 2.0, w * rest
    if not slope:
        return residual, np.empty(0)

    # Slopes by a* and b* of the sample travel together on a leading axis of two.
    # At zero chroma every direction is as good as another; the floor only avoids 0/0.
    safe2 = np.maximum(c2, _TINY)
    d_mean = np.empty((2, *shape))
    d_mean[0], d_mean[1] = a2 / (2.0 * safe2), b2 / (2.0 * safe2)
    d_g = -1.75 * np.sqrt(share) * (1.0 - share) / mean * d_mean
    by_a = np.array([1.0, 0.0]).reshape((2,) + (1,) * len(shape))
    by_b = 1.0 - by_a
    d_p1 = a1 * d_g
    d_p2 = a2 * d_g + (1.0 + g) * by_a
    n1, n2 = np.maximum(q1, _TINY), np.maximum(q2, _TINY)
    d_q1 = p1 / n1 * d_p1
    d_q2 = (p2 * d_p2 + b2 * by_b) / n2
    d_h1 = -b1 * d_p1 / (n1 * n1)
    d_h2 = (p2 * by_b - b2 * d_p2) / (n2 * n2)
    d_turn, d_mean_hue = d_h2 - d_h1, (d_h1 + d_h2) / 2.0
    safe_product = np.maximum(product, _TINY)
    d_d_hue = (
        np.sin(turn / 2.0) * (q2 * d_q1 + q1 * d_q2) / safe_product
        + product * np.cos(turn / 2.0) * d_turn
    )
    d_chroma = (d_q1 + d_q2) / 2.0
    d_t = (
        0.17 * (sin * _COS30 - cos * _SIN30)
        - 0.48 * sin2
        - 0.96 * (sin3 * _COS6 + cos3 * _SIN6)
        + 0.80 * (sin4 * _COS63 - cos4 * _SIN63)
    ) * d_mean_hue
    d_angle = angle * (-2.0 / (25.0 * _DEG) ** 2) * (hue - 275.0 * _DEG) * d_mean_hue
    d_r_c = 3.5 * r_c * (1.0 - share2) / chroma * d_chroma
    d_r_t = -np.cos(angle) * r_c * d_angle - np.sin(angle) * d_r_c
    d_v = ((d_q2 - d_q1) - v * 0.045 * d_chroma) / s_c
    d_w = (d_d_hue - w * 0.015 * (t * d_chroma + chroma * d_t)) / s_h
    d_s_l = k_lightness * 0.0075 * (2.0 * light * under - light**3) / under**1.5
    d_second = d_v + (r_t * d_w + w * d_r_t) / 2.0
    d_third = rest * d_w - w * r_t * d_r_t / (4.0 * rest)
    out = np.zeros((*shape, 3, 3))
    out[..., 0, 0] = (1.0 - u * d_s_l) / s_l
    out[..., 1, 1], out[..., 1, 2] = d_second[0], d_second[1]
    out[..., 2, 1], out[..., 2, 2] = d_third[0], d_third[1]
    return residual, out
