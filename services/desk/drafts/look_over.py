"""A draft that was read is looked over: names that the rates do not have, slips that the rays show. Answers go in, and what they leave open is asked."""

from __future__ import annotations

import copy
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from pydantic import ValidationError

from services.chassis.problems import details_of_invalid
from services.desk.drafts import names_in_rates, repairs
from services.desk.drafts.names_in_rates import NONE, questions_of_names, tidied
from services.desk.drafts.places import by_names, put_at
from services.desk.drafts.repairs import KEEP, REPAIR, questions_of_refusal, repair_answer, slips_in, tolerances_taken
from services.desk.errors import AnswersUnusable
from services.desk.intake.record import in_words
from shared_schemas.check import CheckReport, FieldChange
from shared_schemas.intake import Assumption, IntakeDraft, Question
from shared_schemas.prescription import Prescription
from shared_schemas.problem import ProblemDetail
from shared_schemas.quote_request import QuoteRequest
from shared_schemas.rates import Rates

OURS = (f"{names_in_rates.PREFIX}.", f"{repairs.PREFIX}.")
"""What the names of questions begin with that are asked here; all others are of whoever reads the file."""

MOST_ROUNDS = 8
"""After so many slips that were taken back one after the other nothing more is looked for."""

BY_INDEX = re.compile(r"([1-4]\.[0-9]+) ?/ ?([0-9]{1,3}(?:\.[0-9]+)?)")
OTHERWISE = re.compile(r" \(otherwise answer .*\)$")
NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)(?:[eE][+-]?[0-9]+)?")


class CheckRefused(Exception):
    """The check does not look at a prescription; `errors` says why, with places."""

    def __init__(self, errors: tuple[ProblemDetail, ...]) -> None:
        self.errors = errors
        super().__init__("the check does not look at it")


Check = Callable[[Prescription], CheckReport]
Asked = tuple[Question, tuple[FieldChange, ...]]


def answers_of_reader(answers: Mapping[str, str]) -> dict[str, str]:
    """The answers that are to questions of whoever reads the file."""
    return {name: answer for name, answer in answers.items() if not name.startswith(OURS)}


def look_over(draft: IntakeDraft, answers: Mapping[str, str], *, rates: Rates, check: Check, today: date) -> IntakeDraft:
    """The draft with what is asked and assumed beside what the file says. Raises `AnswersUnusable`, and what `check` raises but `CheckRefused`."""
    look = _Look(draft, {name: answer for name, answer in answers.items() if name.startswith(OURS)})
    look.at_names(rates, today)
    if draft.request is not None and not look.open:
        look.at_slips(check)
        if look.unused and not look.open:  # with a question open there may be more to come that they answer
            raise AnswersUnusable(*map(_answers_nothing, look.unused))
    return look.drafted()


