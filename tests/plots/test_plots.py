"""Do the pictures say what they must, in letters that can be read, with or without colour?"""

from __future__ import annotations

import warnings
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from legible import assert_legible, contrast, texts, words

from dyemix.colour.appearance import Miss
from dyemix.colour.ciede2000 import delta_e
from dyemix.colour.colorimetry import (
    D65_2,
    Light,
    hex_to_lab,
    screen_colour,
    screen_colours,
)  # fmt: skip
from dyemix.dataset.recipe import Recipe, format_amount
from dyemix.dataset.swatches import DEMO_WARNING, Reading, SwatchSet
from dyemix.dataset.target import Target, Trial
from dyemix.errors import DyemixError, InputError
from dyemix.files import read_swatches
from dyemix.fitting.fit import fit
from dyemix.gamut.reach import ShelfReach, reach
from dyemix.matching.correct import Outcome, correct
from dyemix.matching.limits import Kit
from dyemix.matching.match import match
from dyemix.matching.matches import Matches, Reach
from dyemix.model.dyes import DyeSet
from dyemix.plots import plot as plot_axes
from dyemix.plots import promises, recipes
from dyemix.plots.paper import GROUND, INK, SUBTLE, wrapped
from dyemix.series.steps import ShadeCard, shade_card
from dyemix.series.subdue import gradient, subdue, subdue_on, tint
from dyemix.writing import styled

if TYPE_CHECKING:
    from matplotlib.figure import Figure

SWATCH_DATA = Path(__file__).resolve().parents[2] / "swatch_data"
BRIGHT = "scarlet 1.2 + marigold 0.6"
OWNED = ("lemon", "scarlet", "plum", "navy", "turquoise", "black")
TRIANGLE = ("marigold", "rose", "turquoise")


def plot(*result: Any, **options: Any) -> Figure:
    """The figure of the axes that a plot gives."""
    return plot_axes(*result, **options).figure


@pytest.fixture(scope="module")
def table() -> SwatchSet:
    return read_swatches(SWATCH_DATA / "napkins.csv")


@pytest.fixture(scope="module")
def shelf(demo_dyes: DyeSet) -> DyeSet:
    return demo_dyes


@pytest.fixture(scope="module")
def sage(shelf: DyeSet) -> Matches:
    return match(shelf, "#7d8a6e")


@pytest.fixture(scope="module")
def small(shelf: DyeSet) -> ShelfReach:
    colours = ("#ff8800", "#20a050", "#7d8a6e")
    return reach(shelf.take(OWNED), colours, target="#d63a92", other=shelf)


def long_names(dyes: DyeSet) -> DyeSet:
    """The same dyes under names that no line has room for."""
    assert dyes.report is not None
    names = tuple(f"{name} of the old café's very last tub" for name in dyes.names)
    reports = tuple(replace(r, name=n) for r, n in zip(dyes.report.dyes, names, strict=True))
    return replace(dyes, names=names, report=replace(dyes.report, dyes=reports))


def ladder_of(table: SwatchSet, depths: list[float]) -> DyeSet:
    """One dye fitted to a ladder with these depths, its spectra made from a straight law."""
    undyed = table.undyed[0].reflectance
    k0 = (1 - undyed) ** 2 / (2 * undyed)
    steps = [
        Reading(Recipe({"rose": c}), 1 + k - np.sqrt(k * k + 2 * k))
        for c, k in ((c, k0 + c * np.linspace(0.2, 3, len(k0))) for c in depths)
    ]
    return fit(SwatchSet((Reading(Recipe(), undyed.copy()), *steps)))


def pages(draw: Callable[..., list[Figure]], *found: Any) -> list[Figure]:
    with styled():
        return list(draw(*found))


def patches(figure: Figure) -> list[list[list[str]]]:
    """Hex codes of every block of patches, row by row, in the order drawn."""
    from matplotlib.colors import to_hex

    return [
        [[to_hex(c) if c[3] else "" for c in row] for row in image.get_array()]
        for image in figure.axes[0].images
        if image.get_zorder() < 2  # edges lie over them
    ]


