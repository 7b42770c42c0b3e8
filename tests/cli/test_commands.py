"""The tree of commands, walked: what each may write, what it prints to, what it was called."""

from __future__ import annotations

import os
import re
import resource
import shlex
import signal
import time
from collections.abc import Iterable, Iterator
from importlib import import_module
from inspect import signature
from operator import attrgetter
from pathlib import Path

import click
import pytest
from command import Command
from PIL import Image

from dyemix.cli import shared
from dyemix.cli.commands import dyemix, written_anew
from dyemix.cli.options import _KINDS, GROUPS, OPTIONS, Written, _each
from dyemix.console import Ended
from dyemix.errors import DyemixError, data
from tests.simulated.struck import small_piece

ROOT = Path(__file__).resolve().parents[2]
TABLE = ROOT / "swatch_data" / "napkins.csv"
RECIPE = "marigold 0.8 + navy 0.25"

#: Words that each command which writes needs beside its outputs; a new one wants a line here.
WORDS = {
    "start": ("gold, navy", "--method", "lawn"),
    "photo-page": ("--cells", "12"),
    "read": ("readings.csv",),
    "fit": ("--swatches", "readings.csv"),
    "match": ("--targets", "colours.csv"),
    "subdue": ("marigold 1.2", "--steps", "1"),
    "series tint": ("marigold 1.2", "--steps", "1"),
    "series shade": ("marigold 1.2", "--steps", "1"),
    "series tone": ("marigold 1.2", "--steps", "1"),
    "series gradient": ("marigold 1", "navy 2", "--steps", "2"),
    "series card": ("marigold, navy",),
    "reach": ("--only", "lemon, rose, navy"),
    "bath": (RECIPE, "--cloth", "240g", "--demo"),
    "stock": ("navy",),
    "settings": (),
    "trial": ("lemon 0.8", "--reading", "84 -2 50", "--target", "#e8d870"),
    "report": (),
    "levelness": ("pieces.json", "--recipe", "lemon 0.8 + rose 0.5"),
    "preview": ("lemon 0.8 + rose 0.5", "black 0.5"),
    "book show": ("sage", "--book", "workshop.dyebook"),
    "book picture": ("sage", "--book", "workshop.dyebook"),
    "book repeat": ("sage", "--cloth", "240g", "--demo", "--book", "workshop.dyebook"),
}
ENDINGS = {"--draw": "svg", "--html": "html", "-o": "csv"}
OF = {
    ("photo-page", "-o"): "svg", ("fit", "-o"): "json", ("settings", "-o"): "toml",
    ("report", "-o"): "html", ("levelness", "-o"): "json", ("book picture", "-o"): "jpg",
}  # fmt: skip


def commands(group: click.Group = dyemix, path: str = "") -> Iterator[tuple[str, click.Command]]:
    """Every command that does something, by its whole name."""
    for name in group.list_commands(click.Context(group)):
        command = group.get_command(click.Context(group), name)
        assert command is not None
        if isinstance(command, click.Group):
            yield from commands(command, f"{path}{name} ")
        else:
            yield f"{path}{name}", command


TREE = dict(commands())
OUTPUTS = [
    (name, option.opts[0])
    for name, command in TREE.items()
    for option in command.params
    if isinstance(option.type, Written)
]


