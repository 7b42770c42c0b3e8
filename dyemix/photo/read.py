"""One photograph of many swatches becomes readings, each with an honest error."""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import product

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.ciede2000 import delta_e
from dyemix.colour.colorimetry import D65_2, Light, smoothest
from dyemix.dataset.readings import Clipped
from dyemix.dataset.recipe import Recipe
from dyemix.dataset.swatches import Reading, SwatchSet
from dyemix.errors import InputError, refuse, said
from dyemix.files import read_swatches
from dyemix.files.cells import few
from dyemix.files.small_tables import read_names
from dyemix.photo import sample
from dyemix.photo.characterise import Cards, Characterisation
from dyemix.photo.decode import Photograph, decode, sayings
from dyemix.photo.layout import printed_with
from dyemix.photo.light import Flat
from dyemix.photo.patches import LIT_BY, Patches, spread_in_lab
from dyemix.photo.places import Frame, find_page, read_grid
from dyemix.photo.results import CellReading, Laid, PhotoReading
from dyemix.writing import Named

#: Light that is not known to be even may be off by this share (a working value).
_UNEVEN = 0.05
#: Each channel of a cell is off by this share at least: what a flat field of paper cannot show.
_LEAST = 0.004
#: By so much (parts of ΔE2000) dyed cloth is off that a lamp of one colour shows as grey (lamps of
#: 590 and 620 nm, 20 to 35 nm wide, on simulated sensors).
_ONE_COLOUR = (7.0, 13.0, 13.0)
_NUMBER = re.compile(r"\s*[0-9]*\.?[0-9]+\s*")


@dataclass(frozen=True, kw_only=True, eq=False)
class PhotoOptions:
    """How a photograph is to be read: the same for every command and function that reads one.

    Attributes
    ----------
    cells : table of what lies where (columns cell, recipe, swatch); without it readings are
        unnamed and not yet fit to fit.
    undyed : cells with undyed cloth that no table tells of, as ``"A1"`` or ``"A1, B2"``.
    grid, grey_at, card_at : places in words, where the page is not there: see `read_grid`.
    card : reference values of a patch card in the picture, any swatch table, row by row.
    grey : reflectance of the grey card's steps, the usual 18 % or lightest first, as numbers or
        ``"0.9, 0.18"``; ``"none"`` or None for no grey card.
    anchor : ``"grey"``, or ``"undyed"`` where there is no grey card: the cell named undyed.
    measured : the dyer's own measured swatches; those that lie in named cells (same recipe, and
        same swatch name where given) serve as further patches.
    lit_by : the light it was taken in: ``"daylight"``, lamps that look ``"white"`` or ``"warm"``,
        or ``"halogen"``, a glowing wire. Without a patch card nothing else tells, and the error
        stands for all of them.
    keep : labels of cells to keep although they are flagged; ``"all"`` for all of them.
    light : of the CIELAB that is wanted.

    Raises `InputError` for what is none of these, or contradicts itself.
    """

    cells: Named | None = None
    undyed: str = ""
    grid: str | None = None
    grey_at: str = ""
    card_at: str = ""
    card: Named | SwatchSet | None = None
    grey: str | Sequence[float] | None = (0.18,)
    anchor: str = "grey"
    measured: Named | SwatchSet | None = None
    lit_by: str = ""
    keep: str | Iterable[str] = ()
    light: Light = D65_2

    def __post_init__(self) -> None:
        must = partial(refuse, error=InputError)
        must(self.anchor not in ("grey", "undyed"), "photo.anchor", anchor=self.anchor)
        must(self.lit_by not in ("", *LIT_BY), "photo.lit_by", lit_by=self.lit_by)
        must(self.grid is None and (self.grey_at or self.card_at), "photo.no_grid_beside")
        must(not all(0 < step < 1 for step in self.steps), "photo.steps", grey=self.grey)

    @property
    def steps(self) -> tuple[float, ...]:
        """Reflectance of the grey steps that count; NaN for one that is no number."""
        grey = () if self.grey is None or self.anchor == "undyed" else self.grey
        if not isinstance(grey, str):
            return tuple(grey)
        words = [] if grey.strip().lower() == "none" else grey.split(",")
        return tuple(float(word) if _NUMBER.fullmatch(word) else np.nan for word in words)


