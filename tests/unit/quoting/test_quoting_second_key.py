"""When an overridden quote needs a second key: below the floor of the margin, above the limit of the chance of a loss, and never otherwise."""

from __future__ import annotations

from datetime import UTC, datetime
from decimal import Decimal

import pytest

from services.quoting.pricing.second_key import NEEDS_SECOND_KEY, margin_reached, needs_of_second_key
from services.rates.domain.second_look import second_looks
from shared_schemas.lead_times import Line
from shared_schemas.overrides import Override
from shared_schemas.quote import Break
from shared_schemas.quote_request import QuoteRequest
from shared_schemas.rates import Rates
from tests.chain import request_of, singlet
from tests.unit.quoting.conftest import TERMS

SET = Override(
    pointer="/prices/5/unit_price", value="90.00", base="120.00", author="Ines", reason="a first order", at=datetime(2026, 11, 2, tzinfo=UTC)
)  # fmt: skip
ASKED = request_of(singlet(), (5,))


def a_break(*, margin: str, loss_chance: float | None = 0.01) -> Break:
    lines = (
        Line(name="Operations", kind="operations", amount=Decimal(80)),
        Line(name="Margin", kind="margin", amount=Decimal(margin)),
    )
    return Break.model_construct(quantity=5, lines=lines, loss_chance=loss_chance)


def needed(one: Break, request: QuoteRequest, **terms: float | None) -> list[tuple[str, float | str | None]]:
    return [(remark.code, remark.limit) for remark in needs_of_second_key([one], request, TERMS.model_copy(update=terms))]


def overridden() -> QuoteRequest:
    return ASKED.model_copy(update={"overrides": (SET,)})


@pytest.mark.parametrize(("margin", "expected"), [("20", 0.2), ("0", 0.0), ("-16", -0.25), ("-80", -1.0)])
def test_the_margin_reached_is_what_the_lines_that_pay_for_nothing_come_to(margin: str, expected: float) -> None:
    assert margin_reached(a_break(margin=margin).lines) == pytest.approx(expected)


def test_a_margin_below_its_floor_and_a_loss_above_its_limit_are_named_with_their_limits() -> None:
    low = a_break(margin="8", loss_chance=0.4)
    assert needed(low, overridden(), margin_floor_share=0.15, loss_chance_limit=0.1) == [
        ("margin-below-floor", 0.15),
        ("loss-chance-above-limit", 0.1),
    ]
    assert {code for code, _ in needed(low, overridden(), margin_floor_share=0.15, loss_chance_limit=0.1)} == set(NEEDS_SECOND_KEY)


def test_at_its_floor_and_at_its_limit_nothing_is_needed() -> None:
    at = a_break(margin="20", loss_chance=0.1)
    assert needed(at, overridden(), margin_floor_share=0.2, loss_chance_limit=0.1) == []


def test_terms_without_floor_and_limit_need_nothing() -> None:
    assert needed(a_break(margin="-40", loss_chance=0.9), overridden(), margin_floor_share=None, loss_chance_limit=None) == []


def test_prices_of_the_rates_themselves_need_no_second_key() -> None:
    assert needed(a_break(margin="8"), ASKED, margin_floor_share=0.15) == []


def test_a_floor_that_falls_or_goes_is_looked_at_again_before_it_is_published(rates: Rates) -> None:
    def looked_at(floor: float | None) -> set[str | None]:
        terms = tuple(row.model_copy(update={"margin_floor_share": floor}) for row in rates.commercial)
        return {
            look.field
            for look in second_looks(rates, rates.model_copy(update={"commercial": terms}), ["commercial"])
            if look.kind == "terms-fall"
        }

    assert looked_at(0.05) == looked_at(None) == {"margin_floor_share"}
    assert looked_at(0.15) == set()
