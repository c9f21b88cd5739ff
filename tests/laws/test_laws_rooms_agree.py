"""Rooms held against each other: picture, check, blank and route of one element are of one shape.

`make laws` draws more (`LAWS_DRAWN=50000`), or others (`LAWS_SEED=7`).
"""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from services.glass.domain.blank.figures import Reasons, blank_of
from services.glass.domain.blank.options import BlankOption, Shape, blank_shape, option_for
from services.optics.body import body
from services.optics.law import given
from services.optics.seats import bodies_of
from services.prescription.domain.check import check_prescription
from services.process.domain.element_work import ElementWork, FaceWork, elements_of
from services.process.domain.route.cutting import volume_off_face
from services.quoting.sheet.section_picture import ElementSection, sections
from services.shop.allowances import Allowances, allowances_for
from shared_schemas.blanks import BlankForm, BlankPlan
from shared_schemas.check import CheckReport, SurfaceCheck
from shared_schemas.prescription import Prescription
from shared_schemas.rates import Rates
from tests.chain import Refused, request_of, singlet, through_stages
from tests.laws.drawn_elements import KINDS, Face, curve_ends_mm, depths, extremes, lenses, pressed_mm3, volume_mm3

DRAWN = int(os.environ.get("LAWS_DRAWN", "3000"))
SEED = int(os.environ.get("LAWS_SEED", "11"))
THROUGH_THE_CHAIN = DRAWN // 125
SAME_MM = 1e-9
NOTHING_MM = 1e-6
"""A nanometre: what departs by less is worked as the sphere, so that the drawing and the shop differ by no more."""


@dataclass(frozen=True)
class Drawn:
    """One drawn element in every room."""

    kind: str
    as_json: dict[str, Any]
    report: CheckReport
    picture: ElementSection
    shapes: dict[BlankForm, tuple[Shape, Allowances]]
    work: ElementWork

    @property
    def rim_mm(self) -> float:
        """Finished semi-diameter."""
        return float(self.as_json["diameter_mm"]) / 2

    @cached_property
    def tolerance_mm(self) -> float:
        """The last digits; where a face is drawn with terms or a conic that may depart by less than a nanometre, a few nanometres."""
        faces = (self.as_json["front"], self.as_json["back"])
        return 4 * NOTHING_MM if any(_all_but_plain(face, self.rim_mm) for face in faces) else SAME_MM

    def __str__(self) -> str:
        return f"{self.kind}: {self.as_json}"


def makeable(rates: Rates, seed: int = SEED) -> Iterator[tuple[str, dict[str, Any], Prescription, CheckReport]]:
    """Drawn lenses that the check does not stop."""
    for kind, drawn in lenses(seed=seed):
        prescription = Prescription.model_validate(drawn)
        report = check_prescription(prescription, rates)
        if report.makeable != "no":
            yield kind, drawn, prescription, report


def in_every_room(kind: str, drawn: dict[str, Any], prescription: Prescription, report: CheckReport, rates: Rates) -> Drawn:
    element, glass = prescription.elements[0], rates.glass("N-BK7")
    assert glass.density_g_cm3 is not None
    shapes: dict[BlankForm, tuple[Shape, Allowances]] = {}
    forms: tuple[BlankForm, ...] = ("disc", "pressing")
    finished = body(element=element)
    for form in forms:
        allowances = allowances_for(form=form, body=finished, rates=rates)
        shapes[form] = (blank_shape(body=finished, form=form, allowances=allowances), allowances)
    pressed = next(row for row in rates.stock_forms if row.glass == "N-BK7" and row.form == "pressing")
    pressed = pressed.model_copy(update={"least_diameter_mm": 1.0})
    option = option_for(
        element=element, finished=body(element=element), stock=pressed, density_g_cm3=glass.density_g_cm3, rates=rates
    )
    assert isinstance(option, BlankOption)
    blank = blank_of(
        position=0, option=option, others=(), checked=report.elements[0], glass=glass, reasons=Reasons(stock=given("stock", option.stock.name)),
    )  # fmt: skip
    plan = BlankPlan(currency="USD", blanks=(blank,), materials=())
    (work,) = elements_of(prescription, report, plan, rates)
    return Drawn(kind, drawn["elements"][0], report, sections(prescription=prescription)[0], shapes, work)


@pytest.fixture(scope="module")
def drawn(rates: Rates) -> list[Drawn]:
    source = makeable(rates)
    return [in_every_room(*next(source), rates) for _ in range(DRAWN)]


def z_of(face: Face, rim_mm: float, height_mm: float) -> float:
    """Depth by the second hand."""
    return float(depths(face, rim_mm, np.array([height_mm]))[0])


def _all_but_plain(face: Face, rim_mm: float) -> bool:
    heights = np.linspace(0.0, min(rim_mm, curve_ends_mm(face, rim_mm)), 33)
    drawn, conic, terms = (depths(part, rim_mm, heights) for part in (face, {**face, "asphere": {}}, {**face, "conic": 0.0}))
    return any(0 < abs(drawn - other).max() < 2 * NOTHING_MM for other in (conic, terms))


