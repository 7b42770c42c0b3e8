"""Swatch tables as people keep them: what is read, what is refused, and in which words."""

from __future__ import annotations

import gc
import pickle
import subprocess
import sys
from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from io import StringIO
from pathlib import Path

import instruments
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from samples import BANDS, Read, flat

from dyemix.colour.colorimetry import D65_2, D65_10, WAVELENGTHS, Light, hex_to_lab, lab
from dyemix.dataset.readings import Clipped
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.swatches import Reading, SwatchSet
from dyemix.errors import InputError
from dyemix.files import read_swatches, swatch_table, write_swatches
from dyemix.files.table import alike

pytestmark = pytest.mark.filterwarnings("error")
SWATCH_DATA = Path(__file__).resolve().parents[2] / "swatch_data"


# What is read


def test_the_demo_table() -> None:
    swatches = read_swatches(SWATCH_DATA / "napkins.csv")
    assert swatches.demo
    assert str(swatches).startswith("DEMO")
    assert len(swatches.dyes) == 12
    assert swatches.conditions()["alkali"] == "about 1 h after the dye"
    first = swatches.readings[0]
    assert (first.recipe, first.swatch, first.kind) == (Recipe(), "N001", "spectrum")
    assert first.reflectance is not None
    assert first.reflectance[[0, -1]] == pytest.approx([0.6042, 0.8558])
    assert not first.reflectance.flags.writeable


def test_spreadsheet_habits(read: Read) -> None:
    """BOM, semicolons with decimal commas, blank lines, stray spaces, Windows line ends."""
    habits = read(
        "\ufeff# cloth: cotton lawn;;;;\r\n\r\n Recipe ; swatch;L*; a* ;b* \r\n"
        " undyed ;1;92,5;0,1;2 \r\n;;;;\r\n\r\n"
        '"marigold 0,8" ; 2 ;70;10,25;"60,5"\r\n'
    )
    assert [r.recipe for r in habits.readings] == [Recipe(), Recipe({"marigold": 0.8})]
    assert habits.readings[1].lab == pytest.approx([70, 10.25, 60.5])
    assert habits.readings[1].place == "book.csv, row 7"
    assert habits.readings[0].conditions["cloth"] == "cotton lawn"
    assert "decimal commas" in str(habits)


def test_tabs_and_other_encodings(read: Read) -> None:
    table = "recipe\thex\tcloth\nundyed\t#aabbcc\tcafé\n"
    for encoding, words in (("utf-8", ""), ("utf-16", "UTF-16"), ("cp1252", "Windows-1252")):
        swatches = read(table.encode(encoding))
        assert swatches.readings[0].conditions["cloth"] == "café"
        assert words in str(swatches)


@pytest.mark.parametrize("form", ["{}", "R{}", "{} nm", "R_{}nm", "r {}", "{}nm"])
def test_band_headings(read: Read, form: str) -> None:
    bands = ",".join(form.format(f"{w:g}") for w in WAVELENGTHS[::-1])
    values = ",".join(f"{r:.3f}" for r in np.linspace(0.8, 0.2, 31))
    swatches = read(f"recipe,{bands}\nundyed,{values}\n")
    assert swatches.readings[0].reflectance == pytest.approx(np.linspace(0.2, 0.8, 31))


