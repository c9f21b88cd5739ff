"""A route follows from geometry, glass and tolerances: order of faces, thin and delicate elements, what the drawing asks besides."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

import pytest

from services.process.domain.element_work import ElementWork, FaceWork, order_of
from services.process.domain.faces.block import bending_of, block_that_fits, blocking_minutes
from services.process.domain.plan import plan_operations
from services.process.domain.route.edging import bevelled_faces
from services.process.domain.route.extra_work import extra_work_for
from services.process.domain.route.inspection import with_plate_min
from services.process.domain.route.knees import knee_of
from services.process.domain.route.lens import steps_for
from shared_schemas.figure import Figure
from shared_schemas.operation_kinds import OperationName, operations_that
from shared_schemas.operations import Operation, OperationPlan, Route
from shared_schemas.prescription import Barrel
from shared_schemas.rates import RateMissing, Rates
from shared_schemas.traveller import Refusal
from tests.unit.process.conftest import make, make_piece, taken

BARREL = Barrel(material="aluminium", length_mm=60.0, outer_diameter_mm=44.0, engraved_characters=20)
STAINING, LEADED, HARDY = "N-SK16", "SF2", "N-BK7"


def plan(made: Any, rates: Rates) -> OperationPlan:
    found = plan_operations(job=made.job, check=made.check, blanks=made.blanks, rates=rates)
    assert isinstance(found, OperationPlan), found
    return found


def one(route: Route, operation: str, face: str | None = None) -> Operation:
    """The operation of that name; of cleaning and inspection the main one, which has no method."""
    named = [step for step in route.operations if step.operation == operation and face in (None, step.face)]
    return next(step for step in named if step.method == "" or operation not in ("clean", "inspect"))


def figures(operation: Operation) -> Mapping[str, Figure]:
    found: dict[str, Figure] = {}

    def walk(basis: tuple[Figure, ...]) -> None:
        for figure in basis:
            found.setdefault(figure.name, figure)
            walk(figure.inputs)

    walk(operation.basis)
    return found


def drawn(
    made: Any, face: str = "front", *, check: Mapping[str, Any] | None = None, lens: Mapping[str, Any] | None = None, **surface: Any
) -> Any:
    """The same lens with more on its drawing: of one face of its first element, in its check report, of the whole lens."""
    request = made.job.request
    element = request.prescription.elements[0]
    element = element.model_copy(update={face: getattr(element, face).model_copy(update=surface)})
    elements = (element, *request.prescription.elements[1:])
    prescription = request.prescription.model_copy(update={"elements": elements, **(lens or {})})
    of_element = made.check.elements[0]
    of_element = of_element.model_copy(update={face: getattr(of_element, face).model_copy(update=dict(check or {}))})
    report = made.check.model_copy(update={"elements": (of_element, *made.check.elements[1:])})
    job = made.job.model_copy(update={"request": request.model_copy(update={"prescription": prescription})})
    return replace(made, job=job, check=report)


def shape(face: str, *, coated: bool = True, **changes: Any) -> FaceWork:
    usual = {
        "radius_mm": 50.0, "convex": True, "aspheric": False, "sag_mm": 1.0, "sag_at_blank_mm": 1.1, "irregularity_fringes": 1.0,
        "power_fringes": 3.0, "grade_mm": 0.25, "where": f"/elements/0/{face}",
    }  # fmt: skip
    return FaceWork(face=face, coating="ar-single" if coated else None, **usual | changes)  # type: ignore[arg-type]


# --- order of faces


@pytest.mark.parametrize(
    ("front", "back", "delicate", "first", "because"),
    [
        ({"aspheric": True}, {}, False, "back", "asphere last"),
        ({"aspheric": True, "convex": False}, {"irregularity_fringes": 0.2}, True, "back", "asphere last"),
        ({"irregularity_fringes": 0.5}, {}, False, "back", "tighter figure last"),
        ({}, {"irregularity_fringes": 0.25, "convex": False}, False, "front", "tighter figure last"),
        ({"irregularity_fringes": 0.6, "convex": False}, {}, False, "front", "concave"),
        ({"convex": False}, {"coated": False}, True, "back", "to be coated last"),
        ({"convex": False}, {"coated": False}, False, "front", "concave"),
        ({"grade_mm": 0.16, "convex": False}, {}, True, "back", "finer imperfections last"),
        ({"grade_mm": 0.16, "convex": False}, {}, False, "front", "concave"),
        ({"radius_mm": None, "convex": False}, {}, False, "front", "concave or plane"),
        ({"radius_mm": 30.0}, {}, False, "back", "flatter"),
        ({}, {}, True, "front", "flatter"),
    ],
)  # fmt: skip
def test_the_first_rule_that_tells_the_faces_apart_says_which_is_worked_first(
    front: dict[str, Any], back: dict[str, Any], delicate: bool, first: str, because: str
) -> None:
    order = order_of(shape("front", **front), shape("back", **back), delicate=delicate)
    assert order.first == first
    assert because in order.reason
    assert order.by_shape == (because in ("concave", "concave or plane", "flatter"))


def test_turning_the_element_round_turns_the_order_round() -> None:
    for changes in (
        {"aspheric": True},
        {"irregularity_fringes": 0.3},
        {"convex": False},
        {"radius_mm": 80.0},
        {"grade_mm": 0.1},
        {"coated": False},
    ):
        one_way = order_of(shape("front", **changes), shape("back"), delicate=True)
        other_way = order_of(shape("front"), shape("back", **changes), delicate=True)
        assert {one_way.first, other_way.first} == {"front", "back"}, changes
        assert one_way.reason == other_way.reason


def test_the_order_and_its_reason_stand_on_the_route_card(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    found = plan(lens(piece(radii_mm=(200.0, -50.0), irregularity=(0.4, 1.0))), rates)
    steps = [step.face for step in taken(found.routes[0]).operations if step.operation == "generate"]
    assert steps == ["back", "front"]
    worked = figures(one(found.routes[0], "generate", "back"))["worked"]
    assert worked.value == "first"
    assert "tighter figure last" in str(worked.reason)
    assert [note.figure for note in found.findings if note.code == "face-order"] == ["back"]


def test_the_second_face_is_blocked_on_the_first(lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates) -> None:
    route = plan(lens(piece(radii_mm=(50.0, -80.0))), rates).routes[0]
    assert figures(one(route, "block", "back"))["rests on"].value == "the front as it is on the blank"
    assert figures(one(route, "block", "front"))["rests on"].value == "the back, finished"


def test_an_order_given_by_shape_alone_makes_no_note(lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates) -> None:
    assert "face-order" not in {note.code for note in plan(lens(piece(radii_mm=(50.0, -80.0))), rates).findings}


def test_a_tolerance_that_is_tried_turns_the_order_round_as_asking_for_it_would(work: Callable[..., ElementWork]) -> None:
    made = work(radii_mm=(200.0, -50.0), irregularity=(0.4, 1.0))
    assert made.in_order[0].face == "back"
    assert made.with_figure("irregularity", "front", 1.0) == replace(work(radii_mm=(200.0, -50.0), irregularity=(1.0, 1.0)))


# --- thin elements


def thin(ratio: float) -> dict[str, Any]:
    """A plane plate that is so many times as wide as thick."""
    return {"radii_mm": (None, None), "centre_thickness_mm": 25.0 / ratio, "coatings": (None, None)}


@pytest.mark.parametrize(("ratio", "wanted"), [(4.2, 1.0), (9.0, 1.0), (15.0, 1.251), (20.0, 1.477), (30.0, 1.962), (50.0, 3.028)])
def test_how_much_longer_an_element_takes_that_bends(
    ratio: float, wanted: float, work: Callable[..., ElementWork], rates: Rates
) -> None:
    row = next(row for row in rates.polishing if row.method == "block")
    assert bending_of(work(**thin(ratio)), row) == pytest.approx(wanted, abs=1e-3)


def test_a_thinner_element_has_fewer_to_a_block_and_takes_longer_without_a_step(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    def each_min(ratio: float) -> float:
        route = plan(lens(piece(**thin(ratio))), rates).routes[0]
        return sum(step.batch_min / step.batch_size + step.piece_min for step in route.operations if step.face == "front")

    few = rates.model_copy(update={"polishing": tuple(row.model_copy(update={"most_lenses": None}) for row in rates.polishing)})
    counts = [
        block_that_fits(made, made.front, few, worked_first=True).lenses
        for made in (work_of(thin(ratio), few) for ratio in (5, 12, 20, 40))
    ]
    assert counts == sorted(counts, reverse=True)
    assert len(set(counts)) == 4
    assert each_min(15.06) == pytest.approx(each_min(14.97), rel=0.02)
    assert each_min(10.04) == pytest.approx(each_min(9.98), rel=0.02)
    assert [each_min(ratio) for ratio in (5, 12, 20, 40)] == sorted(each_min(ratio) for ratio in (5, 12, 20, 40))


def work_of(changes: dict[str, Any], rates: Rates) -> ElementWork:
    return make(make_piece(**changes)).works(rates)[0]


def test_a_thin_element_is_polished_lightly_and_the_plan_says_why(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    usual, soft = (plan(lens(piece(**thin(ratio))), rates) for ratio in (5, 12))
    assert float(figures(one(soft.routes[0], "polish"))["bending_factor"].value) == pytest.approx(1.122, abs=5e-3)
    assert one(soft.routes[0], "polish").batch_min > one(usual.routes[0], "polish").batch_min
    for step in ("block", "deblock"):
        assert one(soft.routes[0], step).piece_min > one(usual.routes[0], step).piece_min
    notes = [note for note in soft.findings if note.code == "blocked-softly"]
    assert [note.pointer for note in notes] == ["/elements/0/front", "/elements/0/back"]
    assert notes[0].figure == pytest.approx(12)


def test_rates_without_limits_for_thin_elements_treat_all_alike(work: Callable[..., ElementWork], rates: Rates) -> None:
    rows = tuple(row.model_copy(update={"thin_over": None}) for row in rates.polishing)
    old = rates.model_copy(update={"polishing": rows})
    counts = {
        block_that_fits(made, made.front, old, worked_first=True).lenses for made in (work(**thin(ratio)) for ratio in (5, 12, 40))
    }
    assert len(counts) == 1


# --- no more than are handled


def test_no_more_lenses_are_put_on_a_block_than_its_hour_allows(work: Callable[..., ElementWork], rates: Rates) -> None:
    window = work(radii_mm=(None, None), coatings=(None, None))
    block = block_that_fits(window, window.front, rates, worked_first=True)
    blocking = blocking_minutes(window, rates, worked_first=True)
    assert block.lenses == math.floor((60 - blocking.of_block) / blocking.of_lens) < (block.held or 0)
    assert "no more are handled" in block.words


def test_the_smallest_lenses_lie_in_recesses_by_the_hundred_and_never_by_the_thousand(rates: Rates) -> None:
    def lenses(diameter: float) -> int:
        made = work_of({"radii_mm": (None, None), "diameter_mm": diameter, "centre_thickness_mm": diameter / 3}, rates)
        return block_that_fits(made, made.front, rates, worked_first=True).lenses

    counts = [lenses(diameter) for diameter in (1.0, 2.0, 3.0, 4.0, 6.0, 8.0, 12.0, 25.0, 60.0)]
    assert counts[0] == 300
    assert counts == sorted(counts, reverse=True)
    assert counts[-2] <= 120


# --- near-hemisphere, asphere, tight figure, plano and steep


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({"radii_mm": (13.5, -60.0), "centre_thickness_mm": 14.0}, "steep"),
        ({"aspheric": True}, "asphere"),
    ],
)
def test_what_cannot_share_a_block_is_worked_singly_and_says_why(
    changes: dict[str, Any], why: str, work: Callable[..., ElementWork], rates: Rates
) -> None:
    made = work(**changes)
    block = block_that_fits(made, made.front, rates, worked_first=False)
    assert block.lenses == 1
    assert block.singly == why
    assert block.words.startswith("singly")


def test_plane_and_steep_faces_of_one_glass_differ(lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates) -> None:
    route = plan(lens(piece(radii_mm=(None, -22.0), coatings=(None, None))), rates).routes[0]
    plane, steep = one(route, "polish", "front"), one(route, "polish", "back")
    assert plane.batch_size > 10 > steep.batch_size
    assert one(route, "generate", "front").batch_min < one(route, "generate", "back").batch_min


def test_a_face_is_on_the_card_in_every_way_that_there_is(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    route = plan(lens(piece(coatings=(None, None))), rates).routes[0]
    assert way_sets(route, "polish", "front") == {
        "block": "polishing spindles",
        "single": "single-lens polishing",
        "volume": "high-speed polishing",
    }
    assert way_sets(route, "generate", "front") == {
        "block": "curve generator",
        "single": "curve generator",
        "volume": "volume generator",
    }
    for option, blocked in (("block", True), ("single", True), ("volume", False)):
        steps = taken(route, front=option, back=option).operations
        assert [step.operation for step in steps if step.face == "front" and step.operation in ("block", "deblock")] == (
            ["block", "deblock"] if blocked else []
        )
        assert [step.operation for step in steps].count("centre") == 1
        assert next(step.method for step in steps if step.operation == "centre") == ("automatic" if option == "volume" else "bell")
    steep, large = (
        plan(lens(piece(**changes)), rates).routes[0]
        for changes in (
            {"radii_mm": (13.5, -60.0), "centre_thickness_mm": 14.0},
            {"diameter_mm": 100.0, "radii_mm": (200.0, -200.0), "centre_thickness_mm": 20.0},
        )
    )
    assert set(way_sets(steep, "polish", "front")) == {"single", "volume"}
    assert set(way_sets(large, "polish", "front")) == {"block", "single"}


def way_sets(route: Route, operation: str, face: str) -> dict[str, str]:
    """The work centre of an operation of a face by the way it is worked."""
    return {
        way.option: step.work_centre
        for step in route.operations
        if (step.operation, step.face) == (operation, face)
        for way in step.ways
        if way.choice == face
    }


def test_a_turned_lens_has_the_same_operations_with_its_faces_turned(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    turned = {"front": "back", "back": "front", None: None}

    def told(radii: tuple[float, float], turn: bool) -> list[tuple[Any, ...]]:
        found = []
        for step in plan(lens(piece(radii_mm=radii, coatings=(None, None))), rates).routes[0].operations:
            face = turned[step.face] if turn else step.face
            ways = tuple((turned.get(way.choice, way.choice) if turn else way.choice, way.option) for way in step.ways)
            found.append(
                (
                    step.operation,
                    face,
                    step.method,
                    step.batch_size,
                    step.setup_min,
                    round(step.batch_min + step.piece_min, 9),
                    ways,
                )
            )
        return found

    assert told((40.0, -90.0), turn=False) == told((90.0, -40.0), turn=True)


def test_spheres_without_a_plate_are_tested_with_a_new_plate_or_an_interferometer(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    found, owned = (plan(lens(piece(radii_mm=radii, coatings=(None, None))), rates) for radii in ((112.4, -50.0), (50.0, -50.0)))
    looks = {
        step.ways[0].option: step.batch_min for step in found.routes[0].operations if step.operation == "inspect" and step.ways
    }
    assert set(looks) == {"plate", "interferometer"}
    assert looks["plate"] < looks["interferometer"]
    plates = [tool for tool in found.tooling if tool.name.startswith("test plate")]
    assert [(tool.ways[0].choice, tool.ways[0].option) for tool in plates] == [("testing", "plate")]
    assert not any(way.choice == "testing" for step in owned.routes[0].operations for way in step.ways)
    assert with_plate_min(minutes=1.5, figure_fringes=0.5) == 1.5 < with_plate_min(minutes=1.5, figure_fringes=0.495) < 1.5 * 1.03


# --- delicate glasses


def test_a_hardy_glass_asks_for_nothing(work: Callable[..., ElementWork]) -> None:
    assert work(glass=HARDY).extra_work.for_the_glass == ()


def test_leaded_glass_has_slurry_of_its_own_for_the_lot(lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates) -> None:
    usual, leaded = (plan(lens(piece(glass=glass)), rates) for glass in (HARDY, LEADED))
    for step in ("generate", "fine_grind", "polish"):
        before, after = one(usual.routes[0], step), one(leaded.routes[0], step)
        wanted = sum(row.minutes for row in rates.extra_work if row.wanted_by == "lead" and row.operation == step)
        assert after.setup_min - before.setup_min == pytest.approx(wanted)
        assert any("lead" in part.name for part in figures(after)["setup_min"].inputs)
    assert any("Leaded glass (SF2)" in caution for caution in leaded.cautions)
    assert [note.figure for note in leaded.findings if note.code == "glass-care"] == ["lead"]


def test_a_staining_glass_is_lacquered_before_its_second_face_and_dried_at_once(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    found = plan(lens(piece(glass=STAINING)), rates)
    route = taken(found.routes[0])
    first, second = (step.face for step in route.operations if step.operation == "block")
    lacquered = {face: "staining glass, finished face lacquered" in figures(one(route, "block", face)) for face in (first, second)}
    assert lacquered == {first: False, second: True}
    assert "staining glass, rinsed and dried at once" in figures(one(route, "polish"))
    care = next(note for note in found.findings if note.code == "glass-care")
    assert "climate class CR 4" in care.message
    assert "stain class FR 4" in care.message
    assert any("Staining or weathering glass (N-SK16)" in caution for caution in found.cautions)


def test_a_staining_glass_yields_less_and_its_basis_names_the_row(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    hardy, staining = (one(plan(lens(piece(glass=glass)), rates).routes[0], "polish") for glass in (HARDY, STAINING))
    power = next(row.yield_power for row in rates.extra_work if row.operation == "polish" and row.wanted_by == "stain_fr")
    delicate = extra_work_for(rates.glass(STAINING), laser_damage=False, rates=rates).delicacy
    assert delicate is not None
    assert staining.yield_share == pytest.approx(hardy.yield_share ** (power * delicate.yield_power))
    of_yield = next(figure for figure in staining.basis if figure.name == "yield")
    assert any(figure.rate_row and figure.rate_row.table == "extra_work" for figure in of_yield.inputs)


def test_a_worse_class_never_asks_for_less(rates: Rates) -> None:
    glass = rates.glass(HARDY)
    for name in ("climate_cr", "stain_fr", "acid_sr", "phosphate_pr"):
        counts = [
            len(extra_work_for(glass.model_copy(update={name: figure}), laser_damage=False, rates=rates).rows)
            for figure in (None, 0.0, 1.0, 3.0, 4.0, 52.0)
        ]
        assert counts[0] == counts[1]
        assert counts == sorted(counts)


def test_lanthanum_glass_carries_its_caution(lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates) -> None:
    said = plan(lens(piece(glass="N-LAK22")), rates).cautions
    assert any("Lanthanum glass (N-LAK22)" in caution for caution in said)
    assert not any("Lanthanum" in caution for caution in plan(lens(piece(glass=HARDY)), rates).cautions)


@pytest.mark.parametrize(
    ("hardness", "softer_than", "wanted"),
    [(None, 9999.0, "Knoop hardness"), (9000.0, 9999.0, "Knoop hardness 9000"), (610.0, 600.0, "Knoop hardness 610")],
)
def test_a_material_that_nothing_says_how_to_polish_is_refused_with_what_is_missing(
    hardness: float | None, softer_than: float, wanted: str, lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    glasses = tuple(row.model_copy(update={"knoop_hk": hardness}) if row.name == "BaF2" else row for row in rates.glasses)
    asked = lens(piece(glass="BaF2", coatings=(None, None)))
    polishing = tuple(row for row in rates.polishing if row.knoop_up_to_hk < softer_than)
    lacking = rates.model_copy(update={"glasses": glasses, "polishing": polishing})
    refusal = plan_operations(job=asked.job, check=asked.check, blanks=asked.blanks, rates=lacking)
    assert isinstance(refusal, Refusal)
    (reason,) = [one for one in refusal.reasons if one.code == "material-without-rate"]
    assert wanted in reason.message
    assert reason.pointer == "/elements/0/glass"


def test_a_dangerous_or_cleaving_crystal_carries_its_caution(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    said = plan(lens(piece(glass="BaF2", coatings=(None, None))), rates).cautions
    assert any(caution.startswith("BaF2: toxic if swallowed") and "collect its waste apart" in caution for caution in said)
    assert any("Crystal that cleaves (BaF2)" in caution for caution in said)
    usual = plan(lens(piece(glass=HARDY)), rates).cautions
    assert not any("cleaves" in caution or "waste apart" in caution for caution in usual)


# --- bevels and seats


def test_each_edge_that_is_bevelled_takes_its_minutes(lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates) -> None:
    both, single = (one(plan(lens(piece(radii_mm=radii)), rates).routes[0], "bevel") for radii in ((50.0, -50.0), (26.0, -50.0)))
    row = next(row for row in rates.extra_work if row.per == "bevel")
    assert both.batch_min - single.batch_min == pytest.approx(row.minutes)


def test_a_steep_hollow_face_has_an_edge_to_bevel_and_a_steep_convex_one_has_not(work: Callable[..., ElementWork]) -> None:
    assert bevelled_faces(work(radii_mm=(26.0, -50.0))) == 1
    assert bevelled_faces(work(radii_mm=(-26.0, -50.0), centre_thickness_mm=8.0)) == 2


def test_a_seat_is_ground_besides(lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates) -> None:
    made = lens(piece())
    plain, seated = (one(plan(each, rates).routes[0], "bevel") for each in (made, drawn(made, check={"seat_width_mm": 1.2})))
    row = next(row for row in rates.extra_work if row.per == "seat")
    assert seated.batch_min - plain.batch_min == pytest.approx(row.minutes)


@pytest.mark.parametrize("per", ["bevel", "seat"])
def test_a_bevel_or_seat_without_a_row_is_missing_by_name(
    per: str, lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    few = rates.model_copy(update={"extra_work": tuple(row for row in rates.extra_work if row.per != per)})
    with pytest.raises(RateMissing, match=f"extra_work has no row for bevel, per {per}"):
        plan(drawn(lens(piece()), check={"seat_width_mm": 1.2}), few)


# --- what the drawing asks besides


def test_a_finer_texture_is_polished_longer_and_measured(lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates) -> None:
    made = lens(piece())
    for texture in ({"roughness_nm": 0.8}, {"micro_defects": 3.0}):
        usual, fine = (plan(each, rates).routes[0] for each in (made, drawn(made, texture="x", check=texture)))
        assert one(fine, "polish", "front").batch_min > one(usual, "polish", "front").batch_min
        assert one(fine, "polish", "back") == one(usual, "polish", "back")
        assert one(fine, "inspect").batch_min > one(usual, "inspect").batch_min


def test_a_texture_is_relaxed_like_any_tolerance_and_refused_beyond_the_shop(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    made = lens(piece())
    found = plan(drawn(made, texture="Rq 0.5 nm", check={"roughness_nm": 0.5}), rates)
    assert [(one.where, one.to_figure) for one in found.relaxations if one.tolerance == "roughness"] == [
        ("/elements/0/front/texture", 1.0)
    ]
    asked = drawn(made, texture="Rq 0.1 nm", check={"roughness_nm": 0.1})
    refused = plan_operations(job=asked.job, check=asked.check, blanks=asked.blanks, rates=rates)
    assert isinstance(refused, Refusal)
    assert [(reason.code, reason.pointer, reason.limit) for reason in refused.reasons] == [
        ("beyond-capability", "/elements/0/front/texture", 0.3)
    ]


@pytest.mark.parametrize(
    ("surface", "lens_fields", "code", "where"),
    [
        ({"texture": "Rz 5 nm"}, {}, "texture-not-planned", "/elements/0/front/texture"),
        ({"texture": "G"}, {}, "ground-face-polished", "/elements/0/front/texture"),
        ({"laser_damage": "6/5 J/cm2; 1064"}, {}, "laser-damage-not-measured", "/elements/0/front/laser_damage"),
        ({}, {"transmitted_wavefront": "13/1(0.5)"}, "wavefront-not-measured", "/transmitted_wavefront"),
        ({}, {"assembly_imperfections": "15/3x0.16"}, "assembly-imperfections-not-looked-at", "/assembly_imperfections"),
    ],
)
def test_what_no_minute_is_planned_for_is_said(
    surface: dict[str, Any],
    lens_fields: dict[str, Any],
    code: str,
    where: str,
    lens: Callable[..., Any],
    piece: Callable[..., Any],
    rates: Rates,
) -> None:
    found = plan(drawn(lens(piece()), lens=lens_fields, **surface), rates).findings
    assert [note.pointer for note in found if note.code == code] == [where]
    assert code not in {note.code for note in plan(lens(piece()), rates).findings}


def test_a_face_for_laser_light_is_cleaned_and_looked_at_for_it(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    made = lens(piece())
    usual, hot = (plan(each, rates).routes[0] for each in (made, drawn(made, laser_damage="6/5 J/cm2; 1064")))
    assert one(hot, "clean").piece_min > one(usual, "clean").piece_min
    row = next(row for row in rates.inspection if row.looks_at == "laser_damage")
    assert one(hot, "inspect").batch_min - one(usual, "inspect").batch_min == pytest.approx(row.minutes)


def test_a_transmitted_wavefront_is_measured_on_the_mounted_lens(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    made = lens(piece(), barrel=BARREL)
    usual, measured = (plan(each, rates) for each in (made, drawn(made, lens={"transmitted_wavefront": "13/1(0.5)"})))
    row = next(row for row in rates.assembly if row.per == "wavefront")
    more = one(measured.routes[-1], "final_test").batch_min - one(usual.routes[-1], "final_test").batch_min
    assert more == pytest.approx(row.minutes)
    assert "wavefront-not-measured" not in {note.code for note in measured.findings}


def test_cemented_faces_are_looked_at_for_the_grade_of_the_assembly(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    made = lens(piece(), piece(name="L2", glass="SF2", radii_mm=(-50.0, 200.0)), cemented=(0,))
    asked = drawn(made, lens={"assembly_imperfections": "15/2x0.063"})
    asked = replace(asked, check=asked.check.model_copy(update={"assembly_imperfection_grade_mm": 0.063}))
    usual, looked = (one(plan(each, rates).routes[2], "inspect") for each in (made, asked))
    row = next(row for row in rates.inspection if row.name == "cosmetic, fine")
    assert looked.batch_min - usual.batch_min == pytest.approx(row.minutes)


# --- aligning


@pytest.mark.parametrize(
    ("arcmin", "way"),
    [
        (6.0, "check centring of a part"),
        (1.0, "check centring of a part"),
        (0.9, "centre a part on a rotary table"),
        (0.2, "turn a cell true"),
    ],
)
def test_the_plainest_way_of_aligning_that_is_fine_enough(arcmin: float, way: str, rates: Rates) -> None:
    per_part = [row.name for row in steps_for("align", rates, centring_arcmin=arcmin) if row.per == "part"]
    assert per_part == [way]


def test_aligning_finer_than_every_row_is_missing_by_name(rates: Rates) -> None:
    with pytest.raises(RateMissing, match=r"align to 0\.05 arcmin"):
        steps_for("align", rates, centring_arcmin=0.05)


def test_engraving_is_by_the_character(lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates) -> None:
    row = next(row for row in rates.assembly if row.per == "character")
    minutes = []
    for characters in (10, 30):
        barrel = BARREL.model_copy(update={"engraved_characters": characters})
        minutes.append(one(plan(lens(piece(), barrel=barrel), rates).routes[-1], "engrave").batch_min)
    assert minutes[1] - minutes[0] == pytest.approx(20 * row.minutes)


def test_texture_has_knees_of_its_own(work: Callable[..., ElementWork], rates: Rates) -> None:
    made = work()
    assert not {"roughness", "micro_defects"} & {demand.attribute for demand in made.all_demands}
    tried = made.with_figure("roughness", "front", 0.5)
    assert knee_of("polish", tried.front.demands, rates).time_factor > knee_of("polish", made.front.demands, rates).time_factor


@pytest.mark.parametrize("operation", operations_that(lambda kind: kind.extra_work))
def test_extra_work_lengthens_every_operation_that_the_table_says_it_may(
    operation: OperationName, lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    row = rates.extra_work[0].model_copy(
        update={"name": "more", "operation": operation, "per": "lot", "minutes": 7.0, "wanted_by": "every"}
    )
    more = rates.model_copy(update={"extra_work": (*rates.extra_work, row)})
    before, after = (plan(lens(piece()), shop).routes[0].operations for shop in (rates, more))
    longer = [new.operation for old, new in zip(before, after, strict=True) if new.setup_min == pytest.approx(old.setup_min + 7.0)]
    assert set(longer) == {operation}
