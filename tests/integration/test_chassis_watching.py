"""Counts that many processes share, figures while a part is away, and readiness that really asks."""

from __future__ import annotations

import asyncio
import os
import socket
import threading
import time
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import httpx
import pytest
from prometheus_client.parser import text_string_to_metric_families
from sqlalchemy import text

from services.chassis.backups_known import note_backup
from services.chassis.database import Database
from services.chassis.heartbeat import give_sign, sign_of
from services.chassis.one_box.servers import free_port
from services.chassis.resources import Resources, build_resources
from services.chassis.tally import BOUNDS_S, Tally
from services.chassis.version import VERSION
from services.chassis.web import make_app
from services.quoting.service.intake import accept
from services.quoting.store.repository import QuoteStore
from services.quoting.store.rows import DeadLetter, Outcome
from shared_schemas.pipeline import QUEUES
from shared_schemas.quote_request import QuoteRequest
from shared_schemas.rates import Rates
from tests.bench.lenses import chain_of_lenses
from tests.integration.parts import NOON, OneRevision, settings_on

REQUEST = QuoteRequest(prescription=chain_of_lenses(1), quantities=(5,))


@pytest.fixture
def tools(broker_port: int, database: Database, rates: Rates) -> Iterator[Resources]:
    made = replace(build_resources(settings_on(broker_port, services=("quoting",))), database=database, rates=OneRevision(rates))
    made.redis.flushall()
    yield made
    made.queue.close()
    made.redis.close()


@pytest.fixture
def frozen_port() -> Iterator[int]:
    """A port where connections are taken and nobody ever answers, as by a server that is stopped."""
    with socket.create_server(("127.0.0.1", 0), backlog=64) as server:
        yield int(server.getsockname()[1])


def away(tools: Resources) -> Resources:
    """The same, but for a broker that nobody finds."""
    return replace(tools, redis=build_resources(settings_on(free_port())).redis)


def make_read_only(database: Database) -> None:
    """As a disk that is full would make it: it can be asked, and takes nothing."""
    with database.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        name = connection.execute(text("select current_database()")).scalar()
        connection.execute(text(f"alter database {name} set default_transaction_read_only = on"))
    database.close()


def ask(tools: Resources, path: str) -> httpx.Response:
    """The answer; on a busy machine the first connections of a process may take longer than a probe waits, and it is asked again."""
    app = make_app(tools)

    async def asked() -> httpx.Response:
        async with httpx.AsyncClient(transport=httpx.ASGITransport(app), base_url="http://shop") as client:
            answer = await client.get(path)
            while "no answer within" in answer.text:
                answer = await client.get(path)
            return answer

    answer = asyncio.run(asked())
    # The database of a test is closed at its end, and no question may be under way then.
    for shared in (*(question._shared for question in app.state.checks._questions), *app.state.suite._parts.values()):
        if shared._open is not None:
            shared._open.result(timeout=60)
    return answer


def samples(answer: httpx.Response) -> dict[tuple[str, tuple[str, ...]], float]:
    families = text_string_to_metric_families(answer.text)
    return {
        (one.name, tuple(one.labels[name] for name in sorted(one.labels))): one.value
        for family in families
        for one in family.samples
    }


def test_counts_of_processes_that_ended_long_ago_add_up(tools: Resources) -> None:
    children = []
    for _ in range(4):
        child = os.fork()
        if child == 0:
            counted = Tally(build_resources(tools.settings).redis, deployment="blankwright")
            for seconds in (0.004, 0.3, 99.0):
                counted.stage("process", "stamped", seconds)
            counted.retry("process")
            os._exit(0)
        children.append(child)
    assert [os.waitpid(child, 0)[1] for child in children] == [0] * 4
    found = samples(ask(tools, "/metrics/suite"))
    assert found["blankwright_stage_seconds_count", ("stamped", "process")] == 12
    assert found["blankwright_stage_seconds_sum", ("stamped", "process")] == pytest.approx(4 * 99.304)
    buckets = [found["blankwright_stage_seconds_bucket", (str(bound), "stamped", "process")] for bound in BOUNDS_S]
    assert buckets == [4 if bound < 0.5 else 8 for bound in BOUNDS_S]
    assert found["blankwright_retries_total", ("process",)] == 4


def test_what_could_not_be_counted_is_counted_when_the_broker_is_back(tools: Resources) -> None:
    counted = away(tools).tally
    counted.stage("process", "cut_short", 1.0)
    counted.retry("process")
    counted._redis = tools.redis
    counted.stage("process", "stamped", 0.5)
    assert counted.read() == {
        "runs|process|cut_short|1.0": 1, "runs|process|stamped|0.5": 1, "retries|process": 1,
        "seconds|process|cut_short": 1.0, "seconds|process|stamped": 0.5,
    }  # fmt: skip


