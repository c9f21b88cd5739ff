"""What a release needs of a revision: named where it is missing, and added from the delivered tables without a change to the rest."""

from __future__ import annotations

import ast
from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError

from services.rates.domain.needs import QUESTIONS, Completion, Gap, completed, shortcomings_of, unanswered
from services.rates.domain.revision import contradictions
from services.rates.domain.table_csv import MAY_BE_EMPTY
from shared_schemas.rate_row import ADDED_BY_RELEASE
from shared_schemas.rates import TABLES, Rates

ROOT = Path(__file__).resolve().parents[3]
Documents = dict[str, list[dict[str, Any]]]


@pytest.fixture
def documents(rates: Rates) -> Documents:
    """The delivered tables as they are stored."""
    return {table: [row.model_dump(mode="json", by_alias=True) for row in getattr(rates, table)] for table in TABLES}


def in_rates(completion: Completion) -> Rates:
    return Rates.model_validate(dict(completion.tables))


def test_the_delivered_rates_need_nothing(documents: Documents) -> None:
    completion = completed(documents, release="9.9")
    assert (completion.gaps, completion.changed) == ((), ())


def test_every_table_is_asked_for_something_or_may_be_empty() -> None:
    assert set(QUESTIONS) | MAY_BE_EMPTY == set(TABLES)
    assert not set(QUESTIONS) & MAY_BE_EMPTY


def test_no_table_may_be_empty_whose_row_is_missed_by_name() -> None:
    missed = {
        call.args[0].value
        for path in (ROOT / "services").rglob("*.py")
        for call in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(call, ast.Call) and isinstance(call.func, ast.Name) and call.func.id == "RateMissing"
        and call.args and isinstance(call.args[0], ast.Constant)
    }  # fmt: skip
    assert len(missed) > 12
    assert missed <= set(QUESTIONS)


def test_every_row_that_alone_answers_a_question_is_named_when_it_goes(documents: Documents, rates: Rates) -> None:
    named = 0
    for table, questions in QUESTIONS.items():
        rows = getattr(rates, table)
        without = rates.model_copy(update={table: ()})
        for question, answers in unanswered(without, table).items():
            left = tuple(row for row in rows if question not in set(questions(row)))
            missing = unanswered(rates.model_copy(update={table: left}), table)
            assert question in missing, (table, question)
            assert missing[question] == answers
            named += 1
    assert named > 90


@pytest.mark.parametrize("table", ["yields", "tooling", "hardware", "aspheres", "extra_work"])
def test_a_table_that_is_missing_is_added_whole_and_agrees_with_the_others(documents: Documents, table: str) -> None:
    del documents[table]
    completion = completed(documents, release="9.9")
    assert table in completion.changed
    assert all(row.source.startswith(f"{ADDED_BY_RELEASE} 9.9: ") for row in completion.tables[table])
    assert not contradictions(in_rates(completion), table)
    assert not completed(as_stored(completion), release="9.9").gaps


def as_stored(completion: Completion) -> Documents:
    return {table: [row.model_dump(mode="json", by_alias=True) for row in rows] for table, rows in completion.tables.items()}


def test_a_work_centre_is_added_for_what_is_missing_alone_and_with_its_usual_load(documents: Documents) -> None:
    documents["work_centres"] = [row for row in documents["work_centres"] if row["name"] != "blocking bench"]
    documents["work_centres"].append({**documents["work_centres"][0], "name": "my bench", "operations": ["block"], "method": ""})
    documents["shop_load"] = [row for row in documents["shop_load"] if row["name"] != "blocking bench"]
    completion = completed(documents, release="9.9")
    assert completion.gaps == (Gap("work_centres", ("deblock", ""), rows=("blocking bench",)),)
    assert str(completion.gaps[0]) == "work_centres has no row for deblock"
    assert in_rates(completion).work_centre("blocking bench").operations == ("deblock",)
    assert [row.name for row in completion.tables["shop_load"]].count("blocking bench") == 1
    assert completion.changed == ("work_centres", "shop_load")


def test_a_name_that_the_shop_uses_for_something_else_is_left_to_it(documents: Documents) -> None:
    documents["yields"] = [row for row in documents["yields"] if row["name"] != "bevel"]
    documents["yields"].append({**documents["yields"][0], "name": "bevel", "method": "by water"})
    rows = {row.name: row for row in completed(documents, release="9.9").tables["yields"]}
    assert rows["bevel"].model_dump()["method"] == "by water"
    assert rows["bevel, 9.9"].model_dump()["operation"] == "bevel"


def test_a_column_that_is_missing_is_filled_and_told_in_the_source(documents: Documents) -> None:
    for row in documents["cementing"]:
        del row["cure_attended_share"]
    completion = completed(documents, release="9.9")
    assert completion.gaps == (Gap("cementing", column="cure_attended_share"),)
    assert str(completion.gaps[0]) == "cementing has no column cure_attended_share"
    assert {row.source for row in completion.tables["cementing"]} == {
        f"invented demo figure; cure_attended_share {ADDED_BY_RELEASE} 9.9"
    }  # fmt: skip
    assert shortcomings_of(documents).gaps == ("cementing has no column cure_attended_share",)


def test_a_column_that_is_gone_is_left_out_and_a_figure_that_cannot_be_is_refused(documents: Documents) -> None:
    documents["yields"][0]["of_old"] = 3
    assert not completed(documents, release="9.9").gaps
    documents["yields"][0]["yield"] = 2
    with pytest.raises(ValidationError):
        completed(documents, release="9.9")
    assert "cannot be read" in shortcomings_of(documents).gaps[0]


def test_machines_that_nobody_bought_are_not_added(documents: Documents) -> None:
    for table in ("work_centres", "yields", "grinding", "polishing"):
        documents[table] = [row for row in documents[table] if row.get("method") not in ("volume", "automatic")]
    assert not completed(documents, release="9.9").gaps


def test_a_shop_that_buys_its_mounts_turns_none(documents: Documents) -> None:
    documents["turning"], documents["metals"] = [], []
    assert {gap.table for gap in completed(documents, release="9.9").gaps} == {"turning", "metals"}
    bought = [{**documents["hardware"][0], "name": kind, "kind": kind} for kind in ("barrel", "spacer", "retaining_ring")]
    documents["hardware"] += bought
    assert not completed(documents, release="9.9").gaps


def test_rows_wait_to_be_confirmed_until_they_have_a_source_of_the_shop(documents: Documents) -> None:
    documents["yields"] = [row for row in documents["yields"] if row["operation"] != "bevel"]
    added = as_stored(completed(documents, release="9.9"))
    found = shortcomings_of(added)
    assert (found.gaps, found.to_confirm()) == ((), "yields: bevel")
    added["yields"][-1]["source"] = "counted in our shop, 2027"
    assert not shortcomings_of(added).unconfirmed
