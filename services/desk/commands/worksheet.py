"""Commands of an estimator: the worksheet of a quote, what is set on it, and the second key of a quote that needs one."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Annotated, Any

import typer

from services.desk.terminal import HERE, Folder, Json, Key, Patience, Url, answer, client_for, followed, reported, say, show_quote

if TYPE_CHECKING:
    from shared_schemas.worksheet import WorksheetChange

MONEY = ("unit_price", "lot_charge", "price", "charge", "minimum_order")
"""Fields whose value is an amount, which JSON has as text."""

Sets = Annotated[
    list[str] | None,
    typer.Option(
        "--set",
        help="POINTER=VALUE of a figure, once for each, such as /operations/L2-polish-back/piece_min=12.5, /prices/25/unit_price=299.00 or "
        "/terms/discount_share=0.05. Pointers stand in the answer with --json; an operation's is /operations/, its part, - and its name.",
    ),
]
Withdrawn = Annotated[list[str] | None, typer.Option("--withdraw", help="POINTER of a figure to be worked out again.")]
Confirmed = Annotated[list[str] | None, typer.Option("--confirm", help="POINTER of a figure that is kept though its base moved.")]


def worksheet(
    number: str, sets: Sets = None, withdraw: Withdrawn = None, confirm: Confirmed = None,
    because: Annotated[str | None, typer.Option(help="Why: goes with every --set.")] = None,
    by: Annotated[str | None, typer.Option(help="Who changes it: goes with --set, --withdraw and --confirm.")] = None,
    rates: Annotated[int | None, typer.Option(min=1, help="A rate revision for the change; without it that of the latest revision.")] = None,
    revision: Annotated[int | None, typer.Option(min=1, help="A revision to print; without it the latest.")] = None,
    quantity: Annotated[int | None, typer.Option(min=1, help="Whose minutes and costs; without it the middle quantity.")] = None,
    part: Annotated[str | None, typer.Option(help="Print the route of this part alone.")] = None,
    url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False, timeout_s: Patience = 120.0,
) -> None:  # fmt: skip
    """Print the worksheet of a quote; with --set, --withdraw or --confirm change it first, which makes the next revision."""
    from services.desk.texts.worksheet import worksheet_lines  # noqa: PLC0415

    change = _change(sets or [], withdraw or [], confirm or [], because=because, by=by, rates=rates)
    if change is not None and revision is not None:
        raise typer.BadParameter("the worksheet that is changed is that of the latest revision: leave --revision out")
    with reported(as_json=as_json):
        with client_for(url, key, folder, role="engineer") as desk:
            if change is not None:
                made = followed(desk, lambda: desk.change_worksheet(number, change), timeout_s=timeout_s, quiet=as_json)
                if made.status != "ready":
                    show_quote(made, as_json=as_json)
                    return
                revision = made.revision
            sheet = desk.worksheet(number, revision)
        _refuse_unknown(quantity, [one.quantity for one in sheet.quantities], "--quantity")
        _refuse_unknown(part, [one.name for one in sheet.parts], "--part")
        answer(json.loads(sheet.model_dump_json()), worksheet_lines(sheet, quantity=quantity, part=part), as_json=as_json)
        for one in sheet.overrides:
            if one.moved:
                say(
                    f"{one.pointer}: its base has moved; confirm or withdraw it before the quote is accepted or given out",
                    quiet=as_json,
                )


def approve(
    number: str, by: Annotated[str, typer.Option(help="Who approves it: nobody who set a figure of it.")],
    note: Annotated[str, typer.Option(help="Anything worth keeping.")] = "",
    revision: Annotated[int | None, typer.Option(min=1, help="A revision; without it the latest.")] = None,
    url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False,
) -> None:  # fmt: skip
    """Be the second key of a quote that needs one. Without --key this uses the administrator's key of the one box."""
    from shared_schemas.worksheet import ApprovalRequest  # noqa: PLC0415

    with reported(as_json=as_json):
        with client_for(url, key, folder, role="admin") as desk:
            approval = desk.approve(number, ApprovalRequest(by=by, note=note, revision=revision))
        said = f"revision {approval.revision} of {number} is approved by {approval.by}, key {approval.key_id}, {approval.at:%Y-%m-%d %H:%M} UTC"
        answer(json.loads(approval.model_dump_json()), [said], as_json=as_json)


def _change(
    sets: list[str], withdraw: list[str], confirm: list[str], *, because: str | None, by: str | None, rates: int | None
) -> WorksheetChange | None:  # fmt: skip
    """What is to be changed, `None` where only the worksheet is wanted."""
    from pydantic import ValidationError  # noqa: PLC0415

    from shared_schemas.worksheet import WorksheetChange  # noqa: PLC0415

    if not (sets or withdraw or confirm):
        if by is not None or because is not None or rates is not None:
            raise typer.BadParameter("nothing is changed: name a figure with --set, --withdraw or --confirm")
        return None
    if by is None or (sets and because is None):
        raise typer.BadParameter("say who changes it with --by, and why with --because")
    said = [{**_setting(one), "reason": because} for one in sets]
    try:
        return WorksheetChange.model_validate(
            {"author": by, "set": said, "withdraw": withdraw, "confirm": confirm, "rate_revision": rates}
        )
    except ValidationError as fault:
        first = fault.errors(include_url=False, include_input=False)[0]
        raise typer.BadParameter(f"{'/'.join(map(str, first['loc']))}: {first['msg']}") from fault


def _setting(text: str) -> dict[str, Any]:
    pointer, equals, value = text.partition("=")
    if not equals or not pointer.startswith("/"):
        raise typer.BadParameter(f"{text!r} is no POINTER=VALUE, such as /prices/25/unit_price=299.00")
    if pointer.rpartition("/")[2] in MONEY:
        return {"pointer": pointer, "value": value.strip('"')}
    try:
        return {"pointer": pointer, "value": json.loads(value)}
    except ValueError:
        return {"pointer": pointer, "value": value}


def _refuse_unknown(wanted: object, known: list[Any], option: str) -> None:
    if wanted is not None and wanted not in known:
        raise typer.BadParameter(f"{option}: the worksheet has {', '.join(map(str, known))}")


def add_to(app: typer.Typer) -> None:
    """Make these commands of the command line."""
    app.command()(worksheet)
    app.command()(approve)
