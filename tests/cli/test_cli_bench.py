"""The bench's commands, run as their user runs them."""

from __future__ import annotations

import csv
import json
import re
from dataclasses import replace
from pathlib import Path

import pytest
from command import Command

from dyemix.bench.bath_sheet import BathSheet, bath_sheet
from dyemix.bench.settings import defaults_text
from dyemix.colour.ciede2000 import delta_e
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.serialise import from_json
from dyemix.dataset.swatches import DEMO_WARNING, Reading
from dyemix.dataset.target import Target
from dyemix.files import read_swatches
from dyemix.fitting.fit import fit
from dyemix.matching.match import match
from dyemix.model.dyes import DyeSet
from dyemix.model.uncertainty import PRIOR_SECOND_BATH

ROOT = Path(__file__).resolve().parents[2]
TABLE = ROOT / "swatch_data" / "napkins.csv"
Run = Command


@pytest.fixture
def mine(run: Run, tmp_path: Path) -> Path:
    """The folder of a dyer with swatches of her own: the demo's readings without its mark."""
    folder = tmp_path / "work"
    folder.mkdir()
    text = TABLE.read_text(encoding="utf-8").replace("# demo: yes\n", "")
    (folder / "mine.csv").write_text(text, encoding="utf-8")
    return folder


@pytest.mark.parametrize("alkali", ["presoak", "with", "after"])
def test_first_swatches_of_low_water_fit_and_say_each_thing_once(run: Run, alkali: str) -> None:
    """At 5:1 a swatch of 5 g has no room for a weak stock: it is of 10 g; names of dyes are told
    together, not job by job."""
    dyes = "gold, scarlet, plum, navy, black"
    done = run("start", dyes, "--method", "linen", "--ratio", "5", "--alkali", alkali)
    assert done.returncode == 0, done.stderr
    told = " ".join(done.stdout.split())
    assert "23 × 10 g = 230 g dry" in told
    assert told.count("usually a mixture") == 1
    assert "! plum, navy, black: usually a mixture" in told
    assert told.count("presoak carries") == (alkali == "presoak")


def test_demo_recipe_is_refused_without_the_word(run: Run) -> None:
    asked = ("bath", "marigold 0.8 + navy 0.25", "--cloth", "240g")
    refused = run(*asked)
    assert refused.returncode == 2
    assert "invented dyes" in refused.stderr
    assert refused.stdout == ""
    done = run(*asked, "--demo")
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith(DEMO_WARNING)


