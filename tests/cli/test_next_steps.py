"""What a command prints to go on with works as printed: pasted, on the demo and on an own table."""

from __future__ import annotations

import re
import shlex
import subprocess
from pathlib import Path

import pytest
from command import Command, Done, next_steps, pasted

ROOT = Path(__file__).resolve().parents[2]
TABLE = ROOT / "swatch_data" / "napkins.csv"
MINE = TABLE.read_text(encoding="utf-8").replace("# demo: yes\n", "")


def steps(done: Done, reading: str = "") -> dict[str, str]:
    """The commands printed to go on with, by the first word of each; a `reading` is filled in."""
    assert done.returncode == 0, done.stderr
    told = [line for line in done.stdout.split("\n") if "  " not in line.strip()]
    assert max(map(len, told)) <= 100, "but for tables"
    return {words.split()[0]: words for words in next_steps(done, reading)}


def walk(run: Command, first: str, *names: str, reading: str = "56 -10 14") -> list[Done]:
    """Run a command, then from what each printed the next one of that name, and any other too."""
    walked = [run(*shlex.split(first))]
    for name in names:
        printed = steps(walked[-1], reading)
        for other in printed.keys() - {name}:
            assert run(*shlex.split(printed[other])).returncode == 0
        walked.append(run(*shlex.split(printed[name])))
    assert walked[-1].returncode == 0, walked[-1].stderr
    return walked


def test_the_demo_from_a_match_to_the_next_piece(run: Command) -> None:
    seen = "55.5 -8.8 13.5"
    walked = walk(run, "match '#7d8a6e' --count 2", "bath", "trial", "next", "bath", reading=seen)
    trial = walked[2]
    for done in walked[:4]:  # one light a job: that of the hex code
        assert "D65/2°" in done.stdout
        assert "D65/10°" not in done.stdout
    assert "change nothing" in trial.stdout


def test_a_bare_colour_takes_the_light_of_the_fit_along(run: Command) -> None:
    match, bath, trial = walk(run, "match '56 -10 13' --only 'marigold, navy'", "bath", "trial")
    asked = "--target '56.00 -10.00 13.00 D65/10' --demo --only 'marigold, navy'"
    assert asked in pasted(match.stdout)
    assert "D65/2°" not in bath.stdout + trial.stdout.replace("sRGB (D65/2°)", "")


def test_a_reading_is_asked_for_in_the_light_of_her_own(run: Command) -> None:
    """Of a hex code too: numbers of her D65/10° instrument under D65/2° would miss by some 2.5."""
    _, bath = walk(run, "match '#7d8a6e' --only 'marigold, navy'", "bath")
    trial = shlex.split(steps(bath)["trial"])
    assert trial[trial.index("--reading") + 1] == "L* a* b* D65/10"


def test_a_reading_that_nobody_took_is_refused(run: Command) -> None:
    """In one sentence that says what goes there: pasted as it is, it would be kept as a trial."""
    _, bath = walk(run, "match '#7d8a6e' --only 'marigold, navy'", "bath")
    refused = run(*shlex.split(steps(bath)["trial"]))
    assert refused.returncode == 2
    assert (
        refused.stderr.count("in place of 'L* a* b* D65/10' goes what you read, as '52.1 -3") == 1
    )
    assert run(*shlex.split(steps(bath, "56 -10 14")["trial"])).returncode == 0


