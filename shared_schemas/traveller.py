"""The traveller: the document that goes with a quote from station to station and collects a section at each."""

from __future__ import annotations

from datetime import date
from operator import not_

from pydantic import Field

from shared_schemas.base import Contract
from shared_schemas.blanks import BlankPlan
from shared_schemas.check import CheckReport, Finding
from shared_schemas.operations import OperationPlan
from shared_schemas.problem import Problem
from shared_schemas.quote_request import QuoteRequest


class Job(Contract):
    """The head of a traveller: written when it starts, changed by nobody. `load_snapshot` is the book of load it is dated by, `None` without one.

    `prices_only`: it is to learn prices and days at other rates, not what could be relaxed, offered or had sooner.
    """

    number: str
    attempt: int
    request: QuoteRequest
    rate_revision: int
    quoted_on: date
    load_snapshot: int | None = None
    prices_only: bool = Field(False, exclude_if=not_)


class Refusal(Contract):
    """A stage's answer that the lens cannot be made or priced, with every reason. An answer, not an error."""

    stage: str
    reasons: tuple[Finding, ...]


class Failure(Contract):
    """What broke at a stage, for the quote (`problem`) and for whoever mends it (`traceback`)."""

    stage: str
    problem: Problem
    traceback: str


class Traveller(Contract):
    """The whole document. It lies in Redis as a hash with one field per section, empty until its stage stamps it."""

    job: Job
    check: CheckReport | None = None
    blanks: BlankPlan | None = None
    operations: OperationPlan | None = None
    refusal: Refusal | None = None
    failure: Failure | None = None
