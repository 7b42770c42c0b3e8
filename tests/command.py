"""Run ``dyemix …`` as its user does: in a folder, by its words, for what it prints and returns."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from collections.abc import Sequence
from contextlib import chdir, redirect_stderr, redirect_stdout
from io import StringIO
from pathlib import Path
from typing import IO, Any
from unittest import mock

ROOT = Path(__file__).resolve().parents[1]
Done = subprocess.CompletedProcess[str]
_STEP = re.compile(r"(?:: +|^ +)dyemix (.+)$", re.MULTILINE)


class Command:
    """``run("match", "#7d8a6e")`` in `folder`, with the fits that were made before in `cache`.

    The real entry point runs in this process, which spares every test the second that importing
    takes; `alone` runs it in a process of its own.
    """

    def __init__(self, folder: Path, cache: Path) -> None:
        self._folder = folder
        self.cache = cache

    @property
    def folder(self) -> Path:
        """The folder of the commands, there from the first time it is asked for."""
        self._folder.mkdir(parents=True, exist_ok=True)
        return self._folder

    def __call__(self, *words: str, cwd: Path | None = None, screen: IO[str] | None = None) -> Done:
        """Run it; what it prints goes to a `screen`, where one is given."""
        from dyemix.cli.commands import run
        from dyemix.console import guarded

        out, err = StringIO(), StringIO()
        with (
            chdir(cwd or self.folder),
            mock.patch.dict(os.environ, {"XDG_CACHE_HOME": str(self.cache)}),
            redirect_stdout(screen or out),
            redirect_stderr(err),
        ):
            code = guarded(lambda: run(words))
        return subprocess.CompletedProcess(words, code, out.getvalue(), err.getvalue())

    def alone(self, *words: str, **how: Any) -> subprocess.CompletedProcess[bytes]:
        """The same in a process of its own; `how` as `Popen` has it."""
        with self.started(*words, **how) as process:
            out, err = process.communicate(timeout=180)
        return subprocess.CompletedProcess(words, process.returncode, out, err)

    def started(
        self, *words: str, python: Sequence[str] = ("-m", "dyemix.cli.main"), **how: Any
    ) -> subprocess.Popen[bytes]:
        """A process of its own, where a warning is an error, not waited for."""
        environment = {
            **os.environ, "XDG_CACHE_HOME": str(self.cache), "PYTHONPATH": str(ROOT),
            **how.pop("env", {}),
        }  # fmt: skip
        settings = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, **how}
        return subprocess.Popen(
            [sys.executable, "-W", "error", *python, *words],
            cwd=self.folder, env=environment, **settings,
        )  # fmt: skip


def of_dyes(table: str, *dyes: str) -> str:
    """A table of swatches without those of other dyes; a mix is of the dye that comes first."""
    wanted = ("recipe", "undyed", *dyes)
    rows = table.splitlines()
    return "\n".join(r for r in rows if r[0] == "#" or re.split("[, ]", r)[1] in wanted)


def pasted(text: str) -> str:
    """What a shell makes of lines that go on."""
    return re.sub(r" \\\n +", " ", text)


def next_steps(done: Done, reading: str = "") -> list[str]:
    """The commands that an answer goes on with, in order, or that a refusal names.

    A `reading` (L* a* b*) is written where one is asked for.
    """
    found = _STEP.findall(pasted(done.stdout + done.stderr))
    return [words.replace("L* a* b*", reading) if reading else words for words in found]
