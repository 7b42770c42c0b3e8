"""Bath sheets: published sums, volumes that add up, warnings, and what is printed."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date
from fractions import Fraction
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from dyemix.bench import (
    ADDED_TO,
    BathSheet,
    BenchPlan,
    Job,
    Stock,
    bath_sheet,
    bench_plan,
    cautions,
    read_jobs,
    read_stocks,
)
from dyemix.bench.dosing import alkali_order, dyed_as
from dyemix.bench.settings import ORDERS, BathSettings, DepthRow
from dyemix.colour.ciede2000 import delta_e
from dyemix.dataset.recipe import SPOON_SETS, stock_ml
from dyemix.dataset.swatches import DEMO_WARNING
from dyemix.dataset.target import Target
from dyemix.dataset.units import auxiliary_stock_ml, dye_g, water_ml
from dyemix.errors import DyemixError, InputError, RecipeError, SavedError
from dyemix.model.dyes import DyeSet
from dyemix.model.kubelka_munk import Surface

ON = date(2026, 5, 8)
#: A syringe fine enough to show a sum as it was published.
FINE = BathSettings(measuring_step=0.01, smallest_dose=0.05)
STIRRED = {"liquor ratio": "20:1", "alkali": "about 1 h after the dye"}


def shelf(**changes: Any) -> DyeSet:
    """Four invented dyes, lightest to darkest in the order of the names."""
    nm = np.arange(400.0, 701.0, 10.0)
    peaks = ((430, 35, 3), (510, 45, 6), (660, 60, 8), (600, 110, 10))
    curves = np.array([height * np.exp(-(((nm - at) / width) ** 2)) for at, width, height in peaks])
    made: dict[str, Any] = {
        "names": ("gold", "scarlet", "turquoise", "navy"),
        "curves": curves,
        "exponent": np.ones(4),
        "capacity": np.full(4, np.inf),
        "palest": np.full(4, 0.125),
        "deepest": np.full(4, 4.0),
        "cloth": np.full(31, 0.85),
        "surface": Surface(0.02),
        "conditions": STIRRED,
    }
    return DyeSet(**{**made, **changes})


def sage(**changes: Any) -> BathSheet:
    """An ordinary sheet."""
    bottles = [Stock(dye, 2, date(2026, 5, 3)) for dye in ("gold", "scarlet", "navy")]
    given = {"stocks": bottles, "dyes": shelf(), "on": ON, "cloth": "cotton lawn", **changes}
    return bath_sheet("navy 0.22 + gold 0.40 + scarlet 0.05", 240, **given)


# Published sums ---------------------------------------------------------------------------------


def test_stock_of_published_sums(check_values: dict[str, Any]) -> None:
    """Each entry names where it is printed; the sheet's own dose is what is compared."""
    assert len(check_values["stock_ml"]) == 12
    for sum_ in check_values["stock_ml"]:
        sheet = bath_sheet(
            {"dye": sum_["owf_pct"]},
            sum_["cloth_g"],
            stocks=sum_["stock_pct"],
            liquor_ratio=60,
            settings=FINE,
        )
        assert sheet.doses[0].exact_ml == pytest.approx(sum_["ml"], rel=1e-9), sum_["source"]
        assert sheet.doses[0].ml == pytest.approx(sum_["ml"], rel=1e-6), sum_["source"]


def test_known_wrong_sum_is_not_followed(check_values: dict[str, Any]) -> None:
    """One page prints 50 mL for 100 g at 50 % from a 10 % stock; it is 500 mL."""
    assert stock_ml(100, 50, 10) == check_values["known_wrong"]["right_ml"] == 500
    sheet = bath_sheet({"dye": 50}, 100, stocks=10.0)
    assert sheet.doses[0].ml == 500


def test_grams_of_published_sums(check_values: dict[str, Any]) -> None:
    """'Calculating dye quantities', gaywool.com."""
    for sum_ in check_values["dye_g"]:
        assert dye_g(sum_["cloth_g"], sum_["owf_pct"]) == pytest.approx(sum_["g"])
        sheet = bath_sheet({"dye": sum_["owf_pct"]}, sum_["cloth_g"], stocks=2.0)
        assert sheet.doses[0].dye_g == pytest.approx(sum_["g"]), sum_["source"]