def test_bath_of_own_swatches(run: Run, mine: Path) -> None:
    done = run(
        "bath", "marigold 0.8 + navy 0.25", "--cloth", "0.24 kg", "--stock", "navy 1, marigold 2",
        "--target", "#7d8a6e", "--job", "sage & <rust>", "--pieces", "4", "--html", "sage.html",
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert DEMO_WARNING not in done.stdout
    # stock mL = cloth g × owf % ÷ stock % (common practice): 240 × 0.8 / 2 and 240 × 0.25 / 1.
    assert "96 mL" in done.stdout
    assert "60 mL" in done.stdout
    expect = next(line for line in done.stdout.splitlines() if line.startswith("Expect"))
    assert "on paper" in expect
    assert "safety data sheet" in " ".join(done.stdout.split())
    page = (mine / "sage.html").read_text(encoding="utf-8")
    assert "sage &amp; &lt;rust&gt;" in page


def test_spoons_of_stock_become_owf_on_this_cloth(run: Run) -> None:
    asked = ("bath", "navy 2 tsp", "--cloth", "100g", "--no-swatches", "--json")
    done = run(*asked, "--stock", "2")
    assert done.returncode == 0, done.stderr
    # Two metric teaspoons are 10 mL of a 2 % stock: 0.2 g on 100 g.
    assert json.loads(done.stdout)["recipe"] == pytest.approx({"navy": 0.2})
    assert json.loads(run(*asked).stdout)["recipe"] == pytest.approx({"navy": 0.1})


def test_each_dye_has_the_strength_of_its_own_stock(run: Run) -> None:
    done = run(
        "bath", "navy 2 tsp + gold 30 mL + rust 1.5 g", "--cloth", "200g", "--no-swatches",
        "--stock", "navy 1, gold 2, rust 4", "--json",
    )  # fmt: skip
    # 10 mL of 1 %, 30 mL of 2 % and 1.5 g of powder, on 200 g.
    recipe = {"navy": 0.05, "gold": 0.3, "rust": 0.75}
    assert json.loads(done.stdout)["recipe"] == pytest.approx(recipe)


@pytest.mark.parametrize("colour", ["#7d8a6e", "45 20 10 A/10", "45 20 10"])
def test_what_to_expect_is_what_the_match_says(dyes: DyeSet, colour: str) -> None:
    found = match(dyes, colour, max_dyes=3)[0]
    target = Target.parse(colour)
    sheet = bath_sheet(found.recipe, 240, dyes=dyes, target=target)
    light = target.light or dyes.light
    paper = delta_e(target.lab, dyes.predict(found.recipe, light).lab)
    assert sheet.expect == (
        f"ΔE2000 {float(paper):.1f} on paper, {found.likely:.1f} likely in the pot, nine pots "
        f"in ten below {found.bound:.1f} ({light})"
    )
    assert bath_sheet(found.recipe, 240, dyes=dyes, target="as last year").expect == ""
    assert bath_sheet(found.recipe, 240, target=target).expect == ""
    assert "likely" in bath_sheet("undyed", 240, dyes=dyes, target=target).expect


def test_bath_with_its_options(run: Run) -> None:
    done = run(
        "bath", "navy 1", "--cloth", "500g", "--no-swatches", "--ratio", "5", "--alkali", "with",
        "--dry", "--stock", "5", "--json",
    )  # fmt: skip
    sheet = json.loads(done.stdout)
    assert sheet["total_ml"] == 2500
    assert sheet["method"]["alkali"] == "with"
    assert sheet["cloth_holds_ml"] == 0
    assert sheet["salt"]["g"] == 0


def test_a_bath_is_asked_in_the_words_of_a_swatch_table(run: Run) -> None:
    """75.2 °F is 24 °C; Glauber's crystals hold 1 in 2.27."""
    asked = ("bath", "navy 1", "--cloth", "500g", "--no-swatches", "--json")
    done = run(
        *asked, "--ratio", "1:20", "--salt", "Glauber crystals 113.5 g/L", "--soda", "8 g/L",
        "--temperature", "75.2 F", "--hours", "overnight",
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    method = json.loads(done.stdout)["method"]
    assert method == pytest.approx(
        {"liquor_ratio": 20, "alkali": "after", "salt": 50, "temperature": 24, "hours": 12,
         "soda": 8, "soda_solution": None}
    )  # fmt: skip
    low = json.loads(run(*asked, "--ratio", "5", "--soda", "50 g/L solution").stdout)
    assert low["soda"]["solution_g_l"] == 50
    refused = run(*asked, "--salt", "a handful")
    assert refused.returncode == 2
    assert "salt 'a handful' is not understood: write it as '50 g/L'" in refused.stderr


def test_stock_sheet(run: Run) -> None:
    done = run("stock", "Navy", "--strength", "2", "--make", "500ml", "--lot", "B7", "--json")
    sheet = json.loads(done.stdout)
    bottle = sheet["bottle"]
    assert (bottle["dye"], sheet["how"]["up_to_ml"], bottle["lot"]) == ("navy", 500.0, "B7")
    done = run("stock", "navy", "--make", "16 fl oz", "--warm")
    assert done.returncode == 0, done.stderr
    assert "NOT DRINK" in done.stdout
    assert "made up TO 473 mL" in done.stdout


def test_bench_plan_of_several_jobs(run: Run, mine: Path) -> None:
    (mine / "jobs.csv").write_text(
        "job,recipe,cloth_g,pieces\nsage,marigold 0.8 + navy 0.25,240,4\nink,navy 3,8 oz,1\n"
    )
    (mine / "bottles.csv").write_text("dye,stock_pct,left_ml\nnavy,2,100\nmarigold,2,500\n")
    done = run(
        "bath", "jobs.csv", "--stock", "bottles.csv", "--swatches", "mine.csv",
        "--html", "plan.html",
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert done.stdout.index("sage") < done.stdout.rindex("ink")
    assert "1. Stock and solutions to make" in done.stdout
    assert (mine / "plan.html").exists()


def test_first_swatches_are_shown_again_from_their_table(run: Run, mine: Path) -> None:
    asked = ("start", "gold, navy", "--method", "cotton lawn", "--cloth", "10g", "--stock", "2")
    first = run(*asked, "-o", "first.csv", "--html", "first.html")
    assert first.returncode == 0, first.stderr
    again = run("start", "first.csv")
    assert again.returncode == 0, again.stderr
    sheet, then = first.stdout.rsplit("\nOnce it is filled in", 1)
    assert again.stdout.strip() == sheet.strip()
    assert then.startswith(": dyemix fit --swatches first.csv")
    assert "before you open a powder" in (mine / "first.html").read_text(encoding="utf-8")
    for words in (("start", "gold"), ("start", "no.csv")):
        assert run(*words).returncode == 2


def test_a_day_is_planned_from_what_match_writes(run: Run, mine: Path) -> None:
    """240 g of 1 % stock: mL = 240 × % owf ÷ 1, of the first recipe of each target."""
    (mine / "wanted.csv").write_text("name,hex\nsage,#7d8a6e\nsky,#9fb4c0\n", encoding="utf-8")
    shelf = ("--swatches", "mine.csv")
    found = run("match", "--targets", "wanted.csv", "-o", "recipes.csv", *shelf)
    assert found.returncode == 0, found.stderr
    done = run("bath", "recipes.csv", "--cloth", "240g", "--json", *shelf)
    assert done.returncode == 0, done.stderr
    plan = json.loads(done.stdout)
    assert {sheet["job"] for sheet in plan["sheets"]} == {"sage", "sky"}
    with (mine / "recipes.csv").open(encoding="utf-8") as file:
        best = {row["target"]: row["recipe"] for row in reversed(list(csv.DictReader(file)))}
    for sheet in plan["sheets"]:
        assert Recipe(sheet["recipe"]) == Recipe.parse(best[sheet["job"]])
        for dose in sheet["doses"]:
            assert dose["exact_ml"] / dose["dilution"] == pytest.approx(240 * dose["owf"])
    assert run("bath", "recipes.csv", *shelf).returncode == 2  # how much cloth is not said


def test_settings_are_edited_and_read_back(run: Run, tmp_path: Path) -> None:
    done = run("settings")
    assert done.stdout.strip() == defaults_text().strip()
    assert run("settings", "-o", "mine.toml").returncode == 0
    path = tmp_path / "work" / "mine.toml"
    path.write_text(path.read_text().replace("liquor_ratio = 20.0", "liquor_ratio = 25.0"))
    done = run(
        "bath", "navy 1", "--cloth", "100g", "--no-swatches", "--settings", "mine.toml", "--json"
    )
    assert json.loads(done.stdout)["method"]["liquor_ratio"] == 25
    again = run("settings", "-o", "mine.toml")
    assert again.returncode == 2
    assert "is there already" in again.stderr


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("bath", "navy 1", "--cloth", "much", "--no-swatches"), "not a weight"),
        (("bath", "navy 1", "--cloth", "1g", "--no-swatches", "--stock", "99"), "at most 20"),
        (("bath", "navy 1", "--cloth", "1g", "--no-swatches", "--stock", "no.csv"), "no.csv"),
        (("bath", "navy 1", "--cloth", "9g", "--no-swatches", "--alkali", "never"), "presoak"),
        (("bath", "puce 1", "--cloth", "9g", "--demo"), "puce"),
        (("bath", "navy 1"), "--cloth"),
        (("stock", "navy", "--make", "2 cups"), "no cups"),
        (("bath", "nowhere.csv", "--no-swatches"), "nowhere.csv"),
        (
            ("bath", "navy 1", "--cloth", "9g", "--no-swatches", "--html", "no/where.html"),
            "there is no folder",
        ),
        (("bath", "navy 1", "--cloth", "9g", "--settings", "nowhere.toml"), "nowhere.toml"),
    ],
)
def test_bad_input_is_one_sentence_and_exit_2(run: Run, words: tuple[str, ...], says: str) -> None:
    done = run(*words)
    assert done.returncode == 2
    assert says in done.stderr
    assert "Traceback" not in done.stderr
    assert done.stdout == ""


