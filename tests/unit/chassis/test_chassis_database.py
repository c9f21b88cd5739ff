"""The engine of a process: one, whoever comes first."""

from __future__ import annotations

import threading
from typing import Any

import pytest

from services.chassis.database import Database


def test_two_threads_that_come_first_at_once_get_the_same_engine(monkeypatch: pytest.MonkeyPatch) -> None:
    """Another would be connected and closed by nobody."""
    database = Database("postgresql://u:p@127.0.0.1:1/x")
    both, plain = threading.Barrier(2, timeout=10), database._new_engine
    engines: list[Any] = []

    def slow() -> Any:
        both.wait()
        return plain()

    monkeypatch.setattr(database, "_new_engine", slow)
    threads = [threading.Thread(target=lambda: engines.append(database.engine)) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert engines[0] is engines[1] is database.engine
