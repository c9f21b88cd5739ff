"""Commands for an operator: quotes that failed, the one box, the database, and whether the machine is fit."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Annotated

import typer

from services.desk import machine
from services.desk.terminal import HERE, UNREACHABLE, Folder, Json, Key, Url, answer, client_for, reported, say

if TYPE_CHECKING:
    from services.client import Client
    from shared_schemas.dead_letter import DeadLetter

Port = Annotated[int | None, typer.Option(min=1, max=65535, help="Port of the one box.")]


def dead_letters(
    url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False,
    replayed: Annotated[bool | None, typer.Option("--replayed/--waiting", help="Only those that were started again, or were not.")] = None,
    cursor: Annotated[str | None, typer.Option(help="Cursor of the page before.")] = None,
    trace: Annotated[bool, typer.Option("--trace", help="With the traceback of each.")] = False,
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
    every: Annotated[bool, typer.Option("--all", help="Every failed quote that has not been started again.")] = False,
    url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False,
) -> None:  # fmt: skip
    """Start failed quotes again once what broke them is fixed. Needs the key of an administrator."""
    if bool(letters) == every:
        raise typer.BadParameter("name dead letters, or say --all")
    with reported(as_json=as_json):
        with client_for(url, key, folder, role="admin") as desk:
            chosen = list(_waiting(desk)) if every else letters or []
            begun = {letter: desk.replay(letter).number for letter in chosen}
        lines = [f"{letter}  {number} is under way again" for letter, number in begun.items()]
        document = {"replayed": [{"letter": letter, "number": number} for letter, number in begun.items()]}
        answer(document, lines or ["nothing waits to be replayed"], as_json=as_json)


def _waiting(desk: Client) -> Iterator[int]:
    """The newest letter of every failed quote that was not replayed."""
    seen: set[str] = set()
    for letter in desk.every_dead_letter(replayed=False):
        if letter.quote_status == "failed" and letter.number not in seen:
            seen.add(letter.number)
            yield letter.id


def _lines(letter: DeadLetter, *, trace: bool) -> Iterator[str]:
    state = f"replayed {letter.replayed_at:%Y-%m-%d %H:%M} by {letter.replayed_by}" if letter.replayed_at else "waits"
    yield f"{letter.id:>6}  {letter.number}  attempt {letter.attempt}  {letter.stage:<12}  {letter.at:%Y-%m-%d %H:%M}  {state}; the quote is {letter.quote_status}"
    yield f"        {letter.problem.detail}"
    if trace:
        yield from (f"        {line}" for line in letter.traceback.splitlines())


def up(folder: Folder = HERE, port: Port = None, as_json: Json = False) -> None:
    """Start the one box and return when it is ready."""
    with reported(as_json=as_json):
        box = machine.start_box(folder, port=port or machine.default_port(), say=say)
        where = folder / "one-box.json"
        lines = [f"ready at {box.url}", f"keys for {', '.join(box.keys)} are in {where}", "stop it with: blankwright down"]
        answer({"url": box.url, "roles": list(box.keys), "address_file": str(where)}, lines, as_json=as_json)


def down(folder: Folder = HERE, as_json: Json = False) -> None:
    """Stop the one box."""
    with reported(as_json=as_json):
        was_there = machine.stop_box(folder)
        answer({"stopped": was_there}, ["stopped" if was_there else f"no one-box server runs in {folder}"], as_json=as_json)


def status(folder: Folder = HERE, as_json: Json = False) -> None:
    """Say whether the one box runs and is ready. Exit code 1 when it is not."""
    from services.client.errors import ServerUnreachable  # noqa: PLC0415

    with reported(as_json=as_json):
        box = machine.running_box(folder)
        ready, sentence = False, f"no one-box server runs in {folder}"
        if box is not None:
            try:
                with client_for(box.url, box.keys["sales"], folder, role="sales") as desk:
                    ready, workers = desk.is_ready(), desk.parts().get("workers", "yes")
                sentence = f"{box.url} is {'ready' if ready else 'not ready'}"
                if ready and workers != "yes":
                    ready, sentence = False, f"{box.url} takes quotes, but they wait: {workers.removeprefix('no: ')}"
            except ServerUnreachable:
                sentence = f"the one box in {folder} runs, but its API at {box.url} does not answer; it is started again, see the logs there"
        answer({"running": box is not None, "ready": ready, "url": box.url if box else None}, [sentence], as_json=as_json)
        if not ready:
            raise typer.Exit(UNREACHABLE)


def migrate(as_json: Json = False) -> None:
    """Bring the database's tables up to date (needs BLANKWRIGHT_DATABASE_URL)."""
    with reported(as_json=as_json):
        revisions = machine.migrate()
        answer(revisions, [f"{part} is at {revision}" for part, revision in revisions.items()], as_json=as_json)


def doctor(url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False) -> None:
    """Say whether this machine can run the suite. Exit code 1 when something is not."""
    with reported(as_json=as_json):
        box = None if url else machine.running_box(folder)
        answers = machine.examine(folder, box.url if box else url, box.keys["sales"] if box else key)
        lines = [
            f"{'well' if one.well else 'NOT '}  {one.question}: {one.found}" + ("" if one.well else f"; {one.remedy}")
            for one in answers
        ]
        answer([one.as_json() for one in answers], lines, as_json=as_json)
        if not all(one.well for one in answers):
            raise typer.Exit(UNREACHABLE)


def add_to(app: typer.Typer) -> None:
    """Make these commands of the command line."""
    app.command(name="dead-letters")(dead_letters)
    for command in (replay, up, down, status, migrate, doctor):
        app.command()(command)
