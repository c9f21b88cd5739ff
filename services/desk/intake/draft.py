"""A file becomes a draft: the request as far as it is known, what was assumed, what is asked, and what became of every cell."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Collection, Mapping, Sequence
from pathlib import PurePath
from typing import Any

from pydantic import ValidationError

from services.chassis.problems import details_of_invalid
from services.desk.errors import FileUnreadable, OptionUnusable, RequestUnreadable, TableUnreadable
from services.desk.intake.around import Around
from services.desk.intake.columns import settle_columns, settle_diameters, settle_units
from services.desk.intake.elements import layout_of_elements
from services.desk.intake.figures import Figures
from services.desk.intake.grid import Book, letter_of
from services.desk.intake.grids import book_of
from services.desk.intake.lens import Lens
from services.desk.intake.letter import Letter, read_letter
from services.desk.intake.lines import Line
from services.desk.intake.meant import NOT_NEEDED, REMARK, REMARK_CHOICES, Meant
from services.desk.intake.record import Record, detail_at, in_words
from services.desk.intake.row_quantities import quantities_of_rows
from services.desk.intake.said import Said
from services.desk.intake.shapes import ask_about_shapes
from services.desk.intake.slips import ask_about_slips
from services.desk.intake.surfaces import layout_of_surfaces
from services.desk.intake.tables import Sheet, Table, sheet_of
from shared_schemas.intake import Assumption, CellRead, IntakeDraft, Spot
from shared_schemas.problem import ProblemDetail
from shared_schemas.quote_request import QuoteRequest

MOST_ROWS_OF_A_LENS = 200
USUAL_QUANTITIES = (5, 25, 100)
USUAL = "no quantity is said; these are usual"
WHAT_A_LETTER_NEEDS = "a lens needs its radii, thicknesses, glasses and a diameter, as R1 61.47 R2 -43.47 CT 6.0 N-BK7 Ø25.4"
WHAT_IS_READ = "a table needs heads such as radius, thickness, glass and clear diameter, or R1, R2, CT and diameter"


def read_intake(
    content: bytes | str, *, name: str, sheet: str | None = None, answers: Mapping[str, str] | None = None, asked: Mapping[str, Any] | None = None,
    glasses: Collection[str] | None = None,
) -> IntakeDraft:  # fmt: skip
    """The draft of a request out of a file or a pasted text.

    `sheet` chooses among several, `answers` are those to questions of an earlier draft of the same content, `asked` are fields of the request
    that override what the file says, `glasses` the glasses that are known. Raises `FileUnreadable` for what is no table of a lens, with every
    place that no answer mends, and `AnswersUnusable` for answers to what is not asked.
    """
    record = Record(name, dict(answers or {}))
    book = book_of(content, name)
    for what, rule in book.assumed:
        record.assume("", what, rule)
    asked = {field: value for field, value in (asked or {}).items() if value is not None}
    if book.document is not None:
        return _draft_of_document(book, record, asked)
    sheets = [sheet_of(grid) for grid in book.grids]
    letter = None if any(one.tables for one in sheets) else _letter(book, record)
    sheets = sheets if letter is None else [letter.sheet]
    chosen, table = _choose(sheets, sheet, record)
    if table is None:
        for cell in (cell for one in sheets for cell in one.grid.cells()):
            record.note(cell, "asked", why="which table is meant?")
        return _draft(record, book.recognised, {}, asked)
    recognised = [*book.recognised, *_recognised(table, sheets)]
    around = Around(record)
    prescription = _prescription(table, chosen, record, around, glasses, recognised)
    if letter is not None:
        recognised[-2:] = ["a letter, line by line", recognised[-1]]
        letter.name_cells()
        _of_words(letter.said, prescription, around)
    _other_sheets(sheets, chosen, record, around)
    _ask_what_is_left(chosen, record)
    document = _document(prescription, around, record, asked, name)
    return _draft(record, tuple(recognised), document, asked)


def _choose(sheets: list[Sheet], wanted: str | None, record: Record) -> tuple[Sheet, Table | None]:
    """The table that is meant; where several hold a lens it is asked which."""
    name = record.name
    if wanted is not None and wanted not in [sheet.grid.sheet for sheet in sheets]:
        there = ", ".join(sheet.grid.sheet for sheet in sheets if sheet.grid.sheet) or "no sheets, it is text"
        raise FileUnreadable(name, f"it has no sheet {wanted}; there are: {there}")
    offered = [sheet for sheet in sheets if sheet.tables and wanted in (None, sheet.grid.sheet)]
    if not offered:
        _refuse_other_table([sheet for sheet in sheets if wanted in (None, sheet.grid.sheet)], name)
    chosen = offered[0]
    if len(offered) > 1:
        given = record.ask(
            "sheet", "", "several sheets hold a table of a lens: which one is meant?", free=False,
            choices=[(sheet.grid.sheet, sheet.tables[0].span) for sheet in offered],
        )  # fmt: skip
        chosen = next((sheet for sheet in offered if sheet.grid.sheet == given), chosen)
        if given is None:
            return chosen, None
    if chosen.grid.formulas:
        count = len(chosen.grid.formulas)
        raise FileUnreadable(
            name,
            f"{count} {'cell calculates' if count == 1 else 'cells calculate'}; put the values there (paste as values)",
            *chosen.grid.formulas[:20],
        )
    if len(chosen.tables) == 1:
        return chosen, chosen.tables[0]
    given = record.ask(
        "table", "", "there are several tables of a lens: which one is meant? Two lenses are two requests.", free=False,
        choices=[(table.span, f"{len(table.rows)} rows below {', '.join(head.written for head in list(table.heads.values())[:4])}") for table in chosen.tables],
    )  # fmt: skip
    table = next((table for table in chosen.tables if table.span == given), None)
    if given is not None and table is None:
        record.blame(
            f"the answer {given!r} to table is no table of the file",
            figure=given,
            remedy=" or ".join(table.span for table in chosen.tables),
        )
        record.refuse_if_any()
    for other in chosen.tables:
        if table is not None and other is not table:
            for cell in [*other.head_cells, *(cell for row in other.rows for cell in row.cells.values())]:
                record.note(cell, "not_needed", why=f"another table is meant: {given}")
    return chosen, table


def _letter(book: Book, record: Record) -> Letter | None:
    """What is no table may be a letter; one that says no lens is refused with what was understood."""
    if len(book.grids) != 1 or not book.text:
        return None
    letter = read_letter(book.grids[0], book.text, record)
    if not letter.sheet.tables and letter.said.understood:
        understood = "; ".join(letter.said.understood[:20])
        raise TableUnreadable(record.name, f"no lens is in it; understood were: {understood}; {WHAT_A_LETTER_NEEDS}")
    return letter if letter.sheet.tables else None


def _of_words(said: Said, prescription: dict[str, Any], around: Around) -> None:
    """What words beside the table or the figures of a letter say."""
    said.into(prescription)
    around.lens |= said.lens
    around.request |= said.request
    around.remarks += said.remarks


def _refuse_other_table(sheets: list[Sheet], name: str) -> None:
    seen = next((sheet.seen for sheet in sheets if sheet.seen), ())
    raise TableUnreadable(name, f"no table of a lens is in it; seen were: {', '.join(seen) or 'no heads'}; {WHAT_IS_READ}")


def _recognised(table: Table, sheets: list[Sheet]) -> list[str]:
    where = f"sheet {table.grid.sheet}, " if table.grid.sheet else ""
    shape = "one row an element" if table.per_element else "one row a surface"
    if table.turned:
        shape = "one column an element" if table.per_element else "one column a surface"
    others = [sheet.grid.sheet for sheet in sheets if sheet.grid is not table.grid]
    told = [f"{where}heads in {'column' if table.turned else 'row'} {table.head_row}, {shape}, {table.span}"]
    return [*told, f"without a lens: {', '.join(others)}"] if others else told


def _prescription(
    table: Table, sheet: Sheet, record: Record, around: Around, glasses: Collection[str] | None, recognised: list[str]
) -> dict[str, Any]:  # fmt: skip
    if len(table.rows) > MOST_ROWS_OF_A_LENS:
        raise TableUnreadable(record.name, f"its table has {len(table.rows)} rows, and {MOST_ROWS_OF_A_LENS} of a lens are read")
    record.turned = table.turned
    table = settle_columns(table, record)
    record.refuse_if_any()
    figures = Figures(record, table)
    figures.decide_signs()
    settle_diameters(figures)
    lines: list[Line] = [*sheet.lines, *table.between]
    settle_units(figures, lines)
    around.read(lines, table.head_row)
    quantities_of_rows(table, record, around.request)
    table = figures.table
    layout = layout_of_elements(table, record) if table.per_element else layout_of_surfaces(table, record)
    if not layout.pieces and not record.questions:
        record.refuse_if_any()
        raise TableUnreadable(record.name, "no row names a glass, so there is no element in it")
    meant = Meant(record, None if glasses is None else frozenset(glasses))
    lens = Lens(layout, figures, record, meant)
    document = lens.document(around.everywhere)
    ask_about_slips(lens)
    ask_about_shapes(lens)
    recognised.append(f"decimal {'comma' if figures.signs.decimal == ',' else 'point'}")
    around.remarks += meant.remarks
    around.request = meant.request | around.request
    return document


def _other_sheets(sheets: list[Sheet], chosen: Sheet, record: Record, around: Around) -> None:
    """Sheets without a lens are not read; that is told, and of each cell."""
    for sheet in sheets:
        if sheet is chosen:
            continue
        why = f"the sheet {sheet.grid.sheet} is not the one that is read"
        for cell in sheet.grid.cells():
            record.note(cell, "not_needed", why=why)
        if any(True for _ in sheet.grid.cells()):
            record.assume("", f"the sheet {sheet.grid.sheet} is left out", "it holds no table of a lens, or another one is meant")


def _ask_what_is_left(sheet: Sheet, record: Record) -> None:
    """No cell is passed over: one that nothing was made of is asked about."""
    for cell in sheet.grid.cells():
        if cell.key in record.cells:
            continue
        name = f"row{cell.row}.{letter_of(cell.column)}"
        given = record.ask(
            name,
            "/prescription",
            f"what does {cell.text[:200]!r} say here?",
            figure=cell.text[:200],
            choices=REMARK_CHOICES,
            cell=cell,
        )
        if given == NOT_NEEDED:
            record.note(cell, "not_needed", why="so it was answered")
        elif given is not None:
            record.assume("/prescription/remarks", cell.text[:500] if given == REMARK else given, "as answered", cell)


def _document(prescription: dict[str, Any], around: Around, record: Record, asked: Mapping[str, Any], name: str) -> dict[str, Any]:
    """The request: what the table and the lines around it say, the usual quantities where none are said, and what was asked beside it."""
    lens = {"title": (PurePath(name).stem or "a lens")[:200], **prescription, **around.lens}
    remarks = [
        *around.remarks,
        *(one.what for one in record.assumptions if one.pointer == "/prescription/remarks" and one.what not in around.remarks),
    ]
    if remarks:
        remarks = [lens["remarks"], *remarks] if lens.get("remarks") else remarks
        lens["remarks"] = "; ".join(dict.fromkeys(remarks))[:2000]
    document: dict[str, Any] = {"prescription": lens, **around.request}
    assumed = [*document.get("assumptions", ()), *(in_words(one) for one in record.assumptions)][:500]
    if assumed:
        document["assumptions"] = assumed
    if "quantities" not in document and "quantities" not in asked:
        document["quantities"] = list(USUAL_QUANTITIES)
        record.assume("/quantities", f"quantities {', '.join(map(str, USUAL_QUANTITIES))}", USUAL)
    return document | dict(asked)


def _draft_of_document(book: Book, record: Record, asked: Mapping[str, Any]) -> IntakeDraft:
    """JSON of a request or of a prescription is what it says; every value of it is used."""
    assert book.document is not None
    document = dict(book.document)
    if "prescription" not in document:
        document = {"prescription": document, "quantities": list(USUAL_QUANTITIES)}
        if "quantities" not in asked:
            record.assume("/quantities", f"quantities {', '.join(map(str, USUAL_QUANTITIES))}", USUAL)
    for pointer, value in _leaves(book.document, ""):
        where = pointer if "prescription" in book.document else f"/prescription{pointer}"
        record.cells[("", 0, len(record.cells))] = CellRead(
            spot=Spot(word=pointer), text=str(value)[:2000], fate="used", pointer=where[:300]
        )
    return _draft(record, book.recognised, document | dict(asked), asked)


def _leaves(value: Any, pointer: str) -> list[tuple[str, Any]]:
    if isinstance(value, dict):
        return [
            leaf
            for key, inner in value.items()
            for leaf in _leaves(inner, f"{pointer}/{str(key).replace('~', '~0').replace('/', '~1')}")
        ]
    if isinstance(value, list):
        return [leaf for i, inner in enumerate(value) for leaf in _leaves(inner, f"{pointer}/{i}")]
    return [] if value is None or value == "" else [(pointer, value)]


def _draft(record: Record, recognised: Sequence[str], document: dict[str, Any], asked: Mapping[str, Any]) -> IntakeDraft:
    """The draft; without questions its request is valid. Raises for what no answer mends."""
    record.refuse_if_any()
    record.refuse_idle_answers()
    request = None if record.questions else _request(record, document, asked)
    return IntakeDraft(
        name=record.name,
        recognised=tuple(line[:2000] for line in recognised),
        document=document,
        request=request,
        assumptions=tuple(record.assumptions),
        questions=tuple(sorted(record.questions.values(), key=lambda question: question.spot.row)),
        cells=tuple(record.cells[key] for key in sorted(record.cells)),
        digest=digest_of(document, record.assumptions, record.answers),
    )


def digest_of(document: Mapping[str, Any], assumptions: Sequence[Assumption], answers: Mapping[str, str]) -> str:
    """The digest of all that a confirmation confirms."""
    confirmed = [document, [assumption.model_dump(mode="json") for assumption in assumptions], dict(answers)]
    return hashlib.sha256(json.dumps(confirmed, sort_keys=True, default=str).encode()).hexdigest()


def _request(record: Record, document: dict[str, Any], asked: Mapping[str, Any]) -> QuoteRequest:
    """The request of a document. Raises `OptionUnusable` for what was said beside the file, `FileUnreadable` for what stands in it."""
    try:
        return QuoteRequest.model_validate(document)
    except ValidationError as fault:
        details = details_of_invalid(fault.errors(), document)
        _refuse_what_was_asked(details, asked)
        of_table = any(cell.spot.row for cell in record.cells.values())
        if not of_table:
            places = "one place needs" if len(details) == 1 else f"{len(details)} places need"
            raise RequestUnreadable(record.name, f"{places} correcting", *details) from fault
        found = [_at_its_cell(record, detail, document) for detail in details]
        count = len(found)
        said = f"{count} {'cell needs' if count == 1 else 'cells need'} correcting; first: {found[0].reason}"
        raise TableUnreadable(record.name, said, *found) from fault


def _refuse_what_was_asked(details: Sequence[ProblemDetail], asked: Mapping[str, Any]) -> None:
    of_options = [one for one in details if one.pointer.split("/")[1] in asked]
    if of_options:
        raise OptionUnusable(
            *(one.model_copy(update={"pointer": f"--{one.pointer.split('/')[1].replace('_', '-')}"}) for one in of_options)
        )


def _at_its_cell(record: Record, detail: ProblemDetail, document: dict[str, Any]) -> ProblemDetail:
    """What is wrong with a field, at the cell that it was read from."""
    pointer = by_names(detail.pointer, document)
    steps = pointer.split("/")
    for length in range(len(steps), 2, -1):
        start = "/".join(steps[:length])
        spot = next(
            (cell.spot for cell in record.cells.values() if cell.pointer == start or cell.pointer.startswith(f"{start}/")), None
        )
        if spot is not None:
            return detail_at(spot, detail.reason, figure=detail.figure, remedy=detail.remedy or "another value")
    return detail


def by_names(pointer: str, document: Mapping[str, Any]) -> str:
    """A pointer into a request with the names of elements in place of their numbers."""
    steps = pointer.split("/")
    elements = document.get("prescription", {}).get("elements", [])
    names = [element.get("name", "") for element in elements if isinstance(element, dict)]
    if steps[1:3] == ["prescription", "elements"] and len(steps) > 3 and steps[3].isdecimal() and int(steps[3]) < len(names):
        steps[3] = names[int(steps[3])]
    if steps[1:3] == ["prescription", "spaces"] and len(steps) > 3 and steps[3].isdecimal() and int(steps[3]) + 1 < len(names):
        steps[3] = f"{names[int(steps[3])]}-{names[int(steps[3]) + 1]}"
    return "/".join(steps)


__all__ = ["USUAL_QUANTITIES", "by_names", "digest_of", "read_intake"]
