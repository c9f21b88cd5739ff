"""A letter: its free lines are read where they say a lens plainly; every other word is of the order, of all faces, asked about, or told as not needed."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field

from services.desk.intake.grid import Cell, Grid
from services.desk.intake.heads import head_of
from services.desk.intake.letter_words import CEMENTED, PLANO, Phrase, phrases_of
from services.desk.intake.lines import Line, stated_unit
from services.desk.intake.meanings import read_cell
from services.desk.intake.reading import tidy
from services.desk.intake.record import LONGEST_TEXT, Record
from services.desk.intake.said import Said
from services.desk.intake.tables import Row, Sheet, Table

COLUMNS = ("radius", "thickness", "glass", "diameter", "clear diameter")
KINDS = ("radius", "thickness", "glass", "outer", "clear")
IN_WORDS = {
    "radius": "a radius",
    "thickness": "a thickness",
    "gap": "air",
    "glass": "glass",
    "outer": "a diameter",
    "clear": "a clear diameter",
}
FIRST_COLUMN = 1000
"""Columns of the table that a letter becomes lie behind any that a cell of it may stand in."""

MOST_LINES = 400
APART = re.compile(r"\s*;\s*|,\s+|,$|\.\s+(?=[A-Z])|\s+[|•]\s+|\t+")
CLOSING = re.compile(
    r"\W*(?:(?:best|kind|warm)?\s*regards|sincerely|mit (?:freundlichen|besten) grüßen|viele grüße|beste grüße|cordialement|bien à vous|salutations|thanks?(?: you)?(?: in advance)?|danke|merci|cheers)\b.*",
    re.IGNORECASE,
)
GREETING = re.compile(
    r"\W*(?:hi|hello|dear|sehr geehrte\w*|guten (?:tag|morgen)|hallo|liebe\w*|bonjour|good (?:morning|afternoon|day)|ladies|madame|monsieur)\b.*",
    re.IGNORECASE,
)
TRADE = re.compile(
    r"coat|beschicht|vergüt|entspiegel|traitement|toleran|toleranz|scratch|\bdig\b|λ|lambda|wave|fringe|irregular|centr|zentri|±|blacken|schwärz|bevel|fase|chamfer|must|shall|muss|doit|\bar\b|aspher|mirror|spiegel|free issue|rohs",
    re.IGNORECASE,
)
DEMANDS = re.compile(f"[0-9]|{TRADE.pattern}", re.IGNORECASE)
"""What a clause has that may cost money, so that it is asked about; figures of a signature are none."""

LENS_WORDS = re.compile(
    r"(?:[\s,:.-]|\b(?:the|a|an|one|of|each|following|lens(?:es)?|singlet|doublet|triplet|achromat|please|quote|offer|us|with|and|mm|element|elements|made|from|in|for|is|are|we|need|linse|linsen|mit|und|aus|bitte|um|angebot|für"
    r"|lentille|avec|et|en|cemented|air[\s-]?spaced|biconvex|bi-convex|biconcave|meniscus|bikonvex|plano-convex|plano-concave|pcx|pcv|dcx|verkittet|first|second|front|back)\b)*",
    re.IGNORECASE,
)


@dataclass
class Letter:
    """What a letter says: the table of its lens on a sheet, what its other words say, and how many clauses each line has."""

    said: Said
    sheet: Sheet
    clauses: dict[int, int] = field(default_factory=dict)

    def name_cells(self) -> None:
        """Tell each figure in the book of cells with the words that stand beside it, as `R1 61.47`."""
        cells = self.said.record.cells
        for cell in self.sheet.grid.cells():
            if cell.key in cells:
                cells[cell.key] = cells[cell.key].model_copy(update={"text": cell.text[:LONGEST_TEXT]})


def read_letter(grid: Grid, text: str, record: Record) -> Letter:
    """A letter out of its lines. Its sheet has a table where radii and glasses make a lens, none otherwise."""
    lines = text.splitlines() if text else [" ".join(cell.text for cell in row) for row in grid.rows]
    phrases = [phrase for number, line in enumerate(lines[:MOST_LINES], 1) for phrase in phrases_of(tidy(line), number)]
    cells = {
        id(phrase): Cell(phrase.line, position, phrase.text.strip(" ,;"), grid.sheet) for position, phrase in _numbered(phrases)
    }
    rows: dict[int, list[Cell]] = {}
    for phrase in phrases:
        rows.setdefault(phrase.line, []).append(cells[id(phrase)])
    sheet = Sheet(Grid(grid.sheet, tuple(tuple(row) for row in rows.values())))
    letter = Letter(Said(record), sheet)
    table = _table(phrases, cells, sheet.grid, letter)
    closed = False
    for phrase in phrases:
        if phrase.kind in IN_WORDS:
            letter.said.understood.append(f"{IN_WORDS[phrase.kind]} {phrase.value} (line {phrase.line})")
            continue
        if phrase.kind == "label":
            record.note(cells[id(phrase)], "heading", why="it names an element")
            continue
        closed = closed or CLOSING.fullmatch(phrase.text) is not None
        _other(letter, phrase, cells[id(phrase)], closed=closed)
    if table is not None:
        sheet.tables.append(table)
    return letter


def _numbered(phrases: list[Phrase]) -> list[tuple[int, Phrase]]:
    """Each phrase with its place within its line, from 0."""
    seen: dict[int, int] = {}
    found = []
    for phrase in phrases:
        place = seen.get(phrase.line, 0)
        seen[phrase.line] = place + 1
        found.append((place, phrase))
    return found


def _table(phrases: list[Phrase], cells: Mapping[int, Cell], grid: Grid, letter: Letter) -> Table | None:
    """One row a surface; `None` where radii and glasses make no lens."""
    of = {kind: [phrase for phrase in phrases if phrase.kind == kind] for kind in (*KINDS, "gap")}
    radii = _in_order(of["radius"])
    glasses = _in_order(of["glass"])
    words = " ".join(phrase.text for phrase in phrases if not phrase.kind)
    faces: list[Cell] = [_radius(phrase, position, cells[id(phrase)], letter) for position, phrase in enumerate(radii)]
    plano = next((phrase for phrase in phrases if PLANO.search(phrase.text)), None)
    if len(faces) == 1 and len(glasses) == 1 and plano is not None:
        cell = cells[id(plano)]
        faces.append(Cell(cell.row, cell.column, "plano", cell.sheet))
        letter.said.record.assume(
            "/prescription/elements",
            f"the second radius is plano ({plano.text.strip()})",
            "a plano lens with one radius: the face that is said is the front",
            cell,
        )
    count = len(glasses)
    joined = count > 1 and len(faces) == count + 1
    if not count or (len(faces) != 2 * count and not joined):
        return None
    if not joined and count > 1 and CEMENTED.search(words) is not None:
        return None
    columns = _columns(of, cells, count, joined=joined)
    rows = []
    for position, face in enumerate(faces):
        glass = position if joined else position // 2
        begins = position < count if joined else position % 2 == 0
        row: dict[int, Cell] = {FIRST_COLUMN: face}
        if begins:
            row[FIRST_COLUMN + 2] = _with_text(cells[id(glasses[glass])], glasses[glass].value)
        for column, at in (
            (1, columns["thickness"].get(position)),
            (3, columns["outer"].get(position)),
            (4, columns["clear"].get(position)),
        ):
            if at is not None:
                row[FIRST_COLUMN + column] = at
        rows.append(Row(face.row, row))
    heads = {FIRST_COLUMN + at: head for at, written in enumerate(COLUMNS) if (head := head_of(written)) is not None}
    used = {column for row in rows for column in row.cells}
    return Table(
        grid,
        {column: head for column, head in heads.items() if column in used},
        {},
        (),
        tuple(rows),
        head_row=0,
        width=FIRST_COLUMN + len(COLUMNS),
    )


def _in_order(phrases: list[Phrase]) -> list[Phrase]:
    """By their numbers where each has one of its own, else as they come."""
    numbers = [phrase.number for phrase in phrases]
    return sorted(phrases, key=lambda phrase: phrase.number) if all(numbers) and len(set(numbers)) == len(numbers) else phrases


def _with_text(cell: Cell, text: str) -> Cell:
    return Cell(cell.row, cell.column, text, cell.sheet)


def _radius(phrase: Phrase, position: int, cell: Cell, letter: Letter) -> Cell:
    """The radius, with the sign that its word for the bend gives it: positive where the centre lies behind the face."""
    value = phrase.value
    if not phrase.bent:
        return _with_text(cell, value)
    out = phrase.bent.startswith(("conv", "cx", "konv"))
    negative = out == (position % 2 == 1)
    if negative and not value.startswith("-"):
        letter.said.record.assume(
            "/prescription/elements",
            f"{phrase.text.strip()} is a radius of -{value.lstrip('+')}",
            "a radius is positive where its centre lies behind the face",
            cell,
        )
        return _with_text(cell, f"-{value.lstrip('+ ')}")
    return _with_text(cell, value)


def _columns(of: Mapping[str, list[Phrase]], cells: Mapping[int, Cell], count: int, *, joined: bool) -> dict[str, dict[int, Cell]]:
    """Which thickness and diameters stand in the row of which face."""
    faces = count + 1 if joined else 2 * count
    fronts = list(range(count)) if joined else list(range(0, faces, 2))
    thicknesses, gaps = _in_order(of["thickness"]), _in_order(of["gap"])
    made = {
        id(phrase): _with_text(cells[id(phrase)], phrase.value)
        for kind in ("thickness", "gap", "outer", "clear")
        for phrase in of[kind]
    }
    placed: dict[str, dict[int, Cell]] = {"thickness": {}, "outer": {}, "clear": {}}
    if not joined and count > 1 and not gaps and len(thicknesses) == 2 * count - 1:
        placed["thickness"] = {position: made[id(phrase)] for position, phrase in enumerate(thicknesses)}
    else:
        placed["thickness"] = {position: made[id(phrase)] for position, phrase in zip(fronts, thicknesses, strict=False)}
        placed["thickness"] |= {position + 1: made[id(phrase)] for position, phrase in zip(fronts, gaps, strict=False)}
    for kind in ("outer", "clear"):
        said = of[kind]
        if len(said) == 1:
            placed[kind] = {position: made[id(said[0])] for position in range(faces)}
        elif len(said) == faces:
            placed[kind] = {position: made[id(phrase)] for position, phrase in enumerate(said)}
        else:
            for position, phrase in zip(fronts, said, strict=False):
                placed[kind] |= {position: made[id(phrase)]} | ({} if joined else {position + 1: made[id(phrase)]})
    return placed


def _other(letter: Letter, phrase: Phrase, cell: Cell, *, closed: bool) -> None:
    """A stretch that says no figure of the lens: as a whole, else clause by clause."""
    text, record = phrase.text.strip(" ,;"), letter.said.record
    if GREETING.fullmatch(text) or CLOSING.fullmatch(text):
        record.note(cell, "not_needed", why="a greeting says nothing of the lens")
        return
    if stated_unit(Line(cell.row, (cell,))) is not None:
        letter.sheet.lines.append(Line(cell.row, (cell,)))
        return
    clauses = [text] if phrase.kind == "order" else [clause for clause in APART.split(text) if clause.strip()]
    whole = read_cell("remark", text)
    if whole.plain and whole.values:
        clauses = [text]
    for written in clauses:
        clause = written.strip(" .,;")
        letter.clauses[phrase.line] = letter.clauses.get(phrase.line, 0) + 1
        name = f"line{phrase.line}.{letter.clauses[phrase.line]}"
        if not clause or letter.said.clause(clause, cell, name):
            continue
        if LENS_WORDS.fullmatch(clause) or not (TRADE if closed else DEMANDS).search(clause):
            record.note(
                cell, "not_needed", why="a signature says nothing of the lens" if closed else "words without a figure or a demand"
            )
        else:
            letter.said.ask(clause, cell, name)
