"""What every column of a table is: columns that nobody knows are asked about, as are units and diameters that may be two things."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from decimal import Decimal

from services.desk.intake import units
from services.desk.intake.figures import Figures
from services.desk.intake.grid import Cell, letter_of
from services.desk.intake.heads import LENGTHS, Head, head_of, spelled
from services.desk.intake.lines import Line, stated_unit
from services.desk.intake.numbers import Figure, figure_of
from services.desk.intake.record import Record
from services.desk.intake.tables import Table

PLAIN_DIAMETERS = ("diameter", "dia", "durchmesser", "diametre", "diam", "d")
NOT_NEEDED = "not_needed"
ONCE = ("radius", "curvature", "thickness", "glass", "clear", "outer", "conic", "gap", "index", "abbe", "units", "aperture")
LARGEST_OF_INCHES = Decimal(4)
"""Diameters up to this, without a unit, may be inches: lenses of 4 mm and less are as rare as those of more than 4 inches."""

THIN_MM, NARROW_MM = Decimal("0.7"), Decimal(12)
"""A glass thinner than this in a lens no wider than that is either a window of a few tenths, or in inches."""


def settle_columns(table: Table, record: Record) -> Table:
    """The table with a kind for each of its columns: as headed, as answered, or as the figures say."""
    heads = dict(table.heads)
    for column, head in heads.items():
        record.heads.setdefault((table.grid.sheet, column), head.written)
    for column, written in table.unknown.items():
        record.heads.setdefault((table.grid.sheet, column), written)
    for cell in table.head_cells:
        record.note(cell, "heading")
    for column, written in _unknown(table).items():
        names = table.turned and not written and column == min((*table.heads, *table.unknown, column))
        answered = Head("element", "") if names else _asked_column(table, column, written, record)
        if answered is not None:
            heads[column] = answered
    table = replace(table, heads=heads)
    if not any(name.startswith("column.") for name in record.questions):  # of which one may be what is missing
        _refuse_missing(table, record)
    _refuse_twice(table, record)
    return table


def settle_diameters(figures: Figures) -> None:
    """What columns of diameters hold that may be two things."""
    _refuse_odd_terms(figures)
    figures.table = _settle_aperture(figures)
    figures.table = _settle_plain(figures)


def _unknown(table: Table) -> dict[int, str]:
    """Columns with a head that nobody knows, or with cells and no head at all."""
    written = dict(table.unknown)
    for row in table.rows:
        for column in row.cells:
            if column not in table.heads:
                written.setdefault(column, "")
    return dict(sorted(written.items()))


def _asked_column(table: Table, column: int, written: str, record: Record) -> Head | None:
    cells = [row.cells[column] for row in table.rows if column in row.cells]
    heads = [cell for cell in table.head_cells if (cell.row if table.turned else cell.column) == column]
    if not cells:
        for cell in heads:
            record.note(cell, "not_needed", why="the column is empty")
        return None
    if (
        not written
        and not table.turned
        and table.grid.separator in (";", ",", "\t")
        and all(re.search(r"\d", cell.text) for cell in cells)
    ):
        count = max(cell.column for cell in cells) + 1
        record.blame(f"the row has {count} cells, the heads are {table.width}", figure=count, row=cells[0].row, column="(none)",
                     remedy="use ; as separator when the numbers have a decimal comma")  # fmt: skip
        for cell in cells:
            record.note(cell, "asked", why="there is no head above it")
        return None
    shown = written or f"column {letter_of(column)}"
    given = record.ask(
        f"column.{written or letter_of(column)}", "/prescription/elements", f"unknown column: what is in the column {shown}?", figure=cells[0].text,
        choices=_choices(cells), cell=heads[0] if heads else cells[0],
    )  # fmt: skip
    if given is None:
        for cell in cells:
            record.note(cell, "asked", why=f"what is in the column {shown}?")
        return None
    if given == NOT_NEEDED:
        for cell in [*heads, *cells]:
            record.note(cell, "not_needed", why="so it was answered")
        return None
    head = head_of("comment" if given == "remark" else given)
    if head is None:
        record.blame(f"the answer {given!r} to column.{written} is no kind of column", figure=given, cell=heads[0] if heads else cells[0],
                     remedy="a head such as coating, clear diameter or comment, or not_needed")  # fmt: skip
        return None
    return replace(head, written=written or shown)


def _choices(cells: list[Cell]) -> list[tuple[str, str]]:
    figures = all(re.match(r"\s*[+-]?[0-9.,]+", cell.text) for cell in cells)
    lengths = [("clear_diameter", "clear diameters"), ("diameter", "diameters of the glass"), ("thickness", "thicknesses")]
    words = [
        ("comment", "remarks, read word by word"),
        ("coating", "coatings"),
        ("surface_quality", "surface imperfections"),
        ("form", "surface form"),
    ]
    return [*(lengths if figures else words), (NOT_NEEDED, "nothing that a quote needs")]


def _refuse_missing(table: Table, record: Record) -> None:
    kinds = {head.kind for head in table.heads.values()}
    missing = [] if kinds & {"radius", "curvature"} else ["radius_mm"]
    missing += [] if "thickness" in kinds else ["thickness_mm"]
    missing += [] if kinds & {"glass", "index"} or table.per_element else ["glass"]
    for column in missing:
        record.blame("the column is missing", figure=None, row=table.head_row, column=column,
                     remedy="the columns are surface, radius_mm, thickness_mm, glass, clear_diameter_mm or diameter_mm")  # fmt: skip


def _refuse_twice(table: Table, record: Record) -> None:
    groups: dict[tuple[str, str], list[Head]] = {}
    for _, head in sorted(table.heads.items()):
        kind = "radius" if head.kind == "curvature" else f"a{head.order}" if head.kind == "term" else head.kind
        if kind in ONCE or head.kind == "term":
            groups.setdefault((kind, head.face), []).append(head)
    for (kind, _), heads in groups.items():
        if len(heads) > 1:
            both = " and ".join(dict.fromkeys(head.written for head in heads))
            record.blame(f"the column is there twice ({both})", figure=heads[1].written, row=table.head_row, column=heads[0].written,
                         remedy=f"one column for {kind}")  # fmt: skip


def _refuse_odd_terms(figures: Figures) -> None:
    table, record = figures.table, figures.record
    for column in table.columns("odd_term"):
        head = table.heads[column]
        cells = [row.cells[column] for row in table.rows if column in row.cells]
        for cell in cells:
            figure = figure_of(cell.text, figures.signs, typed=cell.typed)
            if isinstance(figure, Figure) and figure.value == 0:
                record.note(cell, "not_needed", why="the term is 0")
            else:
                record.blame(f"an aspheric term of order {head.order} is not made: the orders are 4, 6 … 20", figure=cell.text, cell=cell,
                             remedy="even terms up to the 20th order")  # fmt: skip


def _numbers(figures: Figures, column: int) -> list[tuple[int, Decimal]]:
    """Row and number of every cell of a column that is surely one."""
    found = []
    for row in figures.table.rows:
        figure = figure_of(row.cells[column].text, figures.signs, typed=row.cells[column].typed) if column in row.cells else None
        if isinstance(figure, Figure):
            found.append((row.number, figure.value))
    return found


def _settle_aperture(figures: Figures) -> Table:
    """A column called `SD` or `aperture` holds clear semi-diameters or clear diameters; the diameters beside it may say which."""
    table, record = figures.table, figures.record
    columns = table.columns("aperture")
    if not columns:
        return table
    column = columns[0]
    head = table.heads[column]
    if table.columns("clear"):
        kind, semi = "outer", head.semi
        return replace(table, heads={**table.heads, column: replace(head, kind=kind, semi=semi)})
    outers = table.columns("outer")
    values = dict(_numbers(figures, column))
    wide = (
        max((value * (2 if table.heads[outers[0]].semi else 1) for _, value in _numbers(figures, outers[0])), default=None)
        if outers
        else None
    )
    largest = max(values.values(), default=None)
    if wide is not None and largest is not None and largest <= Decimal("0.55") * wide:
        record.assume("", f"{head.written} is the clear semi-diameter", "twice of it fits the diameters beside it")
        return replace(table, heads={**table.heads, column: replace(head, kind="clear", semi=True)})
    if wide is not None and largest is not None and largest <= wide:
        record.assume("", f"{head.written} is the clear diameter", "twice of it would be larger than the diameters beside it")
        return replace(table, heads={**table.heads, column: replace(head, kind="clear")})
    given = record.ask(
        f"column.{head.written}", "/prescription/elements", f"is {head.written} a clear semi-diameter or a clear diameter?", free=False,
        choices=(("semi-diameter", "half of the clear diameter"), ("clear_diameter", "the whole clear diameter")), row=table.head_row, column=head.written,
    )  # fmt: skip
    answered = head_of(given) if given is not None else None
    semi = answered is not None and answered.semi
    return replace(table, heads={**table.heads, column: replace(head, kind="clear", semi=semi)})


def _settle_plain(figures: Figures) -> Table:
    """A column called only `diameter`, of a table of surfaces without clear diameters: of the faces or of the glass?"""
    table, record = figures.table, figures.record
    columns = table.columns("outer")
    if table.per_element or table.columns("clear") or len(columns) != 1:
        return table
    column = columns[0]
    head = table.heads[column]
    name = re.sub(r"_(mm|in|inch|cm)$", "", spelled(head.written))
    name = re.sub(r"_(mm|in|inch|cm)$", "", spelled(re.sub(r"[(\[].*", "", head.written))) or name
    glasses = {row.number for row in table.rows if any(table.heads[at].kind == "glass" for at in row.cells if at in table.heads)}
    values = dict(_numbers(figures, column))
    backs = [number for number in values if number not in glasses]
    if name not in PLAIN_DIAMETERS or not backs or head.semi:
        return table
    given = record.answer(f"column.{head.written}")
    if given is None and len(set(values.values())) > len(values) / 2:
        record.assume("", f"{head.written} is the clear diameter", "the two faces of elements have different ones")
        return replace(table, heads={**table.heads, column: replace(head, kind="clear")})
    if given is None:
        rule = f"a diameter that is not called clear, the same on both faces of elements (otherwise answer column.{head.written}=clear_diameter)"
        record.assume("", f"{head.written} is the diameter of the glass", rule)
    answered = head_of(given) if given is not None else None
    return replace(
        table,
        heads={
            **table.heads,
            column: replace(head, kind="clear" if answered is not None and answered.kind == "clear" else "outer"),
        },
    )


def settle_units(figures: Figures, lines: list[Line]) -> None:
    """The unit of the table: from a line, a column, the heads, or the figures; where it may be two it is asked."""
    table, record = figures.table, figures.record
    line = next(((one, unit) for one in lines if (unit := stated_unit(one)) is not None), None)
    figures.row_units = _row_units(table, record)
    lengths = [head for head in table.heads.values() if head.kind in LENGTHS]
    said = list(dict.fromkeys(head.unit_mm for head in lengths if head.unit_mm is not None))
    given = record.answer("unit")
    if given is not None:
        figures.unit_mm = units.mm_per(given)
        if figures.unit_mm is None:
            record.blame(
                f"the answer {given!r} to unit is no unit of length", figure=given, remedy="mm or inch", row=table.head_row
            )
        else:
            record.assume("", f"lengths without a unit are in {units.shown(figures.unit_mm)}", "as answered")
        return
    stated = [line[1]] if line is not None else list(dict.fromkeys(figures.row_units.values()))
    if stated:
        figures.unit_mm = stated[0]
        _refuse_two(figures, stated[0], line is not None)
    elif len(said) == 1:
        figures.unit_mm = said[0]
        bare = [head.written for head in lengths if head.unit_mm is None]
        if bare:
            record.assume("", f"{', '.join(bare)} in {units.shown(said[0])}", "as the heads that state a unit")
    elif said and any(head.unit_mm is None for head in lengths):
        record.ask("unit", "", "the heads state more than one unit: in which are those without one?", free=False, row=table.head_row,
                   choices=[(units.shown(unit), "the unit of the heads without one") for unit in said])  # fmt: skip
    elif not said:
        _guess(figures)


def _refuse_two(figures: Figures, stated: Decimal, by_line: bool) -> None:
    table, record = figures.table, figures.record
    for column, head in table.heads.items():
        numbers = [
            row for row in table.rows if figures.row_units.get(row.number, stated if by_line else head.unit_mm) != head.unit_mm
        ]
        if head.kind not in LENGTHS or head.unit_mm is None or not numbers:
            continue
        other = figures.row_units.get(numbers[0].number, stated)
        record.ask(
            "unit", "", f"the head says {_plural(head.unit_mm)}, the units of the table are {_plural(other)}", figure=head.written, free=False,
            choices=[(units.shown(head.unit_mm), "as the head says"), (units.shown(other), "as the table says")], row=numbers[0].number,
            column=table.heads[column].written,
        )  # fmt: skip


def _plural(unit: Decimal) -> str:
    return "inches" if unit == units.INCH else units.shown(unit)


def _row_units(table: Table, record: Record) -> Mapping[int, Decimal]:
    found = {}
    for column in table.columns("units"):
        for row in table.rows:
            cell = row.cells.get(column)
            unit = units.mm_per(cell.text) if cell is not None else None
            if cell is not None and unit is None:
                record.blame(f"{cell.text!r} is not a known unit of length", figure=cell.text, remedy="mm or inch", cell=cell)
            elif cell is not None and unit is not None:
                found[row.number] = unit
                record.note(cell, "used", pointer="/prescription/elements")
    return found


def _guess(figures: Figures) -> None:
    """Nothing states a unit: mm, unless the figures are so small that they may be inches."""
    table, record = figures.table, figures.record
    cells = [
        row.cells[column]
        for row in table.rows
        for column in row.cells
        if column in table.heads and table.heads[column].kind in LENGTHS
    ]
    read = [figure_of(cell.text, figures.signs, typed=cell.typed) for cell in cells]
    if read and all(figure is None or (isinstance(figure, Figure) and figure.unit_mm is not None) for figure in read):
        return
    widths = [
        value * (2 if table.heads[column].semi else 1)
        for kind in ("clear", "outer")
        for column in table.columns(kind)
        for _, value in _numbers(figures, column)
    ]
    fractions = any(re.search(r"[0-9]\s*/\s*[0-9]|[½¼¾⅛⅜⅝⅞]", cell.text) for cell in cells)
    glass = table.columns("glass")
    thin = [value for column in table.columns("thickness") for number, value in _numbers(figures, column)
            if value > 0 and any(row.number == number and (table.per_element or any(at in row.cells for at in glass)) for row in table.rows)]  # fmt: skip
    small = bool(widths) and (max(widths) <= LARGEST_OF_INCHES or (max(widths) <= NARROW_MM and bool(thin) and min(thin) < THIN_MM))
    if small or fractions:
        record.ask("unit", "", "no unit is stated, and the figures may be mm or inches: which are they?", free=False,
                   choices=(("inch", "all lengths are in inches"), ("mm", "all lengths are in mm")), row=table.head_row)  # fmt: skip
    else:
        record.assume(
            "", "all lengths are in mm", "no unit is stated, and in inches the diameters would be those of no lens of this shop"
        )
    figures.unit_mm = units.MM
