"""Time and memory of reading a 24 megapixel photograph: ``python -m benchmarks.photo_speed``.

Twenty-four cells and a patch card. The photograph is made first, in another process, so that its
memory is not counted.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

#: What is asked for, on two cores.
MOST_SECONDS, MOST_GB = 6.0, 1.5


def make(folder: Path) -> None:
    """Photograph 24 spectra on a sheet."""
    from tests.simulated.camera import Camera, other_samples
    from tests.simulated.camera.scenes import scene, write_reference
    from tests.simulated.photographs import print_page

    page = print_page(folder, cells=24, per_mm=12.0)
    Camera(megapixels=24.0).save(
        scene(page, dict(enumerate(other_samples()[:24]))), folder / "photo.jpg"
    )
    write_reference(folder / "card.csv")


def main() -> None:
    """Print seconds and peak memory of one read, imports included."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        subprocess.run([sys.executable, "-m", "benchmarks.photo_speed", name], check=True)
        start, busy = time.perf_counter(), time.process_time()
        from dyemix.photo import PhotoOptions, examine_photo
        from tests.simulated.camera.scenes import GREY_STEPS

        read = examine_photo(
            folder / "photo.jpg", PhotoOptions(card=folder / "card.csv", grey=GREY_STEPS)
        )
        seconds, busy = time.perf_counter() - start, time.process_time() - busy
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
        size = np.prod(read.photograph.codes.shape[:2]) / 1e6
        print(
            f"{size:.1f} megapixels, {len(read.cells)} cells: {seconds:.2f} s, {busy:.2f} of them "
            f"computing (asked: below {MOST_SECONDS:g}), peak {peak:.2f} GB (asked: below "
            f"{MOST_GB:g})"
        )


if __name__ == "__main__":
    if len(sys.argv) > 1:
        make(Path(sys.argv[1]))
    else:
        main()