def words(name: str, option: str, value: str) -> tuple[str, ...]:
    """A command with one output; what else it must write goes to standard output."""
    must = [o.opts[0] for o in TREE[name].params if isinstance(o.type, Written) and o.required]
    others = [word for other in must if other != option for word in (other, "-")]
    given = ("#7d8a6e",) if (name, option) == ("match", "--draw") else WORDS[name]
    return (*name.split(), *given, option, value, *others)


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory, _fits: Path) -> Command:
    """A folder with readings, colours and a book of the demo, which holds one job."""
    run = Command(tmp_path_factory.mktemp("bench"), _fits)
    (run.folder / "readings.csv").write_bytes(TABLE.read_bytes())
    (run.folder / "pieces.json").write_text(small_piece(), encoding="utf-8")
    (run.folder / "colours.csv").write_text("#7d8a6e\n", encoding="utf-8")
    book = ("--book", "workshop.dyebook")
    assert run("book", "add", "readings.csv", *book).returncode == 0
    assert run("bath", RECIPE, "--cloth", "60g", "--demo", "--job", "sage", *book).returncode == 0
    Image.new("RGB", (1200, 1000), "#86935c").save(run.folder / "piece.png")
    trial = ("trial", RECIPE, "--reading", "#86935c", "--target", "#7d8a6e", "--job", "sage")
    assert run(*trial, "--picture", "piece.png", *book).returncode == 0
    return run


def everything(folder: Path) -> dict[str, bytes]:
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file() and path.suffix != ".dyebook"
    }


@pytest.mark.slow
@pytest.mark.parametrize(("name", "option"), OUTPUTS)
def test_a_command_writes_what_it_is_told_to_and_nothing_else(
    bench: Command, name: str, option: str, tmp_path: Path
) -> None:
    if (name, option) == ("read", "--draw"):
        pytest.skip("draws photographs only: test_cli_photo")
    before = everything(bench.folder)
    file = tmp_path / f"new.{OF.get((name, option), ENDINGS[option])}"
    asked = words(name, option, str(file))
    done = bench(*asked)
    assert done.returncode == 0, done.stderr
    assert everything(bench.folder) == before
    written = everything(tmp_path)
    named = {file.name, "new.csv"} if name == "photo-page" else {file.name}
    if (name, option) == ("series card", "--draw"):  # two pages
        named = {"new-1.svg", "new-2.svg"}
    assert written.keys() == named
    assert all(str(tmp_path / key) in done.stdout + done.stderr for key in written)
    assert all(written.values()), "something stands in each"
    for key in written:  # there already: kept, unless it is to be written over
        (tmp_path / key).write_bytes(b"mine")
    kept = bench(*asked)
    assert (kept.returncode, "is there already" in kept.stderr) == (2, True)
    assert set(everything(tmp_path).values()) == {b"mine"}
    over = bench(*asked, "--force")
    assert over.returncode == 0, over.stderr
    assert everything(tmp_path) == written


@pytest.mark.parametrize(("name", "option"), OUTPUTS)
def test_a_command_refuses_what_is_no_place_for_a_file(
    bench: Command, name: str, option: str, tmp_path: Path
) -> None:
    (tmp_path / "dangling").symlink_to(tmp_path / "nowhere")
    os.mkfifo(tmp_path / "pipe")
    before = everything(bench.folder)
    places = [tmp_path, tmp_path / "dangling", tmp_path / "pipe", "/dev/full", "/dev/null",
              tmp_path / "no" / "folder", "workshop.dyebook"]  # fmt: skip
    places += ["readings.csv"] if "readings.csv" in WORDS.get(name, ()) else []
    for place in places:
        done = bench(*words(name, option, str(place)), "--force")
        assert done.returncode == 2, place
        assert done.stderr.count("\n") <= 2, done.stderr
        assert done.stdout == "", "it is refused before it begins"
    assert everything(bench.folder) == before
    assert not (tmp_path / "nowhere").exists()


@pytest.mark.parametrize("name", ["backup", "export"])
def test_a_copy_of_a_book_goes_to_a_new_place(bench: Command, name: str, tmp_path: Path) -> None:
    (tmp_path / "dangling").symlink_to(tmp_path / "nowhere")
    (tmp_path / "mine").write_text("mine")
    book = (bench.folder / "workshop.dyebook").read_bytes()
    places = [tmp_path / "dangling", tmp_path / "mine", tmp_path, "/dev/null", "workshop.dyebook"]
    for place in places:
        done = bench("book", name, str(place), "--book", "workshop.dyebook")
        assert (done.returncode, done.stdout) == (2, ""), place
    assert {path.name for path in tmp_path.iterdir()} == {"dangling", "mine"}
    assert (tmp_path / "mine").read_text() == "mine"
    assert (bench.folder / "workshop.dyebook").read_bytes() == book
    new = tmp_path / "new"
    assert bench("book", name, str(new), "--book", "workshop.dyebook").returncode == 0
    assert {path.name for path in tmp_path.iterdir()} == {"dangling", "mine", "new"}


