"""Would the tests notice? Small faults are put into modules, one at a time, and their tests run.

``python -m tests.mutants [--minutes 6] [--seed 1] [--only MODULE]`` works on a copy of the project,
takes faults at random until its time is over, and prints for each module how many its tests found.
Faults that change nothing anybody can see stand in ``data/equivalent_mutants.csv``, each with its
reason. Exits with 1 where fewer are found than `NEEDED` says of their kind of module, or more are
excused than `MOST_EXCUSED`.
"""

from __future__ import annotations

import argparse
import ast
import contextlib
import csv
import gc
import os
import random
import resource
import shutil
import signal
import sys
import tempfile
import time
import warnings
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path

HERE = Path(__file__).resolve().parents[1]
_SUMS = (
    "tests/bench/test_limits.py", "tests/bench/test_by_hand.py", "tests/bench/test_amounts.py",
)  # fmt: skip
#: Modules, with the tests that must find their faults.
TESTS = {
    "dataset/units.py": ("tests/dataset/test_units.py",),
    "dataset/recipe.py": ("tests/dataset/test_recipe.py",),
    "bench/stock.py": (*_SUMS, "tests/bench/test_stock.py", "tests/bench/test_printed_amounts.py",
                       "tests/bench/test_warnings.py", "tests/bench/test_plan.py"),
    "bench/method.py": (*_SUMS, "tests/bench/test_method.py", "tests/bench/test_fibre.py",
                        "tests/bench/test_printed_amounts.py", "tests/bench/test_no_cliffs.py",
                        "tests/bench/test_words.py", "tests/bench/test_warnings.py"),
    "bench/bath_sheet.py": (*_SUMS, "tests/bench/test_words.py", "tests/bench/test_method.py",
                            "tests/bench/test_warnings.py", "tests/bench/test_fibre.py",
                            "tests/bench/test_mottle.py", "tests/cli/test_cli_bench.py"),
    "colour/ciede2000.py": ("tests/colour/test_ciede2000.py",),
    "colour/colorimetry.py": ("tests/colour/test_colorimetry.py",),
    "colour/spectra.py": ("tests/colour/test_spectra.py",),
    "colour/appearance.py": ("tests/colour/test_ciecam16.py", "tests/colour/test_difference.py",
                             "tests/colour/test_metamerism.py", "-k", "not match"),
    "model/kubelka_munk.py": ("tests/model/test_kubelka_munk.py",),
    "model/uncertainty.py": ("tests/model/test_uncertainty.py", "tests/bench/test_mottle.py"),
    "fitting/calibration.py": ("tests/fitting/test_calibration.py",
                               "tests/model/test_uncertainty.py", "-k",
                               "calibration and not worlds and not book or every_unknown"),
    "matching/correct.py": ("tests/matching/test_correct.py", "-k", "not workshop"),
    "dyebook/past.py": ("tests/dyebook/test_past.py",),
    "photo/characterise.py": ("tests/photo/test_characterise.py",),
    "photo/patches.py": ("tests/photo/test_patches.py", "tests/photo/test_camera_matrix.py", "-k",
                         "not s_curve and not beats"),
}  # fmt: skip
#: Shares to be found: amounts that a dyer weighs by leave no room.
AMOUNTS = tuple(name for name in TESTS if name.startswith(("dataset", "bench")))
OTHERS = tuple(name for name in TESTS if name not in AMOUNTS)
NEEDED = {AMOUNTS: 1.0, OTHERS: 0.90}
#: Share of the faults of a module that may stand among those that change nothing.
MOST_EXCUSED = 0.03
#: A sample of modules whose tests find just what is `NEEDED` is called short this seldom.
CHANCE = 0.01
#: The kinds of fault, by cosmic-ray's names.
KINDS = (
    *(f"core/ReplaceBinaryOperator_{pair}" for pair in (
        "Add_Sub", "Sub_Add", "Mul_Div", "Div_Mul", "Pow_Mul", "Mod_Mul", "FloorDiv_Mul",
    )),
    *(f"core/ReplaceComparisonOperator_{pair}" for pair in (
        "Lt_LtE", "LtE_Lt", "Gt_GtE", "GtE_Gt", "Lt_Gt", "Gt_Lt", "Eq_NotEq", "NotEq_Eq",
        "Is_IsNot", "IsNot_Is",
    )),
    "core/ReplaceUnaryOperator_Delete_USub", "core/ReplaceUnaryOperator_Delete_Not",
    "core/ReplaceTrueWithFalse", "core/ReplaceFalseWithTrue", "core/ReplaceAndWithOr",
    "core/ReplaceOrWithAnd", "core/AddNot", "core/NumberReplacer", "core/ZeroIterationForLoop",
)  # fmt: skip
#: Longer than this (s), a fault has sent its tests round in circles: it is found.
PATIENCE = 90
#: Memory (bytes) that any process of theirs may ask for.
MEMORY = 8 * 2**30


