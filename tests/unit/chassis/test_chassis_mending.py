"""A box that was killed at the worst moment starts again, and its logs do not grow for ever."""

from __future__ import annotations

import os
import signal
from pathlib import Path

import pytest

from services.chassis.one_box import mending
from services.chassis.one_box.mending import aside, clear_half_made, free_data, rotate
from services.chassis.one_box.supervisor import SECRETS, secrets_of


def test_a_log_that_has_grown_is_emptied_and_its_writer_goes_on_at_the_beginning(tmp_path: Path) -> None:
    log = tmp_path / "api.log"
    with log.open("ab", buffering=0) as writer:
        for text in (b"first", b"second", b"third", b"fourth", b"fifth"):
            writer.write(text)
            assert rotate(log, most_bytes=4, kept=3)
        writer.write(b"now")
    assert not rotate(log, most_bytes=4, kept=3)
    assert log.read_bytes() == b"now"
    kept = {place.name: place.read_bytes() for place in tmp_path.glob("api.log.*")}
    assert kept == {"api.log.1": b"fifth", "api.log.2": b"fourth", "api.log.3": b"third"}


def test_a_pid_file_of_a_process_that_is_somebody_elses_by_now_is_removed(tmp_path: Path) -> None:
    (tmp_path / "postmaster.pid").write_text(f"{os.getpid()}\n{tmp_path}\n", encoding="utf-8")
    found = free_data(tmp_path, command_of=lambda _: "/usr/bin/an-editor letter.txt")
    assert found is not None
    assert str(os.getpid()) in found
    assert not (tmp_path / "postmaster.pid").exists()
    assert free_data(tmp_path) is None


@pytest.mark.parametrize("text", ["", "not a number\n", "0\n"])
def test_a_pid_file_that_was_half_written_is_removed(tmp_path: Path, text: str) -> None:
    (tmp_path / "postmaster.pid").write_text(text, encoding="utf-8")
    assert free_data(tmp_path) is not None
    assert not (tmp_path / "postmaster.pid").exists()


def test_a_database_that_lost_its_supervisor_is_ended_in_good_order(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    place = tmp_path / "postmaster.pid"
    place.write_text("4242\n", encoding="utf-8")
    sent: list[tuple[int, int]] = []

    def kill(process: int, number: int) -> None:
        sent.append((process, number))
        place.unlink()

    monkeypatch.setattr(mending.os, "kill", kill)
    found = free_data(tmp_path, command_of=lambda _: f"/x/postgres -D {tmp_path} -c port=1")
    assert sent == [(4242, signal.SIGINT)]
    assert found == "a database that had lost its supervisor (process 4242)"


def test_a_data_folder_in_which_no_database_was_finished_is_set_aside_and_one_with_a_database_is_not(tmp_path: Path) -> None:
    folder = tmp_path / "postgres"
    assert not clear_half_made(folder)
    folder.mkdir()
    assert not clear_half_made(folder), "an empty folder is in nobody's way"
    (folder / "base").mkdir()
    assert clear_half_made(folder)
    assert (tmp_path / "postgres.set-aside-1" / "base").is_dir()
    folder.mkdir()
    (folder / "PG_VERSION").write_text("18\n", encoding="utf-8")
    assert not clear_half_made(folder)


def test_what_is_set_aside_twice_has_two_names(tmp_path: Path) -> None:
    for number in (1, 2):
        (tmp_path / "x").write_text(str(number), encoding="utf-8")
        assert aside(tmp_path / "x").name == f"x.set-aside-{number}"


@pytest.mark.parametrize("text", ["", "{", '{"database": "known"}'])
def test_secrets_that_were_half_written_are_made_anew_and_the_database_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, text: str
) -> None:
    (tmp_path / "secrets.json").write_text(text, encoding="utf-8")
    told: list[str] = []
    monkeypatch.setattr("services.chassis.one_box.supervisor.set_password", lambda _, password: bool(told.append(password)))
    known = secrets_of(tmp_path)
    assert set(known) == SECRETS
    assert told == [known["database"]]
    assert secrets_of(tmp_path) == known
    assert len(told) == 1, "what is whole is left alone"
