"""A worker dies in the middle and nobody notices; the box starts again what died, and says so."""

from __future__ import annotations

import json
import os
import signal
import time
from pathlib import Path
from typing import Any

import httpx
import psutil
import pytest

from services.chassis.one_box import Address, OneBoxError, running, start
from services.chassis.one_box import box as box_module
from tests.system.asking import ask, finished


def state(box: Address) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((box.folder / "state.json").read_text(encoding="utf-8"))
    return found


def worker_tree(box: Address) -> list[int]:
    main = psutil.Process(state(box)["worker"]["pid"])
    return [main.pid, *(child.pid for child in main.children(recursive=True))]


def test_a_quote_in_flight_survives_kill_9_of_the_worker_and_is_ready_once(
    box: Address, sales: httpx.Client, demo: dict[str, Any]
) -> None:
    before = state(box)["worker"]
    victims = worker_tree(box)
    for pid in victims:
        os.kill(pid, signal.SIGSTOP)
    numbers = [ask(sales, {**demo, "quantities": [n]}) for n in (5, 6, 7)]
    for pid in victims:
        os.kill(pid, signal.SIGKILL)
    quotes = [finished(sales, number, within_s=90) for number in numbers]
    assert [quote["status"] for quote in quotes] == ["ready"] * 3
    time.sleep(0.3)
    assert state(box)["worker"]["restarts"] > before["restarts"]
    said = (box.folder / "logs" / "supervisor.log").read_text(encoding="utf-8")
    assert f"worker (process {before['pid']}) was killed by signal 9; starting it again in" in said
    page = sales.get("/v1/quotes", params={"limit": 200}).json()
    assert all([item["number"] for item in page["items"]].count(number) == 1 for number in numbers)


def test_starting_twice_says_where_the_first_one_is(box: Address) -> None:
    with pytest.raises(OneBoxError, match=rf"runs already.*{box.url}"):
        start(box.folder)
    assert running(box.folder) is not None


def test_the_address_file_is_for_its_owner_only(box: Address) -> None:
    place = box.folder / "one-box.json"
    assert place.stat().st_mode & 0o777 == 0o600
    said = json.loads(place.read_text(encoding="utf-8"))
    assert said["url"] == box.url
    assert set(said["keys"]) == {"sales", "erp", "engineer", "admin"}


def test_a_taken_port_is_named_with_another_that_would_do(box: Address, tmp_path: Path) -> None:
    port = int(box.url.rsplit(":", 1)[1])
    with pytest.raises(OneBoxError, match=rf"Port {port} is taken .* --port \d+"):
        start(tmp_path / "other", port=port)


def test_a_stale_pid_file_is_removed_and_said(tmp_path: Path) -> None:
    folder = tmp_path / "stale"
    folder.mkdir()
    (folder / "supervisor.pid").write_text("999999", encoding="utf-8")
    heard: list[str] = []
    box_module._tidy(folder, heard.append)
    assert "999999" in heard[0]
    assert not (folder / "supervisor.pid").exists()
    assert running(folder) is None


def test_a_full_disk_is_said_before_anything_is_started(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    class Usage:
        free = 7 * 2**20

    monkeypatch.setattr("services.chassis.one_box.box.shutil.disk_usage", lambda _: Usage)
    with pytest.raises(OneBoxError, match=r"almost full: 7 MB are free, 200 MB are needed"):
        start(tmp_path / "full")


def test_a_folder_that_cannot_be_written_is_said(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(OneBoxError, match="cannot be written"):
        start(tmp_path / "file" / "below")


def test_a_worker_proves_through_a_queue_of_its_own_that_it_consumes(box: Address) -> None:
    beat = box.folder / "heartbeat"
    give_up_at = time.monotonic() + 30
    while not beat.exists() and time.monotonic() < give_up_at:
        time.sleep(0.2)
    first = beat.stat().st_mtime
    while beat.stat().st_mtime == first and time.monotonic() < give_up_at:
        time.sleep(0.2)
    assert beat.stat().st_mtime > first
