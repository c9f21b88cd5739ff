"""Aspheric faces: their ways, their minutes, what is made for them, when they are polished as spheres, and when nobody makes them."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import pytest

from services.optics.departure import from_reference_sphere
from services.optics.surface import profile
from services.process.domain.aspheres.minutes import pass_share, passes
from services.process.domain.aspheres.remarks import break_even_pieces
from services.process.domain.aspheres.shape import form_in_words
from services.process.domain.plan import plan_operations
from shared_schemas.operations import Operation, OperationPlan
from shared_schemas.prescription import Surface
from shared_schemas.problem import FigureOutOfRange
from shared_schemas.rates import AsphereRow, RateMissing, Rates
from shared_schemas.traveller import Refusal
from tests.unit.process.conftest import taken

Fixture = Callable[..., Any]


STRONG = -6.0
"""A conic constant with which a face of 25 mm and R 50 departs by 43 um: nobody would make it as a sphere."""


def drawn(lens: Fixture, piece: Fixture, *, conic: float = STRONG, back_conic: float = 0.0, **changes: Any) -> Any:
    """A lens of one element with aspheric faces as drawn: check and prescription agree."""
    made = lens(piece(**changes))
    element = made.job.request.prescription.elements[0]
    front, back = (face.model_copy(update={"conic": k}) for face, k in ((element.front, conic), (element.back, back_conic)))
    prescription = made.job.request.prescription.model_copy(
        update={"elements": (element.model_copy(update={"front": front, "back": back}),)}
    )
    job = made.job.model_copy(update={"request": made.job.request.model_copy(update={"prescription": prescription})})
    of_check = made.check.elements[0]
    faces = {
        name: getattr(of_check, name).model_copy(update={"aspheric": k != 0})
        for name, k in (("front", conic), ("back", back_conic))
    }
    report = made.check.model_copy(update={"elements": (of_check.model_copy(update=faces),)})
    return type(made)(job=job, check=report, blanks=made.blanks, pieces=made.pieces)


def planned(made: Any, rates: Rates) -> OperationPlan:
    found = plan_operations(job=made.job, check=made.check, blanks=made.blanks, rates=rates)
    assert isinstance(found, OperationPlan)
    return found


def by_way(plan: OperationPlan, face: str = "front") -> dict[str, list[Operation]]:
    """The operations of each way of a face."""
    found: dict[str, list[Operation]] = {}
    for operation in plan.routes[0].operations:
        for way in operation.ways:
            if way.choice == face:
                found.setdefault(way.option, []).append(operation)
    return found


def without(rates: Rates, **changes: Any) -> Rates:
    return rates.model_copy(update={"aspheres": tuple(row.model_copy(update=changes) for row in rates.aspheres)})


def test_an_asphere_is_ground_along_its_form_corrected_and_measured_one_at_a_time(
    lens: Fixture, piece: Fixture, rates: Rates
) -> None:
    ways = by_way(planned(drawn(lens, piece, irregularity=(0.5, 0.5)), rates))
    assert set(ways) == {"fine profile", "stitch", "null"}
    for name, steps in ways.items():
        assert [(one.operation, one.method, one.batch_size) for one in steps] == [
            ("generate", "form", 1), ("polish", "asphere", 1), ("inspect", name, 1)
        ]  # fmt: skip
    common = taken(planned(drawn(lens, piece), rates).routes[0]).operations
    assert {one.face for one in common if one.operation in ("block", "fine_grind")} == {"back"}
    assert [one.method for one in common if one.operation == "centre"] == ["asphere"]


def test_a_way_that_is_dearer_at_every_quantity_is_left_out(lens: Fixture, piece: Fixture, rates: Rates) -> None:
    """What is allowed 5 um is measured by profile: quickest, and with nothing made but its program."""
    made = drawn(lens, piece, conic=-60.0, irregularity=(18.0, 0.5), radii_mm=(30.0, -50.0))
    assert set(by_way(planned(made, rates))) == {"profile"}


def test_a_form_tighter_by_a_hundredth_takes_at_most_three_hundredths_more(lens: Fixture, piece: Fixture, rates: Rates) -> None:
    for fringes in (0.12, 0.2, 0.5, 1.0, 3.0):
        plans = [planned(drawn(lens, piece, conic=-8.0, irregularity=(one, 1.0)), rates) for one in (fringes, 0.99 * fringes)]
        wide, tight = ({name: sum(one.batch_min for one in steps) for name, steps in by_way(plan).items()} for plan in plans)
        assert wide
        for name in set(wide) & set(tight):
            assert wide[name] < tight[name] < 1.03 * wide[name]


def test_the_passes_are_no_whole_number_and_at_least_one() -> None:
    assert passes(start_form_um=2.0, form_um=0.5, gain=2.5) == pytest.approx(1.513, abs=1e-3)
    assert passes(start_form_um=2.0, form_um=5.0, gain=2.5) == 1.0
    with pytest.raises(FigureOutOfRange):
        passes(start_form_um=2.0, form_um=0.0, gain=2.5)
    with pytest.raises(FigureOutOfRange):
        pass_share(typical_form_um=0.1, form_um=0.0, sharpness=2.0)


def test_more_departure_takes_longer_to_grind_and_a_steeper_one_longer_to_stitch(
    lens: Fixture, piece: Fixture, rates: Rates
) -> None:
    weak, strong = (by_way(planned(drawn(lens, piece, conic=k), rates))["stitch"] for k in (-4.0, -8.0))
    ground, _, measured = (after.batch_min - before.batch_min for before, after in zip(weak, strong, strict=True))
    assert ground > 0
    assert measured > 0


def test_a_glass_that_polishes_half_as_fast_is_pre_polished_and_corrected_longer(
    lens: Fixture, piece: Fixture, rates: Rates
) -> None:
    rows = tuple(
        row.model_copy(update={"preston_coefficient_per_pa": 3.5e-13}) if row.method == "single" else row for row in rates.polishing
    )
    usual, slow = (
        by_way(planned(drawn(lens, piece), of))["stitch"][1].batch_min
        for of in (rates, rates.model_copy(update={"polishing": rows}))
    )
    assert slow > usual + 10


def test_what_polishing_loses_is_corrected_once_more(lens: Fixture, piece: Fixture, rates: Rates) -> None:
    """First pass and rework leave 0.93 of the pieces, without the rework 0.86 (from memory, as are the yields)."""
    commercial = {"irregularity": (3.0, 3.0), "grade_mm": 0.5, "thickness_tolerance_mm": 0.2}
    ground, polished, measured = by_way(planned(drawn(lens, piece, **commercial), rates))["fine profile"]
    centred = next(one for one in rates.yields if (one.operation, one.method) == ("centre", "asphere"))
    first = ground.yield_share * polished.yield_share * measured.yield_share * centred.yield_share
    again = polished.yield_share + (1 - polished.yield_share) * polished.rework_share * polished.rework_yield
    assert first == pytest.approx(0.86, abs=0.005)
    assert first * again / polished.yield_share == pytest.approx(0.93, abs=0.005)
    assert polished.rework_min > 0


def test_a_second_aspheric_face_is_a_second_program(lens: Fixture, piece: Fixture, rates: Rates) -> None:
    one, two = (planned(drawn(lens, piece, back_conic=k), rates).tooling for k in (0.0, STRONG))
    programs = [[tool.name for tool in tools if tool.name.startswith("asphere program")] for tools in (one, two)]
    assert programs == [["asphere program, L1 front"], ["asphere program, L1 front", "asphere program, L1 back"]]


def test_what_was_made_for_a_form_is_not_charged_again(lens: Fixture, piece: Fixture, rates: Rates) -> None:
    made = drawn(lens, piece)
    null = next(row for row in rates.tooling if row.kind == "asphere_null")
    kept = null.model_copy(update={"name": "hologram 7", "owned": True, "form": "convex R 50, k -6"})
    for form, charged in (("convex R 50, k -6", False), ("convex R 50, k -6.1", True)):
        tools = planned(made, rates.model_copy(update={"tooling": (*rates.tooling, kept.model_copy(update={"form": form}))}))
        assert any(tool.name.startswith("null") for tool in tools.tooling) is charged
        assert any(tool.name == "hologram 7" for tool in tools.tools_owned) is not charged


@pytest.mark.parametrize("radius_mm", [40.0, -40.0, None])
def test_a_face_turned_round_is_the_same_face(radius_mm: float | None) -> None:
    """Radius and terms change sign, the conic does not."""
    face = Surface(radius_mm=radius_mm, conic=-0.7, asphere={"4": 2e-6, "6": -3e-9}, clear_diameter_mm=20.0)
    turned = face.model_copy(
        update={"radius_mm": None if radius_mm is None else -radius_mm, "asphere": {n: -a for n, a in face.asphere.items()}}
    )
    fronts = from_reference_sphere(surface=face, semi_diameter_mm=11.0, glass_behind=True)
    backs = from_reference_sphere(surface=turned, semi_diameter_mm=11.0, glass_behind=False)
    figures = [(one.departure_um, one.slope_mrad, one.removal_mm3, one.steepest_deg) for one in (fronts, backs)]
    assert figures[0] == pytest.approx(figures[1], rel=1e-12)
    words = [form_in_words(profile(surface=one, rim_mm=11.0), front=front) for one, front in ((face, True), (turned, False))]
    assert words[0] == words[1]


def test_a_face_that_leaves_all_bounds_has_no_departure() -> None:
    beyond = Surface(radius_mm=10.0, asphere={"20": 1e300}, clear_diameter_mm=9.0)
    with pytest.raises(FigureOutOfRange):
        from_reference_sphere(surface=beyond, semi_diameter_mm=8.0, glass_behind=True)


def test_an_asphere_that_hardly_departs_may_be_polished_as_a_sphere(lens: Fixture, piece: Fixture, rates: Rates) -> None:
    sphere = planned(lens(piece()), rates).routes[0].operations
    polish = next(one for one in sphere if (one.operation, one.face) == ("polish", "front"))
    found = []
    for conic in (-0.001, -0.01, -0.1):
        ways = by_way(planned(drawn(lens, piece, conic=conic), rates))
        again = next(one for one in ways["block"] if one.operation == "polish")
        assert again.batch_size == polish.batch_size
        found.append(again.batch_min / polish.batch_min)
    assert 1 < found[0] < found[1] < found[2]
    assert found[0] < 1.001


def test_whatever_depends_on_how_near_spheres_are_made_is_there_for_each_way_once(
    lens: Fixture, piece: Fixture, rates: Rates
) -> None:
    """One centring and one inspection in every way of a face, and one of every pair where both faces hardly depart."""
    for back_conic, faces in ((0.0, ("front",)), (-0.01, ("front", "back"))):
        plan = planned(drawn(lens, piece, conic=-0.01, back_conic=back_conic), rates)
        ways = [by_way(plan, face) for face in faces]
        count = 1
        for one in ways:
            count *= len(one)
        for step in ("centre", "inspect"):
            lines = [one for one in plan.routes[0].operations if one.operation == step and one.face is None and one.ways]
            assert len({one.ways for one in lines}) == len(lines) == count
        methods = {(one.method, one.ways[-1].option == "block") for one in plan.routes[0].operations if one.operation == "centre"}
        assert ("asphere", False) in methods


@pytest.mark.parametrize(
    ("changes", "where", "what"),
    [
        ({"conic": -1.0, "irregularity": (0.1, 1.0)}, "/elements/0/front", "form tolerance"),
        ({"conic": 3.0, "radii_mm": (-11.0, -30.0), "diameter_mm": 10.0}, "/elements/0/front", "concave radius"),
    ],
)
def test_an_asphere_that_no_way_is_good_for_is_refused_with_the_nearest(
    changes: dict[str, Any], where: str, what: str, lens: Fixture, piece: Fixture, rates: Rates
) -> None:
    made = drawn(lens, piece, **changes)
    found = plan_operations(job=made.job, check=made.check, blanks=made.blanks, rates=rates)
    assert isinstance(found, Refusal)
    reason = found.reasons[0]
    assert (reason.code, reason.pointer) == ("asphere-beyond-ways", where)
    assert what in reason.message
    assert reason.remedy is not None
    assert what in reason.remedy


def test_a_shop_without_ways_of_making_aspheres_has_no_price_for_one(lens: Fixture, piece: Fixture, rates: Rates) -> None:
    with pytest.raises(RateMissing, match="an aspheric face"):
        planned(drawn(lens, piece), rates.model_copy(update={"aspheres": ()}))


def test_a_row_with_which_a_tighter_form_would_jump_is_refused(rates: Rates) -> None:
    row = rates.aspheres[0].model_dump(mode="json")
    with pytest.raises(ValueError, match="sharpness"):
        AsphereRow.model_validate_json(json.dumps(row | {"sharpness": 9.0}))


def _to_press(made: Any, rates: Rates) -> list[float | str | None]:
    return [one.figure for one in planned(made, rates).findings if one.code == "asphere-to-press"]


def test_an_asphere_of_a_glass_for_moulding_says_from_how_many_on_it_should_be_pressed(
    lens: Fixture, piece: Fixture, rates: Rates
) -> None:
    usual = drawn(lens, piece, glass="P-SK57", diameter_mm=20.0, conic=-20.0)
    (pieces,) = _to_press(usual, rates)
    assert isinstance(pieces, float)
    dearer = tuple(row.model_copy(update={"charge": 2 * row.charge}) for row in rates.pressed_aspheres)
    (twice,) = _to_press(usual, rates.model_copy(update={"pressed_aspheres": dearer}))
    assert isinstance(twice, float)
    assert abs(twice - 2 * pieces) <= 1
    assert _to_press(drawn(lens, piece, diameter_mm=20.0, conic=-20.0), rates) == []
    assert _to_press(drawn(lens, piece, glass="P-SK57", diameter_mm=44.0, centre_thickness_mm=12.0), rates) == []
    assert _to_press(lens(piece(glass="P-SK57", diameter_mm=20.0)), rates) == []


def test_pressing_that_saves_nothing_has_no_break_even() -> None:
    with pytest.raises(FigureOutOfRange):
        break_even_pieces(mould_charge=15_000.0, polished_each=20.0, pressed_each=25.0)