def test_the_table_that_is_found_is_an_input_too(bench: Command) -> None:
    folder = bench.folder / "loose"
    folder.mkdir()
    (folder / "readings.csv").write_bytes(TABLE.read_bytes())
    done = bench("predict", RECIPE, cwd=folder)
    assert "readings.csv, the one table" in done.stderr
    (folder / "colours.csv").write_text("#7d8a6e\n", encoding="utf-8")
    words = ("match", "--targets", "colours.csv", "-o", "readings.csv", "--force")
    done = bench(*words, cwd=folder)
    assert (done.returncode, "reads it" in done.stderr) == (2, True)
    assert (folder / "readings.csv").read_bytes() == TABLE.read_bytes()


def test_the_table_beside_a_page_is_no_input_either(bench: Command) -> None:
    before = everything(bench.folder)
    lines = TABLE.read_text(encoding="utf-8").splitlines(keepends=True)
    (bench.folder / "few.csv").write_text("".join(lines[:20]), encoding="utf-8")
    done = bench("photo-page", "--swatches", "few.csv", "-o", "few.svg", "--force")
    assert (done.returncode, "reads it" in done.stderr) == (2, True)
    (bench.folder / "few.csv").unlink()
    assert everything(bench.folder) == before


def test_two_answers_do_not_go_into_one_file(bench: Command) -> None:
    done = bench(*words("fit", "-o", "same.svg"), "--draw", "./same.svg")
    assert done.returncode == 2
    assert not (bench.folder / "same.svg").exists()


def test_a_file_on_standard_output_is_alone_there(bench: Command) -> None:
    done = bench("read", "readings.csv", "-o", "-")
    assert done.stdout.startswith("# demo: yes\n")
    assert "readings of" in done.stderr
    assert "Written" not in done.stderr
    assert bench("settings", "-o", "-").stdout == bench("settings").stdout


@pytest.mark.parametrize("name", TREE)
def test_every_command_says_what_it_does(name: str) -> None:
    command = TREE[name]
    assert command.get_short_help_str(62).endswith((".", "'")), "fits a line of the list"
    assert all(getattr(option, "help", "") for option in command.params if option.opts[0][0] == "-")
    seen = [word for option in command.params for word in (*option.opts, *option.secondary_opts)]
    assert len(seen) == len(set(seen))


def test_what_takes_swatches_takes_a_book() -> None:
    for name, command in TREE.items():
        options = {word for option in command.params for word in option.opts}
        assert "--swatches" not in options or "--book" in options or name == "photo-page", name


@pytest.mark.parametrize(
    ("name", "option", "endings"),
    [
        ("match", "--draw", (".png", ".svg", ".pdf")),
        ("read", "--draw", (".png", ".jpg", ".jpeg")),
        ("photo-page", "--output", (".pdf", ".svg", ".png")),
    ],
)  # fmt: skip
def test_the_help_tells_every_ending_that_is_taken(
    name: str, option: str, endings: Iterable[str]
) -> None:
    (found,) = (o for o in TREE[name].params if option in o.opts)
    assert isinstance(found, click.Option)
    assert sorted(re.findall(r"\.\w+", found.help or "")) == sorted(endings)
    for ending in endings:
        assert found.type.convert(f"x{ending.upper()}", found, None).stem == "x"
    for other in ("x.gif", "x", "png", "-"):
        with pytest.raises(DyemixError, match="name it"):
            found.type.convert(other, found, None)


