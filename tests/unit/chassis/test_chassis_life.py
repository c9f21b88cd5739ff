"""A worker's looks at itself: busy is well, deaf and frozen are not, and a machine that stood still is no fault of the worker."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from services.chassis import heartbeat
from services.chassis.life import DEAF_AFTER_S, FROZEN_AFTER_S, LOOK_EVERY_S, OVERDUE_BY_S, Look, Watch
from services.chassis.queue import HARD_LIMIT_S

IDLE = Look(children=2, begun=7, limits_s={})
BUSY = replace(IDLE, limits_s={"a": HARD_LIMIT_S, "b": HARD_LIMIT_S})


def ends_after_s(looks: Iterator[Look], *, within_s: float = 1000.0) -> tuple[float, str] | None:
    """When the watch ends a worker that looks like that from second to second, and why."""
    watch, now = Watch(0.0), 0.0
    while now < within_s:
        now += LOOK_EVERY_S
        why = watch.fault(next(looks), now)
        if why is not None:
            return now, why
    return None


def always(look: Look) -> Iterator[Look]:
    while True:
        yield look


def at_work(*, each_s: float) -> Iterator[Look]:
    """Both children always at work, at tasks that take so long; nothing of its own queue is ever taken."""
    now = 0.0
    while True:
        now += LOOK_EVERY_S
        at = int(now / each_s)
        yield replace(BUSY, begun=2 * at, limits_s={f"a{at}": HARD_LIMIT_S, f"b{at}": HARD_LIMIT_S})


def test_a_worker_whose_children_are_all_at_work_for_as_long_as_they_may_is_well() -> None:
    assert ends_after_s(at_work(each_s=25.0)) is None
    assert ends_after_s(at_work(each_s=HARD_LIMIT_S)) is None


def test_a_worker_with_an_idle_child_that_takes_nothing_is_deaf() -> None:
    ends = ends_after_s(always(IDLE))
    assert ends is not None
    seconds, why = ends
    assert DEAF_AFTER_S < seconds <= DEAF_AFTER_S + 3 * LOOK_EVERY_S
    assert "nobody has taken it" in why


def test_one_child_at_work_is_no_excuse_for_the_other() -> None:
    assert ends_after_s(always(replace(IDLE, limits_s={"a": 3600.0}))) is not None


def test_a_worker_that_takes_something_now_and_then_is_well() -> None:
    assert ends_after_s(replace(IDLE, begun=look // 5) for look in range(10_000)) is None


def test_nothing_to_hear_while_the_broker_is_away_is_no_deafness() -> None:
    assert ends_after_s(always(replace(IDLE, broker_answers=False, unbegun=frozenset({"a"})))) is None


def test_a_worker_that_was_told_to_end_is_left_to_end() -> None:
    assert ends_after_s(always(replace(BUSY, ending=True))) is None


def test_a_child_past_its_limit_that_nobody_ends_is_frozen() -> None:
    ends = ends_after_s(always(BUSY))
    assert ends is not None
    seconds, why = ends
    assert HARD_LIMIT_S + OVERDUE_BY_S < seconds <= HARD_LIMIT_S + OVERDUE_BY_S + 3 * LOOK_EVERY_S
    assert "past its time limit" in why
    assert ends_after_s(always(replace(BUSY, limits_s={"a": 300.0, "b": 300.0})), within_s=310) is None, "each by its own limit"


def test_a_child_that_is_handed_a_task_and_does_not_begin_it_is_frozen() -> None:
    looks = (replace(IDLE, begun=look, unbegun=frozenset({"a"})) for look in range(10_000))
    ends = ends_after_s(looks)
    assert ends is not None
    seconds, why = ends
    assert FROZEN_AFTER_S < seconds <= FROZEN_AFTER_S + 3 * LOOK_EVERY_S
    assert "has not begun it" in why


def test_a_task_that_waits_behind_busy_children_is_not_stuck() -> None:
    def looks() -> Iterator[Look]:
        for look in at_work(each_s=25.0):
            yield replace(look, unbegun=frozenset({"next"}))

    assert ends_after_s(looks()) is None


def test_a_machine_that_stood_still_for_an_hour_is_no_deaf_worker() -> None:
    watch = Watch(0.0)
    assert watch.fault(IDLE, LOOK_EVERY_S) is None
    assert watch.fault(IDLE, 3600.0) is None
    assert not watch.heard
    assert watch.fault(replace(IDLE, begun=8), 3605.0) is None
    assert watch.heard


def test_the_check_of_the_container_reads_the_age_of_the_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("BLANKWRIGHT_HEARTBEAT_FILE", str(tmp_path / "beat"))
    assert heartbeat.silence_s() == float("inf"), "there was no beat yet"
    heartbeat.beat_once()
    assert heartbeat.silence_s() < heartbeat.LONGEST_SILENCE_S
    os.utime(tmp_path / "beat", (1, 1))
    assert heartbeat.silence_s() > heartbeat.LONGEST_SILENCE_S
