"""Many targets: the same answers as one by one, on any executor, with nothing lost."""

from __future__ import annotations

import pickle
from collections.abc import Callable
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from dataclasses import fields, is_dataclass
from typing import Any
from unittest.mock import patch

import numpy as np
import pytest

from benchmarks.search_speed import large_shelf, random_colours
from benchmarks.shelf import shelf, targets
from benchmarks.subsets import every_blend, evolved
from dyemix.colour.colorimetry import D65_10, Light
from dyemix.dataset.target import Target
from dyemix.errors import DyemixError
from dyemix.matching import match as matching
from dyemix.matching.limits import Kit
from dyemix.matching.match import HOPELESS, match, match_many
from dyemix.matching.matches import ManyMatches, Matches
from dyemix.matching.subsets import EARNS_ITS_PLACE, Problem, number_of_blends
from dyemix.model.dyes import DyeSet


@pytest.fixture(scope="module")
def dyes() -> DyeSet:
    return shelf(0, True)


@pytest.fixture(scope="module")
def wanted(dyes: DyeSet) -> list[Target | str]:
    """Hex codes, bare CIELAB, other lights, spectra; in reach and far out of it; 20 in all."""
    labs = targets(dyes)
    made = dyes.predict("marigold 0.5 + navy 0.3 + scarlet 0.2").as_target()
    return [
        "#7d8a6e",
        Target(labs[3], D65_10, name="first"),
        "55 -10 13",
        "55 -10 13 A/10",
        made,
        *[Target(x, D65_10, name=f"colour {i}") for i, x in enumerate(labs[20:34])],
        "#8a1f4b",
    ]


@pytest.fixture(scope="module")
def one_by_one(dyes: DyeSet, wanted: list[Target | str]) -> list[Matches]:
    return [match(dyes, target, count=4) for target in wanted]


def same(a: Any, b: Any) -> bool:
    """Whether two results hold the very same numbers and words, all the way down."""
    if is_dataclass(a) and not isinstance(a, type):
        return type(a) is type(b) and all(
            same(getattr(a, f.name), getattr(b, f.name)) for f in fields(a)
        )
    if isinstance(a, np.ndarray):
        return bool(np.allclose(a, b, rtol=0, atol=1e-9))
    if isinstance(a, float):
        return bool(abs(a - b) <= 1e-9)
    if isinstance(a, tuple):
        return len(a) == len(b) and all(same(x, y) for x, y in zip(a, b, strict=True))
    return bool(a == b)


def all_same(some: list[Matches] | ManyMatches, others: list[Matches]) -> None:
    assert len(some) == len(others)
    for a, b in zip(some, others, strict=True):
        assert str(a) == str(b)
        assert same(a, b)


def test_many_are_answered_as_one_by_one_and_in_order(
    dyes: DyeSet, wanted: list[Target | str], one_by_one: list[Matches]
) -> None:
    told: list[tuple[int, int]] = []
    with patch.object(matching, "_CHUNK", 16):
        found = match_many(dyes, wanted, count=4, progress=lambda done, of: told.append((done, of)))
    all_same(found, one_by_one)
    assert told == [(16, 20), (20, 20)]
    assert len(match_many(dyes, [])) == 0


def test_each_target_has_the_one_blend_of_all_dyes(dyes: DyeSet) -> None:
    four = dyes.take(("lemon", "marigold", "scarlet", "rose"))
    dull = [Target(np.array(lab), D65_10) for lab in ([45, 5, 8], [40, 8, -4], [35, 3, 3])]
    alone = [match(four, target, max_dyes=4) for target in dull]
    assert any(len(found[0].recipe) == 4 for found in alone[1:])
    all_same(match_many(four, dull, max_dyes=4), alone)


def test_limits_and_kit_hold_for_all(dyes: DyeSet, wanted: list[Target | str]) -> None:
    options: dict[str, Any] = {
        "max_dyes": 4,
        "avoid": ("black",),
        "total": 2.0,
        "kit": Kit(120.0),
        "rank_by": "paper",
        "count": 2,
    }
    some = wanted[:7]
    all_same(match_many(dyes, some, **options), [match(dyes, x, **options) for x in some])


