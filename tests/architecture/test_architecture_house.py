"""The house as it was drawn: rooms, names, files short enough to read, and tables of names that agree with the code."""

from __future__ import annotations

import inspect
import re
from importlib import import_module
from pathlib import Path

import pytest
from celery import Celery

from services.chassis.migrate import PARTS
from services.chassis.queue import HARD_LIMIT_S, SOFT_LIMIT_S, VISIBILITY_S, queue_app
from services.chassis.settings import Settings
from services.chassis.web import STATUS_OF_SHARED
from services.chassis.worker import worker_app
from shared_schemas.pipeline import LARGE_QUEUE, QUEUES, STATIONS, TASKS
from shared_schemas.problem import Explained

ROOT = Path(__file__).resolve().parents[2]
WITH_API = ("prescription", "glass", "process", "quoting", "orders", "rates", "desk")
WITH_ERRORS = ("optics", "shop", "glass", "process", "quoting", "orders", "rates")


def settings_for_tests() -> Settings:
    return Settings(
        database_url="postgresql://u:p@127.0.0.1:1/x",
        redis_url="redis://127.0.0.1:1/0",
        rates_url="http://127.0.0.1:1",
        service_key="bw_0_0",
    )


def worker() -> Celery:
    return worker_app(settings_for_tests())


def test_the_registered_tasks_are_those_of_the_table() -> None:
    ours = {name for name in worker().tasks if not name.startswith("celery.")}
    assert ours == set(TASKS)


def test_every_task_has_a_queue_and_no_queue_appears_by_itself() -> None:
    app = queue_app(settings_for_tests(), TASKS)
    assert {queue.name for queue in app.conf.task_queues} == set(TASKS.values()) | {LARGE_QUEUE} == set(QUEUES)
    assert app.conf.task_create_missing_queues is False


def test_the_queue_speaks_json_only_and_keeps_no_results() -> None:
    conf = worker().conf
    assert conf.task_serializer == "json"
    assert conf.accept_content == ["json"]
    assert conf.task_ignore_result is True
    assert conf.result_backend is None


def test_a_task_is_acknowledged_late_one_at_a_time_and_redelivered_in_seconds() -> None:
    conf = worker().conf
    assert conf.task_acks_late is True
    assert conf.worker_prefetch_multiplier == 1
    assert conf.task_retry_on_worker_lost is True
    assert conf.task_reject_on_worker_lost is False
    assert conf.worker_cancel_long_running_tasks_on_connection_loss is True
    options = conf.broker_transport_options
    assert options["visibility_timeout"] == VISIBILITY_S
    assert options["unacked_restore_interval"] == 5
    assert options["unacked_restore_throttle"] == 1
    assert SOFT_LIMIT_S < HARD_LIMIT_S < VISIBILITY_S


def test_stations_follow_each_other_with_queues_of_their_own() -> None:
    assert len({station.queue for station in STATIONS}) == len(STATIONS)
    assert [station.service for station in STATIONS] == ["prescription", "glass", "process", "quoting"]


@pytest.mark.parametrize("service", WITH_ERRORS)
def test_every_error_of_a_service_has_a_status(service: str) -> None:
    errors = import_module(f"services.{service}.errors")
    serving = [service] if service in WITH_API else list(WITH_API[:3])  # a law is asked by these
    for name in serving:
        mapped = set(import_module(f"services.{name}.api").STATUS) | set(STATUS_OF_SHARED)
        unmapped = [
            error
            for error, kind in inspect.getmembers(errors, inspect.isclass)
            if issubclass(kind, Explained) and kind is not Explained and not mapped & set(kind.__mro__)
        ]
        assert unmapped == [], name


@pytest.mark.parametrize("service", WITH_ERRORS)
def test_every_error_of_a_service_stands_in_the_tree_on_top_of_its_file(service: str) -> None:
    errors = import_module(f"services.{service}.errors")
    own = [name for name, kind in inspect.getmembers(errors, inspect.isclass) if kind.__module__ == errors.__name__]
    tree = errors.__doc__ or ""
    assert [name for name in own if name not in tree] == []


@pytest.mark.parametrize("path", sorted(ROOT.glob("services/*/__init__.py")), ids=lambda path: path.parent.name)
def test_every_service_has_a_doorplate(path: Path) -> None:
    assert re.match(r'^"""\S', path.read_text(encoding="utf-8")), f"{path} says nothing of what it answers"


def test_no_file_is_longer_than_it_deserves() -> None:
    found = []
    for path in sorted([*ROOT.glob("services/**/*.py"), *ROOT.glob("shared_schemas/**/*.py")]):
        lines = len(path.read_text(encoding="utf-8").splitlines())
        name = str(path.relative_to(ROOT))
        if lines > 400:
            found.append(f"{name} has {lines} lines")
    assert found == []


def test_the_locks_carry_hashes_and_no_index_address() -> None:
    for name in ("requirements.lock", "requirements-dev.lock"):
        text = (ROOT / name).read_text(encoding="utf-8")
        pinned = re.findall(r"^[a-z0-9_.-]+(?:\[[a-z,]+\])?==", text, flags=re.MULTILINE)
        assert len(pinned) > 40
        assert len(re.findall(r"^[a-z0-9_.-]+(?:\[[a-z,]+\])?==[^\n]*\\\n\s+--hash=sha256:", text, flags=re.MULTILINE)) == len(
            pinned
        )
        assert "index-url" not in text.replace("--no-emit-index-url", "")
        assert "https://" not in text


@pytest.mark.parametrize("part", PARTS)
def test_migrations_of_a_part_are_numbered_and_each_stands_on_the_one_before(part: str) -> None:
    files = sorted(PARTS[part].glob("[0-9]*.py"))
    numbers = [path.name.split("_")[0] for path in files]
    assert numbers == [f"{number:04d}" for number in range(1, len(files) + 1)], "a number is given once, and none is left out"
    for before, number, path in zip(["None", *(f'"{one}"' for one in numbers)], numbers, files, strict=False):
        text = path.read_text(encoding="utf-8")
        assert f'revision = "{number}"\ndown_revision = {before}\n' in text, path.name