def test_a_demo_sheet_begins_with_the_warning_as_json_too(run: Run) -> None:
    words = ("bath", "marigold 0.3", "--cloth", "240g", "--stock", "2", "--demo", "--json")
    done = run(*words)
    assert done.returncode == 0, done.stderr
    assert next(iter(json.loads(done.stdout).items())) == ("warning", DEMO_WARNING)
    assert from_json(BathSheet, done.stdout).demo


def test_a_second_bath_promises_less_and_advises_an_offcut(run: Run, mine: Path) -> None:
    """No square tells of it: it is wide, whatever squares of white cloth have shown."""
    over = ("bath", "navy 0.3", "--cloth", "100g", "--swatches", "mine.csv", "--target", "30 0 -20")
    sheet = run(*over, "--over", "56 -10 13")
    assert sheet.returncode == 0, sheet.stderr
    words = " ".join(sheet.stdout.split())
    assert "a second bath only deepens or dulls" in words
    assert "an offcut of this piece dyed first [ ]" in words
    assert "dyed already: washed, dried and read" in words
    assert "scoured" not in words
    dyes = fit(read_swatches(mine / "mine.csv"))
    piece = Reading.from_lab([56.0, -10.0, 13.0], dyes.light)
    target = Target.parse("30 0 -20").under(dyes.light)
    bounds = {}
    for share in (0.0, PRIOR_SECOND_BATH):
        known = replace(dyes, scatter=replace(dyes.scatter, second_bath=share)).over(piece)
        found = known.predict_many(["navy 0.3"]).in_pot(target.lab)
        bounds[share] = float(found.bound[0] - found.mean[0])
    assert bounds[PRIOR_SECOND_BATH] > 1.5 * bounds[0.0]
    told = re.search(r"([\d.]+) likely in the pot, nine pots in ten below ([\d.]+)", words)
    assert told is not None
    assert float(told[2]) - float(told[1]) == pytest.approx(bounds[PRIOR_SECOND_BATH], abs=0.11)
    assert "second bath" not in run(*over).stdout
