"""The picture of a lens in section: its curves by the sag equation, its elements apart from each other, its text as XML."""

from __future__ import annotations

import json
import math
from itertools import pairwise
from pathlib import Path
from typing import Any
from xml.etree import ElementTree  # nosec B405  our own text

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from services.optics.surface import as_worked, profile
from services.quoting.sheet.axial_rays import axial_rays
from services.quoting.sheet.language import language
from services.quoting.sheet.section_picture import ElementSection, section_svg, sections
from shared_schemas.prescription import Prescription, Surface

ROOT = Path(__file__).resolve().parents[3]
LENSES = [ROOT / "services/desk/demo/lake_ice_lidar.json", *sorted((ROOT / "tests/outside/prescriptions").glob("*.json"))]
SVG = "{http://www.w3.org/2000/svg}"


def prescription(path: Path) -> Prescription:
    document = json.loads(path.read_text(encoding="utf-8"))
    return Prescription.model_validate(document.get("prescription", document))


def one_element(**front: Any) -> Prescription:
    surface = {"radius_mm": 50.0, "clear_diameter_mm": 18.0, **front}
    plane = {"radius_mm": None, "clear_diameter_mm": 18.0}
    element = {"name": "L1", "glass": "N-BK7", "diameter_mm": 20.0, "centre_thickness_mm": 6.0, "front": surface, "back": plane}
    return Prescription.model_validate({"title": "one", "elements": [element]})


def on_the_conic(surface: Surface, z: float, y: float) -> float:
    """How far a point fails y^2 = 2 R z - (1 + k) z^2, the conic through the vertex in implicit form (derived), as a length."""
    assert surface.radius_mm is not None
    return (y * y - 2 * surface.radius_mm * z + (1 + surface.conic) * z * z) / abs(surface.radius_mm)


@pytest.mark.parametrize("path", LENSES, ids=lambda path: path.stem)
def test_every_point_of_a_face_lies_on_its_conic(path: Path) -> None:
    lens = prescription(path)
    for part, element in zip(sections(prescription=lens), lens.elements, strict=True):
        for points, surface in ((part.front, element.front), (part.back, element.back)):
            vertex = points[0][0]
            assert points[0][1] == 0
            assert points[-1][1] == pytest.approx(element.diameter_mm / 2)
            curved = profile(surface=surface, rim_mm=element.diameter_mm / 2).curved_to_mm
            for z, y in points:
                if y > curved:
                    assert z == points[-2][0], "beyond the curve a flat seat goes on"
                elif surface.radius_mm is None:
                    assert z == vertex
                else:
                    assert abs(on_the_conic(surface, z - vertex, y)) < 1e-9


@pytest.mark.parametrize("path", LENSES, ids=lambda path: path.stem)
def test_elements_follow_each_other_and_do_not_overlap(path: Path) -> None:
    lens = prescription(path)
    parts = sections(prescription=lens)
    for part, element in zip(parts, lens.elements, strict=True):
        assert part.back[0][0] - part.front[0][0] == pytest.approx(element.centre_thickness_mm)
        assert all(at(part.front, y) < at(part.back, y) + 1e-9 for _, y in part.front), part.name
    for before, after, space in zip(parts, parts[1:], lens.spaces, strict=False):
        assert after.front[0][0] - before.back[0][0] == pytest.approx(space.gap_mm or 0.0)
        low = min(before.back[-1][1], after.front[-1][1])
        heights = [y for _, y in (*before.back, *after.front) if y <= low]
        # Chords of two faces with one radius and unlike rims differ by the sagitta of a chord.
        assert all(at(before.back, y) <= at(after.front, y) + 0.02 for y in heights), (before.name, after.name)


def at(face: tuple[tuple[float, float], ...], height: float) -> float:
    """Where a face is at a height, between its points on the chord."""
    for (z0, y0), (z1, y1) in pairwise(face):
        if y0 <= height <= y1 and y1 > y0:
            return z0 + (z1 - z0) * (height - y0) / (y1 - y0)
    return face[-1][0]


def picture(lens: Prescription) -> str:
    return section_svg(prescription=lens, indices=[1.6] * len(lens.elements), said=language("en"))


@pytest.mark.parametrize("path", LENSES, ids=lambda path: path.stem)
def test_the_picture_is_xml_to_the_scale_of_its_dimensions_with_every_name(path: Path) -> None:
    lens = prescription(path)
    root = ElementTree.fromstring(picture(lens))
    names = [one.text for one in root.iter(f"{SVG}text") if one.get("class") == "name"]
    assert names[: len(lens.elements)] == [element.name for element in lens.elements]
    figures = [one.text or "" for one in root.iter(f"{SVG}text") if one.get("class") == "figure"]
    assert figures[0] == f"⌀ {max(element.diameter_mm for element in lens.elements):g}"
    whole = [one for one in root.iter(f"{SVG}line") if one.get("class") == "dimension"][-1]
    parts = sections(prescription=lens)
    assert float(figures[-1]) == pytest.approx(parts[-1].back[0][0])
    scale = (float(whole.get("x2", "")) - float(whole.get("x1", ""))) / float(figures[-1])
    _, _, wide, tall = map(float, root.get("viewBox", "").split())
    glass = [one for one in root.iter(f"{SVG}polygon") if one.get("class") == "glass"]
    for polygon, part in zip(glass, parts, strict=True):
        drawn = [tuple(map(float, point.split(","))) for point in polygon.get("points", "").split()]
        first, zero = drawn[0], part.outline()[0]
        for (x, y), (z, height) in zip(drawn, part.outline(), strict=True):
            assert 0 <= x <= wide
            assert 0 <= y <= tall
            assert x - first[0] == pytest.approx((z - zero[0]) * scale, abs=0.02 + 1e-3 * abs(x - first[0]))
            assert first[1] - y == pytest.approx((height - zero[1]) * scale, abs=0.02 + 1e-3 * abs(first[1] - y))


