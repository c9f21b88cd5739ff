"""When an endpoint is asked again, and what an answer means: a table, with clock and chance given."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from services.quoting.store.webhook_deliveries import Claim
from services.quoting.store.webhooks import A_DAY
from services.quoting.webhooks.delivering import verdict_on
from services.quoting.webhooks.schedule import next_try, retry_after, wait_after
from services.quoting.webhooks.sending import Answer

NOW = datetime(2026, 11, 2, 12, 0, tzinfo=UTC)
MIDDLE = 0.5
CLAIM = Claim(
    lease="l", endpoint="wh_1", url="https://a.example/", secrets=("whsec_x",), delivery=1, message_id="e-1", type="accepted",
    entry=1, epoch="e", number="E-1", at=NOW, document=b"{}", failures=0, give_up_at=NOW + A_DAY,
)  # fmt: skip


def test_waits_grow_to_four_hours_and_differ_by_a_fifth_at_most() -> None:
    waits_s = [wait_after(failures, MIDDLE).total_seconds() for failures in range(1, 12)]
    assert waits_s == pytest.approx([5, 30, 120, 600, 1800, 3600, 7200, 14400, 14400, 14400, 14400])
    for failures in range(1, 12):
        shortest, longest = wait_after(failures, 0.0), wait_after(failures, 1.0)
        assert shortest < wait_after(failures, MIDDLE) < longest
        assert longest / shortest == pytest.approx(1.5)


@pytest.mark.parametrize("chance", [0.0, MIDDLE, 1.0])
def test_a_message_is_tried_for_a_day_and_last_at_its_end(chance: float) -> None:
    now, failures, tries = NOW, 0, []
    while True:
        verdict = verdict_on(replace(CLAIM, failures=failures), Answer(503), now=now, chance=chance)
        tries.append(now - NOW)
        if verdict.state == "dead":
            break
        assert verdict.next_try_at is not None
        assert verdict.next_try_at > now
        now, failures = verdict.next_try_at, verdict.failures
    assert tries[-1] == A_DAY
    assert 11 <= len(tries) <= 15
    assert verdict.next_try_at == now, "what follows is tried at once"


def test_a_message_that_could_not_be_tried_in_its_day_is_tried_before_it_is_given_up_on() -> None:
    late = NOW + 3 * A_DAY
    assert verdict_on(CLAIM, Answer(200), now=late, chance=MIDDLE).state == "delivered"
    assert verdict_on(CLAIM, Answer(500), now=late, chance=MIDDLE).state == "dead"


@pytest.mark.parametrize(("told", "wait_s"), [
    ("120", 120), (" 7 ", 7), ("Mon, 02 Nov 2026 12:10:00 GMT", 600), ("Mon, 02 Nov 2026 11:00:00 GMT", 0),
    ("999999999999999999999", 86400), ("Tue, 01 Jan 2999 00:00:00 GMT", 86400),
    ("soon", None), ("-5", None), ("", None), ("٣", None), (None, None),
])  # fmt: skip
def test_retry_after_is_read_as_seconds_or_as_a_date_and_never_longer_than_a_day(told: str | None, wait_s: int | None) -> None:
    wait = retry_after(told, now=NOW)
    assert (wait and wait.total_seconds()) == wait_s or (wait_s == 0 and wait == timedelta(0))


def test_who_asks_to_wait_is_not_asked_before_that_and_no_later_than_the_end_of_the_day() -> None:
    verdict = verdict_on(CLAIM, Answer(429, retry_after="3600"), now=NOW, chance=MIDDLE)
    assert (verdict.state, verdict.next_try_at) == ("waiting", NOW + timedelta(hours=1))
    near_the_end = CLAIM.give_up_at - timedelta(minutes=10)
    assert verdict_on(CLAIM, Answer(429, retry_after="3600"), now=near_the_end, chance=MIDDLE).next_try_at == CLAIM.give_up_at
    shorter = verdict_on(replace(CLAIM, failures=5), Answer(503, retry_after="1"), now=NOW, chance=MIDDLE)
    assert shorter.next_try_at == NOW + timedelta(hours=1), "our own wait is longer"
    over = verdict_on(CLAIM, Answer(503, retry_after="86400"), now=CLAIM.give_up_at, chance=MIDDLE)
    assert (over.state, over.next_try_at) == ("dead", CLAIM.give_up_at + timedelta(hours=4))
    assert next_try(failures=1, chance=MIDDLE, asked_to_wait=None, now=NOW, give_up_at=NOW - A_DAY) == NOW


@pytest.mark.parametrize("status", [200, 201, 202, 204, 299])
def test_any_2xx_is_taken_and_failures_are_forgotten(status: int) -> None:
    verdict = verdict_on(replace(CLAIM, failures=7), Answer(status), now=NOW, chance=MIDDLE)
    assert (verdict.state, verdict.failures, verdict.next_try_at, verdict.is_gone) == ("delivered", 0, NOW, False)


@pytest.mark.parametrize(
    "answer", [Answer(301), Answer(400), Answer(401), Answer(404), Answer(500), Answer(None, "no answer within 10 s")]
)
def test_anything_else_is_tried_again(answer: Answer) -> None:
    verdict = verdict_on(CLAIM, answer, now=NOW, chance=MIDDLE)
    assert (verdict.state, verdict.failures, verdict.next_try_at) == ("waiting", 1, NOW + timedelta(seconds=5))
    assert (verdict.status, verdict.fault) == (answer.status, answer.fault)


def test_410_pauses_the_endpoint_and_loses_nothing() -> None:
    verdict = verdict_on(CLAIM, Answer(410), now=CLAIM.give_up_at + A_DAY, chance=MIDDLE)
    assert (verdict.state, verdict.is_gone) == ("waiting", True)


def test_a_test_is_tried_once_and_moves_nothing_where_it_fails() -> None:
    test = replace(CLAIM, type="test", entry=None, epoch=None, document=None, failures=3)
    for answer in (Answer(500), Answer(410), Answer(None, "refused: x")):
        verdict = verdict_on(test, answer, now=NOW, chance=MIDDLE)
        assert (verdict.state, verdict.failures, verdict.next_try_at, verdict.is_gone) == ("failed", 3, None, False)
    assert verdict_on(test, Answer(204), now=NOW, chance=MIDDLE).state == "delivered"