def test_on_processes(dyes: DyeSet, wanted: list[Target | str], one_by_one: list[Matches]) -> None:
    with ProcessPoolExecutor(1) as pool, patch.object(matching, "_CHUNK", 10):
        all_same(match_many(dyes, wanted, count=4, executor=pool), one_by_one)


@pytest.mark.slow
def test_workers_of_this_machine_come_to_the_same(
    dyes: DyeSet, wanted: list[Target | str], one_by_one: list[Matches]
) -> None:
    with patch.object(matching, "_CHUNK", 10):
        all_same(match_many(dyes, wanted, count=4, workers=2), one_by_one)


def test_more_blends_than_can_be_searched_are_refused_with_what_to_do() -> None:
    assert number_of_blends(40, 4) == 40 + 780 + 9880 + 91390
    with pytest.raises(DyemixError, match=r"80 dyes make .* fewer dyes in a recipe, or .*--only"):
        number_of_blends(80, 4)


@pytest.mark.slow
def test_a_shelf_of_many_dyes_loses_nothing_to_the_beam() -> None:
    # Twenty-four dyes: of 2024 blends of three the nearest 400 are added to, and no answer changes.
    many = large_shelf(24)
    problem = Problem.of(many, random_colours(3, 9), D65_10, 4)
    narrow, wide = problem.search(beam=400).best(), problem.search().best()
    assert np.all(np.sqrt(narrow.cost) <= np.sqrt(wide.cost) + 1e-4)


def test_on_the_executor_of_dask(
    dyes: DyeSet, wanted: list[Target | str], one_by_one: list[Matches]
) -> None:
    distributed = pytest.importorskip("distributed")
    options = {"processes": False, "n_workers": 1, "threads_per_worker": 1}
    with (
        distributed.LocalCluster(dashboard_address=None, **options) as cluster,
        distributed.Client(cluster) as client,
        patch.object(matching, "_CHUNK", 10),
    ):
        found = match_many(dyes, wanted, count=4, executor=client.get_executor())
    all_same(found, one_by_one)


class Failing(Executor):
    """Does the work at once, but one chunk comes to grief: in the worker, or on its way there."""

    def __init__(self, which: int, refuse: bool = False, error: Exception | None = None) -> None:
        self.which, self.refuse, self.count = which, refuse, 0
        self.error = error or MemoryError("worker ran out of memory")

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        self.count += 1
        future: Future[Any] = Future()
        if self.count == self.which:
            if self.refuse:
                raise self.error
            future.set_exception(self.error)
        else:
            future.set_result(fn(*args, **kwargs))
        return future


@pytest.mark.parametrize("refuse", [False, True], ids=["in the worker", "when sent"])
def test_a_failed_chunk_is_named_and_done_here(
    dyes: DyeSet, wanted: list[Target | str], one_by_one: list[Matches], refuse: bool
) -> None:
    told: list[int] = []
    with patch.object(matching, "_CHUNK", 8):
        found = match_many(
            dyes, wanted, count=4, executor=Failing(2, refuse),
            progress=lambda done, _: told.append(done),
        )  # fmt: skip
    assert told == [8, 16, 20]
    for i, (a, b) in enumerate(zip(found, one_by_one, strict=True)):
        assert [m.recipe for m in a] == [m.recipe for m in b]
        note = [n for n in a.warnings if n.startswith("Worked out here")]
        assert len(note) == (8 <= i < 16)
        if note:
            assert "colours 9 to 16 (colour 3 to colour 10) failed elsewhere" in note[0]
            assert "ran out of memory" in note[0]
            assert note[0] in str(a)


def test_bad_input_is_no_failure_of_the_worker(dyes: DyeSet) -> None:
    # A limit that cannot be met is said once, not tried again.
    with pytest.raises(DyemixError, match="sage"):
        match_many(
            dyes, [Target(np.array([55.0, -10.0, 13.0]), D65_10, name="sage")],
            executor=Failing(1, error=DyemixError("no recipe for sage")),
        )  # fmt: skip
    with pytest.raises(DyemixError, match="seven"):
        match_many(dyes, ["#7d8a6e", "seven"])


