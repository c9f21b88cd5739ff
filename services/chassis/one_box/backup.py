"""A backup of the one box in one file, and its restore.

The file is a tar with `database.dump` (as `pg_dump -Fc` writes it), `about` (what it is of, a line a fact), `secrets.json` where keys were asked
for, and `SHA256SUMS` of all of them: the layout of the fleet's backups, so that a shop may move from one to the other. It is written under
another name, read back whole, and only then has its own: a backup that is there is no half one.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import tarfile
import tempfile
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import IO

from services.chassis.backups_known import note_backup
from services.chassis.database import Database
from services.chassis.epoch import Epoch, begin_epoch, current_epoch, numbers_given
from services.chassis.migrate import PARTS, current, migrate, newest
from services.chassis.one_box.box import OneBoxError, held
from services.chassis.one_box.mending import aside
from services.chassis.one_box.servers import (
    ServerDidNotStart,
    data_place,
    database,
    free_port,
    postgres_program,
    wait_until,
)
from services.chassis.one_box.supervisor import accepts, database_url, secrets_of
from services.chassis.version import VERSION

DUMP, ABOUT, SECRETS, SUMS = "database.dump", "about", "secrets.json", "SHA256SUMS"
LEAST_TABLES = 10
CHUNK = 2**20


@dataclass(frozen=True)
class BackupFacts:
    """What a backup says of itself."""

    made_at: str
    version: str
    revisions: dict[str, str]
    has_keys: bool
    bytes: int


@dataclass(frozen=True)
class Restored:
    """What became of a restore: the epoch that began, and where lies what was there before."""

    facts: BackupFacts
    epoch: Epoch
    set_aside: tuple[Path, ...]


def back_up(folder: Path, out: Path, *, with_keys: bool, now: datetime) -> BackupFacts:
    """Write a backup of the box of `folder` to `out`, whether it runs or not; raises `OneBoxError`."""
    if out.exists():
        raise OneBoxError(f"{out} is there already; name another file.")
    if not (data_place(folder / "postgres") / "PG_VERSION").exists():
        raise OneBoxError(f"There is no box in {folder} to back up.")
    with tempfile.TemporaryDirectory(prefix=".backup-", dir=out.absolute().parent) as name, held(folder) as free:
        work = Path(name)
        with _serving(folder) if free else _of_running(folder) as url:
            _dump(url, work, now)
            if with_keys:
                shutil.copyfile(folder / SECRETS, work / SECRETS)
            whole = work / "whole.tar"
            _pack(work, whole)
            facts = verify(whole)
            whole.chmod(0o600)
            with whole.open("rb") as written:
                os.fsync(written.fileno())
            whole.replace(out)
            with closing(Database(url, pool_size=1)) as base:
                note_backup(base, at=now, size_bytes=facts.bytes, kind="one box", by="blankwright backup")
    return facts


def _dump(url: str, work: Path, now: datetime) -> None:
    _run("pg_dump", url, "--format=custom", "--compress=1", "--no-owner", "--no-acl", f"--file={work / DUMP}")
    tables = _run("pg_restore", None, "--list", str(work / DUMP)).count(" TABLE DATA ")
    if tables < LEAST_TABLES:
        raise OneBoxError(f"The dump has the data of {tables} tables only; there is no new backup.")
    (work / ABOUT).write_text(_about(url, tables, now), encoding="utf-8")


def verify(file: Path) -> BackupFacts:
    """Read a backup whole and hold every part against its checksum; what it says of itself. Raises `OneBoxError` for one that is not whole."""
    try:
        with tarfile.open(file) as tar:
            sums = {line[66:].removeprefix("./"): line[:64] for line in _member(tar, SUMS).read().decode().splitlines()}
            for name in (DUMP, ABOUT):
                if name not in sums:
                    raise OneBoxError(f"{file} is no backup that can be restored: it has no {name}.")
            for name, wanted in sums.items():
                if _sum_of(_member(tar, name)) != wanted:
                    raise OneBoxError(f"{file} is damaged: its {name} is not what was written.")
            about = dict(line.split("=", 1) for line in _member(tar, ABOUT).read().decode().splitlines() if "=" in line)
    except (tarfile.TarError, OSError, KeyError, ValueError) as fault:
        raise OneBoxError(f"{file} is no backup that can be restored: {fault}.") from fault
    revisions = dict(part.split(":", 1) for part in about.get("revisions", "").split(",") if ":" in part)
    return BackupFacts(
        about.get("made_at", "?"), about.get("version", "?"), revisions, has_keys=SECRETS in sums, bytes=file.stat().st_size
    )


def restore(folder: Path, file: Path, *, replace: bool, now: datetime) -> Restored:
    """Put a box of `folder` where a backup has it, in a new epoch; the next `start` serves it. Raises `OneBoxError`, and then nothing is changed.

    The box must not run. What it held is set aside, with `replace` only. Keys of the box stay; an empty folder takes those of the backup, or new ones.
    """
    facts = verify(file)
    ahead = [part for part, revision in facts.revisions.items() if revision > newest().get(part, "")]
    if ahead:
        raise OneBoxError(
            f"The backup is of release {facts.version}, whose tables ({', '.join(ahead)}) this release does not know. Upgrade first."
        )
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "logs").mkdir(exist_ok=True)
    with held(folder) as free:
        if not free:
            raise OneBoxError(f"A box runs in {folder}. Stop it with: blankwright down --folder {folder}")
        place = data_place(folder / "postgres")
        is_there = (place / "PG_VERSION").exists()
        if is_there and not replace:
            raise OneBoxError(f"There is a box in {folder} already. Say --replace to set it aside, or name another folder.")
        seen = _numbers_of_before(folder) if is_there else None
        moved = [(where, aside(where)) for where in (place, folder / "broker") if where.exists()]
        try:
            epoch = _restored(folder, file, seen=seen, now=now)
        except BaseException:
            for where, lies_now in moved:
                shutil.rmtree(where, ignore_errors=True)
                lies_now.rename(where)
            raise
    return Restored(facts, epoch, tuple(lies_now for _, lies_now in moved))


def _restored(folder: Path, file: Path, *, seen: dict[str, int] | None, now: datetime) -> Epoch:
    with tempfile.TemporaryDirectory(prefix=".restore-", dir=folder) as name, tarfile.open(file) as tar:
        dump = Path(name) / DUMP
        with dump.open("wb") as out:
            shutil.copyfileobj(_member(tar, DUMP), out, CHUNK)
        if not (folder / SECRETS).exists() and f"./{SECRETS}" in tar.getnames():
            _write_private(folder / SECRETS, _member(tar, SECRETS).read())
        with _serving(folder) as url:
            _run("pg_restore", url, "--no-owner", "--no-acl", "--exit-on-error", str(dump))
            base = Database(url, pool_size=2)
            try:
                migrate(base, now=now)
                return begin_epoch(base, PARTS, now=now, why=f"restored from {file.name}", seen=seen)
            finally:
                base.close()


def _numbers_of_before(folder: Path) -> dict[str, int] | None:
    """The highest numbers that the box which is replaced gave out, `None` if it cannot be asked any more."""
    try:
        with _serving(folder) as url:
            base = Database(url, pool_size=1)
            try:
                with base.transaction() as connection:
                    return numbers_given(connection, PARTS)
            finally:
                base.close()
    except Exception:
        return None


@contextmanager
def _of_running(folder: Path) -> Iterator[str]:
    """The address of the database of a box that runs."""
    lines = (data_place(folder / "postgres") / "postmaster.pid").read_text(encoding="utf-8").splitlines()
    yield database_url(secrets_of(folder), {"database": int(lines[3])})


@contextmanager
def _serving(folder: Path) -> Iterator[str]:
    """The address of the database of a box that does not run, and whose lock is held: it is started for as long as it is needed."""
    known, ports = secrets_of(folder), {"database": free_port()}
    url, log = database_url(known, ports), folder / "logs" / "database.log"
    try:
        server = database(folder / "postgres", port=ports["database"], password=known["database"])
        with log.open("ab") as out:
            process = server.launch(out)
        try:
            wait_until(lambda: accepts(url), process, what="database", log=log)
            yield url
        finally:
            process.send_signal(server.stop_signal)
            process.wait()
    except ServerDidNotStart as fault:
        raise OneBoxError(str(fault)) from fault


def _about(url: str, tables: int, now: datetime) -> str:
    base = Database(url, pool_size=1)
    try:
        revisions = current(base)
        with base.transaction() as connection:
            epoch = current_epoch(connection)
    finally:
        base.close()
    facts = {
        "made_at": now.astimezone(UTC).isoformat(timespec="seconds"),
        "version": VERSION,
        "epoch": epoch.number,
        "tables": tables,
        "revisions": ",".join(f"{part}:{revision}" for part, revision in revisions.items()),
    }
    return "".join(f"{name}={value}\n" for name, value in facts.items())


def _pack(work: Path, whole: Path) -> None:
    members = sorted(place for place in work.iterdir() if place != whole)
    sums = ""
    for place in members:
        with place.open("rb") as member:
            sums += f"{_sum_of(member)}  ./{place.name}\n"
    (work / SUMS).write_text(sums, encoding="utf-8")
    with tarfile.open(whole, "w") as tar:
        for place in (work / SUMS, *members):
            tar.add(place, arcname=f"./{place.name}")


def _member(tar: tarfile.TarFile, name: str) -> IO[bytes]:
    for known in (f"./{name}", name):
        if known in tar.getnames():
            member = tar.extractfile(known)
            if member is not None:
                return member
    raise KeyError(f"it has no {name}")


def _sum_of(stream: IO[bytes]) -> str:
    digest = hashlib.sha256()
    while piece := stream.read(CHUNK):
        digest.update(piece)
    return digest.hexdigest()


def _run(program: str, url: str | None, *options: str) -> str:
    """Run a program of PostgreSQL's, with a database if one is named; its output. Raises `OneBoxError`."""
    environment, where = dict(os.environ), []
    if url is not None:
        # The password goes by the environment: a command line is for everybody to read.
        user, _, rest = url.removeprefix("postgresql://").partition(":")
        password, _, place = rest.rpartition("@")
        address, _, name = place.partition("/")
        host, _, port = address.partition(":")
        environment["PGPASSWORD"] = password
        where = ["--host", host, "--port", port, "--username", user, "--dbname", name]
    done = subprocess.run(  # nosec B603  a fixed command
        [str(postgres_program(program)), *where, *options], env=environment, capture_output=True, text=True, check=False
    )
    if done.returncode != 0:
        raise OneBoxError(f"{program} failed: {done.stderr.strip()[-400:]}")
    return done.stdout


def _write_private(place: Path, content: bytes) -> None:
    handle = os.open(place, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(handle, "wb") as out:
        out.write(content)