def test_every_kind_of_element_is_among_those_that_were_drawn(drawn: list[Drawn]) -> None:
    counted = Counter(one.kind for one in drawn)
    assert set(counted) == set(KINDS)
    assert min(counted.values()) > len(drawn) / (4 * len(KINDS)), counted


def test_the_blank_contains_the_finished_element_with_its_allowances(drawn: list[Drawn]) -> None:
    for one in drawn:
        foremost, _ = extremes(one.as_json["front"], one.rim_mm, one.rim_mm)
        _, hindmost = extremes(one.as_json["back"], one.rim_mm, one.rim_mm)
        deep = one.as_json["centre_thickness_mm"] + hindmost - foremost
        for shape, allowed in one.shapes.values():
            assert shape.thickness_mm >= deep + 2 * allowed.per_face.allowance_mm - 2 * NOTHING_MM, str(one)
            assert shape.diameter_mm >= 2 * one.rim_mm + allowed.on_diameter.allowance_mm - SAME_MM, str(one)


def test_the_blank_is_no_thicker_than_the_envelope_at_its_diameter_and_the_allowances(drawn: list[Drawn]) -> None:
    for one in drawn:
        shape, _ = one.shapes["disc"]
        foremost, _ = extremes(one.as_json["front"], one.rim_mm, shape.diameter_mm / 2)
        _, hindmost = extremes(one.as_json["back"], one.rim_mm, shape.diameter_mm / 2)
        deep = one.as_json["centre_thickness_mm"] + hindmost - foremost
        for shape, allowed in one.shapes.values():
            assert shape.envelope_mm == pytest.approx(deep, abs=one.tolerance_mm), str(one)
            assert shape.thickness_mm == pytest.approx(shape.envelope_mm + 2 * allowed.per_face.allowance_mm, abs=SAME_MM), str(one)


def test_what_is_generated_off_a_flat_blank_and_the_lens_at_its_diameter_make_up_the_blank(
    drawn: list[Drawn], rates: Rates
) -> None:
    for one in drawn:
        shape, _ = one.shapes["disc"]
        wide = {
            "form": "disc",
            "diameter_mm": shape.diameter_mm,
            "thickness_mm": shape.thickness_mm,
            "envelope_mm": shape.envelope_mm,
        }
        work = replace(one.work, blank=one.work.blank.model_copy(update=wide))
        if one.work.blank.diameter_mm != shape.diameter_mm:
            continue  # the faces are told to the diameter of the blank that was planned
        off = sum(volume_off_face(work, face, rates) for face in work.faces)
        disc = np.pi / 4 * shape.diameter_mm**2
        near = pytest.approx(disc * shape.thickness_mm, rel=1e-4, abs=one.tolerance_mm * disc)
        assert off + volume_mm3(one.as_json, shape.diameter_mm / 2) == near, str(one)


def test_the_area_of_a_face_is_that_of_its_rings(drawn: list[Drawn]) -> None:
    for one in drawn[:500]:
        for face, of_route in ((one.as_json["front"], one.work.front), (one.as_json["back"], one.work.back)):
            wide = one.work.blank.diameter_mm / 2
            ends = sorted({0.0, wide, one.rim_mm, min(curve_ends_mm(face, one.rim_mm), wide)})
            heights = np.concatenate(
                [low + (high - low) * (1 - np.cos(np.linspace(0, np.pi, 4001))) / 2 for low, high in pairwise(ends)]
            )
            z = depths(face, one.rim_mm, heights)
            rings = np.pi * (heights[1:] + heights[:-1]) * np.hypot(np.diff(heights), np.diff(z))
            assert of_route.area_mm2 == pytest.approx(float(rings.sum()), rel=1e-4), str(one)


def test_a_pressing_is_the_lens_at_its_diameter_with_the_allowance_all_over_both_faces(drawn: list[Drawn]) -> None:
    for one in drawn:
        blank, (_, allowed) = one.work.blank, one.shapes["pressing"]
        pressed = pressed_mm3(one.as_json, blank.diameter_mm, allowed.per_face.allowance_mm)
        assert blank.volume_mm3 == pytest.approx(pressed, rel=2e-5), str(one)


def test_picture_check_blank_and_route_use_the_same_sags(drawn: list[Drawn]) -> None:
    for one in drawn:
        checked, rim = one.report.elements[0], one.rim_mm
        ct = one.as_json["centre_thickness_mm"]
        for face, points, vertex, of_check, of_route in (
            (one.as_json["front"], one.picture.front, 0.0, checked.front, one.work.front),
            (one.as_json["back"], one.picture.back, ct, checked.back, one.work.back),
        ):
            _the_rooms_agree(one, face, points, vertex, of_check, of_route)
        edge = ct - z_of(one.as_json["front"], rim, rim) + z_of(one.as_json["back"], rim, rim)
        assert checked.edge_thickness_mm == pytest.approx(edge, abs=one.tolerance_mm), str(one)
        assert one.work.edge_mm == checked.edge_thickness_mm, str(one)
        assert one.picture.back[-1][0] - one.picture.front[-1][0] == pytest.approx(checked.edge_thickness_mm, abs=SAME_MM), str(one)


