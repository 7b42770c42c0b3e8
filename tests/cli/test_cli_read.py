"""`dyemix read`: any file of readings becomes a swatch table, and what was understood is said."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from command import next_steps
from damage import damaged
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from instruments import cgats, cxf

from dyemix.dataset.recipe import Recipe
from dyemix.dataset.swatches import DEMO_WARNING, Reading, SwatchSet
from dyemix.errors import DyemixError, InputError
from dyemix.files import read_swatches, write_swatches
from dyemix.files.small_tables import name_samples, recipe_in
from dyemix.model.kubelka_munk import reflectance
from dyemix.reading import convert, photographed
from tests.simulated.workshop import Workshop

ROOT = Path(__file__).resolve().parents[2]
TABLE = ROOT / "swatch_data" / "napkins.csv"


STRENGTH = {"undyed": 0.0, "gold 2": 2.0, "gold 0.5 %": 0.5, "gold_1 (b)": 1.0}


def named(*names: str, repeat: int = 1) -> SwatchSet:
    """An instrument's samples: names, and the spectra of a yellow dye at some depth."""
    k = np.outer([STRENGTH.get(name, 0.25) for name in names], np.linspace(4.0, 0.1, 31)) + 0.02
    spectra = reflectance(k)
    return SwatchSet(
        tuple(
            Reading(
                None, spectra[i] * (1 + 0.001 * again), name=name,
                place=f"scan.cxf, object {i + 1}", conditions={"geometry": "SCE"},
            )
            for i, name in enumerate(names)
            for again in range(repeat)
        ),
        source="scan.cxf",
    )  # fmt: skip


def test_an_instrument_s_file_becomes_a_table_that_fits(run) -> None:
    names = ["undyed", "gold 2", "gold 0.5 %", "gold_1 (b)", "scan 7"]
    scan = cxf(named(*names, repeat=2), {"geometry": "SCE"})
    (run.folder / "scan.cxf").write_text(scan, "utf-8")
    (run.folder / "names.csv").write_text("sample,recipe\nScan 7,gold 0.25\nscan 8,navy 1\n")
    done = run("read", "scan.cxf", "-o", "swatches.csv", "--names", "names.csv")
    assert done.returncode == 0, done.stderr
    for words in (
        "scan.cxf: 10 readings of 5 swatches: 1 undyed, 1 dyes, 0 mixtures",
        "CxF3 (ISO 17972-1); 100 % is 1.0.",
        "bands: 400 to 700 nm every 10 nm, 31 in all.",
        "reflectance is in fractions of 1",
        "geometry: SCE",
        "Not recorded: cloth, alkali, liquor ratio, temperature, hours, salt, soda, backing.",
        "Joined as repeats: undyed ×2, gold 2.00 ×2",
        "Recipes from the table of names, 1 in all: 'scan 7' is gold 0.25.",
        "Recipes from their own names, 4 in all: 'undyed' is undyed; 'gold 2' is gold 2.00",
        "names.csv, row 3: no sample of the file is called 'scan 8'.",
        "Readings of one swatch: mean",
        "Swatches of one recipe: not known",
    ):
        assert words in done.stdout
    assert "Written: swatches.csv" in done.stderr
    fitted = run("fit", "--detail")  # names.csv lies beside it, and is no swatch table
    assert fitted.returncode == 0, fitted.stderr
    assert "swatches.csv, the one table in this folder" in fitted.stderr
    assert "gold" in fitted.stdout
    assert "Method: geometry SCE" in fitted.stdout


def test_what_could_not_be_placed_is_named_and_kept(run) -> None:
    (run.folder / "scan.txt").write_text(cgats(named("undyed", "scan 7")), "utf-8")
    done = run("read", "scan.txt", "-o", "swatches.csv")
    assert done.returncode == 0
    assert "Could not be placed: 'scan 7' (scan.txt, line 8)." in done.stdout
    assert "'sample,recipe'" in done.stdout
    assert not next_steps(done), "neither a fit nor a book takes it so"
    table = read_swatches(run.folder / "swatches.csv")
    assert [r.name for r in table.unnamed] == ["scan 7"]
    fitted = run("fit", "--swatches", "swatches.csv")
    assert fitted.returncode == 2
    assert "have no recipe" in fitted.stderr


