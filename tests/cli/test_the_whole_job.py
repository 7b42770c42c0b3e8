"""From a table with slips to the tenth repeat, as a dyer does it: each of what once stopped her."""

from __future__ import annotations

import re
import shlex
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from command import Command, Done, next_steps

from dyemix.dyebook.book import DyeBook

BOOK = ("--book", "w.dyebook")
#: Invented squares, D65/10°.
SQUARES = """# light: D65/10
swatch,recipe,L*,a*,b*,hex
1,undyed,93.1,0.2,3.9,
2,gold 4,66.2,24.9,70.8,
3,gold 1,75.9,13.6,57.0,
4,gold 0.25,84.1,6.0,36.9,
5,gold 0.06,89.2,1.9,18.8,
6,teal 4,38.0,-20.5,-24.0,
7,teal 1,55.3,-22.4,-20.1,
8,teal 0.25,73.0,-16.0,-11.5,
9,teal 0.06,84.9,-7.5,-3.3,
10,gold 0.5 + teal 0.5,58.6,-24.6,13.6,
"""


def steps(done: Done, reading: str = "58 -24 12") -> list[list[str]]:
    """The commands that were printed, on either stream, with a reading where one is asked for."""
    return [shlex.split(words) for words in next_steps(done, reading)]


def begun(run: Command, text: str = SQUARES, *more: str) -> Done:
    (run.folder / "mine.csv").write_text(text, encoding="utf-8")
    return run("book", "add", "mine.csv", *BOOK, *more)


# Slips --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("was", "slip", "square"),
    [
        ("3,gold 1,75.9,13.6,57.0,", "3,gold 0.25,75.9,13.6,57.0,", "gold"),
        ("7,teal 1,55.3,-22.4", "7,teal 1,55.3,22.4", "teal 1.00"),
        ("8,teal 0.25,73.0,-16.0", "8,teal 0.25,37.0,-16.0", "teal 0.25"),
        ("-24.6,13.6,", "24.6,13.6,", "gold 0.50 + teal 0.50"),
        ("1,undyed,93.1", "1,undyed,39.1", "undyed"),
    ],
)
def test_a_slip_is_named_when_the_table_comes_in(
    run: Command, was: str, slip: str, square: str
) -> None:
    table = SQUARES.replace(was, slip)
    if square == "gold":
        table = table.replace("4,gold 0.25,", "4,gold 1,")
    told = begun(run, table)
    assert told.returncode == 0, told.stderr
    (found,) = (line for line in told.stderr.splitlines() if "A slip?" in line)
    assert square in found
    assert "mine.csv, row" in found
    assert found in " ".join(run("fit", *BOOK).stdout.split())
    sound = begun(run, SQUARES, "--replace", "mine.csv")
    assert "A slip?" not in sound.stderr


@pytest.mark.parametrize(
    ("was", "slip", "says"),
    [
        ("3,gold 1,", "3,glod 1,", "is 'gold' meant"),
        ("gold 0.5 + teal", "gold 0.5 + tael", "is 'teal' meant"),
    ],
)
def test_a_name_mistyped_is_asked_about(run: Command, was: str, slip: str, says: str) -> None:
    done = begun(run, SQUARES.replace(was, slip))
    assert says in done.stderr or "one dye or two?" in run("fit", *BOOK, "--detail").stdout


@pytest.mark.parametrize("typed", ["75,9,13.6,57.0", "75.9,13,6,57.0", "75,9,13,6,57,0"])
def test_a_decimal_comma_between_commas_is_named(run: Command, typed: str) -> None:
    """Cells shift then: L* 75,9 would be read as L* 75, a* 9."""
    done = begun(run, SQUARES.replace("75.9,13.6,57.0", typed))
    assert done.returncode == 2
    assert re.search(r"mine.csv, row 5: .* is (75,9|13,6) one number\? Write", done.stderr)
    assert not (run.folder / "w.dyebook").exists()


def test_a_channel_at_its_end_is_said_to_be_a_bound(run: Command) -> None:
    rows = "undyed,#efece4\nred 4,#c0001d\nred 1,#d8444f\nred 0.25,#e79d9c\n"
    assert begun(run, f"recipe,hex\n{rows}").returncode == 0
    assert "row 3: a channel at 00 or ff is censored" in run("fit", *BOOK).stdout


