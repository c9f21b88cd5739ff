"""How a quote says that it could come sooner, on a terminal."""

from __future__ import annotations

import io
from datetime import date
from decimal import Decimal
from typing import Any

from services.desk.texts.page_parts import console_for
from services.desk.texts.quote import quote_page
from shared_schemas.lead_times import Expedite, Line
from shared_schemas.quote import Quote


def printed(quote: Quote) -> str:
    out = io.StringIO()
    console_for(out).print(quote_page(quote))
    return " ".join(out.getvalue().split())


def with_answers(quote: Quote, **changes: Any) -> Quote:
    assert quote.breaks is not None
    return quote.model_copy(update={"breaks": (quote.breaks[0].model_copy(update=changes), *quote.breaks[1:])})


def test_a_quote_without_expedites_says_nothing_of_them(ready_quote: Quote) -> None:
    assert "Sooner" not in printed(ready_quote)
    assert "In time" not in printed(ready_quote)


def test_an_expedite_is_shown_with_its_price_and_the_days_it_saves(ready_quote: Quote) -> None:
    offer = Expedite(
        p50_days=20, p80_days=22, p90_days=24, ship_date=date(2026, 12, 24), days_saved=9, cost=Decimal("1234.50"),
        lines=(Line(name="Overtime", kind="overtime", amount=Decimal("1234.50")),),
    )  # fmt: skip
    text = printed(with_answers(ready_quote, expedite=offer))
    assert "Sooner, if it goes first and overtime is worked" in text
    assert "5 1,234.50 20 days 22 days 24 days 2026-12-24 9 days" in text


def test_what_brings_a_quantity_in_time_is_told(ready_quote: Quote) -> None:
    ways = ("an expedite for 10.00 USD: ships 2026-12-24, 9 days sooner", "3 of the 5 first")
    text = printed(with_answers(ready_quote, in_time="with_expedite", in_time_with=ways))
    assert "5: yes, with an expedite for 10.00 USD: ships 2026-12-24, 9 days sooner; or 3 of the 5 first." in text
    assert "5: no." in printed(with_answers(ready_quote, in_time="no"))


def test_how_many_orders_are_in_time_and_what_those_cost_is_told(ready_quote: Quote) -> None:
    assert ready_quote.breaks is not None
    cost = ready_quote.breaks[0].unit_cost.model_copy(update={"p80_in_time": Decimal("712.50")})
    text = printed(with_answers(ready_quote, in_time="no", in_time_chance=0.42, unit_cost=cost))
    assert "5: no. As quoted, 42% of such orders are there by then." in text
    assert "Of the orders for 5 that are in time, 8 in 10 cost below 712.50 a piece." in text


def test_tools_that_are_in_the_price_are_not_said_to_be_charged_beside_it(ready_quote: Quote) -> None:
    assert "Charged once" in printed(ready_quote)
    spread = printed(ready_quote.model_copy(update={"tooling_terms": "spread"}))
    assert "Charged once" not in spread
    assert "Spread over the order and in its price" in spread
