"""Rules of the queue that only a real broker, a real database or a real worker can show."""

from __future__ import annotations

import os
import subprocess
import threading
import time
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import redis
from kombu import Connection
from sqlalchemy import text

from services.chassis.database import Database
from services.chassis.health import tables_behind
from services.chassis.migrate import PARTS, current, migrate, newest
from services.chassis.one_box.servers import broker, free_port, listens, wait_until
from services.chassis.pipeline import LAST_FAULT, Stage, hop, leave
from services.chassis.queue import queue_app
from services.chassis.resources import Resources, build_resources
from services.quoting import stage as quoting_stage
from services.quoting.service.intake import accept
from services.quoting.store.repository import QuoteStore
from shared_schemas.pipeline import TASKS
from shared_schemas.quote_request import QuoteRequest
from shared_schemas.rates import Rates
from tests.bench.lenses import chain_of_lenses
from tests.drill.faults import poison
from tests.integration.parts import NOON, PASSWORD, OneRevision, Worker, settings_on, until

REQUEST = QuoteRequest(prescription=chain_of_lenses(1), quantities=(5,))


@pytest.fixture
def worker(broker_port: int, tools: Resources, tmp_path: Path) -> Iterator[tuple[subprocess.Popen[bytes], Path]]:
    """A real worker of the first stage, with its log."""
    started = Worker(broker_port, tmp_path)
    yield started.process, started.log
    started.end()


def test_what_nobody_can_read_is_taken_out_and_the_line_behind_it_moves_on(
    tools: Resources, worker: tuple[subprocess.Popen[bytes], Path]
) -> None:
    process, log = worker
    queue = "blankwright:prescription"
    tools.send("prescription.check", "prescription", "Q-2026-000001", 1, "a-message-of-ours")
    tools.redis.rpush(queue, *poison())
    tools.send("prescription.check", "prescription", "Q-2026-000002", 1, "another-of-ours")
    # A message that was just taken is for a moment in neither list, so the last one is waited for by what is said of it.
    until(lambda: '"number": "Q-2026-000002"' in log.read_text(), within_s=60)
    until(lambda: tools.waiting("prescription") == 0 and tools.redis.hlen("blankwright:unacked") == 0, within_s=60)
    assert process.poll() is None, log.read_text()
    said = log.read_text()
    assert said.count("cannot be read was taken out") >= 3, said
    assert "nobody.knows.it" in said
    assert '"number": "Q-2026-000001"' in said
    assert '"number": "Q-2026-000002"' in said


def test_a_message_whose_time_is_over_is_not_done(tools: Resources, worker: tuple[subprocess.Popen[bytes], Path]) -> None:
    _, log = worker
    for number, expires in (("Q-2026-000001", 0.001), ("Q-2026-000002", 600)):
        tools.queue.send_task("prescription.check", args=[number, 1, "t"], queue="prescription", expires=expires)
    until(lambda: '"number": "Q-2026-000002"' in log.read_text(), within_s=60)
    assert '"number": "Q-2026-000001"' not in log.read_text()


def test_a_place_is_free_again_when_the_end_of_a_message_cannot_be_told(tmp_path: Path) -> None:
    port = free_port()
    server = broker(tmp_path / "broker", port=port, password=PASSWORD)
    with (tmp_path / "log").open("wb") as out:
        process = server.launch(out)
    wait_until(lambda: listens(port), process, what="broker", log=tmp_path / "log")
    app = queue_app(settings_on(port), TASKS)
    try:
        for _ in range(2):
            app.send_task("glass.plan_blanks", args=["Q", 1, "t"], queue="glass")
        with app.connection_for_read() as connection:
            channel = connection.channel()
            channel.basic_qos(0, 1, False)
            taken = []
            consumer = app.amqp.TaskConsumer(
                channel, queues=[app.amqp.queues["glass"]], callbacks=[lambda _, message: taken.append(message)]
            )
            consumer.consume()
            connection.drain_events(timeout=5)
            assert not channel.qos.can_consume(), "one place, and it is taken"
            process.kill()
            process.wait()
            with pytest.raises(connection.connection_errors):
                taken[0].ack()
            assert channel.qos.can_consume(), "or the worker would wait for ever, also when the broker is back"
            with suppress(*connection.connection_errors):
                channel.close()
    finally:
        app.close()
        process.kill()
        process.wait()


def test_the_transport_is_ours_with_and_without_tls() -> None:
    app = queue_app(settings_on(1), TASKS)
    for address in (None, "rediss://:p@127.0.0.1:1/0"):
        connection: Connection = app.connection_for_write(address)
        assert type(connection.transport).__module__ == "services.chassis.redis_transport"
        assert type(connection.transport.Channel.QoS).__module__ != "kombu.transport.redis"
    app.close()


def test_work_of_an_attempt_that_is_over_is_not_done(tools: Resources) -> None:
    travellers = tools.travellers
    for attempt in (1, 2, 3):
        travellers.start("Q-2026-000001", attempt, b"{}")
    travellers.discard("Q-2026-000001", 2 + tools.settings.most_attempts)

    def never(**_: Any) -> Any:
        raise AssertionError("nobody waits for that any more")

    for attempt in (1, 2, 3):
        hop(Stage(task="prescription.check", reads=("job",), run=never), "Q-2026-000001", attempt, "t", tools)
    assert [tools.waiting(queue) for queue in set(TASKS.values())] == [0] * len(set(TASKS.values()))