@pytest.mark.parametrize(
    ("start", "stop", "step"), [(400, 700, 20), (380, 740, 5), (360, 780, 1), (395, 705, 10)]
)
def test_other_grids(read: Read, start: int, stop: int, step: int) -> None:
    """A smooth dye-like curve known at every wavelength comes out on the package's bands."""

    def curve(w: np.ndarray) -> np.ndarray:
        return 0.06 + 0.7 / (1.0 + np.exp(-(w - 560.0) / 22.0))

    bands = np.arange(start, stop + 1, step)
    head, values = ",".join(map(str, bands)), ",".join(f"{r:.6f}" for r in curve(bands))
    swatches = read(f"recipe,{head}\nundyed,{values}\n")
    tolerance = 2e-3 if step == 20 else 2e-4 if start == 395 else 1e-6
    got, there = swatches.readings[0].reflectance, curve(WAVELENGTHS)
    assert got is not None
    assert got[1:-1] == pytest.approx(there[1:-1], abs=tolerance)
    if start < 395:  # an end band is a mean with the bands beyond it
        assert curve(np.array(start)) <= got[0] <= there[0] + tolerance
        assert there[-1] < got[-1] <= curve(np.array(stop))
    else:
        assert got[[0, -1]] == pytest.approx(there[[0, -1]], abs=tolerance)
    assert ("interpolated" in str(swatches)) == (step == 20 or start == 395)
    assert ("beyond 400–700" in str(swatches)) == (start != 400)
    assert ("folded" in str(swatches)) == (start < 395)


def test_a_spline_does_not_go_below_zero(read: Read) -> None:
    bands = range(400, 701, 20)
    values = ["80" if w > 560 else "0.05" for w in bands]
    swatches = read(f"recipe,{','.join(map(str, bands))}\nnavy 9,{','.join(values)}\n")
    assert swatches.readings[0].reflectance is not None
    assert swatches.readings[0].reflectance.min() >= 0.0005 - 1e-12


def test_the_scale_is_one_for_the_file_and_said(read: Read) -> None:
    percent = read(f"recipe,{BANDS}\nundyed,{flat(80)}\nblack 6,{flat(1.5)}\n")
    assert percent.readings[1].reflectance == pytest.approx(0.015)
    assert "reflectance is in percent" in str(percent)
    assert "fractions of 1" in str(read(f"recipe,{BANDS}\nundyed,{flat(0.8)}\n"))
    dark = read(f"# scale: percent\nrecipe,{BANDS}\nblack 6,{flat(0.9)}\n")
    assert "is the scale really percent?" in str(dark)
    stated = read(f"# scale: percent\nrecipe,{BANDS}\nblack 6,{flat(1.5)}\n")
    assert stated.readings[0].reflectance == pytest.approx(0.015)
    assert "could be a bright fraction" in str(read(f"recipe,{BANDS}\nundyed,{flat(1.05)}\n"))
    # More light than falls on it comes back from no cloth: black in percent, not a fraction of 1.
    assert "in percent" in str(read(f"recipe,{BANDS}\nblack 6,{flat(1.5)}\n"))


def test_spoons_and_stock_become_owf(read: Read) -> None:
    swatches = read(
        "# stock %: marigold 2, navy 1\n# dry weight: 240 g\n# spoons: Metric\n"
        "recipe,hex\nmarigold 2 tbsp + navy 1 tbsp,#778844\n"
    )
    recipe = swatches.readings[0].recipe
    assert recipe is not None
    assert dict(recipe) == pytest.approx({"marigold": 0.25, "navy": 0.0625})
    assert recipe.as_written == "marigold 2 tbsp + navy 1 tbsp"


def test_dye_and_owf_and_measures_by_row(read: Read) -> None:
    swatches = read(
        "# cloth_g: 5\ndye,owf,stock_pct,cloth_g,poured_ml,hex\n"
        "undyed,0,,,,#eeeeee\ngold,0.5,,,,#bbaa33\n"
        "gold,5 mL,1,,20,#aa9922\ngold,5 mL,1,10,,#aa9911\n"
    )
    assert [dict(r.recipe or {}) for r in swatches.readings] == [
        {}, {"gold": 0.5}, {"gold": 1.0}, {"gold": 0.5},
    ]  # fmt: skip
    assert swatches.readings[2].conditions["poured_ml"] == "20"


def test_cloth_is_weighed_in_any_unit_and_a_stock_is_stated_once(read: Read) -> None:
    table = "# cloth_g: {}\n# stock_pct: {}\nrecipe,hex\ngold 5 mL,#bbaa33\n"
    for cloth in ("50", "50 g", "0,05 kg"):
        assert dict(read(table.format(cloth, "gold 2")).readings[0].recipe or {}) == {"gold": 0.2}
    for faulty in (("0", "2"), ("5 m", "2"), ("50", "gold 2, gold 1"), ("50", "gold 2, navy")):
        with pytest.raises(InputError, match=r"row [12]"):
            read(table.format(*faulty))


