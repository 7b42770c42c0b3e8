"""Text of cells: bytes decoded, delimiter found, header lines apart, one shape of tables.

Every reader gives a `Sheet`. What headings and header lines mean stands in one table,
data/headings.toml; faults and notes are sentences of data/tables.toml.
"""

import csv
import re
from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any, NamedTuple, Self

import numpy as np

from dyemix.arrays import LAB, Array
from dyemix.colour.spectra import band as band
from dyemix.console import REWRITING
from dyemix.dataset.conditions import METHOD, RECORD
from dyemix.errors import Fault, InputError, data, said
from dyemix.writing import Named, read_bytes

#: More columns than this is no swatch table (1 nm from 300 to 1100 nm is 801).
MOST_COLUMNS = 2_000
#: More readings than this is no dyer's table, and would take minutes and gigabytes.
MOST_ROWS = 20_000

#: Control characters that no text carries; tab, line feed, form feed and carriage return do.
_CONTROL = [chr(i) for i in range(0x20) if chr(i) not in "\t\n\f\r"]
#: A first line that spreadsheets write and heed, to say what separates cells.
_SEPARATOR = re.compile('"?sep=([,;\t])"?[,;\t]*', re.IGNORECASE)
#: Two cells that one number with a decimal comma may have become.
_DECIMAL_COMMA = re.compile(r"(?<![^;])([0-9]{1,3});([0-9]{1,6})(?![^;])")
_SPACE_AFTER_QUOTE = re.compile('" +(?=[,;\t\n]|$)')
#: What stands between the cells of a row that has been read: no text carries it.
_APART = "\x1f"
#: What `dyemix.writing.as_cell` puts before a text that a spreadsheet would run.
_KEPT_FROM_RUNNING = re.compile(rf"'(?<![^{_APART}\n]')(?='*[=+@-])")
#: Headings stand within so many lines; an instrument writes what it knows of itself above them.
_LINES_ABOVE = 100
_DELIMITERS = {"\t": "tabs", ";": "semicolons", ",": "commas"}

#: What may stand in a ``# key: value`` line, or (but for scale and demo) as a column.
CONDITIONS = (*METHOD, *RECORD, "stock_pct", "cloth_g", "spoons", "poured_ml", "about")
HEADER_ONLY = ("scale", "demo")
READING = (*LAB, "hex")

_WORDS: dict[str, dict[str, str]] = data("headings")
#: What a column can mean, bands apart.
KNOWN = frozenset(_WORDS["spelt"].values()) - {*HEADER_ONLY}


class Faults:
    """Collects the faults of one file, to be raised together, and `notes` of what was assumed.

    `counted` says what a row of them is, where it is no line of the file.
    """

    def __init__(self, file: str, counted: str = "row") -> None:
        self.file = file
        self.counted = counted
        self.notes: list[str] = []
        self._found: dict[Fault, None] = {}  # one that is told twice stands once

    def add(self, message: str, row: int | None = None, column: str | None = None) -> None:
        self._found[Fault(message, self.file, row, column, self.counted)] = None

    def tell(self, which: str, *place: Any, when: object = True, **values: object) -> None:
        """Add a fault in a sentence of data/tables.toml, at a row and column as in `add`."""
        if when:
            self.add(said(f"tables.{which}", **values), *place)

    def refuse(self, wrong: object, which: str, /, *place: Any, **values: object) -> None:
        """Tell what nothing can be read past. Raises `InputError` where something is wrong."""
        self.tell(which, *place, when=wrong, **values)
        if wrong:
            self.raise_any()

    def note(self, which: str, when: object = True, **values: object) -> None:
        """Note a sentence of data/tables.toml."""
        self.notes += [said(f"tables.{which}", **values)] if when else []

    def __len__(self) -> int:
        return len(self._found)

    def raise_any(self) -> None:
        """Raises `InputError` with every fault so far, in the order of the file."""
        if self._found:
            raise InputError(sorted(self._found, key=lambda fault: fault.row or 0))


#: Header lines, each with its line of the file, from 1; the cells of a row, with its number.
Remarks = list[tuple[int, str]]
Row = tuple[int, Iterable[str]]