def test_a_fault_that_lasts_is_left_to_the_sweeper_and_noted_beside_the_traveller(tools: Resources) -> None:
    stage = Stage(task="glass.plan_blanks", reads=("job",), run=lambda **_: None)
    tools.travellers.start("Q-2026-000001", 1, b"{}")
    leave(stage, "Q-2026-000001", 1, tools, fault=redis.ConnectionError("gone away"))
    assert tools.travellers.stamped("Q-2026-000001", 1) == {"job", LAST_FAULT}
    assert b"gone away" in tools.travellers.read("Q-2026-000001", 1, [LAST_FAULT])[LAST_FAULT]
    assert tools.waiting("quoting") == 0


def test_a_request_is_accepted_while_the_broker_is_away_and_started_when_it_is_back(
    database: Database, tools: Resources, rates: Rates
) -> None:
    away = replace(build_resources(settings_on(free_port())), database=database, rates=OneRevision(rates))
    began = time.monotonic()
    now = datetime.now(UTC) - timedelta(seconds=5)
    begun, is_new = accept(REQUEST, caller="c", idempotency_key="k", trace="t" * 32, now=now, resources=away)
    assert is_new
    assert time.monotonic() - began < 10
    away.queue.close()
    back = replace(tools, database=database, rates=OneRevision(rates))
    quoting_stage.sweep(back)
    assert back.waiting("prescription") == 1
    assert back.travellers.stamped(begun.number, 1) == {"job"}
    quoting_stage.sweep(back)
    assert back.waiting("prescription") == 1, "once is enough"


def test_nothing_of_a_request_is_kept_when_not_all_of_it_can_be(database: Database, tools: Resources, rates: Rates) -> None:
    with database.transaction() as connection:
        connection.execute(text("alter table quoting.outbox add check (number = 'none')"))
    here = replace(tools, database=database, rates=OneRevision(rates))
    with pytest.raises(Exception, match="outbox"):
        accept(REQUEST, caller="c", idempotency_key="k", trace="t" * 32, now=NOON, resources=here)
    with database.transaction() as connection:
        for table in ("quotes", "outbox", "idempotency_keys"):
            assert connection.execute(text(f"select count(*) from quoting.{table}")).scalar() == 0, table
    assert here.waiting("prescription") == 0


def test_a_sweep_under_a_broker_that_is_away_ends_soon_and_uses_up_no_attempt(database: Database, rates: Rates) -> None:
    away = replace(build_resources(settings_on(free_port())), database=database, rates=OneRevision(rates))
    numbers = [
        accept(REQUEST, caller="c", idempotency_key=None, trace="t" * 32, now=NOON, resources=away)[0].number for _ in range(5)
    ]
    began = time.monotonic()
    quoting_stage.sweep(away)
    assert time.monotonic() - began < 10
    store = QuoteStore(database)
    assert [store.quote(number).attempt for number in numbers] == [1] * 5
    away.queue.close()


def test_a_child_makes_connections_of_its_own(database: Database) -> None:
    assert database.answers()
    ours = database.engine
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:  # no assertion here: the child must not come back into pytest
        told = b"own" if database.engine is not ours and database.answers() else b"shared"
        os.write(writing, told)
        os._exit(0)
    os.waitpid(child, 0)
    assert os.read(reading, 10) == b"own"
    assert database.answers(), "the parent's are not closed by the child"
    assert database.engine is ours
    os.close(reading)
    os.close(writing)


def test_two_migrations_at_one_time_do_the_work_once(postgres_url: str) -> None:
    admin = Database(f"{postgres_url}/postgres")
    with admin.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        connection.execute(text("create database fresh"))
    both = [Database(f"{postgres_url}/fresh") for _ in range(2)]
    faults: list[BaseException] = []

    def bring_up(database: Database) -> None:
        try:
            migrate(database, now=datetime.now(UTC))
        except BaseException as fault:
            faults.append(fault)

    threads = [threading.Thread(target=bring_up, args=(database,)) for database in both]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert faults == []
    assert current(both[0]) == newest()
    with both[0].transaction() as connection:
        assert connection.execute(text("select count(*) from rates.revisions")).scalar() == 1
    for database in both:
        database.close()
    with admin.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        connection.execute(text("drop database fresh with (force)"))
    admin.close()


def test_a_process_whose_tables_are_behind_says_that_it_cannot_work(database: Database, tools: Resources) -> None:
    here = replace(tools, database=database)
    assert tables_behind(here) is None
    with database.transaction() as connection:
        connection.execute(text("update quoting.alembic_version set version_num = '0001'"))
    assert "quoting is at 0001" in str(tables_behind(here))
    of_rates = replace(here, settings=here.settings.model_copy(update={"services": ("rates",)}))
    assert tables_behind(of_rates) is None, "it has no business with the tables of quoting"
    assert set(PARTS) == {"chassis", "rates", "orders", "quoting"}
