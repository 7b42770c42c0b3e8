"""One book of several cloths and methods: which is meant, what is mended, what is taken back."""

from __future__ import annotations

import re
import shlex
from datetime import date

import pytest
from command import Command, next_steps, of_dyes

from dyemix.dataset.recipe import Recipe

BOOK = ("--book", "w.dyebook")


def test_where_two_methods_fit_both_commands_are_printed(lawn: Command) -> None:
    refused = lawn("predict", "navy 1", *BOOK)
    assert refused.returncode == 2
    printed = next_steps(refused)
    assert [shlex.split(words)[-1] for words in printed] == ["lawn", "linen"]
    for words in printed:
        done = lawn(*shlex.split(words))
        assert done.returncode == 0, done.stderr
        assert "squares, 0 mixes, 0 trials), of w.dyebook" in done.stderr


def test_spoons_of_a_recipe_to_keep_are_of_the_stock_of_a_method(lawn: Command) -> None:
    asked = ("book", "recipe", "navy 1 tbsp", "--job", "new", "--cloth", "150g", *BOOK)
    refused = lawn(*asked)
    assert refused.returncode == 2
    assert [shlex.split(words)[-1] for words in next_steps(refused)] == ["lawn", "linen"]
    for words in next_steps(refused):
        assert lawn(*shlex.split(words)).returncode == 0
    # 15 mL of 2 % on 150 g is 0.3 g, 0.2 %.
    assert "is navy 0.20 % owf" in lawn(*asked, "--stock", "2").stderr


def test_what_a_job_wants_and_weighs_is_asked_once(lawn: Command) -> None:
    """The book keeps it with its own error, which three numbers typed again would lose."""
    one = ("--method", "lawn", "--job", "sage", *BOOK)
    dyed = "navy 0.4 + marigold 0.4"
    bath = lawn("bath", dyed, "--cloth", "310g", "--target", "58 -8 8", *one)
    assert "Aim       L* 58.0, a* -8.0, b* 8.0 (D65/10°)" in bath.stdout, "in the light of the fit"
    (trial,) = next_steps(bath, "58 -8 8")
    assert "--target" not in trial
    done = lawn(*shlex.split(trial.replace("--cloth 310g ", "")))
    assert "Target L* 58.0" in done.stdout
    (repeat,) = (words for words in next_steps(done) if words.startswith("book repeat"))
    assert "--cloth 310g" in repeat, "as the job was"
    again = lawn(*shlex.split(repeat))
    assert "Kept in w.dyebook: sage" in again.stderr
    assert "--target" not in next_steps(again)[-1]
    other = lawn("trial", dyed, "--reading", "58 -8 8", "--target", "60 -8 8", *one)
    assert "Target L* 60.0" in other.stdout


def test_what_was_agreed_for_a_standard_stands_on_its_sheet(lawn: Command) -> None:
    assert lawn("book", "sign", "café", "58 -8 8", "--tolerance", "1.75", *BOOK).returncode == 0
    asked = ("bath", "navy 0.4 + marigold 0.4", "--cloth", "60g", "--method", "lawn", *BOOK)
    sheets = [lawn(*asked, "--target", words).stdout for words in ("café", "58 -8 8 D65/10")]
    told = [re.findall(r"ironed\s+miss is\s+(\S+)", sheet) for sheet in sheets]
    assert told == [["1.75"], ["3"]]


def test_a_trial_that_raises_every_promise_is_named_with_the_way_out(lawn: Command) -> None:
    one = ("--method", "lawn", *BOOK)
    for i, reading in enumerate(("58 -8 8", "58.5 -8 8", "40 0 20")):
        words = ("trial", "navy 0.4 + marigold 0.4", "--reading", reading, "--target", "58 -8 8")
        done = lawn(*words, "--job", f"pot {i}", "--date", f"2026-05-0{i + 1}", *one)
    strike = ["book", "strike", "--job", "pot 2", *BOOK]
    assert strike in [shlex.split(words)[:6] for words in next_steps(done)]
    words = ("trial", "navy 0.401 + marigold 0.4", "--reading", "58 -8 8", "--target", "58 -8 8")
    later = lawn(*words, "--job", "pot 2", "--date", "2026-05-05", *one)
    told = lawn("predict", "navy 1", *one)
    assert later.stderr.count("pot 2 lies") == told.stderr.count("pot 2 lies") == 1
    strike.insert(2, "navy 0.4 + marigold 0.4")  # not what was dyed last, which is shown alike
    assert [shlex.split(words) for words in next_steps(told)] == [
        ["book", "show", "pot 2", *BOOK], [*strike, "--method", "lawn"],
    ]  # fmt: skip
    other = ("--reading", "40 0 20", "--job", "pot 2", "--date", "2026-05-06", *BOOK)
    lawn("trial", "navy 0.4 + marigold 0.4", "--method", "linen", *other)
    struck = lawn(*strike, "--method", "lawn")
    assert "Struck: navy 0.40 + marigold 0.40 (first bath, 2026-05-03)" in struck.stderr
    assert "pot" not in lawn("predict", "navy 1", *one).stderr
    assert lawn("book", "strike", "navy 1", "--job", "pot 1", *BOOK).returncode == 2