def test_a_table_in_german_with_decimal_commas_is_read(run: Command) -> None:
    table = SQUARES.replace(",", ";").replace(".", ",")
    table = table.replace("swatch;recipe", "Muster;Rezept").replace("undyed", "ungefärbt")
    table = table.replace("# light: D65/10", "# Licht: D65/10").replace("gold", "Gold Nr. 3")
    done = begun(run, table, "--method", "Leinen")
    assert done.returncode == 0, done.stderr
    same = run("match", "60 -20 15", "--method", "Leinen").stdout
    assert begun(run, SQUARES, "--method", "other", "--name", "english").returncode == 0
    in_english = run("match", "60 -20 15", "--method", "other").stdout
    assert "gold nr. 3" in same
    assert same.splitlines()[1].split("  ")[-1] == in_english.splitlines()[1].split("  ")[-1]


def test_a_table_still_to_fill_in_is_no_rival_of_a_book(run: Command) -> None:
    assert run("start", "gold, teal", "--method", "lawn", "-o", "plan.csv").returncode == 0
    unread = run("match", "60 -20 15")
    assert unread.returncode == 2
    assert "none of its" in unread.stderr, "alone it is what is meant"
    assert begun(run).returncode == 0
    assert run("match", "60 -20 15").returncode == 0
    (run.folder / "more.csv").write_text(SQUARES, encoding="utf-8")
    assert "a dye book and a swatch table" in run("match", "60 -20 15").stderr
    assert run("match", "60 -20 15", "--method", "mine").returncode == 2, "no method of that name"
    named = run("match", "60 -20 15", "--method", "unnamed")
    assert "swatch table" not in named.stderr, "a method is of a book"


def test_a_stock_of_a_dye_that_is_not_there_is_refused(run: Command) -> None:
    assert begun(run).returncode == 0
    done = run("match", "60 -20 15", "--stock", "glod 2, teal 1", *BOOK)
    assert (done.returncode, done.stdout) == (2, "")
    assert "'glod'" in done.stderr
    assert "did you mean gold?" in done.stderr
    assert run("match", "60 -20 15", "--stock", "gold 2", "--only", "teal", *BOOK).returncode == 0


def test_of_undyed_cloth_nothing_is_to_be_poured(run: Command) -> None:
    assert begun(run).returncode == 0
    done = run("match", "93.1 0.2 3.9 D65/10", *BOOK)
    assert "nothing to pour" in done.stdout
    assert "()" not in done.stdout
    assert not steps(done)


@pytest.mark.parametrize("shelf", [("--swatches", "mine.csv"), BOOK])
def test_what_is_in_hand_is_poured_at_its_own_strength(
    run: Command, shelf: tuple[str, ...]
) -> None:
    assert begun(run).returncode == 0
    assert run("stock", "gold", "--strength", "3", *BOOK).returncode == 0, "another bottle"
    jars = ("--in-hand", "gold 400 mL 2 %, teal 400 mL 4 %", "--cloth", "100g")
    done = run("match", "60 -20 15", *jars, *shelf)
    (bath,) = steps(done)
    assert bath[bath.index("--stock") + 1] == "gold 2, teal 4"
    amounts = dict(re.findall(r"(gold|teal) (\d\.\d+)", bath[1]))
    ml = dict(re.findall(r"(gold|teal) ([\d.]+) mL", done.stdout))
    for dye, pct in (("gold", 2.0), ("teal", 4.0)):
        assert float(ml[dye]) == pytest.approx(100 * float(amounts[dye]) / pct, abs=0.1)


def test_a_dye_whose_stock_is_not_named_is_poured_of_its_bottle(run: Command) -> None:
    assert begun(run).returncode == 0
    for dye in ("gold", "teal"):
        assert run("stock", dye, "--strength", "4", *BOOK).returncode == 0
    bath = ("bath", "gold 1 + teal 1", "--cloth", "100g", "--stock")
    sheet = run(*bath, "gold 2", *BOOK).stdout
    assert re.findall(r"(\d) % stock", sheet) == ["2", "4"]
    assert re.findall(r"(\d) % stock", run(*bath, "2", *BOOK).stdout) == ["2", "2"], "of all"


