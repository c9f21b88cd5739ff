"""Commands about what customers send: read a table, file or letter, and make the request that `quote`, `check` and `batch` take."""

from __future__ import annotations

import os
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from services.desk.intake_file import STANDARD_INPUT, answers_in, bytes_of, is_json, to_be_read
from services.desk.terminal import (
    HERE,
    TO_CONFIRM,
    Folder,
    Json,
    Key,
    Url,
    client_for,
    numbers_in,
    reported,
    say,
    write_file,
)

if TYPE_CHECKING:
    from services.client import Client
    from services.desk.intake_dialogue import Dialogue
    from shared_schemas.intake import IntakeDraft
    from shared_schemas.quote_request import QuoteRequest

FILES = "Any table, file or letter of a customer (.csv, .tsv, .xlsx, .txt, .eml), a request or prescription (.json), or - for the standard input."
File = Annotated[Path, typer.Argument(help=FILES)]
Answers = Annotated[
    list[str] | None, typer.Option("--answer", help="An answer to a question of the draft, NAME=VALUE; once for each.")
]
Yes = Annotated[bool, typer.Option("--yes", help="What was assumed in reading the file is right; without it that is asked.")]
Sheet = Annotated[str | None, typer.Option(help="The sheet of a workbook that has the lens.")]


@dataclass(frozen=True)
class Said:
    """What a command line says beside its file."""

    command: str
    answers: list[str] | None = None
    sheet: str | None = None
    yes: bool = False
    as_json: bool = False
    asked: Mapping[str, Any] = field(default_factory=dict)
    options: Sequence[tuple[str, str | None]] = ()
    may_ask: bool = True

    def dialogue(self, file: Path, content: bytes) -> Dialogue:
        """How the draft of a file is settled."""
        from services.desk.intake_dialogue import Dialogue as Settling  # noqa: PLC0415

        sent = to_be_read(file, content, answers=answers_in(self.answers), asked=self.asked, sheet=self.sheet)
        options = [(option, value) for option, value in (*self.options, ("--sheet", self.sheet)) if value is not None]
        may_ask = self.may_ask and file != STANDARD_INPUT
        named = f"blankwright {self.command} {_shown(file)}"
        return Settling(sent, named, options, yes=self.yes, as_json=self.as_json, may_ask=may_ask)


def request_of(desk: Client, file: Path, said: Said) -> QuoteRequest:
    """The request that a file makes: JSON as it stands, all else read, asked about and confirmed. Raises `FileUnreadable`, or ends the command."""
    from services.desk.request_file import read_request  # noqa: PLC0415

    content = bytes_of(file)
    if is_json(file, content):
        return read_request(file, said.asked, content=content, say=lambda line: say(line, quiet=said.as_json))
    dialogue = said.dialogue(file, content)
    draft = dialogue.settled(desk)
    dialogue.confirmed(draft)
    assert draft.request is not None, "a draft without questions has its request"
    return draft.request


def lens_of(desk: Client, file: Path, said: Said) -> tuple[Any, IntakeDraft | None]:
    """The prescription in a file, and the draft where it had to be read; what was assumed is told and needs no confirmation."""
    from services.desk.request_file import read_prescription  # noqa: PLC0415

    content = bytes_of(file)
    if is_json(file, content):
        return read_prescription(file, content=content), None
    draft = said.dialogue(file, content).settled(desk)
    assert draft.request is not None, "a draft without questions has its request"
    return draft.request.prescription, draft


def intake(
    file: File, url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False,
    out: Annotated[Path | None, typer.Option(help="Write the request that it makes to a file, for blankwright quote.")] = None,
    answer: Answers = None, sheet: Sheet = None,
    quantities: Annotated[str | None, typer.Option(help="Such as 5,25,100; overrides the file.")] = None,
) -> None:  # fmt: skip
    """Read a customer's table, file or letter, and print what became of it; nothing is quoted. Exit code 5 while a question is open."""
    from services.desk.texts.intake import draft_page  # noqa: PLC0415
    from services.desk.texts.page_parts import console_for  # noqa: PLC0415

    with reported(as_json=as_json):
        said = Said(
            "intake", answer, sheet, as_json=as_json, asked={"quantities": numbers_in(quantities)}, may_ask=out is not None,
            options=(*server_option(url), ("--quantities", quantities), ("--out", None if out is None else str(out))),
        )  # fmt: skip
        with client_for(url, key, folder, role="sales") as desk:
            if out is not None:
                draft = said.dialogue(file, bytes_of(file)).settled(desk)
            else:
                draft = desk.intake(said.dialogue(file, bytes_of(file)).sent)
        if as_json:
            typer.echo(draft.model_dump_json())
        else:
            console_for(sys.stdout).print(draft_page(draft))
        if out is not None and draft.request is not None:
            write_file(out, draft.request.model_dump_json(indent=2).encode() + b"\n")
            say(f"{out} is written; quote it with: blankwright quote {_shown(out)}", quiet=as_json)
        if draft.questions:
            raise typer.Exit(TO_CONFIRM)


def server_option(url: str | None) -> tuple[tuple[str, str | None], ...]:
    """The server that was named on the command line, for a command that goes on from here."""
    return () if url is None or url == os.environ.get("BLANKWRIGHT_URL") else (("--url", url),)


def _shown(file: Path) -> str:
    import shlex  # noqa: PLC0415

    return shlex.quote(str(file))


def add_to(app: typer.Typer) -> None:
    """Make these commands of the command line."""
    app.command()(intake)
