"""Spoons, mL, cups and drops of stock on stated cloth are an answer to every command."""

from __future__ import annotations

import json
import re
import shlex
from pathlib import Path

import pytest
from command import Command, next_steps, of_dyes

from tests.cli.test_commands import TREE
from tests.simulated.struck import small_piece

ROOT = Path(__file__).resolve().parents[2]
MINE = (ROOT / "swatch_data" / "napkins.csv").read_text(encoding="utf-8")
MINE = MINE.replace("# demo: yes\n", "").replace("# stock_pct: 1\n", "")
#: The same of four dyes, which is quicker to fit.
FEW = of_dyes(MINE, "navy", "rose", "lemon", "leaf")
#: Of every command that takes a recipe, the rest of its words; {} is where the recipe goes.
ASKED = {
    "predict": "predict|{}",
    "bath": "bath|{}|--demo",
    "subdue": "subdue|{}",
    "trial": "trial|{}|--reading|52 3 30|--target|50 4 33",
    "report": "report|{}|--reading|52 3 30|--target|50 4 33|-o|-",
    "series tint": "series|tint|{}",
    "series shade": "series|shade|{}",
    "series tone": "series|tone|{}",
    "series gradient": "series|gradient|{}|leaf 1",
    "levelness": "levelness|pieces.json|--recipe|{}",
    "preview": "preview|{}",
    "book recipe": "book|recipe|{}|--job|sage|--book|w.dyebook",
    "book sign": "book|sign|NAME|50 4 33|--recipe|{}|--book|w.dyebook",
}


def taking_recipes() -> set[str]:
    """The commands of the tree that take a recipe."""
    return {
        name
        for name, command in TREE.items()
        for param in command.params
        if param.name in ("recipe", "first") and "TABLE" not in str(param.metavar)
    }


def begun(run: Command, name: str) -> None:
    """What that command needs: her book, or an analysed piece."""
    if "w.dyebook" in ASKED[name]:
        (run.folder / "mine.csv").write_text(MINE, encoding="utf-8")
        assert run("book", "add", "mine.csv", "--book", "w.dyebook").returncode == 0
    if "pieces.json" in ASKED[name]:
        (run.folder / "pieces.json").write_text(small_piece(), encoding="utf-8")


def test_every_command_that_takes_a_recipe_is_asked() -> None:
    assert taking_recipes() == ASKED.keys()


@pytest.mark.parametrize("name", ASKED)
def test_spoons_and_ml_are_one_recipe(run: Command, name: str) -> None:
    """2 metric tbsp are 30 mL: of 2 % stock on 120 g, 0.5 % owf; a cup on 500 g, 1 %."""
    begun(run, name)
    measured = [
        ("navy 2 tbsp + rose 300 drops", "120g"),
        ("navy 30 mL + rose 15 mL", "120g"),
        ("navy 1 cup + rose 0.125 L", "1000g"),
    ]
    # All of them take a recipe by one function: the quickest shows each way to write it.
    for i, (recipe, cloth) in enumerate(measured if name == "predict" else measured[:1]):
        words = ASKED[name].replace("{}", recipe).replace("NAME", f"n{i}").split("|")
        done = run(*words, "--cloth", cloth, "--stock", "2")
        assert done.returncode == 0, done.stderr
        told = "0.50" in done.stderr + done.stdout and "0.25" in done.stderr + done.stdout
        assert told, done.stderr + done.stdout
        if name != "bath":  # its sheet says so
            assert "navy 0.50 + rose 0.25 % owf: on" in done.stderr
            assert "of stock at 2 %" in done.stderr


@pytest.mark.parametrize("name", ASKED)
def test_without_cloth_the_whole_command_is_printed(run: Command, name: str) -> None:
    begun(run, name)
    words = ASKED[name].replace("{}", "navy 2 tbsp").split("|")
    refused = run(*words)
    assert refused.returncode == 2
    (asked,) = re.findall(r"dyemix (.+) --cloth 60g$", refused.stderr, re.MULTILINE)
    assert asked.startswith(words[0])
    assert run(*words, "--cloth", "60g").returncode == 0


def test_cloth_comes_from_the_table_or_the_job(run: Command) -> None:
    """30 mL of 1 % stock on squares of 5 g are 6 % owf; on the job's 150 g, 0.2 %."""
    (run.folder / "mine.csv").write_text(
        "# cloth_g: 5 g\n# spoons: Metric\n" + FEW, encoding="utf-8"
    )
    done = run("predict", "navy 2 tbsp")
    assert "is navy 6.00 % owf: on 5 g of dry cloth, as your swatches weigh" in done.stderr
    assert run("book", "add", "mine.csv", "--book", "w.dyebook").returncode == 0
    job = ("--job", "sage", "--book", "w.dyebook")
    assert run("bath", "rose 1", "--cloth", "150g", *job).returncode == 0
    for name in ("book recipe", "trial"):
        words = ASKED[name].replace("{}", "navy 2 tbsp").split("|")
        done = run(*words[: words.index("--job")] if "--job" in words else words, *job)
        assert "is navy 0.20 % owf: on 150 g of dry cloth, as sage was" in done.stderr, done.stderr


