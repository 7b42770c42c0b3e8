"""Pieces kept, compared, and previewed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import dyemix
from dyemix.cloth.amounts import Unmixer
from dyemix.cloth.levelness import Levelness, compare_pieces, saved_pieces
from dyemix.cloth.preview import _seen, preview
from dyemix.dataset.serialise import as_json
from dyemix.dyebook.book import DyeBook
from dyemix.errors import DyemixError, InputError, RecipeError
from tests.simulated.strike import MIXES, ORDERS
from tests.simulated.struck import spectral_dyes


def test_a_piece_comes_back_from_its_file(seen: dict[str, Levelness], tmp_path):
    file = tmp_path / "pieces.json"
    file.write_text(as_json(list(seen.values())), encoding="utf-8")
    back = saved_pieces(file)
    assert [str(piece) for piece in back] == [str(piece) for piece in seen.values()]
    file.write_text("{}", encoding="utf-8")
    (tmp_path / "deep.json").write_text("[" * 100_000, encoding="utf-8")
    with pytest.raises(InputError, match="no analysed piece"):
        saved_pieces(tmp_path / "deep.json")
    with pytest.raises(InputError, match="no analysed piece"):
        saved_pieces(file)


def test_a_book_keeps_pieces_under_a_job(seen: dict[str, Levelness], tmp_path):
    with DyeBook(tmp_path / "kept.dyebook") as book:
        book.add_pieces([seen["with"], seen["after"]], "napkins")
        book.add_pieces([seen["presoak"]])
    with DyeBook(tmp_path / "kept.dyebook") as book:
        assert book.jobs() == ("napkins", str(seen["presoak"].recipe))
        assert [str(piece) for piece in book.pieces("napkins")] == [
            str(seen["with"]), str(seen["after"])
        ]  # fmt: skip
        assert len(book.pieces()) == 3
        assert np.array_equal(book.pieces()[0].mottle.amounts, seen["with"].mottle.amounts)
        assert [what for what, *_ in book.search("after.jpg")] == ["mottled piece"]


def test_pieces_of_one_experiment_stand_side_by_side(seen: dict[str, Levelness]):
    found = compare_pieces(list(seen.values()))
    assert len(found.to_frame()) == 3
    told = "\n".join(found.differences)
    assert "From presoak presoak.jpg to after after.jpg: undyed share" in told
    assert "repeats" in str(found)


def test_what_is_doubtful_of_one_piece_is_told_beside_another(seen: dict[str, Levelness]):
    one, other = seen["with"], seen["after"]
    doubtful = replace(other, warnings=(*other.warnings, "Half of it was not read."))
    assert "- after.jpg: Half of it was not read." in str(compare_pieces([one, doubtful]))
    assert "Half of it" not in str(compare_pieces([doubtful, doubtful]))


def test_a_piece_does_not_differ_from_itself(seen: dict[str, Levelness]):
    assert compare_pieces([seen["with"], seen["with"]]).differences == ()


def test_another_camera_is_told(seen: dict[str, Levelness]):
    one, other = (
        replace(seen["with"], camera=np.eye(3)),
        replace(seen["with"], camera=0.7 * np.eye(3)),
    )
    assert "another camera" in str(compare_pieces([one, replace(other, name="b.jpg")]))


def test_what_cannot_be_compared_is_refused(seen: dict[str, Levelness]):
    with pytest.raises(DyemixError, match="two pieces"):
        compare_pieces([seen["with"]])
    other = replace(seen["with"], recipe=dyemix.Recipe.parse("lemon 2"))
    with pytest.raises(DyemixError, match="one recipe"):
        compare_pieces([seen["with"], other])


@pytest.mark.parametrize("order", ORDERS)
def test_a_preview_of_an_analysed_piece_has_its_figures(seen: dict[str, Levelness], order: str):
    dyes = spectral_dyes(tuple(MIXES["clear"]))
    found = preview(dyes, MIXES["clear"], order=order, pieces=list(seen.values()))[0]
    assert not found.illustrative
    for figure, within in zip(found.figures, (2.0, 0.1, 0.5), strict=False):
        assert figure.value == pytest.approx(seen[order].figure(figure.name).value, abs=within)


def test_without_own_pieces_a_preview_says_so_and_falls_from_order_to_order():
    dyes = spectral_dyes(("lemon", "rose", "turquoise", "black"))
    figures = []
    for order in ORDERS:
        found = preview(dyes, MIXES["clear"], order=order, size_mm=60)
        assert found[0].illustrative
        assert "Illustrative" in str(found)
        figures.append(found[0].figures[1].value)
    assert figures == sorted(figures, reverse=True)


@pytest.mark.parametrize(
    ("order", "uneven", "strays"),
    [("presoak", 1.1, 0.45), ("with", 0.6, 0.35), ("after", 0.3, 0.2)],
)
def test_a_preview_without_own_pieces_is_as_uneven_as_is_said(
    order: str, uneven: float, strays: float
) -> None:
    """Depth varies by so much, and a dye strays so far from its mean where depth is the dose; of
    three dyes that stray by themselves 2/3 of the variance is beside the depth. Such a piece of
    the simulated strike is 1.4, 0.7 and 0.3 uneven."""
    dyes = spectral_dyes(tuple(MIXES["clear"]))
    found = preview(dyes, MIXES["clear"], order=order, size_mm=60)[0]
    relative = found.amounts.reshape(-1, 3) / found.amounts.mean(axis=(0, 1))
    depth = relative.mean(axis=1)
    assert depth.std() / depth.mean() == pytest.approx(uneven, rel=0.15)
    beside = (relative / depth[:, np.newaxis])[np.abs(depth - 1.0) < 0.1]
    assert beside.std() == pytest.approx(np.sqrt(2 / 3) * strays, rel=0.15)


def test_a_grey_of_three_primaries_splits_more_than_one_of_black():
    """Near-neutral from three primaries against black with a little colour."""
    dyes = spectral_dyes(("lemon", "rose", "turquoise", "black"))
    found = preview(dyes, "lemon 0.5 + rose 0.35 + turquoise 0.5", "black 0.5 + rose 0.03")
    assert found[0].splitting > 3.0 * found[1].splitting
    assert "From the quietest" in str(found)


def test_a_preview_is_the_same_for_a_seed():
    dyes = spectral_dyes(tuple(MIXES["clear"]))
    one, again = (preview(dyes, MIXES["clear"], size_mm=40, seed=5)[0] for _ in range(2))
    assert np.array_equal(one.amounts, again.amounts)


def test_what_cannot_be_previewed_is_refused():
    dyes = spectral_dyes(tuple(MIXES["clear"]))
    with pytest.raises(RecipeError):
        preview(dyes, "gold 1")
    with pytest.raises(DyemixError, match="presoak, with, after"):
        preview(dyes, MIXES["clear"], order="soon")
    with pytest.raises(DyemixError, match="patch"):
        preview(dyes, MIXES["clear"], size_mm=2)


def test_a_block_looks_like_what_varies_inside_it():
    """Against draws of a gamma distribution of the same mean and variation."""
    dyes = spectral_dyes(tuple(MIXES["clear"]))
    unmixer, relative = Unmixer(dyes, MIXES["clear"]), np.array([[0.8, 1.2, 0.5]])
    depths = np.random.default_rng(0).gamma(1 / 0.7**2, 0.7**2, 20_000)[:, np.newaxis]
    drawn = unmixer.responses(depths * relative * unmixer.dose).mean(axis=0)
    level = unmixer.responses(relative * unmixer.dose)[0]
    found = _seen(unmixer, relative, np.full((1, 3), 0.7))[0]
    assert np.abs(found - drawn).max() < 0.1 * np.abs(level - drawn).max()


def test_a_dye_that_no_piece_held_strays_by_itself(seen: dict[str, Levelness]):
    """Of lemon what the piece held, of navy what is stated; on average about the dose of both."""
    dyes, piece = spectral_dyes(("lemon", "navy")), seen["with"]
    found = preview(dyes, "lemon 0.8 + navy 0.3", order="with", pieces=[piece])[0]
    assert "Illustrative for navy" in found.source
    lemon, navy = (found.amounts / [0.8, 0.3]).mean(axis=(0, 1))
    assert lemon == pytest.approx(piece.dyes[0].mean / piece.dyes[0].dose, rel=0.1)
    assert navy == pytest.approx(1.0, rel=0.1)


def test_a_preview_is_told_under_its_light():
    """Figures and shades move with it; what is drawn, and the codes, stay those of a screen."""
    dyes, mix = spectral_dyes(tuple(MIXES["clear"])), {"rose": 0.5}
    here, there = (preview(dyes, mix, size_mm=40, light=light)[0] for light in ("D65/2", "A/10"))
    assert np.array_equal(here.responses, there.responses)
    undyed = dyes.predict({}, "A/10").lab
    means = np.array([[figure.value for figure in item.figures[3:6]] for item in (here, there)])
    assert np.linalg.norm(means[0] - means[1]) > 3.0
    level = dyes.predict(mix, "A/10").lab
    assert np.linalg.norm(means[1] - level) < np.linalg.norm(undyed - level)
    assert abs(len(here.palette) - len(there.palette)) <= 1
    assert here.palette[0].lab @ here.palette[0].lab != there.palette[0].lab @ there.palette[0].lab