def test_a_repeat_names_one_bottle_and_pours_the_others_as_then(run: Command) -> None:
    assert begun(run, "# alkali: after\n# liquor ratio: 20\n" + SQUARES).returncode == 0
    job = ("--stock", "gold 2, teal 3", "--job", "moss", *BOOK)
    assert run("bath", "gold 1 + teal 1", "--cloth", "100g", *job).returncode == 0
    again = ("book", "repeat", "moss", "--cloth", "100g", *BOOK, "--stock")
    assert re.findall(r"(\d) % stock", run(*again, "gold 4").stdout) == ["4", "3"]
    assert re.findall(r"(\d) % stock", run(*again, "5").stdout) == ["5", "5"], "of all"
    slip = run(*again, "god 4")
    assert slip.returncode == 2
    assert "did you mean gold?" in slip.stderr


def test_a_table_that_is_still_blank_is_not_kept(run: Command) -> None:
    """Once filled in, it would have had to stand for itself."""
    blank = re.sub(r",[\d.,-]+,$", ",,,,", SQUARES, flags=re.MULTILINE)
    refused = begun(run, blank)
    assert refused.returncode == 2
    assert "none of its 10 swatches has been read yet" in refused.stderr
    assert begun(run).returncode == 0


def test_squares_of_one_depth_on_a_second_cloth_are_told_to_borrow(run: Command) -> None:
    """By themselves they are not fitted, and what is printed to go on with must not be refused."""
    assert begun(run, "# cloth: lawn\n" + SQUARES).returncode == 0
    table = "# cloth: viscose\n# light: D65/10\nrecipe,L*,a*,b*\nundyed,92,0.4,3\n"
    table += "gold 1,74.1,15.2,58.8\nteal 1,52.6,-23.6,-21.5\n"
    (run.folder / "second").mkdir()
    (run.folder / "second" / "mine.csv").write_text(table, encoding="utf-8")
    taken = run("book", "add", "second/mine.csv", *BOOK)
    assert taken.returncode == 2, "a table of the other cloth is called so"
    (again,) = steps(run("book", "add", "second/mine.csv", *BOOK, "--name", "second"))
    assert again[again.index("--borrow") + 1] == "lawn"
    (fit,) = steps(run(*again))
    assert fit[0] == "fit"
    assert "To match a colour" in run(*fit).stdout


def test_a_square_read_again_was_dyed_as_it_was(run: Command) -> None:
    """Stock of 4 % was poured of at 1 % once any square was read anew: four times as much."""
    head = "# cloth: lawn\n# stock_pct: 4\n# cloth_g: 12\n# geometry: 45/0\n"
    assert begun(run, head + SQUARES).returncode == 0
    again = ("--reading", "75.5 13.9 57.3", "--note", "read again")
    assert run("book", "strike", "3", *again, *BOOK).returncode == 0
    told = run("predict", "gold 3 mL", *BOOK).stderr
    assert "gold 1.00 % owf: on 12 g of dry cloth, as your swatches weigh, of stock at 4 %" in told
    with DyeBook(run.folder / "w.dyebook") as book:
        (new,) = [r for r in book.swatches().readings if r.swatch == "3"]
    assert new.conditions["cloth"] == "lawn"
    assert "geometry" not in new.conditions, "that was of the reading before"
    # Nor do squares that do not say take away what the others say.
    (run.folder / "more.csv").write_text("# cloth: lawn\n" + SQUARES[17:], encoding="utf-8")
    assert run("book", "add", "more.csv", *BOOK).returncode == 0
    assert "of stock at 4 %" in run("predict", "gold 3 mL", *BOOK).stderr


