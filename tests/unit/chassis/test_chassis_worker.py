"""What a worker does with a fault: a short one is tried again, a lasting one is left to the sweeper, work that takes too long is not tried again."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import httpx
import pytest
import redis
from celery import Celery
from celery.exceptions import Retry, SoftTimeLimitExceeded
from sqlalchemy.exc import OperationalError

from services.chassis import worker as worker_module
from services.chassis.pipeline import MOST_RETRIES, retry_wait_s
from services.chassis.settings import Settings
from services.chassis.worker import worker_app
from shared_schemas.pipeline import STATIONS

LASTING = [redis.ConnectionError("gone"), httpx.ConnectError("gone"), OperationalError("select", {}, Exception("gone"))]


@pytest.fixture(scope="module")
def app() -> Celery:
    return worker_app(
        Settings(
            database_url="postgresql://u:p@127.0.0.1:1/x",
            redis_url="redis://127.0.0.1:1/0",
            rates_url="http://127.0.0.1:1",
            service_key="bw_0_0",
        )
    )


@pytest.fixture
def struck(app: Celery, monkeypatch: pytest.MonkeyPatch) -> Any:
    """`struck(task, fault, retries)` is what the worker did when that try of the task met the fault."""

    def run(name: str, fault: BaseException, retries: int) -> list[Any]:
        did: list[Any] = []

        def meet(*_: Any, **__: Any) -> None:
            raise fault

        def again(*_: Any, **named: Any) -> None:
            did.append(named["countdown"])
            raise Retry

        nobody_counts = SimpleNamespace(stage=lambda *_: None, retry=lambda *_: None)
        monkeypatch.setattr(worker_module, "resources", lambda **_: SimpleNamespace(tally=nobody_counts))
        monkeypatch.setattr(worker_module, "hop", meet)
        monkeypatch.setattr(worker_module, "leave", lambda *_, **__: did.append("left"))
        monkeypatch.setattr(worker_module, "end_in_time", lambda *_, **__: did.append("the verdict"))
        task = app.tasks[name]
        monkeypatch.setattr(task, "retry", again)
        task.push_request(retries=retries, args=["Q-2026-000001", 1, "t"], delivery_info={"routing_key": "glass"})
        try:
            task.run("Q-2026-000001", 1, "t")
        except Retry:
            pass
        finally:
            task.pop_request()
        return did

    return run


STAGES = [station.task for station in STATIONS[:-1]]


@pytest.mark.parametrize("fault", LASTING, ids=lambda fault: type(fault).__name__)
@pytest.mark.parametrize("task", STAGES)
def test_a_fault_of_the_ways_is_tried_again_with_growing_waits(struck: Any, task: str, fault: BaseException) -> None:
    assert [struck(task, fault, retries) for retries in range(MOST_RETRIES)] == [[retry_wait_s(n)] for n in range(MOST_RETRIES)]


@pytest.mark.parametrize("fault", LASTING, ids=lambda fault: type(fault).__name__)
def test_one_that_lasts_is_left_to_the_sweeper(struck: Any, fault: BaseException) -> None:
    assert struck(STAGES[0], fault, MOST_RETRIES) == ["left"]


def test_a_stage_that_never_ends_in_time_fails_the_quote(struck: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    clock = iter((0.0, 24.0))
    monkeypatch.setattr(worker_module.time, "process_time", lambda: next(clock))
    assert struck(STAGES[0], SoftTimeLimitExceeded(), 0) == ["the verdict"], "at its first try: another would take as long"


def test_a_stage_that_had_no_processor_to_work_with_is_tried_again(struck: Any) -> None:
    assert struck(STAGES[0], SoftTimeLimitExceeded(), 0) == [retry_wait_s(0)]


def test_any_other_fault_is_no_matter_for_the_queue(struck: Any) -> None:
    with pytest.raises(ZeroDivisionError):
        struck(STAGES[0], ZeroDivisionError(), 0)
