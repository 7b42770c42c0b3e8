"""The commands on families of colours, run as their user runs them."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from command import Command

from dyemix.dataset.swatches import DEMO_WARNING

ROOT = Path(__file__).resolve().parents[2]
WANTED = "name,hex\nsage,#7d8a6e\ncoral,#e07060\n"
Run = Command


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("work")


@pytest.fixture(scope="module")
def run(folder: Path, _fits: Path) -> Command:
    """Run ``dyemix …`` in an empty folder, so with the demo."""
    return Command(folder, _fits)


@pytest.fixture(scope="module")
def lists(tmp_path_factory: pytest.TempPathFactory) -> Path:
    file = tmp_path_factory.mktemp("lists") / "wanted.csv"
    file.write_text(WANTED)
    return file


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("subdue", "scarlet 1.2 + marigold 0.6", "--steps", "2"), "Least upset by a dosing slip"),
        (("subdue", "rose 1 + cobalt 0.5", "--cam", "--steps", "1"), "CIECAM16 colourfulness"),
        (("subdue", "--over", "#ee6b4c", "--steps", "2"), "offcut"),
        (("subdue", "--over", "60 -40 30", "--steps", "1"), "without getting darker"),
        (("series", "tint", "rose 2"), "Tint: paler"),
        (("series", "shade", "rose 2", "--steps", "2"), "Shade: darkened with black"),
        (("series", "tone", "rose 2", "--hue", "ciecam16", "--steps", "2"), "CIECAM16 hue held"),
        (("series", "gradient", "lemon 1", "navy 2"), "in 6 even steps"),
        (("series", "card", "lemon, navy", "--depths", "0.5, 1"), "depth by blend grid"),
    ],
)
def test_commands_answer_and_begin_with_the_warning(
    run: Run, words: tuple[str, ...], says: str
) -> None:
    done = run(*words)
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith(DEMO_WARNING)
    assert says in done.stdout
    plain = json.loads(run(*words, "--json").stdout)
    assert plain["warning"] == DEMO_WARNING


def test_a_piece_from_a_file_of_readings(run: Run, lists: Path) -> None:
    piece = lists.with_name("piece.csv")
    piece.write_text("name,L*,a*,b*\nnapkin,60,48,39\n")
    done = run("subdue", "--over", str(piece), "--steps", "1")
    assert done.returncode == 0, done.stderr
    assert "L* 60.0, a* 48.0, b* 39.0" in done.stdout


def test_reach_and_family(run: Run, lists: Path, folder: Path) -> None:
    done = run("reach", "--targets", str(lists), "--target", "#7d8a6e", "--draw", "reach.svg")
    assert done.returncode == 0, done.stderr
    assert "2 of 2 wanted colours" in done.stdout
    assert "Least missed would be" in done.stdout
    assert (folder / "reach.svg").read_text(encoding="utf-8").startswith("<?xml")
    done = run("reach", "--fewest", "--targets", str(lists), "--cloth", "0.25 kg")
    assert done.returncode == 0, done.stderr
    assert "No fewer do." in done.stdout
    assert "For 250 g of cloth" in done.stdout
    (folder / "reach.svg").unlink()


def test_card_is_drawn_on_pages(run: Run, folder: Path) -> None:
    done = run("series", "card", "marigold, rose, turquoise", "--draw", "card.pdf")
    assert done.returncode == 0, done.stderr
    assert (folder / "card.pdf").read_bytes().startswith(b"%PDF")
    assert "66 blends" in done.stdout
    (folder / "card.pdf").unlink()


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("subdue",), "name a RECIPE"),
        (("subdue", "rose 1", "--over", "#ee6b4c"), "not both"),
        (("subdue", "rosé 1"), "no swatch of 'rosé'"),
        (("subdue", "rose 1", "--least", "2"), "between 0 and 1"),
        (("subdue", "--over", "nowhere.csv"), "no such file"),
        (("subdue", "--over", "#ee6b4c", "--let-down", "3"), "not for --over"),
        (("series", "gradient", "rose 1", "rose 1"), "same colour"),
        (("series", "card", "lemon"), "two or three different dyes"),
        (("series", "card", "lemon, navy", "--draw", "card.doc"), "name the picture"),
        (("reach", "--max-dyes", "2"), "3 or 4"),
        (("reach", "--fewest", "--targets", "nowhere.csv"), "nowhere.csv"),
    ],
)
def test_bad_input_is_one_sentence_and_exit_2(run: Run, words: tuple[str, ...], says: str) -> None:
    done = run(*words)
    assert done.returncode == 2
    assert says in done.stderr
    assert "Traceback" not in done.stderr
