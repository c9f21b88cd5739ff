from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from services.process.domain.plan import plan_operations
from shared_schemas.operations import Operation, OperationPlan, Route
from shared_schemas.prescription import Barrel
from shared_schemas.rates import Rates
from tests.unit.process.conftest import taken

BARREL = Barrel(material="aluminium", length_mm=30.0, outer_diameter_mm=34.0, engraved_characters=12)
TURNED = ("tape and pitch button", "blocking body warmed, pitch poured, cooled")


def plan(made: Any, rates: Rates) -> OperationPlan:
    found = plan_operations(job=made.job, check=made.check, blanks=made.blanks, rates=rates)
    assert isinstance(found, OperationPlan), found
    return found


def doublet(lens: Callable[..., Any], piece: Callable[..., Any], **of_second: Any) -> Any:
    """A cemented doublet, coated outside, in a barrel with engraving."""
    first = piece(coatings=("ar-single", None))
    second = piece(name="L2", glass="SF2", radii_mm=(-50.0, 200.0), coatings=(None, "ar-single"), **of_second)
    return lens(first, second, cemented=(0,), barrel=BARREL)


def card(route: Route) -> list[str]:
    """A route card as one reads it: operation, method of what comes several times, face."""
    return [
        " ".join(
            filter(None, (one.operation, one.method if one.operation in ("clean", "inspect") else "", one.face and f"({one.face})"))
        )
        for one in route.operations
    ]


def of(route: Route, operation: str, method: str = "", face: str | None = None) -> Operation:
    found = [one for one in route.operations if (one.operation, one.method) == (operation, method) and face in (None, one.face)]
    assert found, (operation, method)
    return found[0]


def with_rows(rates: Rates, table: str, change: Callable[[Any], Any]) -> Rates:
    rows = (change(row) for row in getattr(rates, table))
    return rates.model_copy(update={table: tuple(row for row in rows if row is not None)})