def examine_photo(photo: Named | Photograph, options: PhotoOptions | None = None) -> PhotoReading:
    """Read a photograph of swatches (JPEG, PNG, TIFF, HEIC or raw), and keep how it was done.

    Raises `InputError` for a picture, page, card or table that cannot be read, with what to do.
    """
    options, notes = options or PhotoOptions(), list[str]()
    photo = photo if isinstance(photo, Photograph) else decode(photo)
    named = {} if options.cells is None else read_names(options.cells, notes, "cell")
    white = (
        Reading(Recipe(), None, name=cell) for cell in options.undyed.replace(",", " ").split()
    )
    contents = {reading.name.upper(): reading for reading in (*white, *named.values())}
    cards = _look(photo, options, contents)
    photo, frame, flat = cards.photo, cards.frame, cards.flat
    straight = photo.straightened(cards.tone)
    laid = _laid(straight, frame, flat, contents)
    filled = {each.label for each in laid}
    vacant = tuple(label for label in frame.labels if label not in filled)
    found = cards.characterise(_measured(laid, options.measured), options.lit_by)
    grey = found.colourless(np.array([each.cloth.mean for each in laid]))
    signs = (*sample.retouched(straight, frame, flat), *sayings({"one_colour": grey}))
    found = replace(found, warnings=(*found.warnings, *signs))
    cells = _cells(laid, found, grey, _kept(laid, options.keep, photo))
    cells = [cell.under(options.light) for cell in cells]
    left = [cell for cell in cells if cell.left_out]
    told = "; ".join(f"{cell.title} ({', '.join(cell.left_out)})" for cell in left)
    notes = [*photo.notes, *notes, f"values are {photo.encoding}.", *frame.notes, *found.notes]
    notes += [f"{doubt}." for doubt in found.warnings]
    elsewhere = len(set(contents) - {label.upper() for label in frame.labels})
    notes += sayings(
        {"even": flat.known, "vacant": vacant, "elsewhere": elsewhere, "left_out": left},
        off=100 * flat.residual, cells=", ".join(vacant), count=elsewhere, told=told,
    )  # fmt: skip
    first = "; ".join(dict.fromkeys(cell.left_out[0] for cell in left))
    photo.refuse(len(left) == len(cells), "photo.none_left", why=first)
    readings = [cell.reading(photo, found.warnings) for cell in cells if not cell.left_out]
    swatches = SwatchSet(tuple(readings), tuple(notes), photo.file)
    return PhotoReading(swatches, tuple(cells), vacant, found, frame, photo)


def _look(photo: Photograph, options: PhotoOptions, contents: Mapping[str, Reading]) -> Cards:
    """The places and cards of a picture, as its lens shows the page if there is one."""
    reference = Patches() if options.card is None else Patches.read(options.card)
    if options.grid is not None:
        frame = read_grid(options.grid, options.grey_at, options.card_at)
    else:
        frame, lens = find_page(photo)
        photo = replace(photo, lens=lens)
    white = {label for label, said in contents.items() if said.recipe == Recipe({})}
    undyed = np.array([label.upper() in white for label in frame.labels], dtype=bool)
    anchors = frame.of("swatch")[undyed & (not options.steps and not reference.names)]
    return Cards(photo, frame, options.steps, reference, anchors)


def _laid(
    straight: Photograph, frame: Frame, flat: Flat, contents: Mapping[str, Reading]
) -> list[Laid]:
    """The cells with cloth in them."""
    there = set(frame.labels) if frame.layout is None else printed_with(frame.layout)
    absent = few(sorted(set(contents) - {label.upper() for label in there}), 8)
    counts = {"count": len(contents), "there": len(frame.labels)}
    straight.refuse(absent, "photo.absent", absent=absent, **counts)
    laid, missing, remedy = [], list[str](), said("photo.remedy")
    rises = [sample.blur_mm(straight, bar) for bar in frame.of("bar")] or [0.0] * len(frame.labels)
    for label, corners, rise in zip(frame.labels, frame.of("swatch"), rises, strict=True):
        here = sample.cloth(straight, corners, flat, whole=frame.layout is None)
        named, bare = label.upper() in contents, not here.size.any()
        over = named and here.ends[1].max() > sample.CLIPPED
        if bare and not over and not (named and here.share):
            if named:
                missing.append(label)
            continue
        content = contents.get(label.upper(), Reading(None, None, kind="blank", name=label))
        why = sample.reasons(here, flat.near(corners.mean(axis=0)), rise)
        if over and (bare or (flat.clipped and why)):
            why = (said("photo.white_as_paper", remedy=remedy),)
        laid.append(Laid(label, corners, content, here, why))
    straight.refuse(missing, "photo.bare_cells", cells=", ".join(missing))
    straight.refuse(not laid, "photo.no_cloth")
    return laid


