"""The page in Debian's Chromium, as a dyer uses it: by hand, by keys, narrow, after a power cut.

Pictures of every view are left in the folder that DYEMIX_SHOTS names, to be looked at.
"""

from __future__ import annotations

import io
import os
import re
import shutil
import signal
import socket
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import parse_qsl, urlencode, urlsplit

import pytest
from command import Command
from PIL import Image

import dyemix
from dyemix.dataset.recipe import Recipe
from dyemix.page.slip import PLACES
from tests.simulated.struck import shoot_piece

CHROMIUM = shutil.which("chromium")
pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(
        CHROMIUM is None and "CI" not in os.environ, reason="no chromium: apt-get install chromium"
    ),
]
WIDE, NARROW = {"width": 1280, "height": 900}, {"width": 390, "height": 844}
MIX = "gold 0.43 + navy 0.23 + black 0.072"
SLIP = {"wanted": "#7d8a6e", "job": "sage napkins", "recipe": MIX, "stood": MIX, "jars": "gold"}
TABLE = """# cloth: cotton lawn
# light: D65/10
recipe,L*,a*,b*
undyed,92.3,-0.7,7.3
gold 2,76.8,14.1,76.8
gold 0.5,84.0,5.1,58.6
gold 0.125,88.4,-0.1,35.9
navy 2,36.5,-7.5,-18.2
navy 0.5,55.3,-9.5,-18.4
navy 0.125,72.4,-8.2,-11.3
black 2,26.2,2.0,-4.2
black 0.5,42.6,2.3,-5.8
black 0.125,61.9,1.6,-4.6
"""


class Served:
    """`dyemix web` in a process of its own, which can be killed and begun again."""

    def __init__(self, run: Command) -> None:
        (run.folder / "own.csv").write_text(TABLE, encoding="utf-8")
        self.book = run.folder / "w.dyebook"
        with dyemix.DyeBook(self.book) as book:
            book.add_swatches(dyemix.read_swatches(run.folder / "own.csv"))
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self._port = free.getsockname()[1]
        self.address, self._run = f"http://127.0.0.1:{self._port}", run
        self.begin()

    def begin(self) -> None:
        words = ("web", "--port", str(self._port), "--no-browser", "--book", "w.dyebook")
        self._process = self._run.started(*words, python=("-m", "dyemix.cli.main"))
        for _ in range(600):
            with socket.socket() as ear:
                if ear.connect_ex(("127.0.0.1", self._port)) == 0:
                    return
            time.sleep(0.05)
        raise AssertionError(self._process.stderr)

    def kill(self) -> None:
        self._process.kill()
        self._process.communicate()

    def end(self) -> tuple[int, str]:
        """Ctrl-C: how it ended, and what it said."""
        if self._process.poll() is None:
            self._process.send_signal(signal.SIGINT)
        _, said = self._process.communicate(timeout=30)
        return self._process.returncode, said.decode()

    def at(self, place: str, **fields: str) -> str:
        return f"{self.address}/{place}?{urlencode({**SLIP, **fields})}"


@pytest.fixture
def served(run: Command) -> Iterator[Served]:
    one = Served(run)
    yield one
    one.end()


@pytest.fixture(scope="module")
def chromium():
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield browser
        browser.close()


@pytest.fixture
def tab(chromium, served: Served):
    """``tab(WIDE)``: a tab that may fetch nothing but the page, and in which no script fails."""
    opened, wrong = [], []

    def open_tab(size=WIDE, **how):
        context = chromium.new_context(viewport=size, **how)
        page = context.new_page()
        page.set_default_timeout(30_000)
        page.on("pageerror", lambda error: wrong.append(str(error)))
        page.on("request", lambda r: wrong.append(r.url) if not r.url.startswith(served.address)
                and not r.url.startswith("blob:") else None)  # fmt: skip
        page.on("console", lambda m: wrong.append(m.text) if "Content Security" in m.text else None)
        opened.append(context)
        return page

    yield open_tab
    for context in opened:
        context.close()
    assert wrong == []


def shot(page, name: str) -> None:
    if folder := os.environ.get("DYEMIX_SHOTS"):
        width = page.viewport_size["width"]
        page.screenshot(path=Path(folder) / f"{name}-{width}.png", full_page=width > 500)


def here(page) -> str:
    """The address as the tab has it: `page.url` may lag behind a press."""
    return str(page.evaluate("location.href"))


def mix_of(page) -> Recipe:
    return Recipe.parse(dict(parse_qsl(urlsplit(here(page)).query))["recipe"])


def fits(page) -> bool:
    return bool(page.evaluate("document.documentElement.scrollWidth <= innerWidth"))


