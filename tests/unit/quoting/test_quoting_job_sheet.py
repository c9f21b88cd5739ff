"""The job sheet: its figures are those of the quote, discs lie in their plate, as many lenses stand on a block as the routing says."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, date, datetime
from decimal import Decimal
from itertools import combinations

import pytest

from services.quoting.job_sheet import Given, JobSheet, job_page, job_sheet_of
from services.quoting.job_sheet.blocks import block_of, rings_of
from services.quoting.job_sheet.cutting import Cut, cut_of, cutting_svg
from services.quoting.job_sheet.days import days_of
from services.quoting.job_sheet.gallery import Gallery, JobBlock, Part
from services.quoting.job_sheet.routing import HEADS
from services.quoting.pricing.evaluation import evaluate
from services.quoting.pricing.quote import plans_for
from services.quoting.service.production_order import production_quantity
from services.quoting.sheet import Head
from services.quoting.sheet.parts import Points, Table
from shared_schemas.finding_kinds import CATALOGUE
from shared_schemas.overrides import AppliedOverride
from shared_schemas.quote_request import QuoteRequest
from shared_schemas.rates import Rates
from tests.chain import demo, job_of, request_of, sections_of, singlet, through_stages

HEAD = Head(number="Q-2026-000118", revision=1, latest_revision=1, customer="<b>Vinterholm</b>", digest="4f" * 32, state="open")
HAIR_MM = 1e-5


def given_of(request: QuoteRequest, rates: Rates, quantity: int) -> Given:
    _, blanks, operations, body = through_stages(request, rates)
    evaluation = evaluate(plans_for(job_of(request), blanks, operations, rates), quantity=quantity)
    price_break = next(one for one in body.breaks if one.quantity == quantity)
    planned = production_quantity(price_break, body, evaluation)
    return Given(HEAD, body, price_break, planned, evaluation, operations.tools_owned, operations.alike, rates_of=date(2026, 11, 2))


@pytest.fixture(scope="module")
def given(rates: Rates) -> Given:
    return given_of(demo(), rates, 25)


@pytest.fixture(scope="module")
def sheet(given: Given) -> JobSheet:
    return job_sheet_of(given)


def blocks_of(sheet: JobSheet, title: str) -> tuple[JobBlock, ...]:
    (blocks,) = [one.blocks for one in sheet.sections if one.title.startswith(title)]
    return blocks


def amount(cell: str) -> Decimal:
    return Decimal(cell.replace(",", ""))


def test_costs_of_operations_add_up_to_the_operations_of_the_price(given: Given, sheet: JobSheet) -> None:
    place = HEADS.index(">Cost")
    tables = [block for block in blocks_of(sheet, "Routing") if isinstance(block, Table)]
    costs = [sum((amount(row[place]) for row in table.rows), Decimal(0)) for table in tables]
    assert costs == [amount(table.foot[place]) for table in tables]
    (line,) = [one.amount for one in given.price_break.lines if one.kind == "operations"]
    assert sum(costs) == line


def test_every_part_has_its_route_with_pieces_that_only_go_down(given: Given, sheet: JobSheet) -> None:
    blocks = blocks_of(sheet, "Routing")
    tables = [block for block in blocks if isinstance(block, Table)]
    parts = [block for block in blocks if isinstance(block, Part)]
    assert len(parts) == len(tables) == len(given.evaluation.made.routes)
    for route, table, part in zip(given.evaluation.made.routes, tables, parts, strict=True):
        assert len(table.rows) == len(route.operations)
        into = [int(row[HEADS.index(">In")].replace(",", "")) for row in table.rows]
        out = [int(row[HEADS.index(">Out")].replace(",", "")) for row in table.rows]
        assert into[0] == given.price_break.start_quantities[route.part]
        assert into[1:] == out[:-1]
        assert f"Started {into[0]} for" in part.line


def test_price_lines_and_margins_are_those_of_the_quote(given: Given, sheet: JobSheet) -> None:
    lines, margins = [block for block in blocks_of(sheet, "Cost and margin") if isinstance(block, Table)]
    for place, one in enumerate(given.body.breaks, start=1):
        assert sum(amount(row[place]) for row in lines.rows if row[place]) == amount(lines.foot[place]) == one.total_price
        of_one = {row[0]: row[place] for row in margins.rows}
        assert amount(of_one["cost, planned"]) == one.unit_cost.planned
        assert one.unit_cost.p95 is not None
        assert amount(of_one["cost, 95 of 100 below"]) == one.unit_cost.p95


def test_discs_lie_in_their_plate_apart_and_as_many_as_the_blank_says(given: Given) -> None:
    drawn = 0
    for blank in given.evaluation.made.blanks.values():
        cut = cut_of(blank, given.evaluation.plans.rates.stock_form(blank.stock))
        if cut is None:
            assert blank.form == "pressing"
            continue
        drawn += 1
        assert len(cut.centres) == blank.discs_per_plate
        assert faults_of(cut) == []
        assert 2 * cut.skin_mm + cut.plates * cut.thickness_mm + (cut.plates - 1) * cut.kerf_mm <= cut.depth_mm + HAIR_MM
    assert drawn


@pytest.mark.parametrize(
    ("glass", "diameter_mm", "form"), [("F2", 25.0, "disc"), ("LASF35", 25.0, "strip"), ("N-BK7", 10.0, "rod")]
)
def test_slices_strips_and_rods_are_cut_as_the_blank_says(rates: Rates, glass: str, diameter_mm: float, form: str) -> None:
    steep = {"front_mm": 4 * diameter_mm, "back_mm": -4 * diameter_mm}
    lens = singlet(glass=glass, diameter_mm=diameter_mm, centre_thickness_mm=diameter_mm / 4, **steep)
    _, blanks, _ = sections_of(request_of(lens), rates)
    (blank,) = [one for one in blanks.blanks if one.form == form]
    cut = cut_of(blank, rates.stock_form(blank.stock))
    assert cut is not None
    assert len(cut.centres) == blank.discs_per_plate
    assert faults_of(cut) == []
    picture = cutting_svg(cut, glass, "cut")
    assert picture.count('class="disc"') == blank.discs_per_plate + blank.plates_per_slab
    assert cut.lies == (form == "rod")


def faults_of(cut: Cut) -> list[str]:
    """Discs over the margin, or too near to each other; a piece of one disc is ground down to it and has no margin."""
    least, middle = cut.margin_mm + cut.diameter_mm / 2 - HAIR_MM, cut.length_mm / 2
    found = []
    for x, y in cut.centres if len(cut.centres) > 1 else ():
        inside = least <= x <= cut.length_mm - least and least <= y <= cut.width_mm - least
        if cut.is_round:
            inside = ((x - middle) ** 2 + (y - middle) ** 2) ** 0.5 <= middle - least
        if not inside:
            found.append(f"{x}, {y} over the margin")
    found += [
        f"{one} and {other} too near"
        for one, other in combinations(cut.centres, 2)
        if ((one[0] - other[0]) ** 2 + (one[1] - other[1]) ** 2) ** 0.5 < cut.diameter_mm + cut.gap_mm - HAIR_MM
    ]
    return found


def test_as_many_lenses_stand_on_a_block_as_the_routing_says(given: Given, sheet: JobSheet) -> None:
    seen = []
    for route in given.evaluation.made.routes:
        for operation in route.operations:
            if operation.operation == "block":
                blank = given.evaluation.made.blanks[route.part]
                drawn = block_of(route.part, operation, blank.diameter_mm, blank.glass)
                assert (drawn is None) == (operation.batch_size == 1), route.part
                if drawn is not None:
                    seen.append(drawn)
                    assert drawn.lenses == operation.batch_size <= drawn.layout.count
                    assert sum(rings_of(drawn.layout)) == drawn.layout.count
                    assert drawn.least_gap_mm > 0
    page = job_page(sheet)
    assert len(seen) > 1
    assert page.count('class="lens"') == sum(one.lenses for one in seen)
    assert [one.convex for one in seen if one.title.startswith("L1 back")] == [False]


def test_polishing_says_pressure_speed_coefficient_and_row(sheet: JobSheet) -> None:
    page = job_page(sheet)
    assert re.search(r"polishing back, block: [\d.]+ min remove 15 µm at 18\.1 µm/h, Preston 7e-13 /Pa × 12 kPa × 0\.6 m/s", page)
    assert "(polishing: crown, block, 2 Nov 2026)" in page


def test_each_face_stands_on_a_block_or_says_why_not(given: Given, sheet: JobSheet) -> None:
    gallery, _, points = blocks_of(sheet, "Blocks")
    assert isinstance(gallery, Gallery)
    assert isinstance(points, Points)
    faces = [one.lines[0].partition(",")[0] for one in gallery.pictures]
    faces += [face for line in points.lines for face in line.rpartition(": ")[2].rstrip(".").split(", ")]
    assert sorted(faces) == sorted(f"{one.name} {face}" for one in given.body.prescription.elements for face in ("front", "back"))
    assert any("a second lens finds no room" in line for line in points.lines)


def test_what_an_estimator_set_stands_with_author_and_reason(given: Given) -> None:
    one = AppliedOverride(
        pointer="/operations/L1-polish-back/piece_min", value=12.5, base=0.27, author="Ines Holm", reason="the last lot showed it",
        at=datetime(2026, 11, 3, 9, tzinfo=UTC),
    )  # fmt: skip
    sheet = job_sheet_of(replace(given, body=given.body.model_copy(update={"overrides": (one,)})))
    (table,) = blocks_of(sheet, "Set by an estimator")
    assert isinstance(table, Table)
    assert table.rows == ((one.pointer, "12.5", "0.27", "Ines Holm", "3 Nov 2026", "the last lot showed it"),)


def test_findings_are_those_for_the_shop_and_cautions_stand_last(given: Given, sheet: JobSheet) -> None:
    (table,) = blocks_of(sheet, "Findings for the shop")
    assert isinstance(table, Table)
    every = [*given.body.check.findings, *given.body.findings]
    assert {row[2] for row in table.rows} == {one.message for one in every if CATALOGUE[one.code].audience != "customer"}
    assert [row[0] for row in table.rows] == sorted((row[0] for row in table.rows), key=["stop", "care", "note"].index)
    assert sheet.sections[-1].blocks == (Points(given.body.cautions),)


def test_days_of_a_part_lie_within_the_order(given: Given) -> None:
    schedule = given.evaluation.schedule
    for one in days_of(given):
        assert schedule.begin <= one.begins <= one.ends <= one.late
    assert days_of(given)[-1].late <= given.price_break.lead_time.ship_date


def test_texts_are_no_markup_and_every_page_says_it_is_internal(given: Given, sheet: JobSheet) -> None:
    page = job_page(sheet)
    assert "<b>" not in page
    assert "&lt;b&gt;Vinterholm" in page
    assert page.count("Internal: not for the customer") >= 2
    late = job_sheet_of(replace(given, head=replace(HEAD, latest_revision=3)), paper="letter")
    assert late.notices == ("Revision 3 is the latest; this one is kept as it was.",)
    assert "size:letter" in job_page(late)


def test_a_revision_that_waits_for_its_second_key_says_so(given: Given) -> None:
    assert not any("second key" in notice for notice in job_sheet_of(given).notices)
    assert "second key" in job_sheet_of(replace(given, waits_for_approval=True)).notices[0]
