"""Rates on a terminal: tables, rows, differences, faults and what needs a second look."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from services.desk.terminal import say
from services.desk.texts.page_parts import cells, console_for, table_with

if TYPE_CHECKING:
    from shared_schemas.rate_drafts import Draft, DraftCheck
    from shared_schemas.rate_history import RateDifference, RowHistory
    from shared_schemas.rate_tables import ColumnInfoList, TableInfoList
    from shared_schemas.rates import RevisionList, TablePage


def print_tables(found: TableInfoList) -> None:
    """Every table with its rows, and how many of them are invented."""
    page = table_with("table", ">rows", ">invented", "what it is for")
    for info in found.items:
        page.add_row(*cells(info.table, str(info.rows), str(info.origins.get("invented", 0)), info.purpose))
    _print(page)
    say(f"revision {found.revision}")


def print_revisions(found: RevisionList) -> None:
    """Revisions, newest first."""
    page = table_with(">revision", "day", "by", "changed", "why")
    for one in found.items:
        changed = ", ".join(one.changed) if len(one.changed) < 5 else f"{len(one.changed)} tables"
        page.add_row(*cells(str(one.number), f"{one.created_at:%Y-%m-%d}", one.created_by, changed, one.reason))
    _print(page)


def print_drafts(found: Iterable[Draft]) -> None:
    """Drafts, newest first."""
    page = table_with(">draft", "status", "tables", "by", "why")
    for one in found:
        status = one.status if one.effective_from is None else f"{one.status}, from {one.effective_from:%Y-%m-%d %H:%M}"
        page.add_row(
            *cells(str(one.number), status, ", ".join(table.table for table in one.tables), one.changed_by, one.why or one.reason)
        )
    _print(page)


def print_rows(found: TablePage) -> None:
    """The names of the rows, with where their figures come from."""
    page = table_with("row", "as of", "origin", "source")
    for row in found.rows:
        page.add_row(*cells(str(row["name"]), str(row["as_of"]), str(row.get("origin", "")), str(row["source"])))
    _print(page)


def print_row(row: dict[str, Any], columns: ColumnInfoList) -> None:
    """Every field of a row with its unit and meaning."""
    page = table_with("column", "value", "unit", "meaning")
    for column in columns.columns:
        page.add_row(*cells(column.column, shown(row.get(column.column)), column.unit, column.meaning))
    _print(page)


def print_difference(found: RateDifference) -> None:
    """What differs, a line for each field."""
    if not found.tables:
        say("nothing differs")
        return
    page = table_with("table", "row", "field", "before", "after")
    for table in found.tables:
        name = table.table
        for renamed in table.renamed:
            page.add_row(*cells(name, renamed.before, "name", renamed.before, renamed.after))
        for changed in table.changed:
            for field in changed.fields:
                page.add_row(*cells(name, changed.row, field.field, shown(field.before), shown(field.after)))
        for words, rows in (("added", table.added), ("dropped", table.dropped)):
            for row in rows:
                page.add_row(*cells(name, str(row["name"]), "", *(("", words) if words == "added" else (words, ""))))
        if table.reordered:
            page.add_row(*cells(name, "", "", "", "rows in another order"))
    _print(page)


def print_history(found: RowHistory) -> None:
    """Who changed a row, when and why."""
    page = table_with(">revision", "day", "by", "what", "why")
    for one in found.items:
        fields = "; ".join(f"{field.field} {shown(field.before)} -> {shown(field.after)}" for field in one.fields)
        by = one.by if one.by_key is None else f"{one.by} ({one.by_key})"
        page.add_row(*cells(str(one.revision), f"{one.at:%Y-%m-%d}", by, fields if one.what == "changed" else one.what, one.reason))
    _print(page)


def print_check(found: DraftCheck) -> None:
    """What stands between a draft and its revision."""
    for fault in found.faults:
        line = "" if fault.line is None else f" (line {fault.line})"
        remedy = "" if fault.remedy is None else f": {fault.remedy}"
        say(f"{fault.pointer}{line}: {fault.reason}{remedy}")
    for look in found.second_looks:
        say(f"look again: {look.says}")
        say(f"  meant so? --confirm {json.dumps(look.code, ensure_ascii=False)}")
    if found.changed_meanwhile:
        say(f"changed meanwhile: {', '.join(found.changed_meanwhile)}; rebase the draft")
    if found.publishable and not found.second_looks:
        say("nothing stands in its way")


def shown(value: Any) -> str:
    """A value of a cell in words."""
    if value is None or value == "":
        return "-"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:g}"
    return value if isinstance(value, str) else json.dumps(value, ensure_ascii=False)


def _print(page: Any) -> None:
    console_for(sys.stdout).print(page)