def test_auxiliary_stock_of_published_sums(check_values: dict[str, Any]) -> None:
    """textilecalculation.blogspot.com, December 2014 and January 2015."""
    for sum_ in check_values["auxiliary_stock_ml"]:
        ml = auxiliary_stock_ml(
            sum_["cloth_g"], sum_["liquor_ratio"], sum_["g_per_l"], sum_["stock_pct"]
        )
        assert ml == pytest.approx(sum_["ml"]), sum_["source"]
        salted = BathSettings(
            depths=(DepthRow(float("inf"), sum_["g_per_l"], 5.0),), salt_stock=sum_["stock_pct"]
        )
        sheet = bath_sheet({}, sum_["cloth_g"], liquor_ratio=sum_["liquor_ratio"], settings=salted)
        assert sheet.salt.solution_ml == pytest.approx(sum_["ml"]), sum_["source"]


def test_whole_published_bath(check_values: dict[str, Any]) -> None:
    """textilecalculation.blogspot.com, January 2015: 5 g, 10:1, six parts, 12.5 mL of water.

    That sum takes the cloth for dry. Which part is dye is ours: salt 40 g/L from 20 % is 10 mL
    and soda 10 g/L from 20 % is 2.5 mL in the same source.
    """
    bath = check_values["whole_bath"]
    assert water_ml(bath["total_ml"], bath["parts_ml"]) == bath["water_ml"]
    kit = replace(
        FINE, depths=(DepthRow(float("inf"), 40.0, 10.0),), salt_stock=20.0, soda_stock=20.0
    )
    recipe = {"a": 0.5, "b": 1.0, "c": 1.5, "d": 2.0}  # 2.5, 5, 7.5, 10 mL of 1 % stock
    dry = bath_sheet(
        recipe, bath["cloth_g"], liquor_ratio=bath["liquor_ratio"], settings=kit, wetted=False
    )
    parts = [*(d.ml for d in dry.doses), dry.salt.solution_ml, dry.soda.into_bath_ml]
    assert sorted(parts) == pytest.approx(sorted(bath["parts_ml"]))
    assert dry.total_ml == bath["total_ml"]
    assert dry.water_ml == pytest.approx(bath["water_ml"])
    # Wrung cloth holds 60–100 % of its weight (common practice), which that sum forgets.
    wet = bath_sheet(recipe, bath["cloth_g"], liquor_ratio=10, settings=kit)
    assert wet.water_ml == pytest.approx(12.5 - 0.80 * 5)


def test_washing_soda_crystals_by_molar_mass() -> None:
    """Na2CO3·10H2O to Na2CO3, standard atomic weights (IUPAC 2021, abridged)."""
    sodium, carbon, oxygen, hydrogen = 22.990, 12.011, 15.999, 1.008
    ash = 2 * sodium + carbon + 3 * oxygen
    crystals = ash + 10 * (2 * hydrogen + oxygen)
    soda = sage().soda
    assert soda.crystals_g / soda.g == pytest.approx(crystals / ash, rel=1e-3)


# Volumes ----------------------------------------------------------------------------------------

RECIPES = st.dictionaries(
    st.sampled_from(["gold", "scarlet", "navy", "turquoise"]), st.floats(1e-4, 8), max_size=4
)
ANY_ORDER = st.sampled_from(list(ORDERS))
KITS = st.builds(
    BathSettings,
    wet_pickup=st.floats(60, 100),
    soda_share=st.floats(0, 2),
    spoons=st.sampled_from(list(SPOON_SETS)),
    units=st.sampled_from(["metric", "us"]),
    salt_stock=st.none() | st.floats(20, 30),
    soda_stock=st.none() | st.floats(15, 20),
    measuring_step=st.sampled_from([0.1, 0.2, 0.5, 1.0]),
)


def _spoon_ml(text: str, spoons: str) -> float:
    """What the words of a spoon measure hold, read back by another way."""
    total = 0.0
    for amount, unit in re.findall(r"([\d¼½¾]+) (tbsp|tsp)", text):
        sign = {"¼": Fraction(1, 4), "½": Fraction(1, 2), "¾": Fraction(3, 4)}
        whole = int(amount.strip("¼½¾") or 0)
        number = whole + sum(sign.get(letter, 0) for letter in amount)
        total += float(number) * SPOON_SETS[spoons][unit]
    return total


