"""Calls about drafts of rates: tables as they would be, checked, compared and published together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import TYPE_CHECKING, Any

from services.client.call import Call, call, nothing, step, tagged, tagged_document

if TYPE_CHECKING:
    from shared_schemas.first_day import FirstDay, FirstDayCheck
    from shared_schemas.rate_drafts import Draft, DraftCheck, DraftList
    from shared_schemas.rate_history import RateDifference
    from shared_schemas.rates import TablePage

CSV, MERGE_PATCH = "text/csv", "application/merge-patch+json"
PLACE, FIRST_DAY = "/v1/rates/drafts", "/v1/rates/first-day"


def drafts(cursor: str | None = None) -> Call[DraftList]:
    """A page of drafts, newest first."""
    from shared_schemas.rate_drafts import DraftList

    return call(DraftList, "GET", PLACE, query={"cursor": cursor})


def make_draft(name: str, reason: str, **more: Any) -> Call[Draft]:
    """A draft of the rates as they are; more fields as in `DraftRequest`."""
    from shared_schemas.rate_drafts import Draft

    return call(Draft, "POST", PLACE, body={"name": name, "reason": reason, **more})


def make_draft_of_archive(content: bytes, media_type: str, *, reason: str, name: str | None = None) -> Call[Draft]:
    """A draft of all tables in a file, as `rate_archive` gives it."""
    from shared_schemas.rate_drafts import Draft

    query, headers = {"reason": reason, "name": name}, {"Content-Type": media_type}
    return call(Draft, "POST", f"{PLACE}/from-archive", query=query, content=content, headers=headers)


def draft(number: int) -> Call[tuple[Draft, str]]:
    """A draft, and the ETag that its publication must show."""
    from shared_schemas.rate_drafts import Draft

    return tagged(Draft, "GET", f"{PLACE}/{number}")


def delete_draft(number: int) -> Call[None]:
    """Throw a draft away."""
    return nothing("DELETE", f"{PLACE}/{number}")


def draft_table(number: int, table: str) -> Call[tuple[TablePage, str]]:
    """A table as it stands in a draft, and the ETag that a change must show."""
    from shared_schemas.rates import TablePage

    return tagged(TablePage, "GET", _table(number, table))


def draft_table_csv(number: int, table: str) -> Call[tuple[bytes, str]]:
    """A table as it stands in a draft, as CSV in UTF-8, and the ETag that a change must show."""
    return tagged_document(CSV, _table(number, table))


def put_draft_table(number: int, table: str, rows: Sequence[Mapping[str, Any]] | bytes, etag: str) -> Call[tuple[TablePage, str]]:
    """Replace a table of a draft by rows, or by its CSV in UTF-8."""
    from shared_schemas.rates import TablePage

    if isinstance(rows, bytes):
        headers = {"If-Match": etag, "Content-Type": CSV}
        return tagged(TablePage, "PUT", _table(number, table), content=rows, headers=headers)
    return tagged(TablePage, "PUT", _table(number, table), body={"rows": list(rows)}, headers={"If-Match": etag})


def patch_draft_row(number: int, table: str, row: str, changes: Mapping[str, Any], etag: str) -> Call[tuple[TablePage, str]]:
    """Change fields of one row of a draft, by a JSON merge patch (RFC 7396)."""
    from shared_schemas.rates import TablePage

    headers = {"If-Match": etag, "Content-Type": MERGE_PATCH}
    return tagged(TablePage, "PATCH", f"{_table(number, table)}/rows/{step(row)}", body=changes, headers=headers)


def check_draft(number: int) -> Call[DraftCheck]:
    """Everything that stands between a draft and its revision. Nothing is published."""
    from shared_schemas.rate_drafts import DraftCheck

    return call(DraftCheck, "POST", f"{PLACE}/{number}/check", repeatable=True)


def compare_draft(number: int) -> Call[RateDifference]:
    """What a draft changes, field by field."""
    from shared_schemas.rate_history import RateDifference

    return call(RateDifference, "GET", f"{PLACE}/{number}/diff")


def publish_draft(number: int, etag: str, *, confirm: Sequence[str] = (), effective_from: date | str | None = None) -> Call[Draft]:
    """Make a draft the next revision, now or from a day on; `confirm` has the codes of second looks that are meant so."""
    from shared_schemas.rate_drafts import Draft

    body = {"confirm": list(confirm), **({"effective_from": effective_from} if effective_from else {})}
    return call(Draft, "POST", f"{PLACE}/{number}/publish", body=body, headers={"If-Match": etag})


def rebase_draft(number: int, asked: Any = None) -> Call[Draft]:
    """Put a draft onto the newest revision; `asked` is a `RebaseRequest`, where more is to be said."""
    from shared_schemas.rate_drafts import Draft

    return call(Draft, "POST", f"{PLACE}/{number}/rebase", body=asked)


def first_day(currency: str | None = None) -> Call[FirstDay]:
    """What a new shop is asked, with what is usual in its currency."""
    from shared_schemas.first_day import FirstDay

    return call(FirstDay, "GET", FIRST_DAY, query={"currency": currency})


def check_first_day(answers: Mapping[str, Any]) -> Call[FirstDayCheck]:
    """Whether these answers of a new shop will do."""
    from shared_schemas.first_day import FirstDayCheck

    return call(FirstDayCheck, "POST", f"{FIRST_DAY}/check", body={"answers": answers}, repeatable=True)


def begin_first_day(answers: Mapping[str, Any]) -> Call[Draft]:
    """A draft of the shop's tables from its answers."""
    from shared_schemas.rate_drafts import Draft

    return call(Draft, "POST", FIRST_DAY, body={"answers": answers})


def _table(number: int, table: str) -> str:
    return f"{PLACE}/{number}/tables/{step(table)}"
