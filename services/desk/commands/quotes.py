"""The command that lists quotes and searches them."""

from __future__ import annotations

import shlex
import shutil
import sys
from collections.abc import Mapping
from typing import Annotated, Any

import typer

from services.desk.terminal import HERE, Folder, Json, Key, Url, answer, client_for, reported

Words = str | None
OPTIONS = {"created_from": "from", "created_to": "to"}
"""Options that are called otherwise than the API has it."""


def quotes(
    url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False,
    cursor: Annotated[str | None, typer.Option(help="Cursor of the page before.")] = None,
    text: Annotated[Words, typer.Option(help="Words, each of them in number, customer, reference, title or contact.")] = None,
    customer: Annotated[Words, typer.Option(help="Words in the customer's name.")] = None,
    reference: Annotated[Words, typer.Option(help="Words in what the customer calls it.")] = None,
    state: Annotated[Words, typer.Option(help="Only those that are open, accepted, declined or expired.")] = None,
    glass: Annotated[Words, typer.Option(help="With a glass of this name, however it is spelled.")] = None,
    element: Annotated[Words, typer.Option(help="With an element of this name.")] = None,
    by: Annotated[Words, typer.Option(help="Asked for with the key of this id or name.")] = None,
    since: Annotated[Words, typer.Option("--from", metavar="DAY", help="Asked for on this day or later.")] = None,
    until: Annotated[Words, typer.Option("--to", metavar="DAY", help="Asked for on this day or before.")] = None,
    currency: Annotated[Words, typer.Option(help="Quoted in this currency.")] = None,
    price_from: Annotated[Words, typer.Option(help="A total price is this or more; needs --currency.")] = None,
    price_to: Annotated[Words, typer.Option(help="And this or less.")] = None,
    expiring: Annotated[bool, typer.Option("--expiring", help="Open, and the last day is near.")] = False,
    waiting: Annotated[bool, typer.Option("--waiting", help="Open, and the customer has not answered for long.")] = False,
    within_days: Annotated[int | None, typer.Option(min=0, max=366, help="How many days are near, or long; else 7.")] = None,
    limit: Annotated[int | None, typer.Option(min=1, max=200, help="How many a page has.")] = None,
) -> None:  # fmt: skip
    """List quotes, newest first, a page at a time; with options those for which all holds that is asked."""
    if expiring and waiting:
        raise typer.BadParameter("--expiring and --waiting are two lists: ask for one of them")
    with reported(as_json=as_json):
        asked: dict[str, Any] = {
            "text": text, "customer": customer, "reference": reference, "state": state, "glass": glass, "element": element, "by": by,
            "created_from": since, "created_to": until, "currency": currency, "price_from": price_from, "price_to": price_to,
            "follow_up": "expiring" if expiring else "waiting" if waiting else None, "within_days": within_days, "limit": limit,
        }  # fmt: skip
        with client_for(url, key, folder, role="sales") as desk:
            page = desk.quotes(cursor, **asked)
        if as_json:
            answer(page.model_dump(mode="json"), (), as_json=True)
            return
        from services.desk.texts.quotes import quote_list_lines  # noqa: PLC0415

        width = shutil.get_terminal_size().columns if sys.stdout.isatty() else 128
        lines = quote_list_lines(page.items, width=width)
        if page.next:
            lines.append(f"more with: blankwright quotes {_again(asked)}--cursor {page.next}")
        if page.unread:
            lines.append(f"{page.unread} quotes are still being taken into the search; ask again in a moment")
        empty = "no quote is like that" if any(value is not None for value in asked.values()) else "no quotes yet"
        answer(None, lines or [empty], as_json=False)


def _again(asked: Mapping[str, Any]) -> str:
    """What was asked, as the options that ask it again."""
    words = []
    for name, value in asked.items():
        if name == "follow_up" and value:
            words.append(f"--{value}")
        elif value is not None:
            words += [f"--{OPTIONS.get(name, name.replace('_', '-'))}", shlex.quote(str(value))]
    return "".join(f"{word} " for word in words)


def add_to(app: typer.Typer) -> None:
    """Make this command one of the command line."""
    app.command()(quotes)