class Sheet(NamedTuple):
    """The cells of a table, a line of text a row: they are split where somebody asks for them.

    Attributes
    ----------
    remarks : header lines, each with its line of the file, from 1.
    numbers : which row (line, object, column) of the file each of `lines` is.
    """

    remarks: Remarks
    headings: list[str]
    header_row: int
    numbers: Sequence[int]
    lines: list[str]

    @classmethod
    def of_rows(cls, remarks: Remarks, heads: list[str], above: int, rows: Iterable[Row]) -> Self:
        """The table of rows as wide as the headings `heads`, which stand in row `above`."""
        lines = [(number, _APART.join(cells).replace("\n", " ")) for number, cells in rows]
        numbers = [number for number, _ in lines]
        return cls(remarks, heads, above, numbers, [line for _, line in lines])

    @property
    def rows(self) -> list[list[str]]:
        """The cells of each row."""
        return [[*map(tidy, line.split(_APART))] for line in self.lines]

    def column(self, place: int) -> list[str]:
        """The cells of one column."""
        return [tidy(line.split(_APART, place + 1)[place]) for line in self.lines]

    def values(self, places: Sequence[int]) -> Array | None:
        """Columns as numbers ``(N, K)``; None where a cell is none."""
        with suppress(ValueError):
            found = np.loadtxt(self.lines, usecols=places, delimiter=_APART, comments=None, ndmin=2)
            return found if np.isfinite(found).all() else None
        return None


def decode(data: bytes, faults: Faults) -> str:
    """The text of `data`, what was assumed of its encoding noted. Raises `InputError` for none."""
    first = ("utf-8-sig", "")
    # Latin text in UTF-16 has a zero in every other byte, whether or not a mark says so.
    for encoding, zeros in (("utf-16-le", data[1:400:2]), ("utf-16-be", data[:400:2])):
        if zeros.count(0) > 0.7 * len(zeros) > 1:
            first = (encoding, "utf_16")
    for encoding, note in (first, ("cp1252", "windows")):
        with suppress(UnicodeDecodeError):
            text = data.decode(encoding).removeprefix("\ufeff")
            faults.refuse(any(sign in text for sign in _CONTROL), "no_text")
            faults.note(note, when=note)
            return text
    faults.refuse(True, "no_text")
    return ""


def read_text(path: Named) -> tuple[str, Faults]:
    """The text of a small table, and where its faults go. Raises `InputError` for what is none."""
    faults = Faults(Path(path).name)
    return decode(read_bytes(path), faults), faults


def spelling(heading: str) -> str:
    """A heading as headings are compared: lower case, single spaces, no brackets."""
    return tidy(re.sub(r"[()\[\],_-]", " ", heading.lower()))


def meaning(heading: str) -> str:
    """The package's name for a heading or key; the heading itself, tidied, where it has none."""
    if (wavelength := band(heading)) is not None:
        return f"{wavelength:g} nm"
    return _WORDS["spelt"].get(spelling(heading)) or tidy(heading)


def of_bands(heading: str) -> str | None:
    """``wavelength`` or ``value`` for such a column of a table with a band on each row."""
    return _WORDS["bands"].get(spelling(heading))


def known(heading: str) -> bool:
    """Whether a heading means something in a swatch table."""
    return band(heading) is not None or meaning(heading) in KNOWN


def is_table(name: Named) -> bool:
    """Whether a file is called as tables of text are."""
    return Path(name).suffix.lower() in (".csv", ".tsv", ".txt")


def is_reading(heading: str) -> bool:
    """Whether a column of this heading holds readings, or the wavelengths of them."""
    here = meaning(heading) in READING or band(heading) is not None
    return here or of_bands(heading) == "wavelength"


def is_swatch_table(headings: list[str]) -> bool:
    """Whether headings are those of a swatch table: a recipe, and room for a reading."""
    names = {meaning(heading) for heading in headings}
    named = "recipe" in names or {"dye", "owf"} <= names
    return named and any(map(is_reading, headings))


def _sense(line: str, stated: str) -> tuple[int, int, str]:
    """How many cells of a line are headings known here, how many there are, and what parts them.

    That is the delimiter `stated`, or the one that makes most sense of the line.
    """
    parts = {by: line.split(by) for by in stated or _DELIMITERS}
    found = [(sum(known(x.strip('" ')) for x in each), len(each), by) for by, each in parts.items()]
    return max(found, key=lambda sense: sense[:2])


def _heading_row(lines: list[str], start: int, stated: str) -> tuple[int, str]:
    """Where the headings stand, and the delimiter that makes most sense of them.

    They may lie below lines of an instrument's own, where nothing is known.
    """
    understood, width, delimiter = _sense(lines[start], stated)
    below = [] if understood else lines[start : start + _LINES_ABOVE]
    sense = ((row, *_sense(line, stated)) for row, line in enumerate(below, start))
    wider = ((row, by) for row, understood, cells, by in sense if understood > 2 and cells > width)
    return next(wider, (start, delimiter))


def tidy(text: str) -> str:
    """Text without white space around it, or more than one space inside."""
    return " ".join(text.split())


def _remark(line: str) -> str:
    """The text of a ``#`` line, less the quotes and delimiters a spreadsheet adds."""
    text = line.strip().rstrip(",;\t ")
    if text.startswith('"'):
        text = text.strip('"').replace('""', '"')
    return text.lstrip("# ").strip()


