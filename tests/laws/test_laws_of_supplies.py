"""What a customer supplies costs nothing, is waited for, is held against what is taken, and never makes a lens dearer."""

from __future__ import annotations

import json
from datetime import date
from functools import cache
from typing import Any

import pytest
from pydantic import ValidationError

from services.quoting.explain.basis import explain
from services.quoting.pricing.supplied import arrivals_of
from services.quoting.service.order_checks import faults_of_order
from shared_schemas.operations import OperationPlan
from shared_schemas.quote import QuoteBody
from shared_schemas.quote_request import QuoteRequest
from tests.chain import QUOTED_ON, Refused, alike_doublets, job_of, quote_of, request_of, sections_of, singlet, through_stages
from tests.laws.prices import rates

COATED = singlet(coating="ar-single", front_mm=47.3, back_mm=-53.9)
LATE = date(2027, 6, 1)


@cache
def quoted(asked: str) -> tuple[OperationPlan, QuoteBody]:
    _, _, operations, quote = through_stages(request_of(COATED, (25,), supplied=json.loads(asked)), rates())
    return operations, quote


def with_supplies(*supplied: dict[str, Any]) -> tuple[OperationPlan, QuoteBody]:
    return quoted(json.dumps(supplied))


def steps(operations: OperationPlan) -> list[str]:
    return [one.operation for one in operations.routes[0].operations]


def codes(quote: QuoteBody) -> list[str]:
    return [one.code for one in quote.findings]


BLANK = {"what": "blank", "element": "L1", "diameter_mm": 27.0, "thickness_mm": 8.0}
GLASS = {"what": "glass", "element": "L1"}


def test_glass_that_is_supplied_is_cut_as_usual_and_costs_nothing() -> None:
    (usual, bought), (operations, quote) = with_supplies(), with_supplies(GLASS)
    assert {"saw", "core"} <= set(steps(operations)) <= set(steps(usual))
    (need,) = quote.breaks[0].materials[:1]
    assert (need.cost, need.quantity > 0) == (0, True)
    assert quote.breaks[0].total_price < bought.breaks[0].total_price
    assert "supplied-material-lost" in codes(quote)
    assert "supplied-material-short" not in codes(quote), "how much there is was not said"


def test_a_blank_that_is_supplied_is_neither_sawn_nor_cored_and_its_size_is_generated_from() -> None:
    operations, quote = with_supplies(BLANK)
    assert not {"saw", "core", "press_blank"} & set(steps(operations))
    blank = quote.elements[0].blank
    assert (blank.diameter_mm, blank.thickness_mm) == (27.0, 8.0)

    def generating(thickness_mm: float) -> float:
        plan, _ = with_supplies(BLANK | {"thickness_mm": thickness_mm})
        return sum(one.batch_min for one in plan.routes[0].operations if one.operation == "generate")

    assert generating(8.0) < generating(9.0) < generating(12.0)


@pytest.mark.parametrize(("what", "less", "more"), [("pieces", 26, 60), ("mass_kg", 0.05, 5.0)])
def test_too_little_of_it_is_told_with_what_is_missing_and_enough_is_not(what: str, less: float, more: float) -> None:
    entry = BLANK if what == "pieces" else GLASS
    _, short = with_supplies(entry | {what: less})
    (finding,) = (one for one in short.findings if one.code == "supplied-material-short")
    assert isinstance(finding.figure, float)
    assert finding.figure > less == finding.limit
    assert finding.pointer == "/supplied/0"
    assert "supplied-material-short" not in codes(with_supplies(entry | {what: more})[1])


@pytest.mark.parametrize("changes", [{"diameter_mm": 25.1}, {"thickness_mm": 5.9}])
def test_a_blank_that_the_element_does_not_come_out_of_is_refused(changes: dict[str, float]) -> None:
    with pytest.raises(Refused) as refused:
        with_supplies(BLANK | changes)
    (reason,) = refused.value.refusal.reasons
    assert (reason.code, reason.pointer) == ("supplied-blank-too-small", f"/supplied/0/{next(iter(changes))}")
    with_supplies(BLANK | {next(iter(changes)): reason.limit})


@pytest.mark.parametrize("entry", [GLASS, BLANK], ids=["glass", "blank"])
def test_nothing_begins_before_it_is_there(entry: dict[str, Any]) -> None:
    days = with_supplies(entry | {"arrives": LATE.isoformat()})[1].breaks[0].lead_time
    assert days.p50_days > (LATE - QUOTED_ON).days
    assert days.critical_path[0].startswith("the customer's")
    assert with_supplies(entry)[1].breaks[0].lead_time.p50_days < (LATE - QUOTED_ON).days


def test_a_tool_that_is_supplied_by_name_is_neither_charged_nor_waited_for() -> None:
    usual, _ = with_supplies()
    charged = [tool.name for tool in usual.tooling]
    assert charged
    operations, _ = with_supplies(*({"what": "tool", "tool": name} for name in charged))
    assert operations.tooling == ()
    assert {one.name for one in operations.tools_owned} >= set(charged)
    _, late = with_supplies({"what": "tool", "tool": charged[0], "arrives": LATE.isoformat()})
    assert late.breaks[0].lead_time.p50_days > (LATE - QUOTED_ON).days


