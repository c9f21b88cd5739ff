"""A column of quantities in a table of elements: how many of each are wanted is how many lenses are, where all rows say the same."""

from __future__ import annotations

from typing import Any

from services.desk.intake.quantities import read_quantities
from services.desk.intake.record import Record
from services.desk.intake.tables import Table

POINTER = "/quantities"


def quantities_of_rows(table: Table, record: Record, request: dict[str, Any]) -> None:
    """Put the quantities of the rows of a table into the request; where they differ, or a line says others, it is asked."""
    cells = [row.cells[column] for column in table.columns("quantity") for row in table.rows if column in row.cells]
    if not cells:
        return
    read = {tuple(found) if (found := quantities_of(cell.text)) is not None else None for cell in cells}
    said = tuple(request["quantities"]) if "quantities" in request else None
    given = record.answer("quantities", POINTER)
    answered = None if given is None else quantities_of(given)
    if answered is None and len(read | ({said} if said else set())) == 1 and None not in read:
        request["quantities"] = [count for each in read for count in each or ()]
        for cell in cells:
            record.used(cell, POINTER)
        return
    if answered is None:
        offered = sorted({*read, said} - {None}, key=str)
        record.ask(
            "quantities", POINTER, "the rows are asked for in different quantities: how many lenses are wanted?", figure=", ".join(cell.text for cell in cells)[:200],
            choices=[("/".join(map(str, each)), f"{' or '.join(map(str, each))} lenses") for each in offered if each], cell=cells[0],
        )  # fmt: skip
        for cell in cells:
            record.note(cell, "asked", pointer=POINTER, why="how many lenses are wanted?")
        return
    request["quantities"] = answered
    for cell in cells:
        record.assume(POINTER, f"quantities {', '.join(map(str, answered))}", "as answered", cell)


def quantities_of(text: str) -> list[int] | None:
    """The quantities in a text that says nothing else."""
    reading = read_quantities(text)
    return list(reading.values["quantities"]) if reading.plain and reading.values.keys() == {"quantities"} else None