@pytest.mark.parametrize(
    "make",
    [
        lambda d: match(d, "#7d8a6e"),
        lambda d: match(d, "#ff2010", count=3),
        lambda d: subdue(d, BRIGHT),
        lambda d: subdue_on(d, "#ee6b4c"),
        lambda d: tint(d, BRIGHT, 8),
        lambda d: gradient(d, "lemon 1", "navy 2"),
        lambda d: shade_card(d, TRIANGLE, 1.5),
        lambda d: shade_card(d, ("lemon", "navy"), (0.25, 1, 4)),
        lambda d: d,
        lambda d: reach(d, compare=False),
    ],
    ids=["match", "far", "subdue", "piece", "tint", "gradient", "card", "grid", "fit", "reach"],
)
def test_every_result_has_a_legible_picture(
    shelf: DyeSet, make: Callable[[DyeSet], object]
) -> None:
    found = make(shelf)
    figure = plot(found)
    assert_legible(figure)
    assert texts(figure)[0].get_text() == DEMO_WARNING
    of_dyes = isinstance(found, Matches)
    own = {"dyes": replace(shelf, demo=False)} if of_dyes else {"demo": False}
    assert "DEMO" not in words(plot(replace(found, **own)))


def test_marks_can_be_told_from_paper_and_ground() -> None:
    """W3C asks 3 to 1 of marks; grey words lie on white only."""
    assert contrast(INK, GROUND) >= 4.5
    assert contrast(SUBTLE, "white") >= 4.5


def test_lines_are_broken_between_terms() -> None:
    text = "marigold 0.42 + cobalt 0.14 + black 0.11"
    lines = wrapped(text, 1.3)
    assert lines == ["marigold 0.42 +", "cobalt 0.14 +", "black 0.11"]
    assert "".join(wrapped("x" * 150, 1.0)) == "x" * 150
    told = wrapped("Paler than your palest square: scarlet 0.009 (0.125), turquoise 0.022.", 1.4)
    assert len(told) > 3
    assert not any(line[0].isdigit() for line in told)  # an amount stands beside its dye


# --- fitted dyes -------------------------------------------------------------------------------


def test_dyes_say_what_they_must(shelf: DyeSet, table: SwatchSet) -> None:
    shown = words(plot(shelf, swatches=table))
    assert shelf.report is not None
    assert shelf.report.verdict in shown
    assert "ΔE2000 (D65/10°)" in shown
    assert shown.count("0.125") == 12
    wanting = [dye for dye in shelf.report.dyes if dye.next or dye.warnings]
    assert f"{12 - len(wanting)} of 12 dyes are ready" in shown
    for dye in wanting:
        assert shown.index("Dye these next") < shown.index(f" {dye.name} ") < shown.index(" Ready")
        assert all(text in shown for text in (dye.next, *dye.warnings))


def test_swatches_stand_above_what_is_fitted(shelf: DyeSet, table: SwatchSet) -> None:
    shown = patches(plot(shelf.take(["navy"]), swatches=table))
    depths = (0.125, 0.25, 0.5, 1, 2, 4)
    ladder = table.ladder("navy")
    assert len(ladder) > len(depths)  # one is dyed again: their mean is shown
    of = [[s.reflectance for s in ladder if s.recipe["navy"] == depth] for depth in depths]
    read = [screen_colour(np.mean(some, axis=0)).hex for some in of]
    fitted = [shelf.predict({"navy": depth}).hex for depth in depths]
    assert shelf.report is not None
    report = next(dye for dye in shelf.report.dyes if dye.name == "navy")
    # Left out, each depth is as far from its swatch as the report says; under D65/2° nearly so.
    left = [np.array([hex_to_lab(code)]) for code in shown[0][1]]
    misses = [float(delta_e(hex_to_lab(r), x)[0]) for r, x in zip(read, left, strict=True)]
    assert shown[0][0] == read
    assert shown[0][1] != fitted
    assert np.mean(misses[1:-1]) == pytest.approx(np.mean(report.inner), abs=0.25)
    plain = replace(shelf, report=None)
    ends = [[[read[end]], [fitted[end]]] for end in (0, -1)]
    assert patches(plot(plain.take(["navy"]), swatches=table)) == ends


