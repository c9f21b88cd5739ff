"""The faults of the drill, one after another, and what the suite promises under each."""

from __future__ import annotations

import base64
import json
import pickle
import shutil
import signal
import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass

import psutil

from shared_schemas.pipeline import SWEEP_QUEUE, TASKS
from tests.drill.box import Box, until
from tests.drill.strangers import bombs_beside_a_small_quote, strangers_at_once

BACK_WITHIN_S = 60.0
PAUSE_S = 11.0
"""Longer than any client of the broker waits for an answer."""
FULL_S = 4.0
STEP_S = 3600

STAGES = ("prescription", "glass", "process", "quoting")


class NotHere(Exception):
    """This machine does not let the drill make that fault; the sentence says why."""


@dataclass(frozen=True)
class Fault:
    """One thing that breaks: `strike` breaks it, waits until it is whole again, and says what happened."""

    name: str
    promise: str
    strike: Callable[[Box], str]


def _killed(box: Box, part: str) -> str:
    victim = box.process(part)
    victim.send_signal(signal.SIGKILL)
    took_s = until(lambda: box.pid(part) != victim.pid, within_s=BACK_WITHIN_S)
    return f"{part} killed, started again after {took_s:.1f} s"


def _worker(queue: str) -> Callable[[Box], str]:
    def strike(box: Box) -> str:
        _wait_for_a_line(box, queue)
        return _killed(box, f"worker-{queue}")

    return strike


def _child(queue: str) -> Callable[[Box], str]:
    def strike(box: Box) -> str:
        _wait_for_a_line(box, queue)
        worker = box.pid(f"worker-{queue}")
        old: set[int] = set()
        until(lambda: bool(old.update(_children(box, queue)) or old), within_s=BACK_WITHIN_S)
        for child in old:
            with suppress(psutil.NoSuchProcess):
                psutil.Process(child).kill()
        took_s = until(lambda: bool(_children(box, queue) - old), within_s=BACK_WITHIN_S)
        whole = "" if box.pid(f"worker-{queue}") == worker else ", the worker with it"
        return f"{len(old)} child killed{whole}, there again after {took_s:.1f} s"

    return strike


def _children(box: Box, queue: str) -> set[int]:
    """The processes that the worker of a queue works with, none while it is being started."""
    try:
        return {child.pid for child in box.process(f"worker-{queue}").children()}
    except psutil.NoSuchProcess:
        return set()


def _wait_for_a_line(box: Box, queue: str) -> None:
    """Until somebody waits before that station, so that it is struck at work; not longer than it may stay idle."""
    with suppress(TimeoutError):
        until(lambda: box.redis.llen(box.key(queue)) > 0, within_s=1.5, every_s=0.01)


def _sweeper_and_beat(box: Box) -> str:
    return f"{_killed(box, 'beat')}; {_killed(box, f'worker-{SWEEP_QUEUE}')}"


def _api(box: Box) -> str:
    said = _killed(box, "api")
    return f"{said}, ready {until(box.ready, within_s=BACK_WITHIN_S):.1f} s later"


def _broker(box: Box) -> str:
    victim = box.process("broker")
    before = _messages(box)
    victim.send_signal(signal.SIGKILL)
    until(lambda: box.pid("broker") != victim.pid, within_s=BACK_WITHIN_S)
    took_s = until(box.ready, within_s=BACK_WITHIN_S)
    return f"killed with {before} messages in it, ready {took_s:.1f} s after its restart"


def _broker_without_file(box: Box) -> str:
    victim = box.process("broker")
    before = _messages(box)
    box.supervisor.send_signal(signal.SIGSTOP)
    try:
        victim.send_signal(signal.SIGKILL)
        shutil.rmtree(box.folder / "broker" / "appendonlydir")
    finally:
        box.supervisor.send_signal(signal.SIGCONT)
    until(lambda: box.pid("broker") != victim.pid, within_s=BACK_WITHIN_S)
    took_s = until(box.ready, within_s=BACK_WITHIN_S)
    return f"killed, its file removed, {before} messages gone, ready {took_s:.1f} s after its restart"


def _messages(box: Box) -> int:
    return int(box.redis.hlen(box.key("unacked"))) + sum(int(box.redis.llen(box.key(queue))) for queue in STAGES)


def _database(box: Box) -> str:
    said = _killed(box, "database")
    return f"{said}, ready {until(box.ready, within_s=BACK_WITHIN_S):.1f} s later"


def _database_session(box: Box) -> str:
    """One server process dies: PostgreSQL throws out everybody and recovers."""
    ours = box.rows("select pid from pg_stat_activity where backend_type = 'client backend' and pid <> pg_backend_pid() limit 1")
    psutil.Process(int(ours[0][0])).kill()
    return f"one session killed, all were ended, ready after {until(box.ready, within_s=BACK_WITHIN_S):.1f} s"


def _cut(box: Box) -> str:
    broker = box.process("broker")
    broker.suspend()
    try:
        time.sleep(PAUSE_S)
    finally:
        broker.resume()
    return f"broker stopped for {PAUSE_S:g} s (SIGSTOP), ready {until(box.ready, within_s=BACK_WITHIN_S):.1f} s later"


def _full_disk(box: Box) -> str:
    if box.disk is None:
        raise NotHere("a small disk of its own takes root on Linux")
    before = box.parts()
    box.disk.fill()
    try:
        time.sleep(FULL_S)
    finally:
        box.disk.empty()
    took_s = until(box.ready, within_s=BACK_WITHIN_S)
    again = [name for name, restarts in box.parts().items() if restarts > before.get(name, 0)]
    return f"no room at all for {FULL_S:g} s (tmpfs), ready {took_s:.1f} s later; started again: {', '.join(again) or 'nothing'}"


