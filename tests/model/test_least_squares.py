"""The batched solver against scipy's, on problems with nothing to do with dye."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import least_squares as scipy_least_squares
from scipy.optimize import lsq_linear, minimize

from dyemix.model import least_squares
from dyemix.model.least_squares import Solved

Rows = NDArray[np.intp]


def solve(
    residual: Callable[[np.ndarray, Rows], tuple[np.ndarray, np.ndarray]],
    start: np.ndarray,
    upper: np.ndarray,
    lower: np.ndarray | None = None,
    **options: Any,
) -> Solved:
    """The solver, with problems first in every array here and last in its own."""

    def turned(x: np.ndarray, rows: Rows) -> tuple[np.ndarray, np.ndarray]:
        r, jacobian = residual(x.T, rows)
        return r.T, np.moveaxis(jacobian, 0, -1)

    low = None if lower is None else lower.T
    found = least_squares.solve(turned, start.T, upper.T, lower=low, **options)
    return found._replace(x=found.x.T)


def linear_problems(n: int, m: int, k: int, seed: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    a, b = rng.standard_normal((n, m, k)), 3.0 * rng.standard_normal((n, m))
    return a, b, rng.uniform(0.2, 2.0, (n, k))


@pytest.mark.parametrize(("m", "k"), [(3, 1), (3, 2), (3, 3), (6, 4), (10, 5)])
def test_linear_problems_agree_with_scipy(m: int, k: int) -> None:
    a, b, top = linear_problems(60, m, k, 1)

    def residual(x: np.ndarray, rows: Rows) -> tuple[np.ndarray, np.ndarray]:
        return np.einsum("nmk,nk->nm", a[rows], x) - b[rows], a[rows]

    found = solve(residual, 0.5 * top, top, steps=300, tolerance=1e-12)
    for i in range(60):
        theirs = lsq_linear(a[i], b[i], bounds=(0.0, top[i]), tol=1e-12)
        assert found.cost[i] == pytest.approx(2.0 * theirs.cost, rel=1e-6, abs=1e-9)
    assert np.all(found.x >= 0.0)
    assert np.all(found.x <= top)
    assert np.any(found.x == 0.0)
    assert np.any(found.x == top)


@pytest.mark.parametrize("k", [2, 3, 4])
def test_curved_problems_agree_with_scipy(k: int) -> None:
    # Saturating curves, as dye does. Four unknowns can have two minima, so scipy starts at ours:
    # it must not get any lower from there.
    rng = np.random.default_rng(k)
    n, m = 60, 8
    a = rng.uniform(0.1, 1.0, (n, m, k))
    top = np.full((n, k), 3.0)
    wanted = np.exp(-np.einsum("nmk,nk->nm", a, rng.uniform(-1.0, 4.0, (n, k))))
    wanted += 0.02 * rng.standard_normal((n, m))

    def residual(x: np.ndarray, rows: Rows) -> tuple[np.ndarray, np.ndarray]:
        made = np.exp(-np.einsum("nmk,nk->nm", a[rows], x))
        return made - wanted[rows], -made[:, :, None] * a[rows]

    found = solve(residual, np.full((n, k), 0.3), top, steps=300, tolerance=1e-12)
    for i in range(n):
        row = np.array([i])
        theirs = scipy_least_squares(
            lambda x, row=row: residual(x[None], row)[0][0],
            np.clip(found.x[i], 1e-6, top[i] - 1e-6),
            jac=lambda x, row=row: residual(x[None], row)[1][0], bounds=(0.0, top[i]),
            xtol=1e-12, ftol=1e-12, gtol=1e-12,
        )  # fmt: skip
        plain = scipy_least_squares(
            lambda x, row=row: residual(x[None], row)[0][0], np.full(k, 0.3),
            jac=lambda x, row=row: residual(x[None], row)[1][0], bounds=(0.0, top[i]),
        )  # fmt: skip
        assert found.cost[i] <= 2.0 * plain.cost * (1.01 if k == 4 else 1.0 + 1e-5) + 1e-9
        assert found.cost[i] <= 2.0 * theirs.cost * (1.0 + 1e-5) + 1e-9


def test_more_unknowns_than_residuals_still_settle_at_a_minimum() -> None:
    # Three residuals leave a fourth unknown free, and the bounds turn the long step that follows
    # from it aside: such a step may promise to rise, and is no sign of having arrived.
    a, b, top = linear_problems(200, 3, 4, 2)

    def residual(x: np.ndarray, rows: Rows) -> tuple[np.ndarray, np.ndarray]:
        return np.einsum("nmk,nk->nm", a[rows], x) - b[rows], a[rows]

    found = solve(residual, 0.5 * top, top, steps=300, tolerance=1e-10)
    theirs = [2.0 * lsq_linear(a[i], b[i], bounds=(0.0, top[i])).cost for i in range(200)]
    np.testing.assert_allclose(found.cost, theirs, rtol=1e-5, atol=1e-6)


def test_a_problem_solved_alone_or_in_company_comes_out_the_same() -> None:
    a, b, top = linear_problems(40, 3, 3, 3)

    def residual(x: np.ndarray, rows: Rows) -> tuple[np.ndarray, np.ndarray]:
        return np.einsum("nmk,nk->nm", a[rows], x) - b[rows], a[rows]

    together = solve(residual, 0.5 * top, top)
    for i in (0, 17, 39):

        def alone(x: np.ndarray, rows: Rows, i: int = i) -> tuple[np.ndarray, np.ndarray]:
            return residual(x, np.full(len(rows), i))

        one = solve(alone, 0.5 * top[i : i + 1], top[i : i + 1])
        np.testing.assert_allclose(one.x[0], together.x[i], rtol=1e-9, atol=1e-12)


def test_no_step_ever_makes_it_worse() -> None:
    a, b, top = linear_problems(50, 3, 3, 4)

    def residual(x: np.ndarray, rows: Rows) -> tuple[np.ndarray, np.ndarray]:
        return np.sin(np.einsum("nmk,nk->nm", a[rows], x)) - b[rows], a[rows]  # a wrong slope

    begin, _ = residual(0.5 * top, np.arange(50))
    found = solve(residual, 0.5 * top, top)
    assert np.all(found.cost <= np.einsum("nm,nm->n", begin, begin) + 1e-12)


@pytest.mark.parametrize(("m", "k"), [(6, 2), (6, 4), (3, 4), (10, 5)])
def test_a_total_is_kept_to_and_costs_no_more_than_it_must(m: int, k: int) -> None:
    # Against sequential quadratic programming, on convex problems with one minimum.
    a, b, top = linear_problems(40, m, k, 5)
    low = 0.1 * top
    total = 0.5 * float(top.sum(axis=1).min())

    def residual(x: np.ndarray, rows: Rows) -> tuple[np.ndarray, np.ndarray]:
        return np.einsum("nmk,nk->nm", a[rows], x) - b[rows], a[rows]

    found = solve(residual, top, top, lower=low, total=total, steps=300, tolerance=1e-12)
    assert np.all(found.x.sum(axis=1) <= total + 1e-9)
    assert np.all(found.x >= low)
    assert np.all(found.x <= top)
    at_total = 0
    for i in range(40):
        theirs = minimize(
            lambda x, i=i: float(np.square(a[i] @ x - b[i]).sum()), 0.4 * top[i],
            jac=lambda x, i=i: 2.0 * a[i].T @ (a[i] @ x - b[i]), method="SLSQP",
            bounds=list(zip(low[i], top[i], strict=True)), options={"ftol": 1e-14, "maxiter": 500},
            constraints={"type": "ineq", "fun": lambda x: total - x.sum()},
        )  # fmt: skip
        assert found.cost[i] <= theirs.fun * (1.0 + 1e-5) + 1e-6
        at_total += bool(found.x[i].sum() > total - 1e-6)
    assert 5 < at_total < 40


def test_secants_come_to_the_same_answer_in_fewer_steps_where_residuals_stay_large() -> None:
    rng = np.random.default_rng(6)
    n, m, k = 40, 6, 2
    a, b = rng.uniform(0.1, 1.5, (n, m, k)), rng.uniform(1.5, 3.0, (n, m))
    top, asked = np.full((n, k), 3.0), []

    def residual(x: np.ndarray, rows: Rows) -> tuple[np.ndarray, np.ndarray]:
        asked[-1] += len(rows)
        inner = np.einsum("nmk,nk->nm", a[rows], x)
        return np.sin(inner) - b[rows], np.cos(inner)[..., np.newaxis] * a[rows]

    ends = []
    for secants in (False, True):
        asked.append(0)
        ends.append(solve(residual, np.full((n, k), 0.5), top, steps=300, secants=secants))
    assert np.mean(ends[1].cost <= ends[0].cost * (1.0 + 1e-4)) > 0.9
    assert asked[1] < 0.8 * asked[0]


def test_what_is_not_worth_a_step_is_left_and_the_others_end_as_they_would() -> None:
    a, b, top = linear_problems(40, 6, 3, 5)

    def residual(x: np.ndarray, rows: Rows) -> tuple[np.ndarray, np.ndarray]:
        return np.einsum("nmk,nk->nm", a[rows], x) - b[rows], a[rows]

    asked: list[int] = []

    def hopeless(cost: np.ndarray, rows: Rows) -> np.ndarray:
        asked.append(len(rows))
        return np.asarray(rows < 20)

    found = solve(residual, 0.5 * top, top, tolerance=1e-12, hopeless=hopeless)
    alone = solve(residual, 0.5 * top, top, tolerance=1e-12)
    assert asked[0] > 20 >= asked[1]
    assert np.array_equal(found.x[20:], alone.x[20:])
    assert np.all(found.cost[:20] >= alone.cost[:20])
    assert np.any(found.cost[:20] > alone.cost[:20])