def test_each_left_out_depth_is_a_dot(shelf: DyeSet) -> None:
    assert shelf.report is not None
    for name in ("navy", "black"):
        report = next(dye for dye in shelf.report.dyes if dye.name == name)
        lines = plot(shelf.take([name])).axes[1].get_lines()
        dots = [line for line in lines if line.get_marker() in ("o", "D")]
        hollow = [dot for dot in dots if dot.get_markerfacecolor() == "white"]
        assert len(dots) == len(report.inner) + len(report.ends)
        assert len(hollow) == len(report.ends)


@pytest.mark.slow
def test_every_number_of_dyes_is_legible(shelf: DyeSet, table: SwatchSet) -> None:
    for names in (["navy"], ["navy", "rust", "rose", "leaf"]):
        assert_legible(plot(shelf.take(names), swatches=table))
    twice = [*range(len(shelf))] * 2
    many = replace(
        shelf, names=(*shelf.names, *(f"new {n}" for n in shelf.names)),
        palest=shelf.palest[twice], deepest=shelf.deepest[twice],
        ladders=shelf.ladders.take(twice), posterior=None,
    )  # fmt: skip
    found = pages(promises.dyes, many)
    assert len(found) == 2
    for figure in found:
        assert_legible(figure)


def test_long_names_and_long_ladders_are_legible(shelf: DyeSet, table: SwatchSet) -> None:
    assert_legible(plot(long_names(shelf)))
    for count in (2, 7):
        depths = [round(float(c), 3) for c in np.geomspace(0.05, 8, count)]
        figure = plot(ladder_of(table, depths))
        assert_legible(figure)
        assert all(f"{c:g}" in words(figure) for c in depths)


def test_dyes_without_a_report(shelf: DyeSet) -> None:
    figure = plot(replace(shelf, report=None, conditions=None))
    assert_legible(figure)
    assert len(patches(figure)) == 2 * 12


def test_a_missing_depth_is_a_hole_and_the_next_is_dashed(table: SwatchSet) -> None:
    dyes = ladder_of(table, [0.125, 1, 2, 4])
    figure = plot(dyes)
    (dashed,) = (p for p in figure.axes[0].patches if p.get_linestyle() == "--")
    left, right = dashed.get_x(), dashed.get_x() + dashed.get_width()
    palest, *_, deeper = sorted(image.get_extent()[0] for image in figure.axes[0].images)
    assert palest < left < right < deeper
    assert [[dyes.predict({"rose": np.sqrt(0.125)}, D65_2).hex]] in patches(figure)
    assert "0.35" in words(figure)


def test_what_is_off_the_scale_is_told(shelf: DyeSet) -> None:
    assert shelf.report is not None
    reports = tuple(replace(r, ends=(5.24, *r.ends)) for r in shelf.report.dyes)
    shown = words(plot(replace(shelf, report=replace(shelf.report, dyes=reports)).take("navy")))
    assert "5.2 ▸" in shown


def test_swatches_of_other_dyes_are_refused(shelf: DyeSet, table: SwatchSet) -> None:
    other = replace(table, readings=table.readings[:2])
    with pytest.raises(DyemixError, match="none of the dyes fitted"):
        plot(shelf, swatches=other)


# --- a match -----------------------------------------------------------------------------------


def test_match_says_what_it_must(sage: Matches) -> None:
    shown = words(plot(sage))
    assert "within reach of this shelf" in shown
    for m in sage:
        outside = {text.split()[0] for text in m.prediction.warnings}
        for name, amount in m.recipe.items():
            mark = " ¹" if name in outside else ""
            assert f"{name} {format_amount(amount)}{mark} " in shown
        assert f"likely {m.likely:.1f}, {m.verdict}" in shown
    assert "ΔE2000, D65/2°" in shown


def test_the_target_is_a_band_between_pots(shelf: DyeSet) -> None:
    """Chances are those of the likely miss: so many of 24 pots as lie within 1.5 of the target."""
    found = match(shelf, "#7d8a6e", count=3)
    figure = plot(found)
    blocks = patches(figure)
    assert len(blocks) == 3 * 3
    for m, block in zip(found, blocks[::3], strict=True):
        assert block[1] == ["#7d8a6e"] * 12
        near = int(np.floor(24 * m.excellent + 0.5))
        told = [f"{n} of 24 within 1.5" for n in (near - 1, near, near + 1)]
        assert any(text in words(figure) for text in told)
        # Nearest at the left: told by the code alone, on screen.
        pots = np.array([hex_to_lab(code) for row in (block[0], block[2]) for code in row])
        miss = delta_e(found.target.lab, pots).reshape(2, 12)
        assert miss[:, 0].max() < 1.0 < miss[:, -1].min()
    assert Reach.TOO_CLEAN.value in words(plot(match(shelf, "#ff2010", count=3)))


