"""A module imports only from layers above its own, and the public names are the ones meant."""

from __future__ import annotations

import ast
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from call_stack import deepest_stack

import dyemix

PACKAGE = Path(dyemix.__file__).parent
#: From the top down: a package imports only from those above it.
PACKAGES = (
    ("errors", "arrays", "console", "writing"),
    ("colour", "dataset", "model"),
    ("files", "photo"),
    ("fitting", "matching", "series"),
    ("reading", "shelf"),
    ("gamut", "cloth", "bench", "dyebook"),
    ("plots", "report", "page", "cli"),
)
ORDER = {name: i for i, name in enumerate(name for row in PACKAGES for name in row)}
FILES = {
    "dyemix." + ".".join(p.relative_to(PACKAGE).with_suffix("").parts).removesuffix(".__init__"): p
    for p in PACKAGE.rglob("*.py")
    if p.parent != PACKAGE or p.stem != "__init__"
}
MODULES = sorted(p.relative_to(PACKAGE) for p in PACKAGE.rglob("*.py"))


def imported(path: Path) -> set[str]:
    """Modules of dyemix that a module imports, inside functions and for types too."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names if alias.name in FILES}
        elif isinstance(node, ast.ImportFrom) and (node.module or "").split(".")[0] == "dyemix":
            names = {f"{node.module}.{alias.name}" for alias in node.names}
            found |= names & set(FILES) or {str(node.module)}
    return found


@pytest.mark.parametrize("module", sorted(FILES))
def test_a_package_imports_only_from_those_above_it(module: str) -> None:
    package = module.split(".")[1]
    assert package in ORDER, f"{package} has no place: add it to PACKAGES and to DEVELOPERS.md"
    for used in imported(FILES[module]):
        above = used.split(".")[1] if "." in used else "__init__"
        assert above == package or ORDER.get(above, 99) < ORDER[package], (
            f"{module} imports {used}, which does not lie above it"
        )


def test_no_module_imports_itself_over_others() -> None:
    """Depth first, as in Tarjan's search for strongly connected components: no way leads back."""
    # What a package hands out at its door is for others, so the door is not on the way.
    inner = {m: imported(p) & set(FILES) for m, p in FILES.items() if p.stem != "__init__"}
    finished: set[str] = set()

    def follow(module: str, way: tuple[str, ...]) -> None:
        assert module not in way, " imports ".join((*way[way.index(module) :], module))
        if module not in finished:
            for used in sorted(inner.get(module, ())):
                follow(used, (*way, module))
            finished.add(module)

    for module in sorted(inner):
        follow(module, ())


def test_few_modules_lie_flat() -> None:
    assert len(list(PACKAGE.glob("*.py"))) <= 9


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


@pytest.mark.parametrize("path", sorted((PACKAGE / "cli").glob("*.py")), ids=lambda p: p.stem)
def test_the_command_line_computes_nothing(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    sums = (ast.Mult, ast.Div, ast.Sub, ast.Pow, ast.Mod)
    found = [n for n in ast.walk(ast.parse(text)) if isinstance(n, ast.BinOp)]
    found = [n for n in found if isinstance(n.op, sums)]
    assert not found, f"arithmetic in the command line, line {found[0].lineno}"
    assert "numpy" not in text


#: Cells of the demo's tables to keep, for a shelf that is fitted in no time.
OF_TWO_DYES = re.compile(r"recipe|undyed|(?:(?: \+ )?(?:lemon|plum) [\d.]+)+")
LAB = """swatch,recipe,L*,a*,b*
1,undyed,93.1,0.2,3.9
2,gold 4,66.2,24.9,70.8
3,gold 1,75.9,13.6,57.0
4,gold 0.25,84.1,6.0,36.9
"""


@pytest.mark.parametrize("kind", ["spectra", "spectra with mixtures", "CIELAB"])
def test_a_table_is_a_dye_set_seven_modules_deep_at_most(kind: str, tmp_path: Path) -> None:
    table, mixtures = tmp_path / "napkins.csv", tmp_path / "napkins_mixtures.csv"
    for path in (table, mixtures):
        lines = (PACKAGE.parent / "swatch_data" / path.name).read_text("utf-8").splitlines(True)
        few = [x for x in lines if x[0] == "#" or OF_TWO_DYES.fullmatch(x.split(",")[1])]
        path.write_text("".join(few), encoding="utf-8")
    if kind == "CIELAB":
        table.write_text(LAB, encoding="utf-8")

    def table_to_dye_set() -> None:
        aside = dyemix.read_swatches(mixtures) if kind == "spectra with mixtures" else None
        dyemix.fit(dyemix.read_swatches(table), aside)

    found = deepest_stack(table_to_dye_set)
    assert 3 <= len(found) <= 7, " calls ".join(found)


def test_public_names() -> None:
    assert set(dyemix.__all__) <= set(dir(dyemix))
    # Forty that form one idea, and the five errors beside the one that all of them are.
    assert len(dyemix.__all__) <= 45
    assert {*dir(dyemix)} == {*dyemix.__all__, "__doc__", "__version__"}
    for name in dyemix.__all__:
        assert getattr(dyemix, name).__doc__, f"{name} has no docstring"
    assert re.fullmatch(r"\d+\.\d+.*", dyemix.__version__)
    with pytest.raises(AttributeError, match="puce"):
        _ = dyemix.puce  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    ("module", "without"),
    [
        ("dyemix", {"scipy", "pandas", "matplotlib", "click", "numpy"}),
        ("dyemix.fitting.fit, dyemix.fitting.learn", {"click", "matplotlib", "sqlite3"}),
        # All that the list of commands shows: it answers before numpy would be imported.
        ("dyemix.cli.bench, dyemix.cli.book, dyemix.cli.colours, dyemix.cli.faces", {"numpy"}),
    ],
)
def test_importing_loads_only_what_it_needs(module: str, without: set[str]) -> None:
    done = subprocess.run(
        [sys.executable, "-c", f"import {module}, sys; print(*sys.modules)"],
        env={**os.environ, "PYTHONPATH": str(PACKAGE.parent)}, capture_output=True, text=True,
        check=True, timeout=60,
    )  # fmt: skip
    assert not without & set(done.stdout.split())
