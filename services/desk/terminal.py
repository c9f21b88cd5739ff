"""How commands of the desk meet a person: which server they mean, what is printed beside the answer, how a command ends."""

from __future__ import annotations

import json
import re
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from services.client.errors import ClientError, ContactLost, ServerRefused, ServerUnreachable, WaitedTooLong
from services.desk import machine
from services.desk.errors import (
    DeskError,
    FigureNotNamed,
    FileUnreadable,
    FileUnwritable,
    KeyRefused,
    NoServerNamed,
    NoSuchKey,
    OptionUnusable,
    QuoteHasNoBlanks,
    SettingMissing,
)
from services.desk.server import client_of
from services.desk.texts.wording import as_called, problem_lines
from shared_schemas.pipeline import LAST, STATIONS
from shared_schemas.problem import ProblemDetail

if TYPE_CHECKING:
    from services.client import Client
    from shared_schemas.quote import Quote, QuoteAccepted


UNREACHABLE, USAGE, REFUSED, FAILED, TO_CONFIRM, INTERRUPTED = 1, 2, 3, 4, 5, 130
EXIT_CODES = {
    0: "ready or done",
    UNREACHABLE: "no answer in time, or a fault of the server",
    USAGE: "the command or its file needs mending",
    REFUSED: "the quote was refused",
    FAILED: "it failed or was cancelled",
    TO_CONFIRM: "a file has open questions, or assumptions that nobody confirmed",
    INTERRUPTED: "stopped from the keyboard",
}
"""With what commands end, and what that means."""

EXIT_OF_STATUS = {"ready": 0, "refused": REFUSED, "failed": FAILED, "cancelled": FAILED}
HERE = Path(".blankwright")
QUANTITY = re.compile(r"0|-?[1-9][0-9]{0,11}")
THOUSANDS = re.compile(r"[1-9][0-9]{0,2}(,[1-9][0-9]{2})+")
"""What may be one quantity with its thousands apart, or several."""

Url = Annotated[str | None, typer.Option(envvar="BLANKWRIGHT_URL", help="Address of the server; without it the one box.")]
Key = Annotated[str | None, typer.Option(envvar="BLANKWRIGHT_KEY", help="Your key, bw_….", show_envvar=True)]
Folder = Annotated[Path, typer.Option(envvar="BLANKWRIGHT_FOLDER", help="Where the one box keeps its data.")]
Json = Annotated[bool, typer.Option("--json", help="Answer in JSON.")]
Patience = Annotated[float, typer.Option("--timeout", min=0.1, help="How long to wait for the quote, in seconds.")]


def numbers_in(text: str | None) -> list[int] | None:
    """Quantities as they are written on a command line: a comma between two, and none within one."""
    if text is None:
        return None
    parts = [part.strip() for part in text.split(",")]
    if not all(QUANTITY.fullmatch(part) for part in parts):
        raise typer.BadParameter(
            f"{text!r} is not a list of quantities; write whole numbers separated by commas, such as 5,25,100, and a thousand as 1000"
        )
    if THOUSANDS.fullmatch(text):
        say(
            f"{text} is read as {len(parts)} quantities, {' and '.join(parts)}; for a single quantity write {text.replace(',', '')}"
        )
    return [int(part) for part in parts]


def client_for(url: str | None, key: str | None, folder: Path, *, role: str) -> Client:
    """The server that was named, or the one box of the folder. Raises `NoServerNamed`."""
    if url is None:
        box = machine.running_box(folder)
        if box is None:
            raise NoServerNamed(folder)
        url, key = box.url, key or box.keys[role]
    return client_of(url, key)


def followed(desk: Client, ask: Callable[[], QuoteAccepted], *, timeout_s: float, quiet: bool) -> Quote:
    """The quote that `ask` asks for, when it has its outcome; each stage is said meanwhile."""
    progress = Progress(lambda line: say(line, quiet=quiet), time.monotonic)
    accepted = ask()
    progress("accepted")
    revision = accepted.revision if accepted.revision > 1 else None
    return desk.wait_for_quote(accepted.number, revision=revision, timeout_s=timeout_s, on_status=progress)


def show_quote(quote: Quote, *, as_json: bool) -> None:
    """Print the quote; a refused or failed one ends the command with its exit code."""
    if as_json:
        typer.echo(quote.model_dump_json())
    else:
        from services.desk.texts.quote import console_for, quote_page  # noqa: PLC0415

        console = console_for(sys.stdout)
        console.print()
        console.print(quote_page(quote))
    code = EXIT_OF_STATUS.get(quote.status, 0)
    if code:
        raise typer.Exit(code)


