"""Streams without an end: how many are open at once, and that none keeps a process that is told to end."""

from __future__ import annotations

import signal
from collections.abc import Iterator
from contextlib import ExitStack

import pytest

from services.chassis.open_streams import OpenStreams
from services.chassis.refusals import Refused


@pytest.fixture
def heard() -> Iterator[list[int]]:
    """Signals that came to whoever heard them before; afterwards they are heard as they were."""
    came: list[int] = []
    before = {number: signal.signal(number, lambda got, _: came.append(got)) for number in (signal.SIGTERM, signal.SIGINT)}
    yield came
    for number, handler in before.items():
        signal.signal(number, handler)


def test_of_a_key_only_so_many_are_open_and_a_place_is_free_again_when_one_ends() -> None:
    streams = OpenStreams(most=5, most_of_key=2)
    with ExitStack() as held:
        held.enter_context(streams.place("a"))
        with streams.place("a"), pytest.raises(Refused, match="This key has 2 streams open") as refused, streams.place("a"):
            pass
        assert (refused.value.slug, refused.value.headers["Retry-After"]) == ("too-often", "10")
        held.enter_context(streams.place("a"))
        held.enter_context(streams.place("b"))


def test_in_all_only_so_many_are_open_whoever_asks() -> None:
    streams = OpenStreams(most=3, most_of_key=2)
    with streams.place("a"), streams.place("b"), streams.place("c"):
        with pytest.raises(Refused, match="3 streams are open") as refused, streams.place("d"):
            pass
        assert refused.value.slug == "busy"
    with pytest.raises(ValueError, match="broke"), streams.place("a"):
        raise ValueError("it broke")
    with streams.place("a"), streams.place("a"), streams.place("d"):
        pass


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_a_process_that_is_told_to_end_says_so_to_its_streams_and_to_its_server(heard: list[int], number: signal.Signals) -> None:
    streams = OpenStreams()
    streams.end_with_the_process()
    assert not streams.must_end
    signal.raise_signal(number)
    assert (streams.must_end, heard) == (True, [number])
