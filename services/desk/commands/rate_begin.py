"""The command of a new shop's first day: forty questions, and a draft of its tables from the answers."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from services.client.errors import ServerRefused
from services.desk.errors import FileUnreadable
from services.desk.terminal import HERE, Folder, Json, Key, Url, answer, client_for, reported, say, write_file

if TYPE_CHECKING:
    from services.client import Client
    from shared_schemas.first_day import FirstDayQuestion
    from shared_schemas.rate_drafts import Draft

PATH = "/v1/rates/first-day"
ANSWERS_FILE = Path("first-day.json")
LARGEST_FILE_BYTES = 64 * 1024
STOP, BACK, EXPLAIN = "stop", "back", "?"
CURRENCY = "currency"


def begin(
    file: Annotated[Path, typer.Argument(help="Where the answers are kept; what is in it already is not asked again.")] = ANSWERS_FILE,
    yes: Annotated[bool, typer.Option("--yes", help="Ask nothing: make the draft from the file as it is.")] = False,
    url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False,
) -> None:  # fmt: skip
    """Begin a new shop's rates: forty questions, and a draft of all tables from the answers. Nothing is published.

    An empty answer keeps what is usual, ? says what an answer changes, back asks the question before again, stop goes on another day.
    """
    with reported(as_json=as_json):
        answers = read_answers(file)
        with client_for(url, key, folder, role="engineer") as desk:
            if not yes and not ask_all(desk, answers, file):
                say(f"Your answers are in {file}. Go on with: blankwright rates begin {file}")
                return
            draft = drafted(desk, answers)
        answer(draft.model_dump(mode="json"), lines_of(draft), as_json=as_json)


def read_answers(file: Path) -> dict[str, str]:
    """The answers in a file, none where there is no file yet; raises `FileUnreadable`."""
    if not file.exists():
        return {}
    try:
        if file.stat().st_size > LARGEST_FILE_BYTES:
            raise FileUnreadable(str(file), "it is too large for forty answers")
        answers = json.loads(file.read_text(encoding="utf-8"))
    except (OSError, ValueError) as fault:
        raise FileUnreadable(str(file), f"it is not the answers of a first day: {fault}") from fault
    if not isinstance(answers, dict) or not all(isinstance(one, str) for one in answers.values()):
        raise FileUnreadable(str(file), "it is not an object of answers by the name of their question")
    return answers


def keep_answers(file: Path, answers: dict[str, str]) -> None:
    """Write the answers, each time that one is given; raises `FileUnwritable`."""
    write_file(file, (json.dumps(answers, indent=1, ensure_ascii=False) + "\n").encode())


def ask_all(desk: Client, answers: dict[str, str], file: Path) -> bool:
    """Ask what has no answer yet; whether all was asked. Each answer is looked at by the server and kept at once."""
    questions = [question for question in questions_in(desk, answers.get(CURRENCY)) if question.name not in answers]
    say(f"{len(questions)} questions. Enter keeps what is usual; ? explains, back goes back, stop goes on another day.")
    place = 0
    while place < len(questions):
        question = questions[place]
        if place == 0 or question.subject != questions[place - 1].subject:
            say(f"\n{question.subject.capitalize()}")
        given = typer.prompt(words_of(place + 1, question), default="", show_default=False, prompt_suffix="\n> ", err=True).strip()
        if given == STOP:
            return False
        if given == EXPLAIN:
            say(explained(question))
        elif given == BACK:
            place = max(0, place - 1)
            answers.pop(questions[place].name, None)
        elif not given or is_taken(desk, answers, question, given):
            place += 1
            if given and question.name == CURRENCY:
                in_currency = {one.name: one for one in questions_in(desk, given)}
                questions = [in_currency[one.name] for one in questions]
        keep_answers(file, answers)
    return True


def questions_in(desk: Client, currency: str | None) -> Sequence[FirstDayQuestion]:
    """The questions, with what is usual in that currency."""

    return desk.first_day(currency and currency.upper()).questions


def is_taken(desk: Client, answers: dict[str, str], question: FirstDayQuestion, given: str) -> bool:
    """Whether an answer will do beside those there are; if not, why is said, and it is asked again."""

    try:
        desk.check_first_day({**answers, question.name: given})
    except ServerRefused as fault:
        for error in fault.problem.errors or ():
            say(f"  {error.reason}: {error.remedy}" + (f" ({error.limit})" if error.limit else ""))
        if not fault.problem.errors:
            raise
        return False
    answers[question.name] = given
    return True


def drafted(desk: Client, answers: dict[str, str]) -> Draft:
    """A draft of the shop's tables from its answers."""

    return desk.begin_first_day(answers)


def words_of(number: int, question: FirstDayQuestion) -> str:
    """A question as it is asked."""
    unit = f" [{question.unit}]" if question.unit else ""
    return f"{number}. {question.words}{unit} (usual {question.usual or 'none'})"


def explained(question: FirstDayQuestion) -> str:
    """What an answer changes, and what it may be."""
    bounds = "" if question.least is None else f" From {question.least:g} to {question.most:g}."
    return f"  It goes to {question.changes}.{bounds}"


def lines_of(draft: Draft) -> list[str]:
    """What was made, and how to go on."""
    return [
        f"Draft {draft.number} changes {', '.join(table.table for table in draft.tables) or 'nothing'}.",
        "Nothing is published. Rows that still have figures of the demo stay marked as invented.",
        f"Look at it: blankwright rates diff --draft {draft.number}",
        f"Check it:   blankwright rates check --draft {draft.number}",
        f"Publish it: blankwright rates publish {draft.number}",
        "What still rests on invented rows: blankwright rates readiness",
    ]
