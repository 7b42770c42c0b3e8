"""One photograph of many swatches becomes readings, each with an honest error."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.ciede2000 import delta_e
from dyemix.colour.colorimetry import D65_2, smoothest_reflectance
from dyemix.dataset.swatches import Reading, SwatchSet
from dyemix.errors import Fault, InputError, TargetError
from dyemix.files import read_swatches
from dyemix.photo.camera_correction import spread_in_lab
from dyemix.photo.decode import Photograph, code_limits, decode, linear_curve
from dyemix.photo.find import find_sheet
from dyemix.photo.flat_field import Flat
from dyemix.photo.places import (
    Frame,
    Grid,
    Named,
    Place,
    check_names,
    read_corners,
    read_names,
    refuse_paper,
)
from dyemix.photo.quality import PATCHY, Judged, empty, judge, retouched
from dyemix.photo.reference_cards import Cards, Extra, Light, Reference, read_reference
from dyemix.photo.results import Cell, PhotoReading
from dyemix.photo.sample import Cloth, block_centres, cloth

#: The middle of a cell that is read, in both directions; frayed edges lie outside it.
CORE = 0.66
#: A grey card of one step, the usual 18 %.
GREY_CARD = (0.18,)
#: Light that is not known to be even may be off by this share (a working value).
_UNEVEN = 0.05
_PATCHY_FACTOR = 3.0
#: Each channel of a cell is off by this share at least: what a flat field of paper cannot show.
_LEAST = 0.004


def examine_photo(
    path: str | os.PathLike[str],
    *,
    cells: str | os.PathLike[str] | None = None,
    corners: str | os.PathLike[str] | Grid | None = None,
    card: str | os.PathLike[str] | SwatchSet | None = None,
    grey: Sequence[float] | None = GREY_CARD,
    anchor: str = "grey",
    measured: str | os.PathLike[str] | SwatchSet | None = None,
    keep: Iterable[str] = (),
    encoding: str = "stated",
) -> PhotoReading:
    """Read a photograph of swatches, and keep how it was done.

    Parameters
    ----------
    path : JPEG, PNG or TIFF (8 or 16 bit), HEIC or raw.
    cells : table of what lies where (columns cell, recipe, swatch); without it readings are
        unnamed and not yet fit to fit.
    corners : places, where the printed sheet is not in the picture: a table of corners, or a
        `Grid`. A table beside the sheet adds places to it or replaces those of the same name.
    card : reference values of a patch card in the picture, any swatch table, row by row.
    grey : reflectance of the grey card's steps, lightest first; None for no grey card.
    anchor : ``"grey"``, or ``"undyed"`` where there is no grey card: the cell named undyed.
    measured : the dyer's own measured swatches; those that lie in named cells (same recipe, and
        same swatch name where given) serve as further patches.
    keep : labels of cells to keep although they are flagged; ``"all"`` for all of them.
    encoding : ``"stated"`` by the file, ``"linear"`` or ``"sRGB"``.

    Raises
    ------
    InputError
        For a picture, sheet, card or table that cannot be read, with what to do about it.
    """
    photo = decode(path, encoding)
    refuse_paper(anchor, photo.file)
    if anchor not in ("grey", "undyed"):
        raise InputError(Fault(f"anchor {anchor!r} is unknown: grey or undyed.", photo.file))
    steps = () if grey is None or anchor == "undyed" else tuple(grey)
    reference = read_reference(card) if card is not None else None
    named = read_names(cells) if cells is not None else ()
    cards = _cards(photo, corners, steps, reference)
    photo, frame = cards.photo, cards.frame
    check_names(named, frame, photo.file)
    of_cell = {each.cell: each for each in named}
    tone, flat = cards.straight
    straight = replace(photo, curve=tone(photo.curve.astype(float)).astype(np.float32))
    seen: list[tuple[Place, Cloth]] = []
    vacant = []
    for place in frame.of("swatch"):
        here = cloth(straight, place.quad, flat.at(block_centres(place.quad, CORE)), CORE)
        if frame.layout is not None and empty(here, flat):
            vacant.append(place.label)
        else:
            seen.append((place, here))
    _check_vacant(vacant, of_cell, photo.file)
    if not seen:
        raise InputError(Fault("there is no cloth in any cell of the sheet.", photo.file))
    extra = _extra(seen, of_cell, measured)
    light = cards.light(extra, _undyed(seen, of_cell))
    signs = retouched(straight, frame, flat)
    light = replace(light, doubts=(*light.doubts, *signs))
    rgb = np.array([here.mean for _, here in seen]) * light.scale
    lab = light.colour.lab(rgb)
    judged = [judge(photo, frame, flat, place, here) for place, here in seen]
    read = _cells(seen, of_cell, judged, lab, rgb, light, flat)
    read = [_impossible(cell) for cell in _keep(read, keep, photo.file)]
    left = [cell for cell in read if cell.left_out]
    notes = [*photo.notes, f"values are {photo.encoding}.", *frame.notes, *light.notes]
    notes += [f"{doubt}." for doubt in light.doubts if doubt not in " ".join(notes)]
    if flat.known:
        notes.append(f"light over the sheet: even to {100 * flat.residual:.1f} % once corrected.")
    if vacant:
        notes.append(f"no cloth in {', '.join(vacant)}.")
    if left:
        notes.append(
            "left out: "
            + "; ".join(f"{cell.title} ({', '.join(cell.left_out)})" for cell in left)
            + ". Keep them by name if you must."
        )
    kept = [cell for cell in read if not cell.left_out]
    if not kept:
        reasons = "; ".join(dict.fromkeys(cell.left_out[0] for cell in left))
        raise InputError(
            Fault(f"every cell is left out ({reasons}): photograph the sheet again.", photo.file)
        )
    swatches = SwatchSet(_readings(kept, light, photo.file), tuple(notes), photo.file)
    return PhotoReading(swatches, tuple(read), tuple(vacant), tuple(notes), light, frame, photo)


def _cards(
    photo: Photograph,
    corners: str | os.PathLike[str] | Grid | None,
    steps: Sequence[float],
    reference: Reference | None,
) -> Cards:
    """The places and cards of a picture; where the file does not say whether its 16-bit values are
    linear, the grey steps do.
    """

    def look(photo: Photograph) -> Cards:
        frame = _frame(photo, corners, len(steps), None if reference is None else reference.lab)
        known = steps if frame.of("grey") else ()
        return Cards(photo, frame, known, reference if frame.of("patch") else None)

    if photo.stated or photo.top == 255:
        return look(photo)
    curve = linear_curve(photo.top + 1)
    name = "linear, by the grey steps"
    plain = replace(photo, curve=curve, encoding=name, limits=code_limits(curve), notes=())
    try:
        cards = look(plain)
        if cards.straight[0].known and not cards.straight[0].bent:
            return cards
    except InputError:
        pass  # told again below, with the usual curve
    return look(photo)


def _frame(
    photo: Photograph, corners: str | os.PathLike[str] | Grid | None, steps: int, card: Array | None
) -> Frame:
    if isinstance(corners, Grid):
        return Frame(tuple(corners.places(steps, 0 if card is None else len(card))))
    if corners is None:
        return find_sheet(photo, steps, card)
    told = read_corners(corners)
    if any(place.role == "swatch" for place in told):
        return Frame(told)
    found = find_sheet(photo, steps, card)
    roles = {place.role for place in told}
    return replace(found, places=(*(p for p in found.places if p.role not in roles), *told))


def _check_vacant(vacant: Sequence[str], named: Mapping[str, Named], file: str) -> None:
    absent = [label for label in vacant if label.upper() in named]
    if absent:
        raise InputError(
            Fault(
                f"no cloth lies in {', '.join(absent)}, which the table of cells names: lay it "
                "there, or clear its recipe in the table.",
                file,
            )
        )


def _undyed(seen: Sequence[tuple[Place, Cloth]], named: Mapping[str, Named]) -> Array | None:
    """Mean light ``(3,)`` of the cells named undyed."""
    found = []
    for place, here in seen:
        each = named.get(place.label.upper())
        if each is not None and each.recipe is not None and not each.recipe:
            found.append(here.mean)
    return np.mean(found, axis=0) if found else None


def _extra(
    seen: Sequence[tuple[Place, Cloth]],
    named: Mapping[str, Named],
    measured: str | os.PathLike[str] | SwatchSet | None,
) -> Extra | None:
    """Cells whose cloth was measured as well."""
    if measured is None:
        return None
    table = measured if isinstance(measured, SwatchSet) else read_swatches(measured)
    light, lab, names = [], [], []
    for place, here in seen:
        each = named.get(place.label.upper())
        if each is None or each.recipe is None:
            continue
        for swatch in table.swatches:
            same = swatch.readings[0].swatch
            if swatch.recipe == each.recipe and (not each.swatch or same in ("", each.swatch)):
                light.append(here.mean)
                lab.append(swatch.colour(D65_2))
                names.append(f"{place.label} {each.recipe}")
                break
    if not light:
        raise InputError(
            Fault(
                "none of the measured swatches lies in a named cell: name the cells, with the same "
                "recipes as in the measured table.",
                table.source or None,
            )
        )
    return Extra(np.array(light), np.array(lab), tuple(names))


def _cells(
    seen: Sequence[tuple[Place, Cloth]],
    named: Mapping[str, Named],
    judged: Sequence[Judged],
    lab: Array,
    rgb: Array,
    light: Light,
    flat: Flat,
) -> list[Cell]:
    slope = light.colour.slope(rgb)
    even = flat.residual if flat.known else _UNEVEN
    if even > PATCHY:  # what the paper shows between the cells is not all that goes on in them
        even = max(even * _PATCHY_FACTOR, _UNEVEN)
    within = []
    spread = []
    for (_, here), values, turn, mean in zip(seen, rgb, slope, lab, strict=True):
        scatter = here.covariance * np.outer(light.scale, light.scale)
        scatter = scatter + even**2 * np.outer(values, values) + np.diag((_LEAST * values) ** 2)
        within.append(turn @ scatter @ turn.T)
        parts = light.colour.lab(here.blocks * light.scale)
        spread.append(float(np.sqrt(np.mean(delta_e(mean, parts) ** 2))))
    colour = spread_in_lab(lab, light.colour.error)
    pieces = [named.get(place.label.upper()) for place, _ in seen]
    between = _between(pieces, lab, np.array(within))
    return [
        Cell(
            label=place.label,
            named=piece,
            place=place,
            lab=values,
            within=inside,
            between=between,
            colour=shared,
            spread=apart,
            flags=(*verdict.flags(apart), *(piece.flags if piece else ())),
            left_out=verdict.reasons,
        )
        for (place, _), piece, values, inside, shared, apart, verdict in zip(
            seen, pieces, lab, within, colour, spread, judged, strict=True
        )
    ]


def _between(pieces: Sequence[Named | None], lab: Array, within: Array) -> Array:
    """Pooled covariance ``(3, 3)`` between cells of one swatch, less what is within; ≥ 0."""
    groups: dict[tuple[object, str], list[int]] = {}
    for i, piece in enumerate(pieces):
        if piece is not None and piece.recipe is not None:
            groups.setdefault((piece.recipe, piece.swatch), []).append(i)
    repeats = [members for members in groups.values() if len(members) > 1]
    freedom = sum(len(members) - 1 for members in repeats)
    if not freedom:
        return np.zeros((3, 3))
    apart = np.concatenate([lab[m] - lab[m].mean(axis=0) for m in repeats])
    excess = apart.T @ apart / freedom - within[[i for m in repeats for i in m]].mean(axis=0)
    values, vectors = np.linalg.eigh(excess)
    return np.asarray((vectors * np.maximum(values, 0.0)) @ vectors.T)


def _keep(read: list[Cell], keep: Iterable[str], file: str) -> list[Cell]:
    """Cells that the dyer keeps by name carry their reasons as flags."""
    wanted = {label.strip().upper() for label in ([keep] if isinstance(keep, str) else keep)}
    unknown = wanted - {cell.label.upper() for cell in read} - {"ALL"}
    if unknown:
        raise InputError(
            Fault(f"no cell with cloth is called {', '.join(sorted(unknown))}: nothing kept.", file)
        )
    return [
        replace(
            cell, left_out=(), flags=(*(f"kept although {r}" for r in cell.left_out), *cell.flags)
        )
        if cell.label.upper() in wanted or "ALL" in wanted
        else cell
        for cell in read
    ]


def _impossible(cell: Cell) -> Cell:
    """The cell, left out if no reflectance between 0 and 1 has its colour."""
    try:
        smoothest_reflectance(cell.lab, D65_2)
    except TargetError:
        reason = "reads a colour that no cloth has: the light or the grey card is not what was told"
        return replace(cell, left_out=(*cell.left_out, reason))
    return cell


def _readings(kept: Sequence[Cell], light: Light, file: str) -> tuple[Reading, ...]:
    spectra = smoothest_reflectance(np.array([cell.lab for cell in kept]), D65_2)
    return tuple(
        Reading(
            recipe=None if cell.named is None else cell.named.recipe,
            reflectance=spectrum.copy(),
            swatch="" if cell.named is None else cell.named.swatch,
            kind="Lab",
            lab=cell.lab.copy(),
            light=D65_2,
            covariance=cell.covariance,
            conditions={
                **({} if cell.named is None else cell.named.conditions),
                "geometry": "photograph",
                "illuminant": "D65",
                "observer": "2",
            },
            flags=(*cell.flags, *light.doubts),
            place=f"{file}, cell {cell.label}",
            name=cell.label,
        )
        for cell, spectrum in zip(kept, spectra, strict=True)
    )
