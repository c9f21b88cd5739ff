from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime

import pytest

from services.glass.api import plan_blanks_by_hand
from services.glass.errors import BlanksRefused
from shared_schemas.by_hand import BlanksByHand
from shared_schemas.check import CheckReport
from shared_schemas.prescription import Element, IndexGlass
from shared_schemas.rates import RateRevision, Rates
from shared_schemas.traveller import Job


def revision_of(rates: Rates) -> RateRevision:
    now = datetime(2026, 11, 2, tzinfo=UTC)
    return RateRevision.model_construct(number=1, digest="d", created_at=now, created_by="a test", reason="a test", rates=rates)


def test_a_plan_by_hand_is_that_of_the_pipeline(
    element: Callable[..., Element], check_of: Callable[..., CheckReport], job_of: Callable[..., Job], rates: Rates
) -> None:
    elements = [element("L1")]
    asked = BlanksByHand(request=job_of(elements).request, check=check_of(elements))
    found = plan_blanks_by_hand(asked, revision_of(rates))
    assert {blank.element for blank in found.blanks} == {"L1"}
    assert found.plates[0].svg.startswith("<svg")


def test_a_refusal_by_hand_is_an_error_that_carries_every_reason(
    element: Callable[..., Element], check_of: Callable[..., CheckReport], job_of: Callable[..., Job], rates: Rates
) -> None:
    elements = [element("L1", glass=IndexGlass(nd=1.6, vd=50.0))]
    asked = BlanksByHand(request=job_of(elements).request, check=check_of(elements))
    with pytest.raises(BlanksRefused, match="cannot be priced") as caught:
        plan_blanks_by_hand(asked, revision_of(rates))
    assert [detail.pointer for detail in caught.value.errors] == ["/elements/0/glass"]
