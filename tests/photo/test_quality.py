"""What is doubtful about a photograph: cells left out, cards and sheets refused, tones changed."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from dyemix.colour.ciede2000 import delta_e
from dyemix.errors import InputError
from dyemix.photo import PhotoOptions, PhotoReading, examine_photo
from tests.simulated.camera import PAPER, lab_d65
from tests.simulated.camera.scenes import GREY_STEPS, scene
from tests.simulated.photographs import (
    TEXTILES,
    TRUTH,
    as_laid,
    camera,
    card,
    miss,
    page,
    read,
    shoot,
)

Pixels = np.ndarray


# --- what is doubtful


def altered(photo: Path, folder: Path, change: Callable[[Pixels], Pixels]) -> Path:
    """The photograph with its pixels changed, as PNG."""
    pixels = np.asarray(Image.open(photo)).copy()
    path = folder / "altered.png"
    Image.fromarray(change(pixels)).save(path)
    return path


def reasons(found: PhotoReading) -> dict[str, str]:
    return {cell.label: "; ".join(cell.left_out) for cell in found.cells if cell.left_out}


def test_a_clipped_cell_is_read_as_a_bound() -> None:
    found = read()
    assert not reasons(found)
    green = next(r for r in found.swatches.readings if r.name == "C1")  # beyond sRGB
    assert any("clipped, red at 0" in word and "Display P3" in word for word in green.warnings)
    assert [r.name for r in found.swatches.readings if r.clipped is not None] == ["C1"]
    # The truth lies beyond what was read, in the direction stated.
    beyond, true = green.clipped.beyond, TRUTH[found.frame.labels.index("C1")]
    assert np.all(np.linalg.lstsq(beyond.T, true - green.lab, rcond=None)[0] > 0)
    with pytest.raises(InputError, match="no cell with cloth is called Z9"):
        examine_photo(shoot(), as_laid(keep=["Z9"]))


def test_shadow_blur_seam_and_fold_are_left_out(tmp_path: Path) -> None:
    found = read()
    at = {
        cell.label: np.rint(found.photograph.lens(cell.corners)).astype(int) for cell in found.cells
    }

    def box(label: str, grow: int) -> tuple[slice, slice]:
        low, high = at[label].min(axis=0) - grow, at[label].max(axis=0) + grow
        return slice(low[1], high[1]), slice(low[0], high[0])

    def change(pixels: np.ndarray) -> np.ndarray:
        pixels[box("A1", 40)] = pixels[box("A1", 40)] * 0.88
        pixels[box("A6", 45)] = cv2.GaussianBlur(pixels[box("A6", 45)], (0, 0), 7)
        rows, columns = box("B3", 0)
        middle = (columns.start + columns.stop) // 2
        pixels[rows, middle : columns.stop] = pixels[rows, middle : columns.stop] * 0.8
        rows, columns = box("D2", 0)
        ramp = np.linspace(1.3, 0.7, rows.stop - rows.start)[:, np.newaxis, np.newaxis]
        pixels[rows, columns] = np.clip(pixels[rows, columns] * ramp, 0, 255)
        return pixels

    why = reasons(examine_photo(altered(shoot(), tmp_path, change), as_laid()))
    assert "shadowed" in why["A1"]
    assert "out of focus" in why["A6"]
    assert "uneven" in why["B3"]
    assert "uneven" in why["D2"]
    assert set(why) == {"A1", "A6", "B3", "D2"}


@pytest.mark.slow
def test_mottled_cloth_is_reported_and_its_error_wider(tmp_path: Path) -> None:
    level, uneven = (
        examine_photo(
            camera().save(
                scene(page(), dict(enumerate(TEXTILES[:6])), mottled=mottled), tmp_path / "m.jpg"
            ),
            as_laid(),
        )
        for mottled in ({}, {3: 0.12})
    )
    assert not any("mottled" in flag for cell in level.cells for flag in cell.warnings)
    assert [c.label for c in uneven.cells if any("mottled" in f for f in c.warnings)] == ["A4"]
    assert np.trace(uneven.cell("A4").within) > 3 * np.trace(level.cell("A4").within)


@pytest.mark.slow
def test_local_tone_mapping_is_flagged() -> None:
    mapped = read(tone_mapping=0.15)
    plain = read()
    assert any("changed tones locally" in doubt for doubt in mapped.characterisation.warnings)
    assert plain.characterisation.warnings == ()
    assert mapped.cells[0].error > plain.cells[0].error


@pytest.mark.parametrize(
    ("share", "words"),
    [
        (0.97, "greys of the patch card differ from the grey card"),
        (0.94, "lies on the grey card: .* was left out"),
    ],
)
def test_a_card_in_another_light_is_flagged(tmp_path: Path, share: float, words: str) -> None:
    found = read()
    places = found.photograph.lens(found.frame.of("grey").reshape(-1, 2))
    low, high = np.rint(places.min(axis=0)).astype(int), np.rint(places.max(axis=0)).astype(int)

    def darker(pixels: np.ndarray) -> np.ndarray:
        card = (slice(low[1], high[1]), slice(low[0], high[0]))
        pixels[card] = pixels[card] * share
        return pixels

    found = examine_photo(altered(shoot(), tmp_path, darker), as_laid())
    assert any(re.search(words, doubt) for doubt in found.characterisation.warnings)


# --- the cards


@pytest.mark.slow
def test_a_smaller_card_is_found_and_a_turned_one_refused(tmp_path: Path) -> None:
    left, top, width, height = page().card_box
    small = replace(page(), card_box=(left + 5, top + 3, 0.8 * width, 0.75 * height))
    spectra = dict(enumerate(TEXTILES[:4]))
    photo = camera().save(scene(small, spectra), tmp_path / "k.jpg")
    assert miss(examine_photo(photo, as_laid()), TRUTH[:4]).mean() < 1.5
    whole = scene(page(), spectra)
    patches = [thing.spectrum for thing in whole.laid[1:25]][::-1]
    turned = [
        whole.laid[0],
        *(replace(t, spectrum=s) for t, s in zip(whole.laid[1:25], patches, strict=True)),
        *whole.laid[25:],
    ]
    photo = camera().save(replace(whole, laid=turned), tmp_path / "k.jpg")
    with pytest.raises(InputError, match="upside down"):
        examine_photo(photo, as_laid())
    photo = camera().save(scene(page(), spectra, card=False), tmp_path / "k.jpg")
    with pytest.raises(InputError, match="does not look like its reference values"):
        examine_photo(photo, as_laid())


def test_faults_of_the_cards(tmp_path: Path) -> None:
    for grey in ((18.0,), "0.9, white", "0.9,,0.18", "-0.1"):
        with pytest.raises(InputError, match="between 0 and 1"):
            PhotoOptions(grey=grey)
    assert PhotoOptions(grey=" 0.9, .18").steps == (0.9, 0.18)
    assert PhotoOptions(grey="none").steps == ()
    few = tmp_path / "few.csv"
    few.write_text("\n".join(card().read_text().splitlines()[:6]))
    with pytest.raises(InputError, match="3 patches with values"):
        examine_photo(shoot(), PhotoOptions(card=few, grey=GREY_STEPS))
    with pytest.raises(InputError, match="anchor 'white card' is unknown"):
        examine_photo(shoot(), PhotoOptions(anchor="white card"))


# --- the sheet


def test_a_sheet_that_is_not_whole_is_refused(tmp_path: Path) -> None:
    height = np.asarray(Image.open(shoot())).shape[0]
    cut = altered(shoot(), tmp_path, lambda pixels: pixels[: int(0.7 * height)])
    with pytest.raises(InputError, match="bottom right and bottom left corner mark"):
        examine_photo(cut)
    none = altered(shoot(), tmp_path, lambda pixels: np.full_like(pixels, 120))
    with pytest.raises(InputError, match="no photo page was found"):
        examine_photo(none)


def beside(tmp_path: Path, *pictures: Pixels) -> Path:
    """These pictures side by side in one, on grey."""
    height = max(len(pixels) for pixels in pictures)
    columns = [
        np.pad(p, ((0, height - len(p)), (0, 0), (0, 0)), constant_values=90) for p in pictures
    ]
    path = tmp_path / "beside.png"
    Image.fromarray(np.concatenate(columns, axis=1)).save(path)
    return path


@pytest.mark.slow
def test_of_two_pages_the_near_one_is_read_and_neither_where_that_cannot_be_told(
    tmp_path: Path,
) -> None:
    near, other = (np.asarray(Image.open(shoot(seed=seed, megapixels=1.2))) for seed in (0, 3))
    far = cv2.resize(other[::-1, ::-1], None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    for pictures in ((near, far), (far, near)):
        found = examine_photo(beside(tmp_path, *pictures), as_laid())
        assert "another photo page lies in the background" in str(found)
        labs = [[cell.lab for cell in r.cells] for r in (read(megapixels=1.2), found)]
        assert delta_e(*labs).max() < 0.3
    for pictures in ((near, other), (near[: int(0.8 * len(near))], far)):
        with pytest.raises(InputError, match="two photo pages are in the picture"):
            examine_photo(beside(tmp_path, *pictures), as_laid())


def test_an_overexposed_photograph_says_so() -> None:
    found = read(False, exposure=2.5)
    assert any("overexposed" in doubt for doubt in found.characterisation.warnings)
    assert ".." not in str(found)  # a remedy stands within sentences
    sound = [cell for cell in found.cells if not cell.left_out]
    assert sum(cell.clipped is not None for cell in sound) > 8
    for cell in (cell for cell in sound if cell.clipped is None):
        assert delta_e(TRUTH[found.frame.labels.index(cell.label)], cell.lab) < 1.5 * cell.error


def test_overexposed_white_cloth_is_no_bare_cell(tmp_path: Path) -> None:
    white = np.interp(np.arange(380.0, 780.1, 5.0), [380, 420, 780], [0.6, 0.76, 0.87])
    laid = scene(page(), dict(enumerate([white, *TEXTILES[:2]])), card=False)
    photo = camera(megapixels=1.5, exposure=1.5).save(laid, tmp_path / "o.jpg")
    (tmp_path / "c.csv").write_text("cell,recipe\nA1,undyed\nA2,rose 1\n")
    found = examine_photo(photo, as_laid(False, cells=tmp_path / "c.csv"))
    assert "overexposed, as white as the paper" in found.cell("A1").left_out[0]


def test_undyed_cloth_as_white_as_the_paper_is_told_by_its_weave(tmp_path: Path) -> None:
    laid = scene(page(), dict(enumerate([PAPER, *TEXTILES[:2]])), card=False)
    photo = camera(megapixels=1.5).save(laid, tmp_path / "w.jpg")
    table = tmp_path / "c.csv"
    table.write_text("cell,recipe\nA1,undyed\nA2,rose 1\n")
    found = examine_photo(photo, as_laid(False, cells=table))
    assert not found.cell("A1").left_out
    assert delta_e(lab_d65(PAPER[np.newaxis]), found.cell("A1").lab) < 2.0
    table.write_text("cell,recipe\nA1,undyed\nD6,rose 2\n")
    with pytest.raises(InputError, match="no cloth lies in D6"):
        examine_photo(photo, as_laid(False, cells=table))


@pytest.mark.parametrize("turn", [pytest.param(90, marks=pytest.mark.slow), 180])
def test_the_sheet_may_lie_any_way_round(tmp_path: Path, turn: int) -> None:
    path = tmp_path / "turned.png"
    Image.open(shoot(with_card=False)).rotate(turn, expand=True).save(path)
    upright = read(False)
    found = examine_photo(path, as_laid(False))
    off = delta_e([c.lab for c in upright.cells], [c.lab for c in found.cells])
    assert off.max() < 0.3
