"""Cursors of pages: opaque to the caller, a kind and a position to us."""

from __future__ import annotations

import base64
import re

from services.quoting.errors import CursorUnreadable


def cursor_of(kind: str, position: int, within: int | None = None) -> str:
    """The cursor that stands for a position in lists of that kind, and for a place `within` it."""
    place = f"{kind}{position}" if within is None else f"{kind}{position}.{within}"
    return base64.urlsafe_b64encode(place.encode()).decode().rstrip("=")


def read_cursor(kind: str, cursor: str | None) -> int | None:
    """The position that a cursor stands for, `None` without one; raises `CursorUnreadable` for one of another kind."""
    found = read_places(kind, cursor)
    return found and found[0]


def read_places(kind: str, cursor: str | None) -> tuple[int, int] | None:
    """The position that a cursor stands for and the place within it, 0 if it names none; raises `CursorUnreadable`."""
    if cursor is None:
        return None
    try:
        plain = base64.urlsafe_b64decode(cursor + "=" * (-len(cursor) % 4)).decode()
        if not re.fullmatch(kind + r"\d{1,18}(\.\d{1,9})?", plain, re.ASCII):
            raise ValueError(plain)
        position, _, within = plain[1:].partition(".")
        return int(position), int(within or 0)
    except ValueError as fault:
        raise CursorUnreadable(cursor) from fault
