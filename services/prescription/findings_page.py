"""The page of finding kinds for people: a table in HTML."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from services.chassis.accepts import liking
from shared_schemas.check import FindingKind

HTML = "text/html"
JSON = "application/json"

STYLE = (
    "body{font:15px/1.45 system-ui,sans-serif;margin:2rem auto;max-width:68rem;padding:0 1rem;color:#1c1c1c;background:#fff}"
    "table{border-collapse:collapse;width:100%}th,td{text-align:left;vertical-align:top;padding:.4rem .6rem;border-bottom:1px solid #ddd}"
    "code{white-space:nowrap}.stop{color:#9b1c1c;font-weight:600}.care{color:#7a4b00;font-weight:600}.note{color:#1f4e79}"
)


def likes_html(accept: str) -> bool:
    """Whether an Accept header asks for HTML rather than JSON; JSON when it likes both the same (RFC 9110, 12.5.1)."""
    return liking(accept, HTML) > liking(accept, JSON)


def page_of(kinds: Sequence[FindingKind]) -> str:
    """The page: every kind with an anchor of its code, `#glass-lead`."""
    rows = "\n".join(
        f'<tr id="{escape(one.code)}"><td><code>{escape(one.code)}</code></td><td class="{one.severity}">{one.severity}</td>'
        f"<td>{escape(one.meaning)}</td><td>{escape(one.source)}</td></tr>"
        for one in kinds
    )
    return (
        '<!doctype html>\n<html lang="en">\n<head><meta charset="utf-8"><meta name="viewport" content="width=device-width">'
        f"<title>Findings of a check</title><style>{STYLE}</style></head>\n<body>\n<h1>Findings of a check</h1>\n"
        "<p>A <b>stop</b> means the lens cannot be made as it is written, <b>care</b> that it costs more or needs attention, "
        "a <b>note</b> that something was assumed or could be better.</p>\n"
        f"<table>\n<thead><tr><th>Code</th><th>Severity</th><th>Meaning</th><th>Source</th></tr></thead>\n<tbody>\n{rows}\n"
        "</tbody>\n</table>\n</body>\n</html>\n"
    )
