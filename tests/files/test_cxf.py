"""CxF3 (ISO 17972-1): objects, grids and conditions, and what another library writes."""

from __future__ import annotations

import numpy as np
import pytest
from samples import CURVE, GRID, NAMESPACE, VALUES, Read
from samples import CXF as FILE

from dyemix.colour.colorimetry import Light
from dyemix.dataset.recipe import Recipe
from dyemix.errors import InputError

pytestmark = pytest.mark.filterwarnings("error")


def test_collections_specifications_and_conditions(read: Read) -> None:
    swatches = read(FILE)
    first, second = swatches.readings
    assert (first.name, first.kind, first.place) == ("undyed", "spectrum", "book.csv, object 1")
    assert first.reflectance is not None
    assert first.reflectance[1:-1] == pytest.approx(CURVE[3:-4])
    assert first.conditions["geometry"] == "de:8 (sphere, specular excluded)"
    assert first.conditions["backing"] == "white tile"
    assert (second.kind, second.light) == ("Lab", Light("D50", 2))
    assert second.lab == pytest.approx([70.5, 10, 60])
    assert second.recipe == Recipe({"gold": 2.0})
    assert second.conditions["geometry"] == "45/0"
    assert {r.conditions["cloth"] for r in swatches.readings} == {"cotton lawn"}
    for words in ("2 object collections", "café", "ColorCIEXYZ is not read", "beside a spectrum",
                  "380 to 730 nm every 10 nm"):  # fmt: skip
        assert words in str(swatches)


@pytest.mark.parametrize(
    ("old", "new"), [("cc:", ""), ("cc:", "x-1:"), (NAMESPACE, "urn:another"), ("UTF-8", "utf-8")]
)
def test_namespaces_and_prefixes_do_not_matter(read: Read, old: str, new: str) -> None:
    changed = FILE.replace("xmlns:cc", f"xmlns:{new[:-1]}" if new else "xmlns").replace(old, new) \
        if old == "cc:" else FILE.replace(old, new)  # fmt: skip
    assert read(changed).readings[1].lab == pytest.approx(read(FILE).readings[1].lab)


def test_utf_16(read: Read) -> None:
    assert len(read(FILE.replace("UTF-8", "UTF-16").encode("utf-16")).readings) == 2


def test_a_start_of_its_own_and_two_grids(read: Read) -> None:
    """A spectrum may state where it begins; all of a file begin and end alike."""
    fine = " ".join(str(x) for x in np.interp(range(400, 701, 5), GRID, CURVE))
    spectrum = (
        f'<cc:ReflectanceSpectrum ColorSpecification="spec" StartWL="400" Increment="5">{fine}'
    )
    other = (
        f'<cc:Object ObjectType="Sample" Name="gold 1" Id="3"><cc:ColorValues>{spectrum}'
        "</cc:ReflectanceSpectrum></cc:ColorValues></cc:Object></cc:ObjectCollection>"
    )
    with pytest.raises(InputError, match="object 2: its bands are not those of the first"):
        read(FILE.replace("</cc:ObjectCollection>", other, 1))
    start, end = FILE.index("<cc:ReflectanceSpectrum"), FILE.index("</cc:ReflectanceSpectrum>")
    swatches = read(FILE.replace(FILE[start:end], spectrum))
    assert [r.name for r in swatches.readings] == ["undyed", "gold 2"]
    assert swatches.readings[0].reflectance == pytest.approx(CURVE[2:-3], abs=1e-6)
    assert "every 5 nm" in str(swatches)


