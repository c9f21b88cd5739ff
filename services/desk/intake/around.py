"""The lines around a table: what they say of the whole goes into the request; what is not understood is asked about or told as not needed."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import Any

from services.desk.intake import units
from services.desk.intake.lines import NOT_NEEDED, Line, pair_of, stated_unit, value_of
from services.desk.intake.record import Record
from shared_schemas.prescription import Prescription

OF_LENS = tuple(Prescription.model_fields)
TRADE_WORDS = re.compile(
    r"coat|beschicht|vergüt|entspiegel|traitement|tolera|toleranz|scratch|dig\b|iso\s*10110|λ|lambda|wave|fringe|ring|irregular|centr|zentri|±|\+/-|"
    r"mgf2|blacken|schwärz|edge|bevel|fase|chamfer|cement|kitt|[0-9]/[0-9]|must|shall|muss|doit",
    re.IGNORECASE,
)
"""Words of a line that may be a demand which costs money, so that it is asked about."""

GREETING = re.compile(
    r"\W*(?:hi|hello|dear|sehr geehrte|guten tag|hallo|bonjour|regards|best regards|kind regards|mit freundlichen|cordialement|thanks|thank you|danke|merci)\b.*",
    re.IGNORECASE,
)
CHOICES = (
    ("remark", "it goes into the remarks, and no price follows from it"),
    ("not_needed", "it says nothing that a quote needs"),
)
NOTE_KEYS = (
    "note",
    "notes",
    "comment",
    "comments",
    "remark",
    "remarks",
    "bemerkung",
    "bemerkungen",
    "hinweis",
    "anmerkung",
    "remarque",
)


@dataclass
class Around:
    """What the lines around a table say: fields of the prescription, of the request, and remarks."""

    record: Record
    lens: dict[str, Any] = field(default_factory=dict)
    request: dict[str, Any] = field(default_factory=dict)
    remarks: list[str] = field(default_factory=list)
    titles: list[Line] = field(default_factory=list)

    def read(self, lines: list[Line], first_row: int) -> None:
        """Every line; a line of words above the table is its title."""
        for line in lines:
            pair = pair_of(line)
            self.record.lines[(line.cells[0].sheet, line.number)] = pair[0] if pair is not None else ""
            self._line(line, above=line.number < first_row)

    def _line(self, line: Line, *, above: bool) -> None:
        if (unit := stated_unit(line)) is not None:
            self._used(line, "/prescription/elements")
            self.record.assume("", f"lengths are in {units.shown(unit)}", f"the line says so: {line.text}") if pair_of(
                line
            ) is None else None
            return
        pair = pair_of(line)
        if pair is not None and pair[0] == "units":
            reason = f"{pair[1]!r} is not a known unit of length"
            self.record.blame(reason, figure=pair[1], remedy="mm or inch", row=line.number, column="units")
        elif pair is not None and self._pair(line, *pair):
            return
        elif re.fullmatch(r"[\W_]*", line.text) or GREETING.fullmatch(line.text):
            self._not_needed(line, "no figure and no demand")
        elif above and not self.titles and not TRADE_WORDS.search(line.text) and "title" not in self.lens:
            self.titles.append(line)
            self.lens["title"] = line.text[:200]
            self._used(line, "/prescription/title")
        else:
            self._rest(line)

    def _pair(self, line: Line, key: str, text: str) -> bool:
        """A line with a key; whether that is known."""
        name = key.strip(". ")
        if name in NOT_NEEDED:
            self._not_needed(line, NOT_NEEDED[name])
            return True
        if name in NOTE_KEYS:
            return False
        if not (key in OF_LENS or key in ("quantities", "customer", "needed_by", "reference", "contact", "currency")):
            return False
        given = self.record.answer(f"row{line.number}.{key}", self._pointer(key))
        value = value_of(key, given if given is not None else text)
        if value is None:
            reason = (
                f"{text!r} is no number"
                if key.endswith(("_mm", "_nm", "_deg"))
                else f"{text!r} is not understood as {key.replace('_', ' ')}"
            )
            if given is not None:
                self.record.blame(
                    f"the answer {given!r} to row{line.number}.{key} is not understood",
                    figure=given,
                    remedy="as a request has it",
                    row=line.number,
                    column=key,
                )
            else:
                self.record.ask(f"row{line.number}.{key}", self._pointer(key), reason, figure=text, row=line.number, column=key)
                for cell in line.cells:
                    self.record.note(cell, "asked", pointer=self._pointer(key), why=reason)
            return True
        target = self.lens if key in OF_LENS else self.request
        if key in target and target[key] != value and key != "title":
            return False
        target[key] = value
        self._used(line, self._pointer(key))
        return True

    @staticmethod
    def _pointer(key: str) -> str:
        return f"/prescription/{key}" if key in OF_LENS else f"/{key}"

    def _rest(self, line: Line) -> None:
        text = line.text
        name = f"row{line.number}"
        if TRADE_WORDS.search(text):
            given = self.record.ask(name, "/prescription/remarks", f"what does the line {text[:200]!r} ask for?", figure=text[:200], choices=CHOICES,
                                    cell=line.cells[0])  # fmt: skip
            if given is None:
                for cell in line.cells:
                    self.record.note(cell, "asked", why="what does the line ask for?")
                return
            if given == "not_needed":
                self._not_needed(line, "so it was answered")
                return
            text = text if given == "remark" else given
        self.remarks.append(text[:500])
        self.record.assume(
            "/prescription/remarks",
            text[:500],
            "a line that names nothing of the lens goes into the remarks, and no price follows from it",
        )
        for cell in line.cells:
            self.record.note(cell, "assumed", pointer="/prescription/remarks", why="it goes into the remarks")

    def _used(self, line: Line, pointer: str) -> None:
        for cell in line.cells:
            self.record.used(cell, pointer)

    def _not_needed(self, line: Line, why: str) -> None:
        for cell in line.cells:
            self.record.note(cell, "not_needed", why=why)
