"""Between two elements: the air between them, the spacer that keeps it, and whether they run into each other."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from services.optics.body import Body, air_gap_mm, body
from services.optics.law import law
from services.optics.seats import INTO_EACH_OTHER_MM, gap_mm, kept_apart, least_gap
from services.optics.surface import Profile
from services.prescription.domain.cement import Fit, Strain, cement_findings, fit, strain_of
from services.prescription.domain.materials import Material
from shared_schemas.check import Finding, SpaceCheck
from shared_schemas.finding_kinds import finding
from shared_schemas.prescription import Prescription

THIN_SPACER_MM = 0.25
"""Below it a spacer is no longer turned, but cut from foil or shim (common practice)."""


@dataclass(frozen=True)
class Spacer:
    """A ring between two neighbours: its length between the circles on which it touches them, and their diameters [mm]."""

    length_mm: float
    front_contact_mm: float
    back_contact_mm: float


def seat_findings(*, prescription: Prescription, bodies: Sequence[Body]) -> Iterator[Finding]:
    """A finding for each seat that keeps neighbours apart; `bodies` have their seats."""
    for i, space in enumerate(prescription.spaces):
        if space.gap_mm is None or not (bodies[i].back.needs_seat or bodies[i + 1].front.needs_seat):
            continue
        plain = body(element=prescription.elements[i]), body(element=prescription.elements[i + 1])
        if kept_apart(*plain, space.gap_mm) is not None:
            yield _seat_finding(prescription, i, plain, (bodies[i], bodies[i + 1]), space.gap_mm)


def _seat_finding(
    prescription: Prescription, i: int, given: tuple[Body, Body], pair: tuple[Body, Body], axial_mm: float
) -> Finding:
    first, second = prescription.elements[i], prescription.elements[i + 1]
    least, height = least_gap(before=given[0], behind=given[1], axial_mm=axial_mm)
    seats = [
        f"the {side} of {name} gets a flat seat outside {2 * face.worked_mm:.4g} mm"
        for side, name, face, was in (
            ("back", first.name, pair[0].back, given[0].back),
            ("front", second.name, pair[1].front, given[1].front),
        )
        if face.worked_mm < was.worked_mm
    ]
    wanted = -(-(axial_mm - least) * 100 // 1) / 100
    return finding(
        "neighbours-seat", f"/spaces/{i}/gap_mm",
        f"{first.name} and {second.name} would run {-least:.3f} mm into each other at a height of {height:.4g} mm, outside both clear "
        f"diameters; {' and '.join(seats)}.",
        figure=least, limit=0.0, unit="mm", remedy=f"a gap of at least {wanted:g} mm, smaller diameters, or the seat on the drawing",
    )  # fmt: skip


def spacer(*, before: Body, behind: Body, axial_mm: float) -> Spacer | None:
    """The spacer of an air gap; `None` where the faces leave it no length.

    Notes: it touches each face midway between clear diameter and rim; L = g - z_back(y1) + z_front(y2).
    Source: common practice; the length derived.
    """
    front, back = _contact_mm(before.back), _contact_mm(behind.front)
    length = air_gap_mm(axial_mm=axial_mm, sag_before_mm=before.back.sag_mm(front), sag_behind_mm=behind.front.sag_mm(back))
    return Spacer(length, 2 * front, 2 * back) if length > 0 else None


def _contact_mm(face: Profile) -> float:
    return contact_diameter_mm(clear_diameter_mm=face.surface.clear_diameter_mm, diameter_mm=2 * face.rim_mm) / 2


@law
def contact_diameter_mm(*, clear_diameter_mm: float, diameter_mm: float) -> float:
    """Diameter [mm] of the circle on which a spacer touches a face: midway between clear diameter and rim.

    Equation: (clear_diameter_mm + diameter_mm) / 2
    Source: common practice.
    """
    return (clear_diameter_mm + diameter_mm) / 2


def spaces_between(
    *, prescription: Prescription, bodies: Sequence[Body], materials: Sequence[Material]
) -> tuple[tuple[SpaceCheck, ...], tuple[Finding, ...]]:
    """The figures of every space and what there is to say of it."""
    checks: list[SpaceCheck] = []
    findings: list[Finding] = []
    for i, space in enumerate(prescription.spaces):
        first, second = prescription.elements[i], prescription.elements[i + 1]
        before, behind = bodies[i], bodies[i + 1]
        if space.gap_mm is None:
            fits = fit(before=before, behind=behind)
            diameter = min(first.diameter_mm, second.diameter_mm)
            strain = strain_of(first=materials[i], second=materials[i + 1], diameter_mm=diameter)
            checks.append(_cemented(before, behind, fits, strain))
            findings += cement_findings(first=first, second=second, number=i, fit=fits, strain=strain)
        else:
            ring = spacer(before=before, behind=behind, axial_mm=space.gap_mm)
            checks.append(_in_air(before, behind, space.gap_mm, ring))
            findings += _collision(prescription, bodies, i, space.gap_mm) or _thin(prescription, i, ring)
    return tuple(checks), tuple(findings)


def _ends(before: Body, behind: Body, axial_mm: float) -> tuple[float, float]:
    """The gap [mm] at the larger clear diameter, as far as both reach, and at the rim."""
    rim = min(before.rim_mm, behind.rim_mm)
    clear = min(rim, max(before.back.surface.clear_diameter_mm, behind.front.surface.clear_diameter_mm) / 2)
    at_clear, at_rim = (gap_mm(before=before, behind=behind, axial_mm=axial_mm, height_mm=height) for height in (clear, rim))
    return at_clear, at_rim


def _in_air(before: Body, behind: Body, axial_mm: float, ring: Spacer | None) -> SpaceCheck:
    at_clear, at_rim = _ends(before, behind, axial_mm)
    return SpaceCheck(
        cemented=False,
        gap_at_axis_mm=axial_mm,
        gap_at_clear_mm=at_clear,
        gap_at_rim_mm=at_rim,
        spacer_length_mm=ring.length_mm if ring else None,
        spacer_front_contact_mm=ring.front_contact_mm if ring else None,
        spacer_back_contact_mm=ring.back_contact_mm if ring else None,
    )


def _cemented(before: Body, behind: Body, fits: Fit, strain: Strain | None) -> SpaceCheck:
    at_clear, at_rim = _ends(before, behind, 0.0)
    return SpaceCheck(
        cemented=True,
        gap_at_axis_mm=0.0,
        gap_at_clear_mm=at_clear,
        gap_at_rim_mm=at_rim,
        mismatch_fringes=fits.fringes,
        expansion_difference_1e6_per_k=strain.difference_1e6_per_k if strain else None,
        film_shift_um=strain.shift_um if strain else None,
        film_shear_strain=strain.shear_strain if strain else None,
    )


def _collision(prescription: Prescription, bodies: Sequence[Body], i: int, axial_mm: float) -> tuple[Finding, ...]:
    least, height = least_gap(before=bodies[i], behind=bodies[i + 1], axial_mm=axial_mm)
    if least >= -INTO_EACH_OTHER_MM:
        return ()
    first, second = prescription.elements[i], prescription.elements[i + 1]
    wanted = -(-(axial_mm - least) * 100 // 1) / 100
    said = finding(
        "neighbours-collide", f"/spaces/{i}/gap_mm",
        f"{first.name} and {second.name} run {-least:.3f} mm into each other at a height of {height:.4g} mm.",
        figure=least, limit=0.0, unit="mm", remedy=f"a gap of at least {wanted:g} mm, or smaller diameters",
    )  # fmt: skip
    return (said,)


def _thin(prescription: Prescription, i: int, ring: Spacer | None) -> Iterator[Finding]:
    length = ring.length_mm if ring else 0.0
    if length >= THIN_SPACER_MM:
        return
    first, second = prescription.elements[i], prescription.elements[i + 1]
    yield finding(
        "spacer-thin", f"/spaces/{i}/gap_mm",
        f"The spacer between {first.name} and {second.name} is {length:.3f} mm long; below {THIN_SPACER_MM:g} mm it is foil or shim, or the glasses touch.",
        figure=length, limit=THIN_SPACER_MM, unit="mm", remedy=f"a gap longer by {THIN_SPACER_MM - length:.3f} mm, where the design allows",
    )  # fmt: skip
