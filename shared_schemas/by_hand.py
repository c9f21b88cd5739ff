"""What an engineer sends to run one stage by hand."""

from __future__ import annotations

from shared_schemas.base import Contract
from shared_schemas.blanks import BlankPlan
from shared_schemas.check import CheckReport
from shared_schemas.quote import QuoteRequest


class BlanksByHand(Contract):
    """Plan the blanks of this request, whose prescription was checked with this report, by the latest rates."""

    request: QuoteRequest
    check: CheckReport


class OperationsByHand(Contract):
    """Plan the operations of this request with this report and these blanks, by the latest rates."""

    request: QuoteRequest
    check: CheckReport
    blanks: BlankPlan
