"""Readings that are bounds: which channels, in which direction, and what they still say; and where
a reading is from."""

from __future__ import annotations

import numpy as np
import pytest

from dyemix.colour.colorimetry import hex_to_lab
from dyemix.dataset.conditions import PICTURE
from dyemix.dataset.readings import Clipped, Reading
from dyemix.errors import DyemixError, TargetError


@pytest.mark.parametrize("code", ["#7d8a6e", "#010203", "#fefefe", "#ffffff"])
def test_a_code_within_the_range_is_a_value(code: str) -> None:
    assert Clipped.of_hex(code) is None


@pytest.mark.parametrize(("code", "channels"), [("#00a0a0", 1), ("#0a0", 2), ("#ff8000", 2)])
def test_each_channel_at_an_end_is_a_direction(code: str, channels: int) -> None:
    found = Clipped.of_hex(code)
    assert found is not None
    assert found.beyond.shape == (channels, 3)
    np.testing.assert_allclose(np.linalg.norm(found.beyond, axis=1), 1.0)


def test_a_red_channel_at_nothing_lies_beyond_towards_green() -> None:
    found = Clipped.of_hex("#00a060")
    assert found is not None
    inner = hex_to_lab("#20a060") - hex_to_lab("#00a060")
    assert found.beyond[0] @ inner < 0.0
    assert found.beyond[0, 1] < 0.0


def test_beyond_a_bound_a_reading_says_nothing_and_within_all() -> None:
    found = Clipped(np.array([[0.0, -1.0, 0.0]]))
    np.testing.assert_array_equal(found.open(np.array([0.0, 3.0, 0.0])), np.zeros((3, 3)))
    open_ = found.open(np.array([1.0, -3.0, 2.0]))
    assert open_[1, 1] > 1e3
    assert np.count_nonzero(open_) == 1


def test_of_two_channels_each_is_asked_by_itself() -> None:
    found = Clipped(np.array([[0.0, -1.0, 0.0], [0.0, -0.6, 0.8]]))
    both = found.open(np.array([0.0, -2.0, 1.0]))  # 1.25 of each
    assert np.linalg.matrix_rank(both) == 2
    one = found.open(np.array([0.0, 2.0, 1.0]))
    assert np.linalg.matrix_rank(one) == 1


def test_written_and_read_again() -> None:
    found = Clipped.of_hex("#00a0ff")
    again = Clipped.parse(str(found))
    assert again is not None
    np.testing.assert_allclose(again.beyond, found.beyond, atol=1e-4)
    assert Clipped.parse("  ") is None
    for words in ("red", "1 2", "1 2 3; 4 5", "nan 0 0"):
        with pytest.raises(DyemixError, match="three numbers"):
            Clipped.parse(words)


@pytest.mark.parametrize("file", ["photo.jpg", "roll #2.jpg", "#0badcafe #1.jpg"])
@pytest.mark.parametrize("mark", ["", " #0badcafe"])
def test_a_reading_is_of_its_file_without_the_mark_of_its_pixels(file: str, mark: str) -> None:
    conditions = {PICTURE: file + mark}
    cell = Reading.from_lab([50.0, 0.0, 0.0], "D65/10", name="B3", conditions=conditions)
    assert cell.source == f"cell B3 of {file}"


def test_a_colour_that_no_cloth_has_is_told_to_two_digits():
    with pytest.raises(TargetError, match=r"^L\* 26\.49, a\* 300, b\* -2\.12 is not a colour"):
        Reading.from_lab([26.4943, 300.0, -2.1234], "D65/10")
