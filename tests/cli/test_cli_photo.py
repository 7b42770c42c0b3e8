"""The commands on photographs, run as their user runs them."""

from __future__ import annotations

import csv
import re
import shlex
from pathlib import Path

import pytest
from command import Command, next_steps

from dyemix.photo.layout import layouts_of
from tests.simulated import photographs
from tests.simulated.camera.scenes import GREY_STEPS

TABLE = Path(__file__).resolve().parents[2] / "swatch_data" / "napkins.csv"
STEPS = ",".join(str(step) for step in GREY_STEPS)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("photo")


@pytest.fixture(scope="module")
def run(folder, _fits):
    """Run ``dyemix …`` in one folder, with a photograph, its card and a table of cells in it."""
    command = Command(folder, _fits)
    (folder / "photo.jpg").write_bytes(photographs.shoot().read_bytes())
    (folder / "card.csv").write_bytes(photographs.card().read_bytes())
    (layout,) = layouts_of(24)
    cells = layout.labels[: len(photographs.TEXTILES)]
    with (folder / "cells.csv").open("w", newline="") as file:
        rows = csv.writer(file)
        rows.writerow(["cell", "recipe", "swatch"])
        rows.writerow([cells[0], "undyed", "a"])
        rows.writerows([[cell, f"gold {i + 1}", f"s{i}"] for i, cell in enumerate(cells[1:])])
    return command


def test_a_sheet_is_written_with_its_table(run):
    done = run("photo-page", "-o", "page.pdf", "--cells", "12", "--paper", "Letter")
    assert done.returncode == 0, done.stderr
    assert (run.folder / "page.pdf").read_bytes().startswith(b"%PDF")
    table = (run.folder / "page.csv").read_text(encoding="utf-8")
    assert table.startswith("# cloth:")
    assert "cell,recipe,swatch" in table
    assert run("photo-page", "-o", "page.docx").returncode == 2


def test_a_photograph_becomes_a_swatch_table(run):
    words = ("read", "photo.jpg", "-o", "read.csv", "--names", "cells.csv", "--card", "card.csv",
             "--grey", STEPS, "--draw", "contact.png")  # fmt: skip
    done = run(*words)
    assert done.returncode == 0, done.stderr
    assert "of 21 cells read, CIELAB under D65/2°" in done.stdout
    assert "clipped, red at 0" in done.stdout
    assert (run.folder / "contact.png").read_bytes().startswith(b"\x89PNG")
    table = (run.folder / "read.csv").read_text(encoding="utf-8")
    assert "covariance" in table
    assert "clipped" in table
    assert "gold 3" in table
    wide = run("read", "photo.jpg", "-o", "wide.csv", "--grey", STEPS, "--light", "D65/10")
    assert "CIELAB under D65/10°" in wide.stdout
    again = run(*words)
    assert again.returncode == 2
    assert "is there already" in again.stderr


@pytest.mark.slow
def test_a_photographed_target_keeps_its_error_from_step_to_step(run):
    how = ("--grey", STEPS, "--accept", "A1", "--accept", "A2", "--swatches", str(TABLE))
    match = run("match", "photo.jpg A1", *how)
    (bath,) = next_steps(match)
    assert f"--target 'photo.jpg A1' --grey {STEPS} --accept A1 --accept A2" in bath
    sheet = run(*shlex.split(bath))
    promised = re.search(r"([\d.]+) on paper, ([\d.]+) in the pot", match.stdout)
    kept = re.search(r"([\d.]+) on paper, ([\d.]+) likely in the pot", sheet.stdout)
    assert promised.groups() == kept.groups()
    trial = next_steps(sheet, reading="80 20 0")[-1]
    assert run(*shlex.split(trial)).returncode == 0


@pytest.mark.slow
def test_a_contact_sheet_is_a_jpeg_too_and_refused_before_the_table(run):
    (beside := run.folder / "beside").mkdir()  # a table of no recipes is no shelf for other tests
    words = ("read", "photo.jpg", "-o", "beside/sheet.csv", "--grey", STEPS, "--draw")
    refused = run(*words, "beside/sheet.svg")
    assert (refused.returncode, refused.stdout) == (2, "")
    assert not (beside / "sheet.csv").exists()
    assert run(*words, "beside/sheet.jpg").returncode == 0
    assert (beside / "sheet.jpg").read_bytes().startswith(b"\xff\xd8\xff")


@pytest.mark.slow
def test_a_cell_is_a_target_and_two_are_compared(run):
    cell = photographs.read().cells[2]
    done = run("match", f"photo.jpg {cell.label}", "--count", "2", "--grey", STEPS)
    assert done.returncode == 0, done.stderr
    assert f"cell {cell.label} of photo.jpg" in done.stdout
    assert "D65/2°" in done.stdout
    piece = f"photo.jpg {cell.label}"
    same = run("trial", "--reading", piece, "--target", piece, "--grey", STEPS)
    assert "change nothing" in " ".join(same.stdout.split())
    how = ("--grey", STEPS, "--swatches", str(TABLE))
    trial = run("trial", "navy 1", "--reading", piece, "--target", "#334455", *how)
    assert trial.returncode == 0, trial.stderr
    assert "Target #334455" in trial.stdout
    over = run("subdue", "--over", piece, "--steps", "1", *how)
    assert f"On cell {cell.label} of photo.jpg" in over.stdout, over.stdout + over.stderr
    nowhere = run("match", "photo.jpg Z9", "--grey", STEPS)
    assert nowhere.returncode == 2
    assert "Z9" in nowhere.stderr


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("read", "cells.csv", "-o", "x.csv"), "cells.csv"),
        (("read", "nowhere.jpg", "-o", "x.csv"), "no such file"),
        (("read", "photo.jpg", "-o", "x.csv", "--grey", "white"), "grey 'white'"),
        (("read", "photo.jpg", "-o", "x.csv", "--grid", "4 by 6"), "no grid"),
        (("read", "photo.jpg", "-o", "x.csv", "--card-at", "0,0 9,0 9,9 0,9"), "beside a grid"),
    ],
)  # fmt: skip
def test_bad_input_is_one_sentence_and_exit_2(run, words, says):
    done = run(*words)
    assert done.returncode == 2
    assert says in done.stderr
    assert done.stdout == ""
