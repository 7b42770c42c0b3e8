"""Every notebook runs from its first cell to its last, is kept without output, and shows pictures.

Run by nbclient, in a copy, so that what a notebook writes does not stay.
"""

from __future__ import annotations

import ast
import os
import shutil
from pathlib import Path

import nbformat
import pytest

ROOT = Path(__file__).resolve().parents[1]
NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))


def code(path: Path) -> list[str]:
    return [c.source for c in nbformat.read(path, as_version=4).cells if c.cell_type == "code"]


def test_there_are_notebooks() -> None:
    assert {path.name[0] for path in NOTEBOOKS} == set("12345678")


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.name)
def test_kept_without_output(path: Path) -> None:
    notebook = nbformat.read(path, as_version=4)
    nbformat.validate(notebook)
    for cell in notebook.cells:
        assert not cell.get("outputs")
        assert cell.get("execution_count") is None


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.name)
def test_holds_no_logic(path: Path) -> None:
    text = "\n".join(
        line for cell in code(path) for line in cell.splitlines() if not line.startswith("%")
    )
    banned = (ast.FunctionDef, ast.ClassDef, ast.For, ast.While, ast.If, ast.BinOp, ast.Lambda)
    found = [node for node in ast.walk(ast.parse(text)) if isinstance(node, banned)]
    assert not found, ast.unparse(found[0])


@pytest.mark.slow
@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.name)
# The kernel's own libraries warn of their future; what a notebook's cells do is checked below.
@pytest.mark.filterwarnings("default")
def test_runs(path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from nbclient import NotebookClient

    shutil.copytree(ROOT / "swatch_data", tmp_path / "swatch_data")
    folder = tmp_path / "notebooks"
    folder.mkdir()
    shutil.copy(path, folder)
    earlier = os.environ.get("PYTHONPATH", "")
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join(filter(None, [str(ROOT), earlier])))
    monkeypatch.setenv("IPYTHONDIR", str(tmp_path / "ipython"))
    notebook = nbformat.read(folder / path.name, as_version=4)
    NotebookClient(
        notebook, timeout=120, kernel_name="python3", resources={"metadata": {"path": str(folder)}}
    ).execute()
    outputs = [output for cell in notebook.cells for output in cell.get("outputs", ())]
    complaints = [o for o in outputs if o.get("name") == "stderr"]
    assert not complaints, complaints[0]["text"]
    pictures = [o for o in outputs if "image/png" in o.get("data", {})]
    drawn = sum("dyemix.plot(" in cell for cell in code(path))
    assert len(pictures) == drawn
