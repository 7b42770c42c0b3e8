"""The worlds: the same each time, unlike the model and each other, as noisy as they state."""

import warnings
from dataclasses import replace
from itertools import product

import numpy as np
import pytest

from dyemix.colour.colorimetry import D65_2, D65_10
from tests.simulated import scatter
from tests.simulated.as_swatches import swatch_set
from tests.simulated.eye import WAVELENGTHS, Array, delta_e, lab, lab_of_screen, screen
from tests.simulated.physics import film
from tests.simulated.worlds import (
    DEVELOP,
    DEVELOP_SEEDS,
    FAMILIES,
    HEX,
    LAB,
    PHOTOGRAPH,
    REPORT,
    REPORT_SEEDS,
    SPECTRUM,
    Pots,
    World,
    world,
)

#: By how much ΔE2000 the sum of what dyes absorb alone misses mixes at least, free of scatter and
#: under the surface that suits the mixes best: mean of three harsh seeds.
LEAST_MISS = {
    "scattering": 0.4, "competition": 0.6, "facets": 0.45, "isotherm": 0.4, "paint": 0.6,
    "pairs": 0.7, "gloss": 0.4, "aggregation": 0.4, "fluorescence": 0.9, "translucent": 0.5,
    "opaque": 3.0, "workshop": 0.15,
}  # fmt: skip
SURFACES = tuple(product((0.0, 0.01, 0.02, 0.03), (0.0, 0.3, 0.6)))


def k_over_s(reflectance: Array, first: float, inside: float) -> Array:
    """K/S below this surface (Saunderson 1942, Kubelka & Munk 1931)."""
    entered = (reflectance - first) / (1.0 - first)
    below = entered / (1.0 - inside + inside * entered)
    return np.asarray((1.0 - below) ** 2 / (2.0 * below))


def under(ratio: Array, first: float, inside: float) -> Array:
    """Reflectance of this K/S with this surface."""
    below = 1.0 / (1.0 + ratio + np.sqrt(ratio * (ratio + 2.0)))
    return np.asarray(first + (1.0 - first) * (1.0 - inside) * below / (1.0 - inside * below))


def additive_miss(some: World, count: int = 40) -> float:
    """Mean ΔE2000 of mixes from the K/S that each of their dyes has by itself, at its amount."""
    amounts = some.mixes(count, 7)
    true, white = some.truth(amounts), some.truth(np.zeros((1, len(some.names))))
    alone = np.array([some.truth(amounts * row) for row in np.eye(len(some.names))])
    misses = []
    for surface in SURFACES:
        if surface[0] < 0.95 * min(true.min(), alone.min()):
            cloth = k_over_s(white, *surface)
            added = cloth + (k_over_s(alone, *surface) - cloth).sum(axis=0)
            seen = under(np.maximum(added, 1e-6), *surface)
            misses.append(float(delta_e(lab(seen), lab(true)).mean()))
    return min(misses)


@pytest.mark.parametrize("family", FAMILIES)
def test_a_world_is_the_same_each_time_and_no_other(family: str) -> None:
    def parts(seed: int) -> list[Array]:
        some = world(family, seed)
        kind = some.kinds[-1]
        amounts = some.mixes(6, 1)
        return [some.ladders(kind).lab, some.read(some.dye(amounts, 1), kind, 1).lab, amounts]

    for one, again in zip(parts(3), parts(3), strict=True):
        np.testing.assert_array_equal(one, again)
    assert not any(np.array_equal(a, b) for a, b in zip(parts(3), parts(103), strict=True))


def test_seeds_and_families_have_noise_of_their_own() -> None:
    some = world("additive", 3)
    amounts = some.mixes(5, 1)
    for other in (replace(some, seed=103), replace(some, family="drift")):
        assert not np.any(some.dye(amounts, 1).reflectance == other.dye(amounts, 1).reflectance)
    assert not np.any(some.dye(amounts, 1).reflectance == some.dye(amounts, 2).reflectance)


@pytest.mark.parametrize("family", FAMILIES)
def test_what_it_dyes_can_be_dyed(family: str) -> None:
    for seed in (0, 9, 105):
        some = world(family, seed)
        ladders = some.ladders(some.kinds[0])
        mixes = some.mixes(60, 1)
        pots = some.dye(mixes, 1)
        assert 6 <= len(some.names) <= 9
        assert 3 <= len(some.depths) <= 6
        assert 0.03 <= some.depths[0] <= 0.15
        assert 1.5 <= some.depths[-1] <= 4.0
        assert set(np.count_nonzero(mixes, axis=1)) == {2, 3}
        assert pots.reflectance.min() > 0.0
        assert pots.reflectance.max() < (1.1 if family == "fluorescence" else 0.95)
        assert np.count_nonzero(ladders.amounts.sum(axis=1) == 0) == 2 * some.readings
        chroma = np.hypot(*some.truth_lab(mixes)[:, 1:].T)
        assert np.mean(chroma < 15.0) >= 0.15


