"""What can be told here of Windows and macOS: names, encodings, line ends, calls of one system.

A console that lacks letters is in `test_console` and `cli/test_commands` (cp1252, latin-1), a file
that Windows holds open in `test_writing`. What only those systems can show is not shown.
"""

from __future__ import annotations

import ast
import subprocess
import unicodedata
from functools import cache
from pathlib import Path, PureWindowsPath

import pytest

from dyemix.dataset.recipe import Recipe
from dyemix.files import read_swatches
from dyemix.page.pictures import Pictures
from dyemix.reading import photographed

ROOT = Path(__file__).resolve().parents[1]
MODULES = sorted((ROOT / "dyemix").rglob("*.py"))
#: Modules and names that the documentation of Python 3.11 calls of Unix alone.
UNIX = {"fcntl", "grp", "posix", "pty", "pwd", "resource", "syslog", "termios", "tty"}
UNIX_ALONE = {
    "os": """chown fork fchmod fchown getegid geteuid getgid getuid killpg lchown mkfifo mknod nice
    openpty pread pwrite sched_getaffinity sendfile setsid statvfs sync uname waitid
    O_CLOEXEC O_DIRECTORY O_DSYNC O_NOFOLLOW O_NONBLOCK""",
    "signal": """alarm pause pthread_kill setitimer sigwait
    SIGALRM SIGHUP SIGKILL SIGPIPE SIGQUIT SIGUSR1 SIGUSR2""",
    "socket": "AF_UNIX SO_REUSEPORT send_fds",
    "time": "clock_gettime tzset",
}
#: Names that Windows gives to devices, with any ending (Naming Files, Microsoft Learn).
DEVICES = {
    "con",
    "prn",
    "aux",
    "nul",
    *(f"{port}{i}" for port in ("com", "lpt") for i in range(10)),
}
TABLE = (
    "# cloth: cotton lawn\n# light: D65/10\nrecipe,L*,a*,b*\nblé 2,76.8,14.1,76.8\nundyed,92,0,7\n"
)


@cache
def nodes() -> list[tuple[Path, ast.AST]]:
    return [
        (path, node)
        for path in MODULES
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Import | ast.ImportFrom | ast.Attribute | ast.Call)
    ]


def test_nothing_is_called_that_windows_lacks() -> None:
    lacks = {module: set(names.split()) for module, names in UNIX_ALONE.items()}
    for path, node in nodes():
        if isinstance(node, ast.Import):
            assert not UNIX & {alias.name for alias in node.names}, path
        if isinstance(node, ast.ImportFrom):
            assert node.module not in UNIX, path
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
            assert node.attr not in lacks.get(node.value.id, ()), f"{path}:{node.lineno}"


def test_every_text_file_is_opened_in_an_encoding_of_its_own() -> None:
    """That of the machine is cp1252 on many a Windows."""
    seen = 0
    for path, node in nodes():
        if not (isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute | ast.Name)):
            continue
        name = node.func.attr if isinstance(node.func, ast.Attribute) else node.func.id
        if name not in ("read_text", "write_text", "open"):
            continue
        said = [ast.unparse(a) for a in node.args] + [f"{k.arg}" for k in node.keywords]
        place = f"{path}:{node.lineno}"
        if name != "open" and isinstance(node.func, ast.Attribute):
            assert {"encoding", "'utf-8'"} & {*said}, place
            seen += 1
        elif name == "open" and (isinstance(node.func, ast.Name) or said[:1] in (["encoding"], [])):
            assert "encoding" in said, place
            seen += 1
    assert seen > 5, "the walk finds those there are"


def test_every_file_can_lie_on_any_disk() -> None:
    done = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, check=False)
    if done.returncode:
        pytest.skip("this is no clone: its files are not listed")
    names = done.stdout.decode().split("\0")[:-1]
    assert len({unicodedata.normalize("NFC", name).casefold() for name in names}) == len(names)
    for name in names:
        for part in PureWindowsPath(name).parts:
            assert not set(part) & set('<>:"|?*\\'), name
            assert part.rstrip(" .") == part, name
            assert part.partition(".")[0].casefold() not in DEVICES, name
        assert len(name) < 120, "a folder of hers may have 140 more (MAX_PATH is 260)"


@pytest.mark.parametrize("ends", ["\n", "\r\n"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_a_table_of_any_system_is_the_same_table(tmp_path: Path, ends: str, encoding: str) -> None:
    (tmp_path / "own.csv").write_bytes(TABLE.replace("\n", ends).encode(encoding))
    found = read_swatches(tmp_path / "own.csv")
    assert {str(swatch.recipe) for swatch in found.readings} == {"undyed", "blé 2.00"}
    labs = {str(swatch.recipe): swatch.lab.tolist() for swatch in found.readings}
    assert labs == {"undyed": [92.0, 0.0, 7.0], "blé 2.00": [76.8, 14.1, 76.8]}
    assert found.conditions()["cloth"] == "cotton lawn"


def test_a_name_as_macos_writes_it_is_the_name_as_it_is_typed() -> None:
    assert Recipe.parse(unicodedata.normalize("NFD", "blé 1")) == Recipe.parse("blé 1")


def test_a_path_of_windows_is_a_file_and_a_cell() -> None:
    assert photographed(r"C:\dye room\squares.JPG B3") == (Path(r"C:\dye room\squares.JPG"), "B3")
    assert photographed(r"\\bench\photos\squares.heic B3 ".strip()) is not None
    assert photographed("56 -10 13") is None


def test_a_picture_is_called_by_its_name_alone() -> None:
    """As old browsers send it: with a folder, of either system."""
    for name in (r"C:\fakepath\piece.jpg", "../../piece.jpg"):
        with pytest.raises(Exception, match=r"^piece\.jpg: "):
            Pictures().add(name, b"no picture")
