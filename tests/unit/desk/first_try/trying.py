"""A file of the first try through the reader, as the desk takes it: read, asked until nothing is left to ask, or refused."""

from __future__ import annotations

import base64
from dataclasses import dataclass
from datetime import date
from functools import cache

from services.desk.drafts.look_over import look_over
from services.desk.drafts.reading import content_of, read
from services.desk.errors import DeskError
from services.prescription.domain.check import check_prescription
from services.rates.domain.seed import seed_rates
from shared_schemas.check import CheckReport, FirstOrder
from shared_schemas.intake import MOST_BYTES, IntakeDraft, IntakeRequest, Question
from shared_schemas.prescription import Prescription
from tests.unit.desk.first_try.sample import Sample

TODAY = date(2026, 11, 2)
MOST_ROUNDS = 6
RATES = cache(seed_rates)


@dataclass(frozen=True)
class Outcome:
    """What became of a file: the first draft and the questions of all rounds, the last draft; or the sentence of the refusal."""

    first: IntakeDraft | None = None
    last: IntakeDraft | None = None
    asked: tuple[Question, ...] = ()
    refused: str = ""

    @property
    def kind(self) -> str:
        """Read, asked or refused."""
        return "refused" if self.refused else "asked" if self.asked else "read"


def tried(sample: Sample) -> Outcome:
    """What becomes of a file whose questions are answered as the sample says."""
    try:
        return _read(sample)
    except DeskError as fault:
        return Outcome(refused=" ".join((str(fault), *(error.reason for error in fault.errors))))


def _read(sample: Sample) -> Outcome:
    if len(sample.content) > MOST_BYTES:
        content_of(
            IntakeRequest.model_construct(text=None, content_base64=base64.b64encode(sample.content).decode(), name=sample.name)
        )
    answers: dict[str, str] = {}
    asked: dict[str, Question] = {}
    first: IntakeDraft | None = None
    for _ in range(MOST_ROUNDS):
        sent = IntakeRequest(name=sample.name, content_base64=base64.b64encode(sample.content).decode(), answers=answers)
        draft = read(sent, content_of(sent))
        draft = look_over(draft, answers, rates=RATES(), check=check_of(sample), today=TODAY)
        first = first or draft
        if not draft.questions:
            return Outcome(first, draft, tuple(asked.values()))
        asked |= {question.name: question for question in draft.questions}
        given = {question.name: answer for question in draft.questions if (answer := _answer(sample, question)) is not None}
        if not given:
            return Outcome(first, draft, tuple(asked.values()))
        answers |= given
    return Outcome(first, draft, tuple(asked.values()))


def _answer(sample: Sample, question: Question) -> str | None:
    """What the sample answers: by words of the question, the first choice where it says nothing else."""
    text = words_of(question)
    given = next((answer for words, answer in sample.answers.items() if words.lower() in text.lower()), "")
    return given or (question.choices[0].answer if question.choices else None)


def words_of(question: Question) -> str:
    """All that a question says."""
    return f"{question.name} {question.asks} {question.figure}"


def check_of(sample: Sample):  # type: ignore[no-untyped-def]
    """The check for real where the rays are to tell, and else one that has nothing to say."""
    return (lambda lens: check_prescription(lens, RATES())) if sample.rays else _says_nothing


def _says_nothing(lens: Prescription) -> CheckReport:
    figures = FirstOrder(
        wavelength_nm=587.5618, focal_length_mm=None, back_focus_mm=None, front_focus_mm=None, f_number=None, length_mm=0.0,
        entrance_pupil_diameter_mm=None,
    )  # fmt: skip
    return CheckReport(makeable="yes", first_order=figures, elements=(), findings=())
