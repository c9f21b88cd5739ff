"""Archive files at the desk: written as they come, read back whole, a quote at a time, so that any number needs no more memory than one."""

from __future__ import annotations

import gzip
import hashlib
import os
from base64 import b64encode
from collections.abc import Iterable, Iterator
from datetime import date, datetime
from pathlib import Path
from typing import TypeVar

from pydantic import ValidationError

from services.chassis.packing import SPECIMEN, documents_in
from services.desk.errors import DeskError
from shared_schemas.archive import FORMAT, ArchivedQuote, ArchivedRevision, ArchiveManifest

LAST_LINE = b'{"format":'


class ArchiveTrouble(DeskError):
    """An archive that cannot be written or read."""


def write(file: Path, quotes: Iterable[ArchivedQuote], *, version: str, settled_before: date, now: datetime) -> ArchiveManifest:
    """Write quotes to a new archive, read it back, and give it its name only then; raises `ArchiveTrouble`."""
    if file.exists():
        raise ArchiveTrouble(f"{file} is there already; name another file.")
    part = file.with_name(f".{file.name}.part")
    digest, revisions, count = hashlib.sha256(), 0, 0
    first = last = None
    try:
        with gzip.open(part, "wb", compresslevel=1) as out:
            for quote in quotes:
                line = quote.model_dump_json().encode() + b"\n"
                out.write(line)
                digest.update(line)
                count += 1
                revisions += len(quote.revisions)
                first, last = first or quote.number, quote.number
            manifest = ArchiveManifest(
                format=FORMAT, quotes=count, revisions=revisions, sha256=digest.hexdigest(), version=version, made_at=now,
                settled_before=settled_before, first=first, last=last,
                specimens={SPECIMEN.name: b64encode(SPECIMEN.read_bytes()).decode()},
            )  # fmt: skip
            out.write(manifest.model_dump_json().encode() + b"\n")
        part.chmod(0o600)
        verify(part)
        with part.open("rb") as written:
            os.fsync(written.fileno())
        part.replace(file)
    finally:
        part.unlink(missing_ok=True)
    return manifest


def verify(file: Path) -> ArchiveManifest:
    """Read an archive whole: every line, every document against its digest, all against the last line; raises `ArchiveTrouble`."""
    digest, revisions, count = hashlib.sha256(), 0, 0
    manifest = None
    for line in _lines(file):
        if line.startswith(LAST_LINE):
            manifest = _parsed(ArchiveManifest, line, file)
            continue
        if manifest is not None:
            raise ArchiveTrouble(f"{file} goes on after its last line.")
        digest.update(line)
        count += 1
        quote = _parsed(ArchivedQuote, line, file)
        revisions += len(quote.revisions)
        for revision in quote.revisions:
            refuse_damaged(revision, file)
    if manifest is None:
        raise ArchiveTrouble(f"{file} ends before its last line: it is not whole.")
    if (manifest.quotes, manifest.revisions, manifest.sha256) != (count, revisions, digest.hexdigest()):
        raise ArchiveTrouble(
            f"{file} is not what was written: its last line tells of {manifest.quotes} quotes with another checksum."
        )
    return manifest


def quotes_of(file: Path) -> Iterator[ArchivedQuote]:
    """The quotes of an archive, one after the other; raises `ArchiveTrouble` where a line cannot be read."""
    for line in _lines(file):
        if not line.startswith(LAST_LINE):
            yield _parsed(ArchivedQuote, line, file)


def find(file: Path, number: str) -> ArchivedQuote:
    """One quote of an archive; raises `ArchiveTrouble` when it is not in it."""
    wanted = b'{"number":"' + number.encode() + b'"'
    for line in _lines(file):
        if line.startswith(wanted):
            return _parsed(ArchivedQuote, line, file)
    raise ArchiveTrouble(f"There is no quote {number} in {file}.")


def refuse_damaged(revision: ArchivedRevision, file: Path) -> None:
    """Raises `ArchiveTrouble` for documents that are not those that their digest was made of."""
    if revision.block is None:
        return
    try:
        body = documents_in(revision.block)[0]
    except (ValueError, EOFError, OSError) as fault:
        raise ArchiveTrouble(f"{file} is damaged: the documents of {revision.row} cannot be read ({fault}).") from fault
    if hashlib.sha256(body).hexdigest() != revision.digest:
        raise ArchiveTrouble(f"The body of {revision.row} does not have the digest that stands beside it. Nothing was archived.")


def _lines(file: Path) -> Iterator[bytes]:
    try:
        with gzip.open(file, "rb") as lines:
            yield from lines
    except (OSError, EOFError) as fault:
        raise ArchiveTrouble(f"{file} cannot be read: {fault}.") from fault


Line = TypeVar("Line", ArchivedQuote, ArchiveManifest)


def _parsed(kind: type[Line], line: bytes, file: Path) -> Line:
    try:
        return kind.model_validate_json(line)
    except ValidationError as fault:
        raise ArchiveTrouble(f"{file} has a line that cannot be read: {fault.errors()[0]['msg']}.") from fault
