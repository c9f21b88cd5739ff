"""Days and moments in what callers send: written out, never a number of seconds."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any

import pytest
from pydantic import TypeAdapter, ValidationError

from shared_schemas.base import Day, Moment

DAY: TypeAdapter[date] = TypeAdapter(Day)
MOMENT: TypeAdapter[datetime] = TypeAdapter(Moment)


def test_a_day_and_a_moment_are_taken_as_they_are_written() -> None:
    assert DAY.validate_json('"2026-11-30"') == DAY.validate_python("2026-11-30") == DAY.validate_python(date(2026, 11, 30))
    assert MOMENT.validate_json('"2026-11-30T09:00:00+01:00"') == datetime(2026, 11, 30, 8, tzinfo=UTC)
    assert MOMENT.validate_python(datetime(2026, 11, 30, 8, tzinfo=UTC)) == datetime(2026, 11, 30, 8, tzinfo=UTC)


@pytest.mark.parametrize("value", [0, 0.0, 86400, True, "0", "1764460800", "0.5", "30.11.2026", "2026-13-01", ""])
def test_a_number_is_neither(value: Any) -> None:
    for kind in (DAY, MOMENT):
        with pytest.raises(ValidationError):
            kind.validate_python(value)


def test_a_moment_without_an_offset_is_refused() -> None:
    with pytest.raises(ValidationError, match="timezone"):
        MOMENT.validate_python("2026-11-30T09:00:00")
