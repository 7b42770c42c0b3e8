"""Photographs by a camera of measured parts, read whole: colours, errors, and what lies where.

The camera (`tests.simulated.camera`) shares no code with the package. The cloth is the 21 measured
textiles of CIE 224:2017; none of them is a patch or helped to fit the camera.
"""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import combinations, product
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from dyemix.colour.ciede2000 import delta_e, metric
from dyemix.colour.colorimetry import D65_2, WAVELENGTHS, Light, lab
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.swatches import Reading, SwatchSet
from dyemix.errors import DyemixError, InputError, TargetError
from dyemix.files import read_swatches, write_swatches
from dyemix.photo import PhotoOptions, PhotoReading, difference, examine_photo, write_contact_sheet
from tests.simulated.camera import lab_d65, other_samples
from tests.simulated.camera.scenes import GREY_STEPS, Page, scene
from tests.simulated.photographs import (
    TEXTILES,
    TRUTH,
    as_laid,
    camera,
    card,
    cut,
    miss,
    page,
    page_with_recipes,
    read,
    rms,
    shoot,
    whitened,
)

FINE = np.arange(380.0, 780.1, 5.0)
#: Undyed cotton and a navy of L* 20, invented.
UNDYED = np.interp(FINE, [380, 420, 500, 780], [0.60, 0.74, 0.82, 0.85])
NAVY = np.interp(FINE, [380, 450, 520, 600, 700, 780], [0.04, 0.06, 0.03, 0.02, 0.03, 0.2])


# --- colours


@pytest.mark.parametrize(
    ("light", "lit_by", "with_card", "most"),
    [
        ("D65", "daylight", True, 1.5),
        pytest.param("LED-B3", "white", True, 2.0, marks=pytest.mark.slow),
        pytest.param("D65", "daylight", False, 2.5, marks=pytest.mark.slow),
        pytest.param("LED-B3", "white", False, 4.0, marks=pytest.mark.slow),
    ],
)
def test_textiles_are_read_back(light: str, lit_by: str, with_card: bool, most: float) -> None:
    photos = [shoot(with_card=with_card, which=which, light=light) for which in (0, 1)]
    found = [examine_photo(photo, as_laid(with_card, lit_by=lit_by)) for photo in photos]
    assert [len(each.cells) for each in found] == [21, 21]
    assert [each.empty for each in found] == [("D4", "D5", "D6")] * 2
    assert np.mean([miss(each) for each in found]) <= most
    kept = [rms(whitened(each)) for each in found]
    assert min(kept) > 0.4
    assert max(kept) < 1.6


@pytest.mark.slow
def test_stated_errors_cover() -> None:
    settings = product((True, False), (0, 1), ("D65", "LED-B3"))
    z = [whitened(read(cards, which=which, light=light)) for cards, which, light in settings]
    assert 0.7 <= rms(np.array(z)) <= 1.4


@pytest.mark.slow
def test_a_gradient_costs_nothing() -> None:
    even, uneven = read(gradient=0.0, vignetting=False), read(gradient=0.25)
    assert abs(miss(even).mean() - miss(uneven).mean()) < 0.2


def test_styled_tones_are_found_and_straightened() -> None:
    found = read(styled=True)
    assert found.characterisation.tone.bends > 0.9
    assert "bends its tones" in str(found)
    kept = [not cell.left_out for cell in found.cells]
    assert miss(found)[kept].mean() < 2.0


def test_one_grey_step_says_that_the_tones_are_unknown() -> None:
    found = examine_photo(shoot((0.18,), False), PhotoOptions(grey=(0.18,)))
    tested = read(False)
    assert all("camera tone curve unknown" in r.warnings for r in found.swatches.readings)
    assert not any("unknown" in flag for r in tested.swatches.readings for flag in r.warnings)
    wider = [a.error / b.error for a, b in zip(found.cells, tested.cells, strict=True)]
    assert min(wider) > 0.97
    assert np.median(wider) > 1.02