@pytest.mark.parametrize(
    ("careless", "meant"),
    [
        ("match 56 -10 13 --count 2", "match '56 -10 13' --count 2"),
        ("match photo 1.jpg D1", "match 'photo 1.jpg D1'"),
        ("bath navy 1 + gold 2 --cloth 60g", "bath 'navy 1 + gold 2' --cloth 60g"),
        ("trial 'navy 1' --reading 60 -9 17", "trial 'navy 1' --reading '60 -9 17'"),
        ("book near 56,5 -10 13", "book near '56,5 -10 13'"),
        ("--book w.dyebook match '#7d8a6e'", "match '#7d8a6e' --book w.dyebook"),
    ],
)
def test_words_in_disorder_are_put_right(run: Command, careless: str, meant: str) -> None:
    done = run(*shlex.split(careless))
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.endswith(f": dyemix {meant}\n")


@pytest.mark.parametrize(
    "careless",
    [
        "match '#7d8a6e' '#ffffff'", "match '#7d8a6e' '#fff' --book 'my book'", "match '1' 'a b'",
        "predict --swatches t.csv 'navy 1' --nope", "read a1.jpg 2.jpg -o t.csv --nope", "--nope",
    ],
)  # fmt: skip
def test_what_nobody_can_put_right_is_left_to_the_help(run: Command, careless: str) -> None:
    done = run(*shlex.split(careless))
    assert done.returncode == 2
    assert "--help" in done.stderr


@pytest.mark.parametrize(
    ("careless", "says"),
    [
        ("match '#7d8a6e' --book a --book b", "--book is given twice"),
        ("match '#7d8a6e' --cloth 60g --cloth=90g", "--cloth is given twice"),
        ("match '#7d8a6e' --only ''", "names no dye"),
        ("match '#7d8a6e' --only ' , '", "names no dye"),
        ("match '#7d8a6e' --total 2%", "'2%' is not a number"),
        ("stock navy --strength 2,5,1", "'2,5,1' is not a number"),
    ],
)
def test_an_option_says_one_thing_once(run: Command, careless: str, says: str) -> None:
    done = run(*shlex.split(careless))
    assert (done.returncode, done.stdout) == (2, "")
    assert says in done.stderr


def test_a_figure_may_have_a_decimal_comma(run: Command) -> None:
    comma, point = (run("stock", "navy", "--strength", words, "--json") for words in ("2,5", "2.5"))
    assert comma.returncode == 0, comma.stderr
    assert comma.stdout == point.stdout


def test_every_option_is_taken_by_some_command() -> None:
    """Each is in the table once, so that it means one thing wherever it stands."""
    table = data("commands").values()
    told = [part for row in table for part in (row, *row.values()) if isinstance(part, dict)]
    taken = {word.rstrip("!") for part in told for word in _each(part.get("options", ""))}
    assert OPTIONS.keys() == taken | {"force"}  # of whatever writes
    rows = Path(shared.__file__).parents[1].joinpath("data", "options.csv")
    assert len(rows.read_text(encoding="utf-8").splitlines()) == len(OPTIONS) + len(GROUPS) + 1


def test_what_takes_a_colour_takes_a_photograph_and_says_how_it_is_read() -> None:
    for name, command in TREE.items():
        words = {word for param in command.params for word in (*param.opts, param.metavar)}
        colours = {"[TARGET]", "--target", "--reading", "--over", "PIECE", "COLOUR", "[COLOURS]..."}
        assert not words & colours or "--lit-by" in words, name


def test_every_name_that_the_table_of_options_mentions_is_there() -> None:
    """A function that is to understand words is looked up only when somebody gives some."""
    for name, row in OPTIONS.items():
        module, _, function = row["kind"].partition(":")
        if function:
            assert callable(attrgetter(function)(import_module(f"dyemix.{module}"))), name
        else:
            assert module in {*_KINDS, "written"} or "|" in module, name
    assert {word for words in GROUPS.values() for word in words.split()} <= OPTIONS.keys()


