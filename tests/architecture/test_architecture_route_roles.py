"""Who may do what: every route of the suite, every role and every scope, asked at the door itself. A new route must be entered here."""

from __future__ import annotations

import asyncio
import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from typing import Any, get_args

import pytest
from starlette.types import Message, Receive, Scope, Send

from services.chassis.addresses import Address, Addresses
from services.chassis.admission import Admission
from services.chassis.callers import Failures, KeyRing
from services.chassis.keys import Caller, Keys, Role, hash_of
from services.chassis.resources import build_resources
from services.chassis.web import make_app
from tests.architecture.test_architecture_house import settings_for_tests

PAGES = {
    "/", "/static/{name}", "/sign-in", "/sign-out", "/drafts", "/quotes", "/quotes/{number}", "/quotes/{number}/why", "/quotes/{number}/offer",
    "/quotes/{number}/offers", "/quotes/{number}/offers/{offer}", "/quotes/{number}/job-sheet", "/quotes/{number}/decision", "/quotes/{number}/requote", "/quotes/{number}/undo", "/rates", "/rates/{table}", "/help", "/help/{name}",
}  # fmt: skip
"""For people with a browser, whose session is looked at by the page: it asks with their own key, which every route judges."""

OPEN = {
    "/livez",
    "/healthz",
    "/readyz",
    "/problems",
    "/metrics",
    "/metrics/suite",
    "/openapi.json",
    "/docs",
    "/offers/{code}",
} | PAGES
"""Asked without a key."""

WHO: dict[str, str] = {
    "POST /v1/prescriptions/check": "sales engineer",
    "POST /v1/blanks/plan": "engineer",
    "POST /v1/blanks/buy-together": "sales engineer",
    "POST /v1/operations/plan": "engineer",
    "POST /v1/intake": "sales",
    "POST /v1/quotes": "sales",
    "POST /v1/sections": "sales erp engineer",
    "GET /v1/quotes": "sales erp engineer",
    "GET /v1/quotes/{}": "sales erp engineer",
    "DELETE /v1/quotes/{}": "sales",
    "GET /v1/quotes/{}/request": "sales engineer",
    "GET /v1/quotes/{}/explanation": "sales engineer",
    "GET /v1/quotes/{}/sheet": "sales engineer",
    "POST /v1/quotes/{}/offers": "sales",
    "GET /v1/quotes/{}/offers": "sales engineer",
    "GET /v1/offers/{}": "sales engineer",
    "GET /v1/letterhead": "sales",
    "PUT /v1/letterhead": "",
    "PUT /v1/letterhead/logo": "",
    "GET /v1/quotes/{}/ubl/{}": "sales erp engineer",
    "GET /v1/quotes/{}/events": "sales engineer",
    "GET /v1/quotes/{}/compare": "sales erp engineer",
    "POST /v1/quotes/{}/requote": "sales",
    "POST /v1/quotes/{}/what-if": "sales engineer",
    "GET /v1/what-ifs/{}": "sales engineer",
    "DELETE /v1/what-ifs/{}": "sales engineer",
    "POST /v1/quotes/{}/decision": "sales",
    "POST /v1/quotes/{}/decision/undo": "sales",
    "GET /v1/quotes/{}/job-sheet": "sales engineer",
    "GET /v1/quotes/{}/worksheet": "sales engineer",
    "PATCH /v1/quotes/{}/worksheet": "sales engineer",
    "POST /v1/quotes/{}/approvals": "sales engineer",
    "POST /v1/quotes/{}/promise": "sales",
    "POST /v1/quote-batches": "sales",
    "GET /v1/quote-batches/{}": "sales erp engineer",
    "DELETE /v1/quote-batches/{}": "sales",
    "GET /v1/estimates": "erp",
    "GET /v1/estimates/events": "erp",
    "GET /v1/estimates/{}": "erp",
    "POST /v1/orders/{}/actuals": "erp",
    "GET /v1/orders/{}/actuals": "sales erp engineer",
    "GET /v1/webhooks": "erp",
    "POST /v1/webhooks": "",
    "GET /v1/webhooks/{}": "erp",
    "PATCH /v1/webhooks/{}": "",
    "DELETE /v1/webhooks/{}": "",
    "POST /v1/webhooks/{}/rotate": "",
    "POST /v1/webhooks/{}/test": "erp",
    "POST /v1/webhooks/{}/replay": "erp",
    "GET /v1/webhooks/{}/deliveries": "erp",
    "GET /v1/webhooks/{}/deliveries/{}": "erp",
    "POST /v1/webhooks/{}/deliveries/{}/replay": "erp",
    "GET /v1/findings": "sales erp engineer",
    "GET /v1/handovers": "service",
    "GET /v1/accuracy": "engineer",
    "GET /v1/win-rate": "sales engineer",
    "GET /v1/load": "sales erp engineer",
    "PUT /v1/load": "erp engineer",
    "GET /v1/load/snapshots": "sales erp engineer service",
    "GET /v1/load/snapshots/{}": "sales erp engineer service",
    "GET /v1/orders": "sales erp engineer",
    "GET /v1/orders/{}": "sales erp engineer",
    "POST /v1/orders/{}/cancellation": "sales erp",
    "POST /v1/orders/{}/completion": "erp",
    "GET /v1/order-events": "service",
    "GET /v1/rates/revisions": "engineer service",
    "GET /v1/rates/revisions/{}": "engineer service",
    "GET /v1/rates/tables/{table}": "engineer service erp:work_centres,operations",
    "PUT /v1/rates/tables/{table}": "engineer",
    "GET /v1/rates/learned": "engineer",
    "POST /v1/rates/proposals": "engineer service",
    "GET /v1/rates/proposals/{}": "engineer service",
    "GET /v1/archive": "",
    "POST /v1/archive/removals": "",
    "POST /v1/archive/returns": "",
    "GET /v1/dead-letters": "",
    "POST /v1/dead-letters/{}/replay": "",
    "GET /v1/keys": "",
    "POST /v1/keys": "",
    "GET /v1/keys/{}": "",
    "DELETE /v1/keys/{}": "",
    "POST /v1/keys/{}/rotate": "",
    "GET /v1/audit": "",
    "GET /v1/audit/export": "",
}
"""The roles that may besides administrators, who may everything; `erp:a,b` of these rate tables alone."""