def _clock_forward(box: Box) -> str:
    """Every time that was noted lies an hour further back, as seen from a clock that was set on by one."""
    looks = _shift_timers(box, -STEP_S)
    for name, _ in box.redis.zscan_iter(box.key("unacked_index")):
        box.redis.zincrby(box.key("unacked_index"), -STEP_S, name)
    expired = 0
    for key in box.redis.scan_iter(box.key("traveller:*")):
        expired += int(box.redis.delete(key))
    return f"{looks} looks fell due at once, {expired} travellers expired under way"


def _clock_back(box: Box) -> str:
    """Every time that was noted lies an hour ahead, and what waited in the queues is gone, so that the sweeper must see to it."""
    gone = sum(int(box.redis.llen(box.key(queue))) for queue in STAGES)
    box.redis.delete(*(box.key(queue) for queue in STAGES))
    return f"{_shift_timers(box, STEP_S)} looks moved an hour away, {gone} messages gone"


def _shift_timers(box: Box, seconds: int) -> int:
    box.change("update quoting.outbox set created_at = created_at + make_interval(secs => %s) where sent_at is null", (seconds,))
    return box.change(
        "update quoting.quotes set next_check_at = next_check_at + make_interval(secs => %s) where status = 'accepted'", (seconds,)
    )


def _poison(box: Box) -> str:
    """What nobody sent, at the head of every queue."""
    messages = poison()
    for queue in STAGES:
        box.redis.rpush(box.key(queue), *messages)
    took_s = until(
        lambda: not any(message in box.redis.lrange(box.key(queue), 0, -1) for queue in STAGES for message in messages),
        within_s=BACK_WITHIN_S,
    )
    return f"{len(messages)} kinds in each of {len(STAGES)} queues, taken out after {took_s:.1f} s"


def poison() -> list[bytes]:
    """Messages that no sender of ours makes."""
    task = next(iter(TASKS))
    return [
        b"\xff\xfe not text at all",
        b"text, but no JSON",
        b"[]",
        b"{}",
        _message("nobody.knows.it", [["Q-2026-000001", 1, "t"], {}, {}]),
        _message(task, [["Q-2026-999999", 1, "t"], {}, {}]),
        _message(task, [[], {"surprise": 1}, {}]),
        _message(task, "not arguments"),
        _message(task, [["Q-2026-000001", 1, "t"], {}, {}], kind="application/x-python-serialize"),
        _message(task, [["Q-2026-000001", 1, "t"], {}, {}], expires="2020-01-01T00:00:00+00:00"),
    ]


def _message(task: str, body: object, *, kind: str = "application/json", expires: str | None = None) -> bytes:
    """A message as Celery lays it into a list of Redis."""
    content = json.dumps(body).encode() if kind == "application/json" else pickle.dumps(body)
    return json.dumps(
        {
            "body": base64.b64encode(content).decode(),
            "content-encoding": "utf-8" if kind == "application/json" else "binary",
            "content-type": kind,
            "headers": {"lang": "py", "task": task, "id": f"poison-{task}", "expires": expires, "retries": 0},
            "properties": {
                "correlation_id": f"poison-{task}", "delivery_mode": 2, "delivery_tag": f"poison-{task}-{kind}-{expires}-{len(content)}",
                "delivery_info": {"exchange": "", "routing_key": "x"}, "priority": 0, "body_encoding": "base64",
            },
        }
    ).encode()  # fmt: skip


NOTHING_LOST = "nothing lost, nothing done twice in effect"

FAULTS: Sequence[Fault] = (
    *(
        Fault(f"kill -9 a child of the {queue} worker", "the task is tried again after 2 s, three times at most", _child(queue))
        for queue in STAGES
    ),
    *(
        Fault(f"kill -9 the {queue} worker", "what it held is started again by the sweeper after 15 s", _worker(queue))
        for queue in STAGES
    ),
    Fault("kill -9 beat and the sweeper", "quotes go on; only what needs sweeping waits for their restart", _sweeper_and_beat),
    Fault("kill -9 the API", "callers try again with their key and get one quote; quotes under way go on", _api),
    Fault("kill -9 the broker, with its file", "up to a second of messages is lost, and started again after 15 s", _broker),
    Fault(
        "kill -9 the broker, without its file",
        "every message is lost, every quote is started again after 15 s",
        _broker_without_file,
    ),
    Fault("kill -9 PostgreSQL", "503 meanwhile; what was answered 202 is there, stages try again", _database),
    Fault("kill -9 a session of PostgreSQL", "as PostgreSQL itself", _database_session),
    Fault("the broker cut off", "202 all the same, only later; stages try again", _cut),
    Fault(
        "the disk full",
        "503 meanwhile; workers may end and are started again; all goes on by itself when there is room",
        _full_disk,
    ),
    Fault("the clock set on by an hour", "quotes under way are started again, once", _clock_forward),
    Fault("the clock set back by an hour", "the sweeper is not blinded", _clock_back),
    Fault("64 strangers with 16 MiB each", "401 before a byte of a body is read; the memory stays as it is", strangers_at_once),
    Fault(
        "quotes of as much work as may be",
        "a small quote of another key is ready in its usual time, or three of it",
        bombs_beside_a_small_quote,
    ),
    Fault("messages of nobody", "taken out of the queue, logged; the line behind them moves on", _poison),
)
