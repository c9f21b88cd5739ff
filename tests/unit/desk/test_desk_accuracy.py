"""How true quotes came, at the desk: tables in eighty columns, charts and CSV written as they come."""

from __future__ import annotations

import json
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

from shared_schemas.accuracy import Accuracy, AccuracyGroup, MeasuredAccuracy, ShareInside
from shared_schemas.learned import ClassEvidence, FactorChange, FactorEvidence, LearnedRates, LearnedRow, OpenOrdersEffect
from shared_schemas.win_rate import DecidedAtMarkup, DecidedQuotes, WinRate
from tests.unit.desk.test_desk_orders import run

__all__ = ["run"]


def group(name: str) -> AccuracyGroup:
    known = MeasuredAccuracy(
        measure="hours", jobs=1412, mape_percent=12.34, median_ratio=1.04, ratio_p25=0.951, ratio_p75=1.128,
        inside_p80=ShareInside(jobs=1412, share=0.79, low=0.77, high=0.81),
    )  # fmt: skip
    few = MeasuredAccuracy(measure="yield", jobs=2, remark="only 2 jobs tell it; figures are given from 5 on")
    return AccuracyGroup(name=name, jobs=1412, measures=(known, few))


def report() -> Accuracy:
    return Accuracy(
        jobs=1412, unfinished=37, cancelled=3, unreported=0, unread=0, method="", whole=group("all"), by_month=(group("2026-11"),),
        by_customer=(group("Tarn & Fell Instruments of the Far North"),), by_operation=(), by_work_centre=(), left_out={"customer": 4},
    )  # fmt: skip


def test_quoted_against_actual_is_told_in_eighty_columns_and_few_jobs_have_no_figure(run: Any) -> None:
    done, (asked,) = run([(200, report().model_dump_json())], "accuracy", "--by", "customer", "--since", "2026-01-01")
    assert (asked.url.path, dict(asked.url.params)) == ("/v1/accuracy", {"since": "2026-01-01"})
    lines = done.stdout.splitlines()
    assert lines[0] == "1,412 finished orders; left out: 37 not finished, 3 cancelled"
    assert lines[3].split() == ["hours", "1,412", "12.3", "%", "1.04", "0.95", "to", "1.13", "79", "%"]
    assert lines[4].split() == ["yield", "2", "too", "few", "to", "tell"]
    assert lines[-2].startswith("Tarn & Fell Instruments of ")
    assert lines[-1] == "and 4 more"
    assert max(len(line) for line in lines) <= 80
    said, _ = run([(200, report().model_dump_json())], "accuracy", "--json")
    assert json.loads(said.stdout)["jobs"] == 1412


def test_the_win_rate_is_told_with_its_interval(run: Any) -> None:
    won = DecidedQuotes(name="all", decided=1010, accepted=700, declined=200, expired=110, declined_because={"price": 150, "lost_to_other": 50},
                        win_share=0.693, low=0.664, high=0.721)  # fmt: skip
    band = DecidedAtMarkup(**won.model_dump() | {"name": "70 to 80 %"}, from_percent=70, to_percent=80)
    found = WinRate(
        open=12, without_markup=0, unread=3, method="", whole=won, by_markup=(band,), by_customer=(), by_month=(), left_out=0
    )
    done, (asked,) = run([(200, found.model_dump_json())], "win-rate")
    assert asked.url.path == "/v1/win-rate"
    lines = done.stdout.splitlines()
    assert lines[:2] == ["1,010 quotes decided, 12 open", "3 of them are not read yet: ask again"]
    assert lines[4].split() == ["70", "to", "80", "%", "700", "200", "110", "69", "%", "66", "to", "72", "%"]
    assert lines[-1] == "declined because: price 150, lost to other 50"
    assert max(len(line) for line in lines) <= 80


def test_charts_and_tables_are_written_as_they_come(run: Any, tmp_path: Path) -> None:
    import services.desk.commands.accuracy as commands  # noqa: PLC0415

    for kind, arguments in (
        (commands.SVG, ("accuracy", "--chart", "operation", "--measure", "cost", "--out", "o.svg")),
        (commands.CSV, ("accuracy", "--csv", "--out", "o.csv")),
        (commands.SVG, ("win-rate", "--chart", "markup", "--out", "w.svg")),
    ):
        done, (asked,) = run([(200, "as it comes\r\n")], *arguments, kind=kind)
        assert done.exit_code == 0, done.output
        assert asked.headers["Accept"].startswith(kind)
        assert (tmp_path / arguments[-1]).read_bytes() == b"as it comes\r\n"


def test_what_was_learned_is_told_with_its_evidence_and_what_would_become_of_the_row(run: Any) -> None:
    evidence = FactorEvidence(operation="blacken_edge", method="", time="run", jobs=12, all_jobs=12, changed=False, ratio=1.31, low=1.25, high=1.37,
                              is_sure=True, error_before=0.24, error_after=0.03,
                              classes=(ClassEvidence(glass_class="HG3", tolerance_class="precision", jobs=9, ratio=1.4, low=1.3, high=1.5),))  # fmt: skip
    effect = OpenOrdersEffect(orders=4, planned_h=100.0, learned_h=131.0, cost=Decimal("2480.00"), currency="USD")
    row = LearnedRow(row="blackening bench", evidence=(evidence,), patch={"cycle_min": 13.1}, becomes={}, open_orders=effect)
    change = FactorChange(work_centre="blackening bench", operation="blacken_edge", method="", time="run", since=date(2026, 11, 2), chance=0.97, jobs_since=9,
                          ratio_before=1.0, ratio=1.31)  # fmt: skip
    found = LearnedRates(rate_revision=7, orders=12, orders_of_other_rates=1, method="", rows=(row,), changes=(change,))
    done, _ = run([(200, found.model_dump_json())], "learned")
    lines = done.stdout.splitlines()
    assert lines[0] == "beside rates 7, from 12 reported orders, 1 of other rates left out"
    assert lines[4].split() == ["blacken", "edge", "run", "12", "1.31", "1.25", "to", "1.37", "24", "->", "3", "%"]
    assert lines[5].split() == ["HG3", "precision", "9", "1.40", "1.30", "to", "1.50"]
    assert lines[6:8] == [
        "  would become: cycle_min 13.1",
        "  4 orders under way: 100.0 h planned, 131.0 h learned, +2,480.00 USD",
    ]
    assert lines[-2:] == [
        "blackening bench is another since 2026-11-02, 97 % sure:",
        "  blacken edge run takes 1.31 times the planned minutes, before 1.00 times",
    ]
    assert max(len(line) for line in lines) <= 80
    none, _ = run([(200, found.model_copy(update={"rows": (), "changes": ()}).model_dump_json())], "learned")
    assert none.stdout.splitlines()[-1] == "no row of the rates is surely off"