@pytest.mark.parametrize("name", TREE)
def test_a_command_hands_over_what_its_function_takes(name: str) -> None:
    told = {str(param.name): None for param in TREE[name].params if param.expose_value}
    function = TREE[name].callback
    assert function is not None
    signature(function).bind(**told)  # raises for a name too many, and for one that lacks


def test_help_tells_the_exit_codes(run: Command) -> None:
    for asked in ((), ("--help",), ("-h",)):
        done = run(*asked)
        assert done.returncode == 0
        text = " ".join(done.stdout.split())
        assert all(f"{int(code)} " in text.partition("Exit codes:")[2] for code in Ended)
        assert all(name.split()[0] in text for name in TREE)


@pytest.mark.parametrize(
    ("name", "old", "new"),
    [(name, old, new) for name, table in data("renamed").items() for old, new in table.items()],
)
def test_what_was_called_otherwise_is_told(run: Command, name: str, old: str, new: str) -> None:
    done = run(*name.split(), *([] if old == name else [f"{old}=x"]))
    assert (done.returncode, done.stdout) == (2, "")
    assert f"{old} is written so now: {new}." in done.stderr
    if old == name:
        assert run("help", old).stderr == done.stderr
    # And the new one is there.
    if old == name:
        words, *options = re.split(r" (?=--?\w)", new)
        assert words in TREE
    else:
        words, options = name, [new]
    taken = [word for option in TREE[words].params for word in (*option.opts, option.metavar)]
    for option in (o for o in options if "'" not in o):
        assert any(option.split()[0] in (word or "").strip("[]").split("|") for word in taken)


@pytest.mark.parametrize(
    "asked",
    [
        ("match", "#7d8a6e", "--grid", "4x6"),
        ("match", "nowhere.jpg B3", "--lit-by", "warm"),
        ("read", "readings.csv", "-o", "-", "--grid", "4x6"),
        ("trial", RECIPE, "--reading", "#86935c", "--target", "#7d8a6e", "--accept", "B3"),
    ],
)
def test_an_option_of_photographs_without_one_is_refused(
    bench: Command, asked: tuple[str, ...]
) -> None:
    done = bench(*asked)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.startswith(f"{asked[-2]} is of a photograph, and no word here names one")
    # Of a repeat, --keep is another word than --accept, whose value it is called as.
    kept = bench("book", "repeat", "sage", "--cloth", "9kg", "--demo", "--keep", "--book", "no")
    assert "photograph" not in kept.stderr


def test_a_table_that_is_to_be_fitted_is_told_its_option(run: Command) -> None:
    assert "TABLE is written so now: --swatches TABLE." in run("fit", "mine.csv").stderr
    assert "TABLE" not in run("fit", "--nope").stderr


@pytest.mark.parametrize(
    ("words", "old", "new"),
    [
        ("tint 'gold 1.2' --steps 3", "tint", "series tint"),
        ("card 'gold, navy' --depth 2", "card", "series card"),
        ("series card 'gold, navy' --depth 2", "--depth", "--depths"),
        ("family --colours w.csv", "family", "reach --fewest"),
        ("bench jobs.csv --stocks 2", "bench", "bath"),
        ("read a.jpg --cells c.csv", "--cells", "--names"),
        ("read a.jpg --keep=B3", "--keep", "--accept"),
        ("trial 'navy 1' --on p.csv", "--on", "--over"),
        ("book sign a p.csv --on 2026-05-03", "--on", "--date"),
        ("reach --other-book o.csv", "--other-book", "--not-owned"),
    ],
)
def test_each_earlier_word_is_told_its_own_new_one(words: str, old: str, new: str) -> None:
    assert written_anew(shlex.split(words)) == f"{old} is written so now: {new}."


