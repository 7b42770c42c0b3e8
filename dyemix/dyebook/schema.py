"""The tables of a dye book. A layout is reached by the steps of every layout up to it.

The tables are in `data/dyebook/layout_N.sql`; what else a layout changes is here. A step, once
released, is never edited: a change is a further step.
"""

from __future__ import annotations

import json
import sqlite3
from contextlib import suppress
from importlib.resources import files
from typing import Any

#: Marks the file as a dye book: 'dyeb' in ASCII (PRAGMA application_id).
APPLICATION_ID = 0x64796562
#: Marks a backup: 'dyec'. It opens as a book does, and is not taken for one unless it is named.
BACKUP_ID = 0x64796563


def _sheets_of_layout_3(db: sqlite3.Connection) -> None:
    """Bath sheets hold how they are dyed, and the settings they rest on, each in one place."""
    for number, content in db.execute("SELECT id, content FROM sheet").fetchall():
        # One that is damaged stays as it is, which is told when it is read.
        with suppress(ValueError, KeyError, TypeError, AttributeError):
            new = json.dumps(_sheet_of_layout_3(json.loads(content)), ensure_ascii=False, indent=1)
            db.execute("UPDATE sheet SET content = ? WHERE id = ?", (new, number))


#: Settings that a sheet of layout 2 held one by one, and what they were called there.
_MOVED = {
    "tolerance": "tolerance", "soda_share": "soda_share", "alkali_after": "alkali_after_h",
    "soak_temperature": "soak_c", "units": "units",
    "spoons": "spoons",
}  # fmt: skip


def _sheet_of_layout_3(old: dict[str, Any]) -> dict[str, Any]:
    salt, soda, ratio = old.pop("salt"), old.pop("soda"), old.pop("liquor_ratio")
    low, strength, stock = old.pop("low_water"), soda["solution_g_l"], salt.pop("stock_pct")
    method = {
        "liquor_ratio": ratio, "alkali": soda.pop("order"), "salt": salt["g_l"],
        "temperature": old.pop("temperature_c"), "hours": old.pop("hours"),
    }  # fmt: skip
    settings = {name: old.pop(there) for name, there in _MOVED.items()}
    below = max(10.0, 1.001 * ratio) if low else min(10.0, ratio)
    settings |= {"low_water": ratio if low else min(5.0, below), "low_water_below": below}
    settings["depths"] = [[1.0, salt["g_l"], soda.pop("wanted_g_l")]]
    del old["warm_temperature_c"]
    settings["salt_stock"] = stock
    if strength is not None:
        by_volume = low or method["alkali"] == "presoak"
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
    if stock is None:
        salt |= {"solution_ml": None}
    else:
        salt |= {"solution_g_l": 10.0 * stock, "into_bath_ml": salt["solution_ml"]}
    return {**old, "method": method, "salt": salt, "soda": soda, "settings": settings}


def _methods_of_layout_5(db: sqlite3.Connection) -> None:
    """Swatch sets of one way of dyeing are of one method; work is of it where there is but one."""
    numbers: dict[tuple[str, ...], int] = {}
    for (swatch_set,) in db.execute("SELECT id FROM swatch_set ORDER BY id").fetchall():
        first = db.execute(
            "SELECT r.conditions FROM reading r JOIN swatch s ON s.id = r.swatch "
            "WHERE s.swatch_set = ? ORDER BY r.id LIMIT 1", (swatch_set,)
        ).fetchone()  # fmt: skip
        said = json.loads(first[0]) if first else {}
        way = tuple(" ".join(said.get(key, "").split()) for key in ("cloth", "alkali"))
        if way not in numbers:
            numbers[way] = len(numbers) + 1
            name = ", ".join(filter(None, way)) or "first method"
            db.execute("INSERT INTO method (id, name) VALUES (?, ?)", (numbers[way], name))
        db.execute("UPDATE swatch_set SET method = ? WHERE id = ?", (numbers[way], swatch_set))
    if len(numbers) == 1:
        for table in ("sheet", "trial"):
            db.execute(f"UPDATE {table} SET method = 1")


#: The layout that this version reads and writes.
LAYOUT = 5
#: What layouts change of values.
_VALUES = {3: _sheets_of_layout_3, 5: _methods_of_layout_5}
#: Every table, each after those it refers to.
TABLES = (
    "kind", "cloth", "dye", "stock", "method", "swatch_set", "swatch", "reading", "fit", "job",
    "recipe", "sheet", "trial", "picture", "sign_off", "event", "change",
)  # fmt: skip


def views(db: sqlite3.Connection) -> None:
    """Show an open book as records: ``data/dyebook/views.sql``."""
    db.executescript(_statements("views"))


def _statements(name: str) -> str:
    """What a file of the tables says; layout 3 changed none."""
    file = files("dyemix").joinpath("data", "dyebook", f"{name}.sql")
    return file.read_text(encoding="utf-8") if file.is_file() else ""


def layout(db: sqlite3.Connection) -> int:
    """The layout of an open book."""
    return int(db.execute("PRAGMA user_version").fetchone()[0])


def migrate(db: sqlite3.Connection, to: int = LAYOUT) -> None:
    """Take an open book, inside a transaction of the caller, to a layout."""
    for number in range(layout(db) + 1, to + 1):
        for statement in _statements(f"layout_{number}").split(";\n"):
            db.execute(statement)
        if number in _VALUES:
            _VALUES[number](db)
    db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    db.execute(f"PRAGMA user_version = {to:d}")  # a pragma takes no parameters