def test_what_travels_between_processes_comes_back_whole(
    dyes: DyeSet, one_by_one: list[Matches]
) -> None:
    all_same(pickle.loads(pickle.dumps(one_by_one)), one_by_one)
    again = pickle.loads(pickle.dumps(dyes))
    assert again.names == dyes.names
    assert isinstance(pickle.loads(pickle.dumps(DyemixError("sage"))), DyemixError)


def test_what_is_ruled_out_untried_has_another_that_stands_for_it(dyes: DyeSet) -> None:
    # Every blend of eight dyes from several starts: none comes nearer than the best that the
    # search found inside it, but for what counts as on the spot.
    few = dyes.take(dyes.names[:8])
    labs = targets(dyes)[[*range(12), 30, 40]]
    problem = Problem.of(few, labs, D65_10, 4)
    ours = problem.finish(problem.search(4e-4))
    plain = every_blend(problem)
    for t in range(len(labs)):
        mine, all_ = ours.rows(ours.which == t), plain.rows(plain.which == t)
        inside = ~np.any(mine.used & ~all_.used[:, np.newaxis], axis=2)
        stands = np.where(inside, np.sqrt(mine.cost), np.inf).min(axis=1)
        behind = stands - np.sqrt(all_.cost)
        near = all_.cost <= (np.sqrt(all_.cost.min()) + HOPELESS) ** 2
        assert behind[near].max() <= 0.02 + 1e-3
    # And most is ruled out: of 162 blends a target, these are left.
    assert len(ours.which) < 14 * 162 / 2


@pytest.mark.slow
def test_the_best_recipe_is_as_near_as_a_global_solver_gets(dyes: DyeSet) -> None:
    # Through the whole of `match`, pruning on. What gives way to a simpler recipe may be nearer by
    # what a dye must earn; on top of that, 0.02.
    few = dyes.take(("lemon", "scarlet", "cobalt", "leaf", "rust", "black"))
    rng = np.random.default_rng(8)
    for x in rng.uniform([25.0, -30.0, -30.0], [85.0, 30.0, 30.0], (4, 3)):
        best = min(m.residual for m in match(few, Target(x, D65_10), max_dyes=4, rank_by="paper"))
        least = min(evolved(few, x, max_dyes=4))
        assert best <= least + EARNS_ITS_PLACE + 0.02


def test_a_light_of_its_own_is_kept_by_each(dyes: DyeSet) -> None:
    found = match_many(dyes, ["55 -10 13 A/10", "55 -10 13 D50/2", "55 -10 13"])
    assert [m.target.light for m in found] == [Light("A", 10), Light("D50", 2), D65_10]


def test_the_words_on_the_bench(dyes: DyeSet) -> None:
    found = match(dyes, "#7d8a6e", count=4)
    text, detail = str(found), found.text(detail=True)
    for words in ("on paper", "likely in the pot", "% of dry cloth weight", "D65/2°", "Miss is ΔE"):
        assert words in text
    assert text.count("ΔE2000") == 1  # named once, with its light
    for one in found:
        assert str(one.recipe) in text
        assert one.verdict in text
        assert one.likely >= one.residual - 1e-9
    # A recipe outside the range of the squares names dye and depth.
    low = found[0].recipe
    pale = dyes.predict({dye: 0.2 * c for dye, c in low.items()}).as_target()
    warned = match(dyes, pale)
    told = [w for m in warned for w in m.warnings]
    assert any("is paler than your palest square" in w for w in told)
    assert all(w in str(warned) for w in told)
    # What limits each recipe: every number once, before the line for the bath sheet.
    said = [line for line in text.splitlines() if "limited most by" in line]
    numbers = sorted(int(n) for x in said for n in x.split(":")[0].removeprefix("No. ").split(","))
    assert numbers == list(range(1, len(found) + 1))
    for words in ("metamerism", "inconstancy", "covariance", "median", "nine in ten"):
        assert words not in text
    assert "median" in detail
    assert "limited most by" in detail
