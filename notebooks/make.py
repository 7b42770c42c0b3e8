"""Write what documents show from what the program does: ``python -m notebooks.make``.

The picture of an answer, the command reference, and what the README's commands print. Tests compare
all of them with the program.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
import tempfile
import textwrap
from collections.abc import Iterator
from pathlib import Path

import click

import dyemix
from dyemix.cli.commands import dyemix as commands

ROOT = Path(__file__).resolve().parents[1]
README, REFERENCE = ROOT / "README.md", ROOT / "notebooks" / "commands.md"
PICTURE = ROOT / "notebooks" / "answer.png"
#: A command and what it prints.
CONSOLE = re.compile(
    r"^\$ (?P<command>[^\n]+)\n(?P<printed>.*?)(?=^```|^\$ )", re.DOTALL | re.MULTILINE
)
#: The swatches that `dyemix help tables` shows filled in.
TABLE = re.compile(r"^  filled in, [^\n]*\n(.*?)\n\n", re.DOTALL | re.MULTILINE)


def filled_in(shown: str) -> str:
    """Her table, as copied from what `dyemix help tables` prints."""
    found = TABLE.search(shown)
    assert found is not None
    return textwrap.dedent(found[1]) + "\n"


def draw(path: Path) -> None:
    """One answer as a picture: three blends of the demo's invented dyes for a wanted green."""
    dyemix.plot(dyemix.match(dyemix.fit(dyemix.demo()), "#7d8a6e", count=3), path, force=True)


def _help(command: click.Command, name: str, above: click.Context | None) -> Iterator[str]:
    context = click.Context(
        command, info_name=name, parent=above, terminal_width=78,
        help_option_names=["-h", "--help"],
    )  # fmt: skip
    if isinstance(command, click.Group):
        for each in command.list_commands(context):
            found = command.get_command(context, each)
            assert found is not None
            yield from _help(found, each, context)
    else:
        path = context.command_path.removeprefix("dyemix ")
        yield f"## {path}\n\n```text\n{command.get_help(context)}\n```\n"


def reference() -> str:
    """Every command and its options, as ``--help`` prints them."""
    head = (
        "# Every command and its options\n\nAs `dyemix COMMAND --help` prints them; written by "
        "`python -m notebooks.make`. Tables are described by `dyemix help tables`.\n"
    )
    return "\n".join([head, *_help(commands, "dyemix", None)])


def printed(command: str, folder: Path) -> str:
    """What a command of the README prints in a folder that holds her table."""
    done = subprocess.run(
        ["/bin/sh", "-c", command.replace("dyemix", f"{sys.executable} -m dyemix.cli.main", 1)],
        cwd=folder, capture_output=True, text=True, check=True,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    return done.stdout


def main() -> None:
    draw(PICTURE)
    REFERENCE.write_text(reference(), encoding="utf-8")
    text = README.read_text(encoding="utf-8")
    with tempfile.TemporaryDirectory() as name:
        typed = filled_in(printed("dyemix help tables", Path(name)))
        (Path(name) / "swatches.csv").write_text(typed, encoding="utf-8")

        def anew(block: re.Match[str]) -> str:
            shown = printed(block["command"], Path(name))
            return f"$ {block['command']}\n{shown}"

        README.write_text(CONSOLE.sub(anew, text), encoding="utf-8")


if __name__ == "__main__":
    main()
