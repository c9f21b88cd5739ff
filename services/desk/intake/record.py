"""What becomes of every cell in reading a file: used, taken by a rule, asked about, a heading, or not needed; and the answers that were given."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from services.chassis.problems import clean
from services.desk.errors import AnswersUnusable, TableUnreadable
from services.desk.intake.grid import Cell, letter_of
from shared_schemas.intake import Assumption, CellRead, Choice, Fate, Question, Spot
from shared_schemas.problem import ProblemDetail

LONGEST_TEXT = 2000
AS_IT_STANDS = "as it stands"
STRUCTURE = re.compile(r"sheet$|table$|column\.|row\d+\.glass$|decimal_sign$")
"""Names of questions on whose answers it depends what else is asked."""


@dataclass
class Record:
    """The book that is kept in reading one file. `heads` are the heads of columns as they are written, by sheet and column,
    `lines` the keys of lines outside of the table, by sheet and row."""

    name: str
    answers: Mapping[str, str]
    heads: dict[tuple[str, int], str] = field(default_factory=dict)
    cells: dict[tuple[str, int, int], CellRead] = field(default_factory=dict)
    assumptions: list[Assumption] = field(default_factory=list)
    questions: dict[str, Question] = field(default_factory=dict)
    faults: list[ProblemDetail] = field(default_factory=list)
    known: dict[str, str] = field(default_factory=dict)
    taken: set[str] = field(default_factory=set)
    turned: bool = False
    lines: dict[tuple[str, int], str] = field(default_factory=dict)

    def spot(self, cell: Cell | None, *, row: int = 0, column: str = "") -> Spot:
        """Where a cell stands, by the head of its column; of no cell the row and column that are given."""
        if cell is None:
            return Spot(row=row, column=column)
        head = self.lines.get((cell.sheet, cell.row))
        if head is None:
            head = self.heads.get((cell.sheet, cell.row if self.turned else cell.column), "")
        return Spot(sheet=cell.sheet, row=cell.row, column=head or column, letter=letter_of(cell.column))

    def note(self, cell: Cell | None, fate: Fate, *, pointer: str = "", why: str = "") -> None:
        """What became of a cell; what was asked stays asked, and what was used is not made less by a second reading."""
        if cell is None:
            return
        before = self.cells.get(cell.key)
        if before is not None and RANK[before.fate] >= RANK[fate]:
            return
        self.cells[cell.key] = CellRead(
            spot=self.spot(cell), text=cell.text[:LONGEST_TEXT], fate=fate, pointer=pointer[:300], why=why
        )

    def used(self, cell: Cell | None, pointer: str) -> None:
        """The cell stands in the request."""
        self.note(cell, "used", pointer=pointer)

    def assume(self, pointer: str, what: str, rule: str, cell: Cell | None = None) -> None:
        """Something was taken by a rule, which is told."""
        assumption = Assumption(
            pointer=pointer[:300], what=clean(what[:2000]), rule=clean(rule[:2000]), spot=self.spot(cell) if cell else Spot()
        )
        if assumption not in self.assumptions:
            self.assumptions.append(assumption)
        self.note(cell, "assumed", pointer=pointer, why=rule[:2000])

    def answer(self, name: str, pointer: str = "") -> str | None:
        """The answer that was given under a name; the name is one of those that may be answered."""
        self.known.setdefault(name, pointer)
        if name in self.answers:
            self.taken.add(name)
            return self.answers[name].strip()
        return None

    def ask(
        self, name: str, pointer: str, asks: str, *, figure: Any = None, choices: Iterable[tuple[str, str]] = (), free: bool = True,
        cell: Cell | None = None, row: int = 0, column: str = "",
    ) -> str | None:  # fmt: skip
        """Ask, unless it has been answered: then the answer."""
        given = self.answer(name, pointer)
        if given is not None:
            return given
        offered = dict(choices)
        question = Question(
            name=name[:200], pointer=pointer[:300], asks=clean(asks[:2000]), figure=figure, free=free,
            choices=tuple(Choice(answer=answer[:200], means=clean(means[:2000])) for answer, means in offered.items()),
            spot=self.spot(cell, row=row, column=column),
        )  # fmt: skip
        self.questions.setdefault(question.name, question)
        self.note(cell, "asked", pointer=pointer, why=asks[:2000])
        return None

    def blame(self, reason: str, *, figure: Any, remedy: str, cell: Cell | None = None, row: int = 0, column: str = "") -> None:
        """Something that no answer mends: the file must be changed."""
        fault = detail_at(self.spot(cell, row=row, column=column), reason, figure=figure, remedy=remedy)
        if fault not in self.faults:
            self.faults.append(fault)
        self.note(cell, "asked", why=reason)

    def refuse_if_any(self) -> None:
        """Raise `TableUnreadable` with every fault noted."""
        if self.faults:
            count = len(self.faults)
            said = f"{count} {'cell needs' if count == 1 else 'cells need'} correcting; first: {self.faults[0].reason}"
            raise TableUnreadable(self.name, said, *self.faults)

    def refuse_idle_answers(self) -> None:
        """Raise `AnswersUnusable` for answers to what was not asked and looks like a name that was, which is told.

        Other ones were answers to what another answer has settled: they are passed over, and that is told.
        """
        idle = sorted(set(self.answers) - self.taken)
        if any(STRUCTURE.match(name) for name in self.questions):
            return  # more is asked when it is known what the table is
        slips = [name for name in idle if not self._is_settled(name)]
        for name in idle if not slips else ():
            self.assume("", f"the answer {self.answers[name]} to {name} is passed over", "it is no longer asked, by another answer")
        if slips:
            raise AnswersUnusable(
                *(
                    ProblemDetail(
                        pointer=f"/answers/{name.replace('~', '~0').replace('/', '~1')}", reason=f"nothing is asked under the name {name}",
                        figure=self.answers[name], remedy=_nearest(name, self.known),
                    )
                    for name in slips
                )
            )  # fmt: skip

    def _is_settled(self, name: str) -> bool:
        """Whether a name may be one that was asked before: no name that is asked now is nearly the same."""
        return not difflib.get_close_matches(name, [one for one in self.known if one not in self.answers], n=1, cutoff=0.7)


RANK: dict[Fate, int] = {"heading": 0, "not_needed": 1, "used": 2, "assumed": 3, "asked": 4}
"""Which of two things that became of a cell is told."""


def _nearest(name: str, known: Iterable[str]) -> str:
    near = difflib.get_close_matches(name, list(known), n=3, cutoff=0.3)
    return f"did you mean {', '.join(near)}?" if near else "leave it out"


def detail_at(spot: Spot, reason: str, *, figure: Any, remedy: str | None) -> ProblemDetail:
    """Something that is wrong at a place in a table, as an entry of an error."""
    place = [f"sheet {spot.sheet}"] if spot.sheet else []
    place += [f"row {spot.row}"] if spot.row else []
    place += [spot.column or (f"column {spot.letter}" if spot.letter else "")]
    where = ", ".join(part for part in place if part)
    pointer = "/" + "/".join(
        part.replace("~", "~0").replace("/", "~1") for part in (f"row {spot.row}", spot.column or spot.letter) if part
    )
    return ProblemDetail(pointer=pointer, reason=f"{where}: {reason}" if where else reason, figure=figure, remedy=remedy)


def detail_of(question: Question) -> ProblemDetail:
    """A question that stands as an entry of an error: where, what is asked, and the likeliest answer."""
    remedy = f"{question.choices[0].answer}: {question.choices[0].means}" if question.choices else "mend the cell"
    return detail_at(question.spot, question.asks, figure=question.figure, remedy=f"{remedy} (the answer to {question.name})")


def in_words(assumption: Assumption) -> str:
    """An assumption in one line, as it goes with the request."""
    return f"{assumption.what.rstrip('.')} ({assumption.rule.rstrip('.')})"[:2000]
