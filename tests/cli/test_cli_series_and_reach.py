"""The commands on families of colours, run as their user runs them."""

from __future__ import annotations

import json
import re
import shlex
from pathlib import Path

import pytest
from command import Command, next_steps

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


@pytest.fixture
def command(tmp_path: Path, _fits: Path) -> Command:
    """Run ``dyemix …`` in a folder of its own."""
    return Command(tmp_path / "work", _fits)


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


@pytest.mark.slow
@pytest.mark.parametrize(
    "words",
    [
        ("subdue", "scarlet 1.2 + marigold 0.6", "--cloth", "60g", "--measure", "spoons"),
        ("subdue", "--over", "60 -20 -5"),
        ("series", "tint", "rust 1"),
        ("series", "gradient", "rose 2", "navy 1"),
    ],
)
def test_a_series_leads_on_to_the_bath_of_a_step(run: Run, words: tuple[str, ...]) -> None:
    asked = shlex.split(next_steps(run(*words))[-1])
    assert asked[0] == "bath"
    sheet = run(*asked)
    assert sheet.returncode == 0
    assert ("over" in " ".join(asked)) is ("--over" in words)
    assert "Bath sheet" in sheet.stdout


def test_a_piece_from_a_file_of_readings(run: Run, lists: Path) -> None:
    piece = lists.with_name("piece.csv")
    piece.write_text("name,L*,a*,b*\nnapkin,60,48,39\n")
    done = run("subdue", "--over", str(piece), "--steps", "1")
    assert done.returncode == 0, done.stderr
    assert "L* 60.0, a* 48.0, b* 39.0" in done.stdout


def test_no_tint_adds_what_nobody_can_measure(run: Run) -> None:
    # Three steps had navy of 0.0008 to 0.004 % owf here: less than 0.5 mL of 1 % stock on 100 g.
    (route,) = json.loads(run("series", "tint", "plum 0.2", "--json").stdout)["routes"]
    for step in route["steps"]:
        assert all(owf >= 0.005 for owf in step["prediction"]["recipe"].values())


#: Commands that make a series, and what they step away from.
SERIES = (
    ("subdue", "scarlet 1.2 + marigold 0.6"),
    ("series", "tint", "rose 2 + navy 0.5"),
    ("series", "shade", "rose 2"),
    ("series", "tone", "rose 2"),
    ("series", "gradient", "lemon 1", "navy 2"),
)


def measured_ml(text: str) -> list[tuple[dict[str, float], dict[str, float]]]:
    """Of every step its recipe in % owf, and mL of stock as it is, of the line below it."""
    lines, steps = text.splitlines(), []
    for i, line in enumerate(lines):
        if found := re.match(r" ?\d[ ~] +(.+?)  +#[0-9a-f]{6}", line):
            dose = r"(\S+) ([\d.]+) mL(?: of (?:stock diluted )?1 in (\d+))?"
            doses = [re.fullmatch(dose, words) for words in lines[i + 1].strip().split(" + ")]
            poured = {d[1]: float(d[2]) / float(d[3] or 1) for d in doses if d}
            assert len(poured) == len(doses), lines[i + 1]
            terms = (term.split(" ") for term in found[1].split(" + "))
            steps.append(({dye: float(owf) for dye, owf in terms}, poured))
    return steps


@pytest.mark.parametrize("words", SERIES, ids=lambda words: "-".join(words[:2]))
def test_a_series_is_measured_in_stock(run: Run, words: tuple[str, ...]) -> None:
    """1 g of dye is 50 mL of 2 % stock; recipes are told to two digits."""
    more = ("--steps", "2", "--cloth", "240g", "--stock", "2")
    for kit in ((), ("--measure", "syringe 0.5")):
        done = run(*words, *more, *kit)
        assert done.returncode == 0, done.stderr
        assert "Of stock (2 %), for 240 g of dry cloth." in done.stdout
        assert "ΔH*" not in done.stdout
        steps = measured_ml(done.stdout)
        assert len(steps) >= 2
        for recipe, poured in steps:
            assert poured.keys() == recipe.keys()
            for dye, ml in poured.items():
                # By a kit all dyes are rounded together, each by two marks at most.
                off = 1.5 if kit else 0.4
                assert ml == pytest.approx(recipe[dye] * 2.4 * 50.0, rel=0.06, abs=off)
    assert "ΔH*" in run(*words, *more, "--detail").stdout
    assert "tsp" in run(*words, *more, "--measure", "spoons").stdout
    assert "for 100 g of dry cloth" in run(*words, "--measure", "spoons").stdout
    plain = json.loads(run(*words, *more, "--measure", "syringe 0.5", "--json").stdout)
    assert plain["routes"][0]["steps"][0]["measured"]["doses"][0]["ml"] > 0


