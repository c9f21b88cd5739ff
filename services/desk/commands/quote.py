"""Commands about quotes: ask, check, show, list; the customer's decision; many quotes at once."""

from __future__ import annotations

import json
import re
import sys
import time
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from services.client.errors import ServerRefused
from services.desk import machine
from services.desk.commands.intake import FILES, Answers, File, Said, Sheet, Yes, lens_of, request_of, server_option
from services.desk.commands.letterhead import put_first_letterhead
from services.desk.commands.load import delivery_of
from services.desk.terminal import (
    EXIT_OF_STATUS,
    HERE,
    REFUSED,
    TO_CONFIRM,
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
    from services.client import Client
    from shared_schemas.quote_life import QuoteBatch

DEMO = Path(__file__).resolve().parents[1] / "demo" / "lake_ice_lidar.json"
SELLER_OF_THE_DEMO = DEMO.parent / "seller" / "letterhead.json"

Revision = Annotated[int | None, typer.Option(min=1, help="A revision; without it the latest.")]
By = Annotated[str, typer.Option(help="Who said so, on the customer's side.")]
Note = Annotated[str, typer.Option(help="Anything else worth keeping.")]


def quote(
    file: File, url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False, timeout_s: Patience = 120.0,
    quantities: Annotated[str | None, typer.Option(help="Such as 5,25,100; overrides the file.")] = None,
    currency: Annotated[str | None, typer.Option(help="ISO 4217 code, such as USD.")] = None,
    customer: Annotated[str | None, typer.Option(help="For whom.")] = None,
    confidence: Annotated[float | None, typer.Option(help="Probability that enough pieces are started.")] = None,
    reference: Annotated[str | None, typer.Option(help="What the customer calls it.")] = None,
    contact: Annotated[str | None, typer.Option(help="Whom to ask, on the customer's side.")] = None,
    spare: Annotated[list[str] | None, typer.Option(help="Parts beside the lenses, such as L3=5; once for each.")] = None,
    deliver: Annotated[list[str] | None, typer.Option(help="A part of one of the quantities, 10 or 10@2027-03-15; once for each.")] = None,
    include: Annotated[list[str] | None, typer.Option(help="A step of the shop's own, such as \"measuring report\"; once for each.")] = None,
    answer: Answers = None, yes: Yes = False, sheet: Sheet = None,
) -> None:  # fmt: skip
    """Ask for a quote, wait for it and print it. A table or letter is read first; exit code 5 when it has open questions or unconfirmed assumptions."""
    with reported(as_json=as_json):
        asked: dict[str, Any] = {
            "quantities": numbers_in(quantities), "currency": currency, "customer": customer, "confidence": confidence,
            "reference": reference, "contact": contact, "spares": [_spare_of(text) for text in spare or ()] or None,
            "deliveries": [delivery_of(text).model_dump(mode="json") for text in deliver or ()] or None, "own_operations": include or None,
        }  # fmt: skip
        options = (
            *server_option(url), ("--quantities", quantities), ("--currency", currency), ("--customer", customer),
            ("--confidence", None if confidence is None else str(confidence)), ("--reference", reference), ("--contact", contact),
            *(("--spare", text) for text in spare or ()), *(("--deliver", text) for text in deliver or ()),
            *(("--include", text) for text in include or ()),
        )  # fmt: skip
        said = Said("quote", answer, sheet, yes=yes, as_json=as_json, asked=asked, options=options)
        with client_for(url, key, folder, role="sales") as desk:
            request = request_of(desk, file, said)
            answered = followed(desk, lambda: desk.request_quote(request), timeout_s=timeout_s, quiet=as_json)
        show_quote(answered, as_json=as_json)


def _spare_of(text: str) -> dict[str, Any]:
    """Spare parts as they are written at a terminal."""
    part, _, pieces = text.rpartition("=")
    if not part.strip() or not pieces.strip().isdecimal():
        raise typer.BadParameter(f"{text} is no spare part; write L3=5, or L1+L2=2 for a cemented group", param_hint="--spare")
    return {"part": part.strip(), "pieces": int(pieces)}


def demo(folder: Folder = HERE, as_json: Json = False, timeout_s: Patience = 120.0) -> None:
    """Quote the demo lens in the one box; what was started for it is stopped again."""
    from services.desk.request_file import read_request  # noqa: PLC0415

    with reported(as_json=as_json):
        request = read_request(DEMO, {})
        box = machine.running_box(folder)
        ours, is_new = box is None, not folder.exists()
        try:
            if box is None:
                began = time.monotonic()
                say("starting broker, database, API and worker", quiet=as_json)
                box = machine.start_box(folder, port=None, say=say)
                say(f"{time.monotonic() - began:7.2f} s  up at {box.url}", quiet=as_json)
            if ours and is_new:  # a shop that has data is no place for an invented seller
                with client_for(box.url, box.keys["admin"], folder, role="admin") as admin:
                    put_first_letterhead(admin, SELLER_OF_THE_DEMO)
            say(f"sending: {request.prescription.title}", quiet=as_json)
            with client_for(box.url, box.keys["sales"], folder, role="sales") as desk:
                answered = followed(desk, lambda: desk.request_quote(request), timeout_s=timeout_s, quiet=as_json)
            show_quote(answered, as_json=as_json)
        finally:
            if ours and machine.stop_box(folder):
                say("everything that was started is stopped", quiet=as_json)


def check(
    file: File, url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False, answer: Answers = None, sheet: Sheet = None,
) -> None:  # fmt: skip
    """Say at once whether a lens can be made, without a quote. Exit code 3 when it cannot, 5 while a question about the file is open."""
    with reported(as_json=as_json):
        said = Said("check", answer, sheet, as_json=as_json, options=server_option(url))
        with client_for(url, key, folder, role="sales") as desk:
            prescription, draft = lens_of(desk, file, said)
            report = desk.check(prescription)
        if as_json:
            typer.echo(report.model_dump_json())
        else:
            from services.desk.texts.quote import check_page, console_for  # noqa: PLC0415

            if draft is not None:
                from services.desk.texts.intake import draft_page  # noqa: PLC0415

                console_for(sys.stdout).print(draft_page(draft), "")
            console_for(sys.stdout).print(check_page(prescription, report))
        if report.makeable == "no":
            raise typer.Exit(REFUSED)


def show(
    number: str, url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False,
    revision: Annotated[int | None, typer.Option(min=1, help="A revision; without it the latest.")] = None,
) -> None:  # fmt: skip
    """Print a quote as it stands."""
    with reported(as_json=as_json):
        with client_for(url, key, folder, role="sales") as desk:
            answered = desk.quote(number, revision)
        show_quote(answered, as_json=as_json)


def compare(
    number: str, with_revision: Annotated[int, typer.Option("--with", min=1, help="The revision to compare with.")],
    revision: Revision = None, url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False,
) -> None:  # fmt: skip
    """Print what changed between two revisions of a quote, line by line."""
    with reported(as_json=as_json):
        with client_for(url, key, folder, role="sales") as desk:
            comparison = desk.compare(number, with_revision, revision)
        if as_json:
            typer.echo(comparison.model_dump_json())
            return
        from services.desk.texts.comparison import comparison_page  # noqa: PLC0415
        from services.desk.texts.page_parts import console_for  # noqa: PLC0415

        console_for(sys.stdout).print(comparison_page(comparison))


def accept(
    number: str, quantity: Annotated[int, typer.Option(min=1, help="How many are ordered; one of the quantities quoted.")], by: By,
    note: Note = "", revision: Revision = None, url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False,
    purchase_order: Annotated[str | None, typer.Option(help="The number of the customer's order.")] = None,
    customer_number: Annotated[str | None, typer.Option(help="The number under which the customer is kept.")] = None,
    contact: Annotated[str | None, typer.Option(help="Whom to ask, on the customer's side.")] = None,
    needed_by: Annotated[str | None, typer.Option(help="The day by which the customer needs it, such as 2027-03-31.")] = None,
    confirm_expired: Annotated[bool, typer.Option("--confirm-expired", help="Its last day is over, and its prices still hold.")] = False,
    changes_order: Annotated[int | None, typer.Option(min=1, help="The earlier revision whose order this one takes the place of.")] = None,
    deliver: Annotated[list[str] | None, typer.Option(help="A part of them, 10 or 10@2027-03-15; once for each, adding up to all.")] = None,
) -> None:  # fmt: skip
    """Record that the customer accepted a quote."""
    order = {"purchase_order": purchase_order, "customer_number": customer_number, "contact": contact, "needed_by": needed_by,
             "changes_order": changes_order, "deliveries": tuple(delivery_of(text) for text in deliver or ())}  # fmt: skip
    asked = {"decision": "accepted", "quantity": quantity, "confirm_expired": confirm_expired, **order}
    _decide(number, asked | {"by": by, "note": note, "revision": revision}, (url, key, folder), as_json=as_json)


def decline(
    number: str, by: By, note: Note = "", revision: Revision = None, url: Url = None, key: Key = None, folder: Folder = HERE,
    as_json: Json = False,
    reason: Annotated[str | None, typer.Option(help="price, date, lost_to_other, no_budget, changed, no_answer or other.")] = None,
) -> None:  # fmt: skip
    """Record that the customer declined a quote."""
    asked = {"decision": "declined", "by": by, "note": note, "revision": revision, "reason": reason}
    _decide(number, asked, (url, key, folder), as_json=as_json)


def undo(
    number: str, by: By, reason: Annotated[str, typer.Option(help="Why it is taken back.")], revision: Revision = None,
    url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False,
) -> None:  # fmt: skip
    """Take back a decline that was recorded by mistake within the last hour."""
    from pydantic import ValidationError  # noqa: PLC0415

    from shared_schemas.quote_life import UndoRequest  # noqa: PLC0415

    try:
        asked = UndoRequest(by=by, reason=reason, revision=revision)
    except ValidationError as fault:
        first = fault.errors(include_url=False, include_input=False)[0]
        raise typer.BadParameter(f"{first['loc'][0]}: {first['msg']}") from fault
    with reported(as_json=as_json):
        with client_for(url, key, folder, role="sales") as desk:
            undone = desk.undo_decision(number, asked)
        words = f"{number}, revision {undone.decision.revision}, is open again: what {undone.decision.by} said is withdrawn"
        answer(undone.model_dump(mode="json"), [words], as_json=as_json)


def _decide(number: str, said: dict[str, Any], server: tuple[str | None, str | None, Path], *, as_json: bool) -> None:
    from pydantic import ValidationError  # noqa: PLC0415

    from services.desk.texts.comparison import decision_lines  # noqa: PLC0415
    from shared_schemas.quote_life import DecisionRequest  # noqa: PLC0415

    try:
        asked = DecisionRequest.model_validate(said)
    except ValidationError as fault:
        first = fault.errors(include_url=False, include_input=False)[0]
        raise typer.BadParameter(f"{first['loc'][0]}: {first['msg']}") from fault
    url, key, folder = server
    with reported(as_json=as_json):
        with client_for(url, key, folder, role="sales") as desk:
            decided = desk.decide(number, asked)
        answer(decided.model_dump(mode="json"), decision_lines(decided), as_json=as_json)


def batch(
    files: Annotated[list[Path] | None, typer.Argument(help=FILES)] = None,
    number: Annotated[str | None, typer.Option(help="A batch that was sent before: print how far it is.")] = None,
    cursor: Annotated[str | None, typer.Option(help="Cursor of the page before; goes with --number.")] = None,
    wait: Annotated[bool, typer.Option(help="Wait until every quote has its outcome.")] = True,
    url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False, timeout_s: Patience = 600.0,
    quantities: Annotated[str | None, typer.Option(help="Such as 5,25,100; overrides the files.")] = None, yes: Yes = False,
) -> None:  # fmt: skip
    """Ask for the quotes of many files at once: all are accepted, or none is. A file with open questions is named, and nothing is sent (exit code 5)."""
    if bool(files) == (number is not None):
        raise typer.BadParameter("name either files to send, or with --number a batch that was sent")
    with reported(as_json=as_json):
        with client_for(url, key, folder, role="sales") as desk:
            if number is not None:
                state = desk.batch(number, cursor)
            else:
                said = Said("intake", yes=yes, as_json=as_json, asked={"quantities": numbers_in(quantities)}, may_ask=False)
                number = _sent(desk, files or [], said)
                say(f"batch {number}: {len(files or [])} requests accepted", quiet=as_json)
                on_counts = lambda counts: say(_counted(counts), quiet=as_json)  # noqa: E731
                state = desk.wait_for_batch(number, timeout_s, on_counts) if wait else desk.batch(number)
        _show_batch(state, as_json=as_json)


def _sent(desk: Client, files: Sequence[Path], said: Said) -> str:
    """The number of the batch that the files became; what the server has against one is told by the file's name."""
    requests, some_open = [], False
    for file in files:
        try:
            requests.append(request_of(desk, file, said))
        except typer.Exit:  # with its draft printed; those of the other files are wanted too
            some_open = True
    if some_open:
        raise typer.Exit(TO_CONFIRM)
    try:
        return desk.request_batch(requests).number
    except ServerRefused as fault:
        named = [detail.model_copy(update={"pointer": _by_file(detail.pointer, files)}) for detail in fault.problem.errors]
        raise ServerRefused(fault.problem.model_copy(update={"errors": tuple(named)})) from fault


def _by_file(pointer: str, files: Sequence[Path]) -> str:
    """A pointer into a batch, with the file in the place of the request that it became."""
    request = re.fullmatch(r"/requests/(\d{1,4})((?:/.*)?)", pointer, re.ASCII)
    if request is None or int(request[1]) >= len(files):
        return pointer
    return f"{files[int(request[1])].name}, {request[2] or 'the whole request'}"


def _counted(counts: Mapping[str, int]) -> str:
    return ", ".join(f"{count} {status.replace('_', ' ')}" for status, count in counts.items() if count)


def _show_batch(state: QuoteBatch, *, as_json: bool) -> None:
    from services.desk.texts.comparison import batch_lines  # noqa: PLC0415

    answer(json.loads(state.model_dump_json()), batch_lines(state), as_json=as_json)
    code = next((EXIT_OF_STATUS[status] for status in ("failed", "cancelled", "refused") if state.counts.get(status)), 0)
    if code:
        raise typer.Exit(code)


def cancel(number: str, url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False) -> None:
    """Cancel a quote or a batch while it is under way, or what a proposed rate table is held against (I-...)."""
    role = "engineer" if number.startswith("I") else "sales"
    with reported(as_json=as_json):
        with client_for(url, key, folder, role=role) as desk:
            desk.cancel(number)
        answer({"number": number, "cancelled": True}, [f"{number}: nothing of it is under way any more"], as_json=as_json)


def buy_together(
    numbers: Annotated[list[str], typer.Argument(help="Numbers of two or more ready quotes.")],
    url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False,
    quantity: Annotated[int | None, typer.Option(help="The quantity of each quote; without it the smallest of each.")] = None,
) -> None:  # fmt: skip
    """Say what the glass of several quotes costs when it is bought together."""
    from services.desk.texts.comparison import purchase_lines, request_for  # noqa: PLC0415

    with reported(as_json=as_json):
        with client_for(url, key, folder, role="sales") as desk:
            purchases = desk.buy_together(request_for([desk.quote(number) for number in dict.fromkeys(numbers)], quantity))
        answer(purchases.model_dump(mode="json"), purchase_lines(purchases), as_json=as_json)


def add_to(app: typer.Typer) -> None:
    """Make these commands of the command line, in the order in which they are met."""
    for first in (quote, demo, check, show):
        app.command()(first)
    for later in (compare, accept, decline, undo, cancel, batch):
        app.command()(later)
    app.command(name="buy-together")(buy_together)