def test_one_file_is_not_its_own_repeat(tmp_path: Path) -> None:
    photo = tmp_path / "photo.jpg"
    photo.write_bytes(b"\xff\xd8\xff")
    with pytest.raises(InputError, match="told twice"):
        convert([photo, tmp_path / "." / "photo.jpg"])
    with pytest.raises(InputError, match=r"which cell of it is meant\? Write '.*photo\.jpg B3'"):
        photographed(str(photo))


def test_the_demo_stays_the_demo(run) -> None:
    done = run("read", str(TABLE), "-o", "again.csv")
    assert done.stdout.startswith(DEMO_WARNING)
    assert read_swatches(run.folder / "again.csv").demo


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("read", "nowhere.cxf", "-o", "a.csv"), "no such file"),
        (("read", str(TABLE)), "--output"),
        (("read", "-o", "a.csv"), "FILE"),
        (("read", str(TABLE), "-o", "names.csv"), "is there already"),
        (("read", str(TABLE), "-o", "a.csv", "--names", "nowhere.csv"), "no such file"),
        (("read", str(TABLE), "-o", "a.csv", "--names", "names.csv"), "names.csv, row 2, column"),
        (("read", "picture.png", "-o", "a.csv"), "picture.png"),
        (("read", "empty.csv", "-o", "a.csv"), "empty"),
        (("read", str(TABLE), "-o", "no/such/folder/a.csv"), "there is no folder"),
    ],
)
def test_bad_input_is_said_and_exits_with_2(run, words, says) -> None:
    (run.folder / "names.csv").write_text("sample,recipe\nscan 7,gold\n")
    (run.folder / "picture.png").write_bytes(b"\x89PNG\r\n\x1a\n and no picture")
    (run.folder / "empty.csv").write_text("")
    done = run(*words)
    assert done.returncode == 2
    assert says in done.stderr
    assert "Traceback" not in done.stderr
    assert done.stdout == ""
    assert not (run.folder / "a.csv").exists()


