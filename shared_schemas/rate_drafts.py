"""Drafts of rates: several tables changed together, looked at, confirmed, and published as one revision, now or later."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any, Literal

from pydantic import Field

from shared_schemas.base import Contract, Moment, Name
from shared_schemas.problem import ProblemDetail
from shared_schemas.rate_row import Said

DraftStatus = Literal["open", "scheduled", "published", "stale"]
"""A draft is worked on (`open`), waits for its time (`scheduled`), became a revision (`published`), or could not at its time (`stale`)."""

LookKind = Literal["figure-jumps", "row-dropped", "glass-unpriced", "terms-fall"]
"""What needs a second look before it is published: a figure off by more than three times, a row that is gone, a glass whose last stock
form is gone, terms that fall."""

Code = Annotated[str, Field(min_length=1, max_length=200)]
MOST_CONFIRMED = 1000
MOST_ROW_CHANGES = 500
"""In one draft as it is made; more are put table by table."""


Revision = Annotated[int, Field(strict=True, ge=1, le=2**31 - 1)]


class RowChange(Contract):
    """A row of a table and the merge patch (RFC 7396) that changes it: a field that is null goes back to its default."""

    table: Annotated[str, Field(max_length=60)]
    row: Name
    patch: dict[str, Any]


class DraftRequest(Contract):
    """A new draft: of the newest revision, or with every table as it stood in `from_revision`; then with `rows` changed in it.

    `rows` were worked out beside the tables of `rows_beside`, where that is said: the draft is refused where one of theirs is another by now.
    """

    name: Name
    reason: Said
    from_revision: Revision | None = None
    rows: Annotated[tuple[RowChange, ...], Field(max_length=MOST_ROW_CHANGES)] = ()
    rows_beside: Revision | None = None


class DraftTable(Contract):
    """A table that a draft changes: how many rows it has, and the ETag with which it is put again."""

    table: str
    rows: int
    digest: str


class Draft(Contract):
    """A draft without its rows.

    `base_revision` is the one that it changes; `changed_meanwhile` names tables of the draft that were changed since, so that it has to be
    rebased before it can be published. `why` says of a stale draft what kept it from coming into force.
    """

    number: int
    name: str
    reason: str
    status: DraftStatus
    base_revision: int
    from_revision: int | None
    tables: tuple[DraftTable, ...]
    changed_meanwhile: tuple[str, ...]
    created_at: datetime
    created_by: str
    created_by_key: str
    changed_at: datetime
    changed_by: str
    effective_from: datetime | None
    published_revision: int | None
    why: str | None


class DraftList(Contract):
    """A page of drafts, newest first."""

    items: tuple[Draft, ...]
    next: str | None = None


class SecondLook(Contract):
    """Something that may well be meant, and is a slip as often. Whoever publishes it names `code` in `confirm`.

    `rows` names the first of the `count` rows; `before` and `after` are the figures of the first.
    """

    code: Code
    kind: LookKind
    pointer: str
    table: str
    field: str | None
    rows: tuple[str, ...]
    count: int
    before: Any = None
    after: Any = None
    says: str


class DraftCheck(Contract):
    """Everything that stands between a draft and its revision: all faults of all tables at once, and what needs to be confirmed.

    A pointer goes into the draft, as `/tables/yields/rows/3/yield`; `line` is that of the table as CSV.
    """

    number: int
    publishable: bool
    faults: tuple[ProblemDetail, ...]
    second_looks: tuple[SecondLook, ...]
    changed_meanwhile: tuple[str, ...]


class PublishRequest(Contract):
    """Publish a draft: now, or when `effective_from` comes. `confirm` has the codes of the second looks that are meant so."""

    confirm: Annotated[tuple[Code, ...], Field(max_length=MOST_CONFIRMED)] = ()
    effective_from: Moment | None = None


class RebaseRequest(Contract):
    """Whose figure stands where the draft and a later revision changed the same one; without a word they are named and nothing is done."""

    conflicts: Literal["refuse", "draft", "revision"] = "refuse"


__all__ = [
    "MOST_CONFIRMED",
    "Code",
    "Draft",
    "DraftCheck",
    "DraftList",
    "DraftRequest",
    "DraftStatus",
    "DraftTable",
    "LookKind",
    "PublishRequest",
    "RebaseRequest",
    "RowChange",
    "SecondLook",
]  # fmt: skip
