"""The whole lens at first order, and what follows for its stop, its pupils and its beam."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from services.optics.first_order import (
    Foci,
    Image,
    Interface,
    Pupil,
    RayMatrix,
    f_number,
    foci,
    image,
    length_mm,
    petzval_radius_mm,
    system_matrix,
    working_f_number,
)
from services.optics.train import train_of
from services.prescription.domain.beam import Aperture, aperture_of, chief_ray, ray_heights_mm
from services.prescription.domain.beam_clearance import beam_findings
from services.prescription.domain.materials import Indices
from shared_schemas.check import Finding, FirstOrder
from shared_schemas.finding_kinds import finding
from shared_schemas.prescription import Prescription

PUPIL_DISAGREES_SHARE = 0.01


@dataclass(frozen=True)
class _Beam:
    """What the aperture makes of the lens: ray heights on every face [mm], empty where there are none, and n'u' at the image."""

    marginal_mm: tuple[float, ...]
    chief_mm: tuple[float, ...]
    numerical_aperture: float | None


def first_order_of(*, prescription: Prescription, indices: Indices) -> tuple[FirstOrder, tuple[Finding, ...]]:
    """The paraxial figures of a lens. Where the index of a glass is not known there is only its length."""
    known = [value for value in indices.values if value is not None]
    train = train_of(prescription, [value or 1.0 for value in indices.values])
    length = length_mm(train)
    if len(known) < len(indices.values):
        return _length_alone(indices.wavelength_nm, length), ()
    matrix = system_matrix(train)
    seen = foci(matrix=matrix, length_mm=length)
    seen_object = _image(prescription, matrix, seen)
    aperture = aperture_of(prescription=prescription, train=train)
    beam = _beam(prescription, train, matrix, aperture, seen_object)
    order = _order(indices.wavelength_nm, train, seen, seen_object, aperture, beam)
    return order, tuple(_findings(prescription, seen, aperture, beam))


def _order(
    wavelength_nm: float,
    train: Sequence[Interface],
    seen: Foci | None,
    seen_object: Image | None,
    aperture: Aperture,
    beam: _Beam,
) -> FirstOrder:
    entrance, leaving, diameter, na = aperture.entrance, aperture.exit, aperture.entrance_diameter_mm, beam.numerical_aperture
    return FirstOrder(
        wavelength_nm=wavelength_nm,
        focal_length_mm=seen.focal_length_mm if seen else None,
        back_focus_mm=seen.back_focus_mm if seen else None,
        front_focus_mm=seen.front_focus_mm if seen else None,
        principal_plane_front_mm=seen.principal_plane_front_mm if seen else None,
        principal_plane_back_mm=seen.principal_plane_back_mm if seen else None,
        f_number=_finite(f_number(focal_length_mm=seen.focal_length_mm, entrance_pupil_diameter_mm=diameter))
        if seen and diameter
        else None,
        length_mm=length_mm(train),
        petzval_radius_mm=petzval_radius_mm(train),
        entrance_pupil_diameter_mm=diameter,
        entrance_pupil_position_mm=entrance.position_mm if entrance else None,
        exit_pupil_diameter_mm=leaving.diameter_mm if leaving else None,
        exit_pupil_position_mm=leaving.position_mm if leaving else None,
        numerical_aperture=na,
        working_f_number=working_f_number(numerical_aperture=na) if na is not None and na > 1e-300 else None,
        image_distance_mm=seen_object.distance_mm if seen_object else None,
        magnification=seen_object.magnification if seen_object else None,
        aperture_from=aperture.from_what,
        marginal_heights_mm=beam.marginal_mm,
        chief_heights_mm=beam.chief_mm,
    )


def _finite(figure: float) -> float | None:
    return figure if math.isfinite(figure) else None


def _length_alone(wavelength_nm: float, length_mm: float) -> FirstOrder:
    return FirstOrder(
        wavelength_nm=wavelength_nm, focal_length_mm=None, back_focus_mm=None, front_focus_mm=None, f_number=None,
        length_mm=length_mm, entrance_pupil_diameter_mm=None,
    )  # fmt: skip


def _image(prescription: Prescription, matrix: RayMatrix, seen: Foci | None) -> Image | None:
    """The image of the object; one at infinity lies in the back focus and has a magnification of 0."""
    if prescription.object_distance_mm is not None:
        return image(matrix=matrix, object_distance_mm=prescription.object_distance_mm)
    return Image(seen.back_focus_mm, 0.0) if seen else None


def _beam(
    prescription: Prescription, train: Sequence[Interface], matrix: RayMatrix, aperture: Aperture, seen_object: Image | None
) -> _Beam:
    marginal = ray_heights_mm(train=train, ray=aperture.marginal) if aperture.marginal else ()
    chief, field, na = None, prescription.field_half_angle_deg, None
    if field is not None and aperture.entrance is not None:
        chief = chief_ray(entrance=aperture.entrance, field_half_angle_deg=field)
    if seen_object is not None and aperture.marginal is not None:
        na = abs(matrix.c * aperture.marginal.height_mm + matrix.d * aperture.marginal.angle)
        na = na if math.isfinite(na) else None
    return _Beam(marginal, ray_heights_mm(train=train, ray=chief) if chief else (), na)


def _findings(prescription: Prescription, seen: Foci | None, aperture: Aperture, beam: _Beam) -> Iterator[Finding]:
    if seen is None:
        yield finding(
            "afocal", "", "The lens has no focal length: parallel light leaves it parallel.", figure="none", limit="a focal length"
        )
    yield from _stop_in_glass(prescription)
    yield from _pupil_disagrees(prescription, aperture.entrance)
    yield from beam_findings(
        prescription=prescription,
        marginal_heights_mm=beam.marginal_mm,
        chief_heights_mm=beam.chief_mm,
        aperture_stated=aperture.stated,
    )


def _pupil_disagrees(prescription: Prescription, entrance: Pupil | None) -> Iterator[Finding]:
    stated = prescription.entrance_pupil_diameter_mm
    if prescription.stop is None or stated is None or entrance is None:
        return
    if abs(entrance.diameter_mm / stated - 1) > PUPIL_DISAGREES_SHARE:
        yield finding(
            "pupil-disagrees", "/entrance_pupil_diameter_mm",
            f"The entrance pupil is stated as {stated:g} mm, but the stop shows as {entrance.diameter_mm:.4g} mm.",
            figure=stated, limit=entrance.diameter_mm, unit="mm", remedy=f"an entrance pupil of {entrance.diameter_mm:.4g} mm, or another stop",
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
    yield finding(
        "stop-in-glass", "/stop/distance_mm",
        f"The stop lies {stop.distance_mm:g} mm behind {prescription.elements[stop.after_element - 1].name}, where there is no air.",
        figure=stop.distance_mm, limit="0 or more" if last else f"0 to {limit:g} mm", unit="mm",
        remedy="a distance within the air behind the element",
    )  # fmt: skip
