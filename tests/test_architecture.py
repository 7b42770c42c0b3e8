"""A module imports only from layers above its own, and the public names are the ones meant."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

import dyemix

PACKAGE = Path(dyemix.__file__).parent
#: From the top down; a row's modules may use those left of them in the same row.
LAYERS = (
    ("errors", "kubelka_munk"),
    ("colorimetry", "colour_difference", "recipe", "conditions"),
    ("appearance",),
    ("plain", "measuring", "settings", "cautions", "bench_page"),
    ("repeats", "swatches", "target", "fit_report", "blends", "scatter", "dyes"),
    ("files",),
    ("ladder", "lab_inversion", "lab_ladder", "resampling", "uncertainty", "fit_checks", "fitting"),
    ("solver", "search", "far_side", "settling"),
    ("kit", "wishes", "lamps", "matches", "choosing", "advice", "matching"),
    ("planning", "bath", "borrowing"),
    ("miss", "strengths", "trial", "correcting", "learning", "next_swatch"),
    ("series", "subduing", "second_bath", "tints", "cards"),
    ("gamut", "wanted", "reaching", "families"),
    ("dyebook",),
    ("drawing", "card_plots", "reach_plots", "series_plots", "plots"),
    ("cli_options", "cli_photo", "cli_match", "cli_bench", "cli_colours", "cli_trials"),
    ("cli_book", "cli"),
)
ORDER = {name: i for i, name in enumerate(name for row in LAYERS for name in row)}
#: `files.shelf` has swatches fitted, once: the one place where a file module calls the fit.
EXCEPTIONS = {("files/shelf.py", "fitting")}
MODULES = sorted(p.relative_to(PACKAGE) for p in PACKAGE.rglob("*.py"))


def rooms(tree: ast.AST) -> set[str]:
    """First-level rooms of the package that a module imports from."""
    names: set[str] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("dyemix"):
            parts = (node.module or "").split(".")
            names |= {parts[1]} if len(parts) > 1 else {alias.name for alias in node.names}
        elif isinstance(node, ast.Import):
            parts_of = (alias.name.split(".") for alias in node.names)
            names |= {p[1] for p in parts_of if p[0] == "dyemix" and len(p) > 1}
    return names


@pytest.mark.parametrize("path", MODULES, ids=str)
def test_imports_reach_only_upwards(path: Path) -> None:
    room = path.parts[0].removesuffix(".py")
    if room == "__init__":
        return
    assert room in ORDER, f"{room} has no layer: add it to LAYERS and to DEVELOPERS.md"
    for used in rooms(ast.parse((PACKAGE / path).read_text(encoding="utf-8"))):
        if used == room or (path.as_posix(), used) in EXCEPTIONS:
            continue
        assert ORDER[used] < ORDER[room], f"{path} imports {used}, which lies below it"


@pytest.mark.parametrize("path", MODULES, ids=str)
def test_colour_library_is_imported_late(path: Path) -> None:
    tree = ast.parse((PACKAGE / path).read_text(encoding="utf-8"))
    slow = {"colour", "pandas", "matplotlib", "scipy"}
    for node in tree.body:
        names = (
            [alias.name for alias in node.names]
            if isinstance(node, ast.Import)
            else [node.module or ""]
            if isinstance(node, ast.ImportFrom)
            else []
        )
        assert not slow & {name.split(".")[0] for name in names}, f"{path} imports slowly at start"


@pytest.mark.parametrize("path", MODULES, ids=str)
def test_modules_stay_short(path: Path) -> None:
    assert len((PACKAGE / path).read_text(encoding="utf-8").splitlines()) <= 400


@pytest.mark.parametrize("name", [*LAYERS[-2], *LAYERS[-1]])
def test_the_command_line_computes_nothing(name: str) -> None:
    text = (PACKAGE / f"{name}.py").read_text(encoding="utf-8")
    sums = (ast.Mult, ast.Div, ast.Sub, ast.Pow, ast.Mod)
    found = [n for n in ast.walk(ast.parse(text)) if isinstance(n, ast.BinOp)]
    found = [n for n in found if isinstance(n.op, sums)]
    assert not found, f"arithmetic in the command line, line {found[0].lineno}"
    assert "numpy" not in text


def test_public_names() -> None:
    assert dyemix.__all__ == sorted(dyemix.__all__, key=lambda n: (not n.isupper(), n.islower(), n))
    for name in dyemix.__all__:
        assert getattr(dyemix, name).__doc__ or name.isupper(), f"{name} has no docstring"
