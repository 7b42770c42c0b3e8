"""Do the pictures say what they must, in letters that can be read, with or without colour?

Contrast is that of WCAG 2.2 (W3C): 4.5 to 1 for text, 3 to 1 for graphics.
"""

from __future__ import annotations

import itertools
import warnings
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest

from dyemix.colour.colorimetry import D65_2, Light
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.swatches import DEMO_WARNING, Reading, SwatchSet
from dyemix.dataset.target import Target
from dyemix.errors import DyemixError
from dyemix.files import read_swatches
from dyemix.fitting.fit import fit
from dyemix.matching.match import match
from dyemix.matching.matches import LampShift, Match, Matches, Reach
from dyemix.model.dyes import DyeSet
from dyemix.plots.results import draw_dyes, draw_match

if TYPE_CHECKING:
    from matplotlib.figure import Figure
    from matplotlib.lines import Line2D
    from matplotlib.text import Text

SWATCH_DATA = Path(__file__).resolve().parents[2] / "swatch_data"


@pytest.fixture(scope="module")
def table() -> SwatchSet:
    return read_swatches(SWATCH_DATA / "napkins.csv")


@pytest.fixture(scope="module")
def shelf(table: SwatchSet) -> DyeSet:
    return fit(table)


@pytest.fixture(scope="module")
def sage(shelf: DyeSet) -> Matches:
    return match(shelf, "#7d8a6e")


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


def texts(figure: Figure) -> list[Text]:
    from matplotlib.text import Text

    return [t for t in figure.findobj(Text) if t.get_visible() and t.get_text().strip()]


def words(figure: Figure) -> str:
    """All text of a figure as one line, wrapped lines joined."""
    return " ".join(t.get_text() for t in texts(figure))


def lines(figure: Figure, panel: int) -> list[Line2D]:
    """Unmarked or marked curves of one diagram; crosses without a line are left out."""
    return [line for line in figure.axes[panel].get_lines() if line.get_linestyle() != "None"]