@pytest.mark.slow
def test_a_job_is_of_its_method_and_its_trials_stay_learnt(lawn: Command) -> None:
    def told(words: str) -> str:
        done = lawn("predict", "navy 0.4 + marigold 0.4", *shlex.split(words), *BOOK)
        return done.stdout.splitlines()[1]

    before = told("--method linen"), told("--method lawn")
    words = ("trial", "navy 0.4 + marigold 0.4", "--reading", "60 -8 8", "--target", "58 -8 8")
    kept = lawn(*words, "--job", "sage", "--method", "linen", *BOOK)
    assert kept.returncode == 0, kept.stderr
    asked = "book repeat sage --cloth 100g --keep --book w.dyebook --method linen"
    assert asked in next_steps(kept)
    assert lawn("book", "sign", "café", "#7d8a6e", *BOOK).returncode == 0
    after = told("--method linen"), told("--method lawn")
    assert before[1] == after[1]
    assert before[0] != after[0], "signing a standard puts nothing back"
    done = lawn("predict", "navy 0.4 + marigold 0.4", "--method", "linen", *BOOK)
    assert "0 mixes, 1 trial)" in done.stderr
    shown = lawn("book", "show", "sage", *BOOK).stdout
    assert "missed by" in " ".join(shown.split())


def test_rows_are_struck_tables_replaced_and_all_of_it_taken_back(lawn: Command) -> None:
    def swatches() -> str:
        return lawn("book", "list", *BOOK).stdout

    def used() -> str:
        return lawn("predict", "navy 1", "--method", "lawn", *BOOK).stderr

    first, before = swatches(), used()
    struck = lawn("book", "strike", "navy 1.00", "--method", "lawn", "--note", "spilt", *BOOK)
    assert struck.returncode == 0, struck.stderr
    assert "4 struck" in swatches(), "two readings each of two squares"
    count = int(re.findall(r"lawn \((\d+) squares", before)[0])
    assert f"lawn ({count - 2} squares" in used(), "no answer rests on them"
    assert lawn("book", "add", "lawn.csv", *BOOK).returncode == 2
    again = lawn("book", "add", "lawn.csv", "--replace", "lawn.csv", "--method", "lawn", *BOOK)
    assert again.returncode == 0, again.stderr
    assert "replaced)" in swatches()
    assert "struck navy 1.00: spilt" in lawn("book", "show", *BOOK).stdout
    assert "spilt" in lawn("book", "search", "spilt", *BOOK).stdout
    lost = lawn("book", "repeat", "sgae", "--cloth", "90g", *BOOK)
    assert lost.returncode == 2
    assert "no job is called 'sgae'" in lost.stderr, "no method would mend that"
    for undone in ("swatches lawn.csv", "struck navy 1.00: spilt"):
        assert undone in lawn("book", "undo", *BOOK).stderr
    assert swatches() == first
    assert used() == before


def test_a_swatch_is_struck_in_the_method_that_has_it(lawn: Command) -> None:
    """Only where two have it is asked which."""
    rows = (lawn.folder / "lawn.csv").read_text(encoding="utf-8").replace("navy", "plum")
    (lawn.folder / "plum.csv").write_text(rows.replace("cloth: lawn", "cloth: jute"), "utf-8")
    assert lawn("book", "add", "plum.csv", *BOOK).returncode == 0
    struck = lawn("book", "strike", "plum 1.00", *BOOK)
    assert struck.returncode == 0, struck.stderr
    assert "jute (" in struck.stderr
    either = lawn("book", "strike", "navy 1.00", *BOOK)
    assert either.returncode == 2
    assert [shlex.split(words)[-1] for words in next_steps(either)] == ["lawn", "linen"]


def test_a_job_is_found_however_it_is_spaced(lawn: Command) -> None:
    job = ("--job", "sage  runner")
    bath = lawn("bath", "navy 0.5", "--cloth", "60g", *job, "--method", "linen", *BOOK)
    assert bath.returncode == 0, bath.stderr
    for words in (
        ("book", "repeat", "sage   runner", "--cloth", "30g"),
        ("book", "show", " sage runner"),
        ("bath", "navy 1", "--cloth", "30g", *job),
    ):
        done = lawn(*words, *BOOK)
        assert done.returncode == 0, done.stderr
    assert "linen (" in done.stderr, "the method of its work"
    assert lawn("bath", "navy 0.123456789", "--cloth", "60g", *job, *BOOK).returncode == 0
    found = lawn("book", "search", "runner 0.123", *BOOK).stdout
    assert "navy 0.123 on linen" in found, "no more digits than anybody measures"


