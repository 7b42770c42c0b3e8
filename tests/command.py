"""Run ``dyemix …`` as its user does: in a folder, by its words, for what it prints and returns."""

from __future__ import annotations

import os
import subprocess
import sys
from contextlib import chdir, redirect_stderr, redirect_stdout
from io import StringIO
from pathlib import Path
from unittest import mock

ROOT = Path(__file__).resolve().parents[1]
Done = subprocess.CompletedProcess[str]


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

    def __call__(self, *words: str, cwd: Path | None = None) -> Done:
        from dyemix.cli.main import main

        out, err, code = StringIO(), StringIO(), 0
        environment = {"XDG_CACHE_HOME": str(self.cache)}
        with (
            chdir(cwd or self.folder),
            mock.patch.dict(os.environ, environment),
            mock.patch.object(sys, "argv", ["dyemix", *words]),
            redirect_stdout(out),
            redirect_stderr(err),
        ):
            try:
                main()
            except SystemExit as end:
                code = int(end.code or 0)
        return subprocess.CompletedProcess(words, code, out.getvalue(), err.getvalue())

    def alone(self, *words: str) -> Done:
        """The same in a process of its own, where a warning is an error."""
        return subprocess.run(
            [sys.executable, "-W", "error", "-m", "dyemix.cli.main", *words],
            cwd=self.folder,
            env={**os.environ, "XDG_CACHE_HOME": str(self.cache), "PYTHONPATH": str(ROOT)},
            capture_output=True, text=True, encoding="utf-8", timeout=180,
        )  # fmt: skip