def test_the_smallest_measure_of_a_recipe_is_said(shelf: DyeSet) -> None:
    found = match(shelf, "#7d8a6e", count=2, kit=Kit(120.0, {"": 1.0}, "syringe", 0.5))
    figure = plot(found)
    assert_legible(figure)
    for m in found:
        assert m.measured is not None
        least = min(m.measured.doses, key=lambda dose: dose.ml)
        assert f"smallest: {least.dye} {least.text}" in words(figure)


def test_a_lamp_turns_a_recipe_as_its_inconstancy_says(sage: Matches) -> None:
    shown = words(plot(sage))
    for m in sage:
        for lamp in ("FL11/2°", "A/2°"):
            # On paper the recipe is the target to 0.1, so the turn is its own.
            turn = next(shift.delta_e for shift in m.lamps if shift.lamp == lamp)
            assert any(f" {turn + off:.1f}" in shown for off in (-0.1, 0.0, 0.1))


def test_a_target_with_a_spectrum(shelf: DyeSet, table: SwatchSet) -> None:
    target = Target.of(table.ladder("plum")[2])
    figure = plot(match(shelf, target, max_dyes=2))
    daylight, shop, _ = patches(figure)[:3]
    assert daylight[1] == [screen_colour(target.reflectance).hex] * 12
    assert shop[1] != [screen_colour(target.reflectance).hex] * 4
    assert "no spectrum" not in words(figure)
    assert "D65/10°" in words(figure)


def test_a_rough_target_patch_is_said(shelf: DyeSet) -> None:
    figure = plot(match(shelf, Target.parse("56 -10 13 A/10"), count=2))
    assert "the target is stated under A/10°" in words(figure)
    assert "is stated under" not in words(plot(match(shelf, "56 -10 13 D65/2", count=2)))


def test_long_recipes_are_legible(shelf: DyeSet) -> None:
    dyes = long_names(shelf)
    recipe = Recipe(dict.fromkeys(dyes.names, 0.5))
    target = Target(np.array([50.0, 0.0, 0.0]), Light(), name="of $cost_a$ and " + "x" * 150)
    one = match(dyes, target)[0]
    blends = [replace(one, prediction=dyes.predict(some, Light()), target=target, residual=away)
              for some, away in ((recipe, 1.0), ({}, 30.0))]  # fmt: skip
    figure = plot(Matches(target, tuple(blends), Reach.TOO_DULL, 1, dyes))
    assert_legible(figure)
    # A dollar sign in a name is a dollar sign.
    assert not any(t.get_parse_math() for t in figure.axes[0].texts)


@pytest.mark.slow
def test_many_recipes_go_on_further_pages(shelf: DyeSet) -> None:
    found = match(shelf, "#7d8a6e", max_dyes=3, count=20)
    sheets = pages(recipes.match, found)
    assert sum(len(patches(figure)) for figure in sheets) == 3 * len(found) > 24
    for figure in sheets:
        assert_legible(figure)


# --- a series ----------------------------------------------------------------------------------


