"""The figures of pieces whose answer is plain, and of struck pieces against their truth."""

from __future__ import annotations

from dataclasses import replace
from statistics import NormalDist

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from dyemix.cloth import doubt, figures
from dyemix.cloth.amounts import Unmixer
from dyemix.cloth.figures import Blocks, Mottle, main_figures, path
from dyemix.cloth.levelness import Levelness, analyse
from tests.simulated import struck as simulated
from tests.simulated.strike import MIXES, ORDERS, Dyed, dye
from tests.simulated.struck import spectral_dyes


def unmixer() -> Unmixer:
    return Unmixer(spectral_dyes(tuple(MIXES["clear"])), MIXES["clear"])


def test_a_piece_at_fixed_ratios_does_not_split():
    found = unmixer()
    depth = np.array([0.0] * 25 + [0.5] * 25 + [1.5] * 50)
    relative = np.repeat(depth[:, np.newaxis], 3, axis=1)
    seen = found.responses(relative * found.dose)
    undyed, uneven, splitting, *_ = main_figures(relative, seen, path(found)[1])
    assert undyed == 25.0
    assert uneven == pytest.approx(depth.std() / depth.mean())
    assert splitting < 0.15  # the path is straight between its points


def test_a_piece_that_parts_splits():
    found = unmixer()
    relative = np.repeat([[2.0, 0.5, 0.5], [0.5, 0.5, 2.0]], 50, axis=0)
    seen = found.responses(relative * found.dose)
    assert main_figures(relative, seen, path(found)[1])[2] > 10.0
    piece = Blocks(2.0, np.ones((10, 10), dtype=bool), relative, seen, np.zeros((100, 3)))
    shades = piece.palette(found, piece.responses)
    assert sum(shade.share for shade in shades) == pytest.approx(100.0)
    assert {tuple(np.round(list(shade.relative.values()), 3)) for shade in shades} >= {
        (2.0, 0.5, 0.5), (0.5, 0.5, 2.0)
    }  # fmt: skip


def test_blocks_are_means_of_the_cloth_in_them():
    inside = np.ones((6, 6), dtype=bool)
    inside[:2, :2] = False  # a quarter of the first block and more
    relative = np.arange(72.0).reshape(6, 6, 2)
    found = Blocks.of(inside, relative, np.ones((6, 6, 3)), 1.0, 3.0)
    assert found.inside.tolist() == [[False, True], [True, True]]
    assert found.relative[0] == pytest.approx(relative[:3, 3:].mean(axis=(0, 1)))


@pytest.mark.parametrize("sigma", [2.0, 4.0])
def test_the_scale_of_a_field_is_found(sigma: float):
    """White noise smoothed by a Gaussian: correlation exp(−h²/4σ²), a half at 2σ√ln 2."""
    field = gaussian_filter(np.random.default_rng(0).standard_normal((160, 160)), sigma)
    depth = 1.0 + field / field.std() / 5.0
    cloth = np.ones((160, 160), dtype=bool)
    found = Blocks.of(cloth, depth[..., np.newaxis], np.ones((160, 160, 3)), 2.0)
    assert found.scale() == pytest.approx(2.0 * 2.0 * sigma * np.sqrt(np.log(2)), rel=0.1)


def test_figures_are_those_of_the_truth(seen: dict[str, Levelness], struck: dict[str, Dyed]):
    for order in ORDERS:
        found, true = seen[order], struck[order]
        assert found.figure("undyed share").value == pytest.approx(true.undyed, abs=2.0)
        assert found.figure("unevenness").value == pytest.approx(true.unevenness, rel=0.1)
        assert found.figure("splitting").value == pytest.approx(true.splitting, rel=0.1, abs=0.3)
        colour = [found.figure(f"mean {axis}*").value for axis in "Lab"]
        assert colour == pytest.approx(true.mean_colour, abs=0.1)
    falling = [seen[order].figure("unevenness").value for order in ORDERS]
    assert falling == sorted(falling, reverse=True)


def test_every_figure_has_an_error_and_a_block_size(seen: dict[str, Levelness]):
    for figure in seen["with"].figures:
        assert figure.error > 0.0
        assert figure.block_mm > 0.0


