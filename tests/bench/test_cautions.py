"""Each caution on each sheet that needs it, at its head where powder is handled; two A4 pages."""

from __future__ import annotations

import re
import shutil
import subprocess
from collections.abc import Callable
from datetime import date
from html import unescape
from pathlib import Path

import pytest

from dyemix.bench.bath_sheet import BathSheet, bath_sheet
from dyemix.bench.plan import Job, bench_plan, first_swatches
from dyemix.bench.settings import ORDERS, BathSettings
from dyemix.bench.sheet import Sheet, usual
from dyemix.bench.stock import Stock, stock_sheet
from dyemix.errors import data

ON = date(2026, 5, 8)
DYES = "gold lemon scarlet rust plum olive turquoise black".split()  # noqa: SIM905
#: A stock that is old, too strong and nearly empty, and cloth that wants every warning.
OLD = [Stock(dye, 9, date(2026, 4, 1), left_ml=5) for dye in DYES]
CLOTH = "viscose 60 %, cotton 35 %, elastane 5 %"
PRICED = BathSettings(units="us", spoons="us", dye_cost={"": 0.1}, salt_cost=0.01)
EIGHT = {dye: 0.3 + 0.1 * i for i, dye in enumerate(DYES)}


def dozen() -> Sheet:
    jobs = [Job(f"job {i}", f"gold 1 + black 0.{i}", 20 * i + 5, "cotton") for i in range(1, 13)]
    return bench_plan(jobs, stocks=5.0, on=ON)


POWDER: dict[str, Callable[[], Sheet]] = {
    "stock": lambda: stock_sheet("turquoise", 12, 300, made=ON),
    "plan": dozen,
    "start": lambda: first_swatches(DYES, "cotton lawn", on=ON),
    "start low": lambda: first_swatches(DYES[:3], "linen", swatch_g=10, liquor_ratio=5, on=ON),
}
BATHS: dict[str, Callable[[], Sheet]] = {
    f"{order} {ratio}:1": lambda order=order, ratio=ratio: bath_sheet(  # type: ignore[misc]
        EIGHT, 600, stocks=OLD, settings=PRICED, on=ON, fibre=CLOTH, liquor_ratio=ratio,
        alkali=order, wetted=False, temperature=15, pieces=12, target="a shade greyer",
        job="the long runner of the café, second try", cloth="a long runner",
    )
    for order in ORDERS
    for ratio in (5, 20)
} | {"small": lambda: bath_sheet("gold 0.4 + navy 0.01", 5, on=ON, cloth="cotton")}  # fmt: skip


def forms(sheet: Sheet) -> list[str]:
    """Its text and its page, as words."""
    page = unescape(re.sub(r"<[^>]+>", " ", sheet.to_html().split("</style>")[1]))
    return [" ".join(text.replace("\xa0", " ").split()) for text in (str(sheet), page)]


@pytest.mark.parametrize("name", POWDER)
def test_what_to_wear_stands_at_the_head_where_powder_is_handled(name: str) -> None:
    caution = data("cautions")
    for text in forms(POWDER[name]()):
        drain = "drain_much" if name in ("plan",) else "drain"  # kilos of salt
        for key in ("wear_powder", "spill", "first_aid", "sensitise", "soda", "food", "bleach",
                    drain, "defer"):  # fmt: skip
            assert caution[key] in text, key
        assert text.index(caution["wear_powder"]) < min(
            text.index(word) for word in ("powder made", "Weigh") if word in text
        )
        assert text.index(caution["wear_powder"]) < 200


@pytest.mark.parametrize("name", BATHS)
def test_a_bath_has_its_cautions_before_anything_is_opened(name: str) -> None:
    caution = data("cautions")
    for text in forms(BATHS[name]()):
        for key in (
            "wear_bath",
            "soda",
            "hot",
            "sensitise",
            "first_aid",
            "food",
            "bleach",
            "defer",
        ):
            assert caution[key] in text, key
        for key in ("wear_bath", "soda", "hot"):
            assert text.index(caution[key]) < text.index("1. Pour")
        assert "It scalds: tongs, thick gloves" in text
        assert "10.5 to 11" in text or name.startswith("presoak")


def test_cautions_say_what_they_must() -> None:
    together = " ".join(usual())
    for words in (
        "H334", "H317", "H319", "goggles", "FFP3", "FFP2", "P2", "N95", "asthma", "pregnant",
        "An adult mixes", "moisten it first", "never sweep", "draught, food, children or animals",
        "traces are enough", "see a doctor", "medical help at once", "rinse at once",
        "soap and water, never bleach", "froths with acid", "scald", "never go back to food",
        "acid or ammonia", "not on soil", "no storm drain", "septic tank", "safety data sheet",
        "local rules", "licensed practice",
    ):  # fmt: skip
        assert words in together, words


def test_every_caution_has_its_source_above_it() -> None:
    import dyemix.bench

    file = Path(dyemix.bench.__file__).parents[1] / "data" / "cautions.toml"
    above = ""
    for line in file.read_text(encoding="utf-8").split("\n\n", 1)[1].splitlines():
        if line.startswith("#"):
            above += line
        elif re.match(r"\w+ = ", line):
            fresh = any(
                word in above for word in ("HSE", "GHS", "CLP", "ommon practice", "The order")
            )
            assert fresh or line.startswith("drain_much"), line
            above = ""


