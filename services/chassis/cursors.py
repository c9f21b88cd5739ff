"""Cursors of pages, opaque to whoever gets one: a position in lists of one kind, in this epoch of the database."""

from __future__ import annotations

import base64
import re

from services.chassis.refusals import Refused
from services.chassis.resources import Resources
from shared_schemas.problem import ProblemDetail

_CURSOR = r"{kind}(\d{{1,19}})@([0-9a-f]{{12}})"
_OF_THE_FIRST_EPOCH = re.compile(r"\d{1,19}", re.ASCII)
"""A bare number, as cursors were before they named their epoch."""

HIGHEST = 2**31 - 1
"""Of what is numbered in four bytes."""


def cursor_at(tools: Resources, kind: str, position: int) -> str:
    """The cursor that stands for a position in lists of that kind."""
    return base64.urlsafe_b64encode(f"{kind}{position}@{tools.epoch.token}".encode()).decode().rstrip("=")


def position_of(tools: Resources, kind: str, cursor: str | None, *, highest: int = HIGHEST) -> int | None:
    """The position that a cursor stands for, `None` without one.

    Raises `Refused`: for one of another kind, and for one that was given out before a backup was restored, as what it stood for may be gone
    or be something else.
    """
    if cursor is None:
        return None
    position, token = _read(kind, cursor)
    if position is None or not 1 <= position <= highest:
        detail = ProblemDetail(
            pointer="/query/cursor", reason="it is no cursor of this list", figure=cursor[:60], remedy="the next of a page"
        )
        raise Refused("invalid", "The cursor cannot be read: take the next of a page of this list.", errors=(detail,))
    if token != tools.epoch.token and not (token is None and tools.epoch.number == 1):
        began = tools.epoch.began_at.isoformat(timespec="seconds")
        raise Refused("gone", f"The cursor is of before {began}, when a backup was restored. Begin at the first page again.")
    return position


def _read(kind: str, cursor: str) -> tuple[int | None, str | None]:
    if _OF_THE_FIRST_EPOCH.fullmatch(cursor):
        return int(cursor), None
    try:
        plain = base64.urlsafe_b64decode(cursor + "=" * (-len(cursor) % 4)).decode()
    except ValueError:
        return None, None
    read = re.fullmatch(_CURSOR.format(kind=kind), plain, re.ASCII)
    return (int(read[1]), read[2]) if read else (None, None)