def test_cielab_and_hex_are_rough_and_say_so(read: Read) -> None:
    swatches = read(
        "recipe,L*,a*,b*,hex,illuminant,observer\n"
        "undyed,90,1,4,,D50,2°\ngold 1,70,10,60,,,\nnavy 1,,,,#2a3a66,,\n"
    )
    first, second, third = swatches.readings
    assert [r.light for r in swatches.readings] == [Light("D50", 2), D65_10, D65_2]
    assert first.lab == pytest.approx([90, 1, 4])
    for reading in swatches.readings:
        assert reading.rough
        assert reading.warnings[0].startswith("rough:")
        assert reading.reflectance is not None
        assert reading.light is not None
        assert lab(reading.reflectance, reading.light) == pytest.approx(reading.lab, abs=1e-2)
    assert third.lab == pytest.approx(hex_to_lab("#2a3a66"))
    assert second.kind == "Lab"
    assert third.kind == "hex"
    assert "hex codes are colours under D65/2°" in str(swatches)
    assert "taken to be D65, 10°" in str(swatches)


def test_a_neutral_grey_raises_no_warning(read: Read) -> None:
    """The smoothest spectrum of a neutral is flat: its last Newton step is exactly 0."""
    grey = read("recipe,L*,a*,b*\nblack 1,53.9667912691617,0,0\n").readings[0]
    assert grey.reflectance is not None
    assert np.ptp(grey.reflectance) < 1e-6


def test_two_kinds_of_repeat(read: Read) -> None:
    told = read("swatch,recipe,hex\n1,gold 1,#bbaa33\n1,gold 1,#bbaa34\n2,gold 1,#bbaa55\n")
    assert [len(swatch.readings) for swatch in told.swatches] == [2, 1]
    assumed = read("recipe,hex\ngold 1,#bbaa33\ngold 1,#bbaa34\n")
    assert [len(swatch.readings) for swatch in assumed.swatches] == [2]
    assert "readings of one cloth" in str(assumed)


def test_nothing_is_lost(read: Read) -> None:
    swatches = read(
        "# about: a weekend in May\n# moon: full\n# just a remark\nrecipe,L*,a*,b*,hex,mood\n"
        "undyed,90,0,3,#e0e0d8,good\n"
    )
    assert swatches.readings[0].conditions["moon"] == "full"
    assert swatches.readings[0].conditions["mood"] == "good"
    for words in ("a weekend in May", "moon: full", "just a remark", "'mood'", "a colour twice"):
        assert words in str(swatches)


def test_rows_cut_short_and_a_name_with_separators(read: Read) -> None:
    swatches = read("recipe;a,b,c,d\ngold 1\n".replace("a,b,c,d", "hex;mood,place,day,hour"))
    assert [r.kind for r in swatches.readings] == ["blank"]
    assert "blank at the end: 1 of them" in str(swatches)


def test_unnamed_and_unread_rows_are_kept(read: Read) -> None:
    swatches = read("name,recipe,hex\nscan 7,,#aabb99\nscan 8,gold 1,\n")
    assert [r.name for r in swatches.unnamed] == ["scan 7"]
    assert [r.name for r in swatches.readings if r.reflectance is None] == ["scan 8"]


