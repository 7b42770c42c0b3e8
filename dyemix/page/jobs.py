"""The jobs of a dye book, each with where it stands and the one thing to do next."""

from __future__ import annotations

from dataclasses import dataclass

from dyemix.colour.ciede2000 import delta_e
from dyemix.dataset.target import Target
from dyemix.dyebook.book import DyeBook
from dyemix.dyebook.records import JobRecord
from dyemix.page.slip import Slip
from dyemix.page.words import LADDER, worth


@dataclass(frozen=True)
class JobLine:
    """A line of the book: codes of what was wanted and of the last piece, if any; what to do."""

    name: str
    wanted: str
    piece: str
    cloth: str
    state: str
    step: str
    address: str
    jars: tuple[str, ...]


def job_lines(book: DyeBook) -> list[JobLine]:
    """Every job, the latest first."""
    return [_line(book.job(name)) for name in reversed(book.jobs())]


def _line(job: JobRecord) -> JobLine:
    trials = [kept.trial for kept in job.trials]
    wanted = job.wanted
    sheet = job.sheets[-1] if job.sheets else None
    dyed = [*(r.recipe for r in job.recipes), *(s.recipe for s in job.sheets)]
    recipe = trials[-1].recipe if trials else dyed[-1] if dyed else None
    slip = Slip(job=job.name, wanted=wanted.typed if wanted else "")
    if recipe is not None:
        slip = slip.taking(recipe, "")
    if sheet is not None:
        slip = slip.but(cloth=f"{sheet.cloth_g:g} g")
    if trials:
        read = Target.of(trials[-1].reading)
        slip = slip.but(reading=read.typed)
        state, step, place = "dyed", "See the next piece", "piece"
        if wanted is not None and (light := wanted.light or read.light) is not None:
            miss = float(delta_e(wanted.lab, trials[-1].reading.colour(light)))
            state = f"dyed: {LADDER[worth(miss)][0]} ({miss:.1f} ΔE2000)"
    elif sheet is not None:
        state, step, place = f"sheet of {sheet.on}, not read yet", "Enter the dry piece", "piece"
    elif recipe is not None:
        state, step, place = "a mix is taken", "Write the bath sheet", "bath"
    else:
        state, step, place = "begun", "Choose a mix", "colour"
    return JobLine(
        job.name, wanted.hex if wanted else "", Target.of(trials[-1].reading).hex if trials else "",
        slip.cloth if sheet else "", state, step, slip.at(place), tuple(recipe or ()),
    )  # fmt: skip
