"""A season of a simulated workshop, by the real command: first day to repeats, on two cloths.

Every command but the first of each cloth is one that the command before it printed; all the dyer
adds is the colour that a customer wants, its job and cloth, and what she read. She doses each dye
to 3 %, and her days differ by 3 %. The shelf is a first day's: four depths a dye and one mix.
"""

from __future__ import annotations

import csv
import shlex
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from command import Command, Done, next_steps

from tests.simulated.eye import WAVELENGTHS, Array, delta_e, lab
from tests.simulated.worlds import FAMILIES, LAB, REPORT, REPORT_SEEDS, World, world

DOSING, DAY, READING = 0.03, 0.03, 0.2
#: Worlds that no constant was chosen on, one a season.
UNSEEN = [f for f, family in FAMILIES.items() if family.use == REPORT and LAB in family.kinds]


@dataclass
class Dyer:
    """A dyer in a simulated world; `strengths` ``(D,)`` is what the cloth in hand takes up."""

    run: Command
    shelf: World
    rng: np.random.Generator
    strengths: Array = field(default_factory=lambda: np.ones(1))

    def do(self, words: str) -> Done:
        """Run a command, which must not be refused."""
        done = self.run(*shlex.split(words))
        assert done.returncode == 0, f"dyemix {words}\n{done.stderr}"
        return done

    def true(self, amounts: Array) -> Array:
        """CIELAB ``(3,)`` of the average piece of amounts ``(D,)``."""
        return lab(self.shelf.truth((self.strengths * amounts)[None]))[0]

    def dye(self, recipe: str) -> Array:
        """Reflectance ``(B,)`` of a piece dyed on one day by a recipe as it is printed."""
        amounts = np.zeros(len(self.shelf.names))
        for term in [] if recipe == "undyed" else recipe.split(" + "):
            name, amount = term.rsplit(" ", 1)
            amounts[self.shelf.names.index(name)] = float(amount)
        slips = DOSING * self.rng.standard_normal(len(amounts)) + DAY * self.rng.standard_normal()
        return self.shelf.truth((self.strengths * amounts * np.exp(slips))[None])[0]

    def read(self, piece: Array) -> Array:
        """CIELAB ``(3,)`` as her instrument shows it."""
        return np.round(lab(piece) + READING * self.rng.standard_normal(3), 1)

    def fill_in(self, table: str) -> None:
        """Dye, read and write down every square of a printed table, and the light of it."""
        path = self.run.folder / table
        text = path.read_text(encoding="utf-8").replace("# light: \n", "# light: D65/10\n")
        lines = text.splitlines()
        at = next(i for i, line in enumerate(lines) if line.startswith("swatch,recipe"))
        for i, line in enumerate(lines[at + 1 :], at + 1):
            label, recipe = line.split(",")[:2]
            seen = self.read(self.dye(recipe))
            lines[i] = f"{label},{recipe},{seen[0]:.1f},{seen[1]:.1f},{seen[2]:.1f},"
        path.write_text("\n".join([*lines, ""]), encoding="utf-8")

    def photograph(self, asked: str) -> str:
        """Dye the squares of a table, lay them on their page, and take the photograph.

        Gives the command that reads it; `asked` is the command that writes the page.
        """
        from dyemix.photo.layout import CARD_BOX, GREY_BOX, HEIGHT, WIDTH, layouts_of
        from dyemix.photo.photo_page import PAPERS
        from tests.simulated.camera import Camera
        from tests.simulated.camera.camera import WAVELENGTHS as SEEN
        from tests.simulated.camera.scenes import load_page, scene

        printed = steps(self.do(asked.replace(".pdf", ".png")))["read"]  # which PIL can open
        picture, page = (Path(shlex.split(words)[at]) for words, at in ((printed, 1), (asked, 2)))
        page = self.run.folder / page.with_suffix(".png")
        lines = page.with_suffix(".csv").read_text(encoding="utf-8").splitlines()
        recipes = [r["recipe"] for r in csv.DictReader(x for x in lines if x[0] != "#")]
        boxes = (layouts_of(len(recipes))[0].places["swatch"], GREY_BOX, CARD_BOX)
        paper = load_page(page, PAPERS["A4"], (WIDTH, HEIGHT), *boxes, 6.0)
        laid = {i: np.interp(SEEN, WAVELENGTHS, self.dye(r)) for i, r in enumerate(recipes) if r}
        camera = Camera(0, light="D65", megapixels=2.5, blur=0.6)
        camera.save(scene(paper, laid, (0.18,), card=False), self.run.folder / picture)
        return printed


def steps(done: Done) -> dict[str, str]:
    """The commands that an answer goes on with, by their first words."""
    found = {}
    for words in next_steps(done):
        first, second = words.split()[:2]
        found.setdefault(f"{first} {second}" if first == "book" else first, words)
    return found


def with_reading(words: str, seen: Array) -> str:
    """A printed trial with the reading of the piece in place of the one expected."""
    parts = shlex.split(words)
    parts[parts.index("--reading") + 1] = "{:.1f} {:.1f} {:.1f} D65/10".format(*seen)
    return shlex.join(parts)


def season(
    run: Command, number: int, photographed: bool = False, dyes: int = 4, customers: int = 5
) -> tuple[Array, Array]:
    """ΔE2000 from what was wanted of each customer's first pot, and of its repeat ``(C,)``.

    Of the average pot free of reading, and of every customer; `photographed` is whether the squares
    of the second cloth are, in place of being read by an instrument.
    """
    shelf = world(UNSEEN[number % len(UNSEEN)], REPORT_SEEDS[number % len(REPORT_SEEDS)])
    rng = np.random.default_rng([number, 13])
    dyer = Dyer(run, shelf, rng)
    names = ", ".join(shelf.names[:dyes])
    cloths = {
        "lawn": (np.ones(len(shelf.names)), "--alkali after"),
        "linen": (rng.uniform(0.8, 1.25, len(shelf.names)), "--alkali with"),
    }
    match = {}
    for name, (strengths, how) in cloths.items():
        dyer.strengths = strengths
        printed = steps(dyer.do(f"start '{names}' --method {name} {how} -o {name}.csv"))
        if photographed and name == "linen":
            printed = steps(dyer.do(dyer.photograph(printed["photo-page"])))
        else:
            dyer.fill_in(f"{name}.csv")
        added = dyer.do(printed["book add"])
        match[name] = steps(dyer.do(steps(added)["fit"]))["match"]
    first, repeated = np.zeros(customers), np.zeros(customers)
    for i in range(customers):
        name = "lawn" if i % 2 else "linen"
        dyer.strengths = cloths[name][0]
        wish = np.zeros(len(shelf.names))
        several = int(rng.integers(2, 4))
        wish[rng.choice(dyes, several, replace=False)] = rng.uniform(0.3, 1.5, several)
        wanted = np.round(dyer.true(wish), 1)
        colour = "{:.1f} {:.1f} {:.1f} D65/10".format(*wanted)
        asked = match[name].replace("'#7d8a6e'", f"'{colour}'") + f" --cloth 240g --job job{i}"
        if name not in asked:
            asked += f" --method {name}"
        bath = dyer.do(steps(dyer.do(asked))["bath"])
        misses = []
        for _ in range(2):
            trial = steps(bath)["trial"]
            piece = dyer.dye(shlex.split(trial)[1])
            misses.append(float(delta_e(wanted[None], lab(piece)[None])[0]))
            done = dyer.do(with_reading(trial, dyer.read(piece)))
            bath = dyer.do(steps(done)["book repeat"])
        first[i], repeated[i] = misses
    return first, repeated
