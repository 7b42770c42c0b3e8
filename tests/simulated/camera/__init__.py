"""A simulated camera of measured parts, to photograph a printed page with cloth laid on it.

It shares no code with the package it tests.
"""

from tests.simulated.camera.camera import (
    PAPER,
    WAVELENGTHS,
    Camera,
    Laid,
    Scene,
    Shade,
    lab_d65,
    other_samples,
    patch_card,
    textiles,
)

__all__ = [
    "PAPER",
    "WAVELENGTHS",
    "Camera",
    "Laid",
    "Scene",
    "Shade",
    "lab_d65",
    "other_samples",
    "patch_card",
    "textiles",
]
