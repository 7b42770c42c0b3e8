"""`dyemix trial` and `dyemix next` as their user runs them, and how pieces and colours are read."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from command import Command

from dyemix.colour.colorimetry import D65_2, D65_10
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.swatches import DEMO_WARNING
from dyemix.errors import InputError, TargetError
from dyemix.files.small_tables import read_piece

ROOT = Path(__file__).resolve().parents[2]
RECIPE = "marigold 0.8 + navy 0.25"


@pytest.fixture(scope="module")
def run(tmp_path_factory, _fits):
    """Run ``dyemix …`` in one folder for all of these tests."""
    return Command(tmp_path_factory.mktemp("work"), _fits)


def test_a_trial_is_told_in_words(run):
    done = run("trial", RECIPE, "--reading", "52 3 30", "--target", "50 4 33")
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith(DEMO_WARNING)
    assert "lighter" in done.stdout
    assert "duller" in done.stdout
    assert "D65/10°" in done.stdout


def test_a_trial_read_from_a_file_as_json(run):
    (run.folder / "read").mkdir()
    (run.folder / "read" / "piece.csv").write_text(
        "recipe,L*,a*,b*\nmarigold 0.8 + navy 0.25,52,3,30\nmarigold 0.8 + navy 0.25,54,3,30\n"
        "navy 1,30,0,-20\n"
    )
    done = run("trial", RECIPE, "--reading", "read/piece.csv", "--target", "53 3 30", "--json")
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)
    assert found["warning"] == DEMO_WARNING
    assert found["miss"]["delta_e"] == pytest.approx(0.0, abs=0.01)
    assert found["outcome"].startswith("within your own scatter")


def test_a_second_bath_by_command(run):
    done = run(
        "trial", "navy 0.2", "--over", "70 10 60", "--reading", "50 -4 30",
        "--target", "45 -5 25",
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert "second bath" in done.stdout


def test_the_next_square(run):
    (run.folder / "job.txt").write_text("colour\n#7d8a6e\n56 -10 13\n")
    typed = run("next", "#7d8a6e", "56 -10 13", "--count", "2")
    assert typed.returncode == 0, typed.stderr
    assert typed.stdout.startswith(DEMO_WARNING)
    assert "before" in typed.stdout
    listed = run("next", "--targets", "job.txt", "--count", "2")
    assert listed.stdout == typed.stdout


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("next",), "no colour"),
        (("next", "sage"), "hex"),
        (("next", "--targets", "none.txt"), "no such file"),
        (("next", "#7d8a6e", "--count", "0"), "count of 1"),
        (("trial", "navy 1", "--target", "#7d8a6e"), "--reading"),
        (("trial", "navy 1", "--reading", "none.csv", "--target", "#7d8a6e"), "no such file"),
        (("trial", "nvy 1", "--reading", "#334455", "--target", "#7d8a6e"), "did you mean navy"),
        (
            (
                "trial",
                "navy 1",
                "--reading",
                "#334455",
                "--target",
                "#7d8a6e",
                "--over",
                "nowhere.csv",
            ),
            "nowhere.csv",
        ),
        (
            ("trial", "navy 1", "--reading", "#334455", "--target", "#7d8a6e", "--dosing", "3"),
            "3 % is 0.03",
        ),
    ],
)
def test_bad_input_is_one_sentence_and_exit_2(run, words, says):
    done = run(*words)
    assert done.returncode == 2
    assert says in done.stderr
    assert "Traceback" not in done.stderr
    assert done.stdout == ""


def test_readings_of_one_piece_are_averaged(tmp_path):
    file = tmp_path / "piece.csv"
    head = "recipe,swatch," + ",".join(f"{w} nm" for w in range(400, 701, 10))
    rows = [f"navy 1,N1,{','.join([str(r)] * 31)}" for r in (20, 22)]
    file.write_text("\n".join([head, *rows]))
    piece = read_piece(str(file), D65_10)
    assert piece.reflectance == pytest.approx(np.full(31, 0.21))
    assert not piece.rough
    file.write_text("\n".join([head, *rows, rows[0].replace("N1", "N2")]))
    with pytest.raises(InputError, match="2 pieces were read here"):
        read_piece(str(file), D65_10, Recipe({"navy": 1.0}))


def test_a_typed_colour_keeps_its_light():
    assert read_piece("#7d8a6e", D65_10).light == D65_2
    piece = read_piece("56 -10 13", D65_10)
    assert piece.light == D65_10
    assert piece.colour(D65_10) == pytest.approx([56, -10, 13])
    assert piece.rough
    with pytest.raises(TargetError):
        read_piece("sage", D65_10)


def test_colours_are_typed_or_listed(run):
    (run.folder / "job.csv").write_text("colour\n#7d8a6e\n")
    listed = run("next", "--targets", "job.csv", "--count", "1", "--json")
    both = run("next", "56 -10 13", "--targets", "job.csv", "--count", "1", "--json")
    assert listed.returncode == both.returncode == 0
    assert listed.stdout != both.stdout
    none = run("next")
    assert (none.returncode, "no colour" in none.stderr) == (2, True)
