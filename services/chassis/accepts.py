"""What a caller would like to have: the Accept header of RFC 9110, 12.5.1."""

from __future__ import annotations

import re


def liking(accept: str, kind: str) -> float:
    """The weight (12.4.2) that an Accept header gives a media type; the most specific range that covers it counts.

    An empty header likes everything. A weight that cannot be read is 1.
    """
    ranges = {"*/*": 0, kind.split("/", maxsplit=1)[0] + "/*": 1, kind: 2}
    found = (-1, 0.0) if accept.strip() else (0, 1.0)
    for part in accept.lower().split(","):
        name, *parameters = (piece.strip() for piece in part.split(";"))
        weights = [piece.removeprefix("q=") for piece in parameters if piece.startswith("q=")]
        weight = float(weights[0]) if weights and re.fullmatch(r"[01](\.\d{0,3})?", weights[0], re.ASCII) else 1.0
        if name in ranges:
            found = max(found, (ranges[name], weight))
    return found[1]
