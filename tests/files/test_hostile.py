"""Text that would act: on the screen, in a spreadsheet, or on the machine that reads it."""

from __future__ import annotations

import csv
import io
import re
import zipfile

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from samples import BANDS, SOUND, Read, flat

from dyemix.dataset.recipe import Recipe
from dyemix.dataset.swatches import SwatchSet
from dyemix.errors import InputError
from dyemix.files import cells, swatch_table
from dyemix.writing import csv_text

TWO = f"swatch,recipe,name,{BANDS}\n{{0}},undyed,{{1}},{flat(0.8)}\n2,gold 1,b,{flat(0.3)}\n"


def test_marks_that_rewrite_the_screen_are_taken_out_and_told(read: Read) -> None:
    odd = "# cloth: na\u202epkin\x9b31m\n" + TWO.format("A\u2066\x7f", "c")
    swatches = read(odd)
    assert swatches.readings[0].swatch == "A"
    assert swatches.readings[0].conditions["cloth"] == "napkin31m"
    assert "taken out: 4 of them" in str(swatches)
    assert "taken out" not in str(read(TWO.format("A", "c")))


def test_the_same_out_of_an_instrument_s_file(read: Read) -> None:
    swatches = read(SOUND["CxF3"].replace(b"gold 2", b"gold&#x202e; 2"))
    assert Recipe({"gold": 2.0}) in [reading.recipe for reading in swatches.readings]


def test_a_line_break_moves_no_cell_and_joins_no_words(read: Read) -> None:
    """A table is cleaned as one text, whose lines are headings, remarks and rows."""
    said = b"a caf&#10;napkins"
    broken = SOUND["CxF3"].replace("a café's napkins".encode(), said)
    broken = broken.replace(b"cotton lawn", b"cotton&#10;lawn").replace(b"gold 2", b"gold&#10;2")
    two = read(broken).readings
    assert [str(each.recipe) for each in two] == ["None", "gold 2.00"]
    assert {each.conditions["cloth"] for each in two} == {"cotton lawn"}
    swatches = read(TWO.format("A", '"on\ntwo\x85three\u2028four"'))
    assert swatches.readings[0].name == "on two three four"
    assert [str(each.recipe) for each in swatches.readings] == ["undyed", "gold 1.00"]


@settings(derandomize=True, max_examples=60, deadline=None)
@given(st.text("=+-@'1.e", min_size=1, max_size=6))
def test_a_name_is_no_formula_in_a_spreadsheet_and_comes_back_as_it_was(name: str) -> None:
    table = cells.read_sheet(TWO.format("A", name), cells.Faults("a"))
    before = table.column(2)
    out = csv_text([table.headings, *table.rows])
    written = list(csv.reader(io.StringIO(out)))[1][2]
    number = re.fullmatch(r"-(\d+\.?\d*|\.\d+)(e[+-]?\d+)?", written)
    assert number or written[0] not in "=+-@"
    back = cells.cleaned(cells.read_sheet(out, cells.Faults("a")), cells.Faults("a"))
    assert back.column(2) == before


def test_a_table_of_swatches_written_runs_nothing(read: Read) -> None:
    named = read(TWO.format("=1+1", "@SUM(1)"))
    assert named.readings[0].swatch == "=1+1"
    out = swatch_table(named)
    assert "\n'=1+1,'@SUM(1),undyed," in out
    again = read(out)
    assert (again.readings[0].swatch, again.readings[0].name) == ("=1+1", "@SUM(1)")


@pytest.mark.parametrize("encoding", ["utf-16-le", "utf-16-be", "utf-16"])
def test_utf_16_with_a_mark_or_without(read: Read, encoding: str) -> None:
    swatches = read(TWO.format("Größe", "c").encode(encoding))
    assert swatches.readings[0].swatch == "Größe"
    assert "UTF-16" in str(swatches)


def test_what_an_instrument_says_of_itself_above_the_headings_is_kept(read: Read) -> None:
    """Common practice: exports begin with lines about the instrument, and a line 'sep=;'."""
    table = TWO.format("A", "c").replace(",", ";").replace("400;", "R400 nm;")
    swatches = read("sep=;\nDevice;X1\nGeometry;de:8\n\nserial;12;3\n" + table)
    assert len(swatches.readings) == 2
    assert swatches.readings[0].place == "book.csv, row 7"
    kept = swatches.readings[0].conditions
    assert kept["geometry"] == "de:8"
    assert (kept["Device"], kept["serial"]) == ("X1", "12;3")
    assert "kept, but no condition known here: row 2, Device: X1, row 5" in str(swatches)


def test_a_table_that_is_none_names_its_first_line(read: Read) -> None:
    with pytest.raises(InputError, match=r"row 1: no headings are understood here \(day, hour\)"):
        read("day,hour\n1,2\n3,4\n")


def test_more_dye_than_cloth_is_refused(read: Read) -> None:
    with pytest.raises(InputError, match=r"row 3, column recipe: gold 1e\+09 % owf is more dye"):
        read(TWO.format("A", "c").replace("gold 1,", "gold 1000000000,"))


def nested(depth: int) -> bytes:
    """Collections within collections, an object in each."""
    text = SOUND["CxF3"].decode()
    start = text.index("<", text.index("ObjectCollection") - 5)
    tag = text[start : text.index(">", start) + 1]
    end = "</" + tag[1:].split()[0].rstrip(">") + ">"
    at = text.index(tag) + len(tag)
    return (text[:at] + tag * depth + text[at:].replace(end, end * (depth + 1), 1)).encode()


def test_collections_within_collections_give_each_object_once(read: Read) -> None:
    plain: SwatchSet = read(SOUND["CxF3"])
    assert len(read(nested(3000)).readings) == len(plain.readings)


@pytest.mark.slow
def test_a_workbook_of_very_many_parts_is_refused_as_such(read: Read) -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for number in range(6000):
            archive.writestr(f"{number}.xml", "")
    with pytest.raises(InputError, match="6,000 parts"):
        read(out.getvalue())
