"""The whole lens at first order, and what follows for its stop and pupils."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from services.prescription.domain.findings import found
from services.prescription.domain.first_order import (
    Foci,
    Interface,
    Pupil,
    entrance_pupil,
    exit_pupil,
    f_number,
    foci,
    length_mm,
    petzval_radius_mm,
    system_matrix,
)
from services.prescription.domain.materials import Indices
from services.prescription.domain.train import around_stop, train_of
from shared_schemas.check import Finding, FirstOrder
from shared_schemas.prescription import Prescription

PUPIL_DISAGREES_SHARE = 0.01


def first_order_of(*, prescription: Prescription, indices: Indices) -> tuple[FirstOrder, tuple[Finding, ...]]:
    """The paraxial figures of a lens. Where the index of a glass is not known there is only its length."""
    known = [value for value in indices.values if value is not None]
    train = train_of(prescription, [value or 1.0 for value in indices.values])
    length = length_mm(train)
    if len(known) < len(indices.values):
        return _length_alone(indices.wavelength_nm, length), ()
    seen = foci(matrix=system_matrix(train), length_mm=length)
    entrance, leaving = _pupils(prescription, train)
    diameter = prescription.entrance_pupil_diameter_mm or (entrance.diameter_mm if entrance else None)
    order = FirstOrder(
        wavelength_nm=indices.wavelength_nm,
        focal_length_mm=seen.focal_length_mm if seen else None,
        back_focus_mm=seen.back_focus_mm if seen else None,
        front_focus_mm=seen.front_focus_mm if seen else None,
        f_number=f_number(focal_length_mm=seen.focal_length_mm, entrance_pupil_diameter_mm=diameter) if seen and diameter else None,
        length_mm=length,
        entrance_pupil_diameter_mm=diameter,
        entrance_pupil_position_mm=entrance.position_mm if entrance else None,
        exit_pupil_diameter_mm=leaving.diameter_mm if leaving else None,
        exit_pupil_position_mm=leaving.position_mm if leaving else None,
        petzval_radius_mm=petzval_radius_mm(train),
    )
    return order, tuple(_findings(prescription, seen, entrance))


def _length_alone(wavelength_nm: float, length_mm: float) -> FirstOrder:
    return FirstOrder(
        wavelength_nm=wavelength_nm, focal_length_mm=None, back_focus_mm=None, front_focus_mm=None, f_number=None,
        length_mm=length_mm, entrance_pupil_diameter_mm=None,
    )  # fmt: skip


def _pupils(prescription: Prescription, train: Sequence[Interface]) -> tuple[Pupil | None, Pupil | None]:
    stop = prescription.stop
    if stop is None:
        return None, None
    around = around_stop(train, stop)
    return (
        entrance_pupil(before_stop=around.before, stop_diameter_mm=stop.diameter_mm),
        exit_pupil(behind_stop=around.behind, stop_diameter_mm=stop.diameter_mm),
    )


def _findings(prescription: Prescription, seen: Foci | None, entrance: Pupil | None) -> Iterator[Finding]:
    if seen is None:
        yield found(
            "afocal", "", "The lens has no focal length: parallel light leaves it parallel.", figure="none", limit="a focal length"
        )
    yield from _stop_in_glass(prescription)
    stated = prescription.entrance_pupil_diameter_mm
    if stated is not None and entrance is not None and abs(entrance.diameter_mm / stated - 1) > PUPIL_DISAGREES_SHARE:
        yield found(
            "pupil-disagrees", "/entrance_pupil_diameter_mm",
            f"The entrance pupil is stated as {stated:g} mm, but the stop shows as {entrance.diameter_mm:.4g} mm.",
            figure=stated, limit=entrance.diameter_mm, unit="mm", repair=f"an entrance pupil of {entrance.diameter_mm:.4g} mm, or another stop",
        )  # fmt: skip


def _stop_in_glass(prescription: Prescription) -> Iterator[Finding]:
    stop = prescription.stop
    if stop is None or stop.after_element == 0:
        return
    last = stop.after_element == len(prescription.elements)
    space = None if last else prescription.spaces[stop.after_element - 1]
    limit = float("inf") if space is None else (space.gap_mm or 0.0)
    if 0 <= stop.distance_mm <= limit:
        return
    yield found(
        "stop-in-glass", "/stop/distance_mm",
        f"The stop lies {stop.distance_mm:g} mm behind {prescription.elements[stop.after_element - 1].name}, where there is no air.",
        figure=stop.distance_mm, limit="0 or more" if last else f"0 to {limit:g} mm", unit="mm",
        repair="a distance within the air behind the element",
    )  # fmt: skip
