"""Glass for several quotes: what is asked, and how the answer reads."""

from __future__ import annotations

from decimal import Decimal

import pytest

from services.desk.errors import QuoteHasNoBlanks
from services.desk.texts.comparison import purchase_lines, request_for
from shared_schemas.blanks import BuyingFor, JointPurchase, JointPurchases, PurchaseLine
from shared_schemas.quote import Quote


def test_the_smallest_quantity_is_bought_for_unless_one_is_named(ready_quote: Quote) -> None:
    assert request_for([ready_quote], None).lenses[0].blanks == {"L1": 8}
    assert request_for([ready_quote], 25).lenses[0].blanks == {"L1": 28}


def test_a_quote_without_blanks_is_named_with_what_to_do(ready_quote: Quote, refused_quote: Quote) -> None:
    with pytest.raises(QuoteHasNoBlanks, match="BW-8 cannot be bought: it is refused"):
        request_for([refused_quote], None)
    with pytest.raises(QuoteHasNoBlanks, match="no quantity of 7, but 5, 25"):
        request_for([ready_quote], 7)


def test_the_answer_says_what_is_bought_what_it_saves_and_what_falls_on_whom() -> None:
    line = PurchaseLine(stock="slab", form="slab", members=("Q-1 L1", "Q-2 L2"), pieces=1, plates=2, amount=Decimal("90.004"))
    glass = JointPurchase(
        glass="N-BK7",
        buying_for=(BuyingFor(lens="Q-1", element="L1", blanks=8), BuyingFor(lens="Q-2", element="L2", blanks=9)),
        cost_apart=Decimal("150.00"), cost=Decimal("90.01"), shares={"Q-1": Decimal("40.01"), "Q-2": Decimal("50.00")},
        lead_days=10, bought_mass_g=2500, purchases=(line,),
    )  # fmt: skip
    found = JointPurchases(
        currency="USD", glasses=(glass,), cost_apart=Decimal("150.00"), cost=Decimal("90.01"), saving=Decimal("59.99")
    )
    assert purchase_lines(found) == [
        "N-BK7: 90.01 USD instead of 150.00; 8 of Q-1 L1, 9 of Q-2 L2",
        "  1 × slab to buy: 90.00 USD, for Q-1 L1, Q-2 L2",
        "  shared as Q-1 40.01 USD, Q-2 50.00 USD",
        "in total 90.01 USD together, 150.00 apart: 59.99 saved",
    ]
