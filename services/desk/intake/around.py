"""The lines around a table: what they say of the whole goes into the request; what is not understood is asked about or told as not needed."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import Any

from services.desk.errors import TableUnreadable
from services.desk.intake import units
from services.desk.intake.days import read_day
from services.desk.intake.exact_lines import exact_value
from services.desk.intake.lines import NOT_NEEDED, Line, pair_of, stated_unit, value_of
from services.desk.intake.meanings import Reading, read_cell
from services.desk.intake.quantities import read_quantities
from services.desk.intake.record import Record
from services.desk.intake.terms import read_order
from shared_schemas.prescription import Prescription

OF_LENS = tuple(Prescription.model_fields)
OF_REQUEST = ("quantities", "customer", "needed_by", "reference", "contact", "currency")
WHOLE = re.compile(
    r"^\W*(?:note|notes|bemerkung|hinweis|remarque|tolerances?|toleranzen|all(?:e)? (?:surfaces|faces|flächen|lenses|linsen)|general|allgemein)\s*:\s*",
    re.IGNORECASE,
)
"""How a line begins that is of the whole lens."""

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
LONGEST_REMARK = 300
"""A line of more characters is not read for what it may say, but asked about."""

MOST_LINES = 100
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
    everywhere: list[tuple[Line, Reading]] = field(default_factory=list)

    def read(self, lines: list[Line], first_row: int) -> None:
        """Every line; a line of words above the table is its title."""
        if len(lines) > MOST_LINES:
            raise TableUnreadable(
                self.record.name, f"it has {len(lines)} lines outside of the table, and {MOST_LINES} are read; send the table alone"
            )
        for line in lines:
            pair = pair_of(line)
            self.record.lines[(line.cells[0].sheet, line.number)] = pair[0] if pair is not None else ""
            self._line(line, above=line.number < first_row)

    def _line(self, line: Line, *, above: bool) -> None:
        if len(line.text) > LONGEST_REMARK:
            self._rest(line)
            return
        if (unit := stated_unit(line)) is not None:
            self._used(line, "/prescription/elements")
            if pair_of(line) is None:
                self.record.assume("", f"lengths are in {units.shown(unit)}", f"the line says so: {line.text}")
            return
        pair = pair_of(line)
        if pair is not None and pair[0] == "units":
            reason = f"{pair[1]!r} is not a known unit of length"
            self.record.blame(reason, figure=pair[1], remedy="mm or inch", row=line.number, column="units")
            return
        if pair is not None and (self._exactly(line, *pair) or self._pair(line, *pair)):
            return
        if re.fullmatch(r"[\W_]*", line.text) or GREETING.fullmatch(line.text):
            self._not_needed(line, "no figure and no demand")
        elif not self._order(line) and not self._of_every_face(line):
            if above and not self.titles and not TRADE_WORDS.search(line.text) and "title" not in self.lens:
                self.titles.append(line)
                self.lens["title"] = line.text[:200]
                self._used(line, "/prescription/title")
            else:
                self._rest(line)

    def _exactly(self, line: Line, key: str, text: str) -> bool:
        """A line that names a field and says its value exactly, as an exported table does."""
        exact, value = exact_value(key, text)
        target = self.lens if key in OF_LENS else self.request
        if not exact or key in target:
            return False
        target[key] = value
        self._used(line, self._pointer(key))
        return True

    def _pair(self, line: Line, key: str, text: str) -> bool:
        """A line with a key; whether that is known."""
        name = key.strip(". ")
        if name in NOT_NEEDED:
            self._not_needed(line, NOT_NEEDED[name])
            return True
        if name in NOTE_KEYS or not (key in OF_LENS or key in OF_REQUEST):
            return False
        if key in ("quantities", "needed_by"):
            return self._read(line, key, text)
        given = self.record.answer(f"row{line.number}.{key}", self._pointer(key))
        value = value_of(key, given if given is not None else text)
        if value is None:
            reason = (
                f"{text!r} is no number"
                if key.endswith(("_mm", "_nm", "_deg"))
                else f"{text!r} is not understood as {key.replace('_', ' ')}"
            )
            self._ask(line, key, reason, text)
            return True
        return self._take(line, key, value)

    def _order(self, line: Line) -> bool:
        """A line that says something of the order: quantities, a day, papers, terms."""
        reading = read_order(line.text)
        return reading is not None and self._taken(line, "order", reading)

    def _read(self, line: Line, key: str, text: str) -> bool:
        given = self.record.answer(f"row{line.number}.{key}", self._pointer(key))
        words = given if given is not None else text
        return self._taken(line, key, read_quantities(words) if key == "quantities" else read_day(words))

    def _taken(self, line: Line, key: str, reading: Reading) -> bool:
        """What a reading says of the whole, put into the request or asked about."""
        if not reading.plain:
            self._ask(
                line,
                key,
                reading.asks or f"{reading.left!r} is not understood",
                line.text,
                [(one.answer, one.means) for one in reading.choices],
            )
            return True
        for field_name, value in reading.values.items():
            if field_name == "prescription.remarks":
                self.remarks.append(str(value))
                self.record.assume("/prescription/remarks", str(value), reading.rule or "it goes into the remarks")
                self._used(line, "/prescription/remarks")
            elif not self._take(line, field_name.removeprefix("prescription."), value):
                return False
        if reading.rule:
            self.record.assume(self._pointer(next(iter(reading.values), "")), line.text, reading.rule)
        return bool(reading.values)

    def _take(self, line: Line, key: str, value: Any) -> bool:
        target = self.lens if key in OF_LENS else self.request
        if isinstance(value, list) and isinstance(target.get(key), list) and key in ("own_operations", "spares"):
            value = [*target[key], *(one for one in value if one not in target[key])]
        elif key in target and target[key] != value and key != "title":
            return False
        target[key] = value
        self._used(line, self._pointer(key))
        return True

    def _ask(self, line: Line, key: str, reason: str, figure: str, choices: list[tuple[str, str]] | None = None) -> None:
        name = f"row{line.number}.{key}"
        if name in self.record.answers:
            given = self.record.answers[name]
            self.record.blame(
                f"the answer {given!r} to {name} is not understood: {reason}",
                figure=given,
                remedy="as a request has it",
                row=line.number,
                column=key,
            )
            return
        self.record.ask(name, self._pointer(key), reason, figure=figure[:200], choices=choices or (), row=line.number, column=key)
        for cell in line.cells:
            self.record.note(cell, "asked", pointer=self._pointer(key), why=reason)

    def _of_every_face(self, line: Line) -> bool:
        """A line such as `all surfaces 60-40`: what it says is of every face, or of every element."""
        reading = read_cell("remark", WHOLE.sub("", line.text))
        if not reading.plain or not reading.values or any(key.startswith(("front.", "back.", "remarks")) for key in reading.values):
            return False
        self.everywhere.append((line, reading))
        self._used(line, "/prescription/elements")
        return True

    @staticmethod
    def _pointer(key: str) -> str:
        return f"/prescription/{key}" if key in OF_LENS else f"/{key}"

    def _rest(self, line: Line) -> None:
        text = line.text
        name = f"row{line.number}"
        if TRADE_WORDS.search(text) or len(text) > LONGEST_REMARK:
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
        self.remarks.append(text)
        self.record.assume(
            "/prescription/remarks",
            text,
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
