"""Every fibre is asked and checked: for harm by soda, for dye, for heat and for wet."""

from __future__ import annotations

from typing import Any

import pytest

from dyemix.bench.bath_sheet import BathSheet, bath_sheet
from dyemix.bench.method import Fibre, dyed_share
from dyemix.bench.plan import first_swatches
from dyemix.dataset.serialise import from_json
from dyemix.errors import DyemixError
from tests.bench.conftest import four_dyes


@pytest.mark.parametrize(
    ("words", "names", "share"),
    [
        ("cotton lawn", ("cotton",), 1),
        ("Mercerised COTTON", ("cotton",), 1),
        ("cotton-linen napkin", ("cotton", "linen"), 1),
        ("cotton 55 %, linen 45 %", ("cotton", "linen"), 1),
        ("bamboo", ("viscose",), 1),
        ("Leinen", ("linen",), 1),
        ("55 % coton, 45 % lin", ("cotton", "linen"), 1),
        ("Baumwolle 95 %, Elastan 5 %", ("cotton", "elastane"), 0.95),
        ("95% Baumwolle 5% Elasthan", ("cotton", "elastane"), 0.95),
        ("95% cotton 5% elastane", ("cotton", "elastane"), 0.95),
        ("95 % organic cotton and 5 % spandex", ("cotton", "elastane"), 0.95),
        ("cotton 95 %, elastane 5 %", ("cotton", "elastane"), 0.95),
        ("bamboo jersey 92,5%, elastane 7,5%", ("viscose", "elastane"), 0.925),
        ("65 % polyester / 35 % cotton", ("cotton", "polyester"), 0.35),
        ("cotton 50 % + polyamide 50 %", ("cotton", "polyamide"), 0.5),
        ("95% cotton, elastane 5%", ("cotton", "elastane"), 0.95),
        ("organic 95 % cotton, 5 % elastane", ("cotton", "elastane"), 0.95),
        ("cotton 95 %, elastane 5 %, 180 g/m²", ("cotton", "elastane"), 0.95),
        ("95 % cotton with elastane", ("cotton", "elastane"), None),
        ("polycotton", ("cotton", "polyester"), None),
        ("cotton with elastane", ("cotton", "elastane"), None),
        ("cotton with elastane, 180 g/m²", ("cotton", "elastane"), None),
        ("napkin", (), None),
        ("silken-looking cottony thing", (), None),
        ("", (), None),
    ],
)
def test_fibres_as_people_write_them(words: str, names: tuple[str, ...], share: Any) -> None:
    made_of = Fibre.of(words)
    assert made_of.names == names
    assert made_of.share == (None if share is None else pytest.approx(share))


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ("silk habotai", "silk: soda ash harms it"),
        ("wool", "wool: soda ash harms it"),
        ("Seide", "silk: soda ash harms it"),
        ("reine Wolle", "wool: soda ash harms it"),
        ("soie", "silk: soda ash harms it"),
        ("cashmere", "wool: soda ash harms it"),
        ("cotton 50 %, silk 50 %", "silk: soda ash harms it"),
        ("acetate lining", "acetate: soda ash harms it"),
        ("polyester", "polyester takes no dye"),
        ("nylon 80 %, spandex 20 %", "polyamide, elastane takes no dye"),
        ("cotton 0 %, polyester 100 %", "polyester takes no dye"),
        ("cotton 60 %, polyester 30 %", "makes 90 %"),
        ("cotton 100 %, elastane 5 %", "makes 105 %"),
        ("cotton 60 %, polyester 30", "a share lacks its %"),
        ("62,5 polyester, 37,5 % cotton", "a share lacks its %"),
    ],
)
def test_what_a_bath_with_soda_is_not_for_is_refused(words: str, says: str) -> None:
    for asked in ({"cloth": words}, {"cloth": "my napkins", "fibre": words}):
        with pytest.raises(DyemixError, match=says) as refused:
            bath_sheet("gold 1", 100, **asked)  # type: ignore[arg-type]
        if "%" not in says:
            assert "another method" in str(refused.value).lower()
    with pytest.raises(DyemixError, match=says):
        first_swatches("gold", words)
    with pytest.raises(DyemixError, match=says):
        bath_sheet("gold 1", 100, dyes=four_dyes(conditions={"cloth": words}))


def words_of(sheet: BathSheet) -> str:
    return " ".join(" ".join(sheet.warnings).split())