def test_a_swatch_is_struck_however_its_recipe_is_typed_and_a_reading_is_of_one(
    run: Command,
) -> None:
    assert begun(run, SQUARES + "again,gold 1,75.5,13.9,57.3,\n").returncode == 0
    strike = ("book", "strike")
    assert run(*strike, "Gold 1,0", *BOOK).stderr.count("gold 1.00 (mine.csv") == 2
    assert run("book", "undo", *BOOK).returncode == 0
    refused = run(*strike, "gold 1", "--reading", "75 13 57", *BOOK)
    assert refused.returncode == 2, "one reading of two squares: the other would be lost"
    (one,) = re.findall(r"gold 1\.00 \(mine\.csv again\)", refused.stderr)
    assert run(*strike, one, "--reading", "75 13 57", *BOOK).stderr.count("gold 1.00") == 1
    (run.folder / "more.csv").write_text(SQUARES.replace("gold 1", "gold 2"), encoding="utf-8")
    assert run("book", "add", "more.csv", *BOOK).returncode == 0
    refused = run(*strike, "3", *BOOK)
    assert "several pieces are called '3'" in refused.stderr, "of two tables, by other recipes"
    assert "'gld 1': is it 'gold 1'?" in run(*strike, "gld 1", *BOOK).stderr
    (run.folder / "fine.csv").write_text(
        "# light: D65/10\nrecipe,L*,a*,b*\nundyed,92,0,3\nplum 0.501,60,9,9\nplum 0.502,60,9,9\n"
    )
    assert run("book", "add", "fine.csv", *BOOK).returncode == 0
    refused = run(*strike, "plum 0.50", *BOOK)
    assert "name one, as plum 0.501; plum 0.502." in refused.stderr
    assert run(*strike, "plum 0.501", *BOOK).stderr.count("plum") == 1


@pytest.mark.parametrize(
    "words", ["stock god --strength 2", "book dye God --lot 7", "book stocks bottles.csv"]
)
def test_a_dye_that_may_be_misspelt_is_asked_after(run: Command, words: str) -> None:
    """A bottle of 'god' would be poured of by nothing."""
    assert begun(run).returncode == 0
    bottles = "dye,stock_pct\ngod,2\ncoral,2\nteel,2\n"
    (run.folder / "bottles.csv").write_text(bottles, encoding="utf-8")
    done = run(*shlex.split(words), *BOOK)
    assert "no swatch of 'god' in this book: is it gold?" in done.stderr
    assert "coral" not in done.stderr, "a dye of no swatch yet"
    assert ("is it teal?" in done.stderr) == ("bottles" in words)
    (undo,) = steps(done)  # of all of them: each is one thing done
    assert run(*undo).returncode == 0
    assert "god" not in run("book", "list", *BOOK).stdout
    (run.folder / "bottles.csv").write_text("dye,stock_pct\ngold,2\n", encoding="utf-8")
    assert "is it" not in run(*shlex.split(words.replace("od", "OLD")), *BOOK).stderr


@pytest.mark.parametrize(
    ("words", "says"),
    [("stock gold --strength '2 %'", "--strength: '2 %' is not a number."),
     ("match '60 -20 15' --cloth 240", "--cloth: '240' is not a weight")],
)  # fmt: skip
def test_what_an_option_does_not_take_names_the_option(run: Command, words: str, says: str) -> None:
    refused = run(*shlex.split(words))
    assert refused.returncode == 2
    assert says in refused.stderr


def test_a_bath_of_no_weight_asks_how_much_cloth(run: Command) -> None:
    assert begun(run).returncode == 0
    refused = run("bath", "gold 1", *BOOK)
    assert "say how much dry cloth the bath is for" in refused.stderr
    assert "Spoons" not in refused.stderr, "none was typed"
    (bath,) = steps(refused)
    assert run(*bath).returncode == 0


def test_commands_and_options_in_capitals_are_the_same(run: Command) -> None:
    (run.folder / "mine.csv").write_text(SQUARES, encoding="utf-8")
    plain = run("match", "60 -20 15", "--swatches", "mine.csv")
    assert run("MATCH", "60 -20 15", "--Swatches", "mine.csv").stdout == plain.stdout


def test_what_to_buy_says_how_much_of_the_cloth_takes_dye(run: Command) -> None:
    assert begun(run, "# cloth: lawn\n" + SQUARES).returncode == 0
    run("book", "cloth", "lawn", "--fibre", "cotton 65 %, polyester 35 %", *BOOK)
    (run.folder / "wanted.csv").write_text("colour\n70 10 40\n", encoding="utf-8")
    asked = ("reach", "--fewest", "--targets", "wanted.csv", "--cloth", "60g", *BOOK)
    assert "60 g of cloth, 65 % of it taking dye: 39 g." in run(*asked).stderr


