"""What becomes of the output must not become of the work: encodings, full disks, closed pipes."""

from __future__ import annotations

import io
import os
import pty
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from dyemix import console
from dyemix.errors import DyemixError, Fault, InputError

ROOT = Path(__file__).resolve().parents[1]


def script(body: str, **how: object) -> subprocess.Popen[bytes]:
    """A process in which `work()`, as `body` defines it, is guarded."""
    lines = (
        "import signal, sys, time, os",
        "from dyemix.console import *",
        "from dyemix.errors import *",
        "signal.signal(signal.SIGINT, interrupt)",
        "sys.unraisablehook = unraisable",
        body,
        "sys.exit(guarded(work))",
    )
    settings: dict[str, object] = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, **how}
    extra = settings.pop("env", {})
    return subprocess.Popen(
        [sys.executable, "-W", "error", "-c", "\n".join(lines)],
        env={**os.environ, "PYTHONPATH": str(ROOT), **extra},  # type: ignore[dict-item]
        **settings,
    )  # type: ignore[call-overload, no-any-return]


def finished(body: str, **how: object) -> tuple[int, bytes, bytes]:
    with script(body, **how) as process:
        out, err = process.communicate(timeout=60)
    return process.returncode, out, err


@pytest.mark.parametrize(
    ("encoding", "shown"),
    [
        ("utf-8", "ΔE2000 ≤ 3, −1.5 °C, 1¼ tsp, 2⅓ cups, 10⁻⁷, café"),
        ("cp1252", "dE2000 <= 3, -1.5 °C, 1¼ tsp, 2 1/3 cups, 10^-^7, café"),
        ("latin-1", "dE2000 <= 3, -1.5 °C, 1¼ tsp, 2 1/3 cups, 10^-^7, café"),
        ("ascii", "dE2000 <= 3, -1.5 degC, 1 1/4 tsp, 2 1/3 cups, 10^-^7, cafe"),
    ],
)
def test_what_an_encoding_lacks_is_written_in_ascii(encoding: str, shown: str) -> None:
    text = "ΔE2000 ≤ 3, −1.5 °C, 1¼ tsp, 2⅓ cups, 10⁻⁷, café"
    body = f"def work(): say({text!r}); remark({text!r}); remark('\\udcff')"
    code, out, err = finished(body, env={"PYTHONIOENCODING": encoding})
    assert code == 0
    assert out.decode(encoding) == f"{shown}\n"
    assert err.decode(encoding) == f"{shown}\n?\n"


def test_data_is_utf8_whatever_the_encoding() -> None:
    body = "def work(): say('first'); give('café Δ'); give(b'\\x89PNG')"
    code, out, _ = finished(body, env={"PYTHONIOENCODING": "latin-1"})
    assert (code, out) == (0, b"first\ncaf\xc3\xa9 \xce\x94\x89PNG")


def test_control_and_bidirectional_characters_are_left_out(
    capsys: pytest.CaptureFixture[str],
) -> None:
    console.say("na\x1b[31mvy\x07\x7f\x85\u202e 1\u2066\t%\r\nrose")
    assert capsys.readouterr().out == "na[31mvy 1\t%\nrose\n"


class Screen(io.StringIO):
    """A terminal."""

    def isatty(self) -> bool:
        return True


def test_patches_of_colour_where_they_can_be_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("WT_SESSION", "NO_COLOR"):
        monkeypatch.delenv(name, raising=False)

    def shown(**environment: str) -> str:
        with monkeypatch.context() as here:
            for key, value in {"TERM": "xterm", "COLORTERM": "truecolor", **environment}.items():
                here.setenv(key, value)
            here.setattr(sys, "stdout", screen := Screen())
            console.say("sage #7d8a6e")
        return screen.getvalue()

    assert shown() == "sage \x1b[48;2;125;138;110m   \x1b[0m #7d8a6e\n"
    plain = "sage #7d8a6e\n"
    assert shown(NO_COLOR="1") == shown(COLORTERM="") == shown(TERM="dumb") == plain


def test_a_wait_is_told_on_a_terminal_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TERM", "xterm")
    for stream, told in ((Screen(), True), (io.StringIO(), False)):
        monkeypatch.setattr(sys, "stderr", stream)
        with console.waiting("Fitting") as progress:
            assert ("Fitting …" in stream.getvalue()) is told
            progress(3, 9)
        assert ("Fitting: 3 of 9" in stream.getvalue()) is told
        assert stream.getvalue().endswith("\r\x1b[K" if told else "")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="has no device that is always full")
