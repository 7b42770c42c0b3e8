"""What the places show is what the library says, and what goes along is exact."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date
from pathlib import Path
from urllib.parse import parse_qsl, urlsplit

import numpy as np
import pytest
from asking import OWN, Asked, words
from hypothesis import given
from hypothesis import strategies as st

import dyemix
from dyemix.bench.stock import Stock
from dyemix.cloth.levelness import levelness
from dyemix.colour.ciede2000 import delta_e
from dyemix.colour.colorimetry import hex_to_lab
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.swatches import Reading
from dyemix.dataset.target import Target
from dyemix.dyebook.book import DyeBook
from dyemix.dyebook.past import dyed_for
from dyemix.files.small_tables import read_piece
from dyemix.matching.advice import suggest
from dyemix.model.dyes import DyeSet
from dyemix.page.pictures import Frame
from dyemix.page.slip import PLACES, UNDONE, Slip
from dyemix.page.words import colour_words, counted, spoon_signs
from dyemix.page.workshop import Workshop
from dyemix.photo import PhotoOptions
from tests.simulated.struck import shoot_piece, spectral_dyes, undyed_cell

SAGE = {"wanted": "#7d8a6e"}
TEXT = st.text(st.characters(exclude_categories=["Cs"]), max_size=30)


def slip_of(answer) -> Slip:
    return Slip.of(parse_qsl(urlsplit(answer.headers["content-location"]).query, True))


@given(TEXT, TEXT, st.floats(1e-6, 60.0), st.lists(TEXT.filter(bool), max_size=5), st.booleans())
def test_an_address_is_its_slip(
    job: str, note: str, owf: float, pins: list[str], dark: bool
) -> None:
    recipe = Recipe({"navy": owf}).exact
    slip = Slip(job=job, note=note, recipe=recipe, pins=tuple(pins), dark="1" * dark)
    again = Slip.of(parse_qsl(urlsplit(slip.at("jars")).query, True))
    assert again == slip
    assert again.mix["navy"] == owf, "no amount is rounded on the way"


def test_amounts_are_of_the_stock_on_the_slip() -> None:
    """1 % owf of 240 g is 2.4 g of dye: 120 mL of a stock of 2 g in 100 mL, 60 mL of one of 4."""
    recipe = Recipe({"navy": 1.0})
    for stock, ml in (("2", "120 mL"), ("navy 4", "60 mL"), ("gold 4", "240 mL")):
        assert Slip(stock=stock, unit="mL").measured("navy", recipe) == ml


def test_the_latest_mixes_are_those_to_go_back_to() -> None:
    past = [("past", f"navy {i}") for i in range(1, 20)]
    assert Slip.of(past).past == tuple(text for _, text in past[-UNDONE:])


def test_four_presses_of_a_quarter_are_one_of_a_teaspoon(asked: Asked) -> None:
    start = {**SAGE, "recipe": "marigold 0.4 + navy 0.2", "stood": "marigold 0.4 + navy 0.2"}
    quarter = asked("/jars", **start, by="0")
    for _ in range(4):
        quarter = asked.on(quarter, press="more|marigold")
    whole = asked("/jars", **start, by="1", press="more|marigold")
    owf = slip_of(quarter).mix["marigold"]
    # 5 mL of 1 % stock on 240 g of cloth is 5 × 1 ÷ 240 % owf (common practice)
    assert owf == pytest.approx(0.4 + 5.0 / 240.0, abs=1e-12)
    assert slip_of(whole).mix["marigold"] == pytest.approx(owf, abs=1e-12)
    for _ in range(4):
        quarter = asked.on(quarter, press="undo|")
    assert slip_of(quarter).mix == Recipe.parse(start["recipe"])
    assert slip_of(asked.on(whole, press="again|")).mix == Recipe.parse(start["recipe"])


def test_less_than_nothing_is_nothing_and_the_jar_stays(asked: Asked) -> None:
    answer = asked("/jars", **SAGE, recipe="navy 0.01", jars="navy", press="down|navy")
    assert slip_of(answer).mix == {}
    assert "none" in words(answer)
    back = asked.on(answer, press="set|navy", amount="12.5")
    assert slip_of(back).mix["navy"] == pytest.approx(12.5 / 240.0)
    spoons = asked.on(answer, press="set|navy", amount="2 tsp")
    assert slip_of(spoons).mix["navy"] == pytest.approx(10.0 / 240.0)


def test_amounts_move_in_per_cent_too(asked: Asked) -> None:
    answer = asked("/jars", **SAGE, recipe="navy 0.2", unit="%", press="more|navy")
    assert slip_of(answer).mix["navy"] == pytest.approx(0.25, abs=1e-12)
    assert "navy, %" in words(answer)
    typed = asked.on(answer, press="set|navy", amount="0.4")
    assert slip_of(typed).mix == {"navy": 0.4}
    assert "0.40 %" in words(typed)
    # 12 mL of 1 % stock on 240 g of cloth is 12 × 1 ÷ 240 % owf (common practice)
    poured = asked.on(typed, press="set|navy", amount="12 mL")
    assert slip_of(poured).mix["navy"] == pytest.approx(0.05)
    assert "Not read" in words(asked.on(typed, press="set|navy", amount="much"))


def test_a_mix_of_what_is_left_in_the_bottles_of_the_book_says_so(dyes, tmp_path: Path) -> None:
    path, cloth = tmp_path / "own.dyebook", Slip().cloth_g
    second = suggest(dyes, "#7d8a6e", kit=Slip().kit)[1].measured
    with dyemix.DyeBook(path) as book:
        book.add_stocks(
            *(Stock(dye, 1.0, left_ml=owf * cloth + 1.0) for dye, owf in second.recipe.items())
        )
    assert "From what is left" in words(Asked(dyes, path)("/colour", **SAGE))
    assert "From what is left" not in words(Asked(dyes)("/colour", **SAGE))
    twice = Asked(dyes, path)("/colour", **SAGE, cloth=f"{2 * cloth:g} g")
    assert "From what is left" not in words(twice), "it lasts for half of that"


def test_amounts_are_of_the_bottles_and_else_of_the_swatches_stock(dyes, tmp_path: Path) -> None:
    """Powder added TO the water of a bottle is weaker than it says: 2 g to 100 mL are 1.98 %."""
    stated = replace(dyes, conditions={**dyes.conditions, "stock_pct": "2"})
    assert Workshop(stated).stock == "2"
    with dyemix.DyeBook(tmp_path / "own.dyebook") as book:
        book.add_stocks(Stock("navy", 4), Stock("marigold", 2, how="added to"))
        book.add_stocks(Stock("rose", 3, date(2020, 5, 3)))
    shop = Workshop(stated, tmp_path / "own.dyebook")
    slip = Slip(recipe="marigold 1 + navy 0.5 + rose 0.2", stock=shop.stock)
    weaker = pytest.approx(2 / 1.012, abs=0.005)
    assert slip.strengths == {"": 2, "marigold": weaker, "navy": 4, "rose": 3}
    sheet = shop.sheet(slip)
    assert {d.dye: d.stock.actual_pct(sheet.settings) for d in sheet.doses}["marigold"] == weaker
    assert "past their life" in " ".join(sheet.warnings), "as a bath of the command line says"
    other = shop.sheet(slip.but(stock="2"))
    assert "past their life" not in " ".join(other.warnings), "poured from another bottle"


def test_amounts_are_for_the_part_of_the_cloth_that_takes_dye(dyes) -> None:
    """1 % of 65 % of 240 g is 1.56 g of dye, 156 mL of 1 % stock, by the jars and on the sheet."""
    blend = replace(dyes, conditions={**dyes.conditions, "fibre": "cotton 65 %, polyester 35 %"})
    asked = {**SAGE, "recipe": "navy 1", "stood": "navy 1", "unit": "mL"}
    for place in ("/jars", "/bath"):
        assert "156 mL" in words(Asked(blend)(place, **asked)), place
        assert "240 mL" in words(Asked(dyes)(place, **asked)), place
    for share in ("0", "nan", "0.5", "half"):  # of an address, which may be an old one
        assert "240 mL" in words(Asked(dyes)("/jars", **asked, share=share)), share
    refused = Asked(blend)("/jars", **asked, slip="1", cloth_now="much")
    assert refused.status_code == 422
    assert "156 mL" in words(refused)


def test_amounts_of_a_job_are_for_the_part_of_its_own_cloth(dyes, tmp_path: Path) -> None:
    """Half of 240 g takes dye, as its last sheet says: 120 mL, in the next sheet too."""
    path, blend = tmp_path / "own.dyebook", "cotton 50 %, polyester 50 %"
    with DyeBook(path) as book:
        book.add_sheets(dyemix.bath_sheet("navy 1", 240, job="towel", fibre=blend))
    asked = {**SAGE, "recipe": "navy 1", "stood": "navy 1", "unit": "mL"}
    for place in ("/jars", "/bath"):
        of = Asked(dyes, path)
        assert "120 mL" in words(of(place, **asked, job="towel")), place
        assert "240 mL" in words(of(place, **asked, job="other")), place
    written = of("/jars", **asked, slip="1", job_now="towel")
    assert "120 mL" in words(written), "of the job that was just written on the slip"


def test_spoons_are_those_that_the_swatches_were_dyed_by(dyes) -> None:
    """20 mL of stock is a tablespoon in Australia, 1 tbsp + 1 tsp elsewhere."""
    asked = {**SAGE, "recipe": "navy 1", "stood": "navy 1", "cloth": "20 g", "spoons": "us"}
    theirs = replace(dyes, conditions={**dyes.conditions, "spoons": "australian"})
    for place in ("/jars", "/bath"):
        assert "1 tbsp + 1 tsp" in words(Asked(dyes)(place, **asked)), place
        seen = words(Asked(theirs)(place, **asked))
        assert "1 tbsp" in seen, place
        assert "1 tbsp + 1 tsp" not in seen, place
    assert "australian set, 20 and 5 mL" in words(Asked(theirs)("/bath", **asked))


def test_a_job_is_called_as_a_book_compares_names(asked: Asked) -> None:
    assert slip_of(asked("/jars", slip="1", job_now="  sage   runner ")).job == "sage runner"


def test_cloth_of_low_water_is_said_to_mottle(dyes) -> None:
    low = replace(dyes, conditions={**dyes.conditions, "liquor ratio": "5:1"})
    assert "Dyed in low water: expect mottle" in words(Asked(low)("/colour", **SAGE))
    assert "mottle" not in words(Asked(dyes)("/colour", **SAGE))


def test_a_long_answer_says_how_far_it_is_and_stops(asked: Asked, monkeypatch) -> None:
    """What the library tells on the way is passed on, and a press of Stop ends the work."""
    told, reach = [], dyemix.reach

    def watched(dyes, progress):
        def tell(done: int, whole: int) -> None:
            progress(done, whole)
            told.append(asked.send("GET", "/waiting").text)
            if done == 1:
                assert asked.send("POST", "/waiting", OWN, b"").status_code == 200

        return reach(dyes, progress=tell)

    monkeypatch.setattr(dyemix, "reach", watched)
    answer = asked("/shelf", **SAGE, spare="1")
    assert answer.status_code == 422
    assert "stopped" in words(answer)
    assert told == ["1 of 3"], "nothing is worked out after the press"
    monkeypatch.setattr(dyemix, "reach", lambda dyes, progress: reach(dyes))
    assert "Least missed would be" in words(asked("/shelf", **SAGE, spare="1"))


@pytest.mark.parametrize("reading", ["#dadee1", "#101010", "#ff3bd0", "#7d8a6e"])
def test_a_piece_that_came_out_as_anything_is_judged(asked: Asked, reading: str) -> None:
    answer = asked("/piece", **SAGE, recipe="marigold 0.4 + navy 0.2", reading=reading)
    assert answer.status_code == 200
    assert "Nothing goes into the old pot" in words(answer)
    assert ("First, is it the mix at all?" in words(answer)) == (reading != "#7d8a6e")


def test_a_code_at_the_end_of_its_scale_is_a_bound_as_for_commands(dyes: DyeSet) -> None:
    slip = Slip(wanted="#7d8a6e", recipe="marigold 0.4 + navy 0.2", reading="#ff3bd0")
    read = Workshop(dyes, None).trial(slip).reading
    told = read_piece("#ff3bd0", dyes.light, read.recipe)
    assert read.clipped is not None
    assert read == told


@pytest.mark.slow
def test_a_mottled_piece_beside_its_figures(tmp_path: Path) -> None:
    """Those of the library, to the last digit shown; its picture is kept, and comes back."""
    file, mix = shoot_piece(), {**SAGE, "recipe": "lemon 0.8 + navy 0.25", "job": "napkin"}
    dyes, path = spectral_dyes(("lemon", "navy")), tmp_path / "own.dyebook"
    dyemix.DyeBook(path).close()
    asked = Asked(dyes, path)
    key = asked.send("POST", "/picture", {**OWN, "x-name": "piece.jpg"}, file.read_bytes()).text
    page = asked("/piece", **mix, picture=key)
    assert "How mottled is it?" in words(page)
    page = asked.on(page, mottled="1")
    assert page.status_code == 200
    found = levelness(dyes, file, mix["recipe"])
    for figure in found.figures:
        assert f"{figure.name} {figure} {figure.block_mm:.1f} mm" in words(page)
    for dye in found.dyes:
        assert f"{dye.mean:.2f} ± {dye.error:.2f} of {dye.dose:g}" in words(page)
    for shade in found.palette:
        assert f"{shade.hex} {shade.share:.0f} % of it" in words(page)
        assert f'fill="{shade.hex}"' in page.text
    assert f'<img src="/picture/{key}"' in page.text
    told = {"mottled": "1", "undyed": "a1", "grey": "0.18"}
    whiter = levelness(dyes, file, mix["recipe"], options=PhotoOptions(cells=undyed_cell()))
    assert whiter.dyes != found.dyes, "by the undyed cloth of the picture"
    by_cloth = words(asked("/piece", **mix, picture=key, **told))
    for dye in whiter.dyes:
        assert f"{dye.mean:.2f} ± {dye.error:.2f} of {dye.dose:g}" in by_cloth
    for wrong, says in (({"undyed": "Z9"}, "Z9"), ({"grey": "white"}, "white")):
        refused = asked("/piece", **mix, picture=key, **told | wrong)
        assert refused.status_code == 422
        assert says in words(refused)
    lightness, a, b = (found.figure(f"mean {axis}").value for axis in ("L*", "a*", "b*"))
    assert f"its mean, {lightness:.1f} {a:.1f} {b:.1f} D65/2" in words(page)
    query = page.headers["content-location"].partition("?")[2]
    assert asked.send("POST", f"/keep/trial?{query}&reading=60+-8+20", OWN, b"").status_code == 200
    again = Asked(dyes, path)
    back = again("/piece", **mix, kept="1", mottled="1")
    assert "The mottled piece" in words(back)
    assert "kept" not in back.headers["content-location"]
    with dyemix.DyeBook(path) as book:
        assert [picture[:2] for picture in book.pictures("napkin")] == [b"\xff\xd8"]
        book.add_pieces([found], job="napkin")
    figures = words(again("/piece", **mix, analysed="1"))
    assert "Mottled piece 1, in figures" in figures
    assert all(f"{figure.name} {figure}" in figures for figure in found.figures)
    assert "Not read" in words(again("/piece", **mix, kept="2"))


def test_the_columns_are_what_the_library_suggests(asked: Asked, dyes) -> None:
    answer = asked("/colour", **SAGE)
    slip = Slip(wanted="#7d8a6e")
    found = suggest(dyes, "#7d8a6e", kit=slip.kit)
    assert answer.text.count('<section class="column"') == len(found.choices) >= 2
    for choice in found.choices:
        assert choice.measured is not None
        recipe = choice.measured.recipe
        pot = dyes.predict_many([recipe], "D65/2").in_pot(dyemix.Target.parse("#7d8a6e").lab)
        assert f"{pot.mean[0]:.1f} on average, nine pots in ten within {pot.bound[0]:.1f}" in words(
            answer
        )
        for dose in choice.measured.doses:
            assert dose.text in words(answer)
    for address in re.findall(r'href="(/bath[^"]+take=[^"]+)"', answer.text):
        taken = dict(parse_qsl(urlsplit(address.replace("&amp;", "&")).query))["take"]
        assert any(Recipe.parse(taken) == c.measured.recipe for c in found.choices)


def test_words_count_the_very_pots_that_are_shown(asked: Asked) -> None:
    page = asked("/colour", **SAGE).text
    column = page[page.index('<section class="column"') :].partition("</section>")[0]
    codes = re.findall(r'data-lay="(#[0-9a-f]{6})"', column)
    assert len(codes) == 10
    from dyemix.colour.colorimetry import hex_to_lab

    wanted = hex_to_lab("#7d8a6e")
    misses = [float(dyemix.delta_e(wanted, hex_to_lab(code))) for code in codes]
    assert np.all(np.diff(misses) > -0.5), "nearest first, but for the rounding of a code"
    told = [int(n) for n in re.findall(r"(\d+) (?:a match|seen|same|another)", column)]
    assert sum(told) == 10
    near = sum(m <= 1.5 for m in misses)
    assert abs(told[0] - near) <= 1 or "a match" not in column


def test_every_patch_has_its_code_beside_it(asked: Asked) -> None:
    mix = {**SAGE, "recipe": "marigold 0.4 + navy 0.2", "pins": "a|navy 0.2"}
    for place, more in (("colour", {}), ("jars", {"quiet": mix["recipe"]}), ("shelf", {}),
                        ("piece", {"reading": "#828a66"})):  # fmt: skip
        page = asked(f"/{place}", **mix, **more).text
        drawn = set(re.findall(r'fill="(#[0-9a-f]{6})"', page))
        assert len(drawn) > 2
        said = set(re.findall(r"#[0-9a-f]{6}", re.sub(r"<[^>]*>", " ", page)))
        assert drawn <= said, place


def test_a_wrong_entry_keeps_the_old_answer_and_says_so(asked: Asked) -> None:
    good = asked("/colour", **SAGE)
    bad = asked.on(good, typed="puce<")
    assert bad.status_code == 422
    assert "is not a colour" in words(bad)
    assert "What stands below is still of #7d8a6e" in words(bad)
    assert bad.text.count('<section class="column"') == good.text.count('<section class="column"')
    assert bad.headers["content-location"] == good.headers["content-location"]


def test_a_press_is_not_pressed_again_by_reloading(asked: Asked) -> None:
    """Without the script the answer is a redirect to the address of the view that came."""
    answer = asked("/jars", {"accept": "text/html"}, **SAGE, recipe="navy 0.2", press="more|navy")
    assert answer.status_code == 303
    again = asked.send("GET", answer.headers["location"])
    assert again.status_code == 200
    assert "press" not in answer.headers["location"]


def test_a_code_has_no_other_lamp_and_a_reading_has(asked: Asked) -> None:
    assert 'name="light_now"' not in asked("/colour", **SAGE).text
    lab = {"wanted": "56 -10 13"}
    assert 'name="light_now"' in asked("/colour", **lab).text
    lamp = asked("/colour", **lab, slip="1", light_now="A/10")
    assert "A/10°" in words(lamp)


def test_a_quieter_mix_goes_down_a_step_and_up_again(asked: Asked, dyes) -> None:
    recipe = "marigold 1.2 + navy 0.1"
    answer = asked("/jars", **SAGE, recipe=recipe, stood=recipe, press="quieter|")
    down = asked.on(answer, press="rung|1")
    chroma = [float(np.hypot(*dyes.predict(slip_of(a).recipe).lab[1:])) for a in (answer, down)]
    assert chroma[1] < chroma[0] - 3.0
    up = asked.on(down, press="rung|0")
    assert slip_of(up).mix == Recipe.parse(recipe)


def test_the_line_holds_six_and_takes_down_the_one_meant(asked: Asked) -> None:
    answer = asked("/jars", **SAGE, recipe="navy 0.2")
    for name in "abcdefg":
        answer = asked.on(answer, press=f"pin|{name}")
    assert [pin[0] for pin in slip_of(answer).pins] == list("bcdefg")
    answer = asked.on(answer, press="unpin|1")
    assert [pin[0] for pin in slip_of(answer).pins] == list("bdefg")


def test_out_of_reach_is_said_before_anything_is_mixed(asked: Asked) -> None:
    text = words(asked("/shelf", wanted="#ff3bd0"))
    assert "cannot give" in text
    assert "another colour" in text
    assert "too clean" in text
    assert "The shelf gives it" in words(asked("/shelf", **SAGE))


def test_the_demo_is_marked_in_every_view(demo_dyes: dyemix.DyeSet) -> None:
    asked = Asked(demo_dyes)
    for place in PLACES:
        assert "Invented dyes: do not dye" in words(asked(f"/{place}", **SAGE, recipe="navy 0.2"))


def test_what_is_kept_is_in_the_book_and_moves_the_next_answer(dyes, tmp_path: Path) -> None:
    path = tmp_path / "own.dyebook"
    with dyemix.DyeBook(path) as book:
        book.add_swatches(dyemix.read_swatches(_table(tmp_path)))
        own = book.dyes()
    asked = Asked(own, path)
    mix = {"wanted": "62 -8 24", "recipe": "gold 0.4 + navy 0.2", "job": "sage"}
    before = words(asked("/jars", **mix, jars="gold"))
    query = asked("/bath", **mix).headers["content-location"].partition("?")[2]
    assert "Kept: sage" in asked.send("POST", f"/keep/sheet?{query}", OWN, b"").text
    assert "Enter the dry piece" in words(asked("/book"))
    assert asked.send("POST", f"/keep/trial?{query}", OWN, b"").status_code == 422
    kept = asked.send("POST", f"/keep/trial?{query}&reading=58+-8+20&date=2026-05-03", OWN, b"")
    assert kept.status_code == 200
    with dyemix.DyeBook(path) as book:
        record = book.job("sage")
    assert record.sheets[0].recipe == Recipe.parse(mix["recipe"])
    assert record.trials[0].trial.reading.lab.tolist() == [58.0, -8.0, 20.0]
    assert str(record.trials[0].trial.date) == "2026-05-03"
    assert words(asked("/jars", **mix, jars="gold")) != before
    assert "See the next piece" in words(asked("/book"))
    # As `match` does, the page begins with what that pot leads to, and with its own likely miss.
    with dyemix.DyeBook(path) as book:
        shop = Workshop(book.dyes(), path)
        found = dyed_for(book, shop.dyes, dyemix.Target.parse(mix["wanted"]))
    assert found is not None
    first = words(asked("/colour", wanted=mix["wanted"]))
    assert "1. Your pot of 2026-05-03, corrected" in first
    assert f"{found.corrected.likely:.1f} on average" in first
    taught = shop.mix(Slip(wanted=mix["wanted"]), found.corrected.recipe)
    # As it is promised, so it is shown: nearer to the cloth than the fit alone has that recipe.
    alone = shop.dyes.predict(found.corrected.recipe).hex
    near, far = (delta_e(*map(hex_to_lab, (taught.target.hex, c))) for c in (taught.hex, alone))
    assert near < far - 1.0
    assert f"{taught.hex} as mixed" in first
    # So says its bath sheet, where the fit alone would promise another miss.
    told = shop.sheet(Slip(wanted=mix["wanted"], recipe=found.corrected.recipe.exact)).expect
    assert f"{found.corrected.likely:.1f}" in told
    assert (
        told
        != dyemix.bath_sheet(
            found.corrected.recipe, 240, dyes=shop.dyes, target=mix["wanted"]
        ).expect
    )
    assert "Your pot" not in words(asked("/colour", wanted="30 0 0"))


def test_a_piece_is_kept_by_the_method_that_the_page_was_opened_for(tmp_path: Path) -> None:
    """Of two methods with the same dyes; one that is not named would be either."""
    path, table = tmp_path / "own.dyebook", _table(tmp_path)
    with dyemix.DyeBook(path) as book:
        for name in ("lawn", "linen"):
            book.add_swatches(dyemix.read_swatches(table), name, name)
        own = book.dyes("linen")
    address = "/keep/trial?wanted=62+-8+24&recipe=gold+0.4+%2B+navy+0.2&job=sage&reading=58+-8+20"
    assert Asked(own, path, "linen").send("POST", address, OWN, b"").status_code == 200
    typed = Slip(wanted="62 -8 24", recipe="gold 0.4", job="gold", reading="58 -8 20")
    Workshop(own, path, "linen").keep_trial(typed, b"\xff\xd8 as seen")
    with dyemix.DyeBook(path) as book:
        named = [(kept.job, kept.method) for kept in book.trials()]
        assert named == [("sage", "linen"), ("gold", "linen")]
        assert book.pictures("gold") == (b"\xff\xd8 as seen",)


def _table(folder: Path) -> Path:
    path = folder / "own.csv"
    path.write_text(
        "# light: D65/10\nrecipe,L*,a*,b*\nundyed,92.3,-0.7,7.3\ngold 2,76.8,14.1,76.8\n"
        "gold 0.5,84.0,5.1,58.6\ngold 0.125,88.4,-0.1,35.9\nnavy 2,36.5,-7.5,-18.2\n"
        "navy 0.5,55.3,-9.5,-18.4\nnavy 0.125,72.4,-8.2,-11.3\n"
    )
    return path


# Words --------------------------------------------------------------------------------------------


def test_words_of_colours_and_misses() -> None:
    assert colour_words(np.array([55.7, -10.1, 13.4])) == "middling, quiet, yellow-green"
    assert colour_words(np.array([60.7, 83.9, -33.8])) == "middling, very clean, magenta"
    assert colour_words(np.array([20.0, 0.5, 0.0])) == "very dark, grey"
    assert counted([0.2, 1.4, 2.0, 9.0]) == "2 a match, 1 seen side by side, 1 another colour"


def test_spoons_are_drawn_as_they_are_said() -> None:
    assert spoon_signs("2 tbsp + 1¼ tsp") == [("tbsp", 4), ("tbsp", 4), ("tsp", 4), ("tsp", 1)]
    assert spoon_signs("¾ tsp") == [("tsp", 3)]
    assert spoon_signs("12 mL") == []


def test_a_frame_stays_in_the_picture() -> None:
    assert Frame.parse("0,1000,200") == Frame(100, 900, 200)
    assert Frame.parse("500,500,5000") == Frame(500, 500, 1000)
    with pytest.raises(dyemix.DyemixError, match="no frame"):
        Frame.parse("a,b")


def test_a_colour_that_a_job_wants_brings_its_own_error(dyes: DyeSet, tmp_path: Path) -> None:
    """As it was read, though the address says three numbers."""
    read = Reading.from_lab([56.0, -10.0, 13.0], "D65/10", covariance=9.0 * np.eye(3))
    with DyeBook(tmp_path / "w.dyebook") as book:
        book.add_recipe("sage", "navy 0.4", Target.of(read))
    slip = Slip("56.00 -10.00 13.00 D65/10")
    with_book, without = Workshop(dyes, tmp_path / "w.dyebook"), Workshop(dyes)
    assert np.array_equal(with_book.wanted(slip).spread, 9.0 * np.eye(3))
    recipe = Recipe({"marigold": 0.4, "navy": 0.2})
    assert with_book.mix(slip, recipe).likely > without.mix(slip, recipe).likely + 0.1


def test_what_was_agreed_for_a_standard_is_asked_of_its_pieces(
    dyes: DyeSet, tmp_path: Path
) -> None:
    path, wanted = tmp_path / "w.dyebook", Reading.from_lab([56.0, -10.0, 13.0], "D65/10")
    with DyeBook(path) as book:
        book.sign_off("café", wanted, tolerance=7.0)
    mix = "marigold 0.42 + navy 0.22"
    piece = {"recipe": mix, "stood": mix, "reading": "61 -9 18"}
    by_name, by_numbers = (
        Asked(dyes, path)("/piece", wanted=words, **piece)
        for words in ("café", "56.00 -10.00 13.00 D65/10")
    )
    assert "Take for the next piece" not in words(by_name)
    assert "Take for the next piece" in words(by_numbers)
    sheet = Workshop(dyes, path).sheet(Slip("café", mix, job="sage"))
    assert sheet.settings.tolerance == 7.0


@pytest.mark.parametrize("wrong", [{"reading": "rot"}, {"reading": "52 6 9", "date": "31.2.2026"}])
def test_a_reading_that_is_none_stays_to_be_mended(asked: Asked, wrong: dict[str, str]) -> None:
    """Its form stays, and so does the slip: neither job nor recipe is to be typed again."""
    mix = "marigold 0.42 + navy 0.22"
    answer = asked("/piece", wanted="#7d8a6e", recipe=mix, stood=mix, job="sage", **wrong)
    assert answer.status_code == 422
    assert f"{list(wrong.values())[-1]!r} is not a" in words(answer)
    fields = re.findall(r'<input[^>]*name="reading"[^>]*>', answer.text)
    assert [field for field in fields if f'value="{wrong["reading"]}"' in field]
    assert "sage" in answer.text
    assert slip_of(answer).recipe == mix


def test_what_was_just_written_wrong_is_said_before_an_older_slip(asked: Asked) -> None:
    mix = "marigold 0.42 + navy 0.22"
    slip = {"wanted": "#7d8a6e", "recipe": mix, "stood": mix, "reading": "rot"}
    answer = asked("/piece", slip="1", cloth_now="much", **slip)
    assert answer.status_code == 422
    assert "'much' is no" in words(answer)