def test_undyed_cloth_is_the_anchor_of_last_resort(tmp_path: Path) -> None:
    spectra = dict(enumerate([UNDYED, *TEXTILES[:8]]))
    photo = camera().save(scene(page(), spectra, grey_steps=(), card=False), tmp_path / "u.jpg")
    names = tmp_path / "u.csv"
    names.write_text("cell,recipe\nA1,undyed\nA2,rose 1\n")
    told = {"cells": names, "lit_by": "daylight"}  # so that the light hides nothing of the anchor
    found = examine_photo(photo, PhotoOptions(**told, anchor="undyed"))
    errors = np.array([cell.error for cell in found.cells])
    card = camera().save(scene(page(), spectra, GREY_STEPS, card=False), tmp_path / "g.jpg")
    known = examine_photo(card, PhotoOptions(**told, grey=GREY_STEPS))
    assert np.all(errors > 1.04 * np.array([cell.error for cell in known.cells]))
    assert errors[0] > 1.3 * known.cells[0].error  # of cloth as pale as itself above all
    assert np.all(miss(found, lab_d65(np.array([UNDYED, *TEXTILES[:8]]))) < errors)
    assert "as white as white cotton usually is, is the anchor" in str(found)
    with pytest.raises(InputError, match="no cell is named 'undyed'"):
        examine_photo(photo, PhotoOptions(grey=None))
    # Own measured swatches serve beside it, where no card lies.
    on_grid = np.isin(FINE, WAVELENGTHS)
    names.write_text("cell,recipe\nA1,undyed\n" + "".join(f"A{i},rose {i}\n" for i in range(2, 7)))
    pieces = zip(range(1, 7), [UNDYED, *TEXTILES[:5]], strict=True)
    own = [Reading(Recipe({"rose": i} if i > 1 else {}), s[on_grid]) for i, s in pieces]
    helped = PhotoOptions(**told, anchor="undyed", measured=SwatchSet(tuple(own)))
    assert max(cell.error for cell in examine_photo(photo, helped).cells) < max(errors)
    with pytest.raises(InputError, match="only paper"):
        examine_photo(photo)
    with pytest.raises(InputError, match="office paper is brightened"):
        examine_photo(photo, PhotoOptions(anchor="paper"))


@pytest.mark.slow
def test_measured_swatches_serve_as_patches(tmp_path: Path) -> None:
    names = tmp_path / "own.csv"
    labels = [f"{'ABCD'[i // 6]}{i % 6 + 1}" for i in range(21)]
    rows = "\n".join(f"{label},rose {i + 1}" for i, label in enumerate(labels))
    names.write_text(f"cell,recipe\n{rows}\n")
    on_grid = np.isin(FINE, WAVELENGTHS)
    own = SwatchSet(
        tuple(Reading(Recipe({"rose": i + 1.0}), TEXTILES[i, on_grid]) for i in range(0, 21, 2))
    )
    photo = shoot(with_card=False, light="LED-B3")
    plain = examine_photo(photo, as_laid(False, cells=names))
    better = examine_photo(photo, as_laid(False, cells=names, measured=own))
    others = np.arange(1, 21, 2)
    assert len(better.characterisation.matrix.patches) == 11
    assert miss(better)[others].mean() < 0.75 * miss(plain)[others].mean()
    other = SwatchSet((Reading(Recipe({"navy": 1.0}), TEXTILES[0, on_grid]),))
    with pytest.raises(InputError, match="none of the measured swatches"):
        examine_photo(photo, as_laid(False, cells=names, measured=other))


def laid(tmp_path: Path, on: Page, cells: int, most: float = 2.2, **settings: Any) -> PhotoReading:
    """White, navy and other cloth on a page with recipes in its cells, three of them left bare."""
    spectra = np.concatenate([[UNDYED, NAVY], TEXTILES, other_samples()])[: cells - 3]
    photo = camera(**settings).save(scene(on, dict(enumerate(spectra))), tmp_path / "l.jpg")
    found = examine_photo(photo, as_laid())
    assert found.empty == found.frame.labels[-3:]
    off = miss(found, lab_d65(spectra))
    kept = np.array([not cell.left_out for cell in found.cells])
    assert off[kept].mean() < most  # as whole cells are read
    errors = np.array([cell.error for cell in found.cells])[kept]
    assert np.all(off[kept] < (3.0 if most > 2.2 else 2.5) * errors)
    return found


@pytest.mark.slow
@pytest.mark.parametrize(("share", "shift"), [(0.5, (3.0, -3.0)), (1.15, (0.0, 0.0))])
def test_cloth_is_read_by_itself_whatever_its_size(tmp_path, share, shift) -> None:
    found = laid(tmp_path, cut(page_with_recipes(24), share, shift), 24)
    assert not any(cell.left_out for cell in found.cells)


