"""What another lamp does to a match: special metamerism, and the inconstancy of one colour.

Sources: CIE 015:2018, special metamerism index for a change of illuminant (with the mismatch under
the first illuminant corrected first); colour inconstancy by corresponding colours through CAT02 at
full adaptation, as in CMCCON02 (Luo, Li, Hunt, Rigg & Smith, Color. Technol. 119 (2003) 280; the
basis of ISO 105-J05). Differences are ΔE2000.
"""

from __future__ import annotations

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.ciede2000 import delta_e
from dyemix.colour.colorimetry import Light, lab, lab_from_xyz, white, xyz

#: Tungsten, a phosphor LED and a narrow-band shop fluorescent.
LAMPS = ("A", "LED-B3", "FL11")

# CAT02 (CIE 159:2004).
_CAT02 = np.array([[0.7328, 0.4296, -0.1624], [-0.7036, 1.6975, 0.0061], [0.0030, 0.0136, 0.9834]])


def metamerism(target: Array, samples: Array, light: Light, lamp: Light) -> Array:
    """Special metamerism index ``(N,)`` of samples ``(N, B)`` to a target spectrum ``(B,)``.

    The samples' XYZ under `lamp` are multiplied by what makes them match under `light`
    (multiplicative correction of CIE 015), so that the index says what the change of lamp adds.
    """
    correction = xyz(target, light) / xyz(samples, light)
    return delta_e(lab(target, lamp), lab_from_xyz(xyz(samples, lamp) * correction, lamp))


def adapted(samples: Array, light: Light, lamp: Light) -> Array:
    """CIELAB ``(N, 3)`` under `light` that looks as samples ``(N, B)`` to an eye used to `lamp`."""
    gain = (_CAT02 @ white(light)) / (_CAT02 @ white(lamp))
    seen = np.linalg.solve(_CAT02, (gain * (xyz(samples, lamp) @ _CAT02.T)).T).T
    return lab_from_xyz(seen, light)


def inconstancy(samples: Array, light: Light, lamp: Light) -> Array:
    """ΔE2000 ``(N,)`` between samples ``(N, B)`` under `light` and, adapted to it, under `lamp`."""
    return delta_e(lab(samples, light), adapted(samples, light, lamp))