def test_a_link_pressed_while_an_answer_is_on_its_way_is_followed(tab, served: Served) -> None:
    page, held = tab(WIDE), []
    page.goto(served.at("jars", jars="navy"))
    page.route("**/jars?*press=more*", lambda route: held.append(route))
    with page.expect_request("**/jars?*press=more*"):
        page.click("[data-key=more-0]")
    page.click("text=Take this mix")
    (route,) = held
    route.continue_()
    page.wait_for_selector(".sheet")
    assert mix_of(page).total > Recipe.parse(MIX).total, "the mix as it stands by then"


@pytest.mark.parametrize("size", [WIDE, NARROW], ids=["1280", "390"])
def test_a_whole_job_by_hand(tab, served: Served, size) -> None:
    page = tab(size)
    page.goto(f"{served.address}/colour")
    shot(page, "empty")
    page.fill("#typed", "#7d8a6e")
    page.click("text=Show")
    page.wait_for_selector(".column")
    shot(page, "colour")
    assert fits(page)
    pot = page.locator(".pot").last
    pot.click()
    assert page.locator(".column").last.locator(".lies").get_attribute("fill") == pot.get_attribute(
        "data-lay"
    )
    page.locator(".column a:has-text('Adjust')").first.click()
    page.wait_for_selector(".jars")
    before, code = mix_of(page), page.locator(".stays .lies").get_attribute("fill")
    page.click("[data-key=more-0]")
    page.wait_for_function(
        "c => document.querySelector('.stays .lies').getAttribute('fill') != c", arg=code
    )
    after = mix_of(page)
    assert sum(after[dye] != before[dye] for dye in before) == 1
    page.wait_for_function("() => document.getElementById('said').textContent.includes('Likely')")
    page.click("[data-key=pin]")
    page.wait_for_selector(".line")
    page.click("[data-key=quieter]")
    page.wait_for_selector(".rungs, .quieter p")
    shot(page, "jars")
    assert fits(page)
    page.click("text=Take this mix")
    page.wait_for_selector(".sheet")
    shot(page, "bath")
    assert fits(page)
    if size is NARROW:
        page.click(".open-slip")
    page.click("summary:has-text('Write on the slip')")
    page.fill("#job", "sage napkins")
    page.click("text=Write it down")
    page.wait_for_selector(".sheet:has-text('sage napkins')")
    page.click("text=Keep in the book")
    page.wait_for_selector("text=Kept: sage napkins.")
    page.click("text=It is dry")
    page.wait_for_selector("#reading")
    page.fill("#reading", "58 -8 20")
    page.click("text=Judge it")
    page.wait_for_selector("text=Next piece")
    shot(page, "piece")
    assert fits(page)
    page.click("text=Keep this piece")
    page.wait_for_selector("text=The next answers reckon with this piece")
    page.click("nav a[href*='/book']")
    page.wait_for_selector(".jobs li:has-text('sage napkins')")
    shot(page, "book")
    page.fill("#find", "nothing like it")
    assert page.locator(".jobs li").first.is_hidden()
    page.fill("#find", "sage navy")
    assert page.locator(".jobs li").first.is_visible()
    with dyemix.DyeBook(served.book) as book:
        assert [t.trial.reading.lab.tolist() for t in book.trials("sage napkins")] == [[58, -8, 20]]
        assert len(book.sheets("sage napkins")) == 1


NAME = """() => {
  const e = document.activeElement, label = e && e.labels && e.labels[0];
  if (!e || e === document.body) return '';
  return (e.getAttribute('aria-label') || (label && label.textContent) || e.textContent).trim();
}"""
#: Whether what has the focus wears a ring, and is not hidden by the foot of a narrow window.
SEEN = """() => {
  const e = document.activeElement, hex = e.querySelector('.hex');
  const ring = [e, hex].some((x) => x && getComputedStyle(x).outlineStyle === 'solid');
  const nav = document.querySelector('nav'), foot = getComputedStyle(nav).position === 'fixed';
  const over = e.getBoundingClientRect().bottom > nav.getBoundingClientRect().top + 1;
  return [ring || e.matches('.skip, main'), !(foot && over && !e.closest('nav'))];
}"""