def luminance(colour: str) -> float:
    from matplotlib.colors import to_rgb

    s = np.array(to_rgb(colour))
    linear = np.where(s <= 0.04045, s / 12.92, ((s + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


def contrast_on_white(colour: str) -> float:
    return 1.05 / (luminance(colour) + 0.05)


def assert_legible(figure: Figure) -> None:
    """Nothing overlaps or leaves the page, nothing stands on a patch, and letters are 8 pt."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.patches import Rectangle

    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    renderer = canvas.get_renderer()
    # An axis keeps labels for ticks beyond its limits, which are never drawn: they have no box.
    boxes = [(t, t.get_window_extent(renderer)) for t in texts(figure)]
    drawn = {id(t) for axes in figure.axes for t in shown_tick_labels(axes)}
    ticks = {
        id(t) for axes in figure.axes for t in [*axes.get_xticklabels(), *axes.get_yticklabels()]
    }
    boxes = [(t, box) for t, box in boxes if id(t) not in ticks or id(t) in drawn]
    assert len(boxes) > 10
    for (one, a), (other, b) in itertools.combinations(boxes, 2):
        apart = a.x1 <= b.x0 or b.x1 <= a.x0 or a.y1 <= b.y0 or b.y1 <= a.y0
        assert apart, f"{one.get_text()!r} and {other.get_text()!r} overlap"
    page = figure.bbox
    patches = [
        p.get_window_extent(renderer) for p in figure.axes[0].patches if isinstance(p, Rectangle)
    ]
    assert patches
    for text, box in boxes:
        inside = box.x0 >= 0 and box.x1 <= page.x1 and box.y0 >= 0 and box.y1 <= page.y1
        assert inside, f"{text.get_text()!r} leaves the page"
        assert text.get_fontsize() >= 8
        for patch in patches:
            clear = (
                box.x1 <= patch.x0 or patch.x1 <= box.x0 or box.y1 <= patch.y0 or patch.y1 <= box.y0
            )
            assert clear, f"{text.get_text()!r} stands on a patch"
        colour = text.get_color()
        assert isinstance(colour, str)
        assert contrast_on_white(colour) >= 4.5


def shown_tick_labels(axes) -> list[Text]:  # type: ignore[no-untyped-def]
    """Labels of ticks within the limits, where the axis is on."""
    if not axes.axison:
        return []
    out = []
    for axis, (low, high) in ((axes.xaxis, axes.get_xlim()), (axes.yaxis, axes.get_ylim())):
        ticks = axis.get_major_ticks()
        out += [t.label1 for t in ticks if low - 1e-9 <= t.get_loc() <= high + 1e-9]
    return out


def test_dyes_say_what_they_must(shelf: DyeSet, table: SwatchSet) -> None:
    shown = words(draw_dyes(shelf, table))
    assert shown.startswith(DEMO_WARNING)
    assert shelf.report is not None
    assert shelf.report.verdict in shown
    assert "ΔE2000 (D65/10°)" in shown
    assert "sRGB (D65/2°)" in shown
    for dye in shelf.report.dyes:
        assert dye.mean is not None
        caption = f"law: {dye.law} left-out miss {dye.mean:.1f}, worst {max(dye.inner):.1f}"
        assert caption in shown[shown.index(f" {dye.name} ") :]
        assert all(text in shown for text in dye.odd)
    assert shown.count("0.125") >= 12


def test_dyes_are_legible(shelf: DyeSet, table: SwatchSet) -> None:
    figure = draw_dyes(shelf, table)
    assert_legible(figure)
    assert figure.get_size_inches()[0] == pytest.approx(8.27)
    assert figure.get_size_inches()[1] <= 11.69  # A4


def test_every_number_of_dyes_is_legible(shelf: DyeSet, table: SwatchSet) -> None:
    for names in (["navy"], ["navy", "rust"], ["navy", "rust", "rose", "leaf"]):
        figure = draw_dyes(shelf.take(names), table)
        assert len(figure.axes) == 1 + len(names)
        assert_legible(figure)


def test_long_names_and_long_ladders_are_legible(shelf: DyeSet, table: SwatchSet) -> None:
    assert_legible(draw_dyes(long_names(shelf)))
    for count in (2, 7, 10, 24):
        depths = [round(float(c), 4) for c in np.geomspace(0.0123, 8, count)]
        figure = draw_dyes(ladder_of(table, depths))
        assert_legible(figure)
        assert all(f"{c:g}" in words(figure) for c in depths)


def test_dyes_without_a_report(shelf: DyeSet) -> None:
    figure = draw_dyes(replace(shelf, report=None, conditions=None))
    assert_legible(figure)
    assert "law: Langmuir" in words(figure)
    assert len(lines(figure, 1)) == 2


def test_swatches_are_drawn_as_read(shelf: DyeSet, table: SwatchSet) -> None:
    figure = draw_dyes(shelf, table)
    for panel, name in enumerate(shelf.names, 1):
        crosses = [x for x in figure.axes[panel].get_lines() if x.get_linestyle() == "None"]
        ladder = table.ladder(name)
        assert len(crosses) == len(ladder)
        for line, swatch in zip(crosses, ladder, strict=True):
            np.testing.assert_array_equal(line.get_ydata(), swatch.reflectance[::2])


def test_made_up_spectra_are_not_drawn_as_read(shelf: DyeSet, table: SwatchSet) -> None:
    rough = replace(table, readings=tuple(replace(r, kind="hex") for r in table.readings))
    figure = draw_dyes(fit(rough), rough)
    assert all(x.get_linestyle() != "None" for ax in figure.axes[1:] for x in ax.get_lines())
    assert "three numbers" in words(figure)


def test_curves_are_the_predictions(shelf: DyeSet) -> None:
    figure = draw_dyes(shelf)
    for panel, name in enumerate(shelf.names, 1):
        depths = (0.125, 0.25, 0.5, 1, 2, 4)
        for line, depth in zip(lines(figure, panel), depths, strict=True):
            wanted = shelf.predict({name: depth}).reflectance
            np.testing.assert_allclose(np.asarray(line.get_ydata()), wanted, rtol=1e-12)


def look(line: Line2D) -> tuple[str, str]:
    """Dashes and marker: all of a line that greyscale keeps."""
    dashes = line._unscaled_dash_pattern  # type: ignore[attr-defined]
    return str(dashes), str(line.get_marker())


def test_curves_differ_without_colour(shelf: DyeSet, sage: Matches) -> None:
    for figure, panel in ((draw_dyes(shelf), 1), (draw_match(sage), 1)):
        curves = lines(figure, panel)
        assert len(curves) >= 6
        assert len({look(line) for line in curves}) == len(curves)
        for line in curves:
            assert contrast_on_white(str(line.get_color())) >= 4.5


def test_samples_are_those_of_their_curves(sage: Matches) -> None:
    """The sample beside each recipe looks like the curve of that recipe."""
    figure = draw_match(sage)
    samples = [x for x in figure.axes[0].get_lines() if x.get_marker() != "None"]
    for sample, curve, m in zip(samples, lines(figure, 1), sage, strict=True):
        assert look(sample) == look(curve)
        assert sample.get_color() == curve.get_color()
        np.testing.assert_array_equal(curve.get_ydata(), m.prediction.reflectance)


def test_match_says_what_it_must(sage: Matches) -> None:
    shown = words(draw_match(sage))
    assert shown.startswith(DEMO_WARNING)
    assert "within reach of this shelf" in shown
    for i, m in enumerate(sage, 1):
        assert f"{i}  {m.recipe}" in shown
        assert m.prediction.hex in shown
    assert shown.count("(ΔE2000 1:1:1, D65/2°)") == len(sage)
    for warning in sage.warnings:
        assert warning in shown


def test_no_demo_warning_over_real_dyes(shelf: DyeSet, sage: Matches) -> None:
    assert "DEMO" not in words(draw_match(replace(sage, demo=False)))
    assert "DEMO" not in words(draw_dyes(replace(shelf, demo=False)))


def test_patches_are_target_and_predictions(shelf: DyeSet) -> None:
    from matplotlib.colors import to_hex

    found = match(shelf, "#ff2010", count=3)
    shown = [to_hex(p.get_facecolor()) for p in draw_match(found).axes[0].patches]
    assert shown == ["#ff2010", *(m.prediction.hex for m in found)]


def test_out_of_reach_is_said(shelf: DyeSet) -> None:
    figure = draw_match(match(shelf, "#ff2010", count=3))
    assert Reach.TOO_CLEAN.value in words(figure)
    assert_legible(figure)


def test_a_target_with_a_spectrum(shelf: DyeSet, table: SwatchSet) -> None:
    target = Target.of(table.ladder("plum")[2])
    assert target.reflectance is not None
    figure = draw_match(match(shelf, target, max_dyes=2))
    np.testing.assert_array_equal(lines(figure, 1)[0].get_ydata(), target.reflectance)
    assert "spectrum of the target" in words(figure)
    assert "metamerism A/10°" in words(figure)
    assert "D65/10°" in words(figure)
    assert_legible(figure)


def test_a_rough_target_patch_is_said(shelf: DyeSet) -> None:
    figure = draw_match(match(shelf, Target.parse("56 -10 13 A/10"), count=2))
    assert "rough: stated under A/10°" in words(figure)
    beyond = draw_match(match(shelf, Target.parse("60 -90 20", D65_2), count=2))
    assert "beyond sRGB" in words(beyond)


def test_match_is_legible(sage: Matches) -> None:
    assert_legible(draw_match(sage))


def test_long_recipes_wrap(shelf: DyeSet) -> None:
    dyes = long_names(shelf)
    recipe = Recipe(dict.fromkeys(dyes.names, 0.5))
    pot = (2.0, 1.9, 3.4, 0.8, 0.4)
    shift = (LampShift("A/10°", 12.34),)
    blends = [
        Match(dyes.predict(recipe, Light()), 1.0, *pot, metamerism=shift),
        Match(dyes.predict({}), 30.0, *pot),
    ]
    target = Target(np.array([50.0, 0.0, 0.0]), Light(), name="of $cost_a$ and " + "x" * 150)
    figure = draw_match(Matches(target, tuple(blends), Reach.TOO_DULL, 1, demo=True))
    assert_legible(figure)
    assert str(recipe) in words(figure)
    # A dollar sign in a name is a dollar sign.
    assert not any(t.get_parse_math() for t in figure.axes[0].texts)


def test_many_recipes_are_legible(shelf: DyeSet) -> None:
    figure = draw_match(match(shelf, "#7d8a6e", max_dyes=3, count=20))
    assert_legible(figure)
    curves = lines(figure, 1)
    assert len({look(line) for line in curves}) == len(curves)


@pytest.mark.parametrize("name", ["a.gif", "a", "a.jpg", "png"])
def test_other_endings_are_refused(name: str, tmp_path: Path, shelf: DyeSet, sage: Matches) -> None:
    with pytest.raises(DyemixError, match=r"name the picture \.png, \.svg or \.pdf"):
        draw_match(sage, tmp_path / name)
    with pytest.raises(DyemixError, match=r"name the picture \.png, \.svg or \.pdf"):
        draw_dyes(shelf, path=tmp_path / name)
    assert not list(tmp_path.iterdir())


def test_a_missing_folder_is_said(tmp_path: Path, sage: Matches) -> None:
    with pytest.raises(DyemixError, match=r"a\.png: the picture cannot be written"):
        draw_match(sage, tmp_path / "nowhere" / "a.png")


def test_swatches_of_other_dyes_are_refused(shelf: DyeSet, table: SwatchSet) -> None:
    other = replace(table, readings=table.readings[:2])
    with pytest.raises(DyemixError, match="none of the dyes fitted"):
        draw_dyes(shelf, other)


@pytest.mark.parametrize(
    ("name", "start"), [("a.png", b"\x89PNG"), ("a.SVG", b"<?xml"), ("a.pdf", b"%PDF")]
)
def test_files_are_the_same_each_time(
    name: str, start: bytes, tmp_path: Path, shelf: DyeSet
) -> None:
    found = match(shelf, "#7d8a6e", count=2)
    written = []
    for folder in ("one", "two"):
        (tmp_path / folder).mkdir()
        draw_match(found, tmp_path / folder / name)
        written.append((tmp_path / folder / name).read_bytes())
    assert written[0].startswith(start)
    assert written[0] == written[1]
    assert b"CreationDate" not in written[0]
    assert b"<dc:date>" not in written[0]


def test_own_settings_are_left_alone(sage: Matches) -> None:
    import matplotlib

    own = dict.fromkeys(("text.color", "xtick.color", "ytick.color"), "yellow")
    with matplotlib.rc_context({"font.size": 30, **own}):
        figure = draw_match(sage)
        assert matplotlib.rcParams["font.size"] == 30
        assert_legible(figure)


def test_no_global_figure_is_left(sage: Matches) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        for _ in range(3):
            draw_match(sage)
    from matplotlib import _pylab_helpers

    assert not _pylab_helpers.Gcf.get_all_fig_managers()
