"""The reader of event streams against the examples of WHATWG, HTML Living Standard, 9.2.6 "Interpreting an event stream"."""

from __future__ import annotations

import pytest

from services.client.events import EventReader

EXAMPLES = {
    "three lines of data are one event": (b"data: YHOO\ndata: +2\ndata: 10\n\n", [("YHOO\n+2\n10", "")]),
    "a comment, an id, an id that is taken back, a space that is kept": (
        b": test stream\n\ndata: first event\nid: 1\n\ndata:second event\nid\n\ndata:  third event\n\n",
        [("first event", "1"), ("second event", ""), (" third event", "")],
    ),
    "data without a value, and a block without its end": (b"data\n\ndata\ndata\n\ndata:", [("", ""), ("\n", "")]),
    "the space after the colon counts for nothing": (b"data:test\n\ndata: test\n\n", [("test", ""), ("test", "")]),
}


@pytest.mark.parametrize("ending", [b"\n", b"\r\n", b"\r"], ids=["LF", "CR LF", "CR"])
@pytest.mark.parametrize("stride", [1, 3, 1000])
@pytest.mark.parametrize("name", EXAMPLES)
def test_the_examples_of_the_standard_are_read_as_it_says_however_they_are_cut(name: str, stride: int, ending: bytes) -> None:
    stream, events = EXAMPLES[name]
    stream, reader = stream.replace(b"\n", ending), EventReader()
    pieces = [stream[at : at + stride] for at in range(0, len(stream), stride)]
    found = [event for piece in pieces for event in reader.read(piece)]
    assert [(event.data, event.id) for event in found] == events
    assert {event.type for event in found} <= {"message"}


def test_a_byte_order_mark_leads_and_a_cut_letter_is_whole() -> None:
    reader, stream = EventReader(), "\ufeffevent: ready\nretry: 2000\nid: 7\ndata: Å\n\n".encode()
    found = [event for at in range(len(stream)) for event in reader.read(stream[at : at + 1])]
    assert [(event.type, event.data, event.id) for event in found] == [("ready", "Å", "7")]
    assert (reader.last_id, reader.retry_s) == ("7", 2.0)


def test_an_id_with_a_null_and_a_retry_that_is_no_number_are_passed_over() -> None:
    reader = EventReader("3")
    (event,) = reader.read(b"id: 4\x00\nretry: soon\nunknown: x\ndata: d\n\n")
    assert (event.id, reader.retry_s) == ("3", None)