@pytest.mark.parametrize("size", [WIDE, NARROW], ids=["1280", "390"])
def test_a_whole_job_by_keyboard_alone(tab, served: Served, size) -> None:
    page = tab(size)
    page.goto(f"{served.address}/colour")
    keys = page.keyboard

    def to(name: str, back: bool = False) -> None:
        for _ in range(160):
            keys.press("Shift+Tab" if back else "Tab")
            ring, clear = page.evaluate(SEEN)
            assert ring, f"no ring on {page.evaluate(NAME)!r}"
            assert clear, f"{page.evaluate(NAME)!r} lies under the foot"
            if page.evaluate(NAME).startswith(name):
                return
        raise AssertionError(f"{name!r} is not reached by Tab")

    to("Skip to the work")
    keys.press("Enter")
    to("Code, or L*")
    keys.press("Control+A")
    keys.type("#7d8a6e")
    keys.press("Enter")
    page.wait_for_selector(".column")
    assert page.evaluate(NAME).startswith("Code, or"), "what had the focus keeps it"
    to("Lay pot")
    keys.press("Space")
    assert page.locator(".pot[aria-pressed=true]").count() == 1
    to("Adjust:")
    keys.press("Enter")
    page.wait_for_selector(".jars")
    to("More ")
    before = mix_of(page)
    keys.press("Space")
    page.wait_for_selector("[data-key=undo]:not([disabled])")
    assert mix_of(page) != before
    assert page.evaluate(NAME).startswith("More "), "a second press needs no way back"
    to(f"{next(iter(before))}, mL")
    for key, least in (("ArrowUp", 5.0), ("PageUp", 15.0), ("Home", None)):
        had, stood = mix_of(page), here(page)
        keys.press(key)
        page.wait_for_function("u => location.href !== u", arg=stood)
        page.wait_for_function("() => document.activeElement.matches('input.set-to')")
        if least is None:
            assert mix_of(page) == before
        else:
            moved = sum(mix_of(page).values()) - sum(had.values())
            assert moved == pytest.approx(least / 240.0)
    keys.type("9")
    keys.press("Escape")
    page.wait_for_function(
        "() => document.activeElement.value === document.activeElement.defaultValue"
    )
    to("Pin this mix")
    keys.press("Enter")
    page.wait_for_selector(".line")
    to("Take this mix")
    keys.press("Enter")
    page.wait_for_selector(".sheet")
    to(page.locator(".boxes input").first.get_attribute("aria-label"))  # large doses have no boxes
    keys.press("Space")
    page.evaluate("document.querySelector('main').focus()")
    to("It is dry")
    keys.press("Enter")
    page.wait_for_selector("#reading")
    to("Reading of the dry")
    keys.type("58 -8 20")
    keys.press("Enter")
    page.wait_for_selector("text=Next piece")
    to("Take for the next piece")
    keys.press("Enter")
    page.wait_for_selector(".sheet")


@pytest.mark.parametrize("size", [WIDE, NARROW], ids=["1280", "390"])
def test_axe_finds_nothing_of_any_impact(tab, served: Served, size) -> None:
    from axe_playwright_python.sync_playwright import Axe

    page = tab(size)
    picture = "?" + urlencode(SLIP)
    views = [served.at(place) for place in PLACES]
    views += [served.at("jars", quiet=MIX, pins=f"a|{MIX}"), served.at("piece", reading="58 -8 20")]
    views += [served.at("shelf", wanted="#ff3bd0", spare="1"), served.at("colour", typed="puce")]
    views += [
        f"{served.address}/colour",
        served.at("colour", dark="1"),
        served.at("jars", dark="1"),
    ]
    views += [
        served.at("piece", reading="58 -8 20", dark="1"),
        f"{served.address}/colour{picture}x",
    ]
    for view in views:
        page.goto(view)
        page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
        if size is NARROW:
            page.click(".open-slip")
        found = Axe().run(page).response["violations"]
        assert not found, [
            (v["id"], v["impact"], [n["html"] for n in v["nodes"][:3]], view) for v in found
        ]


def test_what_is_drawn_shows_where_the_system_forces_its_colours(tab, served: Served) -> None:
    """Dark, as most choose it: lines take the colour of letters, cloth keeps its own."""
    page = tab(WIDE, forced_colors="active", color_scheme="dark")
    page.goto(served.at("jars"))
    looks = """(what) => { const s = getComputedStyle(document.querySelector(what));
        return [s.stroke, s.fill, s.backgroundColor]; }"""
    ink = page.evaluate("() => getComputedStyle(document.querySelector('h1')).color")
    for line in (".bracket path", ".jar .glass"):
        assert page.evaluate(looks, line)[0] == ink
    assert page.evaluate(looks, ".cloth rect")[1] == "rgb(125, 138, 110)"
    pressed, other = (f".step[aria-pressed={state}]" for state in ("true", "false"))
    assert page.evaluate(looks, pressed)[2] != page.evaluate(looks, other)[2]
    page.goto(served.at("shelf"))
    assert page.evaluate(looks, ".main")[2] == ink
    assert page.evaluate("() => getComputedStyle(document.querySelector('.main')).color") != ink