# What is doubtful: kept and flagged


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ([("undyed", 0.8), ("gold 1", 1.05)], "above 1 at 400 nm: fluorescent"),
        ([("undyed", 0.8), ("gold 1", 0.96)], "0.95 or more at 440 nm"),
        ([("undyed", 0.8), ("gold 1", f"{flat(0.3, 30)},0")], "0 at 700 nm: below"),
        ([("undyed", 80), ("red 1", 30), ("gold 1", 0.5)], "a fraction in a file of percentages?"),
        ([("undyed", 0.8), ("undyed", 0.8)], "same as row 2: a copy?"),
        ([("undyed", 0.8), ("gold 30", 0.2)], "30 % owf is deeper than any cloth takes up"),
    ],
)
def test_what_is_doubtful_is_kept_flagged_and_told(
    read: Read, rows: list[tuple[str, object]], words: str
) -> None:
    table = [f"{name},{value if isinstance(value, str) else flat(value)}" for name, value in rows]
    swatches = read("\n".join([f"recipe,{BANDS}", *table]))
    assert [any(words in flag for flag in r.warnings) for r in swatches.readings] == [
        *[False] * (len(rows) - 1), True,
    ]  # fmt: skip
    assert f"row {len(rows) + 1}: " in str(swatches)
    assert words.rstrip("?") in str(swatches)
    assert swatches.readings[-1].reflectance is not None


def test_a_copy_is_doubted_once_though_its_rows_have_moved(read: Read) -> None:
    first = read(f"recipe,{BANDS}\nundyed,{flat(0.8)}\ngold 1,{flat(0.4)}\ngold 1,{flat(0.4)}\n")
    again = read(f"# one line more\n# and another\n{swatch_table(first)}")
    for swatches in (first, again):
        assert [len(reading.warnings) for reading in swatches.readings] == [0, 0, 1]


def test_a_dye_spelt_like_another_is_told(read: Read) -> None:
    table = "recipe,hex\ngold 1,#aa9900\ngold 2,#aa8800\ngodl 3,#aa7700\nblue 1 1,#0000aa\n"
    assert "'godl' (row 4)" in str(read(table))
    assert "blue" not in str(read(table + "blue 2 1,#0000bb\nblue 2 2,#0000bc\n"))


@pytest.mark.parametrize(
    ("one", "other", "expected"),
    [
        ("mairgold", "marigold", True),
        ("marygold", "marigold", True),
        ("gld", "gold", True),
        ("nayv 2", "navy 2", True),
        ("blue 1", "blue 2", False),
        ("blue violet", "red violet", False),
        ("navy", "navy 2", False),
        ("gold", "scarlet", False),
    ],
)
def test_names_alike(one: str, other: str, expected: bool) -> None:
    assert alike(one, other) is alike(other, one) is expected


# What is refused


