"""One random photograph of each kind, sound or spoilt: right within its bound, or refused."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from benchmarks.photo_scenes import CHOSEN_ON, FAULTS, bound, draw, examine
from dyemix.colour.ciede2000 import delta_e
from dyemix.errors import DyemixError

#: What is to be said of the whole picture.
NAMED = {
    "mixed light": "two lights are mixed",
    "shadow on patches": "a shadow or glare lies on the patch card",
    "flare": "veiling glare",
}


@pytest.mark.slow
def test_bright_paper_beside_a_shadow_is_no_cloth() -> None:
    """The shadow draws the fit of the light down, so that paper stands 10 % above it."""
    taken = draw("shadow on cells", 30_021, CHOSEN_ON)
    taken = replace(taken, camera=replace(taken.camera, which=101))
    assert len(examine(taken).cells) == len(taken.truth)


@pytest.mark.slow
@pytest.mark.parametrize("fault", FAULTS)
def test_a_random_scene_is_right_within_its_bound_or_refused(fault: str) -> None:
    taken = draw(fault, 10_000 + len(fault), CHOSEN_ON)
    try:
        read = examine(taken)
    except DyemixError as error:
        may_be_refused = FAULTS[fault] and NAMED.get(fault, "") in str(error)
        if not may_be_refused:
            raise
        return
    assert fault != "wrong grey"
    assert NAMED.get(fault, "") in "; ".join(read.characterisation.warnings)
    at = {label: i for i, label in enumerate(read.frame.labels)}
    sound = [cell for cell in read.cells if cell.clipped is None]
    kept = [cell for cell in sound if not cell.left_out]
    assert len(kept) >= 0.85 * len([cell for cell in sound if at[cell.label] not in taken.spoilt])
    truth = np.array([taken.truth[at[cell.label]] for cell in kept])
    miss, bounds = delta_e(truth, [cell.lab for cell in kept]), [bound(cell) for cell in kept]
    assert np.all(miss < 3.0 * np.array(bounds))
    assert np.median(miss / bounds) < 1.0