def test_a_coated_cemented_lens_in_a_barrel_is_made_in_the_order_of_a_shop(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    routes = {route.part: card(taken(route)) for route in plan(doublet(lens, piece), rates).routes}
    assert routes["L1"] == [
        "saw",
        "wax",
        "core",
        "melt_off",
        "clean wax off",
        "generate (front)",
        "inspect chips (front)",
        "block (front)",
        "fine_grind (front)",
        "polish (front)",
        "deblock (front)",
        "clean between faces (front)",
        "generate (back)",
        "inspect chips (back)",
        "block (back)",
        "fine_grind (back)",
        "polish (back)",
        "deblock (back)",
        "clean lacquer off (back)",
        "centre",
        "bevel",
        "clean",
        "inspect",
        "clean before coating",
        "coat (front)",
        "inspect witness (front)",
        "clean after coating",
        "inspect coated",
    ]
    assert routes["L1+L2"] == [
        "clean before cementing",
        "inspect microscope",
        "cement",
        "cement",
        "blacken_edge",
        "inspect",
    ]
    assert routes["lens"] == ["engrave", "clean before assembly", "assemble", "align", "final_test", "pack"]


@pytest.mark.parametrize("form", ["slab", "strip", "rod", "disc", "pressing"])
def test_only_slices_that_are_cored_are_waxed_and_washed(
    form: str, lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    route = card(plan(lens(piece(form=form)), rates).routes[0])
    assert ("wax" in route) is ("core" in route) is ("clean wax off" in route)
    if "core" in route:
        at = route.index("core")
        assert route[at - 1 : at + 3] == ["wax", "core", "melt_off", "clean wax off"]


def test_a_slice_is_waxed_whole_so_discs_of_one_slice_share_the_minutes(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    made = lens(piece())
    route = plan(made, rates).routes[0]
    assert of(route, "wax").batch_size == of(route, "melt_off").batch_size == made.blanks.blanks[0].discs_per_plate


def test_the_witness_is_measured_once_for_each_run_and_after_it(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    operations = plan(lens(piece()), rates).routes[0].operations
    minutes = sum(row.minutes for row in rates.inspection if row.looks_at == "coating")
    for position, run in enumerate(operations):
        if run.operation != "coat":
            continue
        after = operations[position + 1]
        assert (after.operation, after.method, after.face) == ("inspect", "witness", run.face)
        assert (after.batch_size, after.batch_min, after.piece_min) == (run.batch_size, minutes, 0.0)


def test_an_uncoated_lens_has_no_witness_and_no_cleaning_for_a_coating(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    route = card(plan(lens(piece(coatings=(None, None))), rates).routes[0])
    assert not [one for one in route if "coat" in one or "witness" in one]
    assert route[-2:] == ["clean", "inspect"]


def test_pitch_is_built_up_lens_by_lens_and_the_body_warmed_once_for_a_block(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    block = of(plan(lens(piece(radii_mm=(None, -80.0))), rates).routes[0], "block", "block", "front")
    rows = {row.name: row for row in rates.extra_work}
    centre = rates.work_centre(block.work_centre)
    assert block.batch_min == pytest.approx(rows["blocking body warmed, pitch poured, cooled"].minutes + centre.cycle_min)
    assert block.piece_min == pytest.approx(rows["tape and pitch button"].minutes + centre.load_min_per_piece)


def test_a_lens_worked_singly_is_waxed_to_a_holder_and_no_body_is_poured_for_it(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    block = of(plan(lens(piece(irregularity=(0.1, 0.1))), rates).routes[0], "block", "single")
    named = {part.name for figure in block.basis for part in figure.inputs}
    assert "chucked in its holder" in named
    assert not named.intersection(TURNED)


def test_the_finished_face_is_lacquered_only_while_the_second_face_is_worked(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    route = taken(plan(lens(piece()), rates).routes[0])
    first, second = (one.face for one in route.operations if one.operation == "generate")
    for operation, row in (("block", "finished face lacquered"), ("deblock", "lacquer taken off")):
        each = next(one.minutes for one in rates.extra_work if one.name == row)
        bare, lacquered = (of(route, operation, "block", face).piece_min for face in (first, second))
        assert lacquered - bare == pytest.approx(each)


def test_cementing_looks_at_both_faces_of_each_joint_under_the_microscope(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    look = of(plan(doublet(lens, piece), rates).routes[2], "inspect", "microscope")
    row = next(row for row in rates.inspection if row.looks_at == "joined")
    assert look.batch_min == pytest.approx(2 * row.minutes + rates.work_centre("microscope").load_min_per_piece)


def test_parts_of_one_lens_share_the_rack_that_they_are_cleaned_in(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    clean = of(plan(doublet(lens, piece), rates).routes[2], "clean", "before cementing")
    line = rates.work_centre("cleaning line")
    assert line.rack_pieces is not None
    assert clean.batch_size == line.rack_pieces // 2
    assert clean.piece_min == pytest.approx(2 * line.load_min_per_piece)


def test_covers_against_dust_take_minutes_for_each_part(lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates) -> None:
    slower = with_rows(
        rates,
        "assembly",
        lambda row: row.model_copy(update={"minutes": row.minutes + 2}) if row.name == "cover against dust" else row,
    )
    made = lens(piece(), piece(name="L2"), piece(name="L3"), barrel=BARREL)
    usual, covered = (of(plan(made, table).routes[-1], "assemble").batch_min for table in (rates, slower))
    assert covered - usual == pytest.approx(3 * 2)


def test_a_shop_without_rows_for_the_looks_between_does_without_them(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    bare = with_rows(rates, "inspection", lambda row: None if row.looks_at in ("chips", "joined", "coated", "coating") else row)
    bare = with_rows(bare, "work_centres", lambda row: None if row.name in ("waxing plate", "solvent bath", "clean bench") else row)
    found = plan(doublet(lens, piece), bare)
    inspected = [one for route in found.routes for one in card(route) if one.startswith("inspect")]
    assert inspected == ["inspect"] * 3
    assert "wax" not in card(found.routes[0])
    assert {one.work_centre for one in found.routes[0].operations if one.operation == "clean"} == {"cleaning line"}


def test_every_operation_of_a_route_is_told_apart_by_name_face_and_method(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    for route in plan(doublet(lens, piece), rates).routes:
        told = [(one.operation, one.face, one.method, one.batch_size, one.ways) for one in route.operations]
        assert len(set(told)) == len(told)
