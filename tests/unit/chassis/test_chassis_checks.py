"""Questions to parts: one at a time, answered by all within the deadline, and a part that was well gets a little patience."""

from __future__ import annotations

import asyncio
import threading
from types import SimpleNamespace
from typing import Any

import pytest

from services.chassis import checks as checks_module
from services.chassis.checks import Check, Checks


class Part:
    """Answers when it is told to."""

    def __init__(self) -> None:
        self.thawed = threading.Event()
        self.thawed.set()
        self.asked = 0
        self.words: str | None = None

    def ask(self, _: Any) -> str | None:
        self.asked += 1
        self.thawed.wait(20)
        return self.words


@pytest.fixture
def part() -> Part:
    return Part()


@pytest.fixture
def checks(part: Part, monkeypatch: pytest.MonkeyPatch) -> Checks:
    monkeypatch.setattr(checks_module, "apart", lambda resources, _: resources)
    monkeypatch.setattr(checks_module, "DEADLINE_S", 0.05)
    monkeypatch.setattr(checks_module, "KEPT_S", 0.0)
    resources: Any = SimpleNamespace()
    return Checks(resources, [Check("part", part.ask, kept_s=0.0)])


def words(checks: Checks) -> str | None:
    (answer,) = asyncio.run(checks.answers())
    return answer.words


def test_a_part_that_never_answers_is_told_at_the_deadline_and_asked_once(checks: Checks, part: Part) -> None:
    part.thawed.clear()
    assert [words(checks) for _ in range(5)] == ["no answer within 0.05 s"] * 5
    assert part.asked == 1
    part.thawed.set()
    while words(checks) is not None:
        pass
    assert part.asked >= 1


def test_a_part_that_was_well_is_given_a_moment_before_it_counts_as_silent(
    checks: Checks, part: Part, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert words(checks) is None
    part.thawed.clear()
    assert words(checks) is None
    monkeypatch.setattr(checks_module, "PATIENCE_S", 0.0)
    assert words(checks) == "no answer within 0.05 s"
    monkeypatch.setattr(checks_module, "PATIENCE_S", 60.0)
    assert words(checks) == "no answer within 0.05 s", "silence is not forgotten before it answers"
    part.thawed.set()


def test_what_a_question_raises_is_told_by_its_name(checks: Checks, part: Part, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(_: Any) -> str | None:
        raise LookupError

    resources: Any = SimpleNamespace()
    assert words(Checks(resources, [Check("part", broken)])) == "no: LookupError"


def test_words_of_a_check_are_asked_for_again_and_good_news_is_kept(part: Part, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(checks_module, "apart", lambda resources, _: resources)
    monkeypatch.setattr(checks_module, "KEPT_S", 0.0)
    resources: Any = SimpleNamespace()
    kept = Checks(resources, [Check("part", part.ask, kept_s=60.0)])
    part.words = "full"
    assert [words(kept), words(kept)] == ["full", "full"]
    part.words = None
    assert [words(kept), words(kept)] == [None, None]
    assert part.asked == 3