def test_a_day_of_jobs_knows_what_each_was_for(run: Command) -> None:
    assert begun(run).returncode == 0
    (run.folder / "wanted.csv").write_text("name,colour\nsage,60 -20 15 D65/10\n", encoding="utf-8")
    (day,) = steps(run("match", "--targets", "wanted.csv", "-o", "day.csv", *BOOK))
    assert ",()," not in (run.folder / "day.csv").read_text(encoding="utf-8"), "no warning is blank"
    (trial,) = steps(run(*day), "58 -24 12")
    assert trial[trial.index("--job") + 1] == "sage"
    assert "--target" not in trial
    assert "L* 60.0, a* -20.0, b* 15.0 (D65/10°)" in run(*trial).stdout
    undone = [run("book", "undo", *BOOK).stderr for _ in range(2)]
    assert ["trial" in undone[0], "sheet" in undone[1]] == [True, True], (
        "one thing done, one undone"
    )
    assert "no job is called" in run("book", "show", "sage", *BOOK).stderr
    two = "job,recipe,cloth_g\nwhite,undyed,30\nochre,gold 1,60\n"
    (run.folder / "two.csv").write_text(two, encoding="utf-8")
    (trial,) = steps(run("bath", "two.csv", *BOOK), "58 -24 12")
    assert trial[:2] == ["trial", "gold 1"], "an undyed piece is no trial"


@pytest.mark.parametrize(
    "words", ["match '60 -20 15'", "fit", "trial 'gold 1' --reading '70 9 50' --target '#c8a040'"]
)
def test_a_picture_that_cannot_be_is_refused_before_the_answer(run: Command, words: str) -> None:
    (run.folder / "mine.csv").write_text(SQUARES, encoding="utf-8")
    done = run(*shlex.split(words), "--draw", "answer.jpg")
    assert (done.returncode, done.stdout) == (2, "")
    assert run(*shlex.split(words), "--draw", "answer.png").returncode == 0
    assert (run.folder / "answer.png").exists()


# A finished piece ---------------------------------------------------------------------------------


def judged(run: Command, reading: str, *more: str) -> Done:
    words = ("trial", "gold 0.5 + teal 0.5", "--reading", reading, *BOOK, *more)
    done = run(*words)
    assert done.returncode == 0, done.stderr
    return done


def test_what_is_excellent_stays_and_what_is_a_slip_corrects_nothing(run: Command) -> None:
    assert begun(run).returncode == 0
    wanted = ("--target", "58.6 -24.6 13.6 D65/10")
    fine = judged(run, "58.2 -24.4 13.0", *wanted)
    assert re.search("(Excellent|Within your own scatter).*change nothing", fine.stdout)
    assert not re.search("^Next", fine.stdout, re.MULTILINE)
    far = judged(run, "40 10 30", *wanted)
    assert "nothing is corrected" in far.stdout
    assert not [words for words in steps(far) if words[0] == "bath"]
    (back,) = (words for words in steps(far) if words[:2] == ["book", "strike"])
    assert run(*back).returncode == 0, "a slip of the reading teaches nothing"
    off = judged(run, "52 -22 9", *wanted)
    assert re.search("^Next", off.stdout, re.MULTILINE)
    assert re.search(r"miss|Miss", off.stdout)


def test_a_second_bath_leads_on_and_is_repeated_after_the_first(run: Command) -> None:
    how = "# alkali: alkali after the dye\n# liquor ratio: 20:1\n"
    assert begun(run, how + SQUARES).returncode == 0
    job = ("--job", "sage", "--target", "58.6 -24.6 13.6 D65/10")
    pale = judged(run, "65 -21 15", *job, "--cloth", "120g")
    assert "second bath" in pale.stdout
    (bath,) = (words for words in steps(pale) if words[0] == "bath")
    assert bath[bath.index("--over") + 1] == "65 -21 15"
    sheet = run(*bath)
    assert sheet.returncode == 0, sheet.stderr
    (trial,) = (words for words in steps(sheet) if words[0] == "trial")
    assert "--over" in trial
    done = run(*trial)
    assert "second bath" in done.stdout, done.stderr
    again = run("book", "repeat", "sage", "--cloth", "60g", *BOOK)
    assert again.returncode == 0, again.stderr
    first, second = (words for words in steps(again) if words[0] == "trial")
    assert "--over" not in first
    assert "--over" in second
    assert run(*first).returncode == run(*second).returncode == 0