@dataclass
class _Look:
    """What has been looked at so far: the document as it is by now, what is open, what was answered and assumed."""

    draft: IntakeDraft
    answers: dict[str, str]
    document: dict[str, Any] = field(init=False)
    unused: dict[str, str] = field(init=False)
    open: list[Question] = field(default_factory=list)
    assumed: list[Assumption] = field(default_factory=list)
    taken: list[Assumption] = field(default_factory=list)

    def __post_init__(self) -> None:
        request = self.draft.request
        self.document = copy.deepcopy(self.draft.document) if request is None else request.model_dump(mode="json")
        self.unused = dict(self.answers)

    def at_names(self, rates: Rates, today: date) -> None:
        """Names, until an answer to each was put in or is missing."""
        while True:
            asked = questions_of_names(self.document, rates, today=today)
            ready = [question for question in asked if question.name in self.unused]
            if not ready:
                self.open += asked
                return
            for question in ready:
                self._put(question, _value(question.pointer, self.unused.pop(question.name)))

    def at_slips(self, check: Check) -> None:
        """What the check finds, until nothing in it may be a slip that was not answered."""
        kept: set[str] = set()
        for _ in range(MOST_ROUNDS):
            request = self.request()
            asked, taken = self._found(check, request.prescription)
            asked = [each for each in asked if each[0].name not in kept]
            answered = [each for each in asked if each[0].name in self.unused]
            if not answered:
                self.open += [question for question, _ in asked]
                self.taken += taken
                return
            for question, changes in answered:
                answer = self.unused.pop(question.name)
                if answer.strip().lower() == KEEP:
                    kept.add(question.name)
                    self._note(question, f"it is {KEEP}")
                else:
                    self._repair(question, changes, answer)

    def _found(self, check: Check, prescription: Prescription) -> tuple[list[Asked], list[Assumption]]:
        """What the check makes one ask, each with what a repair changes, and what it assumed."""
        try:
            report = check(prescription)
        except CheckRefused as refusal:
            refused = questions_of_refusal(refusal.errors, self.document)
            if not refused:
                raise
            return [(question, ()) for question in refused], []
        return slips_in(report, self.document), list(tolerances_taken(report, prescription))

    def _repair(self, question: Question, changes: tuple[FieldChange, ...], answer: str) -> None:
        if answer == REPAIR or answer == repair_answer(changes):
            for change in changes:
                put_at(self.document, change.pointer, change.becomes)
            self._note(question, next((choice.means for choice in question.choices), answer))
            return
        if not question.free:
            raise AnswersUnusable(_unusable(question, answer))
        value = _value(question.pointer, answer)
        for pointer in {change.pointer for change in changes} or {question.pointer}:
            put_at(self.document, pointer, value)
        self._note(question, f"{answer} instead of {question.figure}")

    def _put(self, question: Question, value: Any) -> None:
        put_at(self.document, question.pointer, value)
        self._note(question, f"{'none' if value is None else value} instead of {question.figure}")

    def _note(self, question: Question, what: str) -> None:
        place = question.name.partition(".")[2].replace(".", " ").removesuffix("_mm").replace("_", " ")
        self.assumed.append(
            Assumption(
                pointer=question.pointer, what=f"{place}: {what}"[:2000], rule="answered when it was asked", spot=question.spot
            )
        )

    def request(self) -> QuoteRequest:
        """The request as it is by now; raises `AnswersUnusable` where an answer made it one that cannot be."""
        document = tidied(self.document)
        try:
            return QuoteRequest.model_validate(document)
        except ValidationError as fault:
            raise AnswersUnusable(*details_of_invalid(fault.errors(), document)) from fault

    def drafted(self) -> IntakeDraft:
        """The draft as it is now. What was assumed is part of the request, for whoever reads the quote; the check says itself what it takes."""
        assumptions = (*self.draft.assumptions, *self.assumed)
        spots = {cell.pointer: cell.spot for cell in self.draft.cells if cell.pointer}
        found = (spots.get(by_names(question.pointer, self.document), question.spot) for question in self.open)
        questions = (
            *self.draft.questions,
            *(question.model_copy(update={"spot": spot}) for question, spot in zip(self.open, found, strict=True)),
        )
        request = None
        if self.draft.request is not None and not questions:
            by_reader = {in_words(one) for one in self.draft.assumptions}
            own = [one for one in self.draft.request.assumptions if one not in by_reader]
            told = tuple(
                dict.fromkeys((*own, *by_rule(assumptions)))
            )  # without how to answer otherwise: whoever reads a quote cannot
            request = self.request().model_copy(update={"assumptions": told[:500]})
        return self.draft.model_copy(
            update={
                "document": tidied(self.document) if request is None else request.model_dump(mode="json"),
                "request": request,
                "assumptions": (*assumptions, *self.taken),
                "questions": questions,
            }
        )


def by_rule(assumptions: Sequence[Assumption]) -> list[str]:
    """Assumptions in words, those by one rule in one line: `L1 front clear on 27 mm, L1 back clear on 27 mm (the rule)`."""
    of_rule: dict[str, list[str]] = {}
    for one in assumptions:
        of_rule.setdefault(OTHERWISE.sub("", one.rule).rstrip("."), []).append(one.what.rstrip("."))
    return [f"{'; '.join(whats)} ({rule})"[:2000] for rule, whats in of_rule.items()]


def _value(pointer: str, answer: str) -> Any:
    """An answer as the place takes it: nothing, a glass by its index, a number where one stands, else the word."""
    plain = answer.strip()
    if plain.lower() == NONE:
        return NONE if pointer.startswith("/own_operations/") else None
    by_index = BY_INDEX.fullmatch(plain) if pointer.endswith("/glass") else None
    if by_index:
        return {"nd": float(by_index[1]), "vd": float(by_index[2])}
    return float(plain.replace(",", ".")) if pointer.endswith("_mm") and NUMBER.fullmatch(plain) else plain


def _unusable(question: Question, answer: str) -> ProblemDetail:
    would_do = " or ".join(choice.answer for choice in question.choices)
    return ProblemDetail(pointer=f"/answers/{question.name}", reason="that is no answer to it", figure=answer[:60], remedy=would_do)


def _answers_nothing(name: str) -> ProblemDetail:
    return ProblemDetail(
        pointer=f"/answers/{name}",
        reason="nothing is asked under that name",
        remedy="leave it out, or use the name of a question as the draft has it",
    )
