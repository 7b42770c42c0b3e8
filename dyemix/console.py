"""The one place that prints, and the one that says how a command ended.

Nothing that becomes of the output stops the work: what an encoding lacks is written in ASCII, a
reader that has gone away or a full disk is remembered and told at the end.
"""

import _thread
import codecs
import os
import re
import shlex
import sys
import threading
import unicodedata
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from enum import IntEnum
from errno import EEXIST, EISDIR, ENOENT, ENOTDIR, ENOTEMPTY
from functools import partial
from itertools import pairwise
from textwrap import wrap
from types import FrameType
from typing import IO

from dyemix.errors import DyemixError, data


class Ended(IntEnum):
    """How a command ended: its exit code. 130 is what shells give for Ctrl-C (128 + SIGINT)."""

    ANSWERED = 0
    MACHINE = 1
    WRONG_INPUT = 2
    INTERRUPTED = 130


_CLEAR_LINE = "\r\x1b[K"
_HEX = re.compile(r"#[0-9a-f]{6}\b")
#: Three blanks on a ground of red, green and blue before its code.
_PATCH = "\x1b[48;2;{1};{2};{3}m   \x1b[0m {0}"
#: DEL, C1, and the marks that turn the direction of writing (Unicode Annex 9): in a name out of a
#: file they could rewrite what stands on the screen.
_TURNING = "\x7f-\x9f\u061c\u200e\u200f\u2028\u2029\u202a-\u202e\u2066-\u2069"
REWRITING = re.compile(f"[{_TURNING}]")
#: The same with C0, but tab and newline.
CONTROL = re.compile(f"[\x00-\x08\x0b-\x1f{_TURNING}]")

_interrupted = threading.Event()
_failures: dict[str, OSError] = {}


# Encodings --------------------------------------------------------------------------------------


def _in_ascii(error: UnicodeError) -> tuple[str, int]:
    """What an encoding lacks, in ASCII: by the table, else a letter without its accents."""
    assert isinstance(error, UnicodeEncodeError)
    lacking, signs = error.object[error.start : error.end], data("ascii")["signs"]
    bare = {sign: unicodedata.normalize("NFKD", sign).encode("ascii", "ignore") for sign in lacking}
    return "".join(signs.get(s) or bare[s].decode() or "?" for s in lacking), error.end


codecs.register_error("dyemix-ascii", _in_ascii)


# Printing ---------------------------------------------------------------------------------------


def say(text: str) -> None:
    """Print a result; a hex code gets a patch of its colour where the terminal has true colour."""
    clean = CONTROL.sub("", text)
    if _has_colour(sys.stdout):
        clean = _HEX.sub(lambda code: _PATCH.format(code[0], *bytes.fromhex(code[0][1:])), clean)
    _write("stdout", clean + "\n")


def remark(text: str) -> None:
    """A word to the reader that is no part of the result, on the error stream."""
    _write("stderr", CONTROL.sub("", text) + "\n")


def give(data: str | bytes) -> None:
    """Put data on standard output as it is, text as UTF-8; a terminal gets it as `say` shows it."""
    raw = getattr(sys.stdout, "buffer", None)
    if isinstance(data, str) and (raw is None or sys.stdout.isatty()):
        _write("stdout", CONTROL.sub("", data))
    else:
        _write("stdout", data.encode("utf-8", "replace") if isinstance(data, str) else data)


@contextmanager
def waiting(what: str) -> Iterator[Callable[[int, int], None]]:
    """Tell whoever watches a terminal what is waited for, until it is there.

    The function given says how much is done, of how much.
    """
    watched = _is_terminal(sys.stderr)

    def show(line: str) -> None:
        if watched:
            _write("stderr", _CLEAR_LINE + line)

    show(f"{what} …")
    try:
        yield lambda done, whole: show(f"{what}: {done} of {whole}")
    finally:
        show("")


def _is_terminal(stream: IO[str] | None) -> bool:
    return stream is not None and stream.isatty() and os.environ.get("TERM") != "dumb"


def _has_colour(stream: IO[str] | None) -> bool:
    """Whether a stream shows true colour, and its reader has not asked for none (NO_COLOR)."""
    said = os.environ.get("COLORTERM") in ("truecolor", "24bit") or "WT_SESSION" in os.environ
    return _is_terminal(stream) and said and not os.environ.get("NO_COLOR")


