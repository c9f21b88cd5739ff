"""What the page is made of: text that is never markup, tables, lists, amounts."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Decimal
from html import escape


def text(words: object) -> str:
    """Words of whomever, as text of the page; control characters are left out."""
    return escape("".join(sign for sign in str(words) if sign.isprintable() or sign == "\n"))


def money(amount: Decimal) -> str:
    """An amount with its thousands apart."""
    return f"{amount:,}"


def section(title: str, *parts: str) -> str:
    """A heading with what stands under it; nothing where nothing does."""
    inside = "\n".join(part for part in parts if part)
    return f"<section>\n<h2>{text(title)}</h2>\n{inside}\n</section>" if inside else ""


def paragraph(words: str, *, kind: str = "") -> str:
    """A paragraph; nothing without words."""
    if not words:
        return ""
    return f"<p{_kind(kind)}>{text(words)}</p>"


def points(lines: Iterable[str]) -> str:
    """A list of points; nothing without any."""
    items = "".join(f"<li>{text(line)}</li>\n" for line in lines)
    return f"<ul>\n{items}</ul>" if items else ""


def table(heads: Sequence[str], rows: Iterable[Sequence[str]], *, foot: Sequence[str] = ()) -> str:
    """A table; a head that begins with > has its figures to the right. Nothing without rows."""
    right = [head.startswith(">") for head in heads]
    body = "".join(_row("td", row, right) for row in rows)
    if not body:
        return ""
    head = _row("th", [one.removeprefix(">") for one in heads], right)
    last = f"<tfoot>{_row('td', foot, right)}</tfoot>\n" if foot else ""
    return f"<table>\n<thead>{head}</thead>\n<tbody>\n{body}</tbody>\n{last}</table>"


def _row(tag: str, cells: Sequence[str], right: Sequence[bool]) -> str:
    return (
        "<tr>"
        + "".join(
            f"<{tag}{_kind('figure' if is_right else '')}>{text(cell)}</{tag}>" for cell, is_right in zip(cells, right, strict=True)
        )
        + "</tr>\n"
    )


def _kind(kind: str) -> str:
    return f' class="{kind}"' if kind else ""


def counted(number: int, what: str) -> str:
    """`1 day`, `12 days`."""
    return f"{number:,} {what}" if number == 1 else f"{number:,} {what}s"
