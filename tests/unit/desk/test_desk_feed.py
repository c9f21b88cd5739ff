"""The command estimates: the feed in 80 columns or as JSON Lines, and a file that keeps where a poller is."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

import httpx
import pytest
from typer.testing import CliRunner, Result

from services.desk import cursor_file
from services.desk.command import app
from services.desk.commands import feed as feed_commands
from services.desk.commands.feed import entry_line
from services.desk.cursor_file import read_cursor, write_cursor
from services.desk.errors import FileUnreadable, FileUnwritable
from shared_schemas.estimate_feed import EstimateEntry, EstimatePage
from shared_schemas.lead_times import PromisedAtAcceptance
from shared_schemas.order_events import OrderCancellation, Rescheduling
from shared_schemas.quote import QuoteDecision

NOON = datetime(2026, 11, 2, 12, 0, tzinfo=UTC)
Run = Callable[..., Result]


def entry(number: int, kind: str = "ready", **changes: Any) -> EstimateEntry:
    said = {
        "id": number, "epoch": "0" * 12, "type": kind, "at": NOON, "number": f"E-2026-{number:06d}", "quote_number": f"Q-2026-{number:06d}",
        "revision": 1, "title": "doublet", "customer": "Tarn & Fell", "finished_at": NOON,
    }  # fmt: skip
    return EstimateEntry.model_validate(said | changes)


def order(number: int) -> EstimateEntry:
    days = {"p50": date(2026, 12, 18), "p80": date(2026, 12, 20), "p90": date(2026, 12, 22)}
    promised = PromisedAtAcceptance(
        quoted_ship_date=date(2026, 12, 20), ship_date=date(2026, 12, 22), days=days, load_snapshot=1, at=NOON
    )
    decision = QuoteDecision(
        number=f"Q-2026-{number:06d}", revision=1, decision="accepted", quantity=1200, by="R. L.", key_id="k", at=NOON, promised=promised,
        purchase_order="PO 7",
    )  # fmt: skip
    return entry(number, "accepted", decision=decision)


def page(*entries: EstimateEntry, end: str | None) -> str:
    return EstimatePage(items=entries, next=end).model_dump_json()


class Server:
    """Answers one request after the other with what it was given, and keeps what it was asked."""

    def __init__(self) -> None:
        self.asked: list[Any] = []
        self.answers: Iterator[Any] = iter(())

    def __call__(self, request: Any) -> Any:
        self.asked.append(request)
        answer = next(self.answers)
        if isinstance(answer, BaseException):
            raise answer
        return answer if isinstance(answer, httpx.Response) else httpx.Response(200, text=answer)

    def cursors(self) -> list[str | None]:
        return [one.url.params.get("after") for one in self.asked]


@pytest.fixture
def server() -> Server:
    return Server()


@pytest.fixture
def run(server: Server, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, reach: Any) -> Run:
    """`run(answers, *arguments)` runs the command against a server that gives these answers."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(feed_commands.time, "sleep", lambda _: None)

    reach(httpx.MockTransport(server))

    def ran(answers: list[Any], *arguments: str) -> Result:
        server.answers = iter(answers)
        return CliRunner().invoke(app, ["estimates", "--url", "http://desk.test", "--key", "k", *arguments])

    return ran


def test_the_feed_is_printed_page_by_page_in_80_columns_and_says_how_to_go_on(run: Run, server: Server) -> None:
    long = entry(3, "declined", title="a lens with a title that nobody will ever see the end of, however wide the window is")
    done = run([page(entry(1), order(2), end="Y2"), page(long, end="Y3"), page(end="Y3")], "--type", "ready", "--type", "declined")
    assert done.exit_code == 0, done.output
    lines = done.stdout.splitlines()
    assert lines[1:3] == [
        "2026-11-02 12:00  ready        E-2026-000001      doublet, Tarn & Fell",
        "2026-11-02 12:00  accepted     E-2026-000002      1,200 x doublet, PO 7, for 20…",
    ]
    assert max(len(line) for line in lines) <= 80
    assert "--after Y3" in done.stderr
    assert server.cursors() == [None, "Y2", "Y3"]
    assert server.asked[0].url.params.get_list("type") == ["ready", "declined"]
    assert not any("Prefer" in one.headers for one in server.asked)


def test_an_order_that_moved_or_was_cancelled_says_so_before_all_else() -> None:
    moved = Rescheduling(old_date=date(2026, 12, 22), new_date=date(2027, 1, 11), cause="work_reported")
    ended = OrderCancellation(
        at=NOON, by="M. Fell", key_id="k", reason="no_longer_needed", charge=Decimal("1250.00"), currency="USD"
    )
    placed = order(2).model_dump(exclude={"type"})
    lines = [
        entry_line(EstimateEntry.model_validate(placed | {"type": "rescheduled", "rescheduled": moved})),
        entry_line(EstimateEntry.model_validate(placed | {"type": "cancelled", "cancellation": ended})),
    ]
    assert lines == [
        "2026-11-02 12:00  rescheduled  E-2026-000002      2026-12-22 -> 2027-01-11, 1,2…",
        "2026-11-02 12:00  cancelled    E-2026-000002      no longer needed, charge 1,25…",
    ]