def test_a_series_shows_what_is_reached_and_says_where_it_ends(shelf: DyeSet) -> None:
    found = subdue(shelf, BRIGHT)
    figure = plot(found)
    for route, block in zip(found.best, patches(figure), strict=True):
        steps = route.steps[: route.reached]
        codes = [found.start.hex, *(step.prediction.hex for step in steps)]
        assert block[0] == [code for code in codes for _ in range(8)]
        pots = np.array([[hex_to_lab(code) for code in row[8:]] for row in block[3:]])
        pots = pots.reshape(3, -1, 8, 3).transpose(1, 0, 2, 3).reshape(-1, 24, 3)
        for step, some in zip(steps, pots, strict=True):
            asked = hex_to_lab(step.prediction.hex)
            assert delta_e(asked, some).mean() == pytest.approx(step.likely, rel=0.3)
        assert f"by {route.title}" in words(figure)
    reached = [route.steps[: route.reached] for route in found.best]
    likely = [t for t in texts(figure) if t.get_text().startswith("likely ")]
    assert [t.get_text() for t in likely] == [f"likely {s.likely:.1f}" for r in reached for s in r]
    least = [min(s[i].likely for s in reached if i < len(s)) for i in range(max(map(len, reached)))]
    bold = [t.get_text() for t in likely if t.get_weight() == "bold"]
    assert sorted(bold) == sorted(f"likely {miss:.1f}" for miss in least)
    stopped = [route for route in found.best if route.reached < len(route.steps)]
    assert stopped
    assert words(figure).count("stops here") == len(stopped)


def test_all_steps_of_a_long_series_stand_in_rows(shelf: DyeSet) -> None:
    found = tint(shelf, "rose 2", 8)
    codes = [code for block in patches(plot(found)) for code in block[0][::8]]
    assert codes == [found.start.hex, *(step.prediction.hex for step in found.steps)]
    ends = gradient(shelf, "lemon 1", "navy 2", 6)
    shown = [code for block in patches(plot(ends)) for code in block[0][::8]]
    assert shown == [step.prediction.hex for step in ends.steps]


# --- a shade card ------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def triangle(shelf: DyeSet) -> ShadeCard:
    return shade_card(shelf, TRIANGLE, 1.5)


def test_neighbours_of_a_card_touch(triangle: ShadeCard) -> None:
    (block,) = patches(plot(triangle))
    for blend in triangle.blends:
        at = 2 * blend.column + 10 - blend.row
        assert block[blend.row][at : at + 2] == [blend.prediction.hex] * 2
    assert sum(code != "" for row in block for code in row) == 2 * 66
    dots = [m.get_markersize() for m in plot(triangle).axes[0].get_lines()]
    likely = [blend.prediction.likely for blend in triangle.blends]
    np.testing.assert_allclose(np.divide(dots, likely), max(dots) / max(likely))  # less sure
    shown = words(plot(triangle))
    assert "F3 5:3:2" in shown
    assert all(f"all {name}" in shown for name in TRIANGLE)


@pytest.mark.slow
def test_a_card_prints_true_to_size(triangle: ShadeCard) -> None:
    sheets = pages(recipes.card, triangle)[1:]
    labels = " ".join(words(figure) for figure in sheets)
    count = 0
    for figure in sheets:
        assert_legible(figure)
        layer, (width, height) = figure.axes[0], figure.get_size_inches()
        assert layer.get_xlim() == pytest.approx((0, width))
        assert layer.get_ylim() == pytest.approx((height, 0))
        for image in layer.images:
            x0, x1, y1, y0 = image.get_extent()
            assert (x1 - x0, y1 - y0) == pytest.approx((recipes.PIN_WIDTH, recipes.PIN_HEIGHT))
            count += 1
        bars = [line for line in layer.lines if line.get_linewidth() == 2]
        assert np.ptp(bars[0].get_xdata()) * 25.4 == pytest.approx(50.0)
        assert pytest.approx(50.0) == recipes.PIN_BAR * 25.4
    assert count == 66
    for blend in triangle.blends:
        assert f"{blend.name}  {blend.recipe}" in labels
        assert blend.prediction.hex in labels


@pytest.mark.slow
def test_a_card_of_long_names_is_legible(shelf: DyeSet) -> None:
    long = {n: f"{n} of the second crate 2026" for n in shelf.names}
    named = replace(shelf, names=tuple(long.values()))
    for figure in pages(recipes.card, shade_card(named, [long[n] for n in TRIANGLE], 0.3, parts=4)):
        assert_legible(figure)


# --- reach -------------------------------------------------------------------------------------


def test_reach_shows_what_stops_you(small: ShelfReach) -> None:
    figure = plot(small)
    assert_legible(figure)
    shown = words(figure)
    assert "#d63a92: your 6 dyes stop short of it" in shown
    assert small.target is not None
    assert f"{small.target.residual:.1f} off" in shown
    assert all(name in shown for name in OWNED)
    assert f"only with {small.additions[0].dye} as well" in shown
    assert "Which dye would bring it nearer" in shown