def test_the_light_on_cloth_and_the_camera_are_off_by_what_is_said(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The log of the light: 0.02 times a field of variance 1, here 1 all over; 0.012 a piece and
    0.004 a block beside. A camera's stated error is that of paint: 1.5 times as large on cloth.
    """
    lights: list[np.ndarray] = []
    roots: list[np.ndarray] = []

    def fields(at: np.ndarray, _: float, parts: int, __: object) -> np.ndarray:
        return np.ones((doubt.WORLDS, len(at), parts))

    def alike(_: object, seen: np.ndarray, root: np.ndarray, *__: object, **___: object) -> object:
        roots.append(root)
        return np.zeros((doubt.WORLDS, len(seen), 3))

    monkeypatch.setattr(doubt, "WORLDS", 200)
    monkeypatch.setattr(doubt, "_fields", fields)
    monkeypatch.setattr(doubt, "_alike", alike)
    monkeypatch.setattr(doubt, "_responses", lambda seen: np.ones(seen.shape))
    monkeypatch.setattr(doubt, "difference", lambda light: lights.append(light) or 1.0)
    paint = np.diag([1.0, 4.0, 9.0])
    monkeypatch.setattr(simulated, "analyse", lambda cells: analyse(replace(cells, camera=paint)))
    piece = dye(MIXES["clear"], "after", 3, (16, 16), shop=simulated.shop())
    simulated.by_eye(piece, spectral_dyes(tuple(MIXES["clear"])), 1.0)
    log = np.log(lights[: doubt.WORLDS])[..., 0]
    levels = log.mean(axis=1)
    assert levels.mean() == pytest.approx(0.02, abs=0.003)
    assert levels.std() == pytest.approx(0.012, rel=0.15)
    assert (log - levels[:, np.newaxis]).std() == pytest.approx(0.004, rel=0.1)
    assert any(np.allclose(root @ root.T, 2.25 * paint) for root in roots)
    assert pytest.approx(NormalDist().inv_cdf(0.95), abs=5e-4) == doubt.NINE_IN_TEN


def test_light_is_alike_within_fifteen_blocks_and_of_unit_variance() -> None:
    """exp(−d²/2ℓ²) at a distance d: 0.607 at one length ℓ, 0.135 at two."""
    at = np.array([[0.0, 0.0], [doubt._FALL, 0.0], [0.0, 2.0 * doubt._FALL]])
    draws = np.concatenate(
        [doubt._fields(at, 15.0, 40, np.random.default_rng(i)) for i in range(60)]
    )
    field = draws.transpose(0, 2, 1).reshape(-1, 3)
    together = field.T @ field / len(field)
    np.testing.assert_allclose(np.diag(together), 1.0, atol=0.1)
    np.testing.assert_allclose(together[0, 1:], [0.607, 0.135], atol=0.08)


def test_what_blocks_of_the_dose_have_in_common_is_taken_off_the_path(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """By hand: four blocks of 1.2 times the dose are 2 ± 1.6 off in a*, one of 1.26 times, which is
    beyond a quarter, 7. They have 2 in common and part by (4 · 1.6² + 5²) / 5 = 7.048 beside it, so
    that 1.6² / (1.6² + 7.048) of the 2 is taken: 0.533. What is left is 3.483, root mean square.
    """
    monkeypatch.setattr(figures, "labs", lambda colours, *_: colours)
    relative = np.array([[1.2, 1.2]] * 4 + [[1.26, 1.26]])
    seen = np.array([[50.0, a, 0.0] for a in (3.6, 0.4, 3.6, 0.4, 7.0)])
    on_path = np.array([[0.0, 0.0, 0.0], [100.0, 0.0, 0.0]])
    assert main_figures(relative, seen, on_path)[2] == pytest.approx(3.4834, abs=1e-3)


def test_a_mottle_that_nobody_measured_is_what_is_said_of_it() -> None:
    """Of the variation and the straying asked; 15 % inside a block, and places 6 mm wide."""
    mottle = Mottle.normal(("a", "b"), 0.5, 0.2)
    depth = mottle.amounts.mean(axis=(1, 2))
    assert depth.std() / depth.mean() == pytest.approx(0.5, rel=0.05)
    dosed = np.abs(depth - 1.0).argmin()
    assert mottle.amounts[dosed, :, 0].std() == pytest.approx(0.2, rel=0.1)
    assert (mottle.within == 0.15).all()
    assert mottle.scale_mm == 6.0