@settings(max_examples=150, deadline=None)
@given(RECIPES, st.floats(2, 3000), st.floats(2, 40), ANY_ORDER, st.booleans(), KITS)
def test_volumes_add_up(
    recipe: dict[str, float], cloth: float, ratio: float, order: str, wet: bool, kit: BathSettings
) -> None:
    """Every liquid and what the cloth holds make the total; no dose is lost; it comes back."""
    try:
        sheet = bath_sheet(
            recipe, cloth, stocks=2.0, liquor_ratio=ratio, alkali=order, wetted=wet, settings=kit,
            on=ON,
        )  # fmt: skip
    except DyemixError as error:
        refusal = str(error)
    else:
        refusal = ""
    if refusal:
        assert "does not hold it" in refusal or "too little even" in refusal
        return
    held = cloth * kit.wet_pickup / 100 if wet or order == "presoak" else 0.0
    liquids = sheet.poured_ml + sheet.soda.into_bath_ml + held
    assert liquids == pytest.approx(cloth * ratio, rel=1e-6)
    assert sheet.water_ml >= 0
    assert [d.dye for d in sheet.doses] == list(recipe)
    for part in sheet.doses:
        assert part.ml > 0
        assert part.exact_ml >= kit.smallest_dose * (1 - 1e-9)
        # Dye in the measured volume, against the recipe.
        grams = part.ml / part.dilution * 2.0 / 100
        assert 100 * (grams / (cloth * part.owf / 100) - 1) == pytest.approx(part.error_pct)
        assert abs(part.ml - part.exact_ml) <= kit.measuring_step / 2 + 1e-6
        held_by_spoons = _spoon_ml(part.spoons.text, kit.spoons)
        error = 100 * (held_by_spoons / part.exact_ml - 1)
        assert part.spoons.error_pct == pytest.approx(error, abs=1e-6)
        assert held_by_spoons > 0
    if sheet.low_water and order != "presoak":
        assert sheet.soda.into_bath_ml == pytest.approx(kit.soda_share * sheet.poured_ml)
    assert BathSheet.from_json(sheet.to_json()) == sheet
    assert max(map(len, str(sheet).splitlines())) <= 100


@settings(max_examples=60, deadline=None)
@given(st.floats(1, 8), st.floats(2, 9), ANY_ORDER)
def test_cures_for_a_full_bath_cure_it(depth: float, ratio: float, order: str) -> None:
    def sheet(stock: float, at: float) -> BathSheet:
        return bath_sheet({"gold": depth}, 100, stocks=stock, liquor_ratio=at, alkali=order)

    try:
        sheet(1.0, ratio)
    except DyemixError as error:
        text = str(error)
    else:
        assume(False)
    stronger = re.search(r"stocks ([\d.]+) times", text)
    higher = re.search(r"ratio of (\d+):1", text)
    assert higher is not None
    assert sheet(1.0, int(higher[1])).water_ml >= 0
    if int(higher[1]) - 1 > ratio:
        with pytest.raises(DyemixError):
            sheet(1.0, int(higher[1]) - 1)
    if stronger is not None and float(stronger[1]) < 18:
        assert sheet(min(20.0, 1.05 * float(stronger[1])), ratio).water_ml >= 0


def test_full_bath_says_the_numbers() -> None:
    with pytest.raises(
        DyemixError, match=r"480 mL of stocks .* 240 mL in the cloth is 720 mL"
    ) as e:
        bath_sheet(
            {"gold": 2}, 240, liquor_ratio=2.5, alkali="presoak",
            settings=BathSettings(wet_pickup=100),
        )  # fmt: skip
    assert "600 mL (2.5:1)" in str(e.value)


