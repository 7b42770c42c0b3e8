"""Workbooks: read as the sheet would read as CSV, formulas never calculated, bombs refused."""

from __future__ import annotations

import datetime
import io
import zipfile
from pathlib import Path
from typing import Any

import numpy as np
import openpyxl
import pytest
from defusedxml import EntitiesForbidden
from samples import HEAD, ROWS, Read, archive, unpacked, workbook

from dyemix.colour.colorimetry import WAVELENGTHS
from dyemix.dataset.recipe import Recipe
from dyemix.errors import InputError
from dyemix.files import read_swatches

pytestmark = pytest.mark.filterwarnings("error")


def test_a_sheet_reads_as_its_csv_would(read: Read) -> None:
    swatches = read(workbook(ROWS))
    assert [r.recipe for r in swatches.readings] == [Recipe(), *[Recipe({"gold": 0.5})] * 2]
    assert swatches.readings[2].place == "book.csv, row 7"
    assert swatches.readings[2].reflectance == pytest.approx(0.31)
    assert swatches.conditions() == {"cloth": "cotton lawn"}
    assert "sheet 'Sheet'" in str(swatches)


def test_percentages_dates_and_numbers_as_names(read: Read) -> None:
    head = ["swatch", "dye", "owf", "date", *HEAD[2:]]
    day = datetime.datetime(2024, 5, 3)

    def percent(sheet: Any) -> None:
        for row in sheet["C2:AI3"]:
            for cell in row:
                if not cell.is_date:
                    cell.number_format = "0.0%"

    swatches = read(
        workbook(
            [head, [1, "gold", 0.02, day, *[0.85] * 31], [2, "gold", 0.005, day, *[0.5] * 31]],
            percent,
        )
    )
    assert [dict(r.recipe or {}) for r in swatches.readings] == [{"gold": 2.0}, {"gold": 0.5}]
    assert swatches.readings[0].reflectance == pytest.approx(0.85)
    assert swatches.readings[0].conditions["date"] == "2024-05-03"


def test_pandas_writes_what_is_read(tmp_path: Path) -> None:
    """pandas is the other library: a frame written by it reads back as the frame."""
    import pandas as pd

    spectra = np.linspace(0.05, 0.8, 62).reshape(2, 31)
    frame = pd.DataFrame(spectra, columns=[f"{w:g} nm" for w in WAVELENGTHS])
    frame.insert(0, "recipe", ["undyed", "navy 2"])
    frame.to_excel(tmp_path / "frame.xlsx", index=False)
    swatches = read_swatches(tmp_path / "frame.xlsx")
    for reading, spectrum in zip(swatches.readings, spectra, strict=True):
        np.testing.assert_allclose(reading.reflectance, spectrum, rtol=1e-11)


def with_formula(saved: str | None) -> bytes:
    """A workbook with a formula in C5, and beside it the value a spreadsheet would have saved."""
    data = workbook(ROWS, lambda sheet: sheet.__setitem__("C5", "=D5*1"))
    if saved is None:
        return data
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w") as new:
        for name in old.namelist():
            part = old.read(name)
            if name.endswith("sheet1.xml"):
                assert b"<f>D5*1</f><v" in part
                part = part.replace(b"<f>D5*1</f><v />", f"<f>D5*1</f><v>{saved}</v>".encode())
                part = part.replace(b"<f>D5*1</f><v></v>", f"<f>D5*1</f><v>{saved}</v>".encode())
            new.writestr(name, part)
    return out.getvalue()


def test_a_formula_is_never_calculated(read: Read) -> None:
    with pytest.raises(InputError, match=r"cell C5 holds the formula '=D5\*1' and no saved value"):
        read(with_formula(None))
    swatches = read(with_formula("0.29"))
    assert swatches.readings[1].reflectance is not None
    assert swatches.readings[1].reflectance[0] == pytest.approx(0.29)
    assert "formulas in cells, 1 in all (first: C5" in str(swatches)
    with pytest.raises(InputError, match="'#DIV/0!' is not a number"):
        read(workbook([*ROWS[:4], [2, "gold 0.5", "#DIV/0!", *[0.3] * 30]]))


