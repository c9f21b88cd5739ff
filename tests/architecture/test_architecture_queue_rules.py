"""Rules of the queue that are kept by settings and by what is not in the code."""

from __future__ import annotations

import ast
import re
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
import yaml
from celery import Celery

from services.chassis.beat import CLOCKS_APART_S, EXPIRE_EVERY_S, FORGET_EVERY_S, Every, TimeKeeper, beat_app
from services.chassis.one_box.servers import broker
from services.chassis.pipeline import MOST_RETRIES, retry_wait_s
from services.chassis.settings import Settings
from services.chassis.worker import worker_app
from shared_schemas.pipeline import (
    DELIVER_TASK,
    EXPIRE_TASK,
    FORGET_LOAD_TASK,
    FORGET_TASK,
    ORDERS_QUEUE,
    PACK_TASK,
    QUEUES,
    STATIONS,
    SWEEP_QUEUE,
    SWEEP_TASK,
    TAKE_IN_TASK,
    TAKE_OVER_TASK,
    TASKS,
    WEBHOOKS_QUEUE,
)

ROOT = Path(__file__).resolve().parents[2]
OURS = sorted([*ROOT.glob("services/**/*.py"), *ROOT.glob("shared_schemas/**/*.py")])
IN_WORKERS = sorted(
    [*ROOT.glob("services/*/stage.py"), *ROOT.glob("services/*/domain/**/*.py"), *ROOT.glob("services/*/store/*.py")]
    + [ROOT / f"services/chassis/{name}.py" for name in ("pipeline", "worker", "queue", "travellers", "resources", "database")]
)


def settings() -> Settings:
    return Settings(
        database_url="postgresql://u:p@127.0.0.1:1/x",
        redis_url="redis://127.0.0.1:1/0",
        rates_url="http://127.0.0.1:1",
        service_key="bw_0_0",
    )


@pytest.fixture(scope="module")
def worker() -> Celery:
    return worker_app(settings())