def test_what_has_the_focus_lies_under_nothing(tab, served: Served) -> None:
    """WCAG 2.2, 2.4.11. On a small phone the cloth stays in sight above the jars."""
    page = tab({"width": 320, "height": 640})
    page.goto(served.at("jars"))
    assert page.is_visible(".strip .cloth")
    covered = """() => { const e = document.activeElement, r = e.getBoundingClientRect();
        const at = document.elementFromPoint(r.left + r.width / 2, r.top + r.height / 2);
        return e === document.body || e.contains(at) || at.contains(e) ? "" : e.outerHTML; }"""
    for key in ("Tab", "Shift+Tab"):
        for _ in range(26):
            page.keyboard.press(key)
            assert page.evaluate(covered) == ""


def test_the_patch_on_the_screen_is_the_code_beside_it(tab, served: Served) -> None:
    """To the last bit, without a seam, in a system's own contrast colours too."""
    for how in ({}, {"forced_colors": "active"}):
        page = tab(WIDE, **how)
        page.goto(served.at("jars"))
        box = page.locator(".stays .cloth").bounding_box()
        seen = Image.open(io.BytesIO(page.screenshot())).convert("RGB")
        wanted, mixed = (page.locator(".stays rect").nth(i).get_attribute("fill") for i in (0, 1))
        y = box["y"] + 0.8 * box["height"]
        row = [seen.getpixel((int(box["x"] + i), int(y))) for i in range(2, int(box["width"]) - 2)]
        codes = {f"#{r:02x}{g:02x}{b:02x}" for r, g, b in row}
        assert codes == {wanted, mixed}
        assert mixed in page.locator(".stays .under").inner_text()


def test_the_bath_prints_on_one_page_without_colour(tab, served: Served) -> None:
    page = tab(WIDE)
    page.goto(served.at("bath"))
    for paper in ("A4", "Letter"):
        printed = page.pdf(format=paper, print_background=True)
        assert len(re.findall(rb"/Type\s*/Page\b", printed)) == 1, paper
    page.emulate_media(media="print")
    seen = Image.open(io.BytesIO(page.screenshot(full_page=True))).convert("RGB")
    apart = max(max(rgb) - min(rgb) for _, rgb in seen.getcolors(1 << 24))
    assert apart <= 2, "black, white and grey alone"
    shot(page, "print")


def test_ten_quick_presses_are_ten(tab, served: Served) -> None:
    page = tab(WIDE)
    page.goto(served.at("jars"))
    page.evaluate(
        "for (let i = 0; i < 10; i++) document.querySelector('[data-key=more-0]').click()"
    )
    wanted = 0.43 + 10 * 5.0 / 240.0
    stands = """w => { const r = new URL(location).searchParams.get('recipe');
        return Math.abs(parseFloat(r.split(' ')[1]) - w) < 1e-9; }"""
    page.wait_for_function(stands, arg=wanted)
    page.wait_for_timeout(300)
    assert mix_of(page)["gold"] == pytest.approx(wanted)
    page.focus("#amount-0")
    for _ in range(4):
        page.keyboard.press("ArrowDown")
    page.wait_for_function(stands, arg=wanted - 4 * 5.0 / 240.0)


def test_what_takes_long_counts_and_stops(tab, served: Served) -> None:
    page = tab(WIDE)
    page.goto(served.at("jars"))
    stood, mix, held = here(page), page.locator("#miss").inner_text(), []
    page.route("**/shelf?*", lambda route: held.append(route))  # an answer that does not come
    page.click("nav a[href*='/shelf']")
    page.wait_for_selector(".working:has-text('Still working: 2 s')")
    shot(page, "working")
    assert page.locator("#miss").inner_text() == mix, "what stood stays"
    with page.expect_request(lambda r: r.method == "POST" and r.url.endswith("/waiting")):
        page.click(".working button")
    page.wait_for_selector("text=Stopped: what stands below is as it was.")
    assert page.locator(".working").count() == 0
    assert (len(held), here(page)) == (1, stood)
    page.unroute("**/shelf?*")
    page.click("text=Try again")
    page.wait_for_selector("h1:has-text('What can I get?')")


