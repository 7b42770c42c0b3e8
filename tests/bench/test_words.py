"""What is printed of a bath: as text, as a page, as JSON."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date
from html.parser import HTMLParser

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from dyemix.bench.bath_sheet import BathSheet, bath_sheet
from dyemix.bench.plan import BenchPlan, Job, bench_plan
from dyemix.bench.settings import ORDERS, BathSettings
from dyemix.bench.stock import stock_sheet
from dyemix.dataset.serialise import from_json
from dyemix.dataset.swatches import DEMO_WARNING
from dyemix.dataset.target import Target
from dyemix.errors import DyemixError, InputError, SavedError
from dyemix.model.dyes import DyeSet
from tests.bench.conftest import four_dyes

Sage = Callable[..., BathSheet]
ON = date(2026, 5, 8)


class Page(HTMLParser):
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
        return " ".join(" ".join(self.words).replace("\xa0", " ").split())


def plan() -> BenchPlan:
    return bench_plan([Job("a", "gold 1", 100)], on=ON)


def test_pages_stand_alone(sage: Sage) -> None:
    for sheet in (sage(), plan(), stock_sheet("navy")):
        html = sheet.to_html()
        assert Page(html).outside == []
        assert not re.search(r"https?:|//|@import|url\(", html)
        assert "@page" in html
        # Greyscale: nothing is said in colour, since there is none.
        colours = set(re.findall(r"#[0-9a-f]{3,6}\b", html.split("</style>")[0]))
        assert colours == {"#000", "#fff"}


def test_words_of_the_caller_are_escaped(sage: Sage) -> None:
    nasty = '<script>alert(1)</script> & <b>"x"</b> | {{ 7 * 7 }}'
    page = Page(sage(job=nasty, cloth=nasty, target=nasty, expect=nasty).to_html())
    assert page.outside == []
    assert "b" not in page.tags
    assert page.text.count(nasty) == 6  # title twice, swatch box, cloth, aim, expect


@settings(max_examples=20, deadline=None)
@given(st.text(max_size=200), st.text("abc defghij-", min_size=1, max_size=90))
def test_any_words_stay_inside_the_page(words: str, dye: str) -> None:
    assume(dye.strip())
    sheet = bath_sheet({dye: 1.0}, 100, job=words, cloth=words, on=ON)
    assert max(map(len, str(sheet).splitlines())) <= 100
    assert Page(sheet.to_html()).outside == []
    _, blocks = sheet.read()
    headings = [row[0] for row in blocks[0].rows]  # type: ignore[attr-defined]
    assert headings == ["Sheet", "Cloth", "Aim", "Expect", "Bath"]


def test_text_and_page_say_the_same(sage: Sage) -> None:
    sheet = sage(target=Target.parse("#7d8a6e"), expect="3.1: same family", job="31 napkins")
    # 4800 less 48 + 6 + 26.4 of stock and 192 in the cloth is 4527.6 mL.
    for words in ("direction, not a standard", "3.1: same family", "31 napkins", "white cloths",
                  "nearly clear", "at 60 °C", "tongs", "Next correction", "dry swatch",
                  "48 mL", "4.53 L to make up", "28 g soda ash", "76 g", "192 mL"):  # fmt: skip
        assert words in Page(sheet.to_html()).text
        assert words in " ".join(str(sheet).split())


def test_what_to_expect_is_worked_out_under_the_light_of_the_target(sage: Sage) -> None:
    sheet = sage(target=Target.parse("#7d8a6e"))
    assert "on paper" in sheet.expect
    assert "(D65/2°)" in sheet.expect
    assert sage(target="sage").expect == ""
    assert sage(target=Target.parse("#7d8a6e"), dyes=None).expect == ""


def test_order_of_the_sheet(sage: Sage) -> None:
    """Cloth, aim, bath, dyes, salt, water, alkali, time, rinse, hot soak, swatch (the trade's)."""
    text = str(sage())
    marks = ["Cloth  ", "Aim  ", "Bath  ", "before you open", "1. Pour, palest", "Salt  ",
             "Water  ", "Cloth in  ", "Soda  ", "Fix  ", "Rinse  ", "Wash-off", "Judge", "Result",
             "Next correction", "dry swatch", "the rest, before"]  # fmt: skip
    places = [text.index(mark) for mark in marks]
    assert places == sorted(places)


def test_palest_dye_first(sage: Sage) -> None:
    """By the lightness of each dye alone at one depth, not by the amount in the recipe."""
    assert [d.dye for d in sage().doses] == ["gold", "scarlet", "navy"]
    assert [d.dye for d in sage(dyes=None).doses] == ["navy", "gold", "scarlet"]
    assert "in the order written" in str(sage(dyes=None))


def test_alkali_orders_are_told_apart() -> None:
    texts = {
        order: " ".join(str(bath_sheet("gold 1", 100, liquor_ratio=5, alkali=order)).split())
        for order in ORDERS
    }
    assert (
        "FIRST: 90.0 mL of soda solution, 100 g/L (10 g soda ash made up TO 100 mL) made up to 200 "
        "mL: 45 g/L" in texts["presoak"]
    )  # 200 mL of 45 g/L is 9 g
    assert "15 to 30 minutes" in texts["presoak"]
    assert texts["presoak"].index("FIRST") < texts["presoak"].index("Salt ")
    assert "presoaked, it already holds" in texts["presoak"]
    assert "WITH the dye, mixed just before use" in texts["with"]
    assert "spent in one to two hours" in texts["with"]
    assert "for cloth kept wet and warm, not for the spent bath" in texts["with"]
    assert texts["with"].index("Soda _") < texts["with"].index("Cloth in")
    assert "1 h AFTER the dye" in texts["after"]
    assert texts["after"].index("Cloth in") < texts["after"].index("Soda _")
    assert "none needed in low water" in texts["after"]


def test_undyed_cloth_and_dry_cloth() -> None:
    text = " ".join(str(bath_sheet({}, 5, wetted=False)).split())
    assert "through the whole process with no dye" in text
    assert "goes in dry" in text
    assert "87.0 mL to make up (total less 8.0 mL salt solution, 5.0 mL soda" in text  # 3 and 0.5 g


def test_us_units_stand_beside_metric(sage: Sage) -> None:
    text = " ".join(str(sage(settings=BathSettings(units="us", spoons="us"))).split())
    for words in ("240 g (8.47 oz)", "4.80 L (5.07 qt)", "60 °C (140 °F)", "14.79 and 4.929 mL"):
        assert words in text
    assert "oz" not in str(sage())


def test_cost_of_a_piece(sage: Sage) -> None:
    """Gold and scarlet at 0.1 a g, navy at 0.2: 1.08 × 0.1 + 0.528 × 0.2; salt 160.32 g."""
    prices = BathSettings(dye_cost={"": 0.1, "navy": 0.2}, salt_cost=0.001, currency="EUR")
    sheet = sage(settings=prices, pieces=12)
    assert sheet.cost is not None
    assert (sheet.cost.dye, sheet.cost.salt) == pytest.approx((0.2136, 0.16032))
    assert sheet.cost.total == pytest.approx(0.37392)
    assert sheet.cost.unpriced == ("soda ash",)
    text = " ".join(str(sheet).split())
    assert "0.37 EUR in all: dye 0.21 EUR, salt 0.16 EUR, soda 0 EUR; 0.031 EUR a piece" in text
    assert "not in it: soda ash" in text
    assert sage().cost is None
    soda = sage(settings=BathSettings(soda_cost=0.01)).cost
    assert soda is not None
    assert (soda.total, soda.unpriced) == (
        pytest.approx(0.28032),
        ("gold", "scarlet", "navy", "salt"),
    )


def test_demo_is_refused_and_marked(sage: Sage) -> None:
    demo: DyeSet = four_dyes(demo=True)
    with pytest.raises(DyemixError, match="invented"):
        sage(dyes=demo)
    sheet = sage(dyes=demo, allow_demo=True)
    assert str(sheet).splitlines()[0] == DEMO_WARNING
    assert sheet.to_html().index(DEMO_WARNING) < sheet.to_html().index("<h1>")
    assert DEMO_WARNING in sheet.to_json()[:200]
    assert DEMO_WARNING not in str(sage())
    with pytest.raises(InputError, match="invented"):
        bench_plan([Job("a", "gold 1", 100)], dyes=demo)


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('"BathSheet"', '"StockSheet"'),
        ('"water_ml"', '"water"'),
        ('"2026-05-08"', '"May"'),
        ('"wetted": true', '"wetted": "yes"'),
        ('"hours": 24.0,', '"hours": "many",'),
        ('"liquor_ratio": 20.0', '"liquor_ratio": -20.0'),
        ('"units": "metric"', '"units": "ell"'),
    ],
)
def test_damaged_json_is_refused(sage: Sage, old: str, new: str) -> None:
    text = sage().to_json()
    assert from_json(BathSheet, text) == sage()
    assert old in text
    with pytest.raises(SavedError):
        from_json(BathSheet, text.replace(old, new))


@pytest.mark.parametrize("text", ["", "[]", "{}", '{"kind": "BathSheet"}', '{"kind": "BathSheet'])
def test_what_is_no_sheet_is_refused(text: str) -> None:
    with pytest.raises(SavedError):
        from_json(BathSheet, text)