@dataclass(frozen=True)
class Mutant:
    """One fault: the module's text with it, and where it is."""

    module: str
    line: int
    before: str
    after: str
    text: str

    def __str__(self) -> str:
        return f"{self.module}:{self.line}: {self.before.strip()}  ->  {self.after.strip()}"


@dataclass(frozen=True)
class Place:
    """Where a fault can be put: which of those of its kind in the module."""

    module: str
    kind: str
    occurrence: int


def places(module: str) -> list[Place]:
    """Every fault of these kinds in a module, but those in annotations and in words of errors."""
    from cosmic_ray.ast import ast_nodes, get_ast
    from cosmic_ray.plugins import get_operator

    source = (HERE / "dyemix" / module).read_text("utf-8")
    nodes, unseen, found = list(ast_nodes(get_ast(source))), _unseen(source), []
    for kind in KINDS:
        operator = get_operator(kind)()
        spots = (spot for node in nodes for spot in operator.mutation_positions(node))
        found += [
            Place(module, kind, i) for i, (start, _) in enumerate(spots) if start[0] not in unseen
        ]
    return found


def mutant(place: Place) -> Mutant:
    """The fault that stands there."""
    from cosmic_ray.mutating import mutate_code
    from cosmic_ray.plugins import get_operator

    source = (HERE / "dyemix" / place.module).read_text("utf-8")
    text = mutate_code(source.encode(), get_operator(place.kind)(), place.occurrence)
    pairs = zip(source.splitlines(), text.splitlines(), strict=False)
    line, (before, after) = next((i, pair) for i, pair in enumerate(pairs, 1) if pair[0] != pair[1])
    return Mutant(place.module, line, before, after, text)


def _unseen(source: str) -> set[int]:
    """Lines of annotations of signatures and classes, imports (those for them too), raises."""
    lines: set[int] = set()
    for node in ast.walk(ast.parse(source)):
        parts: list[ast.AST] = []
        if isinstance(node, ast.FunctionDef):
            parts = [
                a.annotation for a in ast.walk(node.args) if isinstance(a, ast.arg) and a.annotation
            ] + ([node.returns] if node.returns else [])
        elif isinstance(node, ast.AnnAssign):
            parts = [node.annotation]
        elif isinstance(node, ast.Raise | ast.Import | ast.ImportFrom | ast.Assert):
            parts = [node]
        elif isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING":
            parts = [node.test]
        for part in parts:
            lines |= set(range(part.lineno, part.end_lineno + 1))
    return lines


def is_found(mutant: Mutant, copy: Path) -> bool:
    """Whether the tests of a module fail with this fault in it; tried in a process of its own."""
    path = copy / "dyemix" / mutant.module
    sound = path.read_bytes()
    path.write_text(mutant.text, "utf-8")
    child = os.fork()
    if child == 0:
        with contextlib.suppress(BaseException):
            signal.alarm(PATIENCE)
            # A command that a test starts outlives this process, and may turn round for ever.
            resource.setrlimit(resource.RLIMIT_CPU, (PATIENCE, PATIENCE))
            resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
            os._exit(_run(TESTS[mutant.module]))
        os._exit(3)
    _, status = os.waitpid(child, 0)
    path.write_bytes(sound)
    return status != 0