def _measured(laid: Sequence[Laid], measured: Named | SwatchSet | None) -> Patches | None:
    """Cells whose cloth was measured as well, as further patches."""
    if measured is None:
        return None
    table = measured if isinstance(measured, SwatchSet) else read_swatches(measured)
    known: dict[str, tuple[Array, Array]] = {}
    for each, swatch in product(laid, table.swatches):
        piece = each.content.swatch
        if swatch.recipe == each.content.recipe and piece in ("", swatch.readings[0].swatch):
            known.setdefault(each.title, (swatch.colour(D65_2), each.cloth.mean))
    refuse(not known, "photo.not_measured", of=table.source)
    lab, light = (np.array(values) for values in zip(*known.values(), strict=True))
    return Patches(tuple(known), lab, light)


def _kept(laid: Sequence[Laid], keep: str | Iterable[str], photo: Photograph) -> set[str]:
    """The labels of the cells that the dyer keeps by name, in capitals."""
    have = {each.label.upper() for each in laid}
    wanted = {label.strip().upper() for label in ([keep] if isinstance(keep, str) else keep)}
    unknown = ", ".join(sorted(wanted - have - {"ALL"}))
    photo.refuse(unknown, "photo.not_kept", cells=unknown)
    return have if "ALL" in wanted else wanted


def _cells(
    laid: Sequence[Laid], found: Characterisation, grey: bool, kept: set[str]
) -> list[CellReading]:
    """Every cell with its colour and its error; `grey` where a lamp of one colour may hide it."""
    matrix, flat = found.matrix, found.flat
    rgb = np.array([each.cloth.mean for each in laid])
    lab, slope = matrix.lab(rgb), matrix.slope(rgb)
    # Where paper is patchy, it does not show all that goes on in the cells.
    sound = flat.known and not flat.clipped and flat.residual <= sample.PATCHY
    even = flat.residual if sound else max(flat.residual, _UNEVEN)
    scatter = np.array([each.cloth.covariance for each in laid])
    scatter += even**2 * rgb[:, :, np.newaxis] * rgb[:, np.newaxis]
    scatter += _LEAST**2 * rgb[:, :, np.newaxis] ** 2 * np.eye(3)
    within = slope @ scatter @ slope.transpose(0, 2, 1)
    places = np.array([each.corners.mean(axis=0) for each in laid])
    camera = spread_in_lab(lab, found.camera(rgb, places) + grey * np.diag(np.square(_ONE_COLOUR)))
    cells = []
    spectra, possible = smoothest(lab, D65_2)
    for i, each in enumerate(laid):
        parts = delta_e(lab[i], matrix.lab(each.cloth.blocks))
        spread = float(np.sqrt(np.mean(parts**2)))
        words, left_out, bound = each.content.warnings, each.left_out, None
        if spread > sample.MOTTLED:
            words = (said("photo.mottled", spread=spread), *words)
        if (word := sample.clipped(each.cloth.ends)) and not left_out:
            signs = np.subtract(*(each.cloth.ends[::-1] > sample.CLIPPED).astype(float))
            beyond = (slope[i] * signs).T[signs != 0]
            bound = Clipped(beyond / np.linalg.norm(beyond, axis=1, keepdims=True))
            words = (said("photo.bound", where=word, remedy=said("photo.remedy")), *words)
        if accepted := each.label.upper() in kept:
            words, left_out = (*(f"kept although {reason}" for reason in left_out), *words), ()
        if not possible[i]:
            left_out = (*left_out, said("photo.impossible"))
        seen = spectra[i] if possible[i] else None
        cells.append(CellReading(
            **vars(each) | {"left_out": left_out}, lab=lab[i], reflectance=seen, within=within[i],
            camera=camera[i], spread=spread, warnings=words, clipped=bound, accepted=accepted,
        ))  # fmt: skip
    return cells
