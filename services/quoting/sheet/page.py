"""The page as a whole: what it is, for whom and until when on top; in the foot, what it can be checked against."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from services.quoting.sheet.lens import lens
from services.quoting.sheet.parts import paragraph, text
from services.quoting.sheet.prices import prices
from services.quoting.sheet.remarks import remarks
from shared_schemas.quote import QuoteBody, QuoteDecision, QuoteState

STYLE = (
    "@page{margin:15mm 14mm 18mm}"
    "*{box-sizing:border-box}"
    "body{font:13px/1.4 system-ui,'Liberation Sans',Arial,sans-serif;color:#111;background:#fff;max-width:190mm;margin:1.5rem auto;padding:0 1rem}"
    "h1{font-size:24px;margin:0}h2{font-size:14px;margin:1.3em 0 .4em;border-bottom:1.5px solid #111;break-after:avoid}"
    "p{margin:.35em 0;overflow-wrap:anywhere}.title{font-weight:600}.small{font-size:11px;color:#333}"
    ".notice{border:2px solid #111;padding:.4em .7em;font-weight:600}"
    "header{display:flex;flex-wrap:wrap;justify-content:space-between;gap:.3em 2em;align-items:baseline}"
    "dl{display:grid;grid-template-columns:max-content 1fr;gap:.1em 1.2em;margin:.8em 0}dt{color:#333}dd{margin:0;font-weight:600;overflow-wrap:anywhere}"
    "table{border-collapse:collapse;width:100%;font-size:12px;margin:.4em 0}thead{display:table-header-group}"
    "th,td{text-align:left;vertical-align:top;padding:.2em 1.2em .2em 0;border-bottom:.5px solid #888;overflow-wrap:break-word}"
    "th{font-weight:600;border-bottom:1px solid #111}th:last-child,td:last-child{padding-right:0}th.figure,td.figure{text-align:right;white-space:nowrap;font-variant-numeric:tabular-nums}"
    "tfoot{display:table-row-group}tfoot td{font-weight:600;border-top:1px solid #111}"
    "tr,li,figure,.sign{break-inside:avoid}ul{margin:.3em 0;padding-left:1.2em}li{margin:.15em 0;overflow-wrap:anywhere}"
    "figure{margin:.6em 0;text-align:center}figure svg{max-width:100%;height:auto}"
    ".sign{display:grid;grid-template-columns:1fr 1fr;gap:2em;margin:4em 0 1em}.sign div{border-top:1px solid #111;padding-top:.2em;font-size:11px}"
    "footer{border-top:1px solid #111;margin-top:1.5em;padding-top:.4em;font-size:10px;color:#333;overflow-wrap:anywhere;break-inside:avoid}"
    "@media print{body{margin:0;padding:0;max-width:none;font-size:10pt}table{font-size:8.5pt}p.small{font-size:8pt}h2{font-size:11pt}}"
)
"""Its paper is that of the printer, A4 or Letter: only margins are named. Nothing hangs on a colour or a filled background."""

POLICY = "default-src 'none'; base-uri 'none'; form-action 'none'; style-src 'unsafe-inline'"
"""The page takes nothing from elsewhere and runs nothing, also as a file on a disk."""


@dataclass(frozen=True)
class Head:
    """What names a quote on the day it is read, beside what was worked out."""

    number: str
    revision: int
    latest_revision: int
    customer: str
    digest: str
    state: QuoteState | None = None
    decision: QuoteDecision | None = None


def sheet_page(*, head: Head, body: QuoteBody) -> str:
    """The customer's sheet of a ready quote as one page of HTML."""
    parts = [*_top(head, body), lens(body), *prices(body), *remarks(body), *_end(head, body)]
    inside = "\n".join(part for part in parts if part)
    return (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n<meta name="viewport" content="width=device-width">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{POLICY}">\n<meta name="referrer" content="no-referrer">\n'
        f"<title>Quotation {text(head.number)}, revision {head.revision}</title>\n<style>{STYLE}</style>\n</head>\n"
        f"<body>\n{inside}\n</body>\n</html>\n"
    )


def _top(head: Head, body: QuoteBody) -> Iterator[str]:
    yield f"<header><h1>Quotation</h1><strong>{text(head.number)}, revision {head.revision}</strong></header>"
    yield paragraph(_notice(head, body), kind="notice")
    known = (
        ("Date", str(body.quoted_on)),
        ("Valid until", str(body.valid_until)),
        ("For", head.customer),
        ("Quantities", ", ".join(f"{one.quantity:,}" for one in body.breaks)),
    )
    yield "<dl>" + "".join(f"<dt>{text(name)}</dt><dd>{text(value)}</dd>\n" for name, value in known if value) + "</dl>"


def _notice(head: Head, body: QuoteBody) -> str:
    """What whoever is about to send this sheet must know: it is not the latest, no longer valid, or decided."""
    said = []
    if head.latest_revision > head.revision:
        said.append(f"Revision {head.latest_revision} is the latest; this one is kept as it was.")
    if head.decision is not None:
        ordered = f" for {head.decision.quantity:,}" if head.decision.quantity is not None else ""
        said.append(f"{head.decision.decision.capitalize()}{ordered} on {head.decision.at:%Y-%m-%d}, as {head.decision.by} said.")
    elif head.state == "expired":
        said.append(f"Expired: it was valid until {body.valid_until}.")
    return " ".join(said)


def _end(head: Head, body: QuoteBody) -> Iterator[str]:
    yield paragraph(
        f"Amounts are in {body.currency} (ISO 4217) and hold until {body.valid_until} for the lens as described above. "
        "Another drawing or quantity needs a new revision."
    )
    yield (
        '<div class="sign"><div>For the shop: name, date, signature</div>'
        "<div>For the customer: quantity ordered, name, date, signature</div></div>"
    )
    yield (
        f"<footer>Quotation {text(head.number)}, revision {head.revision}, worked out on {body.quoted_on} with rate revision "
        f"{body.rate_revision}. This sheet shows figures of the quote whose digest (SHA-256 of its canonical JSON) is "
        f"<code>{text(head.digest)}</code>; that quote decides wherever the sheet and it should differ.</footer>"
    )
