"""Prototypes before a series: its tools are charged and waited for with them, and not again."""

from __future__ import annotations

from functools import cache
from typing import Any

import pytest

from services.quoting.explain.basis import explain
from services.quoting.service.order_checks import faults_of_order
from shared_schemas.order_terms import AfterPrototypes
from shared_schemas.quote import Explanation, QuoteBody
from tests.chain import job_of, request_of, singlet, through_stages
from tests.laws.prices import rates

LENS = singlet(front_mm=47.3, back_mm=-53.9)


@cache
def quoted() -> tuple[QuoteBody, Explanation]:
    request = request_of(LENS, (3, 50), prototypes=3)
    _, blanks, operations, quote = through_stages(request, rates())
    return quote, explain(job=job_of(request), blanks=blanks, operations=operations, rates=rates())


def test_a_series_after_prototypes_pays_for_no_tool_of_theirs_and_waits_for_none() -> None:
    quote, explanation = quoted()
    first, series = quote.breaks
    after = series.after_prototypes
    assert (first.prototypes, first.after_prototypes, series.prototypes) == (True, None, False)
    assert after is not None
    tools = quote.tooling if first.tooling is None else first.tooling
    own = quote.tooling if series.tooling is None else series.tooling
    spared = [tool for tool in own if tool.name in {one.name for one in tools}]
    assert after.tools_spared == sum(tool.charge for tool in spared) > 0
    assert after.total_payable == series.total_price + sum(tool.charge for tool in own if tool not in spared)
    assert after.p50_days <= series.lead_time.p50_days
    assert after.p90_days <= series.lead_time.p90_days
    assert [one.code for one in quote.findings].count("prototypes-first") == 1
    values = {figure.name: figure.value for figure in explanation.breaks[1].figures}
    assert (values["after_prototypes tools_spared"], values["after_prototypes total_payable"]) == (
        after.tools_spared,
        after.total_payable,
    )


def test_what_the_customer_supplies_is_there_with_the_prototypes_and_not_waited_for_again() -> None:
    def after(**fields: Any) -> AfterPrototypes:
        found = through_stages(request_of(LENS, (3, 50), prototypes=3, **fields), rates())[3].breaks[1]
        assert found.after_prototypes is not None
        return found.after_prototypes

    late = {"what": "glass", "element": "L1", "arrives": "2028-02-01"}
    at_once = {key: value for key, value in late.items() if key != "arrives"}
    assert after(supplied=[late]) == after(supplied=[at_once])


@pytest.mark.parametrize("quantities", [(50,), (3,), (5, 50)])
def test_prototypes_that_are_no_quantity_beside_a_series_are_refused_at_the_door(quantities: tuple[int, ...]) -> None:
    assert [one.pointer for one in faults_of_order(request_of(LENS, quantities, prototypes=3))] == ["/prototypes"]
