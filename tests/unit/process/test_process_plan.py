from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any

import pytest

from services.process.api import STATUS, plan_operations_by_hand
from services.process.domain.plan import plan_operations
from services.process.errors import OperationsRefused, PlansDoNotMatch
from services.process.stage import STAGE
from shared_schemas.by_hand import OperationsByHand
from shared_schemas.figure import Figure
from shared_schemas.operations import Operation, OperationPlan, Route
from shared_schemas.prescription import Barrel
from shared_schemas.problem import FigureOutOfRange
from shared_schemas.rates import RateMissing, RateRevision, Rates
from shared_schemas.traveller import Refusal
from tests.unit.process.conftest import taken

CORED = ["wax", "core", "melt_off", "clean"]
BARREL = Barrel(material="aluminium", length_mm=60.0, outer_diameter_mm=44.0, engraved_characters=20)


def plan(made: Any, rates: Rates) -> OperationPlan:
    found = plan_operations(job=made.job, check=made.check, blanks=made.blanks, rates=rates)
    assert isinstance(found, OperationPlan), found
    return found


def refusal(made: Any, rates: Rates) -> Refusal:
    found = plan_operations(job=made.job, check=made.check, blanks=made.blanks, rates=rates)
    assert isinstance(found, Refusal)
    return found


def steps(route: Route) -> list[tuple[str, str | None]]:
    return [(one.operation, one.face) for one in route.operations]


def occasions(route: Route) -> list[tuple[str, str | None]]:
    """As `steps`, with the method of cleaning and inspection, which a route has several times."""
    repeated = ("clean", "inspect")
    return [
        (f"{one.operation} {one.method}".strip() if one.operation in repeated else one.operation, one.face)
        for one in route.operations
    ]


def one(route: Route, operation: str, face: str | None = None) -> Operation:
    """The operation of that name; of cleaning and inspection the main one, which has no method."""
    named = [step for step in route.operations if step.operation == operation and face in (None, step.face)]
    return next(step for step in named if step.method == "" or operation not in ("clean", "inspect"))


def without(rates: Rates, table: str, keep: Callable[[Any], bool]) -> Rates:
    return rates.model_copy(update={table: tuple(row for row in getattr(rates, table) if keep(row))})


