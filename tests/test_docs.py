"""What the documents say is so: every line that can be run is run, as printed."""

from __future__ import annotations

import re
import shlex
import shutil
import subprocess
import sys
import venv
from collections.abc import Iterator
from pathlib import Path

import pytest
from command import Command

from dyemix.errors import data
from notebooks.make import CONSOLE, PICTURE, README, REFERENCE, draw, filled_in, reference
from tests.simulated.photographs import shoot
from tests.simulated.struck import shoot_piece

ROOT = Path(__file__).resolve().parents[1]
TEXT = README.read_text(encoding="utf-8")
WALK = (ROOT / "tests" / "data" / "walk.md").read_text(encoding="utf-8")
SET_UP, TESTS, OWN = re.findall(r"```sh\n(.*?)```", TEXT, re.DOTALL)
#: A table typed into a file, or a line.
_LINES = re.compile(r"^cat > (?P<file>\S+) <<'END'\n(?P<text>.*?)^END$|^(?P<line>[^\n]+)$",
                       re.DOTALL | re.MULTILINE)  # fmt: skip
_NUMBER = re.compile(r"(\d+(?:\.\d+)?)")
#: A command that is printed to go on with.
_NEXT = re.compile(r"(?:: |^  )(dyemix .+)$", re.MULTILINE)
#: The page stays until it is stopped: `tests/page` opens it.
_STAYS = {"web"}


def run_lines(text: str, run: Command) -> Iterator[str]:
    """Run each line of sh as printed, without a shell; gives the words of each command."""
    for found in _LINES.finditer(text):
        words = shlex.split(found["line"] or "", comments=True)
        if found["file"]:
            (run.folder / found["file"]).write_text(found["text"], encoding="utf-8")
        elif words[0] == "printf":
            typed, into, file = words[1:]
            assert into == ">"
            (run.folder / file).write_text(typed.replace("\\n", "\n"), encoding="utf-8")
        else:
            assert words[0] == "dyemix", f"nothing else is run: {found['line']}"
            done = run(*words[1:])
            assert done.returncode == 0, f"{found['line']}\n{done.stderr}"
            yield " ".join(words[1:3])


def test_readme_opens_with_the_job_and_two_commands():
    """`.ci/run` takes the second block as it is printed."""
    for block in (SET_UP, TESTS):
        assert block.startswith("python3 -m venv .venv && ")
        assert len(block.strip().splitlines()) == 1
    assert OWN.splitlines()[0] == ". .venv/bin/activate"
    assert len(TEXT.splitlines()) <= 82


def test_the_readme_prints_what_the_commands_print(run: Command):
    """To the last digit shown, which another processor may round the other way."""
    lines = [line for line in OWN.splitlines() if line.startswith("dyemix")]
    assert len(list(run_lines("\n".join(lines), run))) == 2
    typed = filled_in(run("help", "tables").stdout)
    (run.folder / "swatches.csv").write_text(typed, encoding="utf-8")
    blocks = list(CONSOLE.finditer(TEXT))
    assert len(blocks) == 3
    for block in blocks:
        done = run(*shlex.split(block["command"])[1:])
        shown, told = _NUMBER.split(done.stdout), _NUMBER.split(block["printed"])
        assert shown[::2] == told[::2], f"python -m notebooks.make: {block['command']}"
        for now, then in zip(shown[1::2], told[1::2], strict=True):
            digit = 10.0 ** -len(then.partition(".")[2])
            assert abs(float(now) - float(then)) < 1.01 * digit


@pytest.mark.slow
def test_every_command_is_run_by_the_walk(run: Command):
    shutil.copy(shoot((0.18,), with_card=False), run.folder / "photo.jpg")
    shutil.copy(shoot_piece(), run.folder / "piece.jpg")
    ran = list(run_lines("".join(re.findall(r"```sh\n(.*?)```", WALK, re.DOTALL)), run))
    for name in set(data("commands")) - _STAYS:
        assert any(line.startswith(name) for line in ran), f"{name} is not in the walk"


