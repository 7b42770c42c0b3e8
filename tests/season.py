"""A season of a simulated workshop, by the real command: first day to repeats, on two cloths.

Every command but the first of each customer is one that the command before it printed; all the
dyer adds is what she read. She doses each dye to 3 % and her days differ by 3 %.
"""

from __future__ import annotations

import re
import shlex
from dataclasses import dataclass, field

import numpy as np
from command import Command, Done

from tests.simulated.eye import Array, delta_e, lab
from tests.simulated.worlds import World, world

DOSING, DAY, READING = 0.03, 0.03, 0.2
_STEP = re.compile(r":\s+dyemix (.+)$", re.MULTILINE)


@dataclass
class Dyer:
    """A dyer in a simulated world; `strengths` ``(D,)`` is what the cloth in hand takes up."""

    run: Command
    shelf: World
    rng: np.random.Generator
    strengths: Array = field(default_factory=lambda: np.ones(1))
    asked: int = 0

    def do(self, words: str) -> Done:
        """Run a command, which must not be refused."""
        self.asked += 1
        done = self.run(*shlex.split(words))
        assert done.returncode == 0, f"dyemix {words}\n{done.stderr}"
        return done

    def dye(self, amounts: Array) -> Array:
        """The true CIELAB ``(3,)`` of a piece dyed by amounts ``(D,)`` on one day."""
        slips = DOSING * self.rng.standard_normal(len(amounts)) + DAY * self.rng.standard_normal()
        return lab(self.shelf.reflect((self.strengths * amounts * np.exp(slips))[None]))[0]

    def read(self, true: Array) -> Array:
        return np.round(true + READING * self.rng.standard_normal(3), 1)

    def amounts(self, recipe: str) -> Array:
        """% owf ``(D,)`` of a recipe as it is printed."""
        out = np.zeros(len(self.shelf.names))
        for term in [] if recipe == "undyed" else recipe.split(" + "):
            name, amount, *_ = term.rsplit(" ", 1)
            out[self.shelf.names.index(name)] = float(amount)
        return out

    def fill_in(self, table: str) -> None:
        """Dye, read and write down every square of a printed table."""
        path = self.run.folder / table
        lines = path.read_text(encoding="utf-8").splitlines()
        at = next(i for i, line in enumerate(lines) if line.startswith("swatch,recipe"))
        for i, line in enumerate(lines[at + 1 :], at + 1):
            label, recipe = line.split(",")[:2]
            seen = self.read(self.dye(self.amounts(recipe)))
            lines[i] = f"{label},{recipe},{seen[0]:.1f},{seen[1]:.1f},{seen[2]:.1f},"
        path.write_text("\n".join([*lines, ""]), encoding="utf-8")


def steps(done: Done) -> dict[str, str]:
    """The commands that an answer goes on with, by their first words."""
    found = {}
    for words in _STEP.findall(done.stdout):
        first, second = words.split()[:2]
        found.setdefault(f"{first} {second}" if first == "book" else first, words)
    return found


def with_reading(words: str, seen: Array) -> str:
    """A printed trial with the reading of the piece in place of the one expected."""
    parts = shlex.split(words)
    at = parts.index("--reading") + 1
    parts[at] = "{:.1f} {:.1f} {:.1f} D65/10".format(*seen)
    return shlex.join(parts)


def season(run: Command, seed: int, dyes: int = 4, customers: int = 5) -> tuple[Array, Array]:
    """ΔE2000 from what was wanted of each customer's first pot, and of its repeat ``(C,)``."""
    shelf = world("additive", 200 + seed)
    rng = np.random.default_rng([seed, 13])
    dyer = Dyer(run, shelf, rng)
    names = ", ".join(shelf.names[:dyes])
    cloths = {
        "lawn": (np.ones(len(shelf.names)), "--alkali after"),
        "linen": (rng.uniform(0.8, 1.25, len(shelf.names)), "--alkali with"),
    }
    match = {}
    for name, (strengths, how) in cloths.items():
        dyer.strengths = strengths
        started = dyer.do(f"start '{names}' --method {name} {how} -o {name}.csv")
        dyer.fill_in(f"{name}.csv")
        added = dyer.do(steps(started)["book add"])
        match[name] = steps(dyer.do(steps(added)["fit"]))["match"]
    first, repeated = np.zeros(customers), np.zeros(customers)
    for i in range(customers):
        name = "lawn" if i % 2 else "linen"
        dyer.strengths = cloths[name][0]
        wish = np.zeros(len(shelf.names))
        wish[rng.choice(dyes, 2, replace=False)] = rng.uniform(0.3, 1.5, 2)
        wanted = np.round(lab(shelf.reflect((dyer.strengths * wish)[None]))[0], 1)
        colour = "{:.1f} {:.1f} {:.1f} D65/10".format(*wanted)
        asked = match[name].replace("'#7d8a6e'", f"'{colour}'") + f" --cloth 240g --job job{i}"
        if name not in asked:
            asked += f" --method {name}"
        found = dyer.do(asked)
        bath = dyer.do(steps(found)["bath"])
        misses = []
        for _ in range(2):
            trial = steps(bath)["trial"]
            true = dyer.dye(dyer.amounts(shlex.split(trial)[1]))
            misses.append(float(delta_e(wanted[None], true[None])[0]))
            done = dyer.do(with_reading(trial, dyer.read(true)))
            bath = dyer.do(steps(done)["book repeat"])
        first[i], repeated[i] = misses
    return first, repeated
