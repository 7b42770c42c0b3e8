"""Whatever a command is pointed at, it ends with a sentence: every command is walked."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from io import BytesIO, TextIOWrapper
from pathlib import Path

import click
import pytest
from command import Command
from PIL import Image

from tests.cli.test_commands import RECIPE, TABLE, TREE, Written, everything

#: What each argument and each option that must be given is answered by, by its name.
ANSWERS = {
    "recipe": RECIPE, "recipe|jobs": RECIPE, "dyes": "marigold, navy", "dyes|table": "gold, navy",
    "target": "#7d8a6e", "first": "marigold 1", "second": "navy 2", "dye": "navy",
    "colours": "#7d8a6e", "colour": "#7d8a6e", "job": "sage", "words": "sage", "swatch": "N010",
    "name": "new", "piece": "#7d8a6e", "topic": "match", "file": "readings.csv",
    "table": "readings.csv", "folder": "out", "reading": "#86935c", "cloth": "60g",
    "method": "lawn", "output": "-", "photo": "small.png", "analysed": "readings.csv",
}  # fmt: skip
#: The page is a server: it runs until it is stopped (tests/page).
WALKED = {name: command for name, command in TREE.items() if name != "web"}
ENDED = (0, 1, 2, 130)
#: What makes something where nothing is, as it is told to: a book, a backup.
MADE = {("book add", "--book", "nowhere"), ("book backup", "", "nowhere")}
PLACES = ("nowhere", "folder", "empty.csv", "/dev/null", "pipe", "small.png")


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory, _fits: Path) -> Command:
    """A folder with a table, a book with one job, and places that are no files."""
    run = Command(tmp_path_factory.mktemp("places"), _fits)
    (run.folder / "readings.csv").write_bytes(TABLE.read_bytes())
    book = ("--book", "workshop.dyebook")
    assert run("book", "add", "readings.csv", *book).returncode == 0
    assert run("bath", RECIPE, "--cloth", "60g", "--demo", "--job", "sage", *book).returncode == 0
    (run.folder / "folder").mkdir()
    (run.folder / "empty.csv").touch()
    Image.new("RGB", (8, 8)).save(run.folder / "small.png")
    os.mkfifo(run.folder / "pipe")
    return run


def asked(name: str) -> list[str]:
    """A command with all that must be given."""
    words = name.split()
    for param in WALKED[name].params:
        if isinstance(param, click.Argument):
            answer = ANSWERS[(param.metavar or param.name or "").strip("[].").lower()]
            words += [answer] if param.required else []
        elif param.required:
            words += [param.opts[-1], ANSWERS[param.opts[-1].strip("-")]]
    return words


def places() -> Iterator[tuple[str, str, str]]:
    """Every command, and each of its options that names a file to read, with each place.

    The option is "" for the file that the command must have; one that must have none runs once.
    """
    for name, command in WALKED.items():
        files = [
            param.opts[-1]
            for param in command.params
            if isinstance(param, click.Option)
            and isinstance(param.type, click.Path)
            and not isinstance(param.type, Written)
        ]
        must = "readings.csv" in asked(name)
        cases = [("", place) for place in (PLACES if must else PLACES[:1])]
        cases += [(option, place) for option in files for place in PLACES]
        yield from ((name, *case) for case in cases if (name, *case) not in MADE)


@pytest.mark.slow
@pytest.mark.parametrize(("name", "option", "place"), list(places()))
def test_what_is_no_input_is_refused_in_a_sentence(
    bench: Command, name: str, option: str, place: str
) -> None:
    words = asked(name)
    if option:
        words += [option, place]
    elif "readings.csv" in words:
        words[words.index("readings.csv")] = place

    def others() -> dict[str, bytes]:
        """What lies there beside the folder that an export names."""
        return {k: v for k, v in everything(bench.folder).items() if not k.startswith("out")}

    before = others()
    done = bench(*words)
    assert done.returncode in ENDED
    assert "Traceback" not in done.stderr
    assert others() == before


@pytest.mark.slow
@pytest.mark.parametrize("name", list(WALKED))
def test_answers_in_any_encoding_and_on_a_full_disk(bench: Command, name: str) -> None:
    words = [word.replace("out", f"out-{name}") for word in asked(name)]
    answered = set()
    for encoding in ("ascii", "cp1252", "utf-8"):
        shown = BytesIO()
        screen = TextIOWrapper(shown, encoding, write_through=True)
        done = bench(*words, screen=screen)
        assert done.returncode in ENDED
        assert "Traceback" not in done.stderr
        text = shown.getvalue().decode(encoding)
        assert done.returncode or text or done.stderr
        answered.add(done.returncode == 0 and bool(text))
    if not Path("/dev/full").exists():
        return
    with Path("/dev/full").open("w", encoding="utf-8") as full:
        done = bench(*words, screen=full)
    assert done.returncode in ENDED
    assert done.returncode != 0 or True not in answered
    assert "Traceback" not in done.stderr


@pytest.mark.slow
@pytest.mark.parametrize("name", list(WALKED))
def test_a_folder_that_may_not_be_written_to(bench: Command, name: str) -> None:
    outputs = [p.opts[0] for p in WALKED[name].params if isinstance(p.type, Written)]
    for option in outputs:
        words = asked(name)
        words = [w for i, w in enumerate(words) if w != option and words[i - 1 : i] != [option]]
        done = bench(*words, option, "/proc/new.svg")  # nobody may, root neither
        assert done.returncode in ENDED[1:]
        assert "Traceback" not in done.stderr


@pytest.mark.parametrize(
    ("missing", "extra", "words"),
    [
        ("cv2", "photo", ("photo-page", "-o", "page.pdf")),
        ("cv2", "photo", ("photo-page", "-o", "page.png")),
        ("pillow_heif", "heic", ("read", "x.heic", "-o", "read.csv")),
        ("rawpy", "raw", ("read", "x.dng", "-o", "read.csv")),
        ("uvicorn", "web", ("web", "--no-browser")),
    ],
)
def test_an_extra_that_is_missing_is_named(
    run: Command, monkeypatch: pytest.MonkeyPatch, missing: str, extra: str, words: tuple[str, ...]
) -> None:
    """One sentence, with the line that installs it and no reason of another command's."""
    monkeypatch.setitem(sys.modules, missing, None)
    heic = b"\0\0\0\x18ftypheic" + bytes(64)
    (run.folder / "x.heic").write_bytes(heic)
    (run.folder / "x.dng").write_bytes(b"II*\0" + bytes(64))
    done = run(*words)
    assert done.returncode == 2
    last = done.stderr.strip().splitlines()[-1]
    assert last.startswith(f"this needs an extra that is not installed: pip install '.[{extra}]'")
    assert "corners" not in last
    assert not list(run.folder.glob("page*"))
