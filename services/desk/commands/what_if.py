"""The command of whoever asks what a quote would be if something in it were otherwise: copies beside each other, without a revision."""

from __future__ import annotations

import re
import sys
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Annotated, Any

import typer

from services.client.errors import ServerRefused
from services.desk.request_changes import set_operation, value_of
from services.desk.terminal import HERE, REFUSED, Folder, Json, Key, Patience, Url, client_for, reported, say

if TYPE_CHECKING:
    from services.client import Client

RATES = "rates"
WORKSHEET = "worksheet:"
AMOUNTS = frozenset({"price", "unit_price", "charge", "lot_charge", "minimum_order"})
"""Figures of the worksheet that are amounts, which are sent as they are written."""

WHAT_IF = re.compile(r"W-\d{4}-\d{6,12}", re.ASCII)
PLACE = re.compile(r"^/copies/([0-9])(/(?:patch|overrides)/([0-9]{1,3}))?(?=/|$)", re.ASCII)


@dataclass
class WrittenCopy:
    """A copy as it is written on a command line: what is set in it, in the words it was written in."""

    name: str
    rate_revision: int | None = None
    patch: list[tuple[str, dict[str, Any]]] = field(default_factory=list)
    overrides: list[tuple[str, dict[str, Any]]] = field(default_factory=list)

    def document(self) -> dict[str, Any]:
        """The copy as it is asked for."""
        document: dict[str, Any] = {"name": self.name, "rate_revision": self.rate_revision}
        for name in ("patch", "overrides"):
            if said := getattr(self, name):
                document[name] = [one for _, one in said]
        return document

    def set(self, written: str) -> None:
        """Take what stands behind the name: other rates, a figure of the worksheet, or a value of the request."""
        path, equals, value = written.partition("=")
        if path == RATES:
            if not value.isdecimal() or not int(value):
                raise typer.BadParameter(f"{written!r} names no rate revision; write a number, such as {RATES}=3")
            self.rate_revision = int(value)
        elif path.startswith(WORKSHEET):
            pointer = path.removeprefix(WORKSHEET)
            if not equals or not pointer.startswith("/"):
                raise typer.BadParameter(f"{written!r} sets no figure; write {WORKSHEET}/prices/25/unit_price=120.00")
            amount = pointer.rpartition("/")[2] in AMOUNTS
            self.overrides.append((path, {"pointer": pointer, "value": value if amount else value_of(value)}))
        else:
            self.patch.append((path, set_operation(written)))


def copies_in(written: Sequence[str]) -> list[WrittenCopy]:
    """Copies in the order they are met; one that is named again has what is set there as well."""
    copies: dict[str, WrittenCopy] = {}
    for text in written:
        name, equals, setting = text.partition("=")
        if not name.strip():
            raise typer.BadParameter(
                f'{text!r} has no name; write one before what it sets, such as "looser=elements.L2.front.form=3/5(1)"'
            )
        copy = copies.setdefault(name.strip(), WrittenCopy(name.strip()))
        if equals:
            copy.set(setting)
    return list(copies.values())


def what_if(
    number: Annotated[str, typer.Argument(help="A quote; or a what-if that was asked for before (W-...), to print it.")],
    copy: Annotated[
        list[str] | None,
        typer.Option(
            help="NAME=PATH=VALUE, once for each change; a name met again is the same copy. A path is as with requote --set; "
            "rates=3 are other rates, worksheet:/prices/25/unit_price=120.00 is a figure of the worksheet."
        ),
    ] = None,
    url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False, timeout_s: Patience = 120.0,
) -> None:  # fmt: skip
    """Print what a quote would be with something changed, copies beside each other. No revision is made."""
    if bool(copy) == bool(WHAT_IF.fullmatch(number)):
        raise typer.BadParameter("name a quote and its copies with --copy, or a what-if that was asked for before")
    copies = copies_in(copy or ())
    with reported(as_json=as_json):
        with client_for(url, key, folder, role="sales") as desk:
            if copies:
                number = _asked(desk, number, copies)
                say(f"what-if {number}: {len(copies)} {'copy' if len(copies) == 1 else 'copies'}", quiet=as_json)
            found = desk.wait_for_what_if(number, timeout_s)
        if as_json:
            typer.echo(found.model_dump_json())
        else:
            from services.desk.texts.page_parts import console_for  # noqa: PLC0415
            from services.desk.texts.what_if import what_if_page  # noqa: PLC0415

            console_for(sys.stdout).print(what_if_page(found))
        if not any(one.outcome == "ready" for one in found.copies):
            raise typer.Exit(REFUSED)


def _asked(desk: Client, number: str, copies: Sequence[WrittenCopy]) -> str:
    """The number of the what-if; what the server has against a copy is told by the words that were written."""
    try:
        return desk.request_what_if(number, [one.document() for one in copies]).number
    except ServerRefused as fault:
        told = [one.model_copy(update={"pointer": _words(one.pointer, copies)}) for one in fault.problem.errors]
        raise ServerRefused(fault.problem.model_copy(update={"errors": tuple(told)})) from fault


def _words(pointer: str, copies: Sequence[WrittenCopy]) -> str:
    at = PLACE.match(pointer)
    if at is None or int(at[1]) >= len(copies):
        return pointer
    copy, rest = copies[int(at[1])], pointer[at.end() :]
    if at[2] is None:
        return f"{copy.name}, {rest}" if rest else copy.name
    said = copy.patch if at[2].startswith("/patch") else copy.overrides
    words = said[int(at[3])][0] if int(at[3]) < len(said) else at[2]
    return f"{copy.name}={words}" + ("" if rest in ("", "/path", "/value") else f", {rest}")


def add_to(app: typer.Typer) -> None:
    """Make this command one of the command line."""
    app.command(name="what-if")(what_if)