def test_a_full_disk_stops_the_output_and_not_the_work(tmp_path: Path) -> None:
    body = f"def work():\n say('x' * 100_000)\n open({str(tmp_path / 'done')!r}, 'w').close()"
    with Path("/dev/full").open("wb") as full:
        code, _, err = finished(body, stdout=full)
    assert code == 1
    assert err == b"standard output cannot be written (No space left on device).\n"
    assert (tmp_path / "done").exists()
    with Path("/dev/full").open("wb") as full:  # nowhere left to complain to
        assert finished(body, stdout=full, stderr=full)[0] == 1


def test_a_closed_pipe_is_no_fault(tmp_path: Path) -> None:
    body = (
        "def work():\n while not os.path.exists('go'): time.sleep(0.01)\n"
        " say('x' * 100_000); say('more'); give(b'x')\n open('done', 'w').close()"
    )
    with script(body, cwd=tmp_path) as process:
        assert process.stdout is not None
        process.stdout.close()
        (tmp_path / "go").touch()
        assert process.stderr is not None
        assert process.stderr.read() == b""
        assert process.wait(timeout=60) == 0
    assert (tmp_path / "done").exists()


def test_without_any_streams() -> None:
    done = subprocess.run(
        [sys.executable, "-c", "import sys; from dyemix.console import *\n"
         "def work(): say('one'); remark('two'); give('three')\n"
         "sys.stdout = sys.stderr = None; sys.exit(guarded(work))"],
        env={**os.environ, "PYTHONPATH": str(ROOT)}, timeout=60, check=False,
    )  # fmt: skip
    assert done.returncode == 0


@pytest.mark.parametrize(
    "during",
    [
        "ready(); time.sleep(60)",
        "ready(); say('x' * 100_000)",
        # What extension modules make of it while they are imported.
        "try: ready(); time.sleep(60)\n except BaseException: raise ImportError('no core')",
        # Where Python can raise nothing, as in a lock of its imports: it is raised right after.
        "class Torn:\n  def __del__(self): ready(); time.sleep(60)\n"
        " Torn()\n while True: time.sleep(0.01)",
    ],
)
def test_ctrl_c_is_one_exit_code_and_no_word(during: str) -> None:
    body = f"def ready(): os.write(2, b'.')\ndef work():\n {during}"
    with script(body) as process:
        assert process.stderr is not None
        assert process.stderr.read(1) == b"."
        process.send_signal(signal.SIGINT)
        assert process.stderr.read() == b""
        assert process.wait(timeout=60) == 130


@pytest.mark.parametrize(
    ("raising", "code", "told"),
    [
        ("DyemixError('no such dye.')", 2, "no such dye."),
        ("InputError(Fault('is there already.', 'a.csv'))", 2, "a.csv: is there already."),
        ("PermissionError(13, 'Permission denied', 'a.csv')", 1, "a.csv: the machine refuses"),
        ("MemoryError()", 1, "there is not enough memory"),
        ("BrokenPipeError()", 0, ""),
    ],
)
def test_how_it_ended(raising: str, code: int, told: str) -> None:
    ended, out, err = finished(f"def work(): raise {raising}")
    assert (ended, out) == (code, b"")
    assert err.decode().startswith(told)
    assert "Traceback" not in err.decode()


@pytest.mark.parametrize(
    ("cause", "code"),
    [(OSError(28, "No space left"), 1), (PermissionError(13, "no"), 1),
     (FileNotFoundError(2, "no"), 2), (OSError("no picture"), 2), (IsADirectoryError(21, "no"), 2)],
)  # fmt: skip
def test_a_sentence_about_the_machine_keeps_its_exit_code(cause: OSError, code: int) -> None:
    def explained() -> None:
        try:
            raise cause
        except OSError:
            raise InputError(Fault("cannot be used.", "a.csv")) from None

    assert console.guarded(explained) == code


def test_a_fault_of_ours_is_shown_whole() -> None:
    def broken() -> None:
        raise KeyError("a bug")

    with pytest.raises(KeyError):
        console.guarded(broken)
    with pytest.raises(DyemixError):
        raise DyemixError("and this is still what it was")


def test_a_patch_on_a_real_terminal() -> None:
    """Through a pseudo-terminal: what `isatty` of a real stream answers."""
    mine, theirs = pty.openpty()
    environment = {"TERM": "xterm", "COLORTERM": "truecolor", "NO_COLOR": ""}
    code, _, _ = finished("def work(): say('#7d8a6e')", stdout=theirs, env=environment)
    os.close(theirs)
    assert code == 0
    assert os.read(mine, 100) == b"\x1b[48;2;125;138;110m   \x1b[0m #7d8a6e\r\n"
    os.close(mine)