def test_a_killed_server_and_a_second_tab_lose_nothing(tab, served: Served) -> None:
    page = tab(WIDE)
    page.goto(served.at("jars", pins=f"first|{MIX}"))
    page.click("[data-key=more-1]")
    page.wait_for_selector("[data-key=undo]:not([disabled])")
    stood, mix = here(page), page.locator("#miss").inner_text()
    served.kill()
    page.fill("#amount-0", "33.5")
    page.click("[aria-label='Set gold']")
    page.wait_for_selector("text=is not answering")
    assert page.input_value("#amount-0") == "33.5", "what was typed stays"
    assert page.locator("#miss").inner_text() == mix
    served.begin()
    second = tab(WIDE)
    second.goto(stood)
    assert second.locator("#miss").inner_text() == mix
    assert second.locator(".line").inner_text().startswith("first")
    page.click("text=Try again")
    page.wait_for_function("u => location.href !== u", arg=stood)
    assert mix_of(page)["gold"] == pytest.approx(33.5 / 240.0)
    second.click("[data-key=more-1]")
    second.wait_for_function("u => location.href !== u", arg=stood)
    assert mix_of(page)["gold"] == pytest.approx(33.5 / 240.0), "each tab has its own slip"
    page.go_back()
    page.wait_for_function("u => location.href === u", arg=stood)
    page.wait_for_function("m => document.getElementById('miss').innerText === m", arg=mix)


def test_a_colour_out_of_a_picture(tab, served: Served, tmp_path: Path) -> None:
    image = Image.new("RGB", (400, 300), (125, 138, 110))
    image.paste((90, 60, 50), (0, 0, 200, 300))
    image.save(tmp_path / "cloth.png")
    page = tab(WIDE)
    page.goto(f"{served.address}/colour")
    page.set_input_files("#picture", tmp_path / "cloth.png")
    page.wait_for_selector("#seen img")
    assert "Not even enough" in page.locator(".picture").inner_text()
    page.focus("#seen")
    for _ in range(16):
        at = here(page)
        page.keyboard.press("ArrowRight")
        page.wait_for_function("u => location.href !== u", arg=at)
        page.wait_for_selector("#seen img")
        page.focus("#seen")
    shot(page, "picture")
    assert "Even enough" in page.locator(".picture").inner_text()
    page.click("text=Want #7d8a6e")
    page.wait_for_selector(".column")
    assert dict(parse_qsl(urlsplit(here(page)).query))["wanted"] == "#7d8a6e"


@pytest.mark.parametrize("size", [WIDE, NARROW], ids=["1280", "390"])
def test_a_mottled_piece_beside_its_figures(tab, served: Served, size) -> None:
    """In its own words and without a wide table, found by a reader of screens too."""
    from axe_playwright_python.sync_playwright import Axe

    page = tab(size)
    page.goto(served.at("piece"))
    page.set_input_files("#picture", shoot_piece())
    page.fill("#undyed", "A1")
    page.click("text=How mottled is it?")
    page.wait_for_selector(".mottled table")
    page.wait_for_function("() => document.querySelector('.mottled img').complete")
    shot(page, "mottled")
    assert fits(page)
    codes = page.locator(".mottled .lies").evaluate_all(
        "all => all.map(e => e.getAttribute('fill'))"
    )
    assert len(codes) >= 3
    assert all(code in page.locator(".mottled .line").inner_text() for code in codes)
    assert "undyed share" in page.locator(".mottled table").inner_text()
    assert Axe().run(page).response["violations"] == []
    page.click("text=Read the piece as")
    page.wait_for_selector("text=Next piece")
    assert page.input_value("#reading").endswith("D65/2")
    assert page.locator(".mottled").count() == 1, "it stays beside what the piece says"
    page.click("text=Keep this piece and its picture in the book")
    page.wait_for_selector("text=The next answers reckon with this piece")
    page.goto(served.at("piece"))
    page.click("text=Picture 1 of this job")
    page.wait_for_selector("#seen img")
    assert "kept=" not in here(page)


def test_the_page_ends_quietly(run: Command) -> None:
    served = Served(run)
    code, said = served.end()
    assert code in (0, 130)
    assert "Traceback" not in said
    taken = served
    taken.begin()
    again = run.alone("web", "--port", str(taken._port), "--no-browser", "--book", "w.dyebook")
    assert again.returncode == 1, "the machine refused"
    assert b"is taken" in again.stderr
    taken.end()


def test_without_the_extra_it_says_how_to_get_it(run: Command) -> None:
    code = "import sys; sys.modules['uvicorn'] = None; from dyemix.cli.main import main; main()"
    done = subprocess.run(
        [os.sys.executable, "-c", code, "web", "--no-browser"], cwd=run.folder, capture_output=True,
        env={**os.environ, "XDG_CACHE_HOME": str(run.cache)}, timeout=120, check=False,
    )  # fmt: skip
    assert done.returncode == 2
    assert b".[web]" in done.stderr
