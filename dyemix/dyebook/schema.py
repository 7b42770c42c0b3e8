"""The tables of a dye book. A layout is reached by the steps of every layout up to it.

A step, once released, is never edited: a change is a further step. Dates are ISO 8601 text; spectra
and other lists are JSON text, so that they come back to the last digit; recipes are as they are
written, in % owf with every digit.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable
from contextlib import suppress
from typing import Any

#: Marks the file as a dye book: 'dyeb' in ASCII (PRAGMA application_id).
APPLICATION_ID = 0x64796562

_FIRST = (
    # One row once it is known whether the book holds invented dyes.
    """CREATE TABLE kind (
        id INTEGER PRIMARY KEY CHECK (id = 1),
        demo INTEGER NOT NULL CHECK (demo IN (0, 1))
    ) STRICT""",
    """CREATE TABLE cloth (
        id INTEGER PRIMARY KEY,
        name TEXT NOT NULL UNIQUE CHECK (name <> ''),
        fibre TEXT NOT NULL DEFAULT '',
        note TEXT NOT NULL DEFAULT ''
    ) STRICT""",
    """CREATE TABLE dye (
        id INTEGER PRIMARY KEY,
        name TEXT NOT NULL CHECK (name <> ''),
        lot TEXT NOT NULL DEFAULT '',
        bought TEXT CHECK (bought <> ''),
        note TEXT NOT NULL DEFAULT '',
        UNIQUE (name, lot)
    ) STRICT""",
    """CREATE TABLE stock (
        id INTEGER PRIMARY KEY,
        dye INTEGER NOT NULL REFERENCES dye (id),
        strength_pct REAL NOT NULL CHECK (strength_pct > 0),
        made TEXT CHECK (made <> ''),
        cold INTEGER NOT NULL CHECK (cold IN (0, 1)),
        how TEXT NOT NULL,
        left_ml REAL CHECK (left_ml >= 0)
    ) STRICT""",
    """CREATE TABLE swatch_set (
        id INTEGER PRIMARY KEY,
        name TEXT NOT NULL UNIQUE CHECK (name <> ''),
        added TEXT NOT NULL,
        notes TEXT NOT NULL
    ) STRICT""",
    # A piece of cloth: of a swatch set, or a finished piece of a trial or a sign-off.
    """CREATE TABLE swatch (
        id INTEGER PRIMARY KEY,
        swatch_set INTEGER REFERENCES swatch_set (id),
        cloth INTEGER REFERENCES cloth (id),
        recipe TEXT CHECK (recipe <> ''),
        label TEXT NOT NULL
    ) STRICT""",
    """CREATE TABLE reading (
        id INTEGER PRIMARY KEY,
        swatch INTEGER NOT NULL REFERENCES swatch (id),
        as_written TEXT NOT NULL,
        kind TEXT NOT NULL,
        spectrum TEXT CHECK (spectrum <> ''),
        lab TEXT CHECK (lab <> ''),
        light TEXT CHECK (light <> ''),
        covariance TEXT CHECK (covariance <> ''),
        conditions TEXT NOT NULL,
        flags TEXT NOT NULL,
        place TEXT NOT NULL,
        name TEXT NOT NULL
    ) STRICT""",
    "CREATE INDEX reading_of_swatch ON reading (swatch)",
    """CREATE TABLE fit (
        id INTEGER PRIMARY KEY,
        kept TEXT NOT NULL,
        swatches TEXT NOT NULL,
        note TEXT NOT NULL DEFAULT '',
        content TEXT NOT NULL
    ) STRICT""",
    """CREATE TABLE job (
        id INTEGER PRIMARY KEY,
        name TEXT NOT NULL UNIQUE CHECK (name <> '')
    ) STRICT""",
    """CREATE TABLE recipe (
        id INTEGER PRIMARY KEY,
        job INTEGER NOT NULL REFERENCES job (id),
        kept TEXT NOT NULL,
        recipe TEXT NOT NULL,
        as_written TEXT NOT NULL,
        target TEXT CHECK (target <> ''),
        note TEXT NOT NULL DEFAULT ''
    ) STRICT""",
    """CREATE TABLE sheet (
        id INTEGER PRIMARY KEY,
        job INTEGER NOT NULL REFERENCES job (id),
        made TEXT NOT NULL,
        content TEXT NOT NULL
    ) STRICT""",
    """CREATE TABLE trial (
        id INTEGER PRIMARY KEY,
        job INTEGER NOT NULL REFERENCES job (id),
        dyed TEXT CHECK (dyed <> ''),
        recipe TEXT NOT NULL,
        as_written TEXT NOT NULL,
        lot TEXT NOT NULL,
        target TEXT CHECK (target <> ''),
        reading INTEGER NOT NULL REFERENCES reading (id),
        note TEXT NOT NULL DEFAULT ''
    ) STRICT""",
)
_SECOND = (
    "ALTER TABLE trial ADD COLUMN bath TEXT NOT NULL DEFAULT 'first bath'",
    "ALTER TABLE trial ADD COLUMN over INTEGER REFERENCES reading (id)",
    # Whether trials have gone into a fit, so that none is learnt from twice.
    "ALTER TABLE fit ADD COLUMN learnt INTEGER NOT NULL DEFAULT 0 CHECK (learnt IN (0, 1))",
    """CREATE TABLE sign_off (
        id INTEGER PRIMARY KEY,
        name TEXT NOT NULL UNIQUE CHECK (name <> ''),
        job INTEGER NOT NULL REFERENCES job (id),
        signed TEXT NOT NULL,
        reading INTEGER NOT NULL REFERENCES reading (id),
        tolerance REAL NOT NULL CHECK (tolerance > 0),
        note TEXT NOT NULL DEFAULT ''
    ) STRICT""",
)


def _sheets_of_layout_3(db: sqlite3.Connection) -> None:
    """Bath sheets hold how they are dyed, and the settings they rest on, each in one place."""
    for number, content in db.execute("SELECT id, content FROM sheet").fetchall():
        # One that is damaged stays as it is, which is told when it is read.
        with suppress(ValueError, KeyError, TypeError, AttributeError):
            new = json.dumps(_sheet_of_layout_3(json.loads(content)), ensure_ascii=False, indent=1)
            db.execute("UPDATE sheet SET content = ? WHERE id = ?", (new, number))


def _sheet_of_layout_3(old: dict[str, Any]) -> dict[str, Any]:
    salt, soda, ratio = old.pop("salt"), old.pop("soda"), old.pop("liquor_ratio")
    low, strength, stock = old.pop("low_water"), soda["solution_g_l"], salt.pop("stock_pct")
    by_volume = low or soda["order"] == "presoak"
    settings = {
        "low_water_below": max(10.0, 1.001 * ratio) if low else min(10.0, ratio),
        "depths": [{"up_to": 100.0, "salt": salt["g_l"], "soda": soda.pop("wanted_g_l")}],
        "salt_stock": stock,
        "tolerance": old.pop("tolerance"),
        "soda_share": old.pop("soda_share"),
        "alkali_after": old.pop("alkali_after_h"),
        "warm_temperature": old.pop("warm_temperature_c"),
        "soak_temperature": old.pop("soak_c"),
        "units": old.pop("units"),
        "spoons": old.pop("spoons"),
    }
    if strength is not None:
        settings |= {"soda_solution": strength} if by_volume else {"soda_stock": strength / 10.0}
    if crystals := soda.pop("crystals_g"):
        settings["crystals"] = crystals / soda["g"]
    times = old.pop("slow_factor")
    if dye := old.pop("slow_dye"):
        settings["slow_dyes"] = {dye: times}
    if old["cost"]:
        settings["currency"] = old["cost"].pop("currency")
    for dose in old["doses"]:
        for name in ("actual_pct", "day", "life_days", "past_life"):
            del dose[name]
    made = None if stock is None else salt["solution_ml"]
    method = {
        "liquor_ratio": ratio,
        "alkali": soda.pop("order"),
        "salt": salt["g_l"],
        "temperature": old.pop("temperature_c"),
        "hours": old.pop("hours"),
    }
    return {
        **old,
        "method": method,
        "salt": {
            **salt,
            "solution_g_l": None if stock is None else 10.0 * stock,
            "solution_ml": made,
            "into_bath_ml": made or 0.0,
        },
        "soda": soda,
        "settings": settings,
    }


#: The steps that lead to layout 1, from there to layout 2, and so on: statements, or a function.
LAYOUTS: tuple[tuple[str | Callable[[sqlite3.Connection], None], ...], ...] = (
    _FIRST,
    _SECOND,
    (_sheets_of_layout_3,),
)
#: The layout that this version reads and writes.
LAYOUT = len(LAYOUTS)
#: Every table, each after those it refers to.
TABLES = (
    "kind", "cloth", "dye", "stock", "swatch_set", "swatch", "reading", "fit", "job", "recipe",
    "sheet", "trial", "sign_off",
)  # fmt: skip


def layout(db: sqlite3.Connection) -> int:
    """The layout of an open book."""
    return int(db.execute("PRAGMA user_version").fetchone()[0])


def migrate(db: sqlite3.Connection, to: int = LAYOUT) -> None:
    """Take an open book, inside a transaction of the caller, to a layout."""
    for step in (step for steps in LAYOUTS[layout(db) : to] for step in steps):
        if isinstance(step, str):
            db.execute(step)
        else:
            step(db)
    db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    db.execute(f"PRAGMA user_version = {to:d}")  # a pragma takes no parameters