def test_one_strength_in_every_command(run: Command) -> None:
    """As named; else of the book's bottles, then of the table, then 1 %: alike in every command."""
    (run.folder / "mine.csv").write_text("# stock_pct: 4\n" + FEW, encoding="utf-8")
    (run.folder / "bottles.csv").write_text("dye,stock_pct\nnavy,3\n", encoding="utf-8")

    def dosed(*shelf: str) -> dict[str, float]:
        done = run("bath", "navy 0.5 + rose 0.5", "--cloth", "120g", "--json", *shelf)
        assert done.returncode == 0, done.stderr
        return {d["dye"]: d["exact_ml"] for d in json.loads(done.stdout)["doses"]}

    def meant(*shelf: str) -> str:
        done = run("predict", "navy 20 mL + rose 20 mL", "--cloth", "120g", *shelf)
        return re.findall(r"is (.+) % owf", done.stderr)[0]

    assert dosed("--swatches", "mine.csv") == pytest.approx({"navy": 15, "rose": 15})
    assert meant("--swatches", "mine.csv") == "navy 0.67 + rose 0.67"
    assert run("book", "add", "mine.csv", "--book", "w.dyebook").returncode == 0
    assert run("book", "stocks", "bottles.csv", "--book", "w.dyebook").returncode == 0
    book = ("--book", "w.dyebook")
    assert dosed(*book) == pytest.approx({"navy": 20, "rose": 15})
    assert meant(*book) == "navy 0.50 + rose 0.67"
    assert dosed(*book, "--stock", "2") == pytest.approx({"navy": 30, "rose": 30})
    assert meant(*book, "--stock", "2") == "navy 0.33 + rose 0.33"
    match = run("match", "#7d8a6e", "--only", "navy, rose, lemon", *book)
    assert re.search(r"navy 3 %", match.stdout)
    assert "of stock (4 %, navy 3 %)" in match.stdout


def test_an_answer_is_short_and_can_be_measured(run: Command) -> None:
    """Eight dyes: at most 12 lines of 100 columns, and the amounts that its bath then has."""
    eight = "lemon, marigold, scarlet, rose, cobalt, navy, turquoise, black"
    (run.folder / "mine.csv").write_text(MINE, encoding="utf-8")
    match = run("match", "#7d8a6e", "--only", eight, "--cloth", "240g", "--stock", "2")
    assert match.returncode == 0, match.stderr
    lines = match.stdout.rstrip("\n").split("\n")
    assert len(lines) <= 12
    assert max(map(len, lines)) <= 100
    bath = run(*shlex.split(next_steps(match)[0]))
    assert bath.returncode == 0, bath.stderr
    first = next(line for line in lines if line.startswith("1  "))
    poured = lines[lines.index(first) + 1].partition(":")[0].strip()
    for dose in poured.split(" + "):
        dye, ml, _ = dose.split()
        (row,) = [x for x in bath.stdout.split("\n") if x.startswith(dye + " ")]
        assert f"{ml} mL" in row


def test_one_amount_is_told_one_way(run: Command) -> None:
    """Above six tablespoons by jug, in `match` as on the bath sheet: nobody counts to nineteen."""
    (run.folder / "mine.csv").write_text(MINE, encoding="utf-8")
    asked = ("match", "45 20 20", "--measure", "spoons", "--cloth", "800g", "--max-dyes", "2")
    match = run(*asked)
    poured = match.stdout.split("\n")[2].strip().partition(":")[0].split(" + ")
    assert any(words.endswith(" mL") for words in poured)
    assert not re.search(r"\b([7-9]|\d\d+) tbsp", match.stdout)
    bath = run(*shlex.split(next_steps(match)[0]))
    for dye, _, amount in (words.partition(" ") for words in poured if words.endswith(" mL")):
        (row,) = [x for x in bath.stdout.split("\n") if x.startswith(dye + " ") and "jug" in x]
        assert amount in row


@pytest.mark.parametrize("measure", ["", "--measure spoons"])
def test_an_answer_of_eight_dyes_is_a_dozen_lines(run: Command, measure: str) -> None:
    """Of a table, in a book of two methods, with all that can go along; out of reach too."""
    eight = ("lemon", "marigold", "scarlet", "rose", "cobalt", "navy", "turquoise", "black")
    for name in ("linen, alkali with", "linen, alkali after"):
        (run.folder / f"{name}.csv").write_text(of_dyes(MINE, *eight), encoding="utf-8")
        words = ("book", "add", f"{name}.csv", "--method", name, "--book", "workshop.dyebook")
        assert run(*words).returncode == 0
    book = "--book workshop.dyebook --method 'linen, alkali with' --job 'sage runner' --cloth 240g"
    stock = "--stock '1, navy 2, black 0.5'"
    for colour in ("#7d8a6e", "30 30 40 D65/10", "88 -30 70", "45 20 20 D65/10"):
        done = run(*shlex.split(f"match '{colour}' {book} {stock} {measure}"))
        assert done.returncode == 0, done.stderr
        lines = done.stdout.rstrip("\n").split("\n")
        assert len(lines) <= 12, done.stdout
        assert max(map(len, lines)) <= 100, done.stdout
        recipes = [i for i, line in enumerate(lines) if re.match(r"\d  ", line)]
        assert 1 <= len(recipes) <= 3
        assert all(": " in lines[i + 1] for i in recipes), "why each is shown"