def test_the_reference_says_what_help_says():
    assert REFERENCE.read_text(encoding="utf-8") == reference(), "python -m notebooks.make"


def test_help_on_a_command_and_on_tables(run: Command):
    assert run("help", "match").stdout == run("match", "--help").stdout
    assert run("help").stdout == run("--help").stdout
    assert run("help", "series", "tint").stdout == run("series", "tint", "--help").stdout
    tables = run("help", "tables").stdout
    for word in ("recipe", "cloth_g", "stock_pct", "left_ml", "sample", "colour"):
        assert word in tables
    assert run("help", "puce").returncode == 2


@pytest.mark.slow
def test_the_picture_of_an_answer_is_the_answer(tmp_path: Path):
    from matplotlib.image import imread

    draw(tmp_path / "answer.png")
    now, then = imread(tmp_path / "answer.png"), imread(PICTURE)
    assert now.shape == then.shape
    differs = abs(now - then).max(axis=-1) > 0.05
    assert differs.mean() < 0.02, "python -m notebooks.make"


@pytest.mark.slow
def test_the_path_of_a_newcomer(tmp_path: Path):
    """In a shell: from the first block to a picture, then to a match on a table of her own.

    Eight commands at most, each copied from the README or from what the last one printed.
    """
    room = tmp_path / ".venv"
    venv.create(room, symlinks=True)
    site = next(room.glob("lib/python*/site-packages"))
    (site / "borrowed.pth").write_text(str(Path(pytest.__file__).parents[1]))
    install = ["-m", "pip", "install", "--quiet", "--no-deps", "--no-build-isolation"]
    subprocess.run(
        [sys.executable, *install, "--prefix", str(room), "--ignore-installed", str(ROOT)],
        check=True, capture_output=True, timeout=300,
    )  # fmt: skip
    used = []

    def shell(line: str, folder: Path, *before: str) -> str:
        used.append(line)
        done = subprocess.run(
            ["/bin/sh", "-c", "\n".join(["set -e", *before, line])], cwd=folder,
            capture_output=True, text=True, timeout=300, check=False,
            env={"XDG_CACHE_HOME": str(tmp_path / "cache"), "PATH": "/usr/bin:/bin"},
        )  # fmt: skip
        assert done.returncode == 0, f"{line}\n{done.stderr}"
        return done.stdout

    *_, first = SET_UP.strip().split(" && ")  # what comes before it was done above, offline
    assert "#7d8a6e" in shell(first, tmp_path)
    activate, picture, folder, start = OWN.strip().splitlines()
    used.append(activate)
    shell(picture, tmp_path, activate)
    assert (tmp_path / "answer.png").read_bytes().startswith(b"\x89PNG")
    shell(folder, tmp_path)
    own = tmp_path / "workshop"
    inside = activate.replace(". ", f". {tmp_path}/")
    told, shown = shell(start, own, inside), re.search(r"`(dyemix help tables)`", TEXT)
    assert shown is not None
    typed = filled_in(shell(shown[1], own, inside))
    (own / "swatches.csv").write_text(typed, encoding="utf-8")  # she fills it in
    while "Target #7d8a6e" not in told and len(used) < 8:  # each is printed by the one before
        told = shell(_NEXT.findall(told)[0], own, inside)
    assert "Target #7d8a6e" in told
    assert "gold" in told
    assert len(used) <= 8, used


def test_every_package_is_in_the_tree():
    table = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    for path in (ROOT / "dyemix").iterdir():
        if path.suffix == ".py" and path.stem != "__init__":
            assert f"`{path.stem}`" in table, f"{path.stem} is not in DEVELOPERS.md"
        elif (path / "__init__.py").exists():
            assert f"`{path.name}/`" in table, f"{path.name}/ is not in DEVELOPERS.md"