def test_the_queue_is_as_deep_as_it_is(tools: Resources) -> None:
    for place in range(3):
        tools.send("glass.plan_blanks", "glass", f"Q-2026-{place:06d}", 1, "t")
    found = samples(ask(tools, "/metrics/suite"))
    assert found["blankwright_queue_depth", ("glass",)] == 3
    assert found["blankwright_queue_depth", ("process",)] == 0


def test_outcomes_letters_and_the_oldest_traveller_are_read_from_the_tables(tools: Resources) -> None:
    numbers = [
        accept(REQUEST, caller="c", idempotency_key=None, trace="t" * 32, now=NOON, resources=tools)[0].number for _ in range(3)
    ]
    found = samples(ask(tools, "/metrics/suite"))
    assert found["blankwright_travellers", ()] == 3
    assert found["blankwright_oldest_traveller_seconds", ()] > 3600, "it came at noon of a day long past"
    letter = DeadLetter("process", b"{}", "", "")
    store = QuoteStore(tools.database)
    for number in numbers:
        store.runs.settle(number, 1, Outcome("failed", "d", problem=b"{}"), now=NOON, letter=letter)
    store.runs.settle(numbers[0], 1, Outcome("failed", "another", problem=b"{}"), now=NOON)
    found = samples(ask(tools, "/metrics/suite"))
    assert found["blankwright_quotes_total", ("failed",)] == 3
    assert found["blankwright_dead_letters_total", ()] == 3
    assert found["blankwright_dead_letters_open", ()] == 3
    assert found["blankwright_late_outcomes_differ_total", ()] == 1
    assert found["blankwright_oldest_traveller_seconds", ()] == 0


def test_a_queue_without_a_worker_is_told_as_such(tools: Resources) -> None:
    give_sign(tools.redis, "blankwright", "one@here", "glass,process")
    give_sign(tools.redis, "blankwright", "two@there", "glass")
    give_sign(tools.redis, "blankwright", "three@there", "sweeps")
    tools.redis.delete(sign_of("blankwright", "three@there"))  # as it fades
    found = samples(ask(tools, "/metrics/suite"))
    told = {queue: found["blankwright_workers", (queue,)] for queue in QUEUES}
    assert told == dict.fromkeys(QUEUES, 0) | {"glass": 2, "process": 1}
    assert tools.redis.smembers("blankwright:workers") == {b"one@here", b"two@there"}, "nobody is remembered for ever"


def test_a_database_and_a_broker_that_take_no_writes_are_told(tools: Resources) -> None:
    well = samples(ask(tools, "/metrics/suite"))
    assert (well["blankwright_database_writable", ()], well["blankwright_redis_writable", ()]) == (1, 1)
    assert well["blankwright_database_bytes", ()] > 1e6
    assert well["blankwright_redis_saved", ("aof",)] == 1
    make_read_only(tools.database)
    tools.redis.config_set("maxmemory", "1")
    try:
        found = samples(ask(tools, "/metrics/suite"))
    finally:
        tools.redis.config_set("maxmemory", "0")
    assert (found["blankwright_database_writable", ()], found["blankwright_redis_writable", ()]) == (0, 0)
    assert found["blankwright_redis_most_bytes", ()] == 1
    assert found["blankwright_part_answers", ("postgresql",)] == 1


def test_the_age_of_the_last_backup_is_told(tools: Resources) -> None:
    assert samples(ask(tools, "/metrics/suite"))["blankwright_backup_age_seconds", ()] == float("inf")
    now = datetime.now(UTC)
    for hours in (50, 30):
        note_backup(tools.database, at=now - timedelta(hours=hours), size_bytes=10, kind="one box", by="a test")
    age_s = samples(ask(tools, "/metrics/suite"))["blankwright_backup_age_seconds", ()]
    assert age_s == pytest.approx(30 * 3600, abs=60)


def test_a_part_that_is_away_is_said_so_and_the_rest_is_told(tools: Resources) -> None:
    answer = ask(away(tools), "/metrics/suite")
    assert answer.status_code == 200
    found = samples(answer)
    assert found["blankwright_part_answers", ("redis",)] == 0
    assert found["blankwright_part_answers", ("postgresql",)] == 1
    assert found["blankwright_travellers", ()] == 0
    assert "blankwright_queue_depth" not in {name for name, _ in found}