def _run(tests: tuple[str, ...]) -> int:
    import pytest

    silence = os.open(os.devnull, os.O_WRONLY)
    os.dup2(silence, 1)
    os.dup2(silence, 2)
    imported = ["-W", "ignore::pytest.PytestAssertRewriteWarning"]  # they are, before the fork
    once = ["-x", "--tb=no", "--hypothesis-profile=unshrunk", "-n", "0", "-p", "no:cacheprovider"]
    return int(pytest.main([*once, *imported, *tests]))


def excused() -> dict[tuple[str, str, str], str]:
    """Faults that change nothing, by module and by the line before and after: the reason."""
    with (HERE / "tests" / "data" / "equivalent_mutants.csv").open(newline="") as file:
        return {(r["module"], r["before"], r["after"]): r["reason"] for r in csv.DictReader(file)}


def is_short(found: int, of: int, needed: float) -> bool:
    """Whether a sample in which so few were found is no chance of the draw.

    The number found in a sample is binomial: of 150 at 90 %, 126 and more are let pass, while of
    those that need all none is missing by chance. A whole run hardly differs from its sample.
    """
    from scipy.stats import binom

    return bool(binom.cdf(found, of, needed) < CHANCE)


def main() -> int:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--minutes", type=float, default=6.0)
    options.add_argument("--most", type=int, help="faults at most: the same ones on any machine")
    options.add_argument("--seed", type=int, default=1)
    options.add_argument("--only", choices=TESTS, help="one module alone")
    given = options.parse_args()
    known = excused()
    modules = [given.only] if given.only else list(TESTS)
    found = {module: places(module) for module in modules}
    every = [place for module in modules for place in found[module]]
    random.Random(given.seed).shuffle(every)
    end = time.monotonic() + 60 * given.minutes
    caught: dict[str, list[bool]] = {module: [] for module in modules}
    # What tests import and no fault is put into, once for all.
    for slow in ("hypothesis", "pandas", "pytest", "scipy.optimize", "scipy.stats"):
        import_module(slow)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it speaks of optional packages on import
        import_module("colour")

    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "project"
        ignored = shutil.ignore_patterns(".git", ".venv", "__pycache__", ".*_cache", "build")
        shutil.copytree(HERE, copy, ignore=ignored)
        os.chdir(copy)
        sys.path[:] = [str(copy), *(p for p in sys.path if p not in ("", str(HERE)))]
        gc.freeze()  # what is loaded is no waste: to look through it takes longer than most tests
        for module in modules:
            sound = (HERE / "dyemix" / module).read_text("utf-8")
            if is_found(Mutant(module, 1, "", "", sound), copy):
                sys.exit(f"{module}: its tests fail without any fault: {' '.join(TESTS[module])}")
        # All is compiled by now, and kept; but not modules that faults are put into.
        sys.dont_write_bytecode = True
        for module in modules:
            path = copy / "dyemix" / module
            for compiled in path.parent.glob(f"__pycache__/{path.stem}.*"):
                compiled.unlink()
        for place in every:
            tried = sum(map(len, caught.values()))
            if time.monotonic() > end or tried == given.most:
                break
            fault = mutant(place)
            if (fault.module, fault.before.strip(), fault.after.strip()) in known:
                continue
            caught[fault.module].append(is_found(fault, copy))
            if not caught[fault.module][-1]:
                print(f"not found: {fault}", flush=True)
    failed = False
    for module, results in caught.items():
        listed, whole = sum(key[0] == module for key in known), len(found[module])
        failed |= listed > MOST_EXCUSED * whole
        print(
            f"{module:26} {sum(results):4} of {len(results):4}, of {whole} in all, {listed} excused"
        )
    for kind, needed in NEEDED.items():
        results = [result for module in kind for result in caught.get(module, [])]
        failed |= is_short(sum(results), len(results), needed)
        print(f"{sum(results)} of {len(results)}; at least {needed:.0%}: {', '.join(kind)}")
    return int(failed)


if __name__ == "__main__":
    sys.exit(main())