def test_small_dose_gets_a_weaker_stock() -> None:
    """0.01 % of 5 g from 2 % is 0.025 mL: a hundredfold weaker stock makes 2.5 mL of it."""
    sheet = bath_sheet("gold 0.01", 5, stocks=2.0)
    (part,) = sheet.doses
    assert (part.dilution, part.exact_ml) == (100, pytest.approx(2.5))
    assert part.stock_ml == pytest.approx(part.ml / 100)
    assert any("10 mL of stock up TO 100 mL, 2 times over" in w for w in sheet.warnings)
    assert "WEAK, 1 in 100" in str(sheet)
    with pytest.raises(RecipeError, match="too little even"):
        bath_sheet({"gold": 1e-5}, 5, stocks=2.0)


# Salt, alkali, times ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("depth", "salt", "soda"),
    [(0.3, (20, 30), 5), (1.5, (40, 50), 7.5), (4, (60, 80), 10), (8, (80, 100), 20)],
)
def test_salt_and_soda_by_depth(depth: float, salt: tuple[int, int], soda: float) -> None:
    """Ranges of common practice; soda 5 g/L pale to 10 dark, double for black, by bath volume."""
    sheet = bath_sheet({"gold": depth}, 100, stocks=4.0, liquor_ratio=20)
    assert salt[0] <= sheet.salt.g_l <= salt[1]
    assert sheet.salt.g == pytest.approx(sheet.salt.g_l * 2.0)
    assert sheet.soda.g == pytest.approx(soda * 2.0)
    assert sheet.soda.g_l == pytest.approx(soda)


def test_low_water_takes_soda_by_volume_and_no_salt() -> None:
    """Below about 10:1 a solution of 30–60 g/L, as much as the dye liquor (common practice)."""
    low = bath_sheet({"gold": 1}, 100, liquor_ratio=5, alkali="with")
    assert low.low_water
    assert low.salt.g == 0
    assert low.soda.solution_ml == pytest.approx(low.poured_ml) == pytest.approx((500 - 80) / 2)
    assert 30 <= (low.soda.solution_g_l or 0) <= 60
    assert low.soda.g == pytest.approx(0.21 * 45)
    # A stirred bath's 5–10 g/L would be far too little.
    assert low.soda.g > 2 * 0.5 * 7.5
    assert not bath_sheet({"gold": 1}, 100, liquor_ratio=10).low_water


def test_alkali_orders_are_told_apart() -> None:
    texts = {
        order: str(bath_sheet("gold 1", 100, liquor_ratio=5, alkali=order)) for order in ORDERS
    }
    assert re.search(r"FIRST: 22.5 g soda ash .* made up to\s+500 mL", texts["presoak"])
    assert texts["presoak"].index("FIRST") < texts["presoak"].index("Salt  ")
    assert "in WITH the dye" in texts["with"]
    assert "half an hour" in texts["with"]
    assert "1 h AFTER the dye" in texts["after"]
    with pytest.raises(DyemixError, match="presoak, with, after"):
        bath_sheet("gold 1", 100, alkali="whenever")


def test_presoak_washes_out_of_a_stirred_bath() -> None:
    sheet = bath_sheet("gold 1", 100, liquor_ratio=20, alkali="presoak")
    # 80 mL of 45 g/L in 2 L.
    assert sheet.soda.g_l == pytest.approx(0.08 * 45 / 2)
    assert any("1.8 g/L" in w and "washes out" in w for w in sheet.warnings)


def test_slowest_dye_governs() -> None:
    """Turquoise wants twice the time or warmth; a day at 21 °C, hours at 35 (common practice)."""
    quick, slow = bath_sheet("gold 1", 100), bath_sheet("gold 1 + bright turquoise 0.2", 100)
    assert (quick.hours, slow.hours, slow.slow_dye) == (24, 48, "bright turquoise")
    assert bath_sheet("gold 1", 100, temperature_c=35).hours == BathSettings().warm_hours < 24
    short = bath_sheet("turquoise 1", 100, hours=24)
    assert any("2 times the time" in w for w in short.warnings)
    assert any("cool" in w for w in bath_sheet("gold 1", 100, temperature_c=15).warnings)
    assert not quick.warnings


# The swatches -----------------------------------------------------------------------------------