def test_a_long_command_is_pasted_as_one(run: Command) -> None:
    """As a shell reads it: a line that goes on ends in a backslash; none is over 100 columns."""
    done = run("match", "#7d8a6e", "--cloth", "240g", "--stock", "2", "--measure", "spoons")
    (told,) = [part for part in done.stdout.split("\n\n") if "Dye 5 g of it first" in part]
    command = told[told.index("dyemix bath") :]
    assert " \\\n" in command
    assert max(map(len, done.stdout.split("\n"))) <= 100
    shell = subprocess.run(
        ["sh", "-c", f"dyemix() {{ printf '%s\\n' \"$@\"; }}; {command}"],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert shell.stdout.splitlines() == shlex.split(next_steps(done)[0])


def test_recipes_of_a_list_are_a_day(run: Command) -> None:
    (run.folder / "wanted.csv").write_text("name,hex\nsage,#7d8a6e\nolive,#6b6a3a\n")
    words = "match --targets wanted.csv -o recipes.csv --cloth 60g --stock 2"
    day = walk(run, words, "bath")[-1]
    assert "sage" in day.stdout
    assert "60 g" in day.stdout


def test_a_light_that_no_table_states_is_asked_for(run: Command) -> None:
    """In the message of every command that rests on it, until the table says it."""
    table = run.folder / "mine.csv"
    rows = "undyed,93,0,4\ngold 2,75,12,62\ngold 0.5,82,5,45\nnavy 2,30,0,-20\nnavy 0.5,50,-4,-18\n"
    table.write_text(f"# cloth: lawn\nrecipe,L*,a*,b*\n{rows}", encoding="utf-8")
    asked = "is taken to be D65, 10°; is it?"
    for words in (
        "fit",
        "match '#7d8a6e'",
        "predict 'navy 1'",
        "book add mine.csv --book w.dyebook",
    ):
        told = run(*shlex.split(words)).stderr
        assert asked in told
        assert "'# light: D65/2'" in told
    assert asked in run("fit", "--book", "w.dyebook").stderr
    table.write_text(f"# light: D65/2\nrecipe,L*,a*,b*\n{rows}", encoding="utf-8")
    assert asked not in run("fit", "--swatches", "mine.csv").stderr


def test_cloth_and_stock_go_along(run: Command) -> None:
    (run.folder / "bottles.csv").write_text(
        "dye,stock_pct\n" + "".join(f"{dye},4\n" for dye in ("marigold", "navy", "black")),
        encoding="utf-8",
    )
    words = "match '#7d8a6e' --only 'marigold, navy, black' --measure 'syringe 0.5' --cloth 500g"
    match, bath = walk(run, f"{words} --stock bottles.csv", "bath")
    assert "--cloth 500g" in match.stdout
    marigold = next(line for line in bath.stdout.splitlines() if line.startswith("marigold"))
    assert "4 %" in marigold


def test_a_piece_that_is_off_leads_to_the_next_one(run: Command) -> None:
    first = "trial 'marigold 0.8 + navy 0.25' --reading '52 3 30' --target '50 4 33'"
    trial, bath, _ = walk(run, first, "bath", "trial")
    assert "only in a --book its sheet knows of this one" in trial.stdout
    assert "trial 'marigold 0.8 + navy 0.25'" not in bath.stdout, "the recipe is corrected"


def test_one_of_two_tables_goes_along(run: Command) -> None:
    for name in ("mine.csv", "other one.csv"):
        (run.folder / name).write_text(MINE, encoding="utf-8")
    fit = "fit --swatches 'other one.csv' --leave-out 'rust 1.00 (N060)'"
    for done in walk(run, fit, "match", "bath", "trial", "next"):
        assert "Swatches: other one.csv" in done.stderr
        assert "--demo" not in done.stdout


def test_an_own_table_from_the_plan_on(run: Command) -> None:
    start = "start 'gold, navy' --method lawn -o 'my swatches.csv'"
    printed = steps(run(*shlex.split(start)))
    plan = run.folder / "my swatches.csv"
    readings = {"undyed": "93 0 4", "gold": "75 12 62", "navy": "30 0 -20"}
    head, *rows = [x for x in plan.read_text(encoding="utf-8").splitlines() if x[0] != "#"]
    notes = [x for x in plan.read_text(encoding="utf-8").splitlines() if x[0] == "#"]
    filled = []
    for row in rows:
        label, recipe, *_ = row.split(",")
        dye, _, depth = recipe.partition(" ")
        light, red, yellow = (float(x) for x in readings[dye].split())
        share = (float(depth.split()[0]) / 2) ** 0.4 if depth else 1.0
        lab = (93 + share * (light - 93), share * red, 4 + share * (yellow - 4))
        filled.append(",".join([label, recipe, *(f"{x:.1f}" for x in lab), ""]))
    plan.write_text("\n".join([*notes, head, *filled]), encoding="utf-8")
    fit = run(*shlex.split(printed["fit"]))
    assert fit.returncode == 0, fit.stderr
    walk(run, steps(fit)["match"], "bath", "trial", "next", "bath")


def test_a_second_cloth_borrows_and_is_matched(run: Command) -> None:
    (run.folder / "mine.csv").write_text(MINE, encoding="utf-8")
    rows = MINE.replace("cotton-linen napkin, mock-dyed", "viscose").splitlines()
    few = ("#", "swatch,", "N001", "N004", "N016", "N028")
    some = [row for row in rows if row.startswith(few)]
    (run.folder / "second.csv").write_text("\n".join(some), encoding="utf-8")
    walked = walk(run, "fit --swatches second.csv --borrow mine.csv", "fit", "match")
    assert "borrowed.json" in walked[-1].stderr


def test_a_standard_of_a_book_goes_along_by_its_name(run: Command) -> None:
    (run.folder / "mine.csv").write_text(MINE, encoding="utf-8")
    assert run("book", "add", "mine.csv", "--book", "w.dyebook").returncode == 0
    assert run("book", "sign", "café", "mine.csv", "--recipe", "leaf 4").returncode == 0
    match, bath, trial, _ = walk(run, "match café --book w.dyebook", "bath", "trial", "next")
    assert "--target 'café' --book w.dyebook" in pasted(match.stdout)
    assert "Kept in w.dyebook" in trial.stderr
    assert "D65/10°" in bath.stdout
    refused = run("match", "cafe", "--book", "w.dyebook")
    assert (refused.returncode, "did you mean café?" in refused.stderr) == (2, True)
    assert "did you mean" not in run("match", "plum", "--book", "w.dyebook").stderr


@pytest.mark.parametrize("words", ["match '#7d8a6e'", "next '#7d8a6e'"])
def test_json_holds_the_answer_alone(run: Command, words: str) -> None:
    assert "dyemix bath" not in run(*shlex.split(words), "--json").stdout


def test_a_preview_answers_in_the_light_of_the_fit(run: Command) -> None:
    shown = run("preview", "navy 1", "--alkali", "after").stdout
    assert "2 mm blocks, D65/10°" in shown
    assert "D65/2" not in shown


def test_a_swatch_to_dye_next_is_as_heavy_as_its_bath_wants(lawn: Command) -> None:
    """5 g in low water have 25 mL, which the weak stock of a small dose alone would fill."""
    text = (lawn.folder / "lawn.csv").read_text(encoding="utf-8")
    low = text.replace("# liquor ratio: 20:1", "# liquor ratio: 5:1")
    (lawn.folder / "low.csv").write_text(low, encoding="utf-8")
    for table, cloth in (("lawn.csv", "5g"), ("low.csv", "10g")):
        (bath,) = next_steps(lawn("next", "70 0 40", "--swatches", table))
        assert f"--cloth {cloth}" in bath
        done = lawn(*shlex.split(bath))
        assert done.returncode == 0, done.stderr


def test_the_next_square_goes_into_a_bath_of_low_water(run: Command) -> None:
    """Of 1 % stock it holds no deep mix: its bath refused what was proposed."""
    low = MINE.replace("liquor ratio: 20:1", "liquor ratio: 5:1").replace(
        "salt: 50 g/L", "salt: none"
    )
    (run.folder / "low.csv").write_text(low, encoding="utf-8")
    walk(run, "next '#202a2e' --swatches low.csv --only 'lemon, rose, navy'", "bath")


def test_a_bath_that_holds_too_little_is_told_before_it_is_asked_for(run: Command) -> None:
    """A low water of 5:1 has room for some 2 mL of stock a gram of cloth: of 1 %, for 2 % owf."""
    head = "# cloth: linen\n# alkali: with\n# liquor ratio: 5\n# light: D65/10\nrecipe,L*,a*,b*\n"
    gold = "gold 2,72.1,17.9,62.9\ngold 1.5,74.0,15.7,60.0\ngold 1,75.9,13.6,57.0\n"
    teal = "teal 2,47.3,-22.6,-22.2\nteal 1.5,50.8,-22.8,-21.3\nteal 1,55.3,-22.4,-20.1\n"
    table = f"{head}undyed,93.1,0.2,3.9\n{gold}{teal}"
    (run.folder / "mine.csv").write_text(table, encoding="utf-8")
    fit = run("fit")
    (square,) = re.findall(r"gold (\d\.\d\d) \+ teal (\d\.\d\d)", fit.stdout)
    assert sum(map(float, square)) == 2.0, "as deep as the deepest square"
    found = run("match", "40 -30 10 D65/10", "--cloth", "100g")
    assert "does not hold it" in found.stdout
    for words in (("predict", "gold 1"), ("series", "tint", "gold 2")):
        assert "Dyed in low water: expect mottle" in run(*words).stdout, words
    wide = run("match", "75 0 30 D65/10", "--cloth", "100g")
    assert "Dye 10 g of it first" in wide.stdout, "as a first square of low water weighs"
    assert "10 g square dyed first" in run(*shlex.split(steps(wide)["bath"])).stdout
    assert "as strong" in found.stdout
    bath = shlex.split(steps(found)["bath"])
    assert run(*bath).returncode == 2
    assert run(*bath, "--stock", "4").returncode == 0
    assert "does not hold" not in run("match", "40 -30 10 D65/10", "--stock", "4").stdout
