"""CIEDE2000, and the residual and slope that let a solver minimise it.

Source: CIE 142-2001; Sharma, Wu & Dalal, Color Res. Appl. 30 (2005) 21, whose equation numbers
are given below. The formula is stated with its factors: kL : kC : kH = 1 : 1 : 1 unless the
caller says otherwise (textile practice sometimes takes kL = 2).
"""

import numpy as np
from numpy.typing import ArrayLike

from dyemix.arrays import LAB, Array, headed
from dyemix.errors import DyemixError, refuse

#: Added to squares of chroma: at zero chroma every direction is as good as another.
_TINY = 1e-40
_DEG = np.pi / 180.0
#: 1 over the width of the bend of blue hues, eq. 16.
_PER_WIDTH = 1.0 / (25.0 * _DEG)
#: T of eq. 15, less 1, as the real part of a polynomial in −2 exp(ih), and its slope by ih.
_T = np.array([-0.17, 0.24, 0.32, -0.20]) * np.exp(1j * _DEG * np.array([-30.0, 0.0, 6.0, -63.0]))
_T /= (-2.0) ** np.arange(1, 5)
_T_AND_SLOPE = np.stack([_T, _T * np.arange(1, 5)])


def _seventh(twice: Array) -> Array:
    """``C⁷ / (C⁷ + 25⁷)`` of ``2 C``; multiplied out, since powers of seven are slow."""
    square = twice * twice
    power = square * square * square * twice
    return np.asarray(power / (power + 50.0**7))


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
    axes = range(2, residual.ndim + 1)
    by_lab = by_lab.transpose(*axes, 0, 1) if slope else by_lab
    return residual.transpose(*(axis - 1 for axis in axes), 0), by_lab


def metric(labs: Array) -> Array:
    """Slope ``(..., 3, 3)`` of the three parts of ΔE2000 by L*, a*, b*, for small steps from `labs`
    ``(..., 3)``.
    """
    # At the very same colour the hue has no slope, and at a grey neither: there, just beside it.
    grey = np.hypot(labs[..., 1:2], labs[..., 2:]) < 1e-3
    beside = labs + 1e-3 * grey * np.eye(3)[1]
    return delta_e_residual(beside, beside + 1e-6)[1]


def error_of(lab: Array, covariance: Array) -> float:
    """Root mean square ΔE2000 of a covariance ``(3, 3)`` of CIELAB, at a colour ``(3,)``."""
    slope = metric(lab[np.newaxis])[0]
    # What is no covariance, in a damaged set, has no error.
    return float(np.sqrt(max(np.trace(slope @ covariance @ slope.T), 0.0)))