def test_match_goes_on_from_the_last_pot_of_a_colour(lawn: Command) -> None:
    """What that pot tells of its own recipe is in no fit: the recipe is not offered as it was."""
    of = ("--target", "52 -8 12 D65/10", "--method", "linen", *BOOK)
    asked = ("match", "52.1 -8 12 D65/10", "--method", "linen", "--cloth", "60g", *BOOK)
    recipe = shlex.split(next_steps(lawn(*asked))[0])[1]
    done = lawn("trial", recipe, "--reading", "57 -9 15", "--job", "sage", *of)
    assert done.returncode == 0, done.stderr
    (told,) = [line for line in done.stdout.split("\n") if line.startswith("Next ")]
    corrected = told.removeprefix("Next   ").partition("  on paper")[0]
    again = lawn(*asked)
    lines = again.stdout.split("\n")
    assert lines[1].startswith(f"1  {corrected}  ")
    assert re.search(rf"your pot of {date.today()}, corrected \(\d+\.\d off\)$", lines[2])
    bath = shlex.split(next_steps(again)[0])
    assert Recipe.parse(bath[1]) != Recipe.parse(recipe)
    assert str(Recipe.parse(bath[1])) == corrected
    (promised,) = re.findall(r"(\d+\.\d) in the pot", lines[1])
    sheet = " ".join(lawn(*bath).stdout.split())
    assert f"Expect ΔE2000 {promised} likely in the pot" in sheet, "as match promised"
    of_job = lawn("book", "repeat", "sage", "--cloth", "60g", "--method", "linen", *BOOK)
    (repeated,) = (shlex.split(w) for w in next_steps(of_job) if w.startswith("trial"))
    assert str(Recipe.parse(repeated[1])) == corrected
    spoons = lawn(*asked, "--measure", "spoons").stdout.split("\n")[2]
    assert re.search("tsp: your pot of .*, corrected", spoons)
    for other in ("--avoid", "black"), ("--method", "lawn"):
        assert "your pot" not in lawn(*asked, *other).stdout


def test_a_second_cloth_borrows_in_the_book(lawn: Command) -> None:
    rows = (lawn.folder / "lawn.csv").read_text(encoding="utf-8")
    one = of_dyes(rows).splitlines()
    one += [r for r in rows.splitlines() if re.search(r",(marigold|navy) 1,", r)]
    silk = "\n".join(one).replace("cloth: lawn", "cloth: viscose")
    (lawn.folder / "viscose.csv").write_text(silk, encoding="utf-8")
    added = lawn("book", "add", "viscose.csv", "--borrow", "lawn", *BOOK)
    assert added.returncode == 0, added.stderr
    done = lawn("match", "45 0 15", "--method", "viscose", *BOOK)
    assert done.returncode == 0, done.stderr
    assert "on what lawn lends" in done.stderr


def test_only_adding_swatches_begins_a_book(run: Command) -> None:
    for words in (("stock", "navy"), ("book", "cloth", "lawn"), ("book", "sign", "x", "#7d8a6e")):
        done = run(*words, "--book", "mistyped.dyebook")
        assert (done.returncode, "no such book" in done.stderr) == (2, True)
    bad = run("book", "add", "nowhere.csv", "--book", "mistyped.dyebook")
    assert bad.returncode == 2
    assert list(run.folder.glob("*.dyebook")) == []


def test_a_loose_table_beside_a_book_is_not_used_unsaid(lawn: Command) -> None:
    lawn("book", "backup", "copy.dyebook", *BOOK)
    assert "of w.dyebook" in lawn("predict", "navy 1", "--method", "lawn").stderr
    (lawn.folder / "loose.csv").write_bytes((lawn.folder / "lawn.csv").read_bytes())
    refused = lawn("predict", "navy 1")
    assert refused.returncode == 2
    assert refused.stderr.count("--book w.dyebook") == 1, "as a command, and not twice"
    assert "  dyemix predict 'navy 1' --swatches loose.csv\n" in refused.stderr
    (lawn.folder / "w.dyebook").unlink()
    (lawn.folder / "copy.dyebook").unlink()
    two = lawn("predict", "navy 1")
    assert two.returncode == 2
    assert "  dyemix predict 'navy 1' --swatches loose.csv\n" in two.stderr


@pytest.mark.parametrize("fibre", ["cotton 55 %, wool 45 %", "cotton 120 %", "polyester"])
def test_a_cloth_of_what_no_bath_takes_is_refused_before_it_is_kept(
    lawn: Command, fibre: str
) -> None:
    """As every sheet refuses it; shares that are not said are asked for on the sheet."""
    refused = lawn("book", "cloth", "towel", "--fibre", fibre, *BOOK)
    sheet = lawn("bath", "navy 1", "--cloth", "60g", "--no-swatches", "--fibre", fibre)
    assert (refused.returncode, refused.stderr) == (2, sheet.stderr)
    assert "towel" not in lawn("book", "list", *BOOK).stdout
    kept = lawn("book", "cloth", "towel", "--fibre", "cotton linen", *BOOK)
    assert "towel" in kept.stdout