def test_sheet_is_dyed_as_the_swatches_were() -> None:
    how = {
        "liquor ratio": "5:1",
        "alkali": "in with the dye",
        "temperature": "26 °C",
        "hours": "8 h",
    }
    sheet = sage(dyes=shelf(conditions=how))
    assert (sheet.liquor_ratio, sheet.soda.order) == (5, "with")
    assert (sheet.temperature_c, sheet.hours) == (26, 8)
    assert sheet.as_swatches == ("liquor ratio", "alkali", "temperature", "hours")
    assert not any("unlike" in w for w in sheet.warnings)
    salted = sage(dyes=shelf(conditions={**STIRRED, "salt": "55 g/L"}))
    assert salted.salt.g_l == 55


def test_departures_from_the_swatches_are_warned_of() -> None:
    assert not any("unlike" in w for w in sage().warnings)
    assert any("liquor ratio 25:1 is unlike" in w for w in sage(liquor_ratio=25).warnings)
    assert any("with the dye is unlike" in w for w in sage(alkali="with").warnings)
    warm = sage(dyes=shelf(conditions={"temperature": "21"}), temperature_c=35)
    assert any("temperature 35 °C is unlike" in w for w in warm.warnings)
    odd = sage(dyes=shelf(conditions={"liquor ratio": "plenty", "alkali": "yes"}))
    assert any("'plenty'; " in w or "'yes'" in w for w in odd.warnings)
    assert any("paler than your palest" in w for w in sage().warnings)  # scarlet 0.05


@pytest.mark.parametrize(
    ("words", "order"),
    [
        ("about 1 h after the dye", "after"),
        ("After", "after"),
        ("cloth soaked in it before", "presoak"),
        ("pre-soak", "presoak"),
        ("mixed in with the dye", "with"),
        ("dye an hour after the alkali", None),
        ("presoak, more with the dye", None),
        ("", None),
    ],
)
def test_alkali_words(words: str, order: str | None) -> None:
    assert alkali_order(words) == order


def test_conditions_are_read_or_named() -> None:
    was = dyed_as({"liquor ratio": "1:20", "salt": "none", "hours": "overnight"})
    assert was.salt == 0
    assert was.ratio is None
    assert was.unread == ("liquor ratio '1:20'", "hours 'overnight'")
    assert dyed_as({"salt": "50 g/L", "hours": "24", "temperature": "24 C"}).unread == ()


def test_palest_dye_first() -> None:
    """By the lightness of each dye alone at one depth, not by the amount in the recipe."""
    sheet = sage()
    assert [d.dye for d in sheet.doses] == ["gold", "scarlet", "navy"]
    assert [d.dye for d in sage(dyes=None).doses] == ["navy", "gold", "scarlet"]
    assert "in the order written" in str(sage(dyes=None))


def test_rounding_is_told_in_colour() -> None:
    """What spoons do to the colour, recomputed from the volumes in words."""
    dyes, sheet = shelf(), sage()
    spooned = {d.dye: d.owf * _spoon_ml(d.spoons.text, "metric") / d.exact_ml for d in sheet.doses}
    recipe = {d.dye: d.owf for d in sheet.doses}
    miss = delta_e(dyes.predict(recipe).lab, dyes.predict(spooned).lab)
    assert sheet.spoon_miss == pytest.approx(float(miss))
    assert sheet.spoon_miss is not None
    assert sheet.syringe_miss is not None
    assert sheet.spoon_miss > sheet.syringe_miss


def test_demo_is_refused_and_marked() -> None:
    with pytest.raises(DyemixError, match="invented"):
        sage(dyes=shelf(demo=True))
    sheet = sage(dyes=shelf(demo=True), allow_demo=True)
    assert str(sheet).splitlines()[0] == DEMO_WARNING
    assert sheet.to_html().index(DEMO_WARNING) < sheet.to_html().index("<h1>")
    assert DEMO_WARNING not in str(sage())
    with pytest.raises(InputError, match="invented"):
        bench_plan([Job("a", "gold 1", 100)], dyes=shelf(demo=True))


# Stocks on the sheet ----------------------------------------------------------------------------


