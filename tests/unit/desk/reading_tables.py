"""A table of the tests as the desk reads it, and what stands in its way."""

from __future__ import annotations

import pytest

from services.desk.errors import TableUnreadable
from services.desk.intake.draft import read_intake
from services.desk.intake.record import detail_of
from shared_schemas.prescription import Prescription


def prescription_from_table(content: str | bytes, *, title: str = "t", name: str = "the table") -> Prescription:
    """The prescription of a table in which nothing is asked. Raises `TableUnreadable` with every question that stands."""
    draft = read_intake(content, name=name)
    if draft.request is None:
        raise TableUnreadable(name, "there are questions", *map(detail_of, draft.questions))
    return draft.request.prescription.model_copy(update={"title": title})


def blamed(content: str | bytes) -> list[str]:
    """What stands in the way of a table: faults, or questions."""
    with pytest.raises(TableUnreadable) as caught:
        prescription_from_table(content)
    return [error.reason for error in caught.value.errors]
