"""Commands for webhooks: endpoints outside that are told of what happens to estimates, and the deliveries that no endpoint took.

To make, change and remove them takes the key of an administrator; to look, test and replay that of an ERP does.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Annotated
from urllib.parse import quote as in_path

import typer

from services.desk.terminal import HERE, Folder, Json, Key, Url, answer, client_for, reported, unusable
from shared_schemas.webhooks import (
    LONGEST_OVERLAP_HOURS,
    WebhookChange,
    WebhookDelivery,
    WebhookInfo,
)

if TYPE_CHECKING:
    from services.client import Client

PLACE = "/v1/webhooks"
LOOKS, LOOK_EVERY_S = 30, 1.0
Endpoint = Annotated[str, typer.Argument(help="The id of an endpoint, as blankwright webhooks list has it.")]
Types = Annotated[
    list[str] | None, typer.Option("--type", help="Only entries of this type, such as accepted; may be said several times.")
]


def webhooks_list(url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False) -> None:
    """List every endpoint with what waits for it and what it never took."""
    with reported(as_json=as_json):
        with client_for(url, key, folder, role="erp") as desk:
            known = desk.webhooks().items
        lines = [line for one in known for line in _lines(one)]
        answer([one.model_dump(mode="json") for one in known], lines or ["no endpoints yet"], as_json=as_json)


def webhooks_add(
    address: Annotated[str, typer.Argument(help="Where to, https://….")],
    kinds: Types = None,
    description: Annotated[str, typer.Option(help="Whose it is.")] = "",
    url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False,
) -> None:  # fmt: skip
    """Have an endpoint told of what happens from now on, and show the secret that signs its messages, this once."""
    with reported(as_json=as_json):
        wanted = {"url": address, "types": kinds or [], "description": description}
        with client_for(url, key, folder, role="admin") as desk:
            made = desk.make_webhook(wanted)
        answer(made.model_dump(mode="json"), [made.info.id, made.secret], as_json=as_json)


def webhooks_pause(
    endpoint: Endpoint,
    url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False,
) -> None:  # fmt: skip
    """Send nothing to an endpoint until it is resumed; what happens meanwhile it is told then."""
    _set_paused(endpoint, True, url, key, folder, as_json)


def webhooks_resume(
    endpoint: Endpoint,
    url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False,
) -> None:  # fmt: skip
    """Let an endpoint go on that was paused, or that had answered 410."""
    _set_paused(endpoint, False, url, key, folder, as_json)


def _set_paused(endpoint: str, paused: bool, url: str | None, key: str | None, folder: Folder, as_json: bool) -> None:
    with reported(as_json=as_json):
        with client_for(url, key, folder, role="admin") as desk:
            info = desk.change_webhook(endpoint, WebhookChange(paused=paused))
        answer(info.model_dump(mode="json"), list(_lines(info)), as_json=as_json)


def webhooks_rotate(
    endpoint: Endpoint,
    overlap_h: Annotated[int, typer.Option("--overlap", min=0, max=LONGEST_OVERLAP_HOURS, help="So many hours the old secret signs too.")] = 24,
    url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False,
) -> None:  # fmt: skip
    """Make another secret for an endpoint and show it, this once. The old one signs beside it for some hours."""
    with reported(as_json=as_json):
        with client_for(url, key, folder, role="admin") as desk:
            made = desk.rotate_webhook_secret(endpoint, overlap_h)
        answer(made.model_dump(mode="json"), [made.secret], as_json=as_json)


def webhooks_test(
    endpoint: Endpoint,
    url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False,
) -> None:  # fmt: skip
    """Send an endpoint a message that tells of nothing, and say what it answered."""
    with reported(as_json=as_json):
        with client_for(url, key, folder, role="erp") as desk:
            delivery = _tested(desk, endpoint)
        answer(delivery.model_dump(mode="json"), [_line(delivery)], as_json=as_json)
        if delivery.state != "delivered":
            raise typer.Exit(1)


def webhooks_dead(
    endpoint: Annotated[str | None, typer.Argument(help="Of this endpoint only.")] = None,
    url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False,
) -> None:  # fmt: skip
    """List deliveries that an endpoint did not take for a day, newest first."""
    with reported(as_json=as_json):
        with client_for(url, key, folder, role="erp") as desk:
            ids = [endpoint] if endpoint else [one.id for one in desk.webhooks().items if one.dead]
            dead = {one: list(_dead(desk, one)) for one in ids}
        lines = [f"{one}  {_line(delivery)}" for one, found in dead.items() for delivery in found]
        document = {one: [delivery.model_dump(mode="json") for delivery in found] for one, found in dead.items()}
        answer(document, lines or ["no dead deliveries"], as_json=as_json)


def webhooks_replay(
    endpoint: Endpoint,
    delivery: Annotated[int | None, typer.Option(min=1, help="This dead delivery only.")] = None,
    since: Annotated[str | None, typer.Option(help="Only those made from this day on, such as 2027-03-31.")] = None,
    url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False,
) -> None:  # fmt: skip
    """Try dead deliveries of an endpoint anew, for a day: one, those since a day, or all."""
    if delivery is not None and since is not None:
        raise typer.BadParameter("say --delivery or --since")
    with reported(as_json=as_json):
        begin = _beginning_of(since)
        with client_for(url, key, folder, role="erp") as desk:
            if delivery is not None:
                desk.replay_webhook_delivery(endpoint, delivery)
                replayed = 1
            else:
                replayed = desk.replay_webhook_deliveries(endpoint, begin).replayed
        waits = "1 delivery waits" if replayed == 1 else f"{replayed} deliveries wait"
        answer({"replayed": replayed}, [f"{waits} again"], as_json=as_json)


def webhooks_remove(
    endpoint: Endpoint,
    url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False,
) -> None:  # fmt: skip
    """Remove an endpoint with all that waits for it."""
    with reported(as_json=as_json):
        with client_for(url, key, folder, role="admin") as desk:
            desk.remove_webhook(endpoint)
        answer({"removed": endpoint}, [f"{endpoint} is removed"], as_json=as_json)


def _tested(desk: Client, endpoint: str) -> WebhookDelivery:
    """A test delivery when it was tried, or as it is after half a minute."""
    delivery = desk.try_webhook(endpoint)
    for _ in range(LOOKS):
        if delivery.state != "waiting":
            break
        time.sleep(LOOK_EVERY_S)
        delivery = desk.webhook_delivery(endpoint, delivery.id)
    return delivery


def _dead(desk: Client, endpoint: str) -> Iterator[WebhookDelivery]:
    cursor = None
    while True:
        page = desk.webhook_deliveries(endpoint, cursor, state="dead", limit=200)
        yield from page.items
        cursor = page.next
        if cursor is None:
            return


def _place(endpoint: str, rest: str = "") -> str:
    return f"{PLACE}/{in_path(endpoint, safe='')}{rest}"


def _beginning_of(day: str | None) -> datetime | None:
    """The beginning of a day; raises `OptionUnusable` for what is none."""
    if day is None:
        return None
    try:
        return datetime.strptime(day, "%Y-%m-%d").replace(tzinfo=UTC)
    except ValueError as fault:
        raise unusable("--since", day[:40], "a day such as 2027-03-31") from fault


def _lines(one: WebhookInfo) -> Iterator[str]:
    if one.paused_at is not None:
        state = f"paused since {one.paused_at:%Y-%m-%d %H:%M}" + (", it answered 410" if one.paused_why == "gone" else "")
    elif one.failures:
        state = f"failed {one.failures} times in a row, next try {one.next_try_at:%Y-%m-%d %H:%M}"
    else:
        state = "well"
    yield f"{one.id}  {one.url}  {one.description}".rstrip()
    yield f"  {state}; {one.waiting} wait, {one.dead} dead; {', '.join(one.types) or 'every type'}"


def _line(one: WebhookDelivery) -> str:
    said = f"answered {one.last_status}" if one.last_status else one.last_fault or "not tried yet"
    return f"{one.id}  {one.type}  {one.created_at:%Y-%m-%d %H:%M}  {one.state} after {one.attempts} tries: {said}"


def add_to(app: typer.Typer) -> None:
    """Make these commands of the command line."""
    webhooks = typer.Typer(help="Tell endpoints outside what happens to estimates.", no_args_is_help=True, rich_markup_mode=None)
    named = (
        ("list", webhooks_list),
        ("add", webhooks_add),
        ("pause", webhooks_pause),
        ("resume", webhooks_resume),
        ("rotate", webhooks_rotate),
        ("test", webhooks_test),
        ("dead", webhooks_dead),
        ("replay", webhooks_replay),
        ("remove", webhooks_remove),
    )
    for name, of_webhooks in named:
        webhooks.command(name=name)(of_webhooks)
    app.add_typer(webhooks, name="webhooks")