WELL = dict.fromkeys(("postgresql", "writes", "redis", "workers"), "yes")


def test_a_process_that_takes_quotes_is_ready_without_broker_and_workers_and_not_without_tables(tools: Resources) -> None:
    silent = ask(tools, "/readyz")
    nobody = f"no: no sign of life for 30 s from a worker of {', '.join(QUEUES)}"
    assert (silent.status_code, silent.json()) == (
        200, {"ready": True, "degraded": True, "parts": WELL | {"workers": nobody}, "version": VERSION}
    )  # fmt: skip
    give_sign(tools.redis, tools.settings.deployment, "one", ",".join(QUEUES))
    assert ask(tools, "/readyz").json() == {"ready": True, "degraded": False, "parts": WELL, "version": VERSION}
    without_broker = ask(away(tools), "/readyz")
    assert without_broker.status_code == 200, "quotes are taken, and wait"
    assert without_broker.json()["degraded"] is True
    assert without_broker.json()["parts"] == WELL | {
        "redis": "away, quotes are taken and wait: ConnectionError", "workers": "no: ConnectionError"
    }  # fmt: skip
    without_database = ask(replace(tools, database=Database("postgresql://u:p@127.0.0.1:1/x")), "/readyz")
    assert without_database.status_code == 503
    assert without_database.json()["ready"] is False
    assert without_database.json()["parts"] == WELL | dict.fromkeys(("postgresql", "writes"), "no: OperationalError")


def test_a_process_says_only_what_it_needs_itself(tools: Resources) -> None:
    def parts(*services: str) -> dict[str, str]:
        found: dict[str, str] = ask(
            replace(away(tools), settings=tools.settings.model_copy(update={"services": services})), "/readyz"
        ).json()["parts"]
        return found

    assert parts("glass") == {"postgresql": "yes"}
    assert parts("orders") == {"postgresql": "yes", "writes": "yes"}


def test_a_database_that_takes_no_writes_is_found_out_by_writing(tools: Resources) -> None:
    make_read_only(tools.database)
    answer = ask(tools, "/readyz")
    assert answer.status_code == 503
    assert answer.json()["parts"]["postgresql"] == "yes"
    assert answer.json()["parts"]["writes"] == "no: ReadOnlySqlTransaction"


def test_a_broker_that_refuses_writes_is_said_and_quotes_are_taken(tools: Resources) -> None:
    tools.redis.config_set("maxmemory", "1")
    try:
        answer = ask(tools, "/readyz")
    finally:
        tools.redis.config_set("maxmemory", "0")
    assert answer.status_code == 200
    assert answer.json()["parts"]["redis"].startswith("refuses writes, quotes are taken and wait: ")
    assert "maxmemory" in answer.json()["parts"]["redis"]


def test_a_frozen_part_is_named_within_a_second_and_asked_once_by_all(tools: Resources, frozen_port: int) -> None:
    thawed = replace(
        tools,
        redis=build_resources(settings_on(frozen_port)).redis,
        database=Database(f"postgresql://u:p@127.0.0.1:{frozen_port}/x"),
    )
    app = make_app(thawed)

    async def asked() -> tuple[list[httpx.Response], float]:
        async with httpx.AsyncClient(transport=httpx.ASGITransport(app), base_url="http://shop") as client:
            began = time.monotonic()
            answers = await asyncio.gather(*(client.get("/readyz") for _ in range(20)), client.get("/livez"))
            return answers, time.monotonic() - began

    before = threading.active_count()
    (*ready, live), seconds = asyncio.run(asked())
    assert seconds < 2.5, "the parts themselves are waited for 3 s and longer"
    assert threading.active_count() - before <= len(WELL), "one thread a question, however many ask"
    assert {answer.status_code for answer in ready} == {503}
    silent = "no answer within 0.7 s"
    assert ready[0].json()["parts"]["postgresql"] == silent
    assert live.json() == {"status": "alive", "version": VERSION}


def test_a_process_is_not_ready_for_tables_that_are_behind(tools: Resources) -> None:
    with tools.database.transaction() as connection:
        (version_table,) = connection.execute(
            text("select table_schema || '.' || table_name from information_schema.tables "
                 "where table_schema = 'quoting' and table_name like '%version%'")
        ).scalars()  # fmt: skip
        connection.execute(text(f"delete from {version_table}"))
    answer = ask(tools, "/readyz")
    assert answer.status_code == 503
    assert "quoting" in answer.json()["parts"]["postgresql"]
