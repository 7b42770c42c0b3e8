"""A report: one file that needs no other, of every result asked for, with nothing of it lost."""

from __future__ import annotations

import re
from html import escape, unescape
from html.parser import HTMLParser

import pytest
from command import Command

import dyemix
from dyemix.bench.sheet import usual
from dyemix.dataset.swatches import Reading
from dyemix.errors import DyemixError
from dyemix.report import report


class Links(HTMLParser):
    """Whatever a page would fetch or run."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found += [tag] if tag in ("script", "link", "iframe", "object", "form") else []
        for name, value in attrs:
            fetches = name in ("src", "href", "srcset", "data") and str(value)[:5] != "data:"
            self.found += [f"{tag} {name}"] if fetches or name.startswith("on") else []


def fetched(page: str) -> list[str]:
    links = Links()
    links.feed(page)
    return links.found


def test_a_fit_a_match_and_a_trial_in_one_file(dyes):
    found = dyemix.match(dyes, "#7d8a6e", max_dyes=2, count=2)
    read = Reading(found[0].recipe, found[0].prediction.reflectance)
    trial = dyemix.correct(dyes, dyemix.Trial(found[0].recipe, read, found.target))
    page = report(dyes, found, trial)
    assert fetched(page) == []
    text = unescape(page)
    for result in (found, trial):
        assert str(result) in text
    assert page.count('src="data:image/png;base64,') == 3
    assert all(len(part) > 1000 for part in re.findall(r"base64,([^\"]+)", page))
    for recipe in found.to_frame()["recipe"]:
        assert f"<td>{escape(recipe)}</td>" in page
    for caution in usual():
        assert caution in text
    assert re.search(r"dyemix \d|dyemix not installed", page)
    assert "numpy 2" in page


def test_what_a_dyer_wrote_is_text_and_nothing_else(dyes):
    evil = "<script>alert(1)</script>"
    page = report(dyes, title=evil, conditions={"cloth": evil})
    assert "script" not in fetched(page)
    assert page.count(escape(evil)) == 3


def test_nothing_to_report_is_said():
    with pytest.raises(DyemixError, match="nothing to report"):
        report()


def test_a_whole_job_of_a_book(run: Command):
    demo = ("--demo", "--book", "b.dyebook")
    table = run.folder / "swatches.csv"
    table.write_text(
        "recipe,L*,a*,b*\nundyed,92.3,-0.7,7.3\ngold 2,76.8,14.1,76.8\ngold 0.5,84.0,5.1,58.6\n"
        "gold 0.125,88.4,-0.1,35.9\n"
    )
    assert run("book", "add", "swatches.csv", *demo[1:]).returncode == 0
    dyed = ("gold 0.8", "--target", "#d0a040", "--job", "ink <b>")
    assert run("bath", *dyed, "--cloth", "100g", *demo).returncode == 0
    assert run("trial", *dyed, "--reading", "80 8 60", *demo[1:]).returncode == 0
    done = run("report", "--job", "ink <b>", *demo[1:], "-o", "job.html")
    assert done.returncode == 0, done.stderr
    page = (run.folder / "job.html").read_text(encoding="utf-8")
    assert fetched(page) == []
    assert "<h1>Job: ink &lt;b&gt;</h1>" in page
    assert "Bath sheet: ink &lt;b&gt;" in page
    assert "pin" not in page or "dry swatch here" in page


def test_half_a_trial_is_refused(run: Command):
    done = run("report", "marigold 1", "--target", "#d0a040", "-o", "a.html")
    assert done.returncode == 2
    assert "--reading" in done.stderr
    assert not (run.folder / "a.html").exists()
