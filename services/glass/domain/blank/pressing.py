"""The volume of a pressing, which has the curves of its lens in it, with what it is made of."""

from __future__ import annotations

from services.glass.domain.blank.options import Shape
from services.optics.body import semi_diameter_mm
from services.optics.face_glass import area_mm2, cap_area_mm2, face_with_seat_mm2, plane_area_mm2, pressed_volume_mm3
from services.optics.law import figure_of, given
from services.optics.surface import Profile, profile
from shared_schemas.figure import Figure
from shared_schemas.prescription import Element

TURNED = "the lens, its faces going on to the diameter of the blank: the integral of its thickness"
INTEGRATED = "the integral of the surface over rings"


def pressed_volume_figure(*, shape: Shape, element: Element, position: int, per_face: Figure) -> Figure:
    """The volume of a pressing: its lens at the diameter of the blank, and an allowance all over both faces."""
    if shape.pressed is None:
        raise ValueError("only a pressing has the curves of its lens in it")
    faces = [
        _area(
            name, profile(surface=surface, rim_mm=element.diameter_mm / 2), shape, f"/elements/{position}/blank/diameter_mm", area
        )
        for name, surface, area in (
            ("front_mm2", element.front, shape.pressed.front_mm2),
            ("back_mm2", element.back, shape.pressed.back_mm2),
        )
    ]
    return figure_of(
        pressed_volume_mm3,
        name="volume_mm3",
        lens_mm3=given("lens_mm3", shape.pressed.lens_mm3, "mm3", source=TURNED),
        front_mm2=faces[0],
        back_mm2=faces[1],
        per_face_mm=per_face,
    )


def _area(name: str, face: Profile, shape: Shape, at: str, area: float) -> Figure:
    """The area of a face as it goes on to the diameter of the blank; of one with a seat for its neighbour as it was measured."""
    diameter = given("diameter_mm", shape.diameter_mm, "mm", at=at)
    height = min(shape.diameter_mm / 2, face.curved_to_mm)
    radius = face.surface.radius_mm
    if radius is None and not face.aspheric:
        return figure_of(plane_area_mm2, name=name, unit="mm2", diameter_mm=diameter)
    if radius is None or face.aspheric:
        curved = given("curved_mm2", area_mm2(face=face, height_mm=height), "mm2", source=INTEGRATED)
    else:
        curved = figure_of(
            cap_area_mm2,
            radius_mm=given("radius_mm", abs(radius), "mm", source="the face as it is worked"),
            sag_mm=given("sag_mm", abs(face.sag_mm(height)), "mm", source="the sagitta where the curve ends"),
        )
    ends = given("curved_mm", height, "mm", source="the edge of the blank, or where the curve ends before it")
    rim = figure_of(semi_diameter_mm, name="rim_mm", diameter_mm=diameter)
    figure = figure_of(face_with_seat_mm2, name=name, curved_mm2=curved, curved_mm=ends, rim_mm=rim)
    return figure if figure.value == area else given(name, area, "mm2", source=INTEGRATED)
