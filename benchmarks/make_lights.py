"""Write dyemix/data/lights.csv: the weights of the common lights, through colour-science.

Run ``python -m benchmarks.make_lights``; a test compares the file with a fresh computation.
"""

from __future__ import annotations

import csv
from pathlib import Path

from dyemix.colour.colorimetry import WAVELENGTHS, Light, weights_from_colour_science

ILLUMINANTS = ("A", "C", "D50", "D55", "D65", "D75", "FL2", "FL11", "LED-B3")
PATH = Path(__file__).parents[1] / "dyemix" / "data" / "lights.csv"


def main() -> None:
    with PATH.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(["illuminant", "observer", "wavelength_nm", "X", "Y", "Z"])
        for illuminant in ILLUMINANTS:
            for observer in (2, 10):
                rows = weights_from_colour_science(Light(illuminant, observer))
                for wavelength, row in zip(WAVELENGTHS, rows, strict=True):
                    values = [repr(float(value)) for value in row]
                    writer.writerow([illuminant, observer, int(wavelength), *values])


if __name__ == "__main__":
    main()