@pytest.mark.parametrize("family", LEAST_MISS)
def test_its_physics_is_not_additive(family: str) -> None:
    harsh = np.mean([additive_miss(world(family, seed)) for seed in (8, 9, 107)])
    assert harsh >= LEAST_MISS[family]
    if family != "workshop":  # all its seeds are alike
        assert harsh > 1.5 * np.mean([additive_miss(world(family, seed)) for seed in (0, 100)])


def test_the_measure_itself_misses_little() -> None:
    assert max(additive_miss(world("additive", seed)) for seed in (0, 9, 100)) <= 0.3


def test_report_and_development_share_nothing() -> None:
    uses = [family.use for family in FAMILIES.values()]
    assert uses.count(DEVELOP) >= 5
    assert uses.count(REPORT) >= 6
    assert set(uses) == {DEVELOP, REPORT}
    assert not set(DEVELOP_SEEDS) & set(REPORT_SEEDS)


def test_every_scatter_differs_from_world_to_world() -> None:
    worlds = [world(f, s).scatter for f in FAMILIES for s in (0, 5, 100, 105)]
    for name, least, most in (
        ("dosing", 0.01, 0.06), ("pot", 0.01, 0.06), ("reading", 0.1, 0.4),
    ):  # fmt: skip
        sizes = np.array([getattr(s, name) for s in worlds])
        assert least <= sizes.min() < least + 0.1 * (most - least)
        assert most >= sizes.max() > most - 0.1 * (most - least)


def test_days_and_lots_drift_with_heavy_tails() -> None:
    mild, harsh = (world("drift", seed) for seed in (100, 109))
    floors = [
        float(w.floor(w.read(w.dye(w.mixes(200, 1), 1), LAB, 1)).mean()) for w in (mild, harsh)
    ]
    assert floors[1] > 1.3 * floors[0]
    logs = np.log(scatter.astray(np.random.default_rng(0), 0.1, 5.0, (200_000,)))
    assert np.std(logs) == pytest.approx(0.1, rel=0.03)
    assert np.mean(np.abs(logs) > 0.3) > 3 * 0.0027  # of a normal, 0.27 % lie beyond three sigma


def test_pots_scatter_as_stated() -> None:
    # One dye, dyed many times: the logarithm of what went in, told by a world without a law.
    some = world("additive", 4)
    many = np.zeros((600, len(some.names)))
    many[:, 0] = 1.0
    more, less = some.truth(many[:1] * 1.02)[0], some.truth(many[:1] / 1.02)[0]
    band = int(np.argmax(np.abs(more - less)))
    slope = (more - less)[band] / (2.0 * np.log(1.02))
    logs = (some.dye(many, 1).reflectance[:, band] - some.truth(many[:1])[0, band]) / slope
    size = some.scatter
    powder = size.lot if size.lots > 1 else 0.0  # one lot alone moves all pots together
    stated = np.sqrt(size.dosing**2 + size.pot**2 + size.day**2 + powder**2)
    assert np.std(logs) == pytest.approx(stated, rel=0.12)


def test_readings_are_off_by_what_is_stated_and_smoothly() -> None:
    some = world("pairs", 105)
    pots = some.dye(some.mixes(60, 1), 1)
    seen = some.read(pots, SPECTRUM, 1, readings=20)
    off = seen.reflectance - pots.reflectance[seen.piece]
    met = float(delta_e(lab(pots.reflectance)[seen.piece], seen.lab).mean())
    assert met == pytest.approx(some.scatter.reading, rel=0.1)
    neighbours = np.corrcoef(off[:, 15], off[:, 16])[0, 1]
    assert neighbours > 0.9
    assert np.corrcoef(off[:, 2], off[:, 28])[0, 1] < 0.6


