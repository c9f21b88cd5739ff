"""A lens that does not focus, and the one change that would repair it: found by trying every typing error."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from services.optics.rays import (
    Focus,
    Marginal,
    Pupils,
    Spot,
    bundle_of,
    focus_of,
    marginal_of,
    pupil_pattern,
    pupils_of,
    surfaces_of,
    trains_of,
)
from services.optics.surface import conic_sags_mm
from services.optics.trace import ORDERS, Flags, Floats, Trains, trace_trains
from services.prescription.domain.typo_fields import fields_after
from services.prescription.domain.typos import KINDS, MM_PER_INCH, Change, Kind, single_changes
from shared_schemas.check import FieldChange
from shared_schemas.prescription import Prescription

SINGLET_BLUR = 0.067
"""Smallest blur circle of a best-form single lens of index 1.5, object far away: 0.067 / (f/D)^3 rad across.
Smith, Modern Optical Engineering, from memory."""

RMS_OF_CIRCLE = 2 / 3
"""Least RMS radius over the radius of the smallest blur circle, third-order spherical aberration alone: 1/6 over 1/4. Derived."""

MOST_BLUR = 0.5
"""A lens of several elements is there to blur less than a single one. Half as much as that is asked for: common practice's
triplets and doublets come to a quarter at most, and hardly a slip leaves them below a half."""

ALLOWANCE_OF_ONE_GLASS = 4.0
"""Lenses that are all of one glass are often condensers, and are let off with four times as much."""

LEAST_GAIN = 0.6
MOST_LEFT = 0.25
"""A change repairs a lens only if its blur, over that of a single lens of its power, falls at least to the first share, and its spot to
the second. Published lenses blur ten times less than with a radius, a gap or a thickness mistyped; a change that gains less makes
another poor lens."""

SAME_PUPIL_SHARE = 0.05
"""A change may not move the entrance pupil that the stop makes further than this from the one that is stated."""

MOST_LOST = 0.25
SLOWEST = 500.0
"""F-number from which a lens counts as afocal and is not screened."""

SLOWEST_REPAIRED = 32.0
SLOWEST_FROM_INCHES = 12.0
"""Beyond these f-numbers anything is sharp, and sharpness says nothing for a change; inches change the f-number most."""

MOST_OFF_FOCUS = 0.25
"""Best focus to paraxial focus over the focal length: beyond this the exact lens is another than the paraxial one."""

USUAL_FIELD_DEG = 5.0
LEAST_FIELD_DEG = 1.0
MOST_FIELD_DEG = 8.0
"""Candidates are weighed on the axis and at the field angle that is stated, within these."""

ALIKE = 1.1
"""Candidates whose score is within this factor of the best repair the lens equally well."""

ALSO = 2.0
"""Within this factor a candidate repairs it nearly as well. A slip in one place that does is offered before a column in other units."""

ROOM_MM = 0.01
"""Neighbouring faces may cross by this within their clear diameters: cement films and rounding."""

SMALLEST_HANDLED_MM = 3.0
LARGEST_HANDLED_MM = 500.0
PART_OF_BARREL = 10.0
"""Elements all below 3 mm or all above 500 mm across, or ten times off the barrel that holds them, are in another unit.
Common practice."""


@dataclass(frozen=True)
class Unfocused:
    """Why a lens does not focus: RMS spot [mm] at best focus (`None` where nothing comes to one), its limit [mm], rays lost [-]."""

    spot_mm: float | None
    limit_mm: float
    lost: float
    sentence: str

    @property
    def blurred(self) -> bool:
        """Whether the spot on the axis is bad; where it is not, rays are lost or the focus lies elsewhere, which no typing error explains."""
        return self.spot_mm is None or self.spot_mm > self.limit_mm


@dataclass(frozen=True)
class TypoRepair:
    """The change that restores a lens: kind, JSON pointer, from, to, RMS spots [mm] before and after, words for a person.

    A file that is all in another unit has no spots: it focuses before and after.
    `others` has the words of further single changes that would do nearly as well; `fields` is the change field by field.
    """

    kind: Kind
    pointer: str
    was: float | str
    becomes: float | str
    spot_before_mm: float | None
    spot_after_mm: float | None
    sentence: str
    others: tuple[str, ...] = ()
    fields: tuple[FieldChange, ...] = ()


@dataclass(frozen=True)
class Judged:
    """How each of many trains focuses on the axis, (trains,): RMS spot and its limit [mm], the blur over that of a best-form
    single lens of the same power and beam, the share of rays lost, how far best focus is off [-], f-number."""

    rms_mm: Floats
    limit_mm: Floats
    blur: Floats
    lost: Floats
    off_focus: Floats
    f_number: Floats

    @property
    def focuses(self) -> Flags:
        """Whether a train of several elements is as sharp as one may ask."""
        return (self.rms_mm <= self.limit_mm) & (self.lost <= MOST_LOST) & (self.off_focus <= MOST_OFF_FOCUS)


def does_not_focus(prescription: Prescription, indices: Sequence[float], *, axis: Spot | None = None) -> Unfocused | None:
    """Why a lens does not focus; `None` where it does, or where that cannot be asked of it.

    `axis` is its image on the axis where that has been traced already.

    Notes: a lens does not focus when at full aperture on the axis a quarter of the rays is lost, or when it has several
    elements and its RMS spot at best focus is above half that of the best single lens (twice it, where all is one glass) and
    above the Airy radius, or its best focus is a quarter of the focal length off the paraxial one. An afocal lens is not screened.
    """
    found = _judged(prescription, trains_of(surfaces_of(prescription, indices)), None if axis is None else _focus_of(axis))
    rms, limit, lost = (float(each[0]) for each in (found.rms_mm, found.limit_mm, found.lost))
    if len(set(indices)) == 1:
        limit *= ALLOWANCE_OF_ONE_GLASS
    if lost <= MOST_LOST:
        if len(indices) == 1 or found.f_number[0] > SLOWEST:
            return None
        if rms <= limit and found.off_focus[0] <= MOST_OFF_FOCUS:
            return None
    spot = rms if np.isfinite(rms) else None
    return Unfocused(spot, limit, lost, _complaint(spot, lost))


def typo_repair(prescription: Prescription, indices: Sequence[float], *, fault: Unfocused | None = None) -> TypoRepair | None:
    """The single change that restores focus best; `None` where the spot on the axis is good or where no change makes it so.

    `fault` is why the lens does not focus, where that has been asked already.

    Notes: among changes that leave at most a quarter of the spot, lose no ray, leave the faces apart within their clear diameters and
    keep to what else the drawing says (see `_keeps_to_the_drawing`), the least of the geometrical mean of the blur on the axis and
    the angle of the blur off it; of those alike the nearest in kind. A column in other units is offered only where no slip in one
    place does nearly as well.
    """
    fault = fault or does_not_focus(prescription, indices)
    if fault is None or not fault.blurred:
        return None
    changes = single_changes(prescription)
    given = trains_of(surfaces_of(prescription, indices))
    trains = changed(given, changes)
    slowest = np.array([SLOWEST_FROM_INCHES if change.kind == "inches" else SLOWEST_REPAIRED for change in changes])
    most_blur = LEAST_GAIN * float(_judged(prescription, given).blur[0])
    scores, spots_mm = _scores(prescription, trains, slowest, most_blur)
    far_better = spots_mm <= MOST_LEFT * (np.inf if fault.spot_mm is None else fault.spot_mm)
    scores = np.where(far_better & _keeps_to_the_drawing(prescription, given, trains), scores, np.inf)
    if not np.isfinite(scores).any():
        return None
    cells = np.array([change.kind != "inches" for change in changes])
    alike = np.flatnonzero(scores <= np.where(cells, ALSO if not cells[scores.argmin()] else ALIKE, ALIKE) * scores.min())
    best = min(alike.tolist(), key=lambda i: (KINDS.index(changes[i].kind), scores[i]))
    near = [i for i in np.argsort(scores, kind="stable").tolist() if i != best and scores[i] <= ALSO * scores[best]]
    change, after = changes[best], float(spots_mm[best])
    return TypoRepair(
        change.kind, change.pointer, change.was, change.becomes, fault.spot_mm, after,
        f"{fault.sentence} With {change.words} it does ({after:.2g} mm).", tuple(changes[i].words for i in near[:2]),
        fields_after(prescription, change.edits),
    )  # fmt: skip


def whole_file_in_inches(prescription: Prescription) -> TypoRepair | None:
    """A file whose every length is in inches that were taken for mm, or was converted once too often.

    A lens that is scaled as a whole focuses as well as before: only its size beside the hand's, or the barrel's, tells.
    """
    diameters = [element.diameter_mm for element in prescription.elements]
    barrel_mm = prescription.barrel.outer_diameter_mm if prescription.barrel else None
    small = max(diameters) < SMALLEST_HANDLED_MM or (barrel_mm is not None and max(diameters) * PART_OF_BARREL < barrel_mm)
    large = min(diameters) > LARGEST_HANDLED_MM or (barrel_mm is not None and max(diameters) > PART_OF_BARREL * barrel_mm)
    if small == large:
        return None
    factor = MM_PER_INCH if small else 1 / MM_PER_INCH
    was, becomes = max(diameters), max(diameters) * factor
    beside = f", in a barrel of {barrel_mm:g} mm" if barrel_mm is not None else ""
    slip = "read as inches" if small else "taken as mm that had been converted from inches by mistake"
    sentence = (
        f"The largest element is {was:.4g} mm across{beside}. With all lengths of the elements {slip} it is {becomes:.4g} mm."
    )
    units = ("mm", "inch") if small else ("inch, converted", "mm")
    return TypoRepair("inches", "/elements", *units, None, None, sentence)


def changed(trains: Trains, changes: Sequence[Change]) -> Trains:
    """One train for each change, made from the one that `trains` has."""
    curvature, conic, way, index, terms = (
        np.repeat(each, len(changes), axis=1)
        for each in (trains.curvature_per_mm, trains.conic, trains.way_mm, trains.index_after, trains.terms)
    )
    scale = 1.0 - np.array(ORDERS)
    for i, change in enumerate(changes):
        for edit in change.edits:
            to, source = edit.face, edit.source
            if edit.column == "way":
                way[to, i] = trains.way_mm[source, 0] * edit.factor
            elif edit.column == "glass":
                index[to, i] = trains.index_after[source, 0]
            else:
                curvature[to, i] = trains.curvature_per_mm[source, 0] / edit.factor
                if edit.column == "curve":
                    conic[to, i] = trains.conic[source, 0]
                    # Even terms that run away grow past any number; such a train is traced as lost.
                    with np.errstate(over="ignore"):
                        terms[to, i] = trains.terms[source, 0] * edit.factor**scale
    return Trains(curvature, conic, way, index, terms, trains.semi_diameter_mm)


def _focus_of(axis: Spot) -> Focus:
    """An image on the axis as the focus of one train."""
    rms, place = (np.inf if figure is None else figure for figure in (axis.rms_mm, axis.position_mm))
    return Focus(np.array([place]), np.array([rms]), np.array([axis.lost]))


def _judged(prescription: Prescription, trains: Trains, focus: Focus | None = None) -> Judged:
    """A fan of rays on the axis through each train, or the focus that was found already.

    Notes: with h the beam's semi-diameter, d the angle by which the train turns the marginal ray and u' its slope behind,
    the blur circle of a single lens has the radius 0.067 / 2 (2 d)^3 h / u'; for a far object d = u'.
    """
    if focus is None:
        pupils, marginal, focus = _imaged(prescription, trains, _FAN, 0.0)
    else:
        pupils = pupils_of(prescription=prescription, trains=trains)
        marginal = marginal_of(trains=trains, pupils=pupils, object_distance_mm=prescription.object_distance_mm)
    turn, behind = np.abs(marginal.slope_behind - marginal.slope_before), np.abs(marginal.slope_behind)
    with np.errstate(all="ignore"):
        single = RMS_OF_CIRCLE * SINGLET_BLUR / 2 * (2 * turn) ** 3 * pupils.semi_diameter_mm / behind
        airy = 0.61e-6 * prescription.wavelength_nm / behind
        off = np.abs(focus.position_mm - marginal.image_mm) * behind / pupils.semi_diameter_mm
        return Judged(
            focus.rms_mm, _tamed(np.maximum(MOST_BLUR * single, airy)), _tamed(focus.rms_mm / single), focus.lost, _tamed(off),
            _tamed(1 / (2 * turn)),
        )  # fmt: skip


def _scores(prescription: Prescription, trains: Trains, slowest: Floats, most_blur: float) -> tuple[Floats, Floats]:
    """How far each train is from sharp, infinite where it does not repair the lens, and its spot on the axis [mm]; (trains,)."""
    axis = _judged(prescription, trains)
    stated = prescription.field_half_angle_deg
    field_deg = USUAL_FIELD_DEG if stated is None else min(max(stated, LEAST_FIELD_DEG), MOST_FIELD_DEG)
    pupils, marginal, focus = _imaged(prescription, trains, _RINGS, field_deg)
    fit = axis.focuses & (axis.lost == 0) & (axis.f_number < slowest) & (axis.blur <= most_blur) & _stay_apart(trains)
    with np.errstate(all="ignore"):
        angle = focus.rms_mm * np.abs(marginal.slope_behind) / pupils.semi_diameter_mm
        return np.where(fit, _tamed(np.sqrt(axis.blur * angle)), np.inf), axis.rms_mm


def _imaged(prescription: Prescription, trains: Trains, pattern: Floats, field_deg: float) -> tuple[Pupils, Marginal, Focus]:
    distance_mm = prescription.object_distance_mm
    pupils = pupils_of(prescription=prescription, trains=trains)
    bundle = bundle_of(pupils=pupils, pattern=pattern, fields_deg=np.array([field_deg]), object_distance_mm=distance_mm)
    marginal = marginal_of(trains=trains, pupils=pupils, object_distance_mm=distance_mm)
    return pupils, marginal, focus_of(trace_trains(trains=trains, bundle=bundle))


def _stay_apart(trains: Trains) -> Flags:
    """Whether neighbouring faces of each train reach their clear diameters and do not cross within them, (trains,).

    Notes: by the conics alone; even terms do not count.
    """
    semi, c, k = trains.semi_diameter_mm[:, None], trains.curvature_per_mm, trains.conic
    reach = np.minimum(semi[:-1], semi[1:])
    before = conic_sags_mm(curvature_per_mm=c[:-1], conic=k[:-1], heights_mm=reach)
    behind = conic_sags_mm(curvature_per_mm=c[1:], conic=k[1:], heights_mm=reach)
    apart = trains.way_mm[:-1] + behind - before > -ROOM_MM
    reaches = (1 + k) * (c * semi) ** 2 <= 1 + 1e-9
    found: Flags = np.all(apart, axis=0) & np.all(reaches, axis=0)
    return found


def _keeps_to_the_drawing(prescription: Prescription, given: Trains, trains: Trains) -> Flags:
    """Whether each train still does what else the drawing says, (trains,).

    Notes: the stop stays in the air behind its element; the lens is no longer than a barrel that holds the lens as given; the pupil
    that the stop makes stays within a twentieth of the one that is stated, or as near as it was.
    """
    keeps: Flags = np.ones(trains.way_mm.shape[1], dtype=bool)
    stop, barrel = prescription.stop, prescription.barrel
    if stop is not None and 0 < stop.after_element < len(prescription.elements):
        keeps &= trains.way_mm[2 * stop.after_element - 1] >= stop.distance_mm
    if barrel is not None and given.way_mm[:-1].sum() <= barrel.length_mm:
        keeps &= trains.way_mm[:-1].sum(axis=0) <= barrel.length_mm
    stated_mm = prescription.entrance_pupil_diameter_mm
    if stop is not None and stated_mm is not None:
        by_stop = prescription.model_copy(update={"entrance_pupil_diameter_mm": None})
        before, after = (
            np.abs(2 * pupils_of(prescription=by_stop, trains=each).semi_diameter_mm / stated_mm - 1) for each in (given, trains)
        )
        keeps &= after <= max(SAME_PUPIL_SHARE, float(before[0]))
    return keeps


def _complaint(spot_mm: float | None, lost: float) -> str:
    if spot_mm is None:
        return "The lens does not focus: no rays on the axis come together."
    some = f", and {lost:.0%} of the rays on the axis are lost" if lost > 0 else ""
    return f"The lens does not focus: spot {spot_mm:.2g} mm at best focus{some}."


def _tamed(values: Floats) -> Floats:
    return np.where(np.isfinite(values), values, np.inf)


_FAN = pupil_pattern(rings=6, arms=2)
_RINGS = pupil_pattern(rings=3, arms=6)