BELOW: dict[str, str] = {"/v1/rates/": "engineer"}
"""Of addresses below these that are not in the table above, whatever the method."""

SCOPES: dict[str, tuple[tuple[str, ...], ...]] = {
    role: ((), ("read_only",)) + ((("table:polishing",),) if role == "engineer" else ()) for role in get_args(Role)
}
TABLES = ("polishing", "glasses", "work_centres", "operations")


@dataclass(frozen=True)
class Cell:
    """One request by one key."""

    method: str
    path: str
    table: str | None
    role: Role
    scopes: tuple[str, ...]

    @property
    def key(self) -> str:
        """The key that shows this role and these scopes."""
        return f"bw_{self.role}{'_'.join(self.scopes)}_x"


def named(address: Address) -> str:
    """An address as the table names it: of the places in it only a table has its name."""
    return re.sub(r"\{(?!table\})[^}]*\}", "{}", address.path)


def who_of(method: str, address: Address) -> str | None:
    """The roles that the tables name for a method at an address, `None` for one that they do not know."""
    exact = WHO.get(f"{method} {named(address)}")
    return exact if exact is not None else next((who for start, who in BELOW.items() if address.path.startswith(start)), None)


def may(cell: Cell, who: str) -> bool:
    """Whether the tables and the meaning of the scopes let a request in."""
    tables = {name: some.split(",") for name, _, some in (word.partition(":") for word in who.split()) if some}
    roles = {word.partition(":")[0] for word in who.split()} | {"admin"}
    if cell.role not in roles or (cell.role in tables and cell.table not in tables[cell.role]):
        return False
    changes = cell.method != "GET"
    return not changes or not cell.scopes or (cell.scopes == ("table:polishing",) and cell.table == "polishing")


@cache
def app() -> Any:
    """The whole suite in one process, with nothing behind it."""
    return make_app(build_resources(settings_for_tests()))


def keyed() -> list[Address]:
    return [address for address in Addresses(app().routes).known if address.path not in OPEN]


class EveryKey(Keys):
    """A key for every role and scope."""

    def __init__(self) -> None:
        """Keys without a database."""

    def ring(self) -> dict[bytes, Caller]:
        """All of them."""
        cells = [Cell("GET", "", None, role, scopes) for role in get_args(Role) for scopes in SCOPES[role]]
        return {hash_of(cell.key): Caller(cell.role, cell.role, cell.role, cell.scopes) for cell in cells}

    def note_uses(self, uses: Any) -> None:
        """Nowhere to note it."""


async def passes(door: Admission, cell: Cell) -> bool:
    """Whether the door lets a request in."""
    seen: list[Message] = []

    async def send(message: Message) -> None:
        seen.append(message)

    async def receive() -> Message:
        return {"type": "http.disconnect"}

    scope: Scope = {"type": "http", "method": cell.method, "path": cell.path, "query_string": b"", "client": ("192.0.2.1", 1), "app": app(),
                    "headers": [(b"authorization", f"Bearer {cell.key}".encode())], "state": {}}  # fmt: skip
    await door(scope, receive, send)
    status = seen[0]["status"]
    assert status in (299, 403), (cell, status)
    return bool(status == 299)


async def behind(scope: Scope, receive: Receive, send: Send) -> None:
    """What stands behind the door."""
    await send({"type": "http.response.start", "status": 299, "headers": []})


def cells_of(address: Address) -> Iterator[Cell]:
    for method in sorted(address.methods - {"HEAD"}):
        for table in TABLES if "{table}" in address.path else (None,):
            path = re.sub(r"\{[^}]*\}", "1", address.path.replace("{table}", table or ""))
            for role in get_args(Role):
                yield from (Cell(method, path, table, role, scopes) for scopes in SCOPES[role])


@pytest.mark.parametrize("address", keyed(), ids=lambda address: f"{'-'.join(sorted(address.methods))} {address.path}")
def test_every_route_is_open_to_the_roles_and_scopes_of_the_table_and_to_no_other(address: Address) -> None:
    assert address.roles is not None, "it asks for no key; enter it in OPEN if that is meant"
    door = Admission(behind, ring=KeyRing(EveryKey()), failures=Failures(10))

    async def wrong() -> list[Cell]:
        found = []
        for cell in cells_of(address):
            who = who_of(cell.method, address)
            assert who is not None, f"enter {cell.method} {named(address)} in WHO"
            if await passes(door, cell) != may(cell, who):
                found.append(cell)
        return found

    assert asyncio.run(wrong()) == []


def test_the_table_names_no_route_that_is_not_there() -> None:
    there = {f"{method} {named(address)}" for address in keyed() for method in address.methods}
    assert set(WHO) - there == set()
    assert {address.path for address in Addresses(app().routes).known} >= OPEN
