"""The examples of the client, each run as it stands against a running box."""

from __future__ import annotations

import re
import sys
from collections.abc import Callable
from importlib import import_module
from pathlib import Path

import pytest

from services.chassis.one_box import Address

Run = Callable[..., str]
PRICE = r"\d+\.\d\d USD each"


@pytest.fixture
def run(box: Address, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    """What an example prints, run by a key of a role in a folder of its own."""

    def ran(name: str, *arguments: str, role: str = "sales") -> str:
        monkeypatch.chdir(tmp_path)
        monkeypatch.setenv("BLANKWRIGHT_URL", box.url)
        monkeypatch.setenv("BLANKWRIGHT_KEY", box.keys[role])
        monkeypatch.setattr(sys, "argv", [name, *arguments])
        import_module(f"services.client.examples.{name}").main()
        return capsys.readouterr().out

    return ran


def test_a_lens_is_quoted_and_a_table_with_its_question_answered(run: Run) -> None:
    assert re.findall(PRICE, run("quote_a_lens")), "prices"
    table = run("quote_a_table")
    assert "are in inches" in table
    assert re.findall(PRICE, table)


def test_what_was_asked_for_once_is_quoted_once_after_a_restart(run: Run, tmp_path: Path) -> None:
    first, second = re.findall(r"Q-\d+-\d+", run("quote_once"))
    assert first == second
    assert re.findall(r"Q-\d+-\d+", run("quote_once")) == [first, first], "another start, the same journal"
    assert (tmp_path / "sent.journal").exists()


def test_a_quote_is_followed_to_its_outcome_and_a_price_explained(run: Run) -> None:
    seen = re.findall(r"s  ([a-z_]+)$", run("follow_a_quote"), re.MULTILINE)
    assert (seen[0], seen[-1]) == ("accepted", "ready")
    told = run("explain_a_price")
    assert re.match(r"unit_price = [\d.]+ USD", told)
    assert "operations = " in told


def test_a_rate_table_is_put_and_the_feed_read_once_each(run: Run) -> None:
    assert re.match(r"metals is in revision \d+, \d+ rows", run("change_a_rate", role="engineer"))
    run("quote_a_lens")
    first, second = run("read_the_feed", role="erp"), run("read_the_feed", role="erp")
    assert int(first.split()[-2]) == len(first.splitlines()) - 1 > 0
    assert second == "0 entries\n", "the cursor was kept"


def test_many_are_quoted_at_once(run: Run) -> None:
    assert len(set(re.findall(r"Q-\d+-\d+", run("many_at_once", "6")))) == 6
