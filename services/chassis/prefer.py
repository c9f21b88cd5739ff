"""What a caller would like, by the header Prefer (RFC 7240). A preference is no demand: what cannot be read is passed over."""

from __future__ import annotations

import re
from collections.abc import Iterable

LONGEST_WAIT_S = 60
"""No answer is held back longer than this, whatever is preferred; proxies cut a connection that is silent for long."""

_TOKEN = r"[!#$%&'*+.^_`|~0-9A-Za-z-]+"  # nosec B105  a token of a header's grammar
_WORD = rf'(?:{_TOKEN}|"(?:[^"\\]|\\.)*")'
_PARAMETER = rf"[ \t]*;[ \t]*(?:{_TOKEN}(?:[ \t]*=[ \t]*{_WORD})?)?"
_PREFERENCE = re.compile(rf"[ \t]*(?P<name>{_TOKEN})(?:[ \t]*=[ \t]*(?P<value>{_WORD}))?(?:{_PARAMETER})*[ \t]*")


def preferences(fields: Iterable[str]) -> dict[str, str]:
    """Preferences of the header's fields by name in small letters; of one that is named twice the first counts.

    A field is read up to where it stops being one of the grammar.

    Source:
        J. Snell, Prefer Header for HTTP, RFC 7240 (2014), section 2.
    """
    found: dict[str, str] = {}
    for field in fields:
        at = 0
        while at < len(field):
            if field[at] in ", \t":
                at += 1
                continue
            one = _PREFERENCE.match(field, at)
            if one is None or (one.end() < len(field) and field[one.end()] != ","):
                break
            value = one["value"] or ""
            found.setdefault(one["name"].lower(), re.sub(r"\\(.)", r"\1", value[1:-1]) if value.startswith('"') else value)
            at = one.end()
    return found


def preferred_wait_s(fields: Iterable[str]) -> int | None:
    """Seconds that the caller would rather wait than be told to come back, at most a minute; `None` when it says nothing of it."""
    wait = preferences(fields).get("wait", "")
    if not re.fullmatch(r"\d{1,9}", wait, re.ASCII):
        return None
    return min(int(wait), LONGEST_WAIT_S)
