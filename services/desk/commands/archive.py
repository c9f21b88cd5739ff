"""Commands for what is over: quotes into an archive, out of one, and read in one."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import UTC, date, datetime
from importlib.metadata import version
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from services.chassis.packing import body_in
from services.desk import archive_file
from services.desk.terminal import HERE, Folder, Json, Key, Url, answer, client_for, reported
from shared_schemas.archive import (
    ArchiveDone,
    ArchivedQuote,
    ArchiveRemoval,
    ArchiveReturn,
    RevisionKept,
    RevisionReturned,
)

if TYPE_CHECKING:
    from services.client import Client

REMOVED_AT_ONCE = 200
MOST_RETURNED_BYTES = 8 * 2**20


def archive(
    context: typer.Context,
    before: Annotated[str | None, typer.Option(help="Quotes that were settled and decided before that day, as 2026-01-31, and are not open.")] = None,
    out: Annotated[Path | None, typer.Option(help="File to write; without it blankwright-archive-<day>.jsonl.gz here.")] = None,
    remove: Annotated[bool, typer.Option("--remove", help="Remove the documents from the database once the file is read back. Rows stay.")] = False,
    url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False,
) -> None:  # fmt: skip
    """Write quotes that are over to an archive and read it back. Nothing is removed unless --remove is said."""
    if context.invoked_subcommand is not None:
        return
    if before is None:
        raise typer.BadParameter("say --before with a day, or: blankwright archive show FILE")
    day, now = _day(before), datetime.now(UTC)
    file = out or Path(f"blankwright-archive-{day}.jsonl.gz")
    with reported(as_json=as_json), client_for(url, key, folder, role="admin") as desk:
        manifest = archive_file.write(
            file, desk.every_archivable(before=day), version=version("blankwright"), settled_before=day, now=now
        )
        gone = _remove(desk, file, day) if remove else ArchiveDone(done=0, untouched=())
        lines = [
            f"{file}: {manifest.quotes} quotes, {manifest.revisions} revisions, {file.stat().st_size / 1e6:.1f} MB, read back whole"
        ]
        lines += (
            [f"documents of {gone.done} revisions removed from the database"]
            if remove
            else ["nothing was removed; say --remove for that"]
        )
        lines += [f"left in the database, as they changed meanwhile: {', '.join(gone.untouched)}"] if gone.untouched else []
        answer({"file": str(file), "removed": gone.done, **manifest.model_dump(mode="json")}, lines, as_json=as_json)


def unarchive(
    file: Annotated[Path, typer.Argument(help="An archive.")],
    url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False,
) -> None:  # fmt: skip
    """Put all documents that an archive has back into the database, byte for byte, where their digests agree."""
    with reported(as_json=as_json), client_for(url, key, folder, role="admin") as desk:
        archive_file.verify(file)
        done, untouched = 0, 0
        for revisions in _returns(archive_file.quotes_of(file)):
            back = desk.return_archived(ArchiveReturn(revisions=revisions))
            done, untouched = done + back.done, untouched + len(back.untouched)
        lines = [f"documents of {done} revisions are back", *([f"{untouched} were not missing"] if untouched else [])]
        answer({"returned": done, "untouched": untouched}, lines, as_json=as_json)


def archive_show(
    file: Annotated[Path, typer.Argument(help="An archive.")],
    number: Annotated[str | None, typer.Argument(help="The number of a quote; without it what the archive says of itself.")] = None,
    revision: Annotated[int | None, typer.Option(min=1, help="A revision; without it the latest.")] = None,
) -> None:
    """Read an archive without any database: print the body of a quote as it was issued."""
    with reported(as_json=False):
        if number is None:
            manifest = archive_file.verify(file)
            answer(manifest.model_dump(mode="json"), [], as_json=True)
            return
        quote = archive_file.find(file, number)
        chosen = next((one for one in reversed(quote.revisions) if revision in (None, one.revision)), None)
        if chosen is None or chosen.block is None:
            raise archive_file.ArchiveTrouble(
                f"{file} has no body of {number}" + (f" in revision {revision}." if revision else ".")
            )
        archive_file.refuse_damaged(chosen, file)
        typer.echo(body_in(chosen.block))


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError as fault:
        raise typer.BadParameter(f"{text} is no day, such as 2026-01-31") from fault


def _remove(desk: Client, file: Path, day: date) -> ArchiveDone:
    """Remove the documents of what the file has. A quote at a time would take too long, all at once too much."""
    kept = (
        RevisionKept(row=revision.row, digest=revision.digest)
        for quote in archive_file.quotes_of(file)
        for revision in quote.revisions
        if revision.block is not None and revision.digest is not None
    )
    done = 0
    untouched: list[str] = []
    while some := tuple(islice(kept, REMOVED_AT_ONCE)):
        asked = ArchiveRemoval(archive=file.name, settled_before=day, revisions=some)
        gone = desk.remove_archived(asked)
        done += gone.done
        untouched += gone.untouched
    return ArchiveDone(done=done, untouched=tuple(untouched))


def _returns(quotes: Iterable[ArchivedQuote]) -> Iterator[tuple[RevisionReturned, ...]]:
    some: list[RevisionReturned] = []
    size = 0
    for quote in quotes:
        for revision in quote.revisions:
            if revision.block is None:
                continue
            if some and size + len(revision.block.data) > MOST_RETURNED_BYTES:
                yield tuple(some)
                some, size = [], 0
            some.append(RevisionReturned(row=revision.row, block=revision.block))
            size += len(revision.block.data)
    if some:
        yield tuple(some)


def add_to(app: typer.Typer) -> None:
    """Make these commands of the command line."""
    group = typer.Typer(rich_markup_mode=None)
    group.callback(invoke_without_command=True)(archive)
    group.command(name="show")(archive_show)
    app.add_typer(group, name="archive")
    app.command()(unarchive)