def test_a_second_cloth_from_the_command_line(run) -> None:
    from benchmarks.shelf import swatch_set

    shop = Workshop(0)
    rows = [row for dye in ("rose", "navy") for row in shop.swatch(dye, {dye: 1.0})]
    write_swatches(swatch_set([*shop.swatch("U", {}), *rows]), run.folder / "second.csv")
    alone = run("fit", "--swatches", "second.csv")
    assert alone.returncode == 2
    assert "one depth" in alone.stderr
    done = run(
        "fit", "--swatches", "second.csv", "--borrow", str(TABLE), "-o", "second.json", "--detail"
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith(DEMO_WARNING)  # what is borrowed from the demo is the demo's
    assert "borrowed: spectral shape and depth law" in done.stdout
    assert "left out: lemon" in done.stdout
    predicted = run("predict", "rose 0.5 + navy 0.5", "--swatches", "second.json")
    assert predicted.returncode == 0, predicted.stderr


# Names of samples


@pytest.mark.parametrize(
    ("name", "recipe", "piece"),
    [
        ("undyed", {}, ""),
        ("marigold 0.5 %", {"marigold": 0.5}, ""),
        ("gold 2", {"gold": 2.0}, ""),
        ("Gold_2", {"gold": 2.0}, ""),
        ("gold 2 (b)", {"gold": 2.0}, "b"),
        ("gold 0,5 + navy 0.25", {"gold": 0.5, "navy": 0.25}, ""),
        ("3 gold : 1 navy at 1 %", {"gold": 0.75, "navy": 0.25}, ""),
        ("sample 2 %", {"sample": 2.0}, ""),
    ],
)
def test_names_that_are_recipes(name: str, recipe: dict[str, float], piece: str) -> None:
    found = recipe_in(name)
    assert found is not None
    assert (dict(found[0]), found[1]) == (pytest.approx(recipe), piece)


@pytest.mark.parametrize(
    "name",
    ["", "scan 7", "Sample_12", "gold", "2", "A1", "m 3", "gold 2 tbsp", "gold 2 g", "gold 2 mL",
     "gold -1", "2024-05-03 12:30", "x" * 400],
)  # fmt: skip
def test_names_that_are_none(name: str) -> None:
    assert recipe_in(name) is None


@given(st.text(max_size=60))
def test_any_name_is_a_recipe_or_none(name: str) -> None:
    found = recipe_in(name)
    assert found is None or isinstance(found[0], Recipe)


def test_a_ladder_may_be_named_by_whole_numbers() -> None:
    swatches, naming = name_samples(named("leaf 1", "leaf 2", "leaf 3", "leaf 4", "scan 5"))
    depths = [Recipe({"leaf": depth}) for depth in (1.0, 2.0, 3.0, 4.0)]
    assert [r.recipe for r in swatches.readings] == [*depths, None]
    assert naming[0].startswith("Recipes from their own names, 4 in all: 'leaf 1' is leaf 1.00;")


def test_samples_of_different_names_are_different_pieces(tmp_path: Path) -> None:
    table = tmp_path / "names.csv"
    table.write_text("sample,recipe\na,gold 1\nb,gold 1\n# or: not\n".replace("# or: not\n", ""))
    swatches, _ = name_samples(named("a", "b", repeat=2), table)
    assert [(s.label, len(s.readings)) for s in swatches.swatches] == [
        ("gold 1.00 (a)", 2), ("gold 1.00 (b)", 2),
    ]  # fmt: skip
    table.write_text("sample,recipe,swatch\na,gold 1,7\nb,gold 1,7\n")
    swatches, _ = name_samples(named("a", "b"), table)
    assert [len(s.readings) for s in swatches.swatches] == [2]


def test_a_table_of_names_with_measures_and_its_faults(tmp_path: Path) -> None:
    table = tmp_path / "names.csv"
    table.write_text("# stock_pct: 2\n# cloth_g: 100\nsample;recipe\na;gold 25 mL\n")
    swatches, naming = name_samples(named("a"), table)
    assert dict(swatches.readings[0].recipe or {}) == pytest.approx({"gold": 0.5})
    assert naming[0] == "Recipes from the table of names, 1 in all: 'a' is gold 0.50."
    table.write_text("sample,recipe\na,gold\n,gold 1\nb,gold 1\nB,gold 2\n")
    with pytest.raises(InputError) as caught:
        name_samples(named("a"), table)
    assert [fault.row for fault in caught.value.faults] == [2, 3, 5]
    table.write_text("one,two\na,b\n")
    with pytest.raises(InputError, match="missing: sample, recipe"):
        name_samples(named("a"), table)


@settings(
    max_examples=150, deadline=None, derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)  # fmt: skip
@given(st.integers(0, 2**32), st.integers(1, 4))
def test_a_damaged_table_of_names_is_read_or_refused(tmp_path: Path, seed: int, cuts: int) -> None:
    good = b"# stock_pct: gold 2\n# cloth_g: 50\nsample,recipe,swatch\na,gold 5 mL,7\nb,navy 1,\n"
    (tmp_path / "names.csv").write_bytes(damaged(good, seed, cuts))
    try:
        swatches, naming = name_samples(named("a", "b"), tmp_path / "names.csv")
    except DyemixError:
        return
    assert len(swatches.readings) == 2
    assert any(naming)


def test_the_file_s_own_recipe_gives_way_to_the_table_of_names_and_it_is_told(
    tmp_path: Path,
) -> None:
    (tmp_path / "book.csv").write_text("name,recipe,hex\na,gold 1,#ccaa33\nb,gold 2,#bb9922\n")
    (tmp_path / "names.csv").write_text("sample,recipe\na,gold 4\n")
    report = convert([tmp_path / "book.csv"], tmp_path / "names.csv")
    assert [dict(r.recipe or {}) for r in report.swatches.readings] == [
        {"gold": 4.0},
        {"gold": 2.0},
    ]
    assert "replaced the file's own recipe of 'a'" in str(report)
    assert "CIELAB under D65/2°" in str(report)