def test_stock_age_and_life() -> None:
    """About 7 days at room temperature, 4 weeks cold (common practice)."""
    bottles = [
        Stock("gold", 2, date(2026, 5, 1)),
        Stock("scarlet", 2, date(2026, 4, 30)),
        Stock("navy", 2, date(2026, 4, 10), cold=True, left_ml=20),
    ]
    sheet = sage(stocks=bottles)
    gold, scarlet, navy = sheet.doses
    assert (gold.day, gold.past_life) == (7, False)
    assert (scarlet.day, scarlet.past_life) == (8, True)
    assert (navy.day, navy.life_days, navy.past_life) == (28, 28, False)
    assert any("scarlet stock is 8 days old, past its 7 days" in w for w in sheet.warnings)
    assert any("navy: 26.4 mL is needed, 20 mL is left" in w for w in sheet.warnings)
    assert "1 May, day 7 of 7" in str(sheet)
    assert "PAST" in str(sheet)
    with pytest.raises(DyemixError, match="after this sheet's"):
        sage(stocks=[Stock(d, 2, date(2026, 6, 1)) for d in ("gold", "scarlet", "navy")])
    with pytest.raises(RecipeError, match="no stock of navy, scarlet"):
        sage(stocks=[Stock("gold", 2)])


def test_added_to_takes_more_of_the_stock() -> None:
    """'5 g added to 100 mL' is about 3 % weaker than made up to it (common practice)."""
    plain = bath_sheet("gold 1", 100, stocks=[Stock("gold", 5)])
    weaker = bath_sheet("gold 1", 100, stocks=[Stock("gold", 5, how=ADDED_TO)])
    assert weaker.doses[0].exact_ml / plain.doses[0].exact_ml == pytest.approx(1.03)
    assert "really 4.85 %" in str(weaker)


def test_newest_bottle_is_taken() -> None:
    bottles = [
        Stock("gold", 2, date(2026, 5, 7)),
        Stock("gold", 4, date(2026, 5, 1)),
        Stock("gold", 1),
    ]
    assert bath_sheet("gold 1", 100, stocks=bottles, on=ON).doses[0].stock == bottles[0]


def test_amounts_out_of_range() -> None:
    for change in ({"liquor_ratio": 0}, {"pieces": 0}, {"hours": -1}, {"temperature_c": 120}):
        with pytest.raises(DyemixError, match="out of range"):
            sage(**change)
    for cloth in (0, -1, float("nan"), float("inf")):
        with pytest.raises(DyemixError, match="dry weight"):
            bath_sheet("gold 1", cloth)
    with pytest.raises(RecipeError, match="plum"):
        bath_sheet("plum 1", 100, dyes=shelf())
    with pytest.raises(DyemixError, match="out of range"):
        bath_sheet("gold 1", 100, stocks=0.0)


# What is printed --------------------------------------------------------------------------------


