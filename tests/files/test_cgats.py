"""ISO 28178 / CGATS.17 text: fields by name, what the file says of itself checked, nothing lost."""

from __future__ import annotations

import pytest
from samples import CURVE, GRID, LAB_FILE, Read, spectral

from dyemix.colour.colorimetry import Light
from dyemix.dataset.recipe import Recipe
from dyemix.errors import InputError

pytestmark = pytest.mark.filterwarnings("error")


def test_fields_are_taken_by_name_and_keywords_kept(read: Read) -> None:
    swatches = read(LAB_FILE)
    first, second = swatches.readings
    assert second.lab == pytest.approx([70.25, 10.5, 60.5])
    assert second.light == Light("D50", 2)
    assert (first.name, second.name) == ("undyed", "gold 0.5 %")
    assert second.place == "book.csv, line 17"
    assert second.conditions["geometry"] == "45/0"
    assert second.conditions["backing"] == "white"
    assert second.conditions["MOOD"] == 'sunny, "bright" day'
    assert second.conditions["ORIGINATOR"] == "a small workshop"
    assert second.conditions["sample number"] == "2"
    assert "CGATS.17" in str(swatches)
    assert len(swatches.unnamed) == 2  # naming them is a step of its own


def test_lab_without_its_light_is_d50_2_by_iso_13655(read: Read) -> None:
    bare = "\n".join(x for x in LAB_FILE.split("\n") if not x.startswith("WEIGHTING"))
    swatches = read(bare)
    assert {r.light for r in swatches.readings} == {Light("D50", 2)}
    assert "ISO 13655" in str(swatches)


@pytest.mark.parametrize(
    "form",
    ["SPECTRAL_NM{}", "SPECTRAL_NM_{}", "NM_{}", "NM{}", "R_{}", "nm{}", "SPECTRAL_{}",
     "SPECTRAL_DEC{}", "SPECTRAL_DEC_{}"],
)  # fmt: skip
def test_spectral_fields(read: Read, form: str) -> None:
    swatches = read(spectral([form.format(w) for w in GRID], list(CURVE)))
    (reading,) = swatches.readings
    assert reading.recipe == Recipe({"gold": 2.0})
    assert reading.reflectance is not None
    assert reading.reflectance[1:-1] == pytest.approx(CURVE[3:-4])
    assert "fraction" in str(swatches)
    assert "380 to 730 nm every 10 nm, 36 in all" in str(swatches)


def test_scales(read: Read) -> None:
    percent = [100 * x for x in CURVE]
    dark = [x / 50 for x in percent]  # by its values alone it would be taken for fractions
    stated = read(spectral([f"SPECTRAL_PCT{w}" for w in GRID], dark))
    normed = read(spectral([f"NM_{w}" for w in GRID], dark, 'SPECTRAL_NORM "100.0"\n'))
    for swatches in (stated, normed):
        assert swatches.readings[0].reflectance is not None
        assert swatches.readings[0].reflectance[10] == pytest.approx(dark[12] / 100)
        assert "as the file states" in str(swatches)
    with pytest.raises(InputError, match="percent and fraction"):
        read(spectral([f"SPECTRAL_PCT{w}" for w in GRID], dark, "SPECTRAL_NORM 1\n"))
    with pytest.raises(InputError, match="SPECTRAL_NORM is '50'"):
        read(spectral([f"NM_{w}" for w in GRID], dark, "SPECTRAL_NORM 50\n"))


def test_wavelengths_that_stand_in_the_sets(read: Read) -> None:
    """SPECTRAL_NM, SPECTRAL_PCT pairs, as CGATS.17 first had them; wavelengths in any order."""
    pairs = [(w, 100 * r) for w, r in zip(GRID, CURVE, strict=True)][::-1]
    text = spectral(["SPECTRAL_NM SPECTRAL_PCT"] * len(pairs), [x for p in pairs for x in p])
    (reading,) = read(text).readings
    assert reading.reflectance is not None
    assert reading.reflectance[1:-1] == pytest.approx(CURVE[3:-4])


def test_sets_that_run_over_lines_are_joined_where_the_counts_agree(read: Read) -> None:
    text = spectral([f"NM_{w}" for w in GRID], list(CURVE))
    broken = text.replace(f" {CURVE[9]} ", f"\n{CURVE[9]} ", 1)
    assert read(broken).readings[0].reflectance == pytest.approx(read(text).readings[0].reflectance)
    with pytest.raises(InputError, match="values under 38 fields"):
        read(broken.replace("NUMBER_OF_SETS 1\n", ""))


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("NUMBER_OF_SETS 2", "NUMBER_OF_SETS 3", "NUMBER_OF_SETS is 3, and the file holds 2"),
        ("NUMBER_OF_FIELDS 5", "NUMBER_OF_FIELDS 6", "NUMBER_OF_FIELDS is 6"),
        ("END_DATA\n", "", "END_DATA is missing"),
        ("END_DATA\n", "END_DATA\nBEGIN_DATA\n1 2 3 4 5\nEND_DATA\n", "2 BEGIN_DATA blocks"),
        ("BEGIN_DATA\n", "", "no BEGIN_DATA block"),
        ("LAB_B SAMPLE_NAME", "SAMPLE_NAME", "values under 4 fields"),
        ("60.5\t", "60.5 %\t", "6 values under 5 fields"),
        ("60.5\t", "60.5%\t", "write the number alone"),
        ("60.5\t", "yellow\t", "'yellow' is not a number"),
        ('"gold 0.5 %"', '"gold 0.5 %', "quotation mark is not closed"),
        ("LAB_B", "LAB_L", "two columns mean L*"),
        ("LAB_B", "XYZ_Z", "b* is missing"),
        ("BEGIN_DATA_FORMAT\nLAB_B SAMPLE_NAME LAB_L SAMPLE_ID LAB_A\nEND_DATA_FORMAT\n", "",
         "no field names"),
    ],
)  # fmt: skip
def test_refusals(read: Read, old: str, new: str, words: str) -> None:
    assert old in LAB_FILE
    changed = LAB_FILE[::-1].replace(old[::-1], new[::-1], 1)[::-1]  # the last one: END_DATA
    with pytest.raises(InputError) as caught:
        read(changed)
    assert words in str(caught.value)
    assert caught.value.file == "book.csv"


def test_too_many_fields_are_refused_at_once(read: Read) -> None:
    with pytest.raises(InputError, match=r"columns|fields"):
        read(spectral([f"X{i}" for i in range(10_000)], list(range(10_000))))


def test_a_narrow_range_is_refused_with_what_is_missing(read: Read) -> None:
    with pytest.raises(InputError, match="690 to 700 nm is missing"):
        read(spectral([f"NM_{w}" for w in range(380, 691, 10)], list(CURVE[:32])))