def test_tiles_are_the_colours_they_stand_for(small: ShelfReach) -> None:
    """Every tile of the hue wanted, against the outline of its own slice."""
    assert small.target is not None
    block = patches(plot(small))[1]
    turn = np.arctan2(*small.target.target.lab[:0:-1])
    assert len(block) == len(small.gamut.levels)
    reached = 0
    for row, level in zip(block, small.gamut.levels[::-1], strict=True):
        for i, code in enumerate(row):
            chroma = 4.0 * (i + 0.5)
            lab = np.array([[level, chroma * np.cos(turn), chroma * np.sin(turn)]])
            assert code == (screen_colours(lab)[0].hex if small.gamut.reaches(lab)[0] else "")
            reached += code != ""
    assert 40 < reached < 250


def test_names_of_dyes_lie_on_no_tile(shelf: DyeSet) -> None:
    """Nor on a small square of what a dye not owned would add."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    own = shelf.take(["marigold", "navy", "black", "rose"])
    found = reach(own, target="#109080", other=shelf.take(["turquoise", "lemon", "leaf"]))
    figure = plot(found)
    layer, renderer = figure.axes[0], FigureCanvasAgg(figure).get_renderer()
    large = [im for im in layer.images if np.ptp(im.get_extent()[:2]) > 3.0 and im.zorder == 2]
    wheel = max(large, key=lambda im: im.get_extent()[0])
    left, right, foot, top = wheel.get_extent()
    drawn = wheel.get_array()[..., 3] > 0
    named = [t for t in layer.texts if t.get_text() in own.names and t.get_position()[1] < foot]
    named = [t for t in named if t.get_position()[1] > top]
    assert len(named) == 3
    for name in named:
        box = name.get_window_extent(renderer).transformed(layer.transData.inverted())
        xs = (np.array([box.x0, box.x1]) - left) / (right - left) * drawn.shape[1]
        ys = (np.sort([box.y0, box.y1]) - top) / (foot - top) * drawn.shape[0]
        (x0, x1), (y0, y1) = xs.astype(int), ys.astype(int)
        assert not drawn[y0:y1, x0:x1].any(), name.get_text()


def test_fit_and_reach_are_read_without_colour(
    small: ShelfReach, shelf: DyeSet, table: SwatchSet
) -> None:
    """All but patches is grey; marks on tiles are black and white, 4.5 to 1 on any grey (WCAG)."""
    from matplotlib.colors import to_rgb

    figures = plot(small), plot(shelf, swatches=table)
    for layer in (axes for figure in figures for axes in figure.axes):
        colours = [t.get_color() for t in texts(layer.figure)]
        colours += [line.get_color() for line in layer.get_lines()]
        colours += [p.get_facecolor()[:3] for p in layer.patches]
        assert all(np.ptp(to_rgb(colour)) < 0.01 for colour in colours)
    marks: dict[tuple[float, ...], set[str]] = {}
    for line in figures[0].axes[0].get_lines():
        shades = {line.get_markeredgecolor(), line.get_markerfacecolor()}
        marks.setdefault(tuple(line.get_xydata()[0].round(3)), set()).update(shades)
    assert len(marks) == 7  # wanted and nearest on both panels, three colours on the wheels
    assert all({"black", "white"} <= shades for shades in marks.values())
    greys = [f"#{3 * f'{i:02x}'}" for i in range(256)]
    assert min(max(contrast(g, "black"), contrast(g, "white")) for g in greys) >= 4.5
    assert small.target is not None
    turned = Miss.of(small.target.target.lab, small.target.prediction.lab).words
    assert ", ".join(turned) in words(figures[0])
    assert {m.get_marker() for m in figures[1].axes[1].get_lines()} == {"o"}


# --- a trial, and own mixes --------------------------------------------------------------------


@pytest.fixture(scope="module")
def piece(shelf: DyeSet) -> Trial:
    recipe = Recipe.parse("marigold 0.42 + cobalt 0.14 + black 0.11")
    spectrum = 0.85 * shelf.predict(recipe).reflectance
    return Trial(recipe, Reading(recipe, spectrum), Target.parse("#7d8a6e"))


def test_a_trial_shows_what_each_choice_promises(shelf: DyeSet, piece: Trial) -> None:
    found = correct(shelf, piece)
    assert found.outcome is Outcome.NEXT_PIECE
    figure = plot(found)
    assert_legible(figure)
    shown = words(figure)
    assert "dye the next piece by the corrected recipe" in shown
    for pot in (found.again, found.corrected):
        assert str(pot.recipe) in shown
    assert f"likely {found.corrected.likely:.1f} off" in shown
    (strip,) = patches(figure)
    got, aim = screen_colour(piece.reading.reflectance).hex, "#7d8a6e"
    for row in strip:
        assert row[:16] == [got] * 8 + [aim] * 8
    pots = np.array([hex_to_lab(code) for row in strip for code in row[16:]])
    miss = delta_e(found.target.lab, pots)
    assert miss.mean() == pytest.approx(found.corrected.likely, rel=0.15)
    marks = figure.axes[0].get_lines()
    dots = np.array([m.get_xydata()[0] for m in marks if m.get_marker() == "o"])
    (piece_at, _), middle = [m.get_xydata()[0] for m in marks if m.get_marker() == "x"], dots[:100]
    assert len(dots) == 200
    # Darker by 15 %: the piece lies below every pot of scatter alone (y runs down the page).
    assert piece_at[1] > middle[:, 1].max()
    assert abs(piece_at[0] - middle[:, 0].mean()) < 0.3
    change = 100 * (found.corrected.recipe["marigold"] / 0.42 - 1)
    assert f"({change:+.0f} %)" in shown


def test_a_piece_within_scatter_is_left_alone(shelf: DyeSet) -> None:
    recipe = Recipe.parse("marigold 0.42 + cobalt 0.14 + black 0.11")
    p = shelf.predict(recipe)
    found = correct(shelf, Trial(recipe, Reading(recipe, p.reflectance), p.as_target()))
    figure = plot(found)
    assert_legible(figure)
    assert "change nothing" in words(figure)
    assert "What to change" not in words(figure)
    assert "24 pots of the same recipe" in words(figure)


def test_own_mixes_show_whether_promises_are_kept(table: SwatchSet) -> None:
    mixes = read_swatches(SWATCH_DATA / "napkins_mixtures.csv")
    report = fit(table, mixes).report
    assert report is not None
    figure = plot(report)
    assert_legible(figure)
    kept = sum(check.delta_e <= check.bound for check in report.checks)
    assert f"{kept} of {len(report.checks)} mixes came within what was promised" in words(figure)
    marks = [m for m in figure.axes[1].get_lines() if m.get_marker() in ("o", "D")]
    order = sorted(report.checks, key=lambda c: -c.delta_e / c.bound)
    at = [float(mark.get_xdata()[0]) for mark in marks]
    assert np.corrcoef(at, [check.delta_e for check in order])[0, 1] > 0.999
    assert [m.get_marker() == "o" for m in marks] == [check.kept for check in order]
    assert "No mix of yours" in words(plot(replace(report, own_mixtures=(), set_aside=())))


# --- files -------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["a.gif", "a", "a.jpg", "png"])
def test_other_endings_are_refused(name: str, tmp_path: Path, sage: Matches) -> None:
    with pytest.raises(DyemixError, match=r"name the picture \.png, \.svg or \.pdf"):
        plot(sage, tmp_path / name)
    assert not list(tmp_path.iterdir())


def test_nothing_is_written_over_unsaid(tmp_path: Path, sage: Matches) -> None:
    file = tmp_path / "a.png"
    file.write_bytes(b"hers")
    with pytest.raises(InputError, match="is there already"):
        plot(sage, file)
    assert file.read_bytes() == b"hers"
    plot(sage, file, force=True)
    assert file.read_bytes().startswith(b"\x89PNG")
    with pytest.raises(InputError, match="no folder"):
        plot(sage, tmp_path / "nowhere" / "a.png")


def test_what_has_no_picture_is_said() -> None:
    with pytest.raises(DyemixError, match="no picture of a Recipe"):
        plot(Recipe({"rose": 1.0}))


@pytest.mark.parametrize(
    ("name", "start"),
    [
        ("a.png", b"\x89PNG"), ("a.SVG", b"<?xml"),
        pytest.param("a.pdf", b"%PDF", marks=pytest.mark.slow),
    ],
)  # fmt: skip
def test_files_are_the_same_each_time(
    name: str, start: bytes, tmp_path: Path, shelf: DyeSet
) -> None:
    found = match(shelf, "#7d8a6e", count=2)
    written = []
    for folder in ("one", "two"):
        (tmp_path / folder).mkdir()
        plot(found, tmp_path / folder / name)
        written.append((tmp_path / folder / name).read_bytes())
    assert written[0].startswith(start)
    assert written[0] == written[1]
    assert b"CreationDate" not in written[0]
    assert b"<dc:date>" not in written[0]


@pytest.mark.slow
def test_several_pages_are_one_pdf(tmp_path: Path, shelf: DyeSet) -> None:
    strip = shade_card(shelf, ("lemon", "navy"))
    plot(strip, tmp_path / "card.pdf")
    pdf = (tmp_path / "card.pdf").read_bytes()
    assert pdf.count(b"/Type /Page ") + pdf.count(b"/Type /Page\n") == 2
    plot(strip, tmp_path / "card.png")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["card-1.png", "card-2.png", "card.pdf"]
    (tmp_path / "card-1.png").unlink()
    with pytest.raises(InputError, match="card-2"):
        plot(strip, tmp_path / "card.png")
    assert not (tmp_path / "card-1.png").exists()  # all of them, or none
    (tmp_path / "card-2.png").unlink()
    (tmp_path / "card.png").write_bytes(b"hers")
    plot(strip, tmp_path / "card.png")  # no page is called so
    assert (tmp_path / "card.png").read_bytes() == b"hers"


def test_all_pages_are_drawn_for_a_file(
    tmp_path: Path, shelf: DyeSet, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two of a strip; without a file the first is all that is drawn."""
    from dyemix import plots

    counts = []
    monkeypatch.setattr(plots, "save", lambda drawn, *_, **__: counts.append(len(drawn)))
    strip = shade_card(shelf, ("lemon", "navy"))
    plot(strip, tmp_path / "card.pdf")
    assert counts == [2]
    assert len(plots.pages(strip)) == 2
    assert len(plots.pages(strip, 1)) == 1