def _the_rooms_agree(
    one: Drawn, face: Face, points: tuple[tuple[float, float], ...], vertex_mm: float, of_check: SurfaceCheck, of_route: FaceWork
) -> None:
    shown = np.array(points)
    assert np.abs(shown[:, 0] - vertex_mm - depths(face, one.rim_mm, shown[:, 1])).max() <= one.tolerance_mm, str(one)
    at_rim = shown[-1, 0] - vertex_mm
    assert of_check.sag_mm == pytest.approx(at_rim, abs=SAME_MM), str(one)
    assert of_route.sag_mm == pytest.approx(abs(of_check.sag_mm), abs=SAME_MM), str(one)
    on_blank = z_of(face, one.rim_mm, one.work.blank.diameter_mm / 2)
    assert of_route.sag_at_blank_mm == pytest.approx(abs(on_blank), abs=one.tolerance_mm), str(one)
    assert of_check.seat_width_mm == pytest.approx(max(0.0, one.rim_mm - of_check.semi_diameter_mm), abs=SAME_MM), str(one)


IN_OTHER_WORDS: tuple[Face, ...] = ({"conic": 1e-12}, {"conic": -1e-12}, {"asphere": {"4": 1e-12}}, {"asphere": {"4": 0.0}})


def spherical(rates: Rates) -> Iterator[tuple[str, dict[str, Any]]]:
    """Drawn lenses of which at least one face is a sphere, as drawn."""
    for kind, drawn, *_ in makeable(rates, seed=SEED + 1):
        if "asphere" not in drawn["elements"][0]["front"] and "conic" not in drawn["elements"][0]["front"]:
            yield kind, drawn


def in_other_words(drawn: dict[str, Any], words: Face) -> dict[str, Any]:
    element = drawn["elements"][0]
    face = element["front"]
    small = {n: term * (10.0 / element["diameter_mm"]) ** int(n) for n, term in words.get("asphere", {}).items()}
    written = {**words, "asphere": small} if small else words
    return {**drawn, "elements": [{**element, "front": {**face, **written}}]}


def test_a_sphere_written_three_ways_is_checked_cut_and_worked_alike(rates: Rates) -> None:
    source = spherical(rates)
    for _ in range(DRAWN // 20):
        kind, drawn = next(source)
        plain = check_prescription(Prescription.model_validate(drawn), rates)
        for words in IN_OTHER_WORDS:
            try:
                other = Prescription.model_validate(in_other_words(drawn, words))
            except ValueError:
                continue  # a conic constant may end the curve a hair before a clear diameter that reaches all of it
            assert check_prescription(other, rates).model_dump_json() == plain.model_dump_json(), f"{kind}: {drawn} {words}"


def test_a_sphere_written_three_ways_is_the_same_bytes_in_every_section(rates: Rates) -> None:
    source = spherical(rates)
    compared = 0
    while compared < THROUGH_THE_CHAIN:
        kind, drawn = next(source)
        try:
            plain = sections_as_bytes(drawn, rates)
        except Refused:
            continue
        compared += 1
        for words in IN_OTHER_WORDS[:3]:
            assert sections_as_bytes(in_other_words(drawn, words), rates) == plain, f"{kind}: {drawn} {words}"


def sections_as_bytes(drawn: dict[str, Any], rates: Rates) -> list[str]:
    """Check report, blank plan, operation plan and the breaks of the quote."""
    report, blanks, operations, quote = through_stages(request_of(drawn, (5, 100)), rates)
    return [section.model_dump_json() for section in (report, blanks, operations, *quote.breaks)]


def test_a_seat_that_keeps_neighbours_apart_is_on_the_blank_in_the_route_and_in_the_picture(rates: Rates) -> None:
    first = singlet(front_mm=None, back_mm=40.0, diameter_mm=25.0, centre_thickness_mm=3.0, clear_mm=23.0)["elements"][0]
    second = {
        **singlet(front_mm=60.0, back_mm=None, diameter_mm=25.0, centre_thickness_mm=6.0, clear_mm=23.0)["elements"][0],
        "name": "L2",
    }
    lens = {"title": "rims that touch", "elements": [first, second], "spaces": [{"gap_mm": 0.63}]}
    request = request_of(lens, (5,))
    report, blanks, operations, quote = through_stages(request, rates)
    seat = bodies_of(request.prescription)[0].back
    assert report.elements[0].back.seat_width_mm == pytest.approx(seat.rim_mm - seat.curved_to_mm) != 0
    shape = blanks.blanks[0]
    assert shape.envelope_mm == pytest.approx(3.0 + seat.sag_mm(seat.curved_to_mm), abs=1e-9)
    assert sections(prescription=quote.prescription)[0].back[-2][1] == pytest.approx(seat.curved_to_mm, abs=1e-9)
    assert "bevel" in [operation.operation for operation in operations.routes[0].operations]
