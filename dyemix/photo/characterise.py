"""What the light and the camera made of colours in one picture, as the cards and the page show it.

Are the tones straight, how does the light fall and of what colour is it, which colours are these,
and is the grey what it is said to be?
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from dyemix.arrays import Array
from dyemix.colour.ciede2000 import metric
from dyemix.colour.colorimetry import D65_2, xyz_from_lab
from dyemix.errors import said
from dyemix.photo import patches
from dyemix.photo.decode import Photograph, sayings
from dyemix.photo.light import BEND, Flat, Tone, Witnesses, covered, fit_flat
from dyemix.photo.patches import CameraMatrix, Patches
from dyemix.photo.places import Frame
from dyemix.photo.sample import cloth, levels

#: A patch counts as a grey step up to this chroma.
_NEUTRAL = 6.0
#: Cloth that is too large covers an edge of the bare paper: the brighter half is paper still.
_UNCOVERED = (0.5, 0.9)
#: Share of the white spots that must be bare for the light to be known.
_LEAST_BARE = 0.6
#: The same grey on two cards may differ by the first share, and is refused beyond the second.
_SAME_GREY, _OTHER_GREY = 0.04, 0.08
#: Paper up to so many mm beside a card shows, by this share, whether a shadow or glare lies on it.
_BESIDE, _SHADED = 5.0, 0.06
#: Within a grey step brightness changes by less than this share, and fewer parts differ.
_EVEN = 0.08
#: Phones bend tones by a fifth; steps that are further off proportional are other steps.
_MOST_BENT = 0.4
#: What white paper reflects, as a fraction: 0.7 (recycled) to 0.95 (brightened), common practice;
#: with a margin for the printer's paper; where a camera may have bent its tones by a fifth, and the
#: grey is off by 1 %, up to 0.95 × 1.2 × 1.01.
_WHITE_PAPER, _PAPER_BENT = (0.66, 1.02), (0.66, 1.15)
#: CIELAB of undyed white cotton and paper where they were not measured, and what printed black
#: reflects, 0.025 to 0.08 (all from memory).
_UNDYED, _PAPER, _BLACK = np.array([[92.0, 0.0, 3.0]]), np.array([[94.0, 0.5, -3.0]]), 0.045
#: Standard errors (log light) of each step, of the channels and of all of one card: of grey cards
#: and patches (how evenly they lie in the light; makers' tolerances), of undyed cloth, of paper and
#: of printed black.
_CARD_ERROR, _UNDYED_ERROR = (0.01, 0.006, 0.02), (0.018, 0.018, 0.042)
_PAPER_ERROR, _BLACK_ERROR = (0, 0.05, 0.08), (0, 0.3, 0.35)
#: What the printed grey of the page reflects as a share of its paper, 0.23 to 0.54 (from memory);
#: its standard errors, of its channels and of all; the least of the mean of some, and of how many
#: means one is taken, by the light that falls there.
_GREY, _GREY_ERROR, _LEAST_ERROR, _LIGHTS = 0.35, (0.03, 0.25), 0.001, 3
#: Veiling glare is named from this share of white on.
_GLARE = 0.01
#: Log ratio of red to blue in white paper from which the light's colour is named, and by which it
#: differs over the cells where lights are mixed; daylight from noon to shade spans 0.7.
_COLOURED, _MIXED = 0.6, 0.2
#: So many pieces darker than this L* whose chroma is below the last look all grey.
_MANY, _DYED, _COLOURLESS = 6, 85.0, 10.0
#: So many times more of white paper is counted in one channel than in another where the light has
#: no whole spectrum: tungsten and white LED reach 2.8 in a camera set to daylight, three-coloured
#: LED 3.1 to 3.7, sodium 3.8 to 6 (CIE illuminants A, LED-B1, LED-RGB1 and HP1 on 22 sensors).
_NARROW = 3.2


@dataclass(frozen=True, eq=False)
class Characterisation:
    """What the light and the camera made of colours in one picture, as the cards show it.

    `tone` straightens the picture's values to about 1 at a perfect white, `flat` evens them, and
    `matrix` brings them to colours. `cast` is the log ratio of red to blue of white light for which
    the matrix stands. `notes` say what was found, `warnings` what is said of every reading.
    """

    tone: Tone
    flat: Flat
    matrix: CameraMatrix
    cast: float
    notes: tuple[str, ...]
    warnings: tuple[str, ...]

    def camera(self, rgb: Array, at: Array) -> Array:
        """Covariance ``(N, 3, 3)``, in the three parts of ΔE2000, of the camera's own error at
        straight, even values ``(N, 3)`` of places ``(N, 2)``.
        """
        light, lab = self.flat.at(at), self.matrix.lab(rgb)
        slope = metric(lab) @ self.matrix.slope(rgb) * rgb[:, np.newaxis]
        tone = slope @ self.tone.covariance(self.tone.undo(rgb * light)) @ slope.transpose(0, 2, 1)
        return np.asarray(self.matrix.stated(rgb, cast(light) - self.cast) + tone)

    def colourless(self, rgb: Array) -> bool:
        """Whether cloth of straight, even values ``(N, 3)`` is all grey, and greys alone are known:
        a lamp of one colour, to which the camera was balanced, shows it so.
        """
        lab = self.matrix.lab(rgb)
        chroma = np.hypot(*lab[lab[:, 0] < _DYED].T[1:])
        grey = len(chroma) >= _MANY and np.quantile(chroma, 0.9) < _COLOURLESS
        return bool(grey and not self.matrix.patches)


def cast(light: Array) -> Array:
    """Log ratio of red to blue of lights ``(N, 3)``."""
    return np.asarray(np.log(light[:, 0] / light[:, 2]))


class Cards:
    """Sees the cards once; the tone curve, the flat field and the colours follow from it.

    `anchors` ``(A, 4, 2)`` are the cells with undyed cloth, where that is the only white known.
    `tone` and `flat` are each found by the other in turn, to rest. Raises `InputError` where the
    grey is not as told, and for a shadow on the only card.
    """

    def __init__(
        self, photo: Photograph, frame: Frame, grey: Sequence[float], reference: Patches,
        anchors: Array,
    ) -> None:  # fmt: skip
        self.photo, self._doubts, self._pale = photo, list[str](), 0.0
        spots = frame.of("white").mean(axis=1)
        white = levels(photo, frame.of("white"), 0.6, _UNCOVERED)[0]
        self._raw = flat = fit_flat(spots, white)
        level = patches.counted(photo.to_xyz) @ flat.level
        photo.refuse(flat.known and level.max() > _NARROW * level.min(), "photo.narrow")
        if grey and self._shaded("grey card", frame.of("grey box"), bool(reference.names)):
            grey = ()
        if reference.names and self._shaded("patch card", frame.of("card box"), bool(grey)):
            reference = Patches()
        self.reference = reference
        self.frame = frame = patches.with_cards(photo, frame, len(grey), reference.lab)
        self._steps = np.array(grey if len(frame.of("grey")) else (), dtype=float)
        self._grey, self._patch = frame.of("grey"), frame.of("patch")
        self._light, self._usable = levels(photo, self._patch, patches.CORE)
        if len(reference.lab):
            patches.check_patches(photo, self._light, reference.lab)
        kinds = self._witnesses(anchors)
        told = Witnesses(*(np.concatenate(each) for each in zip(*kinds, strict=True)))
        source = np.repeat(np.arange(len(kinds)), [len(kind.at) for kind in kinds])
        bend = 0.0 if "linear" in photo.encoding else BEND
        for _ in range(3):
            light = np.nan_to_num(flat.at(told.at), nan=1.0)
            self.tone = Tone(told._replace(known=told.known * light, source=source), bend)
            flat = fit_flat(spots, self.tone(white), self._raw.level)
        top = photo.curve[photo.limits[1]].min()
        self.flat = replace(flat, clipped=bool(flat.known and self._raw.level.max() >= top))
        self._check_grey(kinds[0])

    def _shaded(self, card: str, box: Array, other: bool) -> bool:
        """Whether the bare paper beside the box ``(1, 4, 2)`` of a card lies in a shadow or glare.

        The card is left out then; where there is no `other`, the picture is refused.
        """
        for at in box:
            near = np.abs(self._raw.spots - at.mean(axis=0)) < np.ptp(at, axis=0) / 2 + _BESIDE
            off = np.sort(np.abs(self._raw.ratio[near.all(axis=1)] - 1.0))[-2:]
            if len(off) == 2 and off[0] > _SHADED:
                what = said("photo.shaded", card=card, off=100 * off[0])
                self.photo.refuse(not other, "photo.shaded_both", shaded=what)
                self._doubts.append(said("photo.left_out_card", shaded=what))
                return True
        return False

    def _linear(self, lab: Array) -> Array:
        """Linear values ``(N, 3)`` of colours in the picture's primaries."""
        return np.asarray(xyz_from_lab(lab, D65_2) / 100.0 @ np.linalg.inv(self.photo.to_xyz).T)

    def _witnesses(self, anchors: Array) -> list[Witnesses]:
        """All neutral things that are seen, by kind: those told of, then paper and print."""
        neutral, whole = np.hypot(*self.reference.lab.T[1:]) < _NEUTRAL, np.ones(3)
        kinds = []
        for places, known, error in (
            (self._grey, np.outer(self._steps, whole), _CARD_ERROR),
            (self._patch[neutral], self._linear(self.reference.lab[neutral]), _CARD_ERROR),
            (anchors, np.outer(np.ones(len(anchors)), self._linear(_UNDYED)), _UNDYED_ERROR),
        ):
            light, shown = levels(self.photo, places, patches.CORE)
            if shown.any():
                at = places[shown].mean(axis=1)
                kinds.append(Witnesses.of(at, light[shown], known[shown], error))
        self.photo.refuse(not kinds, "photo.no_anchor")
        if len(self._grey) and len(kinds) > 1:
            self._check_light(*kinds[:2])
        raw, nowhere = self._raw, np.full((1, 2), np.nan)
        if raw.known:
            level, known = raw.level[np.newaxis], self._linear(_PAPER)
            kinds.append(Witnesses.of(nowhere, level, known, _PAPER_ERROR))
        bars, shown = levels(self.photo, self.frame.of("bar"), 0.5)
        if shown.any():
            even = bars / raw.at(self.frame.of("bar").mean(axis=1))
            black = np.quantile(even[shown], 0.25, axis=0, keepdims=True)
            kinds.append(Witnesses.of(nowhere, black, np.full((1, 3), _BLACK), _BLACK_ERROR))
            self._pale = float(black[0, 1] / raw.level[1])
        return [*kinds, *self._printed_greys()] if self.frame.layout else kinds

    def _printed_greys(self) -> list[Witnesses]:
        """The printed greys that no cloth covers, and the paper beside them: means of those in the
        dimmest light, and so on. If tones are straight they are the same share of the paper."""
        places, raw = self.frame.of("check"), self._raw
        grey, shown = levels(self.photo, places, 0.5)
        paper = raw.level * raw.at(places.mean(axis=1))
        share = np.log(grey / paper)
        bare = shown & ~covered(share - np.median(share, axis=0), np.ones(3))[0]
        if not raw.known or bare.sum() < 2 * _LIGHTS:
            return []
        some = np.array_split(np.flatnonzero(bare)[np.argsort(paper[bare, 1])], _LIGHTS)
        seen, beside = (np.exp([np.log(x[i]).mean(axis=0) for i in some]) for x in (grey, paper))
        spread = np.sqrt(np.mean([share[i].mean(axis=1).var(ddof=1) for i in some]))
        single = max(_LEAST_ERROR, float(spread / np.sqrt(bare.sum() / _LIGHTS)))
        nowhere, known = np.full((_LIGHTS, 2), np.nan), np.tile(self._linear(_PAPER), (_LIGHTS, 1))
        lights, error = np.arange(_LIGHTS), (single, *_GREY_ERROR)
        printed = Witnesses.of(nowhere, seen, _GREY * known, error, lights)
        return [Witnesses.of(nowhere, beside, known, (0.0, 0.0, 0.0), lights), printed]

    def _check_light(self, steps: Witnesses, greys: Witnesses) -> None:
        """Refuse a grey card and a patch card that do not lie in one light."""
        seen, at = (np.log(x.seen / self._raw.at(x.at)).mean(axis=1) for x in (greys, steps))
        order = np.argsort(seen)
        told = np.interp(at, seen[order], np.log(greys.known[order].mean(axis=1)))
        off = float(np.expm1(np.median(told - np.log(steps.known.mean(axis=1)))))
        unlike = said("photo.unlike", off=100 * off)
        self.photo.refuse(abs(off) > _OTHER_GREY, "photo.unlike_told", unlike=unlike)
        if abs(off) > _SAME_GREY:
            self._doubts.append(unlike)

    def characterise(self, measured: Patches | None, lit_by: str) -> Characterisation:
        """Tone curve, flat field, exposure and colours of this picture.

        `measured` are swatches that serve as further patches, `lit_by` what is said of the light.
        Raises `InputError` where nothing tells how the light falls.
        """
        tone, flat, card = self.tone, self.flat, self.reference
        self.photo.refuse(flat.bare < _LEAST_BARE, "photo.covered")
        seen, measured = tone.undo(np.ones((1, 3))), measured or Patches()
        white, usable, names = cast(seen)[0], self._usable, np.array(card.names)
        matrix = patches.balance(self.photo.to_xyz, seen[0], tone.bends, lit_by)
        light = tone(self._light) / flat.at(self._patch.mean(axis=1))
        light = np.concatenate([light[usable], measured.light])
        lab = np.concatenate([card.lab[usable], measured.lab])
        holds = {"clipped_patches": not usable.all(), "too_few": 0 < len(lab) < 6}
        clipped = ", ".join(sorted(names[~usable]))
        notes = [str(tone), *sayings(holds, names=clipped, count=len(lab))]
        if len(lab) >= 6:
            called = (*names[usable], *measured.names)
            matrix = patches.fit_patches(light, lab, called, matrix.coefficients)
        over = cast(flat.at(self.frame.of("swatch").mean(axis=1)))
        doubtful = {
            "flare": self._pale - _BLACK > _GLARE, "tones_doubt": not tone.known,
            "light_doubt": not flat.known, "no_grey": not self._grey.size + self._patch.size,
            "warm": white > _COLOURED, "cool": white < -_COLOURED, "mixed": np.ptp(over) > _MIXED,
        }  # fmt: skip
        doubts = (*self._doubts, *sayings(doubtful, black=100 * self._pale))
        stands = -white if lit_by in ("", "daylight") else 0.0
        if matrix.patches:
            at = (self._patch if len(self._patch) else self._grey).mean(axis=1)
            stands = float(cast(flat.at(at)).mean()) if len(at) else 0.0
        return Characterisation(tone, flat, matrix, stands, (*notes, str(matrix)), doubts)

    def _check_grey(self, first: Witnesses) -> None:
        """Refuse a grey that is not as told: the page around it is the other witness."""
        tone, raw, photo, cure = self.tone, self._raw, self.photo, said("photo.cure")
        straight = photo.straightened(tone)
        steps = [cloth(straight, at, self.flat, whole=True) for at in self._grey]
        steepest = _EVEN if raw.known else 2.0 * _EVEN
        uneven = [i for i, x in enumerate(steps) if x.left_out > _EVEN or x.slope > steepest]
        darkest = (first.seen / raw.level / raw.at(first.at)).mean(axis=1).min()
        only_paper = raw.known and steps and self._steps.min() < 0.7 < darkest / 1.1
        photo.refuse(only_paper, "photo.only_paper")
        where = " and ".join(str(i + 1) for i in uneven)
        photo.refuse(uneven, "photo.uneven_grey", where=where, count=len(steps), cure=cure)
        photo.refuse(tone.off > _MOST_BENT, "photo.off_grey", off=100 * tone.off, cure=cure)
        # What the paper would reflect; one grey alone is taken with straight tones.
        gain = np.exp(np.log(first.known * raw.at(first.at) / first.seen).mean(axis=0))
        paper = (photo.to_xyz @ (tone(raw.level) if tone.known else raw.level * gain))[1]
        least, most = _WHITE_PAPER if tone.known else _PAPER_BENT
        no_paper = raw.known and not self.flat.clipped and not least <= paper <= most
        photo.refuse(no_paper, "photo.no_paper", paper=100 * paper, cure=cure)