class _Page(HTMLParser):
    """Text of a page, and everything that would be fetched or run."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.words: list[str] = []
        self.outside: list[str] = []
        self.tags: list[str] = []
        self.feed(html)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        if tag in ("script", "link", "img", "iframe", "object", "embed", "base", "form"):
            self.outside.append(tag)
        self.outside += [name for name, _ in attrs if name in ("src", "href") or name[:2] == "on"]

    def handle_data(self, data: str) -> None:
        self.words.append(data)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.words).split())


def test_page_stands_alone() -> None:
    for html in (sage().to_html(), bench_plan([Job("a", "gold 1", 100)], on=ON).to_html()):
        assert _Page(html).outside == []
        assert not re.search(r"https?:|//|@import|url\(", html)
        assert "@page" in html
        # Greyscale: nothing is said in colour, since there is none.
        colours = set(re.findall(r"#[0-9a-f]{3,6}\b", html.split("</style>")[0]))
        assert colours == {"#000", "#fff"}


def test_words_of_the_caller_are_escaped() -> None:
    nasty = '<script>alert(1)</script> & <b>"x"</b>'
    page = _Page(sage(job=nasty, cloth=nasty, target=nasty, expect=nasty).to_html())
    assert page.outside == []
    assert "b" not in page.tags
    assert page.text.count(nasty) == 6  # title twice, swatch box, cloth, aim, expect


def test_cautions_are_in_each_output() -> None:
    for sheet in (sage(), bath_sheet({}, 5), sage(liquor_ratio=5, alkali="presoak")):
        text, page = " ".join(str(sheet).split()), _Page(sheet.to_html()).text.replace("\xa0", " ")
        for words in cautions.BATH:
            assert words in text
            assert words in page
    for word in ("H334", "H317", "H319", "asthma", "P2", "scalds", "food", "acid",
                 "ammonia", "not on soil", "safety data sheet", "local rules",
                 "licensed practice"):  # fmt: skip
        assert word in " ".join(cautions.BATH)
    plan = bench_plan([Job("a", "gold 1", 100)], on=ON)
    for words in (cautions.SODA, cautions.FOOD, cautions.POWDER, cautions.DEFER):
        assert words in " ".join(str(plan).split())


def test_text_and_page_say_the_same() -> None:
    sheet = sage(target=Target.parse("#7d8a6e"), expect="3.1: same family", job="31 napkins")
    page = _Page(sheet.to_html()).text.replace("\xa0", " ")
    # 4800 less 48 + 6 + 26.4 of stock and 192 in the cloth is 4527.6 mL.
    for words in ("direction, not a standard", "3.1: same family", "31 napkins", "white scrap",
                  "nearly clear", "about 60 °C", "tongs", "Next correction", "dry swatch",
                  "48 mL", "4.53 L to make up", "36 g soda ash", "97.2 g", "192 mL"):  # fmt: skip
        assert words in page
        assert words in " ".join(str(sheet).split())


def test_order_of_the_sheet() -> None:
    """Cloth, aim, bath, dyes, salt, water, alkali, time, rinse, hot soak, swatch (the trade's)."""
    text = str(sage())
    marks = ["Cloth  ", "Aim  ", "Bath  ", "Dyes, palest", "Salt  ", "Water  ", "Alkali  ",
             "Fix  ",             "Rinse  ", "Hot soak", "Result", "Next correction", "dry swatch",
             "Cautions"]  # fmt: skip
    places = [text.index(mark) for mark in marks]
    assert places == sorted(places)


def test_us_units_stand_beside_metric() -> None:
    text = str(sage(settings=BathSettings(units="us", spoons="us")))
    for words in ("240 g (8.47 oz)", "4.80 L (5.07 qt)", "60 °C (140 °F)", "14.79 and 4.929 mL"):
        assert words in " ".join(text.split())
    assert "oz" not in str(sage())


def test_mixtures_and_viscose_are_warned_of() -> None:
    warnings = " ".join(sage(cloth="viscose twill").warnings)
    assert "navy: usually a mixture" in warnings
    assert "squeeze, don't wring" in warnings


def test_cost_of_a_piece() -> None:
    prices = BathSettings(dye_cost={"": 0.1, "navy": 0.2}, salt_cost=0.001, currency="EUR")
    sheet = sage(settings=prices, pieces=12)
    grams = {d.dye: d.dye_g for d in sheet.doses}
    dye = 0.1 * (grams["gold"] + grams["scarlet"]) + 0.2 * grams["navy"]
    assert sheet.cost is not None
    assert sheet.cost.total == pytest.approx(dye + 0.001 * sheet.salt.g)
    assert sheet.cost_a_piece == pytest.approx(sheet.cost.total / 12)
    assert sheet.cost.unpriced == ("soda ash",)
    assert "not in it: soda ash" in " ".join(str(sheet).split())
    assert sage().cost is None


def test_damaged_json_is_refused() -> None:
    text = sage().to_json()
    for bad in ("", "[]", "{}", text[:-5], text.replace('"BathSheet"', '"StockSheet"'),
                text.replace('"water_ml"', '"water"'), text.replace('"2026-05-08"', '"May"'),
                text.replace('"wetted": true', '"wetted": "yes"')):  # fmt: skip
        with pytest.raises(SavedError):
            BathSheet.from_json(bad)


# Several baths ----------------------------------------------------------------------------------

JOBS = """job,recipe,cloth_g,pieces,cloth,alkali
night runner,navy 3 + scarlet 0.5,8.5 oz,1,cotton,
sage napkins,gold 0.40 + navy 0.22,240,12,linen,
pale sky,turquoise 0.1,100,4,cotton,with
"""
STOCKS = """dye,stock_pct,made,cold,left_ml
gold,2,2026-05-03,no,200
scarlet,2,2026-04-01,no,100
navy,4,2026-05-03,yes,
turquoise,1,,,
"""


def _files(folder: Path, jobs: str = JOBS, stocks: str = STOCKS) -> tuple[Path, Path]:
    (folder / "jobs.csv").write_text(jobs, encoding="utf-8")
    (folder / "stocks.csv").write_text(stocks, encoding="utf-8")
    return folder / "jobs.csv", folder / "stocks.csv"


def test_plan_of_several_baths(tmp_path: Path) -> None:
    jobs, stocks = _files(tmp_path)
    plan = bench_plan(read_jobs(jobs), stocks=read_stocks(stocks), on=ON, dyes=shelf())
    assert [sheet.job for sheet in plan.sheets] == ["pale sky", "sage napkins", "night runner"]
    assert plan.sheets[2].cloth_g == pytest.approx(8.5 * 28.349523125)
    needs = {need.dye: need for need in plan.stocks}
    for dye, need in needs.items():
        doses = [d for sheet in plan.sheets for d in sheet.doses if d.dye == dye]
        assert need.need_ml == pytest.approx(sum(d.ml for d in doses))
        assert need.left_ml + need.make_ml >= need.need_ml
    assert needs["gold"].make_ml == 0
    # 240 g at 0.22 % and 241 g at 3 % of 4 %: 194 mL and a tenth more is 213, so 250 mL, 10 g.
    assert (needs["navy"].make_ml, needs["navy"].powder_g) == (250, 10)
    assert "past its life" in needs["scarlet"].note
    assert needs["scarlet"].left_ml == 0
    assert BenchPlan.from_json(plan.to_json()) == plan
    assert max(map(len, str(plan).splitlines())) <= 100
    assert any(w.startswith("cups 2, 3: ") or w.startswith("cup 3: ") for w in plan.warnings)


def test_every_fault_of_a_plan_is_told(tmp_path: Path) -> None:
    with pytest.raises(InputError) as several:
        bench_plan([Job("a", "gold x", 100), Job("b", "gold 1", -1), Job("c", "gold 1", 100)])
    assert len(several.value.faults) == 2
    with pytest.raises(DyemixError, match="no jobs"):
        bench_plan([])
    bad = JOBS.replace("8.5 oz", "much").replace(",12,", ",0,")
    with pytest.raises(InputError) as faults:
        read_jobs(_files(tmp_path, jobs=bad)[0])
    assert [(f.row, f.column) for f in faults.value.faults] == [(2, "cloth_g"), (3, "pieces")]
    with pytest.raises(InputError, match="left_ml"):
        read_jobs(_files(tmp_path)[1])
    dated = STOCKS.replace("2026-04-01", "1 April").replace("yes", "maybe").replace("200", "-2")
    with pytest.raises(InputError) as faults:
        read_stocks(_files(tmp_path, stocks=dated)[1])
    assert [f.row for f in faults.value.faults] == [2, 3, 4]
    with pytest.raises(InputError, match="cannot be read"):
        read_jobs(tmp_path / "none.csv")
    _files(tmp_path)[0].write_bytes(JOBS.replace("sky", "ciel d'été").encode("cp1252"))
    with pytest.raises(InputError, match="UTF-8"):
        read_jobs(tmp_path / "jobs.csv")
    semicolons = JOBS.replace(",", ";").replace("0.40", "0,40")
    assert read_jobs(_files(tmp_path, jobs=semicolons)[0])[1].recipe == "gold 0,40 + navy 0.22"
    with pytest.raises(InputError, match="missing"):
        read_jobs(_files(tmp_path, jobs="job,recipe\na,gold 1\n")[0])
    with pytest.raises(InputError, match="blank"):
        read_jobs(_files(tmp_path, jobs="job,recipe,cloth_g\na,,5\n")[0])


@settings(max_examples=40, deadline=None)
@given(st.text(max_size=200), st.text("abc defghij-", min_size=1, max_size=90))
def test_any_words_stay_inside_the_page(words: str, dye: str) -> None:
    assume(dye.strip())
    sheet = bath_sheet({dye: 1.0}, 100, job=words, cloth=words, on=ON)
    assert max(map(len, str(sheet).splitlines())) <= 100
    assert _Page(sheet.to_html()).outside == []
