"""Commands for what comes after a quote: the next revision, a comparison, the customer's decision; and many requests at once."""

from __future__ import annotations

import json
import re
import sys
from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer

from services.desk.errors import FileUnwritable, ServerRefused
from services.desk.terminal import (
    EXIT_OF_STATUS,
    HERE,
    Folder,
    Json,
    Key,
    Patience,
    Url,
    answer,
    client_for,
    followed,
    numbers_in,
    reported,
    say,
    show_quote,
)

if TYPE_CHECKING:
    from services.desk.client import BlankwrightClient
    from shared_schemas.quote_life import QuoteBatch

Revision = Annotated[int | None, typer.Option(min=1, help="A revision; without it the latest.")]
By = Annotated[str, typer.Option(help="Who said so.")]
Note = Annotated[str, typer.Option(help="What else is to be remembered.")]


def requote(
    number: str, url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False, timeout_s: Patience = 120.0,
    quantities: Annotated[str | None, typer.Option(help="Other quantities, such as 5,25,100.")] = None,
    currency: Annotated[str | None, typer.Option(help="Another currency, such as USD.")] = None,
    customer: Annotated[str | None, typer.Option(help="For whom, now.")] = None,
    customer_class: Annotated[str | None, typer.Option(help="Another class of customer.")] = None,
    confidence: Annotated[float | None, typer.Option(help="With which probability enough pieces are started.")] = None,
    needed_by: Annotated[str | None, typer.Option(help="Another day, such as 2027-03-01.")] = None,
    changes: Annotated[Path | None, typer.Option(help="A JSON merge patch on the request; what is said here goes before it.")] = None,
    rates: Annotated[int | None, typer.Option(min=1, help="A rate revision; without it the latest.")] = None,
) -> None:  # fmt: skip
    """Ask for the next revision of a quote at today's rates, wait for it and print it."""
    from services.desk.request_file import read_object  # noqa: PLC0415

    with reported(as_json=as_json):
        asked: dict[str, Any] = {
            "quantities": numbers_in(quantities), "currency": currency, "customer": customer, "customer_class": customer_class,
            "confidence": confidence, "needed_by": _day_in(needed_by),
        }  # fmt: skip
        patch = (read_object(changes) if changes else {}) | {name: value for name, value in asked.items() if value is not None}
        with client_for(url, key, folder, role="sales") as desk:
            found = followed(
                desk, lambda: desk.requote(number, patch, rate_revision=rates), timeout_s=timeout_s, quiet=as_json
            )  # fmt: skip
        show_quote(found, as_json=as_json)


def _day_in(text: str | None) -> str | None:
    """A day as it is written on a command line."""
    if text is None:
        return None
    try:
        return date.fromisoformat(text).isoformat()
    except ValueError as fault:
        raise typer.BadParameter(f"{text!r} is no day that is read; write year, month and day, as 2027-03-01") from fault


def compare(
    number: str, with_revision: Annotated[int, typer.Option("--with", min=1, help="The revision to compare with.")],
    revision: Revision = None, url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False,
) -> None:  # fmt: skip
    """Print what changed between two revisions of a quote, line by line."""
    with reported(as_json=as_json):
        with client_for(url, key, folder, role="sales") as desk:
            found = desk.compare(number, with_revision, revision)
        if as_json:
            typer.echo(found.model_dump_json())
            return
        from services.desk.life_text import comparison_page  # noqa: PLC0415
        from services.desk.page_parts import console_for  # noqa: PLC0415

        console_for(sys.stdout).print(comparison_page(found))


def accept(
    number: str, quantity: Annotated[int, typer.Option(min=1, help="How many are ordered; one of the quantities quoted.")], by: By,
    note: Note = "", revision: Revision = None, url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False,
) -> None:  # fmt: skip
    """Record that the customer accepted a quote."""
    _decide("accepted", number, quantity, by, note, revision, (url, key, folder), as_json=as_json)


def decline(
    number: str, by: By, note: Note = "", revision: Revision = None, url: Url = None, key: Key = None, folder: Folder = HERE,
    as_json: Json = False,
) -> None:  # fmt: skip
    """Record that the customer declined a quote."""
    _decide("declined", number, None, by, note, revision, (url, key, folder), as_json=as_json)