def test_as_json_every_line_is_an_entry_as_it_came(run: Run) -> None:
    entries = (entry(1), order(2))
    done = run([page(*entries, end="Y2"), page(end="Y2")], "--json")
    assert [EstimateEntry.model_validate_json(line) for line in done.stdout.splitlines()] == list(entries)


def test_a_poller_goes_on_where_its_file_says(run: Run, server: Server, tmp_path: Path) -> None:
    assert run([page(entry(1), end="Y1"), page(end="Y1")], "--cursor", "at").exit_code == 0
    assert (tmp_path / "at").read_text() == "Y1\n"
    done = run([page(entry(2), end="Y2"), page(end="Y2")], "--cursor", "at", "--json")
    assert server.cursors() == [None, "Y1", "Y1", "Y2"]
    assert [json.loads(line)["id"] for line in done.stdout.splitlines()] == [2]
    assert (tmp_path / "at").read_text() == "Y2\n"
    assert [one.name for one in tmp_path.iterdir()] == ["at"]
    run([page(end="Y1")], "--cursor", "at", "--after", "Y1")
    assert server.cursors()[-1] == "Y1", "what is named counts before the file"


def test_the_file_is_written_only_when_the_entries_were_printed(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    write_cursor(tmp_path / "at", "Y1")

    def broken(_: str) -> None:
        raise OSError("no room for it")

    monkeypatch.setattr(feed_commands.typer, "echo", broken)
    assert run([page(entry(2), end="Y2")], "--cursor", "at").exit_code != 0
    assert read_cursor(tmp_path / "at") == "Y1"


def test_followed_it_waits_for_what_comes_and_asks_again_while_the_server_is_away(run: Run, server: Server, tmp_path: Path) -> None:
    away, broken = (
        httpx.ConnectError("refused"),
        httpx.Response(503, json={"type": "x", "title": "Away", "status": 503, "detail": "-"}),
    )
    answers = [page(entry(1), end="Y1"), *[away] * 5, broken, page(end="Y1"), page(entry(2), end="Y2"), KeyboardInterrupt()]
    done = run(answers, "--follow", "--cursor", "at", "--json")
    assert done.exit_code == 0, done.output
    assert [json.loads(line)["id"] for line in done.stdout.splitlines()] == [1, 2]
    assert [one.headers.get("Prefer") for one in server.asked] == [None] + ["wait=20"] * 9
    assert server.cursors() == [None, *["Y1"] * 8, "Y2"]
    assert done.stderr.count("asked again") == 1, "said once, however long it lasts"
    assert read_cursor(tmp_path / "at") == "Y2"


def test_who_stops_following_is_told_how_to_go_on(run: Run) -> None:
    done = run([page(entry(1), end="Y1"), KeyboardInterrupt()], "--follow")
    assert (done.exit_code, "go on with: --after Y1" in done.stderr) == (0, True)


@pytest.mark.parametrize("arguments", [[], ["--follow"]])
def test_a_cursor_of_before_a_restore_ends_the_command_and_leaves_the_file(run: Run, tmp_path: Path, arguments: list[str]) -> None:
    write_cursor(tmp_path / "at", "Y1")
    gone = {
        "type": "/problems#gone",
        "title": "The cursor is of before a restore",
        "status": 410,
        "detail": "Start from the beginning.",
    }
    done = run([httpx.Response(410, json=gone)], "--cursor", "at", *arguments)
    assert (done.exit_code, "from the beginning" in done.stderr) == (2, True)
    assert read_cursor(tmp_path / "at") == "Y1"


def test_a_file_that_holds_no_cursor_is_named(run: Run, server: Server, tmp_path: Path) -> None:
    for content in (b"", b"two words", b"\xff\xfe", b"x" * 300):
        (tmp_path / "at").write_bytes(content)
        done = run([], "--cursor", "at")
        assert (done.exit_code, "at cannot be read: it is not a cursor" in done.stderr, server.asked) == (2, True, [])
    with pytest.raises(FileUnreadable):
        read_cursor(tmp_path)
    with pytest.raises(FileUnwritable):
        write_cursor(tmp_path / "nowhere" / "at", "Y1")


def test_a_cursor_is_in_its_file_whole_or_not_at_all(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    write_cursor(tmp_path / "at", "Y1")

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(cursor_file.os, "fsync", full)
    with pytest.raises(FileUnwritable, match="No space left"):
        write_cursor(tmp_path / "at", "Y2")
    assert (read_cursor(tmp_path / "at"), len(list(tmp_path.iterdir()))) == ("Y1", 1)