def few(words: Sequence[str], most: int, between: str = ", ") -> str:
    """The first words, and how many more there are."""
    more = f"{between.strip(', ')} and {len(words) - most} more" if words[most:] else ""
    return between.join(words[:most]) + more


def _excess(cells: list[str], width: int, whole: int, delimiter: str) -> str:
    """What is wrong with a row that is wider than its headings; nothing, if but blank cells are."""
    cells = [*map(tidy, cells)]
    pair = _DECIMAL_COMMA.search(";".join(cells))
    if pair and delimiter == "," and len(cells) > whole:
        count = len(cells)
        return said("tables.decimal_comma", count=count, width=whole, whole=pair[1], part=pair[2])
    extra = next((cell for cell in cells[width:] if cell), "")[:40]
    return said("tables.excess", count=len(cells), width=width, extra=extra) if extra else ""


def read_sheet(text: str, faults: Faults) -> Sheet:
    """Split `text` into header lines, headings, and rows as wide as those. Raises `InputError`.

    A row that does not fit its headings is a fault, and left out.
    """
    # A space between a closing quotation mark and the delimiter is a habit, not a fault.
    text = _SPACE_AFTER_QUOTE.sub('"', text.replace("\r\n", "\n").replace("\r", "\n"))
    lines, remarks = text.split("\n"), Remarks()
    start, delimiter = 0, ""
    for start, line in enumerate(lines):
        if line.lstrip(' \t"').startswith("#"):
            remarks.append((start + 1, _remark(line)))
        elif not delimiter and (stated := _SEPARATOR.fullmatch(line)):
            delimiter = stated[1]
        elif tidy(line).strip(' ,;"'):
            break
    else:
        faults.refuse(True, "no_table")
    above, (start, delimiter) = start, _heading_row(lines, start, delimiter)
    for row, line in enumerate(lines[above:start], above + 1):
        key, _, value = line.partition(delimiter)
        remarks.append((row, _remark(f"{key.strip()}: {value}")))
    faults.note("separated", when=delimiter != ",", by=_DELIMITERS[delimiter])
    headings, numbers, texts = list[str](), list[int](), list[str]()
    row, width, whole, short = start + 1, 0, 0, 0
    below = (line + "\n" for line in lines[start:])
    table = csv.reader(below, delimiter=delimiter, skipinitialspace=True, strict=True)
    try:
        for cells in table:
            if (count := len(cells)) > MOST_COLUMNS or len(texts) > MOST_ROWS:
                faults.refuse(count > MOST_COLUMNS, "columns", row, count=count, most=MOST_COLUMNS)
                faults.refuse(True, "readings", row - 1, most=MOST_ROWS)
            if not headings:
                headings = [*map(tidy, cells)]
                whole, width = count, max(i for i, head in enumerate(headings, 1) if head)
            elif cells and cells[0].startswith("# "):
                faults.tell("late_remark", row)
            elif count > width and (fault := _excess(cells, width, whole, delimiter)):
                faults.add(fault, row)
            elif any(map(str.strip, cells)):
                short += count < width
                cells = cells if count == width else cells[:width] + [""] * (width - count)
                numbers.append(row)
                texts.append(_APART.join(cells).replace("\n", " "))
            row = start + table.line_num + 1
    except csv.Error as error:
        faults.tell("quotes", row, error=error)
        if not headings:
            faults.raise_any()
    faults.note("short", when=short, count=short)
    return Sheet(remarks, headings[:width], start + 1, numbers, texts)


def cleaned(sheet: Sheet, faults: Faults) -> Sheet:
    """A table without what could rewrite a screen, which is noted, or keeps a text from running."""
    whole = "\n".join([*sheet.headings, *(text for _, text in sheet.remarks), *sheet.lines])
    shown, hidden = REWRITING.subn(lambda mark: " " * mark[0].isspace(), whole)
    faults.note("hidden", when=hidden, count=hidden)
    texts = iter(_KEPT_FROM_RUNNING.sub("", shown).split("\n"))
    headings = [next(texts) for _ in sheet.headings]
    remarks = [(row, next(texts)) for row, _ in sheet.remarks]
    return sheet._replace(headings=headings, remarks=remarks, lines=[*texts])


def placed(sheet: Sheet, name_of: Callable[[str], str], faults: Faults) -> dict[str, int]:
    """Which column holds what; two that hold the same, or one without a heading, are faults."""
    found: dict[str, int] = {}
    for place, heading in enumerate(sheet.headings):
        name = name_of(heading)
        if not heading and any(sheet.column(place)):
            faults.tell("no_heading", sheet.header_row, place=place + 1)
        elif heading and found.setdefault(name, place) != place:
            one, row = sheet.headings[found[name]], sheet.header_row
            faults.tell("two_columns", row, heading, name=name, one=one, other=heading)
    return found
