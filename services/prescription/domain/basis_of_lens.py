"""Why the figures of the whole lens, of its spaces and of its images are what they are: each from the law that gave it.

Pointers are those of a quote, in which the check report stands at `/check`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from services.optics.body import Body, air_gap_mm
from services.optics.first_order import (
    Interface,
    RayMatrix,
    back_focus_mm,
    f_number,
    focal_length_mm,
    front_focus_mm,
    image_distance_mm,
    magnification,
    petzval_of_sum_mm,
    principal_plane_back_mm,
    principal_plane_front_mm,
    system_matrix,
    vertex_length_mm,
    working_f_number,
)
from services.optics.fringes import REFERENCE_NM, fringes_of_sag
from services.optics.law import column, figure_of, given
from services.optics.rays import from_paraxial_focus_mm
from services.optics.train import focal_length_per_radius, heights_coming, heights_leaving
from services.prescription.domain.cement import (
    FILM_MM,
    TEMPERATURE_RANGE_K,
    expansion_difference_1e6_per_k,
    film_shear_strain,
    film_shift_um,
)
from services.prescription.domain.materials import Material
from services.prescription.domain.neighbours import contact_diameter_mm
from shared_schemas.check import ElementCheck, FirstOrder, ImageSpot, SpaceCheck
from shared_schemas.figure import Figure
from shared_schemas.prescription import Prescription, Space, Surface

PARAXIAL = (
    "paraxial trace through radii, thicknesses and indices: n'u' = n u - y (n' - n) / R, y' = y + t u' (Kingslake and Johnson)"
)
EXACT = "exact rays by Snell's law at the stated aperture"


def first_order_with_basis(order: FirstOrder, *, prescription: Prescription, train: Sequence[Interface]) -> FirstOrder:
    """The figures of first order with what explains them."""
    return order.model_copy(update={"basis": tuple(_of_first_order(order, prescription, system_matrix(train)))})


def _of_first_order(order: FirstOrder, prescription: Prescription, matrix: RayMatrix) -> Iterator[Figure]:
    yield given("wavelength_nm", order.wavelength_nm, "nm", at="/prescription/wavelength_nm")
    lengths = [
        given(element.name, element.centre_thickness_mm, "mm", at=f"/prescription/elements/{i}/centre_thickness_mm")
        for i, element in enumerate(prescription.elements)
    ]
    lengths += [
        given(f"gap {i + 1}", space.gap_mm, "mm", at=f"/prescription/spaces/{i}/gap_mm")
        for i, space in enumerate(prescription.spaces)
        if space.gap_mm is not None
    ]
    yield figure_of(vertex_length_mm, name="length_mm", lengths_mm=lengths)
    a, b, c, d = (given(name, value, unit, source=PARAXIAL) for name, value, unit in (
        ("a", matrix.a, ""), ("b_mm", matrix.b, "mm"), ("c_per_mm", matrix.c, "1/mm"), ("d", matrix.d, "")
    ))  # fmt: skip
    if order.focal_length_mm is not None:
        yield figure_of(focal_length_mm, c_per_mm=c)
        yield figure_of(back_focus_mm, a=a, c_per_mm=c)
        yield figure_of(front_focus_mm, c_per_mm=c, d=d)
        yield figure_of(principal_plane_back_mm, a=a, c_per_mm=c)
        yield figure_of(principal_plane_front_mm, c_per_mm=c, d=d)
    yield from _of_beam(order)
    yield from _of_image(order, prescription, a, b, c, d)


def _of_beam(order: FirstOrder) -> Iterator[Figure]:
    if order.petzval_radius_mm is not None:
        sum_per_mm = given("sum_per_mm", -1 / order.petzval_radius_mm, "1/mm", source="sum of (n' - n) / (n n' R) over the faces")
        yield figure_of(petzval_of_sum_mm, name="petzval_radius_mm", sum_per_mm=sum_per_mm)
    how = f"paraxial image of {order.aperture_from}" if order.aperture_from else PARAXIAL
    for name in (
        "entrance_pupil_diameter_mm", "entrance_pupil_position_mm", "exit_pupil_diameter_mm", "exit_pupil_position_mm", "numerical_aperture"
    ):  # fmt: skip
        value = getattr(order, name)
        if value is not None:
            yield given(name, value, "" if name == "numerical_aperture" else "mm", source=how)
    if order.f_number is not None and order.focal_length_mm is not None and order.entrance_pupil_diameter_mm is not None:
        yield figure_of(
            f_number, focal_length_mm=_beside("focal_length_mm", order.focal_length_mm),
            entrance_pupil_diameter_mm=_beside("entrance_pupil_diameter_mm", order.entrance_pupil_diameter_mm),
        )  # fmt: skip
    if order.working_f_number is not None and order.numerical_aperture is not None:
        yield figure_of(working_f_number, numerical_aperture=_beside("numerical_aperture", order.numerical_aperture, ""))
    for name, ray, heights in (
        ("marginal_heights_mm", "marginal ray", order.marginal_heights_mm), ("chief_heights_mm", "chief ray of the stated field", order.chief_heights_mm)
    ):  # fmt: skip
        for height in heights:
            yield given(name, height, "mm", source=f"height of the {ray} on the face; {PARAXIAL}")


def _of_image(order: FirstOrder, prescription: Prescription, a: Figure, b: Figure, c: Figure, d: Figure) -> Iterator[Figure]:
    distance = prescription.object_distance_mm
    if distance is None:
        if order.image_distance_mm is not None:
            yield given("image_distance_mm", order.image_distance_mm, "mm", at="/check/first_order/back_focus_mm")
        if order.magnification is not None:
            yield given("magnification", order.magnification, source="an object far away")
        return
    far = given("object_distance_mm", distance, "mm", at="/prescription/object_distance_mm")
    if order.image_distance_mm is not None:
        yield figure_of(image_distance_mm, a=a, b_mm=b, c_per_mm=c, d=d, object_distance_mm=far)
        yield figure_of(magnification, c_per_mm=c, d=d, object_distance_mm=far)


def _beside(name: str, value: float, unit: str = "mm") -> Figure:
    return given(name, value, unit, at=f"/check/first_order/{name}")


def elements_with_effects(
    elements: Sequence[ElementCheck], *, train: Sequence[Interface], focal_length: float | None
) -> tuple[ElementCheck, ...]:
    """Elements whose faces tell besides what their radii do to the focal length of the whole lens; `elements` are all of the lens."""
    if focal_length is None:
        return tuple(elements)
    coming, leaving = heights_coming(train), heights_leaving(train)
    effects = [_effect(place, face, focal_length, coming[place], leaving[place]) for place, face in enumerate(train)]
    return tuple(
        element.model_copy(
            update={
                side: getattr(element, side).model_copy(update={"basis": (*getattr(element, side).basis, *effects[2 * i + at])})
                for at, side in enumerate(("front", "back"))
            }
        )
        for i, element in enumerate(elements)
    )


def _effect(place: int, face: Interface, focal_length: float, coming: float, leaving: float) -> tuple[Figure, ...]:
    if face.radius_mm is None:
        return ()
    drawn = f"/prescription/elements/{place // 2}/{'back' if place % 2 else 'front'}"
    height = "height on the face of a ray parallel to the axis at height 1 {}; " + PARAXIAL
    return (
        figure_of(
            focal_length_per_radius, focal_length_mm=_beside("focal_length_mm", focal_length),
            radius_mm=given("radius_mm", face.radius_mm, "mm", at=f"{drawn}/radius_mm"),
            height_coming=given("height_coming", coming, source=height.format("before the lens")),
            height_leaving=given("height_leaving", leaving, source=height.format("behind the lens")),
            index_before=given("index_before", face.index_before, source="index before the face: air, cement or glass"),
            index_after=given("index_after", face.index_after, source="index behind the face: air, cement or glass"),
        ),
    )  # fmt: skip


def space_with_basis(
    checked: SpaceCheck, *, place: int, prescription: Prescription, bodies: Sequence[Body], materials: Sequence[Material]
) -> SpaceCheck:
    """The figures of a space with what explains them."""
    return checked.model_copy(update={"basis": tuple(_of_space(checked, place, prescription, bodies, materials))})


def _of_space(
    checked: SpaceCheck, place: int, prescription: Prescription, bodies: Sequence[Body], materials: Sequence[Material]
) -> Iterator[Figure]:
    before, behind, space = bodies[place], bodies[place + 1], prescription.spaces[place]
    axial = _axial(place, space)
    yield axial.model_copy(update={"name": "gap_at_axis_mm"})
    first, second = prescription.elements[place].back, prescription.elements[place + 1].front
    rim = min(before.rim_mm, behind.rim_mm)
    clear = min(rim, max(first.clear_diameter_mm, second.clear_diameter_mm) / 2)

    def gap(name: str, before_mm: float, behind_mm: float, where: str) -> Figure:
        return figure_of(
            air_gap_mm, name=name, axial_mm=axial,
            sag_before_mm=given("sag_before_mm", before.back.sag_mm(before_mm), "mm", source=f"sagitta of the face before {where}"),
            sag_behind_mm=given("sag_behind_mm", behind.front.sag_mm(behind_mm), "mm", source=f"sagitta of the face behind {where}"),
        )  # fmt: skip

    yield gap("gap_at_clear_mm", clear, clear, f"at {clear:g} mm, the larger clear semi-diameter that both reach")
    yield gap("gap_at_rim_mm", rim, rim, f"at {rim:g} mm, the smaller rim")
    if checked.spacer_length_mm is not None and checked.spacer_front_contact_mm and checked.spacer_back_contact_mm:
        yield gap(
            "spacer_length_mm",
            checked.spacer_front_contact_mm / 2,
            checked.spacer_back_contact_mm / 2,
            "at the circle on which the spacer touches it",
        )
        yield _contact("spacer_front_contact_mm", place, "back", first, 2 * before.rim_mm)
        yield _contact("spacer_back_contact_mm", place + 1, "front", second, 2 * behind.rim_mm)
    if checked.mismatch_fringes is not None:
        apart = before.back.sag_mm(clear) - behind.front.sag_mm(clear)
        yield figure_of(
            fringes_of_sag, name="mismatch_fringes", unit="fringe",
            sag_error_mm=given("sag_error_mm", apart, "mm", source=f"difference of the sagittas of both faces at {clear:g} mm"),
            wavelength_nm=given("wavelength_nm", REFERENCE_NM, "nm", source="ISO 10110-5, from memory"),
        )  # fmt: skip
    yield from _of_film(checked, place, prescription, materials)


def _axial(place: int, space: Space) -> Figure:
    if space.gap_mm is None:
        return given("axial_mm", 0.0, "mm", source="a film of cement, taken to have no thickness")
    return given("axial_mm", space.gap_mm, "mm", at=f"/prescription/spaces/{place}/gap_mm")


def _contact(name: str, element: int, side: str, surface: Surface, diameter_mm: float) -> Figure:
    return figure_of(
        contact_diameter_mm, name=name,
        clear_diameter_mm=given("clear_diameter_mm", surface.clear_diameter_mm, "mm", at=f"/prescription/elements/{element}/{side}/clear_diameter_mm"),
        diameter_mm=given("diameter_mm", diameter_mm, "mm", at=f"/prescription/elements/{element}/diameter_mm"),
    )  # fmt: skip


def _of_film(checked: SpaceCheck, place: int, prescription: Prescription, materials: Sequence[Material]) -> Iterator[Figure]:
    rows = [material.row for material in materials[place : place + 2]]
    one, other = rows
    if checked.film_shift_um is None or one is None or other is None:
        return
    name = "cte_30_70_1e6_per_k"
    figures = [column(name, row.cte_30_70_1e6_per_k or 0.0, "1e-6/K", row.named_in("glasses")) for row in (one, other)]
    yield figure_of(expansion_difference_1e6_per_k, one_1e6_per_k=figures[0], other_1e6_per_k=figures[1])
    narrower = min((place, place + 1), key=lambda at: prescription.elements[at].diameter_mm)
    yield figure_of(
        film_shift_um, temperature_change_k=given("temperature_change_k", TEMPERATURE_RANGE_K, "K", source="common practice"),
        difference_1e6_per_k=given("difference_1e6_per_k", checked.expansion_difference_1e6_per_k or 0.0, "1e-6/K", at=f"/check/spaces/{place}/expansion_difference_1e6_per_k"),
        diameter_mm=given("diameter_mm", prescription.elements[narrower].diameter_mm, "mm", at=f"/prescription/elements/{narrower}/diameter_mm"),
    )  # fmt: skip
    yield figure_of(
        film_shear_strain, film_shift_um=given("film_shift_um", checked.film_shift_um, "um", at=f"/check/spaces/{place}/film_shift_um"),
        film_mm=given("film_mm", FILM_MM, "mm", source="common practice, from memory"),
    )  # fmt: skip


def image_with_basis(image: ImageSpot, *, place: int, paraxial_focus_mm: float | None) -> ImageSpot:
    """The figures of an image with what explains them."""
    return image.model_copy(update={"basis": tuple(_of_spot(image, place, paraxial_focus_mm))})


def _of_spot(image: ImageSpot, place: int, paraxial_focus_mm: float | None) -> Iterator[Figure]:
    on_axis = image.field_deg == 0
    at, source = (None, "the axis") if on_axis else ("/prescription/field_half_angle_deg", None)
    yield given("field_deg", image.field_deg, "deg", at=at, source=source)
    yield given(
        "rays_lost_share", image.rays_lost_share, source=f"rays that miss a face or are totally reflected, over all; {EXACT}"
    )
    if image.rms_spot_mm is not None:
        yield given("rms_spot_mm", image.rms_spot_mm, "mm", source=f"RMS radius of the rays at the best focus; {EXACT}")
    if image.best_focus_mm is not None:
        yield given(
            "best_focus_mm", image.best_focus_mm, "mm", source=f"where the RMS radius is least, behind the last vertex; {EXACT}"
        )
    if image.from_paraxial_focus_mm is not None and image.best_focus_mm is not None and paraxial_focus_mm is not None:
        yield figure_of(
            from_paraxial_focus_mm, best_focus_mm=given("best_focus_mm", image.best_focus_mm, "mm", at=f"/check/images/{place}/best_focus_mm"),
            paraxial_focus_mm=given("paraxial_focus_mm", paraxial_focus_mm, "mm", at="/check/first_order/image_distance_mm"),
        )  # fmt: skip