@pytest.mark.parametrize(
    ("cloth", "words"),
    [
        # Salt 40 and soda 6.5 g/L of 20:1: 0.93 g for each g of cloth.
        (500, "well diluted down a drain"),  # 465 g
        (600, "558 g of salt and soda is not 'well diluted'"),
        (5000, "4.65 kg of salt and soda is not 'well diluted'"),
    ],
)
def test_disposal_goes_by_the_amount(cloth: float, words: str) -> None:
    text, _ = forms(bath_sheet("gold 1", cloth, cloth="cotton"))
    assert words in text
    assert ("neutralise" in text) == ("not 'well" in words)
    assert ("froths, so a deep pot" in text) == ("not 'well" in words)


@pytest.mark.parametrize("order", ORDERS)
@pytest.mark.parametrize("ratio", [5, 20])
def test_the_sheet_says_how_it_is_done(order: str, ratio: int) -> None:
    text, _ = forms(bath_sheet("gold 1", 240, cloth="cotton", liquor_ratio=ratio, alkali=order))
    low = ratio == 5
    for words, where in (
        ("stir every 2 to 5 minutes for the first half hour", not low),
        ("let in over a quarter of an hour beside the cloth, never onto it",
         not low and order == "after"),
        ("pour the", low), ("knead it through, pack it down, cover; turn it", low),
        ("expect mottle", low), ("read many places", low),
        ("Hard water: softener first", True), ("covered against drying and cooling", True),
        ("soda ash 2 g/L and a little detergent", True), ("wetted out", order != "presoak"),
        ("that is batching", low or order == "with"), ("soaping", True),
        ("a damp piece ironed between white cloths", True), ("rested at room conditions", True),
        ("the rest kept dark", True), ("No dye powder at the bath", True),
    ):  # fmt: skip
        assert (words in text) == where, words


@pytest.mark.parametrize("order", ORDERS)
@pytest.mark.parametrize("ratio", [5, 20])
def test_a_day_and_first_swatches_say_it_too(order: str, ratio: int) -> None:
    low = ratio == 5
    jobs = [Job("a", "gold 1", 240, "cotton", 1, "", ratio, order)]
    how = {"liquor_ratio": ratio, "alkali": order, "on": ON}
    for sheet in (bench_plan(jobs, on=ON), first_swatches("gold", "cotton", 5.0, 50.0, **how)):  # type: ignore[arg-type]
        text, _ = forms(sheet)
        for words, where in (
            ("very 2 to 5 minutes for the first half hour", not low),
            ("it over, knead it through, pack it down; turn it now and then", low),
            ("in over a quarter of an hour beside the cloth, never onto it", order == "after"),
            ("ixed just before use", order == "with"), ("15 to 30 minutes", order == "presoak"),
            ("ead many places", low), ("covered against drying and cooling", True),
            ("decahydrate crystals × 2.7", True), ("of its crystals × 2.27", True),
            ("Hard water: softener first", True), ("pH paper", True), ("soaping", True),
            ("a damp piece ironed between white cloths", True), ("It scalds: tongs", True),
            ("rested", True), ("dark", True),
        ):  # fmt: skip
            if order == "after" and low and "beside" in words and "swatches" in text[:20]:
                where = False  # one ratio for all: poured over
            assert (words in text) == where, (words, text[:40])


def test_viscose_is_not_told_to_be_wrung() -> None:
    text, _ = forms(bath_sheet("gold 1", 240, cloth="viscose"))
    assert "wetted out and squeezed" in text
    assert "wrung" not in text


def test_text_stays_short(sage: Callable[..., BathSheet]) -> None:
    """No sentence stands on a sheet twice."""
    for sheet in (sage(), *(make() for make in POWDER.values())):
        text, _ = forms(sheet)
        split = re.split(r"(?<=[.!:;]) ", text)
        long = [s for s in split if len(s) > 60 and "up TO" not in s and "a mixture" not in s]
        assert len(long) == len(set(long))


@pytest.mark.slow
@pytest.mark.skipif(shutil.which("chromium") is None, reason="Chromium prints the pages")
@pytest.mark.parametrize("name", [*POWDER, *BATHS])
def test_no_sheet_is_longer_than_two_pages_of_a4(name: str, tmp_path: Path) -> None:
    """Eight dyes, every warning there is, a dozen jobs; printed as a browser prints it."""
    html = {**POWDER, **BATHS}[name]().to_html()
    page, pdf = tmp_path / "sheet.html", tmp_path / "sheet.pdf"
    page.write_text(html.replace("@page { margin", "@page { size: A4; margin"), encoding="utf-8")
    how = ["--headless", "--no-sandbox", "--disable-gpu", f"--print-to-pdf={pdf}"]
    subprocess.run(["chromium", *how, str(page)], check=True, capture_output=True, timeout=60)
    pages = len(re.findall(rb"/Type\s*/Page\b(?!s)", pdf.read_bytes()))
    assert 1 <= pages <= 2