def test_what_is_new_is_not_called_old() -> None:
    for name, table in data("renamed").items():
        assert name in {*table} ^ {*TREE}
        command = TREE.get(name)
        options = {word for option in command.params for word in option.opts} if command else set()
        assert not table.keys() & options


# The real command, in a process of its own ----------------------------------------------------


def test_help_on_a_screen_of_any_encoding(bench: Command) -> None:
    done = bench.alone("match", "--help", env={"PYTHONIOENCODING": "latin-1"})
    assert (done.returncode, b"dE2000" in done.stdout, done.stderr) == (0, True, b"")


@pytest.mark.parametrize(
    "encoding",
    [*(pytest.param(e, marks=pytest.mark.slow) for e in ("cp1252", "latin-1")), "ascii", "utf-8"],
)
def test_fit_into_a_file_of_any_encoding(bench: Command, encoding: str) -> None:
    done = bench.alone("fit", env={"PYTHONIOENCODING": encoding})
    assert (done.returncode, b"Traceback" in done.stderr) == (0, False)
    assert ("ΔE2000" if encoding == "utf-8" else "dE2000") in done.stdout.decode(encoding)


def test_json_into_a_file_is_utf8_in_any_encoding(bench: Command) -> None:
    done = bench.alone("predict", RECIPE, "--json", env={"PYTHONIOENCODING": "ascii"})
    assert "°" in done.stdout.decode("utf-8")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="has no device that is always full")
@pytest.mark.parametrize("asked", [("predict", RECIPE), ("settings",), ("--help",), ("--version",)])
def test_a_full_disk(bench: Command, asked: tuple[str, ...]) -> None:
    with Path("/dev/full").open("wb") as full:
        done = bench.alone(*asked, stdout=full)
    assert done.returncode == 1
    assert b"No space left on device" in done.stderr
    assert b"Traceback" not in done.stderr


def test_a_disk_too_full_for_the_file(bench: Command, tmp_path: Path) -> None:
    """A limit on the size of files stands for it."""
    file = tmp_path / "mine.toml"
    limit = (resource.RLIMIT_FSIZE, (100, 100))
    done = bench.alone("settings", "-o", str(file), preexec_fn=lambda: resource.setrlimit(*limit))
    assert done.returncode == 1
    assert b"disk is full" in done.stderr
    assert list(tmp_path.iterdir()) == []


def test_a_file_is_written_though_nobody_reads_the_answer(bench: Command) -> None:
    with bench.started("fit", "-o", "fitted.json") as process:
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.close()
        told = process.stderr.read()
        assert process.wait(timeout=60) == 0
    assert told.splitlines()[-1] == b"Written: fitted.json"
    (bench.folder / "fitted.json").unlink()


#: The script as it starts, telling on the error stream when it takes Ctrl-C upon itself.
STARTED = """
import os, signal, sys
from dyemix.cli.main import main
take = signal.signal
signal.signal = lambda *how: (take(*how), os.write(2, b"."))
sys.argv[1:] = ["fit", "-o", "fitted.json", "--leave-out", "rust 1.00 (N060)"]
main()
"""


@pytest.mark.slow
def test_ctrl_c_at_any_moment(bench: Command) -> None:
    """From there on it is 130 or answered, without a word, and nothing is half written."""
    before = everything(bench.folder)
    ends = []
    for moment in range(30):
        with bench.started(python=("-c", STARTED)) as process:
            assert process.stderr is not None
            assert process.stderr.read(1) == b"."
            time.sleep(0.03 * moment)
            process.send_signal(signal.SIGINT)
            told = process.stderr.read()
            ends.append(process.wait(timeout=60))
        assert b"Traceback" not in told
        assert b"Interrupt" not in told
        new = everything(bench.folder).keys() - before.keys()
        assert new <= {"fitted.json"}
        for name in new:
            (bench.folder / name).unlink()
    assert set(ends) <= {0, 130}
    assert 130 in ends