def _decide(
    decision: Literal["accepted", "declined"], number: str, quantity: int | None, by: str, note: str, revision: int | None,
    server: tuple[str | None, str | None, Path], *, as_json: bool,
) -> None:  # fmt: skip
    from pydantic import ValidationError  # noqa: PLC0415

    from services.desk.life_text import decision_lines  # noqa: PLC0415
    from shared_schemas.quote_life import DecisionRequest  # noqa: PLC0415

    try:
        asked = DecisionRequest(decision=decision, quantity=quantity, by=by, note=note, revision=revision)
    except ValidationError as fault:
        first = fault.errors(include_url=False, include_input=False)[0]
        raise typer.BadParameter(f"{first['loc'][0]}: {first['msg']}") from fault
    url, key, folder = server
    with reported(as_json=as_json):
        with client_for(url, key, folder, role="sales") as desk:
            told = desk.decide(number, asked)
        answer(told.model_dump(mode="json"), decision_lines(told), as_json=as_json)


def sheet(
    number: str, out: Annotated[Path, typer.Option(help="The file to write, such as quotation.html; one that is there is replaced.")],
    revision: Revision = None, url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False,
) -> None:  # fmt: skip
    """Write the customer's quote sheet of a ready quote: a page to read, print and sign."""
    with reported(as_json=as_json):
        with client_for(url, key, folder, role="sales") as desk:
            page = desk.sheet(number, revision)
        try:
            out.write_text(page, encoding="utf-8", newline="\n")
        except OSError as fault:
            raise FileUnwritable(str(out), fault.strerror or type(fault).__name__) from fault
        answer({"number": number, "file": str(out)}, [f"{out}: open it in a browser, and print it from there"], as_json=as_json)


def batch(
    files: Annotated[list[Path] | None, typer.Argument(help="Prescriptions, quote requests (.json) or tables of surfaces (.csv).")] = None,
    number: Annotated[str | None, typer.Option(help="A batch that was sent before: print how far it is.")] = None,
    cursor: Annotated[str | None, typer.Option(help="Cursor of the page before; goes with --number.")] = None,
    wait: Annotated[bool, typer.Option(help="Wait until every quote has its outcome.")] = True,
    url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False, timeout_s: Patience = 600.0,
    quantities: Annotated[str | None, typer.Option(help="Such as 5,25,100; goes before what the files say.")] = None,
) -> None:  # fmt: skip
    """Ask for the quotes of many files at once: all are accepted, or none is."""
    if bool(files) == (number is not None):
        raise typer.BadParameter("name either files to send, or with --number a batch that was sent")
    with reported(as_json=as_json):
        with client_for(url, key, folder, role="sales") as desk:
            if number is not None:
                found = desk.batch(number, cursor)
            else:
                number = _sent(desk, files or [], {"quantities": numbers_in(quantities)})
                say(f"batch {number}: {len(files or [])} requests accepted", quiet=as_json)
                on_counts = lambda counts: say(_counted(counts), quiet=as_json)  # noqa: E731
                found = desk.wait_for_batch(number, timeout_s, on_counts) if wait else desk.batch(number)
        _show_batch(found, as_json=as_json)


def _sent(desk: BlankwrightClient, files: Sequence[Path], asked: Mapping[str, Any]) -> str:
    """The number of the batch that the files became; what the server has against one is told by the file's name."""
    from services.desk.request_file import read_request  # noqa: PLC0415

    requests = [read_request(file, asked) for file in files]
    try:
        return desk.request_batch(requests).number
    except ServerRefused as fault:
        named = [detail.model_copy(update={"pointer": _by_file(detail.pointer, files)}) for detail in fault.problem.errors]
        raise ServerRefused(fault.problem.model_copy(update={"errors": tuple(named)})) from fault


def _by_file(pointer: str, files: Sequence[Path]) -> str:
    """A pointer into a batch, with the file in the place of the request that it became."""
    found = re.fullmatch(r"/requests/(\d{1,4})((?:/.*)?)", pointer, re.ASCII)
    if found is None or int(found[1]) >= len(files):
        return pointer
    return f"{files[int(found[1])].name}, {found[2] or 'the whole request'}"


def _counted(counts: Mapping[str, int]) -> str:
    return ", ".join(f"{count} {status.replace('_', ' ')}" for status, count in counts.items() if count)


def _show_batch(found: QuoteBatch, *, as_json: bool) -> None:
    from services.desk.life_text import batch_lines  # noqa: PLC0415

    answer(json.loads(found.model_dump_json()), batch_lines(found), as_json=as_json)
    code = next((EXIT_OF_STATUS[status] for status in ("failed", "refused") if found.counts.get(status)), 0)
    if code:
        raise typer.Exit(code)


def add_to(app: typer.Typer) -> None:
    """Put these commands beside the others."""
    for command in (requote, compare, accept, decline, sheet, batch):
        app.command()(command)