def test_a_job_is_told_its_colour_once(run: Command) -> None:
    """Named in the book, it fills Aim and Expect; a trial without a date is of today."""
    assert begun(run).returncode == 0
    assert run("book", "sign", "café", "58.6 -24.6 13.6", *BOOK).returncode == 0
    job = ("--job", "sage", *BOOK)
    recipe = "gold 0.5 + teal 0.5"
    first = run("bath", recipe, "--cloth", "120g", "--target", "café", *job)
    assert re.search(r"Aim +.*58\.6", first.stdout), first.stderr
    assert "Expect    ΔE2000" in first.stdout
    assert run("trial", recipe, "--reading", "56 -24 12", "--target", "café", *job).returncode == 0
    again = run("bath", recipe, "--cloth", "120g", *job)
    assert "Expect    ΔE2000" in again.stdout, "the colour of the job"
    assert run("trial", recipe, "--reading", "58 -24 13", *job).returncode == 0
    assert run("book", "show", "sage", *BOOK).stdout.count(str(date.today())) >= 3
    unsaid = run("trial", recipe, "--reading", "58 -24 13", "--swatches", "mine.csv")
    assert (unsaid.returncode, "--target" in unsaid.stderr) == (2, True)


@pytest.mark.parametrize(
    ("words", "meant"),
    [("3.5.2026", "2026-05-03"), ("3 May 2026", "2026-05-03"), ("03/05/2026", "")],
)
def test_dates_in_the_usual_orders(run: Command, words: str, meant: str) -> None:
    assert begun(run).returncode == 0
    recipe = ("trial", "teal 1", "--reading", "55 -22 -20", "--target", "55 -22 -20", *BOOK)
    done = run(*recipe, "--date", words)
    assert done.returncode == (0 if meant else 2)
    assert (meant or "could be 2026-05-03 or 2026-03-05") in done.stdout + done.stderr


def test_a_square_to_learn_from_is_kept_without_a_colour_wanted(run: Command) -> None:
    """From `next` to its bath, and on to its reading, as each was printed."""
    assert begun(run).returncode == 0
    words = ["next", "#7d8a6e", "--count", "1", *BOOK]
    for name in ("bath", "trial"):
        done = run(*words)
        assert done.returncode == 0, done.stderr
        words = next(found for found in steps(done) if found[0] == name)
    done = run(*words)
    assert "from what was predicted" in done.stdout, done.stderr
    assert "1 trial)" in run("fit", *BOOK).stderr


def test_a_second_bath_without_a_colour_wanted_is_compared_over_its_piece(run: Command) -> None:
    assert begun(run).returncode == 0
    piece = "40 -10 -20"  # next to no dye leaves it as it was
    done = run("trial", "gold 0.001", "--over", piece, "--reading", piece, *BOOK)
    assert float(done.stdout.split()[0]) < 1.0, done.stdout