@pytest.mark.slow
@pytest.mark.parametrize("cells", [12, 24, 40])
@pytest.mark.parametrize("share", [0.4, 0.6, 0.8, 1.0, 1.1])
@pytest.mark.parametrize("shift", [(0.0, 0.0), (3.0, 3.0), (-3.0, 2.0)])
def test_cloth_of_any_size_on_any_page_is_right_or_refused(tmp_path, cells, share, shift) -> None:
    on = cut(page_with_recipes(cells), share, shift)
    settings = {"which": 1, "megapixels": 4.0, "seed": cells}
    count = len(on.cells)
    if share > 1.0 and shift[0]:
        with pytest.raises(InputError, match="most of the white between the cells is covered"):
            laid(tmp_path, on, count, **settings)
    else:
        # Whole cells laid 3 mm off cover white that tells of the light: a fifth of it, and what is
        # stated does not know of that.
        most = 2.4 if share == 1.0 and shift[0] else 2.2
        found = laid(tmp_path, on, count, most, **settings)
        assert len(found.swatches.readings) >= 0.9 * (count - 3)


@pytest.mark.slow
def test_cloth_over_most_of_the_white_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="most of the white between the cells is covered"):
        laid(tmp_path, cut(page_with_recipes(24), 1.15, (3.0, -3.0)), 24)


# --- what lies where


def test_names_recipes_and_conditions_reach_the_readings(tmp_path: Path) -> None:
    names = tmp_path / "n.csv"
    names.write_text(
        "# cloth: cotton lawn\ncell,recipe,swatch\na1,rose 1,N1\nA2,rose 1,N1\nB4,undyed,\nB5,,\n"
    )
    swatches = examine_photo(shoot(), as_laid(cells=names)).swatches
    by_name = {r.name: r for r in swatches.readings}
    first = by_name["A1"]
    assert first.recipe == {"rose": 1.0}
    assert first.swatch == "N1"
    assert (first.kind, first.light, first.rough) == ("Lab", D65_2, True)
    conditions = dict(first.conditions)
    assert conditions == {
        "cloth": "cotton lawn", "geometry": "photograph", "illuminant": "D65", "observer": "2",
        "photograph": conditions["photograph"],
    }  # fmt: skip
    assert re.fullmatch(rf"{re.escape(swatches.source)} #[0-9a-f]{{8}}", conditions["photograph"])
    assert first.source == f"cell A1 of {swatches.source}"
    assert by_name["B4"].recipe == {}
    assert by_name["B5"].recipe is None
    assert first.reflectance is not None
    assert lab(first.reflectance, Light("D65", 2)) == pytest.approx(first.lab, abs=1e-4)


@pytest.mark.parametrize(
    ("table", "words"),
    [
        ("cell,recipe\nA1,rose 1\nF9,rose 2\n", "2 cells are named but 24 .* F9"),
        ("cell,recipe\nA1,rose 1\nD6,rose 2\n", "no cloth lies in D6"),
        ("cell,recipe\nA1,rose 1\nA1,rose 2\n", "row 3, column cell: 'A1' stands in row 2"),
        ("cell,recipe\nA1,rose -1\n", "row 2, column recipe: .*negative"),
        ("cell,swatch\nA1,N1\n", "missing: recipe. This table needs cell, recipe, and may"),
        ("", "the file is empty"),
    ],
)
def test_faults_of_the_table_of_cells(tmp_path: Path, table: str, words: str) -> None:
    (tmp_path / "bad.csv").write_text(table)
    with pytest.raises(InputError, match=words):
        examine_photo(shoot(), as_laid(False, cells=tmp_path / "bad.csv"))


def test_a_grid_by_four_corners() -> None:
    photo, sheet = shoot(with_card=False), read(False)
    lens = sheet.photograph.lens
    cell = dict(zip(("A1", "A2"), lens(sheet.frame.of("swatch")), strict=False))
    grey = lens(sheet.frame.of("grey"))

    def words(*corners: np.ndarray) -> str:
        return " ".join(f"{x:.12f},{y:.12f}" for x, y in corners)

    block = words(cell["A1"][0], cell["A2"][1], cell["A2"][2], cell["A1"][3])
    card_at = words(grey[0][0], grey[-1][1], grey[-1][2], grey[0][3])
    found = examine_photo(photo, as_laid(False, grid=f"1x2 {block}", grey_at=card_at, keep="all"))
    assert [c.label for c in found.cells] == ["A1", "A2"]
    # The light is not even and nothing shows it: said, and the error wide enough.
    assert all("evenness of the light unknown" in r.warnings for r in found.swatches.readings)
    for each, true in zip(found.cells, TRUTH, strict=False):
        assert delta_e(each.lab, true) < 2.0 * each.error


# --- differences, pictures, privacy