def _write(name: str, data: str | bytes) -> None:
    """Write to ``stdout`` or ``stderr``; one that has failed is left alone from then on."""
    stream = getattr(sys, name)
    if stream is None or name in _failures:
        return
    try:
        if isinstance(data, bytes):
            stream.flush()
            stream.buffer.write(data)
            stream.buffer.flush()
        else:
            stream.write(data)
            stream.flush()
    except OSError as error:
        _failures[name] = error
        _let_go(stream)


def _let_go(stream: IO[str]) -> None:
    """Send what a failed stream still holds nowhere, or Python complains of it at the end."""
    with suppress(OSError, ValueError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, stream.fileno())
        os.close(nowhere)


#: Columns of a line, and how a shell is told that a command goes on: PowerShell's way on Windows.
WIDTH, _GOES_ON = 100, " `" if os.name == "nt" else " \\"


_whole_words = partial(wrap, break_long_words=False, break_on_hyphens=False)


def wrapped(text: str) -> str:
    """A text with its sentences in lines of `WIDTH`; a line with columns stays as it is."""
    lines = []
    for line in text.split("\n"):
        long = len(line) > WIDTH and "  " not in line.strip()
        indent = " " * (len(line) - len(line.lstrip()))
        lines += _whole_words(line, WIDTH, subsequent_indent=indent) if long else [line]
    return "\n".join(lines)


def by_option(words: list[str]) -> list[list[str]]:
    """The words of a command, parted before each option, which stays beside its value."""
    starts = [i for i, word in enumerate(words) if i == 0 or re.match(r"-+[a-z]", word)]
    return [words[start:end] for start, end in pairwise([*starts, len(words)])]


def pasted(words: Iterable[str], first: str = "") -> str:
    """A command after what is `first` said of it, in lines that are pasted as one.

    It breaks before an option only, so that each stands beside its value.
    """
    parts = by_option(["dyemix", *words])
    start, *rest = (shlex.join(part).replace(" ", "\0") for part in parts)  # each stays whole
    room = WIDTH - len(_GOES_ON)
    above = f"{first.rstrip()}\n" * (len(first + start) > room)
    begins = f"\0\0{start}" if above else first.replace(" ", "\0") + start
    lines = _whole_words(" ".join([begins, *rest]), room, subsequent_indent="    ")
    return above + f"{_GOES_ON}\n".join(lines).replace("\0", " ")


# Endings ----------------------------------------------------------------------------------------


def interrupt(_: int, __: FrameType | None) -> None:
    """What Ctrl-C does. Extension modules turn the exception into others, so it is noted too."""
    _interrupted.set()
    raise KeyboardInterrupt


def unraisable(lost: "sys.UnraisableHookArgs") -> None:
    """What Ctrl-C tears goes without a word; one that Python could not raise comes once more."""
    if not _interrupted.is_set():
        sys.__unraisablehook__(lost)
    elif issubclass(lost.exc_type, KeyboardInterrupt):
        threading.Timer(0.01, _thread.interrupt_main).start()


def _whose(error: DyemixError) -> Ended:
    """Whether the machine refused (disk, permission), or the input was wrong.

    A file that is not there, or is a folder, or a folder with files in it, was named wrongly.
    """
    cause = error.__cause__ or error.__context__
    named = (0, None, ENOENT, EEXIST, EISDIR, ENOTDIR, ENOTEMPTY)
    machine = isinstance(cause, OSError) and cause.errno not in named
    return Ended.MACHINE if machine else Ended.WRONG_INPUT


def guarded(work: Callable[[], object]) -> Ended:
    """Do the work and say how it ended, a fault in one sentence."""
    _interrupted.clear()
    _failures.clear()
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="dyemix-ascii")
    ended, told = Ended.ANSWERED, ""
    try:
        work()
    except DyemixError as error:
        ended, told = _whose(error), str(error)
    except BrokenPipeError:
        pass  # the reader of our output has seen enough
    except OSError as error:
        place = f"{error.filename}: " if error.filename else ""
        ended, told = Ended.MACHINE, f"{place}the machine refuses ({error.strerror or error})."
    except MemoryError:
        ended, told = Ended.MACHINE, "there is not enough memory for this."
    except BaseException as error:
        if not (_interrupted.is_set() or isinstance(error, KeyboardInterrupt)):
            raise
        _interrupted.set()
    finally:
        for name in ("stdout", "stderr"):
            _write(name, "")
    lost = _failures.get("stdout", BrokenPipeError())
    if ended is Ended.ANSWERED and not isinstance(lost, BrokenPipeError):
        ended, told = Ended.MACHINE, f"standard output cannot be written ({lost.strerror})."
    if _interrupted.is_set():
        return Ended.INTERRUPTED
    if told:
        remark(told)
    return ended