def test_every_part_that_a_supplied_tool_serves_waits_for_it() -> None:
    document = json.loads(alike_doublets(1, quantities=(5,)).model_dump_json())
    chuck = {"what": "tool", "tool": "centring chuck 30 mm", "arrives": LATE.isoformat()}
    request = QuoteRequest.model_validate(document | {"supplied": [chuck]})
    _, _, operations = sections_of(request, rates())
    assert arrivals_of(request.supplied, operations) == dict.fromkeys(("L1", "L2"), (chuck["tool"], LATE))


def test_a_trial_run_that_was_made_before_is_a_tool_that_is_there_by_its_name() -> None:
    lens = singlet(glass="N-SF6", coating={"reflectance_max_share": 0.006, "band_nm": [650.0, 1050.0]})
    (trial,) = (tool.name for tool in sections_of(request_of(lens, (5,)), rates())[2].tooling if tool.name.startswith("trial"))
    there = {"what": "tool", "tool": trial, "arrives": LATE.isoformat()}
    request = request_of(lens, (5,), supplied=[there])
    _, _, operations = sections_of(request, rates())
    assert trial not in [tool.name for tool in operations.tooling]
    assert "supplied-tool-not-needed" not in [one.code for one in operations.findings]
    assert arrivals_of(request.supplied, operations) == {"L1": (trial, LATE)}
    repeated = request_of(lens, (5,), repeats="Q-2026-000001").model_copy(update={"tools_there": (trial,)})
    assert [one.figure for one in sections_of(repeated, rates())[2].findings if one.code == "repeat-of-an-order"] == [1]


def test_a_coating_arrives_on_no_day_it_takes_its_days() -> None:
    with pytest.raises(ValidationError, match="arrives"):
        request_of(COATED, (5,), supplied=[{"what": "coating", "element": "L1", "arrives": LATE.isoformat()}])


def test_a_tool_that_nothing_is_made_with_is_told() -> None:
    _, quote = with_supplies({"what": "tool", "tool": "test plate 1 mm"})
    (finding,) = (one for one in quote.findings if one.code == "supplied-tool-not-needed")
    assert (finding.pointer, finding.figure) == ("/supplied/0/tool", "test plate 1 mm")


def test_a_face_that_the_customer_coats_is_not_coated_here_and_is_away_for_his_days() -> None:
    usual, _ = with_supplies()
    one_face, _ = with_supplies({"what": "coating", "element": "L1", "face": "front"})
    neither, at_once = with_supplies({"what": "coating", "element": "L1"})
    _, away = with_supplies({"what": "coating", "element": "L1", "days": 40.0})
    assert [steps(plan).count("coat") for plan in (usual, one_face, neither)] == [2, 1, 0]
    assert away.breaks[0].lead_time.p50_days >= at_once.breaks[0].lead_time.p50_days + 35
    assert "coated-by-the-customer" in codes(away)


def test_elements_of_which_something_else_is_supplied_are_lots_of_their_own() -> None:
    request = alike_doublets(quantities=(5,))
    document = json.loads(request.model_dump_json()) | {"supplied": [{"what": "glass", "element": "L3"}]}
    _, blanks, operations, quote = through_stages(QuoteRequest.model_validate(document), rates())
    assert blanks.alike == operations.alike == {"L4": "L2"}
    assert {one.element for one in blanks.blanks} == {"L1", "L2", "L3"}
    assert quote.breaks[0].total_price > 0


@pytest.mark.parametrize(
    ("supplied", "pointers"),
    [
        ([{"what": "glass", "element": "L9"}], ["/supplied/0/element"]),
        ([GLASS, BLANK], ["/supplied/1"]),
        ([{"what": "coating", "element": "L1"}], ["/supplied/0/element"]),
        ([{"what": "coating", "element": "L1", "face": "back"}], ["/supplied/0/face"]),
        ([{"what": "tool", "tool": "block"}, {"what": "tool", "tool": "block"}], ["/supplied/1"]),
    ],
)
def test_what_is_not_there_is_refused_at_the_door_with_its_place(supplied: list[dict[str, Any]], pointers: list[str]) -> None:
    assert [one.pointer for one in faults_of_order(request_of(singlet(), (5,), supplied=supplied))] == pointers


def test_a_quote_with_supplied_glass_explains_itself() -> None:
    request = request_of(COATED, (25,), supplied=[GLASS])
    _, blanks, operations, quote = through_stages(request, rates())
    (shown,) = explain(job=job_of(request), blanks=blanks, operations=operations, rates=rates()).breaks
    values = {figure.name: figure.value for figure in shown.figures}
    assert values["lines 0 amount"] == quote.breaks[0].lines[0].amount == 0
    assert quote_of(request, rates()) == quote
