"""What the check has against a draft that may be a slip of whoever wrote it: each is a question, with the repair offered first."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from services.desk.drafts.places import by_names, name_of, value_at
from shared_schemas.check import CheckReport, FieldChange, Finding
from shared_schemas.intake import Assumption, Choice, Question
from shared_schemas.place import place_of
from shared_schemas.prescription import Prescription
from shared_schemas.problem import ProblemDetail

PREFIX = "check"
KEEP = "as it stands"
REPAIR = "repair"
"""Answers: that nothing is changed, and that all is that the check offers."""

SLIPS = ("focus-missing", "units-mistaken")
"""Findings that may be a slip, and not the lens."""

DEFAULTED = "tolerance-defaulted"


def slips_in(report: CheckReport, document: Mapping[str, Any]) -> list[tuple[Question, tuple[FieldChange, ...]]]:
    """Questions about what may be a slip, each with what its repair changes in the request."""
    return [(_question(finding, document), _in_request(finding)) for finding in report.findings if finding.code in SLIPS]


def _question(finding: Finding, document: Mapping[str, Any]) -> Question:
    pointer = f"/prescription{finding.pointer}"
    answer = repair_answer(_in_request(finding))
    changes = _in_request(finding)
    figure = value_at(document, pointer) if answer else None
    means = f"in place of {figure}" if _is_one_figure(changes) else finding.remedy or "what the check found"
    offered = [Choice(answer=answer, means=means)] if answer else []
    if not answer and finding.remedy:
        asks = f"{finding.message} Is it as it stands? To mend it, send it again: {finding.remedy}."
    else:
        asks = f"{finding.message} Is it a slip?" if answer else f"{finding.message} Is it as it stands?"
    return Question(
        name=name_of(PREFIX, pointer, document),
        pointer=pointer,
        asks=asks[:2000],
        figure=figure,
        choices=(*offered, Choice(answer=KEEP, means="it is as it was sent")),
        free=_is_one_figure(changes),
    )


def _in_request(finding: Finding) -> tuple[FieldChange, ...]:
    return tuple(change.model_copy(update={"pointer": f"/prescription{change.pointer}"}) for change in finding.changes)


def _is_one_figure(changes: Sequence[FieldChange]) -> bool:
    """Whether a repair is one figure, which may stand in two rows where faces are cemented."""
    figures = {change.becomes for change in changes if isinstance(change.becomes, float)}
    return len(figures) == 1 and all(isinstance(change.becomes, float) for change in changes)


def repair_answer(changes: Sequence[FieldChange]) -> str:
    """What is answered to take a repair: its figure where it is one, else a word; nothing where there is none."""
    if not changes:
        return ""
    return f"{changes[0].becomes:.12g}" if _is_one_figure(changes) else REPAIR


def questions_of_refusal(errors: Sequence[ProblemDetail], document: Mapping[str, Any]) -> list[Question]:
    """What the check refuses to look at, as a question about the place."""
    return [
        Question(
            name=name_of(PREFIX, f"/prescription{error.pointer}", document),
            pointer=f"/prescription{error.pointer}",
            asks=f"{error.reason[:1].upper()}{error.reason[1:]}. {f'What would do: {error.remedy}.' if error.remedy else ''} What is it?"[
                :2000
            ],
            figure=error.figure,
        )
        for error in errors
        if error.pointer
    ]


def tolerances_taken(report: CheckReport, prescription: Prescription) -> Iterator[Assumption]:
    """That tolerances were not stated, how many and where, in one assumption: they are taken as loose."""
    taken = [finding for finding in report.findings if finding.code == DEFAULTED]
    if not taken:
        return
    count = Counter(place_of(finding.pointer, prescription).part for finding in taken)
    where = ", ".join(f"{part} ({number})" for part, number in count.items())
    some = "1 tolerance is" if len(taken) == 1 else f"{len(taken)} tolerances are"
    yield Assumption(
        pointer=by_names("/prescription/elements", {}),
        what=f"{some} taken as loose: {where}"[:2000],
        rule="what is not stated takes the default of ISO 10110-11 (from memory); each is a note of the check",
    )
