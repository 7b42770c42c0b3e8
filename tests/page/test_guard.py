"""Hostile requests are refused, or do no harm: each way in by itself."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest
from asking import HOST, OWN, Asked, words

import dyemix
from dyemix.page.guard import LARGEST, WAITING
from dyemix.page.slip import PLACES

WANTED = {"wanted": "#7d8a6e"}
MIX = {**WANTED, "recipe": "marigold 0.4 + navy 0.2", "job": "sage"}


@pytest.mark.parametrize(
    "host",
    ["evil.example:8417", "127.0.0.1:8418", "127.0.0.1", "[::1]:8417", "localhost.evil:8417"],
)
def test_a_name_made_to_lead_here_is_not_answered(asked: Asked, host: str) -> None:
    answer = asked("/colour", {"host": host})
    assert answer.status_code == 421
    assert "#" not in answer.text


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "http://evil.example"},
        {"origin": "null"},
        {"origin": f"https://{HOST}"},
        {"origin": f"http://{HOST}.evil.example"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
    ],
)
def test_another_site_gets_nothing(asked: Asked, headers: dict[str, str]) -> None:
    assert asked("/colour", headers, **WANTED).status_code == 403
    posted = asked.send("POST", "/picture", {**OWN, **headers}, b"x")
    assert posted.status_code == 403


@pytest.mark.parametrize("without", ["origin", "x-dyemix"])
def test_only_the_page_itself_keeps_something(dyes, tmp_path: Path, without: str) -> None:
    path = tmp_path / "own.dyebook"
    asked = Asked(dyes, path)
    address = "/keep/sheet?wanted=%237d8a6e&recipe=marigold+0.4&job=sage"
    forged = {name: value for name, value in OWN.items() if name != without}
    assert asked.send("POST", address, forged, b"").status_code == 403
    assert asked.send("GET", address, OWN).status_code == 405
    assert asked.send("PUT", address, OWN, b"").status_code == 405
    assert asked.send("POST", address, OWN, b"").status_code == 422, "a page begins no book"
    assert not path.exists()
    dyemix.DyeBook(path).close()
    assert asked.send("POST", address, OWN, b"").status_code == 200
    with dyemix.DyeBook(path) as book:
        assert book.jobs() == ("sage",)


def test_a_body_is_bounded_before_it_is_read(asked: Asked) -> None:
    too_large = {**OWN, "content-length": str(LARGEST + 1)}
    assert asked.send("POST", "/picture", too_large, b"x").status_code == 413

    async def endless():
        yield b"x"

    assert asked.send("POST", "/picture", OWN, endless()).status_code == 411
    assert asked("/colour", typed="9" * 30_000).status_code == 414
    assert asked("/colour", typed="9" * 500).status_code == 422


@pytest.mark.parametrize(
    "path",
    [
        "/static/../app.py", "/static/..%2fapp.py", "/static/%2e%2e/app.py", "/static/page.js/..",
        "/static/....//app.py", "/static", "/picture/..%2f..%2fetc%2fpasswd", "/picture/nothing",
        "/etc/passwd",
        "/static/page.js%00", "/keep/sheet/..%2f..",
    ],
)  # fmt: skip
def test_no_path_leads_to_another_file(asked: Asked, path: str) -> None:
    answer = asked.send("GET", path)
    assert answer.status_code in (404, 405)
    assert len(answer.text) < 200


@pytest.mark.parametrize(
    "fields",
    [
        {"typed": "/etc/passwd"},
        {"typed": "../swatches.csv"},
        {**MIX, "reading": "/etc/passwd"},
        {**MIX, "reading": "swatches.csv"},
        {"slip": "1", "stock_now": "/etc/stock.csv"},
        {"slip": "1", "stock_now": "bottles.csv"},
        {**MIX, "press": "set|navy", "amount": "bottles.csv"},
    ],
)
def test_no_entry_is_taken_for_a_file(asked: Asked, tmp_path: Path, monkeypatch, fields) -> None:
    monkeypatch.chdir(tmp_path)
    for name in ("swatches.csv", "bottles.csv"):
        (tmp_path / name).write_text("recipe,L*,a*,b*\nnavy 2,11,22,33\n")
    place = "/piece" if "reading" in fields else "/jars" if "press" in fields else "/colour"
    answer = asked(place, **fields)
    assert answer.status_code == 422
    assert "Not read" in answer.text
    assert "root:" not in answer.text


class Tags(HTMLParser):
    """What a browser would make of a page."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.attributes: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += [name for name, _ in attrs]


SCRIPT = '"><script>alert(1)</script><img src=x onerror=alert(1)>'


@pytest.mark.parametrize("place", PLACES)
def test_script_in_any_name_is_text(dyes, tmp_path: Path, place: str) -> None:
    """In the name of a dye, a job, a mix, a pin, a lot, and whatever else is typed."""
    evil = "<script>alert(1)</script>"
    names = tuple(evil if name == "rose" else name for name in dyes.names)  # not in a sage green
    shelf = replace(dyes, names=names, conditions={"cloth": SCRIPT})
    asked = Asked(shelf, tmp_path / "b.dyebook" if place == "book" else None)
    with dyemix.DyeBook(tmp_path / "b.dyebook") as book:
        book.add_recipe(SCRIPT, "navy 1", dyemix.Target.parse("#7d8a6e"))
    answer = asked(
        f"/{place}", {"x-dyemix": "1"}, **WANTED, recipe="navy 0.2 + black 0.1", job=SCRIPT,
        name=SCRIPT, jars=evil, pins=f"{SCRIPT}|navy 0.2", lot=SCRIPT, note=SCRIPT,
        reading="#7d8a60",
    )  # fmt: skip
    assert answer.status_code == 200
    seen = Tags()
    seen.feed(answer.text)
    assert seen.tags.count("script") == 2, "those of the page itself"
    assert "img" not in seen.tags
    assert not [name for name in seen.attributes if name.startswith("on") or name == "style"]


