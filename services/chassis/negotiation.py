"""What a caller would like: the media type it takes by the header Accept, and how long it would wait by the header Prefer."""

from __future__ import annotations

import re
from collections.abc import Iterable

from werkzeug.datastructures import MIMEAccept
from werkzeug.http import parse_accept_header, parse_etags, parse_list_header, parse_options_header, unquote_header_value

LONGEST_WAIT_S = 60
"""No answer is held back longer than this, whatever is preferred; proxies cut a connection that is silent for long."""


def quality(accept: str, kind: str) -> float:
    """The weight that an Accept header gives a media type; the most specific range that covers it counts.

    Parameters of a type are no ground to refuse it. A header without a range that can be read takes everything.

    Source:
        R. Fielding et al., HTTP Semantics, RFC 9110 (2022), sections 12.4.2 and 12.5.1.
    """
    ranges = [(parse_options_header(name)[0], weight) for name, weight in parse_accept_header(accept, MIMEAccept)]
    return MIMEAccept(ranges).quality(kind) if ranges else 1.0


def is_known(if_none_match: str | None, etag: str) -> bool:
    """Whether an If-None-Match header names this ETag, weakly or strongly, or takes anything (RFC 9110, 13.1.2)."""
    return parse_etags(if_none_match and if_none_match.strip()).contains_weak(etag)


def media_type_of(content_type: str) -> str:
    """The media type that a Content-Type header names, in small letters and without its parameters."""
    return parse_options_header(content_type)[0].lower()


def preferences(fields: Iterable[str]) -> dict[str, str]:
    """Preferences of the fields of a header Prefer by name in small letters; of one that is named twice the first counts.

    Parameters of a preference are passed over, and so is a field with a quotation that does not end.

    Source:
        J. Snell, Prefer Header for HTTP, RFC 7240 (2014), section 2.
    """
    chosen: dict[str, str] = {}
    for preference in (item for field in fields for item in parse_list_header(field)):
        name, _, value = parse_options_header(preference)[0].partition("=")
        chosen.setdefault(name.strip().lower(), unquote_header_value(value.strip()))
    return chosen


def preferred_wait_s(fields: Iterable[str]) -> int | None:
    """Seconds that the caller would rather wait than be told to come back, at most a minute; `None` when it says nothing of it."""
    wait = preferences(fields).get("wait", "")
    if not re.fullmatch(r"\d{1,9}", wait, re.ASCII):
        return None
    return min(int(wait), LONGEST_WAIT_S)
