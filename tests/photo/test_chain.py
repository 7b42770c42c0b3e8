"""From page to recipe: print it, photograph it, read, fit, match a target that lies beside."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from dyemix.colour.ciede2000 import delta_e
from dyemix.colour.colorimetry import D65_2, D65_10, WAVELENGTHS, lab
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.swatches import Reading, SwatchSet
from dyemix.errors import InputError
from dyemix.files import read_swatches, write_swatches
from dyemix.fitting.fit import fit
from dyemix.matching.match import match
from dyemix.photo import PhotoOptions, examine_photo
from dyemix.reading import convert
from tests.simulated.camera import WAVELENGTHS as FINE
from tests.simulated.camera import lab_d65, other_samples
from tests.simulated.camera.scenes import GREY_STEPS, scene
from tests.simulated.photographs import camera, card, print_page, print_pages
from tests.simulated.workshop import Workshop

LADDERS = {"lemon": (0.25, 1.0, 4.0), "scarlet": (0.25, 1.0, 4.0), "navy": (0.25, 1.0, 4.0)}
#: And what may be promised at most. The last is dull, of which a camera is least sure: of 71 such
#: cells beside patch cards, in scenes on which errors were chosen, 93 in 100 lay under their bound,
#: with errors stated at 1.1 times those found.
TARGETS = {
    "lemon 0.8 + navy 0.3": 8.5, "scarlet 0.4 + navy 0.2": 9.5,
    "lemon 0.5 + scarlet 0.3 + navy 0.2": 11.5,
}  # fmt: skip
METHOD = {"cloth": "cotton lawn", "liquor ratio": "20:1", "salt": "40 g/L", "hours": "1 h"}


@pytest.mark.slow
def test_from_a_printed_page_to_a_recipe_for_what_lay_on_it(tmp_path: Path) -> None:
    shop = Workshop(7)
    squares = ["undyed", *(f"{dye} {x:g}" for dye, steps in LADDERS.items() for x in steps)]
    plan = [Reading(Recipe.parse(text), None, f"N{i}", "blank") for i, text in enumerate(squares)]
    page = print_page(tmp_path, 24, 6.0, SwatchSet(tuple(plan)))
    table = tmp_path / "page24.csv"
    text = table.read_text(encoding="utf-8")
    for key, value in METHOD.items():
        assert f"# {key}:\n" in text
        text = text.replace(f"# {key}:\n", f"# {key}: {value}\n")
    table.write_text(text, encoding="utf-8")
    spectra = [shop.dye(Recipe.parse(words)).reflectance for words in (*squares, *TARGETS)]
    laid = {i: np.interp(FINE, WAVELENGTHS, spectrum) for i, spectrum in enumerate(spectra)}
    photo = camera(which=1, megapixels=5.0).save(scene(page, laid), tmp_path / "p.jpg")
    options = PhotoOptions(cells=table, card=card(), grey=GREY_STEPS)
    found = examine_photo(photo, options)
    named = SwatchSet(tuple(r for r in found.swatches.readings if r.recipe is not None))
    write_swatches(named, tmp_path / "read.csv")
    swatches = read_swatches(tmp_path / "read.csv")
    conditions = swatches.conditions()
    assert {key: conditions[key] for key in METHOD} == METHOD
    assert all(r.covariance is not None for r in swatches.readings)
    dyes = fit(swatches)
    for i, (words, most) in enumerate(TARGETS.items()):
        label = found.frame.labels[len(squares) + i]
        target = found.target(label, swatches)
        alone = found.target(label).covariance
        assert np.trace(target.covariance) < np.trace(alone)  # all lie in one frame
        assert np.all(np.linalg.eigvalsh(target.covariance) > 0)
        best = match(dyes, target)[0]
        pot = shop.dye(best.recipe).reflectance
        true = spectra[len(squares) + i]
        off = float(delta_e(lab(true, D65_2), lab(pot, D65_2)))
        assert off < best.bound, words
        assert best.bound < most, words
    again, alone = (found.target("A2", beside).covariance for beside in (swatches, None))
    assert np.trace(again) < 0.3 * np.trace(alone)  # a swatch of the fit: the camera drops out
    # The same readings in another light.
    wide = examine_photo(photo, PhotoOptions(**vars(options) | {"light": D65_10}))
    cell = wide.cell("A2")
    truth = lab(spectra[1], D65_10)
    assert cell.light == D65_10
    assert delta_e(truth, cell.lab) < 2.0 * cell.error
    assert cell.error == pytest.approx(found.cell("A2").error, rel=0.3)


@pytest.mark.slow
def test_two_pages_go_into_one_table(tmp_path: Path) -> None:
    recipes = ["undyed", *(f"rose {i}" for i in range(1, 25))]
    plan = [Reading(Recipe.parse(words), None, "", "blank") for words in recipes]
    pages = print_pages(tmp_path, 40, 6.0, SwatchSet(tuple(plan)))
    pieces, photos = np.array_split(other_samples()[:25], [20]), []
    for i, (page, spectra) in enumerate(zip(pages, pieces, strict=True)):
        laid = scene(page, dict(enumerate(spectra)))
        photos.append(camera(seed=i).save(laid, tmp_path / f"p{i}.jpg"))
    options = PhotoOptions(cells=tmp_path / "page40.csv", card=card(), grey=GREY_STEPS)
    alone = examine_photo(photos[0], options)
    assert "5 of the cells named lie on the other page" in str(alone)
    both = convert(photos, options.cells, options)
    assert [r.recipe for r in both.swatches.readings] == [Recipe.parse(x) for x in recipes]
    assert [len(seen.cells) for seen in both.photographs] == [20, 5]
    off = delta_e([r.lab for r in both.swatches.readings], lab_d65(other_samples()[:25]))
    assert off.mean() < 2.0
    with pytest.raises(InputError, match=r"each is a photograph: .*page40\.csv is none"):
        convert([*photos, options.cells], None, options)