def test_every_dimension_is_as_long_as_it_says() -> None:
    lens = prescription(LENSES[0])
    root = ElementTree.fromstring(picture(lens))
    across = [one for one in root.iter(f"{SVG}line") if one.get("class") == "dimension" and one.get("y1") == one.get("y2")]
    figures = [
        float(one.text or "") for one in root.iter(f"{SVG}text") if one.get("class") == "figure" and not one.get("transform")
    ]
    lengths = [float(one.get("x2", "")) - float(one.get("x1", "")) for one in across]
    scale = lengths[-1] / figures[-1]
    assert lengths == pytest.approx([figure * scale for figure in figures], abs=0.02)
    assert 18.4 in figures
    assert 3.6 not in figures, "it has no room between its arrows"


def test_rays_lie_on_the_faces_and_bend_by_the_law_of_snell() -> None:
    lens = one_element(radius_mm=40.0)
    rays = axial_rays(prescription=lens, indices=[1.6], from_mm=-5.0, to_mm=20.0)
    assert len(rays) == 4
    for ray in rays:
        (z0, y0), (z1, y1), (z2, y2), (z3, y3) = ray
        assert abs(on_the_conic(lens.elements[0].front, z1, y1)) < 1e-9
        assert z2 == pytest.approx(6.0)
        # Angles to the normal of the front, whose centre lies at (40, 0), and to the axis at the plane back.
        normal = math.asin(y1 / 40.0)
        before, inside, behind = (
            math.atan2(b - a, d - c) for (c, a), (d, b) in (((z0, y0), (z1, y1)), ((z1, y1), (z2, y2)), ((z2, y2), (z3, y3)))
        )
        assert 1.6 * math.sin(inside + normal) == pytest.approx(math.sin(before + normal), abs=1e-9)
        assert math.sin(behind) == pytest.approx(1.6 * math.sin(inside), abs=1e-9)
    assert rays[0][0][1] == -rays[-1][0][1] > rays[1][0][1] > 0


def test_rays_of_a_near_object_come_from_its_point_on_the_axis() -> None:
    lens = one_element(radius_mm=40.0).model_copy(update={"object_distance_mm": 200.0})
    for (z0, y0), (z1, y1), *_ in axial_rays(prescription=lens, indices=[1.6], from_mm=-5.0, to_mm=20.0):
        assert y0 / (z0 + 200.0) == pytest.approx(y1 / (z1 + 200.0))


def test_an_extension_line_goes_beyond_its_dimension_line() -> None:
    lines = list(ElementTree.fromstring(picture(one_element())).iter(f"{SVG}line"))
    upright = next(one for one in lines if one.get("class") == "dimension" and one.get("x1") == one.get("x2"))
    level = [one for one in lines if one.get("class") == "extension" and one.get("y1") == one.get("y2")]
    assert len(level) == 2
    assert all(float(one.get("x1", "")) < float(upright.get("x1", "")) < float(one.get("x2", "")) for one in level)


@settings(deadline=None, max_examples=60)
@given(
    radius=st.floats(12, 500), sign=st.sampled_from((1, -1)), conic=st.floats(-5, 0.3), fourth=st.floats(-1e-5, 1e-5),
)  # fmt: skip
def test_an_aspheric_face_is_its_conic_and_its_terms(radius: float, sign: int, conic: float, fourth: float) -> None:
    surface = one_element(radius_mm=sign * radius, conic=conic, asphere={"4": fourth}).elements[0].front
    (part,) = sections(prescription=one_element(radius_mm=sign * radius, conic=conic, asphere={"4": fourth}))
    # What departs by less than a nanometre is worked, and drawn, without it.
    worked = as_worked(surface=surface, rim_mm=10.0)
    for z, y in part.front:
        if y <= profile(surface=surface, rim_mm=10.0).curved_to_mm:
            # The equation of the conic falls by 2 R for each millimetre of depth, so that its rest over 2 R is an error of depth [mm].
            assert abs(on_the_conic(worked, z - worked.asphere.get("4", 0.0) * y**4, y)) / (2 * radius) < 4e-8


def test_a_curve_that_ends_before_the_rim_goes_on_as_a_flat_seat() -> None:
    (part,) = sections(prescription=one_element(radius_mm=9.8, clear_diameter_mm=18.0))
    assert [y for _, y in part.front[-2:]] == [9.0, 10.0]
    assert part.front[-1][0] == part.front[-2][0]


def test_an_outline_goes_once_round_and_is_symmetric() -> None:
    outline = ElementSection("L1", ((0.0, 0.0), (1.0, 5.0)), ((4.0, 0.0), (3.0, 5.0))).outline()
    assert outline == ((1.0, -5.0), (0.0, 0.0), (1.0, 5.0), (3.0, 5.0), (4.0, 0.0), (3.0, -5.0))


def test_names_and_titles_are_text_and_the_bytes_are_the_same_each_time() -> None:
    lens = one_element()
    hostile = lens.model_copy(
        update={"title": "<script>&\x85", "elements": (lens.elements[0].model_copy(update={"name": "<b>&\u202e"}),)}
    )
    root = ElementTree.fromstring(picture(hostile))
    assert next(one.text for one in root.iter(f"{SVG}text")) == "<b>&"
    assert "<script" not in picture(hostile)
    assert picture(hostile) == picture(hostile)