def test_dye_counts_on_what_takes_it() -> None:
    """240 g of 65 % cotton: 156 g take dye; 1 % of it from 2 % stock is 78 mL, 1.56 g.

    The whole cloth holds 0.8 × 240 = 192 mL, and the liquor is 20 × 240 = 4800 mL.
    """
    sheet = bath_sheet("gold 1", 240, stocks=2.0, fibre="cotton 65 %, polyester 35 %")
    (dose,) = sheet.doses
    assert (dose.ml, dose.dye_g) == pytest.approx((78, 1.56))
    assert (sheet.total_ml, sheet.cloth_holds_ml) == pytest.approx((4800, 192))
    assert sheet.water_ml == pytest.approx(4800 - 78 - 192)
    assert "polyester stays undyed: % counts on the 65 % that takes dye, 156 g" in words_of(sheet)
    assert "looks paler" in words_of(sheet)
    # The same 78 mL, the other way round.
    again = bath_sheet("gold 78 mL", 240, stocks=2.0, fibre="cotton 65 %, polyester 35 %")
    assert again.recipe["gold"] == pytest.approx(1)
    assert from_json(BathSheet, sheet.to_json()) == sheet


def test_a_share_that_is_not_known_is_asked_for() -> None:
    sheet = bath_sheet("gold 1", 240, stocks=2.0, cloth="polycotton sheeting")
    assert "say how much of the cloth is polyester" in words_of(sheet)
    assert sheet.doses[0].ml == pytest.approx(120)  # 240 × 1 ÷ 2, on the whole


def test_an_unknown_fibre_is_asked_for() -> None:
    for asked in ({}, {"cloth": "napkin"}):
        words = words_of(bath_sheet("gold 1", 100, **asked))  # type: ignore[arg-type]
        assert "what the cloth is made of is not known" in words
        assert "soda ash harms silk and wool" in words
    assert "not known" not in words_of(bath_sheet("gold 1", 100, cloth="napkin", fibre="linen"))
    assert "not known" in " ".join(str(first_swatches("gold", "napkin")).split())
    assert "not known" not in " ".join(str(first_swatches("gold", "linen napkin")).split())


def test_elastane_dislikes_the_hot_soak() -> None:
    sheet = bath_sheet("gold 1", 100, cloth="cotton 95 %, elastane 5 %")
    assert "elastane dislikes heat: wash it off at 40 °C and oftener, not at 60 °C" in words_of(
        sheet
    )
    assert "soaping: at 40 °C, no hotter for this fibre" in " ".join(str(sheet).split())
    assert "soaping: at 60 °C or hotter" in " ".join(str(bath_sheet("gold 1", 100)).split())


@pytest.mark.parametrize("name", ["viscose", "rayon", "bamboo", "modal", "cupro", "lyocell"])
def test_viscose_of_any_name_is_weak_when_wet(name: str) -> None:
    assert "squeeze, don't wring" in words_of(bath_sheet("gold 1", 100, cloth=f"{name} twill"))
    assert "wring" not in words_of(bath_sheet("gold 1", 100, cloth="cotton twill"))


def test_another_cloth_than_the_swatches_is_told() -> None:
    dyes = four_dyes(conditions={"cloth": "cotton lawn"})
    words = words_of(bath_sheet("gold 1", 100, dyes=dyes, cloth="linen"))
    assert "linen is not the cloth of your swatches, cotton lawn" in words
    for cloth in ("", "Cotton Lawn"):
        same = bath_sheet("gold 1", 100, dyes=dyes, cloth=cloth)
        assert "not the cloth" not in words_of(same)


@pytest.mark.parametrize(
    ("conditions", "share"),
    [
        ({"fibre": "cotton 65 %, polyester 35 %"}, 0.65),
        ({"fibre": "cotton 65 %, polyester 35 %", "cloth": "linen"}, 0.65),
        ({"cloth": "cotton 80 %, polyester 20 %"}, 0.8),
        ({"cloth": "the blue napkins"}, 1.0),
        ({"fibre": "cotton 40 %, linen 30 %"}, 1.0),  # 70 % of what?
        ({}, 1.0),
    ],
)
def test_how_much_of_the_weight_takes_dye(conditions: dict[str, str], share: float) -> None:
    assert dyed_share(conditions) == pytest.approx(share)
