"""Hints are written as the one who called the command would write them."""

from __future__ import annotations

import pytest
import typer

from services.desk.terminal import numbers_in
from services.desk.texts.wording import as_called, problem_lines
from shared_schemas.problem import ProblemDetail


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["blankwright", "up"], "stop it with: blankwright down"),
        ([".venv/bin/blankwright", "up"], "stop it with: .venv/bin/blankwright down"),
        ([".venv/bin/blankwright", "up", "--folder", "a b"], "stop it with: .venv/bin/blankwright down --folder 'a b'"),
        (["/usr/bin/pytest", "up", "--folder=x"], "stop it with: blankwright down --folder x"),
    ],
)
def test_a_hint_names_program_and_folder_as_they_were_called(arguments: list[str], said: str) -> None:
    assert as_called("stop it with: blankwright down", arguments) == said


def test_a_route_for_the_next_revision_is_said_as_its_command() -> None:
    assert as_called("rates: POST /v1/quotes/Q-2026-000001/requote.", ["x"]) == "rates: blankwright requote Q-2026-000001."


@pytest.mark.parametrize("text", ["5 25", "1,000", "1 200", "5,,25", "", "5.5"])
def test_quantities_with_a_gap_or_a_comma_within_are_refused_and_a_thousand_is_shown(text: str) -> None:
    with pytest.raises(typer.BadParameter, match="a thousand as 1000"):
        numbers_in(text)


def test_what_may_be_one_number_or_two_is_said(capsys: pytest.CaptureFixture[str]) -> None:
    assert numbers_in("5, 25") == [5, 25]
    assert capsys.readouterr().err == ""
    assert numbers_in("1,200") == [1, 200]
    assert "2 quantities, 1 and 200; for a single quantity write 1200" in capsys.readouterr().err


def test_a_remedy_that_the_reason_has_said_is_not_said_again() -> None:
    detail = ProblemDetail(
        pointer="/row 2/glass", reason="row 2, glass: no NBK7; did you mean N-BK7?", remedy="did you mean N-BK7?"
    )
    assert problem_lines([detail]) == ["row 2, glass: no NBK7; did you mean N-BK7?"]
