"""What the documents say is so: every line of the README that can be run is run, as printed."""

from __future__ import annotations

import doctest
import importlib
import pkgutil
import re
import shlex
import shutil
import subprocess
import sys
import venv
from pathlib import Path

import pytest
from command import Command

import dyemix
from dyemix.cli.commands import MODULES
from tests.simulated.photographs import shoot

ROOT = Path(__file__).resolve().parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
SET_UP, TESTS, ACTIVATE, *BLOCKS = re.findall(r"```sh\n(.*?)```", README, re.DOTALL)
#: A table typed into a file, or a line.
_LINES = re.compile(r"^cat > (?P<file>\S+) <<'END'\n(?P<text>.*?)^END$|^(?P<line>[^\n]+)$",
                       re.DOTALL | re.MULTILINE)  # fmt: skip


def test_readme_opens_with_the_job_and_two_commands():
    """`.ci/run` takes the second block as it is printed."""
    for block in (SET_UP, TESTS):
        assert block.startswith("python3 -m venv .venv && ")
        assert len(block.strip().splitlines()) == 1
    assert ACTIVATE.splitlines()[0] == ". .venv/bin/activate"


def test_every_line_of_the_readme_runs_as_printed_in_order(run: Command):
    shutil.copy(shoot(), run.folder / "photo.jpg")
    ran = []
    for found in _LINES.finditer("".join(BLOCKS)):
        words = shlex.split(found["line"] or "", comments=True)
        if found["file"]:
            (run.folder / found["file"]).write_text(found["text"], encoding="utf-8")
        elif words[0] == "printf":
            text, into, file = words[1:]
            assert into == ">"
            (run.folder / file).write_text(text.replace("\\n", "\n"), encoding="utf-8")
        else:
            assert words[0] == "dyemix", f"nothing else is run: {found['line']}"
            done = run(*words[1:])
            assert done.returncode == 0, f"{found['line']}\n{done.stderr}"
            ran.append(" ".join(words[1:3]))
    for name in MODULES:
        assert any(line.startswith(name) for line in ran), f"{name} is not in the README"


@pytest.mark.slow
def test_the_readme_in_a_shell(tmp_path: Path):
    """The same by ``sh``, with the command that installing gives."""
    room = tmp_path / ".venv"
    venv.create(room, symlinks=True)
    site = next(room.glob("lib/python*/site-packages"))
    (site / "borrowed.pth").write_text(str(Path(pytest.__file__).parents[1]))
    install = ["-m", "pip", "install", "--quiet", "--no-deps", "--no-build-isolation"]
    subprocess.run(
        [sys.executable, *install, "--prefix", str(room), "--ignore-installed", str(ROOT)],
        check=True, capture_output=True, timeout=300,
    )  # fmt: skip
    script = "\n".join(["set -eu", ACTIVATE, f"cp {shoot()} photo.jpg", *BLOCKS])
    done = subprocess.run(
        ["/bin/sh", "-c", script], cwd=tmp_path, capture_output=True, timeout=900,
        env={"XDG_CACHE_HOME": str(tmp_path / "cache"), "PATH": "/usr/bin:/bin"}, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr.decode()[-2000:]
    assert (tmp_path / "workshop" / "reach.pdf").exists()


def test_readme_examples(monkeypatch):
    monkeypatch.chdir(ROOT)
    result = doctest.testfile(str(ROOT / "README.md"), module_relative=False, encoding="utf-8")
    assert result.attempted > 3
    assert result.failed == 0


@pytest.mark.parametrize(
    "name", [m.name for m in pkgutil.walk_packages(dyemix.__path__, "dyemix.")] + ["dyemix"]
)
def test_docstring_examples(name, monkeypatch):
    monkeypatch.chdir(ROOT)
    assert doctest.testmod(importlib.import_module(name)).failed == 0


def test_every_package_is_in_the_tree():
    table = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    for path in (ROOT / "dyemix").iterdir():
        if path.suffix == ".py" and path.stem != "__init__":
            assert f"`{path.stem}`" in table, f"{path.stem} is not in DEVELOPERS.md"
        elif (path / "__init__.py").exists():
            assert f"`{path.name}/`" in table, f"{path.name}/ is not in DEVELOPERS.md"