@pytest.mark.parametrize(
    ("table", "row", "column", "words"),
    [
        ("", None, None, "the file is empty"),
        (" \n\n", None, None, "the file is empty"),
        ("# cloth: x\n", None, None, "holds no table"),
        ("recipe,hex\n", None, None, "no rows"),
        ("undyed,1,2\ngold 1,2,3\n", 1, None, "no headings"),
        ("recipe,hex,Recipe\nundyed,#eeeeee,x\n", 1, "Recipe", "two columns mean recipe"),
        (f"recipe,{BANDS},R400\nundyed,{flat(0.5, 32)}\n", 1, "R400", "two columns mean 400 nm"),
        ("recipe,mood\nundyed,good\n", 1, None, "no reading column"),
        ("hex\n#eeeeee\n", 1, None, "no recipe column"),
        ("dye,hex\ngold,#eeeeee\n", 1, None, "no owf column"),
        ("recipe,L*,a*\nundyed,50,0\n", 1, None, "b* is missing"),
        ("recipe,420,430,440\nundyed,1,1,1\n", 1, None, "400 to 420 nm and 440 to 700 nm"),
        (
            f"recipe,{BANDS.replace('540,', '')}\nundyed,{flat(0.5, 30)}\n",
            1, None, "530 nm is followed by 550 nm",
        ),
        (
            f"recipe,{','.join(map(str, range(400, 701, 30)))}\nundyed,{flat(0.5, 11)}\n",
            1, None, "30 nm apart",
        ),
        (f"recipe,{BANDS}\nundyed,{flat('x')}\n", 2, "400", "'x' is not a number"),
        (f"recipe,{BANDS}\nundyed,{flat('nan')}\n", 2, "400", "'nan' is not a number"),
        (f"recipe,{BANDS}\nundyed,{flat('inf')}\n", 2, "400", "'inf' is not a number"),
        (f"recipe,{BANDS}\nundyed,{flat(0.5, 30)},-0.1\n", 2, "700 nm", "-0.1 is negative"),
        (f"recipe,{BANDS}\nundyed,{flat(0)}\n", 2, "400 nm", "every band of this row is 0"),
        (f"recipe,{BANDS}\nundyed,{flat(0.5, 30)},\n", 2, "700", "is blank while the rest"),
        (
            f"# scale: fraction\nrecipe,{BANDS}\nundyed,{flat(60)}\n",
            3, "400 nm", "60 is not a reflectance in fraction",
        ),
        (
            f"recipe,{BANDS}\nundyed,{flat(0.8)}\nred 1,{flat(0.3)}\ngold 1,{flat(5)}\n",
            4, "400 nm", "looks like percent",
        ),
        ("recipe,hex\ngold 1,white\n", 2, "hex", "not a hex colour"),
        ("recipe,hex\ngold 1,#ffffff\n", 2, "hex", "no cloth can have"),
        ("recipe,L*,a*,b*\ngold 1,120,0,0\n", 2, "L*", "L* 120, a* 0, b* 0 is not a colour"),
        ("recipe,L*,a*,b*\ngold 1,0,0,0\n", 2, "L*", "L* 0"),
        ("# light: moon\nrecipe,L*,a*,b*\ngold 1,50,0,0\n", 3, "L*", "'MOON' is unknown"),
        ("recipe,L*,a*,b*,observer\ngold 1,50,0,0,4\n", 2, "L*", "observer 4°"),
        ("recipe,hex\ngold,#aabb00\n", 2, "recipe", "not an amount"),
        ("recipe,hex\n,#aabb00\n", 2, "recipe", "no recipe"),
        ("recipe,hex\ngold 2 tbsp,#aabb00\n", 2, "recipe", "strength of the stock"),
        ("recipe,hex\ngold 1,#aabb00,7\n", 2, None, "'7' the first too many"),
        ("recipe,L*,a*,b*,hex\ngold 2,60,9,50,\ngold 1,75,9,13.6,57.0,\n", 3, None, "Write 75.9"),
        ("recipe,,hex\ngold 1,x,#aabb00\n", 1, None, "column 2 has no heading"),
        ("recipe,hex,scale\ngold 1,#aabb00,percent\n", 1, "scale", "write it above the table"),
        ("recipe,hex\n" + "gold 1 + " * 80 + "navy 1,#aabb00\n", 2, "recipe", "is too long"),
        ("dye,owf,hex\ngold,,#aabb00\n", 2, "owf", "the dye and its % owf"),
        ("dye,owf,hex\ngold (cool),1,#aabb00\n", 2, "dye", "a name (letters, figures"),
        ("# spoons: big\nrecipe,hex\ngold 1,#aabb00\n", 1, None, "spoons is 'big'"),
        (
            "recipe,L*,a*,b*,Covariance\ngold 1,50,0,0,1 2 0; 2 1 0; 0 0 1\n",
            2, "covariance", "no covariance",
        ),
        ('recipe,hex\ngold 1,"#aabb00\nred 1,#bb0000\n', 2, None, "quotation mark"),
        ("recipe,hex\ngold 1,#aabb00\n# cloth: x\n", 3, None, "above the headings"),
        ("# demo: maybe\nrecipe,hex\ngold 1,#aabb00\n", 1, None, "demo is 'maybe'"),
        ("# cloth: a\n# fabric: b\nrecipe,hex\ngold 1,#aabb00\n", 2, None, "stated twice"),
        ("recipe," + "x," * 2000 + "hex\n", 1, None, "2,002 columns"),
        (
            "recipe,hex\nmarigold 1,#aabb00\nnavy 1,#222244\nmairgold 1 + navy 1,#555555\n",
            4, "recipe", "is 'marigold' meant",
        ),
    ],
)  # fmt: skip
def test_refusals(read: Read, table: str, row: int | None, column: str | None, words: str) -> None:
    with pytest.raises(InputError) as caught:
        read(table)
    assert words in str(caught.value)
    assert (caught.value.file, caught.value.row, caught.value.column) == ("book.csv", row, column)
    assert len(caught.value.faults) == 1


