"""A backup of the one box: whole or not there, and restored in a new epoch with the bytes it was made of."""

from __future__ import annotations

import json
import tarfile
from collections.abc import Iterator
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from sqlalchemy import text

from services.chassis.audit import AuditLog
from services.chassis.database import Database
from services.chassis.migrate import migrate
from services.chassis.one_box import OneBoxError, erase
from services.chassis.one_box.backup import SECRETS, _serving, back_up, restore, verify
from services.quoting.store.repository import QuoteStore
from services.quoting.store.rows import NewQuote, Outcome
from shared_schemas.audit import report_on
from tests.integration.parts import listed

NOW = datetime(2026, 11, 2, 9, 0, tzinfo=UTC)
BODY = b'{"breaks":[]}'


def asked(database: Database) -> str:
    store = QuoteStore(database)
    new = NewQuote(b"{}", "Tarn & Fell", "A lens", 1, date(2026, 11, 2), "t" * 32)
    number = store.accept(new, None, now=NOW)[0].number
    store.runs.settle(number, 1, Outcome("ready", "d", body=BODY), now=NOW)
    return number


@pytest.fixture(scope="module")
def box(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Path, Path, str]]:
    """The folder of a box that does not run, a backup of it with its keys, and a quote that came after."""
    folder = tmp_path_factory.mktemp("box") / "here"
    (folder / "logs").mkdir(parents=True)
    file = folder.parent / "first.tar"
    with _serving(folder) as url:
        base = Database(url, pool_size=2)
        migrate(base, now=NOW)
        assert asked(base) == "Q-2026-000001"
        base.close()
    facts = back_up(folder, file, with_keys=True, now=NOW)
    assert facts.has_keys
    with _serving(folder) as url:
        base = Database(url, pool_size=2)
        later = asked(base)
        base.close()
    yield folder, file, later
    erase(folder)


def test_restored_a_quote_has_its_bytes_and_no_number_is_given_out_twice(box: tuple[Path, Path, str]) -> None:
    folder, file, later = box
    with pytest.raises(OneBoxError, match="--replace"):
        restore(folder, file, replace=False, now=NOW)
    done = restore(folder, file, replace=True, now=NOW)
    assert done.epoch.number == 2
    assert [place.name for place in done.set_aside] == ["postgres.set-aside-1"]
    with _serving(folder) as url:
        base = Database(url, pool_size=2)
        store = QuoteStore(base)
        assert store.quote("Q-2026-000001").body == BODY
        assert listed(base) == ["Q-2026-000001"], later
        assert asked(base) == "Q-2026-002001"
        entries = list(AuditLog(base).entries())
        assert report_on(entries).fault is None
        assert [entry.action for entry in entries] == ["rates.publish", "database.restore"]
        base.close()


def test_an_empty_folder_takes_the_keys_of_the_backup(box: tuple[Path, Path, str], tmp_path: Path) -> None:
    folder, file, _ = box
    elsewhere = tmp_path / "moved"
    restore(elsewhere, file, replace=False, now=NOW)
    assert json.loads((elsewhere / SECRETS).read_text()) == json.loads((folder / SECRETS).read_text())
    assert (elsewhere / SECRETS).stat().st_mode & 0o777 == 0o600
    with _serving(elsewhere) as url:
        base = Database(url, pool_size=2)
        assert int(asked(base).rpartition("-")[2]) > 1_000_000, "nobody knows the highest: the clock says it"
        base.close()
    erase(elsewhere)


def test_a_damaged_backup_is_found_out_before_anything_is_touched(box: tuple[Path, Path, str], tmp_path: Path) -> None:
    folder, file, _ = box
    written = file.read_bytes()
    for name, content in (("cut", written[: len(written) // 2]), ("turned", written.replace(b"PGDMP", b"PGDUM")), ("empty", b"")):
        (tmp_path / name).write_bytes(content)
        with pytest.raises(OneBoxError, match=r"damaged|no backup"):
            restore(folder, tmp_path / name, replace=True, now=NOW)
    assert not (folder / "postgres.set-aside-2").exists()


def test_a_backup_is_whole_or_not_there(box: tuple[Path, Path, str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder, file, _ = box
    with pytest.raises(OneBoxError, match="already"):
        back_up(folder, file, with_keys=False, now=NOW)
    monkeypatch.setattr("services.chassis.one_box.backup.LEAST_TABLES", 10_000)
    with pytest.raises(OneBoxError, match="no new backup"):
        back_up(folder, tmp_path / "x.tar", with_keys=False, now=NOW)
    assert list(tmp_path.iterdir()) == []


def test_a_backup_names_what_is_in_it_and_is_for_its_owner_alone(box: tuple[Path, Path, str]) -> None:
    _, file, _ = box
    facts = verify(file)
    assert facts.revisions["chassis"] >= "0002"
    assert facts.made_at == "2026-11-02T09:00:00+00:00"
    assert file.stat().st_mode & 0o777 == 0o600
    with tarfile.open(file) as tar:
        assert tar.getnames() == ["./SHA256SUMS", "./about", "./database.dump", "./secrets.json"]


def test_what_does_not_restore_leaves_the_box_as_it_was(box: tuple[Path, Path, str], monkeypatch: pytest.MonkeyPatch) -> None:
    folder, file, _ = box

    def broken(*_: object, **__: object) -> None:
        raise OneBoxError("it broke")

    monkeypatch.setattr("services.chassis.one_box.backup.migrate", broken)
    with pytest.raises(OneBoxError, match="it broke"):
        restore(folder, file, replace=True, now=NOW)
    with _serving(folder) as url:
        base = Database(url, pool_size=2)
        with base.transaction() as connection:
            assert connection.execute(text("select max(number) from chassis.epochs")).scalar() == 2
        base.close()
