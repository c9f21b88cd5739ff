"""An amended table at the terminal: read, held against the quote, shown, and confirmed before anything is sent."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from services.desk.amended import ASSUMPTIONS, Amendment, amended, answers_of
from services.desk.commands.intake import Said
from services.desk.intake_file import bytes_of, is_json
from services.desk.request_changes import WrittenOperation
from services.desk.terminal import TO_CONFIRM, say, somebody_is_there, unusable, write_file
from services.desk.texts.intake import assumed_lines
from services.desk.texts.page_parts import listed

if TYPE_CHECKING:
    from services.client import Client
    from shared_schemas.quote import Quote

LONGEST_VALUE = 40


@dataclass(frozen=True)
class AmendedTable:
    """A table that amends a quote, and what is to be done with it: the changes go to a file, or are sent once they are confirmed."""

    file: Path
    said: Said
    save: Path | None = None

    def operations(self, desk: Client, number: str) -> list[WrittenOperation]:
        """What the table changes in the quote; nothing of it is sent here. Ends the command where it is not confirmed, or goes to a file.

        Raises `FileUnreadable`, `OptionUnusable` for a quote without figures.
        """
        content = bytes_of(self.file)
        if is_json(self.file, content):
            raise unusable("--table", self.file.name, "a table; JSON is sent with --changes or --patch")
        quote = desk.quote(number)
        if quote.prescription is None:
            raise unusable("--table", f"{number} is {quote.status}", "a quote that is ready; change others with --set")
        dialogue = self.said.dialogue(self.file, content)
        known = answers_of(quote.prescription, desk.intake(dialogue.sent))
        dialogue.sent = dialogue.sent.model_copy(update={"answers": known | dialogue.sent.answers})
        draft = dialogue.settled(desk)
        found = amended(quote.prescription, draft, known=_known(quote))
        if self.save is not None:
            self._saved(found, self.save)
        self._confirm(found)
        return [WrittenOperation(f"{self.file.name}, {one.pointer}", one.operation()) for one in found.changes]

    def _saved(self, found: Amendment, file: Path) -> None:
        write_file(file, json.dumps(found.patch(), indent=2, ensure_ascii=False).encode() + b"\n")
        say(f"{file} has {len(found.changes)} changes; nothing is sent. Send them with --patch {file}", quiet=self.said.as_json)
        raise typer.Exit

    def _confirm(self, found: Amendment) -> None:
        if not self.said.as_json:
            from rich.console import Group  # noqa: PLC0415

            from services.desk.texts.page_parts import console_for  # noqa: PLC0415

            console_for(sys.stderr).print(Group(*amendment_lines(found)))
        if self.said.yes or not found.changes:
            return
        if somebody_is_there() and not self.said.as_json:
            try:
                agreed = typer.confirm("\nIs that what is to be quoted", default=False, err=True)
            except (typer.Abort, EOFError):
                agreed = False
            if agreed:
                return
        if self.said.as_json:
            typer.echo(json.dumps({"patch": found.patch(), "kept": list(found.kept)}, ensure_ascii=False))
        else:
            say("\nNothing is sent. Look at the changes and send them with --yes, or write them to a file with --save-patch")
        raise typer.Exit(TO_CONFIRM)


def _known(quote: Quote) -> dict[str, Any]:
    """What the quote says of its request, beside the lens."""
    known: dict[str, Any] = {} if quote.order is None else quote.order.model_dump(mode="json")
    quantities = [one.quantity for one in quote.breaks or ()]
    return {
        **known,
        "quantities": quantities,
        "currency": quote.currency,
        "customer": quote.customer,
        "confidence": quote.confidence,
    }


def amendment_lines(found: Amendment) -> Iterator[Any]:
    """What is changed, from what to what; what stays; and what was assumed in reading that."""
    if not found.changes:
        yield "The table says nothing otherwise than the quote."
    yield from listed(
        "Changed",
        [
            f"{one.pointer.replace('/', ' ').strip()}: {_value(one.old)} → {_value(one.new)}"
            for one in found.changes
            if one.pointer != ASSUMPTIONS
        ],
    )
    if found.by_order:
        yield "\nThe table calls its elements otherwise than the quote: they are taken in their order."
    yield from listed("The table does not say, and it stays as it is", found.kept)
    yield from listed("Assumed", assumed_lines(found.assumed))


def _value(value: object) -> str:
    text = "nothing" if value is None else value if isinstance(value, str) else json.dumps(value, ensure_ascii=False)
    return text if len(text) <= LONGEST_VALUE else text[: LONGEST_VALUE - 1] + "…"