def test_rows_are_counted_in_lines_of_the_file(read: Read) -> None:
    with pytest.raises(InputError) as caught:
        read('recipe,hex,remark\ngold 1,#aabb00,"two\nlines"\n\nred 1,red,\n')
    assert caught.value.row == 5


def test_reading_stays_quick_to_start() -> None:
    """pandas, SciPy and colour-science take longer to import than a table takes to read."""
    code = (
        "import io, sys; from dyemix.files import read_swatches;"
        "read_swatches(io.StringIO('recipe,hex\\nred 1,#aa2222'));"
        "print({'pandas', 'scipy', 'colour', 'matplotlib'} & set(sys.modules))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "set()"


def test_all_faults_at_once_in_the_order_of_the_file(read: Read) -> None:
    with pytest.raises(InputError) as caught:
        read(
            f"# stock_pct: strong\n# scale: some\nswatch,recipe,{BANDS}\n1,undyed,{flat('x')}\n"
            f"2,gold -1,{flat(0.5)}\n3,gold 1,{flat(-0.5)}\n4,gold,{flat(0.1)}\n"
            f"5,gold 3,{flat(0.2)},9\n"
        )
    assert [fault.row for fault in caught.value.faults] == [1, 2, 4, 5, 6, 7, 8]
    assert str(caught.value).count("\n") == 6


@pytest.mark.parametrize("content", [b"\x00\x01\x02\xff", b"a,b\n\x81\x8d\n"])
def test_what_is_not_text(read: Read, content: bytes) -> None:
    with pytest.raises(InputError, match="save the table as CSV"):
        read(content)


def test_paths_that_are_no_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(InputError, match="no such file"):
        read_swatches(tmp_path / "absent.csv")
    with pytest.raises(InputError, match="not a file"):
        read_swatches(tmp_path)
    monkeypatch.setattr("dyemix.files.LARGEST", 10)
    (tmp_path / "large.csv").write_text("x" * 11, "utf-8")
    with pytest.raises(InputError, match="the right file"):
        read_swatches(tmp_path / "large.csv")


def test_the_separator_of_flags_stands_in_no_flag(read: Read, tmp_path: Path) -> None:
    swatches = read("recipe,L*,a*,b*\nundyed,90,0,3\nundyed,90,0,3\n")
    write_swatches(swatches, tmp_path / "again.csv")
    again = read_swatches(tmp_path / "again.csv")
    assert [r.warnings for r in again.readings] == [r.warnings for r in swatches.readings]
    assert len(again.readings[1].warnings) == 2


# Properties

reflectances = st.lists(st.floats(0.01, 0.94), min_size=31, max_size=31).map(np.array)
labs = st.tuples(st.floats(30, 80), st.floats(-15, 15), st.floats(-15, 15)).map(np.array)
amounts = st.dictionaries(
    st.sampled_from(["gold", "scarlet", "navy 2"]), st.floats(0.001, 8.0), max_size=3
)
recipes = st.builds(Recipe, amounts, st.sampled_from(["", "3 tbsp gold"]))
words = st.from_regex(r"[a-zé][a-zé,;\"' ]{0,10}[a-zé]", fullmatch=True).map(
    lambda text: " ".join(text.split())
)


COVARIANCE = np.array([[0.5, 0.1, 0.0], [0.1, 0.7, -0.2], [0.0, -0.2, 0.9]])


@st.composite
def readings(draw: st.DrawFn) -> Reading:
    kind = draw(st.sampled_from(["spectrum", "Lab", "hex", "blank"]))
    code = draw(st.sampled_from(["#7d8a6e", "#c9a227", "#2a3a66"]))
    light = draw(st.sampled_from([D65_10, D65_2, Light("A", 10), Light("D50", 2)]))
    given_lab = {"Lab": draw(labs), "hex": hex_to_lab(code)}.get(kind)
    name = draw(st.sampled_from(["", "scan 7", 'a "b", c']))
    return Reading(
        recipe=draw(st.none() | recipes) if name else draw(recipes),
        reflectance=draw(reflectances) if kind == "spectrum" else None,
        swatch=draw(st.sampled_from(["", "1", "a 2"])),
        kind=kind,
        lab=given_lab,
        light={"Lab": light, "hex": D65_2}.get(kind),
        covariance=draw(st.sampled_from([None, COVARIANCE])),
        conditions=draw(st.dictionaries(st.sampled_from(["cloth", "salt", "moon"]), words)),
        name=name,
    )


@settings(
    max_examples=40, deadline=None, derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)  # fmt: skip
@given(st.lists(readings(), min_size=1, max_size=5), st.booleans())
def test_what_is_written_reads_back(tmp_path: Path, rows: list[Reading], demo: bool) -> None:
    path = tmp_path / "written.csv"
    before = SwatchSet(tuple(rows), demo=demo)
    write_swatches(before, path, force=True)
    after = read_swatches(path)
    assert after.demo == demo
    for old, new in zip(before.readings, after.readings, strict=True):
        assert (new.recipe, new.swatch, new.kind) == (old.recipe, old.swatch, old.kind)
        assert new.name == old.name
        if old.recipe is not None and old.recipe.as_written:
            assert new.recipe.as_written == old.recipe.as_written
        for key, value in old.conditions.items():
            assert new.conditions.get(key) == value
        if old.reflectance is not None:
            assert new.reflectance == pytest.approx(old.reflectance, abs=5.1e-7)
        if old.lab is not None:
            assert new.lab == pytest.approx(old.lab, abs=5.1e-7)
            assert new.light == old.light
        assert (new.covariance is None) == (old.covariance is None)
        if old.covariance is not None:
            assert new.covariance == pytest.approx(old.covariance, rel=1e-8)
    write_swatches(after, path, force=True)
    once = path.read_bytes()
    write_swatches(read_swatches(path), path, force=True)
    assert path.read_bytes() == once


def test_a_clipped_reading_is_a_bound_each_time_it_is_read(tmp_path: Path) -> None:
    table = tmp_path / "codes.csv"
    table.write_text("recipe,hex\nundyed,#f0efe8\ngold 1,#e0a000\n", encoding="utf-8")
    for _ in range(2):
        undyed, gold = read_swatches(table).readings
        assert undyed.clipped is None
        assert gold.clipped is not None
        assert gold.clipped.beyond.shape == (1, 3)
        write_swatches(SwatchSet((undyed, gold)), tmp_path / "again.csv")
        (tmp_path / "again.csv").replace(table)
    beyond = Clipped(np.array([[0.0, -1.0, 0.0], [0.5, 0.5, -0.7071]]))
    photographed = replace(gold, kind="Lab", clipped=beyond)
    write_swatches(SwatchSet((photographed,)), tmp_path / "photographed.csv")
    (back,) = read_swatches(tmp_path / "photographed.csv").readings
    assert back.clipped is not None
    np.testing.assert_allclose(back.clipped.beyond, beyond.beyond, atol=1e-4)
    table.write_text("recipe,L*,a*,b*,clipped\ngold 1,50,2,3,green\n", encoding="utf-8")
    with pytest.raises(InputError, match=r"clipped.*three numbers|three numbers"):
        read_swatches(table)


@pytest.mark.parametrize("make", [instruments.cxf, instruments.cgats])
@pytest.mark.parametrize("table", ["napkins.csv", "napkins_mixtures.csv"])
def test_a_book_is_the_same_in_an_instrument_s_file(
    tmp_path: Path, table: str, make: Callable[..., str]
) -> None:
    before = read_swatches(SWATCH_DATA / table)
    stated = {"demo": "yes", **before.conditions()}
    (tmp_path / "book").write_text(make(before, stated), "utf-8")
    after = read_swatches(tmp_path / "book")
    assert after.demo
    assert {key: after.conditions()[key] for key in before.conditions()} == before.conditions()
    for old, new in zip(before.readings, after.readings, strict=True):
        assert (old.recipe, old.swatch) == (new.recipe, new.swatch)
        np.testing.assert_allclose(new.reflectance, old.reflectance, rtol=0, atol=5.1e-7)


@pytest.mark.parametrize(
    ("above", "light", "assumed"),
    [
        ("# light: D50/2", "D50/2°", False),
        ("# illuminant: A\n# observer: 10", "A/10°", False),
        ("# illuminant: A", "A/10°", True),
        ("# observer: 2", "D65/2°", True),
        ("", "D65/10°", True),
    ],
)
def test_a_light_that_is_stated_is_not_said_to_be_assumed(
    tmp_path: Path, above: str, light: str, assumed: bool
) -> None:
    table = tmp_path / "table.csv"
    table.write_text(f"{above}\nrecipe,L*,a*,b*\nundyed,92,0,3\ngold 1,80,5,60\n")
    found = read_swatches(table)
    assert str(found.readings[0].light) == light
    assert any("without its light stated" in note for note in found.warnings) is assumed


PLAIN = """name,recipe,L*,a*,b*,cloth
a,undyed,92.1,0.2,3.9,linen
b,gold 1 + navy 0.5,56.0,1.5,20.25,linen
,gold 2,60.5,20.0,61.0,
"""


def test_quotes_and_spaces_change_nothing_that_is_read(read: Read) -> None:
    """Lines without either are split where cells are asked for; the others by the csv module."""
    quoted = [",".join(f'"{cell}"' for cell in line.split(",")) for line in PLAIN.splitlines()]
    plain = read(PLAIN)
    assert [reading.name for reading in plain.readings] == ["a", "b", ""]
    assert plain == read("\n".join(quoted))
    assert plain == read(PLAIN.replace(",", " , "))
    assert plain == read(PLAIN + "\n")


def test_a_cell_beyond_a_blank_heading_is_not_lost(read: Read) -> None:
    with pytest.raises(InputError, match="'9' the first too many"):
        read("recipe,L*,a*,b*,\nundyed,92.1,0.2,3.9,9\n")


def test_a_reading_of_a_table_is_one_made_alone(read: Read) -> None:
    found = read("recipe,hex\nundyed,#f4f1ea\nrust 1,#a4532f\n").readings[1]
    alone = replace(found)  # made again, with every check
    np.testing.assert_allclose(found.reflectance, Reading.from_hex("#a4532f").reflectance)
    assert found == alone
    assert hash(found) == hash(alone)
    assert pickle.loads(pickle.dumps(found)) == alone
    with pytest.raises(ValueError, match="read-only"):
        found.reflectance[0] = 0.5


@pytest.mark.parametrize("text", ["recipe,hex\nundyed,#f0eee8\n", "recipe,hex\nundyed,white\n"])
def test_what_collects_garbage_goes_on_after_a_table(text: str) -> None:
    with suppress(InputError):
        read_swatches(StringIO(text))
    assert gc.isenabled()


def test_one_fault_of_many_rows_is_told_once(read: Read) -> None:
    """Each stands by itself in `faults`."""
    rows = [
        "undyed,90,0,0",
        ",50,0,0",
        ",51,0,0",
        ",52,0,0",
        "navy 1,40,0,0",
        ",53,0,0",
        "rose,x,0,0",
    ]
    with pytest.raises(InputError) as refused:
        read("recipe,L*,a*,b*\n" + "\n".join(rows))
    told = str(refused.value).split("\n")
    assert told[0].startswith("book.csv, rows 3–5, 7, column recipe: no recipe")
    assert [line.split(":")[0] for line in told[1:]] == [
        "book.csv, row 8, column recipe",
        "book.csv, row 8, column L*",
    ]
    assert [fault.row for fault in refused.value.faults] == [3, 4, 5, 7, 8, 8]