def test_the_route_of_an_element_goes_from_stock_to_coated(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    route = taken(plan(lens(piece(radii_mm=(50.0, -80.0))), rates).routes[0])
    work = ["generate", "inspect chips", "block", "fine_grind", "polish", "deblock"]
    assert occasions(route) == [
        ("saw", None), ("wax", None), ("core", None), ("melt_off", None), ("clean wax off", None),
        *((step, "back") for step in work), ("clean between faces", "back"),
        *((step, "front") for step in work), ("clean lacquer off", "front"),
        ("centre", None), ("bevel", None), ("clean", None), ("inspect", None), ("clean before coating", None),
        ("coat", "back"), ("inspect witness", "back"), ("coat", "front"), ("inspect witness", "front"),
        ("clean after coating", None), ("inspect coated", None),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("form", "first"),
    [
        ("slab", ["saw", *CORED]),
        ("strip", ["saw", *CORED]),
        ("rod", ["saw"]),
        ("disc", ["saw", *CORED]),
        ("pressing", ["press_blank"]),
    ],
)
def test_the_form_of_the_blank_says_what_comes_before_generating(
    form: str, first: list[str], lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    names = [step.operation for step in plan(lens(piece(form=form)), rates).routes[0].operations]
    assert names[: names.index("generate")] == first


@pytest.mark.parametrize(("across", "slices", "first"), [(1, 1, []), (1, 3, ["saw"]), (4, 1, CORED)])
def test_a_sawn_disc_is_cut_only_into_what_it_gives(
    across: int, slices: int, first: list[str], lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    made = lens(piece(form="disc"))
    counts = {"discs_per_plate": across, "plates_per_slab": slices, "blanks_per_piece": across * slices}
    (blank,) = made.blanks.blanks
    cut = replace(made, blanks=made.blanks.model_copy(update={"blanks": (blank.model_copy(update=counts),)}))
    names = [step.operation for step in plan(cut, rates).routes[0].operations]
    assert names[: names.index("generate")] == first


def test_a_lens_of_one_element_without_a_barrel_is_packed_on_a_tray(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    found = plan(lens(piece()), rates)
    assert [route.kind for route in found.routes] == ["element", "lens"]
    assert [step.operation for step in found.routes[-1].operations] == ["pack"]
    assert [part.name for part in found.bought_parts] == ["bulk tray, places to 25 mm"]


def test_a_cemented_group_consumes_its_elements_and_the_lens_the_group(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    pieces = (
        piece(coatings=("ar-single", None)),
        piece(name="L2", glass="SF2", radii_mm=(-50.0, 200.0), coatings=(None, "ar-single")),
        piece(name="L3"),
    )
    found = plan(lens(*pieces, cemented=(0,), barrel=BARREL), rates)
    by_part = {route.part: route for route in found.routes}
    assert list(by_part) == ["L1", "L2", "L3", "L1+L2", "lens"]
    assert [part.part for part in by_part["L1+L2"].consumes] == ["L1", "L2"]
    assert [part.part for part in by_part["lens"].consumes] == ["L1+L2", "L3"]
    assert [name for name, _ in occasions(by_part["L1+L2"])] == [
        "clean before cementing", "inspect microscope", "cement", "cement", "blacken_edge", "inspect",
    ]  # fmt: skip
    assert [name for name, _ in occasions(by_part["lens"])] == [
        "engrave", "clean before assembly", "assemble", "align", "final_test", "pack",
    ]  # fmt: skip
    assert {part.name.split(",")[0]: part.count for part in found.bought_parts} == {
        "barrel": 1, "spacer": 1, "retaining ring": 1, "transport case": 1,
    }  # fmt: skip


def test_a_coating_on_a_cemented_face_is_not_coated(lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates) -> None:
    pieces = (piece(), piece(name="L2", glass="SF2", radii_mm=(-50.0, 200.0)))
    found = plan(lens(*pieces, cemented=(0,)), rates)
    assert [step.face for step in found.routes[0].operations if step.operation == "coat"] == ["front"]
    assert [step.face for step in found.routes[1].operations if step.operation == "coat"] == ["back"]


def test_a_tighter_centring_is_cemented_by_a_slower_way(lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates) -> None:
    minutes = []
    for arcmin in (5.0, 1.0, 0.3):
        pieces = (piece(centring_arcmin=arcmin), piece(name="L2", glass="SF2", radii_mm=(-50.0, 200.0), centring_arcmin=arcmin))
        minutes.append(one(plan(lens(*pieces, cemented=(0,)), rates).routes[2], "cement").batch_min)
    assert minutes == sorted(minutes)
    assert len(set(minutes)) == 3


def test_lenses_of_one_block_share_its_minutes(lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates) -> None:
    route = plan(lens(piece(radii_mm=(None, -80.0))), rates).routes[0]
    sizes = {one(route, step, "front").batch_size for step in ("block", "fine_grind", "polish", "deblock")}
    assert len(sizes) == 1
    assert sizes.pop() > 20
    assert one(route, "polish", "front").method == "block"
    assert one(route, "generate", "front").batch_size == 1


@pytest.mark.parametrize(
    ("changes", "method", "centre"),
    [
        ({"aspheric": True}, "asphere", "correcting polisher"),
        ({"radii_mm": (13.5, -60.0), "centre_thickness_mm": 14.0}, "single", "single-lens polishing"),
    ],
)
def test_an_asphere_and_a_steep_face_are_worked_singly(
    changes: dict[str, Any], method: str, centre: str, lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    found = plan(lens(piece(**changes)), rates)
    polish = one(found.routes[0], "polish", "front")
    assert (polish.batch_size, polish.method, polish.work_centre) == (1, method, centre)
    assert "worked-singly" in {note.code for note in found.findings}


def test_a_nearly_concentric_meniscus_is_centred_optically(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    centre = one(plan(lens(piece(radii_mm=(50.0, 52.0))), rates).routes[0], "centre")
    assert (centre.method, centre.work_centre) == ("optical", "optical centring")


def test_a_tighter_tolerance_never_takes_less_time_and_never_yields_more(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    for field, figures in {
        "irregularity": [(2.0, 2.0), (1.0, 1.0), (0.5, 0.5), (0.25, 0.25)],
        "grade_mm": [0.4, 0.25, 0.1, 0.04],
        "centring_arcmin": [6.0, 2.0, 0.6],
        "diameter_tolerance_mm": [0.05, 0.0125, 0.0075],
        "thickness_tolerance_mm": [0.15, 0.05, 0.025],
    }.items():
        routes = [plan(lens(piece(**{field: figure})), rates).routes[0] for figure in figures]
        minutes = [sum(step.batch_min for step in route.operations) for route in routes]
        yields = [_product(step.yield_share for step in route.operations) for route in routes]
        assert minutes == sorted(minutes), field
        assert yields == sorted(yields, reverse=True), field
        # Irregularity is paid for in runs of polishing, not in scrap.
        assert yields[0] > yields[-1] or field == "irregularity", field


def _product(shares: Iterator[float]) -> float:
    found = 1.0
    for share in shares:
        found *= share
    return found


def test_a_relaxation_is_the_plan_with_that_figure(lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates) -> None:
    asked = piece(
        irregularity=(0.5, 0.5), grade_mm=0.1, centring_arcmin=0.6, diameter_tolerance_mm=0.0125, thickness_tolerance_mm=0.025
    )
    fields = {"centring": "centring_arcmin", "diameter": "diameter_tolerance_mm", "centre_thickness": "thickness_tolerance_mm"}
    found = plan(lens(asked), rates)
    assert {one.tolerance for one in found.relaxations} == {"irregularity", "imperfection_grade", "coating", *fields}
    for relaxation in found.relaxations:
        if relaxation.tolerance not in fields:
            continue
        looser = plan(lens(replace(asked, **{fields[relaxation.tolerance]: relaxation.to_figure})), rates).routes[0].operations
        for change in relaxation.operations:
            step = looser[change.position]
            assert (change.batch_size, change.batch_min, change.piece_min, change.yield_share) == (
                step.batch_size, step.batch_min, step.piece_min, step.yield_share,
            )  # fmt: skip


def test_a_relaxation_of_one_face_leaves_the_other_alone(lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates) -> None:
    found = plan(lens(piece(irregularity=(0.5, 0.5))), rates)
    of_front = next(one for one in found.relaxations if one.where == "/elements/0/front/form" and one.tolerance == "irregularity")
    faces = {found.routes[0].operations[change.position].face for change in of_front.operations}
    assert faces == {"front", None}, "measuring a coarser figure takes less time too, and inspection is of no face"


def test_a_commercial_lens_without_coatings_has_nothing_to_relax(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    loose = piece(
        irregularity=(2.0, 2.0),
        grade_mm=0.4,
        centring_arcmin=6.0,
        diameter_tolerance_mm=0.05,
        thickness_tolerance_mm=0.15,
        power=5.0,
        coatings=(None, None),
    )
    assert plan(lens(loose), rates).relaxations == ()


def test_a_polished_face_rests_on_its_rows(lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates) -> None:
    pieces = (piece(irregularity=(0.5, 0.5), grade_mm=0.1), piece(name="L2", glass="SF2", radii_mm=(-50.0, 200.0)))
    found = plan(lens(*pieces, cemented=(0,), barrel=BARREL), rates)
    polish = one(found.routes[0], "polish")
    tables = set().union(*(_tables(figure) for figure in polish.basis))
    assert tables == {"work_centres", "polishing", "grinding", "tolerance_classes", "yields"}


def _leaves(figure: Figure) -> Iterator[Figure]:
    if not figure.inputs:
        yield figure
    for part in figure.inputs:
        yield from _leaves(part)


def test_no_figure_quotes_a_row_that_the_figure_above_it_quotes(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    pieces = (piece(irregularity=(0.5, 0.5), grade_mm=0.1), piece(name="L2", glass="SF2", radii_mm=(-50.0, 200.0)))
    found = plan(lens(*pieces, cemented=(0,), barrel=BARREL), rates)
    figures = [figure for route in found.routes for step in route.operations for figure in step.basis]
    while figures:
        above = figures.pop()
        assert not any(part.rate_row and part.rate_row == above.rate_row for part in above.inputs), above
        figures += above.inputs


def _tables(figure: Figure) -> set[str]:
    own = {figure.rate_row.table} if figure.rate_row else set()
    return own.union(*(_tables(part) for part in figure.inputs))


def test_the_plan_of_an_element_stays_small_enough_to_travel(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    found = plan(lens(piece(irregularity=(0.5, 0.5), grade_mm=0.1)), rates)
    assert len(found.model_dump_json()) < 5_000 * len(found.routes[0].operations)


def test_the_same_lens_twice_gives_the_same_bytes(lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates) -> None:
    pieces = (piece(), piece(name="L2", glass="SF2", radii_mm=(-50.0, 200.0)))
    made = [lens(*pieces, cemented=(0,), barrel=BARREL) for _ in range(2)]
    assert plan(made[0], rates).model_dump_json() == plan(made[1], rates).model_dump_json()


@pytest.mark.parametrize(
    ("changes", "where", "figure", "limit"),
    [
        ({"irregularity": (0.01, 1.0)}, "/elements/0/front/form", 0.01, 0.05),
        ({"grade_mm": 0.01}, "/elements/0/front/imperfections", 0.01, 0.0144),
        ({"centring_arcmin": 0.1}, "/elements/0/tolerances/centring", 0.1, 0.2),
        ({"diameter_tolerance_mm": 0.001}, "/elements/0/tolerances/diameter_mm", 0.001, 0.004),
        ({"thickness_tolerance_mm": 0.01}, "/elements/0/tolerances/centre_thickness_mm", 0.01, 0.02),
    ],
)
def test_a_demand_beyond_the_shop_is_refused_with_figure_and_limit(
    changes: dict[str, Any],
    where: str,
    figure: float,
    limit: float,
    lens: Callable[..., Any],
    piece: Callable[..., Any],
    rates: Rates,
) -> None:
    reason = refusal(lens(piece(**changes)), rates).reasons[0]
    assert (reason.code, reason.severity, reason.pointer, reason.figure, reason.limit) == (
        "beyond-capability",
        "stop",
        where,
        figure,
        limit,
    )
    assert reason.remedy


def test_a_lens_too_wide_for_machine_and_calotte_is_refused_for_both(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    wide = piece(diameter_mm=330.0, centre_thickness_mm=60.0, radii_mm=(900.0, -900.0))
    assert {reason.code for reason in refusal(lens(wide), rates).reasons} == {"too-large-for-machines", "no-seat"}


def test_a_barrel_larger_than_any_to_be_bought_is_refused(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    reasons = refusal(lens(piece(), barrel=BARREL.model_copy(update={"outer_diameter_mm": 500.0})), rates).reasons
    assert [(reason.code, reason.pointer, reason.figure) for reason in reasons] == [
        ("no-part-so-large", "/barrel/outer_diameter_mm", 500.0)
    ]


def test_an_unknown_coating_is_missing_by_name(lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates) -> None:
    with pytest.raises(RateMissing, match="purple"):
        plan(lens(piece(coatings=("purple", None))), rates)


@pytest.mark.parametrize(
    ("table", "gone", "message"),
    [
        ("work_centres", lambda row: row.name != "curve generator", "work_centres has no row for generate"),
        ("yields", lambda row: row.operation != "polish", "yields has no row for polish"),
        ("grinding", lambda row: row.name != "generate HG3", "grinding has no row for generate of class 3"),
        ("grinding", lambda row: row.stage != "fine_grind", "grinding has no row for fine_grind"),
        ("tolerance_classes", lambda row: row.attribute != "centring", "tolerance_classes has no row for centring"),
        ("inspection", lambda row: row.looks_at != "imperfections", "inspection has no row for imperfections of grade 0.25"),
        ("assembly", lambda row: row.operation != "pack", "assembly has no row for pack"),
        ("hardware", lambda row: row.kind not in ("tray", "box"), "hardware has no row for tray"),
        ("tooling", lambda row: row.owned, "tooling has no row for a new radius tool"),
    ],
)
def test_a_missing_rate_is_an_error_that_names_table_and_row(
    table: str, gone: Callable[[Any], bool], message: str, lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    with pytest.raises(RateMissing, match=message):
        plan(lens(piece(radii_mm=(47.3, -50.0))), without(rates, table, gone))


def test_a_check_report_of_another_lens_is_named(lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates) -> None:
    made, other = lens(piece()), lens(piece(name="X9"))
    with pytest.raises(PlansDoNotMatch, match=r"L1.*check report"):
        plan_operations(job=made.job, check=other.check, blanks=made.blanks, rates=rates)
    with pytest.raises(PlansDoNotMatch, match=r"L1.*blank plan"):
        plan_operations(job=made.job, check=made.check, blanks=other.blanks, rates=rates)


@pytest.mark.parametrize("field", ["diameter_mm", "thickness_mm", "volume_mm3", "discs_per_plate", "utilisation"])
def test_a_blank_of_nothing_is_refused_by_name(
    field: str, lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    made = lens(piece())
    broken = made.blanks.model_copy(update={"blanks": (made.blanks.blanks[0].model_copy(update={field: 0}),)})
    with pytest.raises(FigureOutOfRange, match="L1"):
        plan_operations(job=made.job, check=made.check, blanks=broken, rates=rates)


def test_an_owned_tool_costs_nothing_and_a_missing_one_once(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    assert plan(lens(piece(radii_mm=(50.0, -50.0))), rates).tooling == ()
    missing = plan(lens(piece(radii_mm=(47.3, -47.3))), rates).tooling
    assert [tool.name for tool in missing] == ["radius tool 47.3 mm", "test plate 47.3 mm"]
    assert all(tool.charge > 0 and tool.basis for tool in missing)


def test_a_radius_tool_reaches_further_than_a_test_plate(lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates) -> None:
    assert [tool.name for tool in plan(lens(piece(radii_mm=(50.3, -50.3))), rates).tooling] == ["test plate 50.3 mm"]


def test_cautions_speak_of_what_the_job_has(lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates) -> None:
    plain = " ".join(plan(lens(piece(coatings=(None, None))), rates).cautions)
    assert "Leaded" not in plain
    assert "UV-curing" not in plain
    assert "vacuum" not in plain
    assert "licensed practice" in plain
    pieces = (piece(), piece(name="L2", glass="SF2", radii_mm=(-50.0, 200.0)))
    rich = " ".join(plan(lens(*pieces, cemented=(0,)), rates).cautions)
    assert "Leaded glass (SF2)" in rich
    assert "UV-curing" in rich
    assert "vacuum" in rich


def test_by_hand_is_the_plan_of_the_pipeline(lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates) -> None:
    made = lens(piece())
    asked = OperationsByHand(request=made.job.request, check=made.check, blanks=made.blanks)
    revision = RateRevision.model_construct(number=1, rates=rates)
    by_hand = plan_operations_by_hand(asked, revision)
    assert by_hand.model_copy(update={"blocks": ()}) == plan(made, rates)
    assert [(one.part, one.face) for one in by_hand.blocks] == [("L1", "front"), ("L1", "back")]


def test_a_refusal_by_hand_carries_every_reason(lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates) -> None:
    made = lens(piece(irregularity=(0.01, 0.01)))
    asked = OperationsByHand(request=made.job.request, check=made.check, blanks=made.blanks)
    with pytest.raises(OperationsRefused, match="irregularity") as caught:
        plan_operations_by_hand(asked, RateRevision.model_construct(number=1, rates=rates))
    assert [detail.pointer for detail in caught.value.errors] == [
        "/request/prescription/elements/0/front/form", "/request/prescription/elements/0/back/form",
    ]  # fmt: skip
    assert STATUS[OperationsRefused][0] == 422


def test_the_stage_reads_what_its_function_takes() -> None:
    assert (STAGE.task, STAGE.reads, STAGE.run) == ("process.plan_operations", ("job", "check", "blanks"), plan_operations)


def test_an_element_that_is_not_cemented_is_blackened_by_itself_for_a_barrel_only(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    pieces = (piece(), piece(name="L2", glass="SF2", radii_mm=(-50.0, 200.0)), piece(name="L3"))
    mounted = {route.part: steps(route) for route in plan(lens(*pieces, cemented=(0,), barrel=BARREL), rates).routes}
    assert [part for part, route in mounted.items() if ("blacken_edge", None) in route] == ["L3", "L1+L2"]
    bare = plan(lens(*pieces, cemented=(0,)), rates).routes
    assert not any(("blacken_edge", None) in steps(route) for route in bare)


def test_the_tightest_centring_of_a_lens_says_how_long_aligning_takes(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    aligned = []
    for arcmin in (12.0, 6.0, 1.0):
        found = plan(lens(piece(centring_arcmin=12.0), piece(name="L2", centring_arcmin=arcmin), barrel=BARREL), rates)
        aligned.append(one(found.routes[-1], "align"))
    assert aligned[0].batch_min == aligned[1].batch_min < aligned[2].batch_min
    assert aligned[1].yield_share > aligned[2].yield_share


def test_no_more_than_a_rack_go_together(lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates) -> None:
    narrow = tuple(
        row.model_copy(update={"rack_pieces": 4}) if row.name == "polishing spindles" else row for row in rates.work_centres
    )
    made = lens(piece(radii_mm=(None, -80.0)))
    route = plan(made, rates.model_copy(update={"work_centres": narrow})).routes[0]
    polish = one(route, "polish", "front")
    assert polish.batch_size == 4 < one(route, "fine_grind", "front").batch_size
    assert next(figure.value for figure in polish.basis if figure.name == "batch_size") == 4
    wide = tuple(row.model_copy(update={"rack_pieces": 900}) if "polish" in row.operations else row for row in rates.work_centres)
    assert plan(made, rates.model_copy(update={"work_centres": wide})).routes[0] == plan(made, rates).routes[0]


def test_every_relaxation_is_the_plan_with_that_figure_also_of_one_face(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    """The sections that are kept must be the right ones, in every way that the face is worked."""
    asked = piece(irregularity=(0.25, 1.0), radii_mm=(60.0, -90.0))
    found = plan(lens(asked), rates)
    relaxation = next(one for one in found.relaxations if one.tolerance == "irregularity" and one.from_figure == 0.25)
    looser = plan(lens(replace(asked, irregularity=(relaxation.to_figure, 1.0))), rates).routes[0].operations
    changed = {change.position: change for change in relaxation.operations}
    for position, (before, after) in enumerate(zip(found.routes[0].operations, looser, strict=True)):
        now = changed.get(position, before)
        assert (now.batch_size, now.batch_min, now.piece_min, now.yield_share) == (
            after.batch_size, after.batch_min, after.piece_min, after.yield_share,
        )  # fmt: skip
    assert any(change.batch_size > 1 for change in changed.values())


def test_the_face_worked_second_is_blocked_when_the_first_is_finished(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    """The first is blocked with the whole blank behind it and so needs more room on its block."""
    route = plan(lens(piece(radii_mm=(50.0, -50.0))), rates).routes[0]
    room = {}
    for face in ("front", "back"):
        count = next(figure for figure in one(route, "block", face).basis if figure.name == "batch_size")
        room[face] = next(float(figure.value) for figure in count.inputs if figure.name == "pitch_mm")
    assert room["front"] > room["back"] > 27.0


def test_an_asphere_has_neither_test_plate_nor_radius_tool_but_a_program_of_each_face(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    made = lens(piece(radii_mm=(47.3, -47.3), aspheric=True))
    assert [tool.name for tool in plan(made, rates).tooling if not tool.ways] == [
        "asphere program, L1 front",
        "asphere program, L1 back",
    ]


def test_a_blank_too_wide_for_optical_centring_is_refused_though_the_bells_take_it(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    centres = tuple(
        row.model_copy(update={"largest_diameter_mm": 20.0}) if row.method == "optical" else row for row in rates.work_centres
    )
    few = rates.model_copy(update={"work_centres": centres})
    reasons = refusal(lens(piece(radii_mm=(50.0, 52.0))), few).reasons
    assert [(reason.code, reason.limit) for reason in reasons] == [("too-large-for-machines", 20.0)]
    assert plan(lens(piece()), few).routes


def test_a_saw_cut_spends_once_what_its_row_says(lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates) -> None:
    saw = one(plan(lens(piece()), rates).routes[0], "saw")
    assert saw.consumables == next(row.consumables_per_batch for row in rates.grinding if row.stage == "saw")


def test_a_cure_is_loaded_by_someone_and_left_alone(lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates) -> None:
    pieces = (piece(), piece(name="L2", glass="SF2", radii_mm=(-50.0, 200.0)))
    join, cure = (step for step in plan(lens(*pieces, cemented=(0,)), rates).routes[2].operations if step.operation == "cement")
    assert cure.attended_share < 0.1 < join.attended_share
    assert (cure.setup_min, cure.yield_share, cure.batch_loss) == (0.0, 1.0, 0.0)


def test_behind_the_first_face_of_a_pressing_stands_little_glass(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    def room(form: str) -> float:
        block = one(plan(lens(piece(form=form)), rates).routes[0], "block", "front")
        return next(float(part.value) for figure in block.basis for part in figure.inputs if part.name == "pitch_mm")

    assert room("pressing") < room("slab")


@pytest.mark.parametrize(
    ("table", "gone", "message"),
    [
        ("cementing", lambda row: row.finest_centring_arcmin > 6, "cementing has no row for a centring of 5 arcmin"),
        ("allowances", lambda row: row.kind != "core_kerf", "allowances has no row for core_kerf of a slab at a diameter of 25 mm"),
        ("work_centres", lambda row: row.method != "bell", "work_centres has no row for centre bell"),
        ("yields", lambda row: row.operation != "blacken_edge", "yields has no row for blacken_edge"),
        ("hardware", lambda row: row.kind != "case", "hardware has no row for case"),
        ("turning", lambda row: row.kind != "spacer", "turning has no row for spacer"),
        ("assembly", lambda row: row.operation != "align", "assembly has no row for align"),
    ],
)
def test_a_rate_missing_for_a_mounted_lens_is_named(
    table: str, gone: Callable[[Any], bool], message: str, lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    pieces = (piece(), piece(name="L2", glass="SF2", radii_mm=(-50.0, 200.0)), piece(name="L3"))
    with pytest.raises(RateMissing, match=message):
        plan(lens(*pieces, cemented=(0,), barrel=BARREL), without(rates, table, gone))


def test_a_kerf_of_the_form_goes_before_that_of_any_form_as_it_does_for_the_blank(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    general = next(row for row in rates.allowances if row.kind == "saw_kerf")
    wide = general.model_copy(
        update={
            "name": "saw_kerf of slabs",
            "form": "slab",
            "allowance_mm": 3.0,
            "diameter_over_mm": 0.0,
            "diameter_up_to_mm": 500.0,
        }
    )
    tables = {name: getattr(rates, name) for name in Rates.model_fields} | {"allowances": (*rates.allowances, wide)}
    saw, other = (
        next(one for one in plan(lens(piece()), table).routes[0].operations if one.operation == "saw")
        for table in (rates, Rates.model_construct(**tables))
    )
    assert other.batch_min > saw.batch_min
