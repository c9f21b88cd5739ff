"""How true quotes came: quoted against actual hours, cost, yield and days of orders that are finished."""

from __future__ import annotations

from datetime import date
from operator import not_
from typing import Annotated, Literal, get_args

from pydantic import Field

from shared_schemas.base import Contract

Measure = Literal["hours", "cost", "yield", "days"]
MEASURES: tuple[Measure, ...] = get_args(Measure)
GroupedBy = Literal["month", "customer", "operation", "work_centre"]
GROUPINGS: tuple[GroupedBy, ...] = get_args(GroupedBy)
FEWEST_JOBS = 5
"""Of fewer jobs no figure is given: it would be chance."""
MOST_JOBS = 10_000
"""The newest finished jobs that a report is made of."""
MOST_GROUPS = 100
"""Groups of one kind, those of most jobs."""


class ShareInside(Contract):
    """The share of jobs that came within what the quote said eight in ten would, and the interval of that share, 95 in 100 (Wilson)."""

    jobs: int
    share: float
    low: float
    high: float


class MeasuredAccuracy(Contract):
    """Quoted against actual, by one measure.

    `mape_percent` is the mean of |quoted - actual| / actual [%]; ratios are actual over quoted, `ratio_p25` and `ratio_p75` their
    quartiles. Where there are too few jobs for a figure there is none, and `remark` says so.
    """

    measure: Measure
    jobs: int
    mape_percent: float | None = None
    median_ratio: float | None = None
    ratio_p25: float | None = None
    ratio_p75: float | None = None
    inside_p80: ShareInside | None = None
    remark: Annotated[str, Field(exclude_if=not_)] = ""


class AccuracyGroup(Contract):
    """Jobs that have something in common: a month in which they were finished, a customer, an operation, a work centre."""

    name: str
    jobs: int
    measures: tuple[MeasuredAccuracy, ...]


class Accuracy(Contract):
    """How true quotes came. `unfinished`, `cancelled` and `unreported` orders are left out and counted; `unread` ones are taken in when asked again.

    `left_out` has how many groups of each kind there are beyond those given. `method` says what is held against what.
    """

    since: date | None = None
    until: date | None = None
    jobs: int
    unfinished: int
    cancelled: int
    unreported: int
    unread: int
    method: str
    whole: AccuracyGroup
    by_month: tuple[AccuracyGroup, ...]
    by_customer: tuple[AccuracyGroup, ...]
    by_operation: tuple[AccuracyGroup, ...]
    by_work_centre: tuple[AccuracyGroup, ...]
    left_out: dict[GroupedBy, int]
