"""The one reader of small tables: what it takes, and that every fault names its place."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from dyemix.errors import InputError
from dyemix.files.small_tables import Column, Table, number, read_table, read_targets

COLUMNS = (
    Column("job", needed=True),
    Column("recipe", needed=True, blank=True),
    Column("cloth_g", number, needed=True),
    Column("pieces", number, also=("how many",)),
)
Read = Callable[..., Table]


@pytest.fixture
def read(tmp_path: Path) -> Read:
    def read(text: str | bytes, others: bool = False) -> Table:
        path = tmp_path / "jobs.csv"
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return read_table(path, COLUMNS, others=others)

    return read


@pytest.mark.parametrize(
    "text",
    [
        "job,recipe,cloth_g,pieces\nA,gold 2,240.5,\nB,,80,3\n",
        "job;Recipe;Cloth weight;How-many\nA;gold 2;240,5;\nB;;80;3\n",
        "sep=;\n# a remark\nJOB;recipe;cloth g;pieces\n\nA;gold 2;240,5;\nB;;80;3;;\n",
        '"sep=\t"\njob\tdye recipe\tdry weight (g)\tpieces\nA\tgold 2\t240.5\nB\t\t80\t3\n',
        "\ufeffjob,recipe,cloth_g,pieces\r\nA, gold  2 ,240.5,\r\nB,,80,3\r\n",
        'job,recipe,cloth_g,pieces\n"A","gold 2","240,5",""\n"B","","80","3"\n',
    ],
)
def test_a_table_as_spreadsheets_write_it(read: Read, text: str) -> None:
    table = read(text)
    assert [values for _, values in table.rows] == [
        {"job": "A", "recipe": "gold 2", "cloth_g": 240.5},
        {"job": "B", "cloth_g": 80.0, "pieces": 3.0},
    ]
    assert not len(table.faults)


def test_rows_are_those_of_the_file(read: Read) -> None:
    table = read("# stock_pct: 2\n\njob,recipe,cloth_g\n\nA,gold 2,240\n")
    assert table.remarks == [(1, "stock_pct: 2")]
    assert [row for row, _ in table.rows] == [5]
    table = read("job,recipe,cloth_g\nA,,heavy\nB,,80\n")
    assert [row for row, _ in table.rows] == [3]
    assert len(table.faults) == 1


HEAD = "job,recipe,cloth_g,pieces\n"


@pytest.mark.parametrize(
    ("text", "places"),
    [
        (HEAD + "A,gold,heavy,x\nB,,,1\n,,5,1\nC,,5,1,2\nD,,5,inf\nE,,5,1\n",
         ["row 2, column cloth_g: 'heavy'", "row 2, column pieces: 'x'", "row 3, column cloth_g",
          "row 4, column job: is", "row 5: 5 cells", "row 6, column pieces: 'inf'"]),
        ("job,cloth_g,cloth weight,swach\nA,1,2,3\n",
         ["row 1, column cloth weight: two columns mean cloth_g",
          "row 1: missing: recipe; unknown: swach. This table needs job, recipe, cloth_g, and"]),
        ("recipe,swatch," + ",".join(map(str, range(400, 701, 10))) + "\ngold 2,1\n",
         ["row 1: missing: job, cloth_g; unknown: swatch, 400, 410, 420 and 28 more."]),
        (HEAD, ["no rows"]),
        ("", ["the file is empty"]),
        ("# remark\n", ["no table"]),
        (HEAD + '"A,gold,1\n', ["quotation mark"]),
        (b"job\0,recipe", ["not text"]),
        ("x" * 20_000_001, ["20 MB"]),
    ],
)  # fmt: skip
def test_every_fault_is_told_with_its_place(
    read: Read, text: str | bytes, places: list[str]
) -> None:
    with pytest.raises(InputError) as told:
        read(text).faults.raise_any()
    lines = str(told.value).split("\n")
    assert len(lines) == len(places)
    for line, place in zip(lines, places, strict=True):
        assert line.startswith("jobs.csv")
        assert place in line


def test_what_is_not_used_or_was_assumed_is_noted(read: Read) -> None:
    table = read("job,recipe,cloth_g,Kundin\nA,blé 2,1,x\n".encode("cp1252"), others=True)
    assert table.rows == [(2, {"job": "A", "recipe": "blé 2", "cloth_g": 1.0})]
    assert [note.split(":")[0] for note in table.faults.notes] == [
        "the file is not in UTF-8 and was read as Windows-1252", "not used",
    ]  # fmt: skip
    assert "'Kundin'" in table.faults.notes[1]


@pytest.mark.parametrize("name", ["none.csv", ".", "a\0b.csv"])
def test_a_path_that_is_no_file(tmp_path: Path, name: str) -> None:
    with pytest.raises(InputError):
        read_table(tmp_path / name, COLUMNS)


@pytest.mark.parametrize(
    "text",
    [
        "#7d8a6e\n56 -10 13 D50/2\n",
        "colour,name\n#7d8a6e,\n56 -10 13 D50/2,\n",
        "sep=;\nL*;a*;b*;hex;light\n;;;#7d8a6e;\n56,0;-10;13;;D50/2\n",
        "target,light,customer\n7d8a6e,,A\n56 -10 13,D50/2,B\n",
    ],
)
def test_lists_of_colours(tmp_path: Path, text: str) -> None:
    (tmp_path / "job.csv").write_text(text, encoding="utf-8")
    first, second = read_targets(tmp_path / "job.csv")
    assert (first.hex, str(first.light)) == ("#7d8a6e", "D65/2°")
    assert (*second.lab, str(second.light)) == (56, -10, 13, "D50/2°")


def test_a_list_of_a_byte_order_mark_alone_holds_no_table(tmp_path: Path) -> None:
    (tmp_path / "job.csv").write_bytes(b"\xef\xbb\xbf")
    with pytest.raises(InputError, match="holds no table"):
        read_targets(tmp_path / "job.csv")


def test_a_list_whose_headings_cannot_be_read_says_so(tmp_path: Path) -> None:
    (tmp_path / "job.csv").write_text('"na"me,L*\nA,50\n', encoding="utf-8")
    with pytest.raises(InputError, match="row 1: a quotation mark is not closed"):
        read_targets(tmp_path / "job.csv")


def test_a_list_of_colours_tells_every_fault(tmp_path: Path) -> None:
    (tmp_path / "job.csv").write_text("L*,a*,b*,name\n50,0,,A\n,,,B\n50,0,0,C\n300,0,0,D\n")
    with pytest.raises(InputError) as told:
        read_targets(tmp_path / "job.csv")
    assert [fault.row for fault in told.value.faults] == [2, 3, 5]
