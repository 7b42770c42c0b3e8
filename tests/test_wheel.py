"""The wheel carries all it needs, and runs in a new environment, away from the source."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import time
import venv
import zipfile
from pathlib import Path
from urllib.error import URLError
from urllib.request import urlopen

import numpy
import pytest

from dyemix.dataset.result import DEMO_WARNING

ROOT = Path(__file__).resolve().parents[1]
pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("wheel")
    subprocess.run(
        [sys.executable, "-m", "build", "-w", "--no-isolation", "-o", str(folder), str(ROOT)],
        check=True, capture_output=True, timeout=180,
    )  # fmt: skip
    (built,) = folder.glob("*.whl")
    return built


@pytest.fixture(scope="module")
def installed(wheel: Path) -> Path:
    """A folder with the command in an environment of its own; dependencies are lent by this one."""
    room = wheel.parent / "room"
    venv.create(room, with_pip=False)
    site = next(room.rglob("site-packages"))
    (site / "borrowed.pth").write_text(f"{Path(numpy.__file__).parents[1]}\n", encoding="utf-8")
    python = room / ("Scripts" if os.name == "nt" else "bin") / "python"
    subprocess.run(
        [sys.executable, "-m", "pip", "--python", str(python), "install", "--no-deps", "--quiet",
         "--ignore-installed", "--no-index", str(wheel)],
        check=True, capture_output=True, timeout=120,
    )  # fmt: skip
    return python.parent


def environment(folder: Path) -> dict[str, str]:
    plain = {name: value for name, value in os.environ.items() if name != "PYTHONPATH"}
    return plain | {"XDG_CACHE_HOME": str(folder / "cache")}


def test_it_carries_every_file_of_the_package_and_the_demo(wheel: Path) -> None:
    carried = set(zipfile.ZipFile(wheel).namelist())
    source = {
        path.relative_to(ROOT).as_posix()
        for path in (ROOT / "dyemix").rglob("*")
        if path.is_file() and path.suffix != ".pyc"
    }
    assert source <= carried
    assert {f"dyemix/data/napkins{part}.csv" for part in ("", "_mixtures")} <= carried
    assert "dyemix/py.typed" in carried
    assert {"page.js", "picture.js", "page.css"} <= {name.rpartition("/")[2] for name in carried}
    assert not [
        name for name in carried if name.partition("/")[0] not in ("dyemix", *_info(carried))
    ]


def _info(carried: set[str]) -> set[str]:
    return {name.partition("/")[0] for name in carried if ".dist-info/" in name}


def test_it_matches_from_any_folder(installed: Path, tmp_path: Path) -> None:
    done = subprocess.run(
        [installed / "dyemix", "match", "#7d8a6e"], cwd=tmp_path, env=environment(tmp_path),
        capture_output=True, text=True, encoding="utf-8", timeout=120, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith(DEMO_WARNING)
    where = subprocess.run(
        [installed / "python", "-c", "import dyemix; print(dyemix.__file__)"], cwd=tmp_path,
        env=environment(tmp_path), capture_output=True, text=True, timeout=120, check=True,
    )  # fmt: skip
    assert Path(where.stdout.strip()).is_relative_to(installed.parent)


def test_its_page_answers(installed: Path, tmp_path: Path) -> None:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    page = subprocess.Popen(
        [installed / "dyemix", "web", "--no-browser", "--port", str(port)], cwd=tmp_path,
        env=environment(tmp_path), stdout=subprocess.PIPE, stderr=subprocess.PIPE,
    )  # fmt: skip
    try:
        for _ in range(600):
            try:
                with urlopen(f"http://127.0.0.1:{port}/colour?wanted=%237d8a6e") as answer:
                    text = answer.read().decode("utf-8")
                break
            except URLError:
                assert page.poll() is None, page.communicate()[1].decode()
                time.sleep(0.1)
        assert answer.status == 200
        assert "Practice shelf." in text
        assert text.count('<section class="column"') >= 2
        with urlopen(f"http://127.0.0.1:{port}/static/page.js") as script:
            assert b"async function ask" in script.read()
    finally:
        page.kill()
        page.communicate()