def somebody_is_there() -> bool:
    """Whether a person sits at the other end, who can be asked."""
    return sys.stdin.isatty() and sys.stderr.isatty()


def say(line: str, *, quiet: bool = False) -> None:
    """A line of progress: beside the answer, not in it."""
    if not quiet:
        typer.echo(line, err=True)


def answer(document: Any, lines: Sequence[str], *, as_json: bool) -> None:
    """The answer of a command, in words or in JSON."""
    typer.echo(json.dumps(document, ensure_ascii=False) if as_json else as_called("\n".join(lines)))


def put(document: str, out: Path | None) -> None:
    """A document into a file, with a word that it is there; without a file to the output. Raises `FileUnwritable`."""
    if out is None:
        typer.echo(document, nl=not document.endswith("\n"))
        return
    write_file(out, document.encode())
    typer.echo(f"{out} is written")


def write_file(file: Path, content: bytes) -> None:
    """Write a file, or write it anew; raises `FileUnwritable`."""
    try:
        file.write_bytes(content)
    except OSError as fault:
        raise FileUnwritable(str(file), fault.strerror or type(fault).__name__) from fault


def unusable(option: str, value: object, limit: str) -> OptionUnusable:
    """That an option of the command line has a value that cannot be, with what would do."""
    return OptionUnusable(ProblemDetail(pointer=f"/{option.lstrip('-')}", reason="it cannot be that", figure=value, limit=limit))


@contextmanager
def reported(*, as_json: bool) -> Iterator[None]:
    """Errors of the desk as sentences on the error output (as a JSON object on the output with --json), and an exit code."""
    try:
        yield
    except (DeskError, ClientError) as fault:
        if as_json:
            errors = [detail.model_dump(mode="json") for detail in fault.errors]
            typer.echo(
                json.dumps({"error": type(fault).__name__, "detail": as_called(_told(fault)), "errors": errors}, ensure_ascii=False)
            )
        else:
            typer.echo(as_called(_told(fault)), err=True)
            for line in problem_lines(fault.errors):
                typer.echo(f"  {line}", err=True)
        raise typer.Exit(_exit_code(fault)) from fault


LOOK_AGAIN = {"quote": "show", "batch": "batch --number", "impact": "impact --number", "what-if": "what-if"}
"""The command that shows what is waited for."""


def _told(fault: DeskError | ClientError) -> str:
    """The sentence of an error, and the command that would do, where there is one."""
    if isinstance(fault, (ContactLost, WaitedTooLong)):
        return f"{fault} Look again with: blankwright {LOOK_AGAIN[fault.what]} {fault.number}"
    return f"{fault} See: blankwright status" if isinstance(fault, ServerUnreachable) else str(fault)


def _exit_code(fault: DeskError | ClientError) -> int:
    if isinstance(fault, ServerRefused):
        return USAGE if fault.status < 500 else UNREACHABLE
    return (
        USAGE
        if isinstance(
            fault,
            (
                FigureNotNamed,
                FileUnreadable,
                FileUnwritable,
                KeyRefused,
                NoSuchKey,
                OptionUnusable,
                QuoteHasNoBlanks,
                SettingMissing,
            ),
        )
        else UNREACHABLE
    )


SAID = {
    "accepted": "accepted",
    "checking": "checking the prescription",
    "planning_blanks": "planning the blanks",
    "planning_operations": "planning the operations",
    "assembling": "assembling the price",
    "ready": "ready",
    "refused": "refused",
    "failed": "failed",
    "cancelled": "cancelled",
}
ORDER = ("accepted", *(station.status for station in STATIONS), "ready")


class Progress:
    """Says each status once, in the order of the stages.

    A look may come after a stage was passed: it is then said with the time of that look. The last stage is also the way
    of a refusal, so stages between are not taken as passed until the quote is ready.
    """

    def __init__(self, say: Callable[[str], None], clock: Callable[[], float]) -> None:
        self._say = say
        self._clock = clock
        self._began = clock()
        self._said: list[str] = []

    def __call__(self, status: str) -> None:
        """Take note of a status that was seen."""
        if status not in ORDER:
            self._line(status)
            return
        due = [one for one in ORDER[: ORDER.index(status) + 1] if one not in self._said]
        if status == LAST.status and len(due) > 1:
            return
        for one in due:
            self._line(one)

    def _line(self, status: str) -> None:
        self._said.append(status)
        self._say(f"{self._clock() - self._began:7.2f} s  {SAID.get(status, status.replace('_', ' '))}")