BOMB = '<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa">' + "".join(
    f'<!ENTITY {b} "{f"&{a};" * 10}">' for a, b in zip("abcdefgh", "bcdefghi", strict=True)
) + "]>"  # fmt: skip


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("<cc:CxF ", BOMB + "<cc:CxF ", "document type"),
        ("<cc:CxF ", '<!DOCTYPE x SYSTEM "http://127.0.0.1:9/x.dtd"><cc:CxF ', "document type"),
        ("<cc:CxF ", '<!DOCTYPE x [<!ENTITY e SYSTEM "file:///etc/hostname">]><cc:CxF ',
         "document type"),
        ("</cc:Resources>\n</cc:CxF>\n", "", "damaged or cut short"),
        ("a café", "a &cafe;", "damaged or cut short"),
        ("UTF-8", "US-ASCII", "damaged or cut short"),
        ("UTF-8", "no-such-code", "damaged or cut short"),
        ("cc:CxF", "cc:Other", "its root is 'Other'"),
        ("cc:Object ", "cc:Thing ", "mismatched"),
        ('StartWL="380" Increment="10"', 'StartWL="380"', "StartWL and Increment"),
        ('StartWL="380"', 'StartWL="first"', "StartWL and Increment"),
        ('<cc:ColorSpecification Id="spec">', '<cc:ColorSpecification Id="sp">',
         "ColorSpecification 'spec' is not in the file"),
        ("<cc:L>70.5</cc:L>", "<cc:L>70.5 %</cc:L>", "write the number alone"),
        ("<cc:L>70.5</cc:L>", "", "is blank"),
        (VALUES, VALUES.replace(" ", "; ", 1), "not a number"),
        (VALUES, " ".join(str(100 * x) for x in CURVE), "not a reflectance in fraction"),
        ("2_Degree", "4_Degree", "observer 4°"),
        ("<cc:Illuminant>D50", "<cc:Illuminant>Moon", "'MOON' is unknown"),
    ],
)  # fmt: skip
def test_refusals(read: Read, old: str, new: str, words: str) -> None:
    assert old in FILE
    with pytest.raises(InputError) as caught:
        read(FILE.replace(old, new))
    assert words in str(caught.value)
    assert caught.value.file == "book.csv"


def test_faults_name_the_object(read: Read) -> None:
    with pytest.raises(InputError) as caught:
        read(FILE.replace("<cc:L>70.5</cc:L>", "<cc:L>dark</cc:L>"))
    assert str(caught.value).startswith("book.csv, object 2, column L*: 'dark' is not a number")


def test_a_file_without_objects_or_with_empty_ones(read: Read) -> None:
    empty = '<Object Name="a" Id="1"/>'
    for held in ("", f"<ObjectCollection>{empty}</ObjectCollection>"):
        with pytest.raises(InputError, match="no object"):
            read(f'<CxF xmlns="{NAMESPACE}">{held}</CxF>')


# The other library: colour-cxf, made from the published schema by a generator.


def test_what_the_other_library_writes_is_read(read: Read) -> None:
    other = pytest.importorskip("colour_cxf")
    rewritten = other.write_cxf(other.read_cxf(_one_collection(FILE).encode()))
    assert b"ns0:" in rewritten or b"<CxF" in rewritten
    ours, theirs = read(_one_collection(FILE)), read(rewritten)
    for one, another in zip(ours.readings, theirs.readings, strict=True):
        assert (another.recipe, another.name, another.kind, another.light) == (
            one.recipe, one.name, one.kind, one.light,
        )  # fmt: skip
        assert dict(another.conditions) == dict(one.conditions)
        np.testing.assert_array_equal(another.reflectance, one.reflectance)


def _one_collection(text: str) -> str:
    """The same file with its objects in one collection, which is all that library's model holds."""
    head, _, rest = text.partition("</cc:ObjectCollection>")
    return head + rest.partition("<cc:ObjectCollection>")[2]


def test_deep_nesting_and_many_objects_end(read: Read) -> None:
    with pytest.raises(InputError):
        read("<CxF>" + "<a>" * 100_000)
    item = '<Object Name="x" ObjectType="y" Id="1"/>'
    with pytest.raises(InputError, match="objects"):
        read(f"<CxF><ObjectCollection>{item * 25_000}</ObjectCollection></CxF>")
    long = " ".join(["0.5"] * 10_000)
    with pytest.raises(InputError, match="10000 values"):
        read(FILE.replace(VALUES, long))
