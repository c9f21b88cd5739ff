"""Every figure of a real quote has a pointer, and every pointer an answer."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from services.glass.domain.plan import plan_blanks
from services.prescription.domain.check import check
from services.process.domain.plan import plan_operations
from services.quoting.errors import PointerNamesNoFigure
from services.quoting.explain.basis import explain
from services.quoting.explain.figure_at import figure_at
from services.quoting.pricing.quote import assemble
from shared_schemas.figure import Figure, PointedFigure
from shared_schemas.quote import Explanation
from shared_schemas.quote_request import QuoteRequest
from shared_schemas.rates import Rates
from shared_schemas.traveller import Job, Refusal
from tests.laws.shown import leaves

DEMO = Path(__file__).resolve().parents[3] / "services" / "desk" / "demo" / "lake_ice_lidar.json"


@pytest.fixture(scope="module")
def quoted(rates: Rates) -> tuple[dict[str, Any], Explanation]:
    """The demo lens as a quote in JSON, and what explains it."""
    asked = json.loads(DEMO.read_text(encoding="utf-8")) | {"quantities": [5, 40], "needed_by": "2027-01-20"}
    job = Job(number="Q-1", attempt=1, request=QuoteRequest.model_validate(asked), rate_revision=1, quoted_on=date(2026, 11, 25))
    report = check(job=job, rates=rates)
    assert not isinstance(report, Refusal)
    blanks = plan_blanks(job=job, check=report, rates=rates)
    assert not isinstance(blanks, Refusal)
    operations = plan_operations(job=job, check=report, blanks=blanks, rates=rates)
    assert not isinstance(operations, Refusal)
    body = assemble(job=job, check=report, blanks=blanks, operations=operations, rates=rates, rate_digest="d")
    return json.loads(body.model_dump_json()), explain(job=job, blanks=blanks, operations=operations, rates=rates)


def ask(quoted: tuple[dict[str, Any], Explanation], pointer: str) -> PointedFigure:
    document, explanation = quoted
    return figure_at(pointer=pointer, document=document, explained=lambda: explanation.breaks)


def below(figure: Figure) -> Iterator[Figure]:
    yield figure
    for one in figure.inputs:
        yield from below(one)


def test_every_text_and_number_of_a_quote_resolves_to_itself_and_says_where_it_is_from(
    quoted: tuple[dict[str, Any], Explanation],
) -> None:
    pointers = list(leaves(quoted[0]))
    assert len(pointers) > 5000
    for pointer, value in pointers:
        figure = ask(quoted, pointer)
        assert (figure.pointer, str(figure.value)) == (pointer, str(value))
        assert figure.formula or figure.reason or figure.rate_row or figure.source, pointer


def test_a_price_goes_down_to_the_dated_rate_row_of_the_polishing_of_a_face(quoted: tuple[dict[str, Any], Explanation]) -> None:
    lines = [one["kind"] for one in quoted[0]["breaks"][0]["lines"]]
    found = ask(quoted, f"/breaks/0/lines/{lines.index('operations')}/amount")
    assert found.unit == "USD"
    polish = next(one for one in below(found) if one.name.startswith("polish back"))
    rows = {one.rate_row.table for one in below(polish) if one.rate_row}
    assert "work_centres" in rows
    number = next(
        n
        for n, step in enumerate(quoted[0]["elements"][1]["operations"])
        if (step["operation"], step["face"]) == ("polish", "back")
    )
    minutes = ask(quoted, f"/elements/1/operations/{number}/batch_min")
    tables = {one.rate_row.table for one in below(minutes) if one.rate_row}
    assert "polishing" in tables
    assert minutes.unit == "min"


@pytest.mark.parametrize(
    ("pointer", "name"),
    [
        ("/breaks/1/unit_price", "step"),
        ("/breaks/1/unit_cost/p80", "unit_cost_spread"),
        ("/breaks/1/lead_time/p90_days", "hours"),
        ("/breaks/1/lead_time/p90_days", "p50_days"),
        ("/breaks/1/lead_time/p50_days", "mean_job_h"),
        ("/breaks/1/start_quantities/L3", "needed"),
        ("/breaks/1/spares/L3", "L3"),
        ("/breaks/1/materials/0/cost", "blanks"),
        ("/breaks/1/loss_chance", "draws"),
        ("/check/elements/0/mass_g", "density_g_cm3"),
    ],
)
def test_what_lies_behind_a_figure_stands_among_its_inputs(
    quoted: tuple[dict[str, Any], Explanation], pointer: str, name: str
) -> None:
    assert name in {one.name for one in below(ask(quoted, pointer))}


@pytest.mark.parametrize(
    ("pointer", "why"),
    [
        ("", "it must begin with /"),
        ("breaks/0", "it must begin with /"),
        ("/breaks", "more than one figure stands there"),
        ("/breaks/9/unit_price", "there is no 9 in /breaks"),
        ("/breaks/0/unit_prise", "there is no unit_prise in /breaks/0"),
        ("/breaks/-1", "there is no -1 in /breaks"),
        ("/prescription/object_distance_mm", "nothing stands there"),
        ("/check/elements/0/front/aspheric", "a yes or no stands there"),
        ("/breaks/0/unit_price/deeper", "there is no deeper"),
    ],
)
def test_a_pointer_that_names_no_figure_is_told_why(quoted: tuple[dict[str, Any], Explanation], pointer: str, why: str) -> None:
    with pytest.raises(PointerNamesNoFigure, match=why) as caught:
        ask(quoted, pointer)
    assert caught.value.errors[0].pointer == "/query/of"


def test_the_names_below_a_place_are_told(quoted: tuple[dict[str, Any], Explanation]) -> None:
    with pytest.raises(PointerNamesNoFigure) as caught:
        ask(quoted, "/breaks/0/unit_cost")
    assert caught.value.errors[0].limit == "planned, p50, p80, p95, p80_in_time"
