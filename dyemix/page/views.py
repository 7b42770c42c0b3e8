"""What each place shows: the answers of the workshop for a slip, as a template takes them."""

import re
from collections.abc import Callable, Mapping
from typing import Any

from dyemix.bench.suggested import MOST, to_choose_from
from dyemix.colour.appearance import Miss
from dyemix.dataset.conditions import mottled
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.target import Target
from dyemix.dataset.units import parse_weight
from dyemix.dyebook.records import JobRecord
from dyemix.errors import DyemixError
from dyemix.files.rows import parse_stock
from dyemix.matching.correct import LEVEL, Outcome, correct
from dyemix.matching.matches import Match, verdict
from dyemix.page.slip import LAMPS, PRESSES, Slip
from dyemix.page.words import LADDER, colour_words, named, shows
from dyemix.page.workshop import Workshop
from dyemix.series.steps import Route

#: Recipes beyond those suggested.
_MORE = 5
#: Where jars, spoons, cloth and reading are looked at before any recipe is changed.
_LOOK = (Outcome.LOOK_FIRST, Outcome.A_SLIP)
#: Words of a reason that are no part of a name: what it was measured at.
_MEASURED = re.compile(r" \((?P<figure>[^)]*)\)$")

Values = dict[str, Any]


# What was pressed or typed ------------------------------------------------------------------------


def carried_out(workshop: Workshop, slip: Slip, query: Mapping[str, str]) -> Slip:
    """The slip after what was pressed or typed. Raises `DyemixError` for what cannot be read."""
    if (typed := query.get("typed")) is not None:
        words = typed.strip()
        if words:
            workshop.wanted(slip.but(wanted=words))
        slip = slip.wanting(words) if words != slip.wanted else slip
    if "slip" in query:
        slip = _amended(slip, query)
    if "take" in query:
        slip = slip.taking(Recipe.parse(query["take"]), query.get("as", ""))
    if "press" in query:
        slip = _pressed(workshop, slip, query["press"], query)
    return slip


def _amended(slip: Slip, query: Mapping[str, str]) -> Slip:
    """The slip with what was written on it anew."""
    cloth, stock = query.get("cloth_now", slip.cloth), query.get("stock_now", slip.stock)
    parse_weight(cloth)
    parse_stock(stock := stock.removesuffix("%").strip())
    return slip.but(
        job=" ".join(query.get("job_now", slip.job).split()), cloth=cloth, stock=stock,
        light=query.get("light_now", slip.light), unit=query.get("unit_now", slip.unit),
    )  # fmt: skip


def _pressed(workshop: Workshop, slip: Slip, press: str, query: Mapping[str, str]) -> Slip:
    """The slip after a press among the jars, written as ``what|of which``."""
    what, _, which = press.partition("|")
    steps = PRESSES[slip.unit]
    if what in ("more", "less", "up", "down"):
        amount = steps[int(slip.by)] if what in ("more", "less") else steps[-1]
        return slip.moved(which, amount, 1.0 if what in ("more", "up") else -1.0)
    if what == "home":
        return slip.holding(which, Recipe.parse(slip.stood or "undyed").get(which, 0.0))
    if what == "set":
        amount, unit = query.get("amount", "").strip(), "%" if slip.unit == "%" else "mL"
        words = f"{which} {amount} {unit}" if amount[-1:].isdecimal() else f"{which} {amount}"
        return slip.holding(which, Recipe.parse(words, slip.measures).get(which, 0.0))
    if what == "jar":
        which = query.get("jar", which)
        workshop.dyes.index(which)
        return slip.but(jars=tuple(dict.fromkeys((*slip.jars, *slip.mix, which))))
    if what == "undo" and slip.past:
        return slip.but(recipe=slip.past[-1], past=slip.past[:-1])
    if what == "again":
        return slip.mixed(Recipe.parse(slip.stood or "undyed"))
    if what == "quieter":
        return slip.but(quiet=slip.recipe, rung="0", route="")
    if what in ("rung", "route"):
        return _on_route(workshop, slip, what, query.get("route_now", slip.route), which)
    if what == "pin":
        pin = f"{which or slip.name or 'this mix'}|{slip.recipe}"
        return slip.but(pins=tuple(dict.fromkeys((*slip.pins, pin)))[-6:])
    if what == "unpin":
        return slip.but(pins=tuple(pin for i, pin in enumerate(slip.pins) if str(i) != which))
    raise DyemixError(f"there is nothing called {what!r} to press here.")