def _leading(reference: ArrayLike, sample: ArrayLike) -> tuple[Array, Array]:
    """Two arrays of colours ``(..., 3)``, broadcast, with L*, a*, b* first."""
    ref, smp = np.asarray(reference, dtype=float), np.asarray(sample, dtype=float)
    if ref.shape != smp.shape:
        ref, smp = np.broadcast_arrays(ref, smp)
    axes = (-1, *range(ref.ndim - 1))  # `np.moveaxis` takes as long as a tenth of ΔE2000 itself
    return ref.transpose(axes), smp.transpose(axes)


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
    (l0, a0, b0), (l1, a1, b1) = reference, sample
    # Sums stand for twice the means of the formula. In the plane of a* and b* colours, and slopes
    # by a* and b*, are complex numbers: half as many calls, which is what the hot path is made of.
    plane, square0, square1 = a1 + 1j * b1, b0 * b0 + _TINY, b1 * b1 + _TINY
    c1 = np.sqrt(a1 * a1 + square1)
    c_sum = np.sqrt(a0 * a0 + square0) + c1  # eq. 2 and 3
    share = _seventh(c_sum)
    root = np.sqrt(share)
    stretch = 1.5 - 0.5 * root  # 1 + G, eq. 4
    p0, p1 = stretch * a0, stretch * a1  # eq. 5
    q0, q1 = np.sqrt(p0 * p0 + square0), np.sqrt(p1 * p1 + square1)  # eq. 6
    x0, y0, x1, y1 = p0 / q0, b0 / q0, p1 / q1, b1 / q1  # cosine and sine of hues, eq. 7
    e0, e1 = x0 + 1j * y0, x1 + 1j * y1
    # Twice cosine and sine of half the turn from one hue to the other (eq. 10). By 180° it goes
    # from the one that has less of its circle behind it: the signs of b*, or else a*, tell which.
    cos_half = np.abs(e0 + e1)
    sin_half = np.copysign(np.abs(e1 - e0), (p0 - 1e-12) * b1 - (b0 + 1e-24) * p1)
    if side is not None:
        past = np.where(np.asarray(side) * sin_half < -cos_half, -1.0, 1.0)
        cos_half, sin_half = past * cos_half, past * sin_half
    product = np.sqrt(q0 * q1)
    d_hue = product * sin_half  # eq. 11
    # eq. 14, whose cases all say: half the turn on from the first hue; twice its opposite, which
    # `arctan2` counts from 0° to 360° without a jump. The mean with a grey, which has another
    # rule, weighs nothing, since d_hue is 0.
    powers = np.empty((4, *product.shape), dtype=complex)
    powers[0] = e0 * (-1j * sin_half - cos_half)
    powers[1] = powers[0] * powers[0]
    powers[2:] = powers[:2] * powers[1]
    t, d_t = (_T_AND_SLOPE @ powers.reshape(4, -1)).reshape(2, *product.shape)
    t = 1.0 + t.real  # eq. 15
    off = np.arctan2(powers[0].imag, powers[0].real) * _PER_WIDTH - 95.0 / 25.0
    angle = 60.0 * _DEG * np.exp(-off * off)  # twice Δθ, eq. 16
    sine, q_sum = np.sin(angle), q0 + q1  # eq. 13
    share2 = _seventh(q_sum)
    root2 = np.sqrt(share2)  # half of eq. 17
    r = -sine * root2  # half of R_T, eq. 21
    light = l0 + l1 - 100.0
    square = light * light
    under = np.sqrt(80.0 + square)
    s_l = k_lightness + (0.0075 * k_lightness) * (square / under)  # eq. 18
    s_c = 1.0 + 0.0225 * q_sum  # eq. 19
    s_h = 1.0 + 0.0075 * q_sum * t  # eq. 20
    u, v, w = (l1 - l0) / s_l, (q1 - q0) / s_c, d_hue / s_h
    rest = np.sqrt(1.0 - r * r)
    residual = np.empty((3, *product.shape))
    residual[0], residual[1], residual[2] = u, v + r * w, w * rest
    if not slope:
        return residual, np.empty(0)

    d_g = (-1.75 * root * (1.0 - share) / (c_sum * c1)) * plane
    d_p0, d_p1 = a0 * d_g, a1 * d_g + stretch
    d_q0, d_q1 = x0 * d_p0, x1 * d_p1 + 1j * y1
    d_h0, d_h1 = (y0 / -q0) * d_p0, (1j * x1 - y1 * d_p1) * (1.0 / q1)
    d_h_sum, d_q_sum = d_h0 + d_h1, d_q0 + d_q1
    d_d_hue = (q1 * d_q0 + q0 * d_q1) * (0.5 * sin_half / product)
    d_d_hue += (0.5 * product * cos_half) * (d_h1 - d_h0)
    by_hue = _PER_WIDTH * np.sqrt(1.0 - sine * sine) * root2 * angle * off
    d_r = by_hue * d_h_sum + (r * (3.5 - 3.5 * share2) / q_sum) * d_q_sum
    d_v = (d_q1 - d_q0 - (0.0225 * v) * d_q_sum) / s_c
    by_sum = 0.0075 * w
    d_w = (d_d_hue - (by_sum * t) * d_q_sum + (0.5 * by_sum * q_sum * d_t.imag) * d_h_sum) / s_h
    d_s_l = (0.0075 * k_lightness) * light * (160.0 + square) / (under * under * under)
    out = np.zeros((3, 3, *product.shape))
    out[0, 0] = (1.0 - u * d_s_l) / s_l
    slopes = d_v + r * d_w + w * d_r, rest * d_w - (w * r / rest) * d_r
    for row, by_plane in zip(out[1:], slopes, strict=True):
        row[1], row[2] = by_plane.real, by_plane.imag
    return residual, out