def test_the_fibre_of_a_cloth_is_told_once(run: Command) -> None:
    assert (
        begun(run, "# cloth: lawn\n# alkali: after\n# liquor ratio: 20\n" + SQUARES).returncode == 0
    )
    bath = ("bath", "gold 1", "--cloth", "60g", *BOOK)
    assert "what the cloth is made of is not known" in run(*bath).stdout
    assert run("book", "cloth", "lawn", "--fibre", "cotton", *BOOK).returncode == 0
    assert "what the cloth is made of is not known" not in run(*bath).stdout
    # % counts on the 65 % of 60 g that take dye, by itself, in a day of baths, and repeated.
    assert run("book", "cloth", "lawn", "--fibre", "cotton 65 %, polyester 35 %", *BOOK).stdout
    (run.folder / "jobs.csv").write_text("job,recipe,cloth_g\na,gold 1,60\n", encoding="utf-8")
    assert run("book", "recipe", "gold 1", "--job", "b", *BOOK).returncode == 0
    again = ("book", "repeat", "b", "--cloth", "60g", *BOOK)
    for asked in (bath, ("bath", "jobs.csv", *BOOK), again):
        assert "39 mL" in run(*asked).stdout, asked
    found = run("match", "70 10 40", "--cloth", "60g", "--max-dyes", "1", *BOOK)
    assert "for 60 g, 65 % of it taking dye" in found.stdout
    (poured,) = set(re.findall(r"gold (\S+ mL)", found.stdout))
    assert poured in run(*steps(found)[0]).stdout
    assert "is gold 1.00 % owf" in run("predict", "gold 39 mL", "--cloth", "60g", *BOOK).stderr
    kept = ("book", "recipe", "gold 39 mL", "--cloth", "60g", "--job", "c", *BOOK)
    assert "is gold 1.00 % owf" in run(*kept).stderr


def test_what_a_job_is_measured_for_takes_dye_as_its_own_sheet_says(run: Command) -> None:
    """Half of 60 g takes dye, where the swatches do not say: 30 mL of a 1 % stock are 1 %."""
    own = "# cloth: lawn\n# alkali: after\n# liquor ratio: 20\n" + SQUARES
    assert begun(run, own).returncode == 0
    job = ("--job", "towel", *BOOK)
    half = ("--fibre", "cotton 50 %, polyester 50 %")
    assert "30 mL" in run("bath", "gold 1", "--cloth", "60g", *half, *job).stdout
    reading = ("--reading", "66.8 12.4 52.2", "--target", "60 20 50")
    assert "is gold 1.00 % owf" in run("trial", "gold 30 mL", *reading, *job).stderr
    found = run("match", "70 10 40", "--max-dyes", "1", *job)
    assert "for 60 g, 50 % of it taking dye" in found.stdout
    (poured,) = set(re.findall(r"gold (\S+ mL)", found.stdout))
    (bath,) = (step for step in steps(found) if step[0] == "bath")
    assert bath[bath.index("--fibre") + 1] == half[1]
    assert poured in run(*bath).stdout


def test_a_stock_is_made_as_strong_as_the_book_has_it(run: Command) -> None:
    assert begun(run, "# stock_pct: 2\n" + SQUARES).returncode == 0
    assert "gold 1 %" in run("stock", "gold").stdout, "of no book"
    assert "gold 2 %" in run("stock", "gold", *BOOK).stdout
    assert "gold 4 %" in run("stock", "gold", "--strength", "4", *BOOK).stdout
    assert "gold 4 %" in run("stock", "gold", *BOOK).stdout
    assert "0 %" in run("stock", "gold", "--strength", "0", *BOOK).stderr
    other = "# stock_pct: 3\n# cloth: linen\n" + SQUARES
    (run.folder / "linen.csv").write_text(other, encoding="utf-8")
    assert run("book", "add", "linen.csv", "--method", "linen", *BOOK).returncode == 0
    assert "gold 4 %" in run("stock", "gold", *BOOK).stdout, "of its bottle"
    refused = run("stock", "teal", *BOOK)
    assert (refused.returncode, refused.stdout) == (2, "")
    assert [step[-1] for step in steps(refused)] == ["2", "3"]
    assert "teal 3 %" in run(*steps(refused)[1]).stdout


# Repeats ------------------------------------------------------------------------------------------


def test_a_job_on_two_cloths_is_repeated_as_each_was(lawn: Command) -> None:
    for name, recipe in (("lawn", "navy 0.5"), ("linen", "marigold 0.5")):
        bath = ("bath", recipe, "--cloth", "60g", "--job", "set", "--method", name, *BOOK)
        assert lawn(*bath).returncode == 0
    refused = lawn("book", "repeat", "set", "--cloth", "30g", *BOOK)
    assert refused.returncode == 2
    sheets = [lawn(*words) for words in steps(refused)]
    assert [done.returncode for done in sheets] == [0, 0]
    assert ["\nnavy " in done.stdout for done in sheets] == [True, False]
    only_navy = lawn("predict", "navy 1", *BOOK)
    assert only_navy.returncode == 2, "no job says which"