def test_differences_in_one_frame_have_honest_smaller_errors() -> None:
    ratio = []
    for which in (0, 1):
        found = read(which=which)
        for i, j in combinations(range(len(TRUTH)), 2):
            a, b = found.cells[i], found.cells[j]
            seen = difference(found, a.label, found, b.label)
            slope = metric((a.lab + b.lab)[np.newaxis] / 2)[0]
            off = np.linalg.norm(slope @ (b.lab - a.lab - (TRUTH[j] - TRUTH[i])))
            ratio.append(off / seen.error)
    assert 0.6 < rms(np.array(ratio)) < 1.4
    # Like colours share the camera's error in one picture; in two pictures each has its own.
    near = difference(found, "C4", found, "C6")
    apart = difference(found, "C4", replace(found), "C6")
    assert near.same_picture
    assert not apart.same_picture
    assert apart.error > 1.3 * near.error


def test_another_photograph_of_the_same_name_has_an_error_of_its_own() -> None:
    first, second = read(), read(seed=3)
    named = replace(second.photograph, file=first.photograph.file)
    alone = second.target("A3").covariance
    beside = replace(second, photograph=named).target("A3", first.swatches).covariance
    assert beside == pytest.approx(alone)
    assert np.trace(first.target("A3", first.swatches).covariance) < 0.3 * np.trace(alone)


def test_a_difference_within_the_error_changes_nothing() -> None:
    first = read()
    second = read(seed=3)
    same = difference(first, "A3", second, "A3")
    assert not same.seen
    assert "Too small to see by phone: change nothing." in str(same)
    other = difference(first, "A3", second, "A4")
    assert other.seen
    assert "lighter" in str(other)
    with pytest.raises(DyemixError, match="no cloth was read in a cell 'D6'"):
        difference(first, "A3", second, "D6")


def test_a_cell_is_a_target_in_its_own_light() -> None:
    found = read()
    target = found.target("b2")
    assert target.light == D65_2
    assert target.lab == pytest.approx(found.cell("B2").lab)
    assert "cell B2" in target.name
    assert target.spread == pytest.approx(found.cell("B2").covariance)
    assert target.warnings == ()


def test_a_cell_left_out_is_no_target_unless_it_is_kept() -> None:
    with pytest.raises(TargetError, match=r"cell C1 of .* is no target: clipped, red at 0"):
        read().target("c1")
    kept = examine_photo(shoot((0.18,), True), PhotoOptions(card=card(), keep="c1")).target("C1")
    assert "clipped" in kept.warnings[0]


@pytest.mark.slow
def test_the_contact_sheet_shows_the_colours_and_nothing_personal(tmp_path: Path) -> None:
    exif = Image.Exif()
    exif[0x010F], exif[0x9C9D] = "a maker", b"an owner"
    exif.get_ifd(0x8825)[1] = "N"
    path = tmp_path / "private.jpg"
    Image.open(shoot()).save(path, quality=95, exif=exif)
    found = examine_photo(path, as_laid())
    write_contact_sheet(found, tmp_path / "contact.png")
    picture = Image.open(tmp_path / "contact.png")
    assert not picture.getexif()
    assert set(picture.info) <= {"dpi"}
    pixels = np.asarray(picture).reshape(-1, 3)
    for label in ("A2", "B5"):
        code = list(bytes.fromhex(found.target(label).hex[1:]))
        assert (np.abs(pixels - np.array(code)).max(axis=1) <= 1).sum() > 400
    with pytest.raises(DyemixError, match=r"name the contact sheet \.png"):
        write_contact_sheet(found, tmp_path / "contact.gif")
    assert "a maker" not in str(found) + found.to_frame().to_string()


def test_the_reading_is_a_table_that_can_be_read_again(tmp_path: Path) -> None:
    swatches = read().swatches
    write_swatches(swatches, tmp_path / "again.csv")
    again = read_swatches(tmp_path / "again.csv")
    assert [r.name for r in again.readings] == [r.name for r in swatches.readings]
    for a, b in zip(again.readings, swatches.readings, strict=True):
        assert a.lab == pytest.approx(b.lab, abs=1e-5)
        assert a.light == b.light


def test_what_the_camera_does_drops_out_beside_its_own_swatches_alone() -> None:
    """A fit that rests on instrument readings too is not off by what the camera is off by."""
    found = read()
    swatches, label = found.swatches, found.swatches.readings[1].name
    alone, beside = found.target(label), found.target(label, swatches)
    assert np.trace(beside.covariance) < 0.5 * np.trace(alone.covariance)
    measured = (*swatches.readings, Reading.from_lab([50, 1, 2], "D65/10", "gold 1"))
    mixed = found.target(label, replace(swatches, readings=measured))
    assert np.array_equal(mixed.covariance, alone.covariance)