def names_used(path: Path) -> set[str]:
    """Every name, attribute, import and keyword of a file."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        match node:
            case ast.Name(id=name) | ast.Attribute(attr=name) | ast.alias(name=name) | ast.keyword(arg=str(name)):
                found.add(name)
            case ast.ImportFrom(module=str(name)):
                found.add(name)
    return found


def test_no_stage_waits_for_another_and_nobody_asks_celery_what_became_of_a_quote() -> None:
    forbidden = {"chord", "AsyncResult", "ResultSet", "GroupResult", "apply_async", "celery.canvas", "celery.result"}
    found = {str(path.relative_to(ROOT)): names_used(path) & forbidden for path in OURS}
    assert {name: words for name, words in found.items() if words} == {}
    canvas = {"chain", "group", "chunks", "signature"}
    for path in OURS:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("celery"):
                assert not {one.name for one in node.names} & canvas, path


def test_no_test_runs_tasks_eagerly() -> None:
    switch = "task_always" + "_eager"
    assert [path.name for path in [*OURS, *ROOT.glob("tests/**/*.py")] if switch in path.read_text(encoding="utf-8")] == []


def test_what_runs_in_a_worker_is_synchronous() -> None:
    found = {
        str(path.relative_to(ROOT)) for path in IN_WORKERS if names_used(path) & {"asyncio", "AsyncClient", "create_async_engine"}
    }
    assert found == set()
    for path in IN_WORKERS:
        tree = ast.parse(path.read_text(encoding="utf-8"))
        assert not any(isinstance(node, (ast.AsyncFunctionDef, ast.Await)) for node in ast.walk(tree)), path


def test_no_task_is_put_off_for_more_than_thirty_seconds() -> None:
    assert max(retry_wait_s(retries) for retries in range(100)) <= 30
    for path in OURS:
        assert "eta" not in {
            word.arg
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
            if isinstance(node, ast.Call)
            for word in node.keywords
        }, path


def test_sweeps_travel_on_a_queue_of_their_own() -> None:
    assert TASKS[SWEEP_TASK] == SWEEP_QUEUE
    assert SWEEP_QUEUE not in {station.queue for station in STATIONS}


def test_a_dead_child_costs_a_bounded_number_of_tries_with_short_waits(worker: Celery) -> None:
    assert worker.conf.task_default_retry_delay <= 5
    for station in STATIONS:
        assert worker.tasks[station.task].max_retries == MOST_RETRIES <= 3


def test_queues_are_taken_from_in_turn_so_that_none_starves(worker: Celery) -> None:
    assert worker.conf.broker_transport_options["queue_order_strategy"] == "round_robin"


def test_a_connection_that_hangs_is_found_out_in_seconds(worker: Celery) -> None:
    options = worker.conf.broker_transport_options
    assert options["socket_connect_timeout"] <= 5
    assert options["socket_timeout"] <= 30
    assert options["health_check_interval"] <= 25
    assert options["socket_keepalive"] is True
    assert worker.conf.broker_connection_max_retries is None


def test_a_call_is_not_held_up_for_long_by_a_broker_that_is_away(worker: Celery) -> None:
    policy = worker.conf.task_publish_retry_policy
    assert policy["max_retries"] <= 2
    assert policy["interval_max"] <= 0.5
    assert worker.conf.task_publish_retry is True


def test_a_worker_that_is_told_to_stop_gives_back_what_it_holds(worker: Celery) -> None:
    assert worker.conf.worker_soft_shutdown_timeout == 10
    compose = yaml.safe_load((ROOT / "compose.yaml").read_text(encoding="utf-8"))
    workers = {name: one for name, one in compose["services"].items() if name.endswith("-worker") or name == "sweeper"}
    assert len(workers) == len(QUEUES)
    for name, one in workers.items():
        assert isinstance(one["command"], list), f"{name}: a shell in between would swallow the signal"
        assert one["environment"]["REMAP_SIGTERM"] == "SIGQUIT", name
        assert int(one["stop_grace_period"].rstrip("s")) > worker.conf.worker_soft_shutdown_timeout, name
        assert one["restart"] != "no", name
    supervisor = (ROOT / "services/chassis/one_box/supervisor.py").read_text(encoding="utf-8")
    assert '"REMAP_SIGTERM": "SIGQUIT"' in supervisor


def test_the_broker_keeps_a_file_and_never_drops_what_it_was_given(tmp_path: Path) -> None:
    server = broker(tmp_path / "broker", port=1, password="p")
    written = Path(server.command[-1]).read_text(encoding="utf-8")
    compose = yaml.safe_load((ROOT / "compose.yaml").read_text(encoding="utf-8"))["services"]["redis"]
    told = " ".join(map(str, compose["command"])).replace("--", "\n")
    for place in (written, told):
        for setting in ("appendonly yes", "appendfsync everysec", "maxmemory-policy noeviction"):
            assert setting in place, (setting, place)
    assert re.search(r"requirepass \S", written)
    users = re.findall(
        r"^user (\w+) (.*)$", (ROOT / "deploy" / "redis" / "start.sh").read_text(encoding="utf-8"), flags=re.MULTILINE
    )
    assert dict(users)["default"].startswith("off ")
    assert [name for name, may in users if "nopass" in may] == ["health"]
    assert dict(users)["health"].endswith(" -@all +ping")
    assert [volume for volume in compose["volumes"] if volume.endswith(":/data")]


def test_tables_are_brought_up_to_date_before_anything_serves() -> None:
    services = yaml.safe_load((ROOT / "compose.yaml").read_text(encoding="utf-8"))["services"]
    ours = {name: one for name, one in services.items() if one.get("image") == services["migrate"]["image"] and name != "migrate"}
    assert len(ours) >= 10
    for name, one in ours.items():
        assert one["depends_on"]["migrate"] == {"condition": "service_completed_successfully"}, name


def test_a_sweep_that_was_asked_for_long_ago_is_not_done() -> None:
    entries = {entry["task"]: entry["options"] for entry in beat_app(settings()).conf.beat_schedule.values()}
    assert entries == {
        SWEEP_TASK: {"queue": SWEEP_QUEUE, "expires": CLOCKS_APART_S},
        TAKE_OVER_TASK: {"queue": ORDERS_QUEUE, "expires": CLOCKS_APART_S},
        DELIVER_TASK: {"queue": WEBHOOKS_QUEUE, "expires": CLOCKS_APART_S},
        TAKE_IN_TASK: {"queue": SWEEP_QUEUE, "expires": CLOCKS_APART_S},
        PACK_TASK: {"queue": SWEEP_QUEUE, "expires": CLOCKS_APART_S},
        EXPIRE_TASK: {"queue": SWEEP_QUEUE, "expires": 2 * EXPIRE_EVERY_S},
        FORGET_TASK: {"queue": SWEEP_QUEUE, "expires": 2 * FORGET_EVERY_S},
        FORGET_LOAD_TASK: {"queue": ORDERS_QUEUE, "expires": 2 * FORGET_EVERY_S},
    }


def test_beat_goes_on_when_the_clock_is_set_back(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("BLANKWRIGHT_HEARTBEAT_FILE", str(tmp_path / "heartbeat"))
    app = beat_app(settings())
    every = Every(5.0, app=app)
    now = datetime.now(UTC)
    assert every.is_due(now - timedelta(seconds=6))[0]
    assert not every.is_due(now - timedelta(seconds=2))[0]
    assert every.is_due(now + timedelta(hours=1))[0]

    asked: list[str] = []

    class Keeper(TimeKeeper):
        producer = None

        def apply_async(self, entry: object, *given: object, **named: object) -> None:
            asked.append(entry.task)  # type: ignore[attr-defined]

    keeper = Keeper(app=app, lazy=True)
    keeper.setup_schedule()
    keeper.tick()
    while keeper.tick() == 0:
        pass
    before = len(asked)
    # As it was an hour from now, before the clock was set back to now.
    keeper._seen_at += 3600
    keeper._heap = [event._replace(time=event.time + 3600) for event in keeper._heap]
    for entry in keeper.schedule.values():
        entry.last_run_at = now + timedelta(hours=1)
    keeper.tick()
    assert len(asked) == before + 1
