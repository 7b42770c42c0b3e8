"""The real command, run as its user runs it."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest

from dyemix.dataset.swatches import DEMO_WARNING

ROOT = Path(__file__).resolve().parents[2]
TABLE = ROOT / "swatch_data" / "napkins.csv"


def test_match_of_the_demo_begins_with_the_warning(run):
    done = run.alone("match", "#7d8a6e")
    assert done.returncode == 0, done.stderr
    assert done.stdout.decode().startswith(DEMO_WARNING)
    assert "D65/2°" in done.stdout.decode()
    assert b"demo" in done.stderr
    assert b"Traceback" not in done.stderr


def test_match_as_json(run):
    done = run("match", "56 -10 13 D65/10", "--json", "--count", "3", "--max-dyes", "2")
    found = json.loads(done.stdout)
    assert next(iter(found)) == "warning"
    assert found["warning"] == DEMO_WARNING
    assert len(found["matches"]) == 3
    assert len(done.stdout) < 60_000  # answers, not the whole shelf
    for one in found["matches"]:
        assert 1 <= len(one["prediction"]["recipe"]) <= 2
        assert one["prediction"]["light"] == "D65/10°"


def test_fit_report_begins_with_a_verdict_and_names_the_odd_swatch(run):
    done = run(
        "fit", "--swatches", str(TABLE), "--check", str(TABLE.with_name("napkins_mixtures.csv"))
    )
    lines = done.stdout.splitlines()
    assert lines[0] == DEMO_WARNING
    assert lines[1].startswith("Of your 24 mixes ")
    assert "rust 1.00 (N060) reads like" in done.stdout
    again = run("fit", "--swatches", str(TABLE), "--leave-out", "rust 1.00 (N060)")
    assert "odd:" not in again.stdout


def test_saved_dyes_predict_the_same(run):
    assert run("fit", "--swatches", str(TABLE), "-o", "dyes.json").returncode == 0
    recipe = "marigold 0.8 + navy 0.25"
    direct = run("predict", recipe, "--swatches", str(TABLE), "--json")
    saved = run("predict", recipe, "--swatches", "dyes.json", "--json")
    assert json.loads(direct.stdout) == json.loads(saved.stdout)


def test_the_one_table_in_the_folder_is_used_and_two_are_refused(run):
    (run.folder / "mine.csv").write_bytes(TABLE.read_bytes())
    (run.folder / "customers.csv").write_text("name,address\nA,B\n")
    done = run("match", "#7d8a6e")
    assert done.returncode == 0
    assert "mine.csv" in done.stderr
    (run.folder / "other.csv").write_bytes(TABLE.read_bytes())
    done = run("match", "#7d8a6e")
    assert done.returncode == 2
    assert "mine.csv" in done.stderr
    assert "other.csv" in done.stderr


def test_readings_of_a_piece_in_the_folder_are_not_taken_for_the_shelf(run):
    (run.folder / "mine.csv").write_bytes(TABLE.read_bytes())
    lines = TABLE.read_text(encoding="utf-8").splitlines()
    heads = [line for line in lines if line.startswith(("#", "swatch"))]
    (run.folder / "piece.csv").write_text("\n".join([*heads, lines[-1]]), encoding="utf-8")
    done = run("match", "#7d8a6e", "--count", "1")
    assert done.returncode == 0, done.stderr
    assert "mine.csv" in done.stderr


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("match", "sage"), "hex"),
        (("match", "150 0 0"), "L* runs from 0 to 100"),
        (("predict", "marigol 0.8"), "did you mean marigold"),
        (("predict", "marigold much"), "% owf"),
        (("predict", "marigold 2 tbsp"), "dyemix predict 'marigold 2 tbsp' --cloth 60g"),
        (("fit", "--swatches", "nowhere.csv"), "no such file"),
        (("predict", "marigold 1", "--light", "moon"), "illuminant 'MOON' is unknown"),
        (("match", "#7d8a6e", "--max-dyes", "0"), "max_dyes"),
        (("match",), "TARGET"),
        (("match", "#7d8a6e", "--targets", "list.csv"), "TARGET"),
        (("match", "--targets", "nowhere.csv"), "nowhere.csv"),
        (("match", "#7d8a6e", "--workers", "2"), "--targets"),
        (("match", "#7d8a6e", "--measure", "cups", "--cloth", "240g"), "not a way to measure"),
        (("match", "#7d8a6e", "--in-hand", "navy", "--cloth", "240g"), "not a jar"),
        (("match", "#7d8a6e", "--avoid", "puce"), "puce"),
        (("match", "#7d8a6e", "--use", "navy", "--avoid", "navy"), "at once"),
        (("match", "#7d8a6e", "--price", "navy"), "not a price"),
        (("fit", "--leave-out", "puce 3"), "puce 3"),
    ],
)
def test_bad_input_is_one_sentence_and_exit_2(run, words, says):
    done = run(*words)
    assert done.returncode == 2
    assert says in done.stderr
    assert "Traceback" not in done.stderr
    assert done.stdout == ""


def test_every_fault_of_a_table_is_shown_at_once(run):
    (run.folder / "bad.csv").write_text(
        "swatch,recipe,L*,a*,b*\n1,undyed,93,0,4\n2,gold 2,seventy,18,66\n3,gold -1,80,9,48\n"
    )
    done = run("fit", "--swatches", "bad.csv")
    assert done.returncode == 2
    assert "bad.csv, row 3, column L*" in done.stderr
    assert "bad.csv, row 4" in done.stderr


def test_start_writes_a_table_that_reads_back_blank(run):
    words = ("start", "gold, scarlet, navy", "--method", "cotton lawn", "-o", "swatches.csv")
    done = run(*words, "--stock", "1", "--cloth", "5g")
    assert done.returncode == 0, done.stderr
    assert (run.folder / "swatches.csv").exists()
    assert "goggles" in done.stdout
    again = run(*words)
    assert again.returncode == 2
    assert "is there already" in again.stderr
    fit = run("fit")
    assert fit.returncode == 2
    assert "read" in fit.stderr


def test_match_is_drawn(run):
    done = run("match", "#7d8a6e", "--draw", "match.png")
    assert done.returncode == 0, done.stderr
    assert (run.folder / "match.png").read_bytes().startswith(b"\x89PNG")


def test_match_in_the_units_of_the_kit(run):
    words = ("--measure", "spoons", "--stock", "2", "--cloth", "240g", "--in-hand",
             "marigold 60 mL 2 %", "--avoid", "black", "--total", "1", "--detail")  # fmt: skip
    done = run("match", "#7d8a6e", *words)
    assert done.returncode == 0, done.stderr
    assert "measure " in done.stdout
    assert "tsp" in done.stdout
    assert "colour inconstancy" in done.stdout
    assert "alkali after (illustrative), they would split" in done.stdout, "as the demo was dyed"
    found = json.loads(run("match", "#7d8a6e", *words[:-1], "--json").stdout)
    for one in found["matches"]:
        recipe = one["prediction"]["recipe"]
        assert "black" not in recipe
        assert recipe.get("marigold", 0) <= 0.5 + 1e-6  # 60 mL of 2 % on 240 g
        assert sum(recipe.values()) <= 1.001
        assert sum(one["measured"]["recipe"].values()) <= 1.001
        assert one["measured"]["recipe"].get("marigold", 0) <= 0.5 + 1e-6


def test_a_list_of_colours_is_matched_into_a_table(run):
    (run.folder / "colours.csv").write_text(
        "name,colour,light\nsage,#7d8a6e,\nteal,40 -20 -15,D65/10\n", encoding="utf-8"
    )
    done = run("match", "--targets", "colours.csv", "-o", "recipes.csv", "--count", "2")
    assert done.returncode == 0, done.stderr
    lines = (run.folder / "recipes.csv").read_text(encoding="utf-8").splitlines()
    assert DEMO_WARNING in lines[0]
    assert lines[1].startswith("target,wanted,reach,rank,recipe,residual,likely")
    assert [line.split(",")[0] for line in lines[2:]] == ["sage", "sage", "teal", "teal"]
    one = json.loads(run("match", "40 -20 -15 D65/10", "--json", "--count", "2").stdout)
    assert f"{one['matches'][0]['likely']:.6g}" in lines[4]


@pytest.mark.slow
def test_two_processes_come_to_the_same_table(run):
    (run.folder / "list.txt").write_text("#7d8a6e\n40 -20 -15 D65/10\n", encoding="utf-8")
    words = ("match", "--targets", "list.txt", "--count", "2", "-o", "-")
    alone, shared = run(*words), run.alone(*words, "--workers", "2")
    assert alone.stdout.encode() == shared.stdout
    assert "within reach" in alone.stdout
    assert "workers is 0" in run(*words, "--workers", "0").stderr


def test_a_list_without_headings_holds_one_colour_a_line(run):
    (run.folder / "list.txt").write_text("#7d8a6e\n\n56, -10, 13 D65/10\n", encoding="utf-8")
    done = run("match", "--targets", "list.txt", "-o", "recipes.csv", "--count", "1")
    assert done.returncode == 0, done.stderr
    lines = (run.folder / "recipes.csv").read_text(encoding="utf-8").splitlines()[2:]
    assert [row[0] for row in csv.reader(lines)] == ["#7d8a6e", "56, -10, 13 D65/10"]
    (run.folder / "list.txt").write_text("#7d8a6e\nsage\n", encoding="utf-8")
    done = run("match", "--targets", "list.txt")
    assert done.returncode == 2
    assert "list.txt, row 2, column colour" in done.stderr


def test_every_fault_of_a_list_of_colours_is_shown(run):
    (run.folder / "colours.csv").write_text("name,colour\na,sage\nb,#12\nc,#123456\n")
    done = run("match", "--targets", "colours.csv")
    assert done.returncode == 2
    assert "colours.csv, row 2, column colour" in done.stderr
    assert "colours.csv, row 3, column colour" in done.stderr


def test_preview_takes_the_order_of_the_alkali_from_the_swatches(run):
    """The demo's were dyed with the alkali an hour after the dye."""
    assert "alkali: after" in run("preview", "lemon 0.8 + rose 0.5").stdout
    assert "alkali: presoak" in run("preview", "lemon 0.8", "--alkali", "presoak").stdout