def test_the_stated_covariance_of_photographs_is_true() -> None:
    labs = np.array([[60.0, 40.0, 20.0], [30.0, -10.0, -30.0], [80.0, 0.0, 70.0], [50.0, 1.0, 2.0]])
    frames = np.array([0, 0, 1, 1])
    rng = np.random.default_rng(3)
    drawn = np.array([scatter.photograph(rng, labs, frames, 0.8) for _ in range(6000)])
    stated = scatter.photograph_covariance(labs, frames, 0.8)
    found = np.cov(drawn.reshape(len(drawn), -1).T)
    # The standard error of a covariance of n draws (Wishart): √((σᵢⱼ² + σᵢᵢσⱼⱼ) / n).
    sizes = np.sqrt((stated**2 + np.outer(np.diag(stated), np.diag(stated))) / len(drawn))
    assert np.all(np.abs(found - stated) <= 5.0 * sizes)
    assert np.all(stated[:6, 6:] == 0.0)
    assert np.abs(stated[:3, 3:6]).max() > 0.1


def test_a_photograph_carries_its_own_covariance() -> None:
    some = world("gloss", 103)
    pots = some.dye(some.mixes(30, 1), 1)
    read = some.read(pots, PHOTOGRAPH, 1)
    assert read.frame is not None
    assert read.covariance is not None
    joint = scatter.photograph_covariance(
        lab(pots.reflectance), read.frame, some.scatter.photograph
    )
    for i, stated in enumerate(read.covariance):
        np.testing.assert_allclose(stated, joint[3 * i : 3 * i + 3, 3 * i : 3 * i + 3])
    assert list(np.bincount(read.frame)) == [20, 10]


def test_hex_codes_are_clipped_bytes() -> None:
    some = world("opaque", 109)
    read = some.read(some.dye(some.mixes(100, 1), 1), HEX, 1)
    assert read.codes is not None
    assert min(read.codes.min(), 255 - read.codes.max()) == 0
    inside = np.all((read.codes > 0) & (read.codes < 255), axis=1)
    # Unclipped and unadorned, a code says the colour to half a step of a channel.
    pieces = some.truth(some.mixes(100, 1))[inside]
    assert np.mean(delta_e(lab(pieces, 2), lab_of_screen(screen(pieces)))) < 0.3
    white = screen(np.ones((1, len(WAVELENGTHS))))
    assert white.tolist() == [[255, 255, 255]]
    np.testing.assert_allclose(lab_of_screen(white), [[100.0, 0.0, 0.0]], atol=1e-6)


def test_cielab_agrees_with_colour_science() -> None:
    import colour

    spectra = world("additive", 0).ladders().reflectance
    assert spectra is not None
    for spectrum in spectra[:9:4]:
        distribution = colour.SpectralDistribution(spectrum, WAVELENGTHS)
        observer = colour.MSDS_CMFS["CIE 1964 10 Degree Standard Observer"]
        lamp = colour.SDS_ILLUMINANTS["D65"]
        with np.errstate(all="ignore"), warnings.catch_warnings():
            warnings.simplefilter("ignore")  # colour-science speaks of each alignment
            xyz = colour.sd_to_XYZ(distribution, observer, lamp) / 100.0
            white = colour.CCS_ILLUMINANTS["CIE 1964 10 Degree Standard Observer"]["D65"]
            theirs = colour.XYZ_to_Lab(xyz, white)
        assert float(delta_e(lab(spectrum), theirs)) < 0.1


def test_a_film_has_its_limits() -> None:
    ratio, ground = np.array([0.05, 0.5, 2.0]), np.array([0.8])
    # Thick: Kubelka & Munk 1931. Without scatter: light through it twice (Beer–Lambert).
    endless = 1.0 / (1.0 + ratio + np.sqrt(ratio * (ratio + 2.0)))
    np.testing.assert_allclose(film(ratio, np.ones(3), 40.0, ground), endless, rtol=1e-6)
    clear = film(ratio, np.full(3, 1e-7), 1.0, ground)
    np.testing.assert_allclose(clear, ground * np.exp(-2.0 * ratio), rtol=1e-5)


def test_readings_become_swatches() -> None:
    some = world("paint", 103)
    pots = Pots(some.mixes(5, 1), some.truth(some.mixes(5, 1)))
    for kind, word in ((SPECTRUM, "spectrum"), (LAB, "Lab"), (PHOTOGRAPH, "Lab")):
        read = some.read(pots, kind, 1, readings=2)
        swatches = swatch_set(some, read)
        assert len(swatches.readings) == 10
        assert len(swatches.swatches) == 5
        assert {r.kind for r in swatches.readings} == {word}
        for i, reading in enumerate(swatches.readings):
            assert dict(reading.recipe or {}) == some.recipe(read.amounts[i])
            np.testing.assert_allclose(reading.colour(D65_10), read.lab[i], atol=0.1)
            assert (reading.covariance is None) == (kind != PHOTOGRAPH)
    other = world("opaque", 103)
    assert swatch_set(other, other.ladders(HEX)).light == D65_2
