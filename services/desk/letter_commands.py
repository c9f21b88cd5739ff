"""Commands for an operator: read what failed, and start it anew."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Annotated

import typer

from services.desk.terminal import HERE, Folder, Json, Key, Url, answer, client_for, reported

if TYPE_CHECKING:
    from services.desk.client import BlankwrightClient
    from shared_schemas.dead_letter import DeadLetter


def dead_letters(
    url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False,
    replayed: Annotated[bool | None, typer.Option("--replayed/--waiting", help="Only those that were started anew, or were not.")] = None,
    cursor: Annotated[str | None, typer.Option(help="Cursor of the page before.")] = None,
    trace: Annotated[bool, typer.Option("--trace", help="With where in the program each one broke.")] = False,
) -> None:  # fmt: skip
    """List quotes that failed, newest first, a page at a time. Needs the key of an administrator."""
    with reported(as_json=as_json):
        with client_for(url, key, folder, role="admin") as desk:
            page = desk.dead_letters(cursor, replayed=replayed)
        lines = [line for letter in page.items for line in _lines(letter, trace=trace)]
        lines += [f"more with: blankwright dead-letters --cursor {page.next}"] if page.next else []
        answer(page.model_dump(mode="json"), lines or ["no dead letters"], as_json=as_json)


def replay(
    letters: Annotated[list[int] | None, typer.Argument(help="Numbers of dead letters, as blankwright dead-letters lists them.")] = None,
    every: Annotated[bool, typer.Option("--all", help="Every failed quote that was not started anew yet.")] = False,
    url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False,
) -> None:  # fmt: skip
    """Start failed quotes anew, when what broke them is mended. Needs the key of an administrator."""
    if bool(letters) == every:
        raise typer.BadParameter("name dead letters, or say --all")
    with reported(as_json=as_json):
        with client_for(url, key, folder, role="admin") as desk:
            chosen = list(_waiting(desk)) if every else letters or []
            begun = {letter: desk.replay(letter).number for letter in chosen}
        lines = [f"{letter}  {number} is under way again" for letter, number in begun.items()]
        said = {"replayed": [{"letter": letter, "number": number} for letter, number in begun.items()]}
        answer(said, lines or ["nothing waits to be replayed"], as_json=as_json)


def _waiting(desk: BlankwrightClient) -> Iterator[int]:
    """The newest letter of every failed quote that was not replayed."""
    seen: set[str] = set()
    cursor = None
    while True:
        page = desk.dead_letters(cursor, replayed=False)
        for letter in page.items:
            if letter.quote_status == "failed" and letter.number not in seen:
                seen.add(letter.number)
                yield letter.id
        cursor = page.next
        if cursor is None:
            return


def _lines(letter: DeadLetter, *, trace: bool) -> Iterator[str]:
    state = f"replayed {letter.replayed_at:%Y-%m-%d %H:%M} by {letter.replayed_by}" if letter.replayed_at else "waits"
    yield f"{letter.id:>6}  {letter.number}  attempt {letter.attempt}  {letter.stage:<12}  {letter.at:%Y-%m-%d %H:%M}  {state}; the quote is {letter.quote_status}"
    yield f"        {letter.problem.detail}"
    if trace:
        yield from (f"        {line}" for line in letter.traceback.splitlines())


def add_to(app: typer.Typer) -> None:
    """Make these commands of the command line."""
    app.command(name="dead-letters")(dead_letters)
    app.command()(replay)