def test_own_settings_are_left_alone(sage: Matches) -> None:
    import matplotlib

    own = dict.fromkeys(("text.color", "xtick.color", "ytick.color"), "yellow")
    with matplotlib.rc_context({"font.size": 30, **own}):
        before = dict(matplotlib.rcParams)
        figure = plot(sage)
        assert dict(matplotlib.rcParams) == before
        assert_legible(figure)


def test_no_global_figure_is_left(sage: Matches) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        for _ in range(3):
            plot(sage)
    from matplotlib import _pylab_helpers

    assert not _pylab_helpers.Gcf.get_all_fig_managers()


def test_light_is_said_once(shelf: DyeSet) -> None:
    """A hex code is of D65/2°: nothing in its picture speaks of another light."""
    found = reach(shelf, target="#7d8a6e", compare=False)
    assert found.gamut.light == D65_2
    assert "D65/10°" not in words(plot(found))


def test_no_page_is_higher_than_paper_whatever_stands_beside_its_rows() -> None:
    """Words beside a row may need more room than the row before: then it begins the next page."""
    from dyemix.plots.paper import Paper, paged

    drawn: list[list[int]] = []

    def draw(paper: Paper, lines: int) -> None:
        drawn[-1].append(lines)
        paper.y += 0.2 * lines

    def begin() -> Paper:
        drawn.append([])
        return Paper("fit", "Dyes", [], demo=False, upper="", light="D65/10°")

    pages = paged([9, 9, 9, 4, 1, 20, 4, 4], begin, draw)
    assert max(page.get_figheight() for page in pages) <= 11.0
    assert len(pages) == 2
    assert [some for some in drawn if some in ([9, 9, 9, 4, 1], [20, 4, 4])] == drawn[1:]
    assert len(paged([], begin, draw)) == 1