def _on_route(workshop: Workshop, slip: Slip, what: str, route: str, rung: str) -> Slip:
    """Another route, or another step of the one taken: the mix becomes that step's."""
    _, rungs = _down(workshop, slip, route)
    at = max(0, min(int(slip.rung if what == "route" else rung), len(rungs) - 1))
    jars = tuple(dict.fromkeys((*slip.jars, *rungs[at])))
    return slip.mixed(rungs[at], route=route, rung=str(at), jars=jars)


# Places -------------------------------------------------------------------------------------------


def always(workshop: Workshop, slip: Slip, place: str) -> Values:
    """What stands on the order slip, in every place."""
    values: Values = {
        "slip": slip, "place": place, "demo": workshop.dyes.demo, "lamps": LAMPS, "target": None,
        "book": workshop.book_path, "dyes": workshop.dyes, "wanted": "", "presses": PRESSES,
    }  # fmt: skip
    if slip.wanted:
        target = workshop.wanted(slip)
        values |= {
            "target": target, "wanted": workshop.cloth(target), "words": colour_words(target.lab)
        }  # fmt: skip
    return values


def colour(workshop: Workshop, slip: Slip) -> Values:
    """At most three mixes that differ in what a dyer chooses by."""
    if not slip.wanted:
        return {"columns": (), "more": (), "found": None}
    found = workshop.choices(slip)
    columns: list[Values] = []
    for m, why in to_choose_from(found, workshop.before(slip))[:MOST]:
        reasons = (*why[1:], *why[:1]) or ("Another",)
        first, *others = [_MEASURED.sub("", reason) for reason in reasons]
        rounded = getattr(m, "measured", None)
        shifts = m.lamps if isinstance(m, Match) else ()
        lamps = {s.lamp.partition("/")[0]: s.delta_e for s in shifts}
        columns.append(
            {"name": named(first), "others": others, "lamp": lamps.get("A"),
             "mix": workshop.mix(slip, (rounded or m).recipe),
             "weaker": rounded.weaker if rounded else ()}
        )  # fmt: skip
    shown = {c["mix"].recipe for c in columns}
    rest = ((m.measured or m).recipe for m in found)
    more = [workshop.mix(slip, recipe) for recipe in rest if recipe not in shown][:_MORE]
    notes = mottled(workshop.dyes.conditions)
    return {"columns": columns, "more": more, "found": found, "notes": notes}


def jars(workshop: Workshop, slip: Slip) -> Values:
    """The mix as it stands, what each jar gives to it, the way down, and what hangs on the line."""
    if not (slip.wanted and (slip.recipe or slip.jars)):
        return {"mix": None}
    mix, stood = workshop.mix(slip, slip.mix), Recipe.parse(slip.stood or "undyed")
    names = dict.fromkeys((*slip.jars, *slip.mix))
    each = [
        {"name": n, "ml": slip.ml(n, slip.mix), "stood_ml": slip.ml(n, stood),
         "measure": slip.measured(n, slip.mix), "was": slip.measured(n, stood),
         "owf": slip.mix.get(n, 0.0), "same": slip.mix.get(n, 0.0) == stood.get(n, 0.0)}
        for n in names
    ]  # fmt: skip
    most = max([*(j["ml"] for j in each), *(j["stood_ml"] for j in each), 1.0])
    pins = [(name, workshop.mix(slip, Recipe.parse(words)))
            for name, _, words in (pin.partition("|") for pin in slip.pins)]  # fmt: skip
    return {
        "mix": mix, "was": workshop.mix(slip, stood), "jars": each, "most": most, "line": pins,
        "others": [n for n in workshop.dyes.names if n not in names], **_quieter(workshop, slip),
    }  # fmt: skip


def _quieter(workshop: Workshop, slip: Slip) -> Values:
    if not slip.quiet:
        return {"rungs": (), "routes": (), "no_route": ""}
    try:
        route, rungs = _down(workshop, slip, slip.route)
    except DyemixError as error:
        return {"rungs": (), "routes": (), "no_route": str(error)}
    return {
        "rungs": [workshop.mix(slip, rung) for rung in rungs], "route": route, "no_route": "",
        "routes": workshop.quieter(slip).routes, "rung": min(int(slip.rung), len(rungs) - 1),
    }  # fmt: skip