def test_no_web_socket_is_opened(asked: Asked) -> None:
    """By any site: they ask no leave of a browser."""
    import anyio

    sent = []

    async def receive() -> dict[str, str]:
        return {"type": "websocket.connect"}

    async def send(message) -> None:
        sent.append(message["type"])

    scope = {
        "type": "websocket",
        "path": "/jars",
        "headers": [],
        "query_string": b"",
        "subprotocols": [],
    }
    anyio.run(asked.app, scope, receive, send)
    assert sent == ["websocket.close"]


def test_every_answer_says_what_may_run(asked: Asked) -> None:
    some = ("/", "/colour", "/static/page.js", "/nothing", "/picture/x")
    answers = [asked.send("GET", path) for path in some]
    answers.append(asked("/colour", {"host": "evil.example"}))
    for answer in answers:
        policy = answer.headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert "http" not in policy
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["referrer-policy"] == "no-referrer"
        assert answer.headers["cache-control"] == "no-store"
        assert "access-control-allow-origin" not in answer.headers
    assert "style=" not in answers[1].text


def test_nothing_is_fetched_from_anywhere_else() -> None:
    folder = Path(dyemix.__file__).parent
    files = [*folder.glob("page/static/*"), *folder.glob("templates/page/*")]
    assert len(files) > 8
    for path in files:
        text = path.read_text(encoding="utf-8").replace("http://www.w3.org/2000/svg", "")
        assert not re.search(r"https?:|//[a-z]|@import|url\(\s*['\"]?(?!#)", text), path


def test_a_flood_of_presses_is_answered_or_refused_and_passes(asked: Asked) -> None:
    press = "/jars?wanted=%237d8a6e&recipe=marigold+0.4&press=more%7Cmarigold"
    answers = asked.many([("GET", press, {"x-dyemix": "1"}, None)] * 150)
    counts = {status: [a.status_code for a in answers].count(status) for status in (200, 503)}
    assert sum(counts.values()) == 150
    assert counts[200] >= WAITING
    assert counts[503] > 0
    assert len({a.text for a in answers if a.status_code == 200}) == 1
    assert asked("/jars", **WANTED, recipe="marigold 0.4").status_code == 200


def test_a_picture_comes_back_without_what_the_camera_wrote(asked: Asked) -> None:
    from PIL import Image

    image = Image.new("RGB", (320, 240), (125, 138, 110))
    exif = image.getexif()
    exif[0xA431] = "SERIAL 12345"
    exif[0x010F] = "MAKER"
    exif.get_ifd(0x8825)[2] = (48.0, 12.0, 30.0)
    raw = io.BytesIO()
    image.save(raw, "JPEG", exif=exif.tobytes(), quality=95)
    assert b"SERIAL" in raw.getvalue()
    sent = asked.send("POST", "/picture", {**OWN, "x-name": "../../x.jpg"}, raw.getvalue())
    assert sent.status_code == 200
    back = asked.send("GET", f"/picture/{sent.text}")
    assert back.headers["content-type"] == "image/jpeg"
    seen = Image.open(io.BytesIO(back.content))
    assert not seen.getexif()
    assert b"SERIAL" not in back.content
    assert b"Exif" not in back.content
    view = asked("/colour", picture=sent.text, frame="500,500,300")
    assert re.search(r"#7[cde]8[9ab]6[def]", words(view)), (
        "the mean of an even picture is its colour"
    )
    assert "Even enough" in words(view)


def test_a_frame_over_two_pieces_is_not_even(asked: Asked) -> None:
    from PIL import Image

    image, raw = Image.new("RGB", (400, 400), "#d9d3dd"), io.BytesIO()
    image.paste("#f0805a", (0, 0, 200, 200))
    image.save(raw, "PNG")
    sent = asked.send("POST", "/picture", {**OWN, "x-name": "two.png"}, raw.getvalue())
    assert "quarters differ" in words(asked("/colour", picture=sent.text, frame="500,500,300"))
    assert "Even enough" in words(asked("/colour", picture=sent.text, frame="800,800,300"))


@pytest.mark.parametrize(
    "data", [b"", b"<svg onload=alert(1)>", b"GIF89a" + b"\0" * 20, b"\xff\xd8\xff\0"]
)
def test_what_is_no_picture_is_refused_in_a_sentence(asked: Asked, data: bytes) -> None:
    answer = asked.send("POST", "/picture", OWN, data)
    assert answer.status_code in (411, 422)
    assert "Traceback" not in answer.text


def test_only_the_last_few_pictures_are_held(asked: Asked) -> None:
    from PIL import Image

    keys = []
    for red in range(6):
        raw = io.BytesIO()
        Image.new("RGB", (80, 80), (red, 99, 199)).save(raw, "PNG")
        keys.append(asked.send("POST", "/picture", OWN, raw.getvalue()).text)
    assert len(set(keys)) == 6
    kept = [asked.send("GET", f"/picture/{key}").status_code for key in keys]
    assert kept == [404, 404, 200, 200, 200, 200]
