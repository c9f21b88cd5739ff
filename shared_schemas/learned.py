"""What the rates should learn from what really happened: factors with their evidence, and rows of rates as they would be."""

from __future__ import annotations

from typing import Any, Literal

from shared_schemas.base import Contract
from shared_schemas.operation_kinds import OperationName

PartOfTime = Literal["setup", "run"]


class FactorEvidence(Contract):
    """What jobs say of the set-up or the run of an operation at a work centre.

    Actual minutes are `ratio` times those planned, within `low` and `high` by four in five. `jobs` are those since the last
    change of `all_jobs`. Errors are mean absolute shares of the actual minutes of these jobs, planned as now and with `ratio`.
    """

    operation: OperationName
    method: str
    time: PartOfTime
    jobs: int
    all_jobs: int
    changed: bool
    ratio: float
    low: float
    high: float
    is_sure: bool
    error_before: float
    error_after: float


class LearnedRow(Contract):
    """A row of work centres of which the evidence is sure enough that it is off.

    `patch` is the merge patch (RFC 7396) for the row in a draft, and `becomes` the row with it; it is empty where the minutes come from
    other tables as well, which `rests_on` names: an engineer judges those.
    """

    table: Literal["work_centres"] = "work_centres"
    row: str
    evidence: tuple[FactorEvidence, ...]
    patch: dict[str, float]
    becomes: dict[str, Any]
    rests_on: tuple[str, ...] = ()


class LearnedRates(Contract):
    """What was learned beside a revision, from so many orders. Nothing of it is in force until an engineer publishes it."""

    rate_revision: int
    orders: int
    orders_of_other_rates: int
    method: str
    rows: tuple[LearnedRow, ...]