def test_a_blank_is_refused_with_the_command_that_fills_it(run: Command) -> None:
    assert begun(run).returncode == 0
    assert run("book", "recipe", "gold 1", "--job", "bare", *BOOK).returncode == 0
    refused = run("book", "repeat", "bare", "--cloth", "60g", *BOOK)
    assert (refused.returncode, "alkali" in refused.stderr) == (2, True)
    (asked,) = steps(refused)
    assert run(*asked).returncode == 0
    assert run("book", "repeat", "bare", "--cloth", "90g", *BOOK).returncode == 0


# The book -----------------------------------------------------------------------------------------


def test_a_picture_is_kept_without_its_place_number_and_thumbnail(run: Command) -> None:
    from PIL import Image

    pixels = np.random.default_rng(0).integers(0, 255, (80, 120, 3), dtype=np.uint8)
    small = Image.fromarray(pixels[:20, :30])
    picture = Image.fromarray(pixels)
    exif = Image.Exif()
    exif[0x010F], exif[0x0110] = "MAKER-OF-CAMERA", "MODEL-7"
    exif[0xA431] = "SERIAL-0042"
    exif.get_ifd(0x8769)[0xA431] = "SERIAL-0042"
    exif.get_ifd(0x8825).update({1: "N", 2: (48.0, 12.0, 30.0), 29: "PLACE-DAY"})
    file = run.folder / "piece.jpg"
    picture.save(file, exif=exif, comment=b"COMMENT-OF-HERS")
    whole = file.read_bytes()
    thumbnail = run.folder / "small.jpg"
    small.save(thumbnail)
    # A thumbnail as cameras put it: a whole JPEG within the file's second segment.
    inside = b"\xff\xed" + (len(thumbnail.read_bytes()) + 2).to_bytes(2, "big")
    file.write_bytes(whole[:2] + inside + thumbnail.read_bytes() + whole[2:])
    for secret in (b"SERIAL-0042", b"PLACE-DAY", b"COMMENT-OF-HERS", thumbnail.read_bytes()):
        assert secret in file.read_bytes()
    assert begun(run).returncode == 0
    trial = ("trial", "teal 1", "--reading", "55 -22 -20", "--target", "55 -22 -20")
    kept = run(*trial, "--picture", "piece.jpg", "--job", "teal", *BOOK)
    assert kept.returncode == 0, kept.stderr
    shown = run("book", "show", "teal", *BOOK)
    assert "L* 55.0, a* -22.0, b* -20.0 (D65/10°)" in shown.stdout, "the reading"
    assert "missed by" in shown.stdout
    (asked,) = (words for words in steps(shown) if words[:2] == ["book", "picture"])
    asked[asked.index("-o") + 1] = "out.jpg"
    assert run(*asked).returncode == 0
    book = (run.folder / "w.dyebook").read_bytes()
    out = run.folder / "out.jpg"
    for secret in (b"SERIAL-0042", b"PLACE-DAY", b"MODEL-7", b"COMMENT-OF-HERS", b"Exif"):
        assert secret not in book
        assert secret not in out.read_bytes()
    with Image.open(out) as seen:
        assert dict(seen.getexif()) == {}
        assert seen.size == (120, 80)
    assert out.read_bytes().count(b"\xff\xd8\xff") == 1, "no picture within the picture"


def test_nothing_far_off_is_near(run: Command) -> None:
    assert begun(run).returncode == 0
    assert "teal 1.00" in run("book", "near", "55 -22 -20", *BOOK).stdout
    far = run("book", "near", "30 60 -60", *BOOK)
    assert "none within 5 ΔE2000; the nearest" in far.stdout


def test_headlines_are_in_plain_words(run: Command, tmp_path: Path) -> None:
    asked = ("fit", "match '#7d8a6e'", "next '#7d8a6e'", "predict 'navy 1'",
             "trial 'navy 1' --reading '30 0 -20' --target '35 2 -18'")  # fmt: skip
    for words in asked:
        done = run(*shlex.split(words))
        assert done.returncode == 0, done.stderr
        assert not re.search(r"\br0\b|Langmuir|ΔH\*|\d:\d+:\d|left-out miss|K/S", done.stdout)