def test_of_a_book_its_bottles_are_measured(command: Command) -> None:
    """Its bottles, by `subdue` and by `reach --fewest`; a dye without one is of 1 %."""
    mine = (ROOT / "swatch_data" / "napkins.csv").read_text(encoding="utf-8")
    mine = mine.replace("# demo: yes\n", "").replace("# stock_pct: 1\n", "")
    tables = {
        "mine": mine,
        "bottles": "dye,stock_pct\nscarlet,4\nmarigold,2\n",
        "two": "name,hex\none,#ee6c4d\ntwo,#f4d563\n",
    }
    for name, text in tables.items():
        (command.folder / f"{name}.csv").write_text(text, encoding="utf-8")
    for asked in (("add", "mine.csv"), ("stocks", "bottles.csv")):
        done = command("book", *asked, "--book", "w.dyebook")
        assert done.returncode == 0, done.stderr
    strength = {"scarlet": 4.0, "marigold": 2.0}
    done = command("subdue", "scarlet 1.2 + marigold 0.6", "--steps", "1", "--book", "w.dyebook")
    assert done.returncode == 0, done.stderr
    for recipe, poured in measured_ml(done.stdout):
        for dye, ml in poured.items():
            wanted = recipe[dye] * 100.0 / strength.get(dye, 1.0)
            assert ml == pytest.approx(wanted, rel=0.06, abs=0.4)
    done = command("reach", "--fewest", "--targets", "two.csv", "--book", "w.dyebook")
    assert done.returncode == 0, done.stderr
    bought = re.findall(r"(\w+): ([\d.]+) g, or (\d+) mL at (\d+) %", done.stdout)
    assert {dye for dye, *_ in bought} & strength.keys()
    for dye, grams, ml, pct in bought:
        assert float(pct) == strength.get(dye, 1.0)
        assert float(ml) == pytest.approx(float(grams) * 100.0 / float(pct), abs=1.0)


def test_a_colour_stands_by_itself(run: Run) -> None:
    bare = run("reach", "#ff2010")
    assert bare.returncode == 0, bare.stderr
    assert "#ff2010: out of reach, nearest" in bare.stdout
    doses = [float(dose) for dose in re.findall(r"[a-z] (\d\.\d+)\b", bare.stdout)]
    assert len(doses) > 10
    assert min(doses) >= 0.005, "what can be measured"


def test_reach_and_family(run: Run, lists: Path, folder: Path) -> None:
    done = run("reach", "#7d8a6e", "--targets", str(lists), "--draw", "reach.svg")
    assert done.returncode == 0, done.stderr
    assert "2 of 2 wanted colours" in done.stdout
    assert "Least missed would be" in done.stdout
    assert (folder / "reach.svg").read_text(encoding="utf-8").startswith("<?xml")
    done = run("reach", "--fewest", "--targets", str(lists), "--cloth", "0.25 kg")
    assert done.returncode == 0, done.stderr
    assert "No fewer do." in done.stdout
    assert "For 250 g of cloth" in done.stdout
    (folder / "reach.svg").unlink()


def test_no_step_holds_what_nobody_can_measure(run: Run) -> None:
    """0.005 % is half a millilitre of 1 % stock on 100 g; by leaf the marigold falls below it."""
    words = ("subdue", "scarlet 1.2 + marigold 0.6")
    told = run(*words).stdout
    assert "Less than 0.005 %, which nobody can measure, is left out or held at that: mar" in told
    routes = json.loads(run(*words, "--least", "0.05", "--json").stdout)["routes"]
    recipes = [step["prediction"]["recipe"] for route in routes for step in route["steps"]]
    doses = [dose for recipe in recipes for dose in recipe.values()]
    assert len(doses) > 60
    assert min(doses) >= 0.005


@pytest.mark.parametrize("colour", ["#c04a2a", "#7a6a3a"])
def test_match_and_reach_mean_one_thing_by_out_of_reach(run: Run, colour: str) -> None:
    """As far off on paper as excellent is (1.5), in both."""
    match = run("match", colour, "--only", "lemon, scarlet, navy, black").stdout
    reach = run("reach", colour, "--only", "lemon, scarlet, navy, black").stdout
    off = re.search(r"([\d.]+) on paper", match)
    assert off is not None
    word = "within reach" if float(off[1]) <= 1.5 else "out of reach"
    assert f"{word}" in match.split("\n")[1]
    assert f": {word}, nearest" in reach


@pytest.mark.slow
def test_card_is_drawn_on_pages(run: Run, folder: Path) -> None:
    strip = run("series", "card", "lemon, navy", "--draw", "strip.png")
    pages = [folder / "strip-1.png", folder / "strip-2.png"]
    for page in pages:
        assert page.read_bytes().startswith(b"\x89PNG")
        assert f"Written: {page.name}" in strip.stderr
    pages[0].unlink()
    half = run("series", "card", "lemon, navy", "--draw", "strip.png")
    assert (half.returncode, pages[0].exists()) == (2, False)  # all of them, or none
    pages[1].unlink()
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
        (("series", "card", "lemon, navy", "--draw", "card.doc"), "name it .png"),
        (("reach", "--max-dyes", "2"), "3 or 4"),
        (("reach", "--fewest", "--targets", "nowhere.csv"), "nowhere.csv"),
    ],
)
def test_bad_input_is_one_sentence_and_exit_2(run: Run, words: tuple[str, ...], says: str) -> None:
    done = run(*words)
    assert done.returncode == 2
    assert says in done.stderr
    assert "Traceback" not in done.stderr
