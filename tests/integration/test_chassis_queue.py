"""The queue on a real broker: small messages, JSON, and a way back when the broker is away."""

from __future__ import annotations

import json
import time

import pytest
import redis

from services.chassis.one_box.servers import free_port
from services.chassis.queue import queue_app
from services.chassis.resources import Resources, build_resources
from services.chassis.travellers import RedisTravellers
from shared_schemas.pipeline import TASKS
from tests.integration.parts import PASSWORD, settings_on


@pytest.mark.parametrize("task", [task for task in TASKS if not task.startswith(("chassis", "quoting.sweep"))])
def test_a_message_is_smaller_than_a_kilobyte_and_carries_three_words(tools: Resources, task: str) -> None:
    queue = TASKS[task]
    tools.send(task, queue, "Q-2026-000001", 1, "0123456789abcdef" * 2)
    (raw,) = tools.redis.lrange(f"blankwright:{queue}", 0, -1)
    assert len(raw) < 1024, len(raw)
    assert json.loads(raw)["content-type"] == "application/json"


def test_a_broker_that_is_away_costs_the_caller_a_moment_not_a_hang() -> None:
    made = build_resources(settings_on(free_port()))
    began = time.monotonic()
    with pytest.raises(Exception, match="refused"):
        made.send("glass.plan_blanks", "glass", "Q-2026-000001", 1, "t")
    assert time.monotonic() - began < 5


def test_a_task_without_a_queue_in_the_table_makes_no_queue(broker_port: int) -> None:
    app = queue_app(settings_on(broker_port), TASKS)
    with pytest.raises(Exception, match="mystery"):
        app.send_task("glass.plan_blanks", args=[], queue="mystery")
    app.close()


def test_travellers_lie_in_one_hash_each_and_expire(broker_port: int) -> None:
    client = redis.Redis(port=broker_port, password=PASSWORD)
    travellers = RedisTravellers(client, deployment="test", lives_s=100)
    travellers.start("Q-1", 1, b"{}")
    travellers.stamp("Q-1", 1, {"check": b"[1]"})
    assert travellers.read("Q-1", 1, ["job", "check", "blanks"]) == {"job": b"{}", "check": b"[1]"}
    assert travellers.stamped("Q-1", 1) == {"job", "check"}
    assert travellers.stamped("Q-1", 2) == frozenset()
    assert 0 < client.ttl("test:traveller:Q-1:1") <= 100  # type: ignore[operator]
    travellers.discard("Q-1", 1)
    assert travellers.stamped("Q-1", 1) == frozenset()
    client.close()
