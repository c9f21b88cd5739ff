"""What the rates should learn from what really happened: factors with their evidence, and rows of rates as they would be."""

from __future__ import annotations

from datetime import date
from typing import Any, Literal

from pydantic import Field

from shared_schemas.base import Contract, Money
from shared_schemas.operation_kinds import OperationName
from shared_schemas.rate_drafts import RowChange

PartOfTime = Literal["setup", "run"]


class ClassEvidence(Contract):
    """What jobs say of a factor on one class of glass (ISO 12844, as `HG3`) to one class of tolerance; empty where an operation has none."""

    glass_class: str
    tolerance_class: str
    jobs: int
    ratio: float
    low: float
    high: float


class FactorEvidence(Contract):
    """What jobs say of the set-up or the run of an operation at a work centre.

    Actual minutes are `ratio` times those planned, within `low` and `high` by four in five, in the mix of `classes` of these jobs. `jobs` are those since
    the last change of `all_jobs`, which was there with the chance `change_chance`. Errors are mean absolute shares of the actual minutes of
    these jobs, planned as now and each with what the other jobs say.
    """

    operation: OperationName
    method: str
    time: PartOfTime
    jobs: int
    all_jobs: int
    changed: bool
    change_chance: float = 0.0
    ratio: float
    low: float
    high: float
    is_sure: bool
    error_before: float
    error_after: float
    classes: tuple[ClassEvidence, ...] = ()


class FactorChange(Contract):
    """A factor that is another since a day: minutes were `ratio_before` times those planned, and are `ratio` times."""

    work_centre: str
    operation: OperationName
    method: str
    time: PartOfTime
    since: date
    chance: float
    jobs_since: int
    ratio_before: float
    ratio: float


class OpenOrdersEffect(Contract):
    """What a row would do to the orders under way: their minutes still to be worked there, as planned and as learned [h], and what the difference
    costs in the base currency."""

    orders: int
    planned_h: float
    learned_h: float
    cost: Money
    currency: str


class LearnedRow(Contract):
    """A row of work centres of which the evidence is sure enough that it is off.

    `patch` are its minutes as they would be, `draft_row` is that with source, origin and document as an entry of the `rows` of a new draft, and
    `becomes` the row with it. There is none where the minutes come from other tables as well, which `rests_on` names: an engineer judges those.
    """

    table: Literal["work_centres"] = "work_centres"
    row: str
    evidence: tuple[FactorEvidence, ...]
    patch: dict[str, float]
    becomes: dict[str, Any]
    rests_on: tuple[str, ...] = ()
    draft_row: RowChange | None = None
    open_orders: OpenOrdersEffect | None = None


class LearnedRates(Contract):
    """What was learned beside a revision, from so many orders. Nothing of it is in force until an engineer publishes it.

    The `draft_row` of each row that is right goes into the `rows` of a new draft (`links.draft`), with `rate_revision` as `rows_beside`. What that draft
    does to open quotes is asked of `links.impact`.
    """

    rate_revision: int
    orders: int
    orders_of_other_rates: int
    method: str
    rows: tuple[LearnedRow, ...]
    changes: tuple[FactorChange, ...] = ()
    links: dict[str, str] = Field(default_factory=dict)