def _down(workshop: Workshop, slip: Slip, title: str) -> tuple[Route, list[Recipe]]:
    """The way down that is called so, else the first, and the mixes that it reaches."""
    series = workshop.quieter(slip)
    route = next((r for r in series.routes if r.title == title), series.routes[0])
    reached = route.steps[: max(route.reached, 1)]
    return route, [series.start.recipe, *(step.recipe for step in reached)]


def shelf(workshop: Workshop, slip: Slip) -> Values:
    """What the shelf gives near the wanted colour."""
    if not slip.wanted:
        return {"near": None}
    near = workshop.shelf(slip)
    return {
        "near": near, "nearest": workshop.mix(slip, near.found[0].recipe) if near.found else None,
        "in_hue": near.in_hue and workshop.mix(slip, near.in_hue.recipe), "spare": (),
    }  # fmt: skip


def bath(workshop: Workshop, slip: Slip) -> Values:
    """The sheet to pour by."""
    if not slip.mix:
        return {"sheet": None}
    sheet = workshop.sheet(slip)
    title, blocks = sheet.read()
    return {"sheet": sheet, "sheet_title": title, "blocks": blocks}


def piece(workshop: Workshop, slip: Slip) -> Values:
    """What the dry piece says of this one and the next."""
    mix = slip.wanted and slip.mix and workshop.mix(slip, slip.mix)
    kept = {"kept": list(workshop.pictures(slip)), "analysed": list(workshop.analysed(slip))}
    if not (mix and slip.reading):
        return {"found": None, "mix": mix, **kept}
    try:
        trial = workshop.trial(slip)
    except DyemixError as error:  # what she wrote stays, to be mended
        return {"found": None, "mix": mix, "fault": str(error), **kept}
    found = correct(workshop.dyes, trial, tolerance=workshop.agreed(slip, 0.0))
    corrected = found.corrected.recipe
    changes = [
        {"name": n, "measure": slip.measured(n, corrected), "was": slip.mix.get(n, 0.0),
         "now": corrected.get(n, 0.0)}
        for n in dict.fromkeys((*slip.mix, *corrected))
    ]  # fmt: skip
    return {
        "found": found, "mix": mix, **kept,
        "read": Target.parse(slip.reading).under(workshop.dyes.light).hex,
        "verdict": LADDER[verdict(found.miss.delta_e)][0], "how": shows(found.miss.words),
        "chance": found.chance >= LEVEL, "leave": not found.changed,
        "changes": changes, "astray": found.outcome in _LOOK,
        "next_words": LADDER[verdict(found.corrected.likely)][0],
    }  # fmt: skip


def book(workshop: Workshop, slip: Slip) -> Values:
    """A line a job: what was wanted, what came, and the one thing to do next."""
    return {"jobs": workshop.book_path and [_line(job) for job in workshop.jobs()]}


def _line(job: JobRecord) -> Values:
    wanted, trials = job.wanted, [kept.trial for kept in job.trials]
    dyed = [kept.recipe for kept in job.recipes] + [sheet.recipe for sheet in job.sheets]
    dyed += [trial.recipe for trial in trials]
    cloth = f"{job.sheets[-1].cloth_g:g} g" if job.sheets else ""
    slip = Slip(wanted.typed if wanted else "", job=job.name, cloth=cloth or Slip.cloth)
    slip = slip.taking(dyed[-1], "") if dyed else slip
    piece = Target.of(trials[-1].reading) if trials else None
    if piece is not None:
        slip = slip.but(reading=piece.typed)
        state, step, place = "dyed", "See the next piece", "piece"
        if wanted is not None and (light := wanted.light or piece.light) is not None:
            miss = Miss.of(wanted.lab, trials[-1].reading.colour(light)).delta_e
            state = f"dyed: {LADDER[verdict(miss)][0]} ({miss:.1f} ΔE2000)"
    elif job.sheets:
        state = f"sheet of {job.sheets[-1].on}, not read yet"
        step, place = "Enter the dry piece", "piece"
    elif dyed:
        state, step, place = "a mix is taken", "Write the bath sheet", "bath"
    else:
        state, step, place = "begun", "Choose a mix", "colour"
    return {
        "name": job.name, "wanted": wanted.hex if wanted else "", "piece": piece and piece.hex,
        "cloth": cloth, "state": state, "step": step, "address": slip.at(place), "jars": slip.jars,
    }  # fmt: skip


VIEWS: dict[str, Callable[[Workshop, Slip], Values]] = {
    "colour": colour, "jars": jars, "shelf": shelf, "bath": bath, "piece": piece, "book": book,
}  # fmt: skip
