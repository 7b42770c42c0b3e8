"""Tables with a band on each row, and grids of bands other than the package's own."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest
from samples import Read, long

from dyemix.arrays import Array
from dyemix.colour.ciede2000 import delta_e
from dyemix.colour.colorimetry import D65_10, WAVELENGTHS, Light, lab
from dyemix.colour.spectra import onto_grid
from dyemix.dataset.recipe import Recipe
from dyemix.errors import InputError
from dyemix.files import read_swatches

pytestmark = pytest.mark.filterwarnings("error", "ignore:.*related API features.*")
GRID = list(range(400, 701, 10))


@pytest.mark.parametrize(
    "head", ["recipe,wavelength,value", "recipe,Wavelength (nm),R %", "Recipe,nm,Reflectance"]
)
def test_one_band_a_row(read: Read, head: str) -> None:
    swatches = read(long([("undyed", 0.8), ("gold 2", 0.3), ("gold 2", 0.31)], head))
    assert [r.recipe for r in swatches.readings] == [Recipe(), *[Recipe({"gold": 2.0})] * 2]
    assert [len(s.readings) for s in swatches.swatches] == [1, 2]
    assert swatches.readings[2].place == "book.csv, row 64"
    assert swatches.readings[2].reflectance == pytest.approx(0.31)
    assert any("93 rows were joined into 3 readings" in note for note in swatches.warnings)


def test_bands_in_any_order_and_two_samples_in_turn(read: Read) -> None:
    rows = [
        f"{n},{w},{v * w / 700}" for w in GRID[::-1] for n, v in (("undyed", 0.8), ("red 1", 0.5))
    ]
    first, second = read("\n".join(["recipe,wavelength,value", *rows])).readings
    assert first.reflectance == pytest.approx(0.8 * WAVELENGTHS / 700)
    assert second.reflectance == pytest.approx(0.5 * WAVELENGTHS / 700)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("undyed,500,", "undyed,5000,", "'5000' is not a wavelength"),
        ("undyed,500,", "undyed,green,", "'green' is not a wavelength"),
        ("gold 2,500,0.3\n", "", "from the first at 500 nm"),
        ("gold 2,500,", "gold 2,500.5,", "from the first at 500 nm"),
        ("gold 2,500,0.3", "gold 2,500,high", "'high' is not a number"),
        ("gold 2,500,0.3", "gold 2,500,30 %", "write the number alone"),
    ],
)
def test_refusals(read: Read, old: str, new: str, words: str) -> None:
    text = long([("undyed", 0.8), ("gold 2", 0.3)])
    assert old in text
    with pytest.raises(InputError) as caught:
        read(text.replace(old, new))
    assert words in str(caught.value)
    assert len(caught.value.faults) == 1


def test_what_colour_science_writes_is_read(tmp_path: Path) -> None:
    """Its tables run wavelengths down and samples across; its reader is the judge of ours."""
    import colour

    spectra = {
        name: colour.SpectralDistribution(dict(zip(GRID, values, strict=True)), name=name)
        for name, values in (("gold 2", np.linspace(0.1, 0.7, 31)), ("scan 7", np.full(31, 0.25)))
    }
    colour.write_sds_to_csv_file(spectra, tmp_path / "spectra.csv")
    theirs = colour.read_sds_from_csv_file(tmp_path / "spectra.csv")
    ours = read_swatches(tmp_path / "spectra.csv")
    assert [r.name for r in ours.readings] == list(theirs)
    for reading in ours.readings:
        np.testing.assert_array_equal(reading.reflectance, theirs[reading.name].values)
    assert ours.readings[1].place == "spectra.csv, column 3"


def test_a_fault_in_a_tall_table_names_the_column(read: Read) -> None:
    rows = [f"{w},0.8,{'x' if w == 500 else 0.3}" for w in GRID]
    with pytest.raises(InputError, match=r"column 3, column 500 nm: 'x' is not a number"):
        read("\n".join(["wavelength,undyed,gold 2", *rows]))


# Grids: measured spectra of CIE 224:2017 (99 colour samples, 380–780 nm at 5 nm, as colour-science
# carries them) are cut to other grids; the judge sums the whole 5 nm spectrum.


@lru_cache
def measured() -> tuple[Array, Array]:
    import colour
    from colour.quality.cfi2017 import load_TCS_CIE2017

    spectra = load_TCS_CIE2017(colour.SpectralShape(380, 780, 5))
    return np.asarray(spectra.wavelengths), np.asarray(spectra.values).T


def whole_lab(light: Light) -> Array:
    """CIELAB ``(99, 3)`` of everything that was measured, summed at 5 nm, formula by formula."""
    import colour

    wavelengths, spectra = measured()
    lamp = colour.SDS_ILLUMINANTS[light.illuminant]
    name = {2: "CIE 1931 2 Degree", 10: "CIE 1964 10 Degree"}[light.observer]
    observer = colour.MSDS_CMFS[f"{name} Standard Observer"]
    power = np.interp(wavelengths, lamp.wavelengths, lamp.values)
    weight = np.stack(
        [np.interp(wavelengths, observer.wavelengths, c) for c in observer.values.T], 1
    )
    weight *= power[:, np.newaxis]
    return np.asarray(
        colour.XYZ_to_Lab(
            spectra @ weight / weight[:, 1].sum(), colour.XYZ_to_xy(weight.sum(axis=0))
        )
    )


def cut(grid: np.ndarray) -> Array:
    wavelengths, spectra = measured()
    return spectra[:, np.searchsorted(wavelengths, grid)]


@pytest.mark.parametrize(
    ("first", "last", "step", "most"),
    [
        (380, 780, 5, 0.005), (380, 780, 10, 0.005), (380, 730, 10, 0.005), (385, 775, 10, 0.006),
        (400, 700, 10, 0.01), (395, 705, 10, 0.01), (380, 780, 20, 0.05), (400, 700, 20, 0.05),
    ],
)  # fmt: skip
def test_colour_of_other_grids(first: int, last: int, step: int, most: float) -> None:
    grid = np.arange(first, last + 1.0, step)
    spectra = onto_grid(grid, cut(grid))
    assert delta_e(whole_lab(D65_10), lab(spectra, D65_10)).mean() < most


@pytest.mark.parametrize("light", [D65_10, Light("D50", 2), Light("A", 10)])
def test_bands_beyond_the_grid_are_folded_into_its_ends(light: Light) -> None:
    """Folding halves what dropping the measured bands beyond 400 and 700 nm costs, or better."""
    wavelengths, spectra = measured()
    truth = whole_lab(light)
    dropped = delta_e(truth, lab(cut(WAVELENGTHS), light))
    folded = delta_e(truth, lab(onto_grid(wavelengths, spectra), light))
    assert folded.mean() < 0.6 * dropped.mean()
    assert folded.max() < 0.6 * dropped.max()


def test_folding_changes_the_end_bands_only_and_stays_within_what_was_measured() -> None:
    wavelengths, spectra = measured()
    folded = onto_grid(wavelengths, spectra)
    np.testing.assert_array_equal(folded[:, 1:-1], cut(WAVELENGTHS)[:, 1:-1])
    for end, part in ((0, wavelengths <= 400), (-1, wavelengths >= 700)):
        assert (folded[:, end] >= spectra[:, part].min(axis=1) - 1e-12).all()
        assert (folded[:, end] <= spectra[:, part].max(axis=1) + 1e-12).all()
    flat = np.full((1, len(wavelengths)), 0.37)
    np.testing.assert_allclose(onto_grid(wavelengths, flat), 0.37, rtol=1e-12)


def test_interpolation_is_sprague_s_by_another_hand() -> None:
    """CIE 167:2005 through colour-science's own spectrum type, on shifted and coarse grids."""
    import colour

    for grid in (np.arange(395.0, 706.0, 10.0), np.arange(400.0, 701.0, 20.0)):
        spectra = cut(grid)[:10]
        shape = colour.SpectralShape(400, 700, 10)
        theirs = [
            colour.SpectralDistribution(row, grid)
            .interpolate(shape, colour.SpragueInterpolator)
            .align(shape)
            .values
            for row in spectra
        ]
        np.testing.assert_allclose(onto_grid(grid, spectra), theirs, atol=1e-12)


@pytest.mark.parametrize(
    ("first", "last", "missing"),
    [(410, 780, "400 to 410 nm"), (380, 690, "690 to 700 nm"), (420, 680, "400 to 420 nm and 680")],
)
def test_too_narrow_a_range_names_what_is_missing(
    read: Read, first: int, last: int, missing: str
) -> None:
    bands = range(first, last + 1, 10)
    with pytest.raises(InputError, match=missing):
        read(f"recipe,{','.join(map(str, bands))}\nundyed,{','.join(['0.5'] * len(bands))}\n")