def test_the_one_sheet_that_is_a_table(read: Read) -> None:
    book = openpyxl.Workbook()
    book.active.title = "notes"
    book.active.append(["dyed in May"])
    for row in ROWS:
        book.create_sheet("swatches") if "swatches" not in book.sheetnames else None
        book["swatches"].append(row)
    out = io.BytesIO()
    book.save(out)
    swatches = read(out.getvalue())
    assert len(swatches.readings) == 3
    assert "not read: 'notes'" in str(swatches)
    for row in ROWS:
        book.create_sheet("again") if "again" not in book.sheetnames else None
        book["again"].append(row)
    out = io.BytesIO()
    book.save(out)
    with pytest.raises(InputError, match="2 sheets hold tables"):
        read(out.getvalue())


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"PK\x03\x04rest\x00", "not a zip file"),
        (b"\xd0\xcf\x11\xe0" + b"\0" * 600, "without a password"),
        ({"readme.txt": b"hello"}, "save it as .xlsx"),
        ({"content.xml": b"<a/>", "mimetype": b"x"}, "save it as .xlsx"),
        ({"xl/workbook.xml": b" " * 70_000_000}, "70 MB when unpacked"),
        ({"xl/workbook.xml": b"<a/>"}, "cannot be read"),
        ([], "empty"),
        (workbook(ROWS)[:-500], "cannot be read"),
        ([["recipe", *range(10_000)], ["undyed", *[1] * 10_000]], "columns"),
        ([*ROWS[:4], [2, "gold 1", "30 %", *[0.3] * 30]], "write the number alone"),
        ([*ROWS[:4], [2, "gold 1", "30%", *[0.3] * 30]], "write the number alone"),
        ([*ROWS[:4], [2, "gold", *[0.3] * 31]], "not an amount"),
    ],
)  # fmt: skip
def test_refusals(read: Read, data: Any, words: str) -> None:
    """Of bytes, of an archive of these parts, of a workbook of these rows."""
    made = {bytes: bytes, dict: archive, list: workbook}[type(data)](data)
    with pytest.raises(InputError) as caught:
        read(made)
    assert words in str(caught.value)
    assert caught.value.file == "book.csv"


BOMB = "<!DOCTYPE x [<!ENTITY i 'aaaaaaaaaa'>" + "".join(
    f"<!ENTITY {b} '{f'&{a};' * 10}'>" for a, b in zip("iabcdefg", "abcdefgh", strict=True)
)
OUTSIDE = "<!DOCTYPE x [<!ENTITY i SYSTEM 'file:///etc/hostname'>"


@pytest.mark.parametrize("part", ["xl/workbook.xml", "xl/worksheets/sheet1.xml", "xl/styles.xml"])
@pytest.mark.parametrize("declared", [BOMB, OUTSIDE])
def test_entities_are_neither_unfolded_nor_fetched(read: Read, part: str, declared: str) -> None:
    parts = unpacked(workbook(ROWS))
    head, declaration, body = parts[part].rpartition(b"?>")
    parts[part] = head + declaration + declared.encode() + b"]>" + body
    with pytest.raises(InputError, match="cannot be read") as caught:
        read(archive(parts))
    why: BaseException | None = caught.value
    while why is not None and not isinstance(why, EntitiesForbidden):
        why = why.__cause__ or why.__context__
    assert why is not None


def test_a_cell_far_away_is_neither_waited_for_nor_lost(read: Read) -> None:
    data = workbook(ROWS, lambda sheet: sheet.cell(1_048_576, 3, 0.5))
    with pytest.raises(InputError, match="goes on below row 20,060"):
        read(data)
