"""What a revision is: its digest, and tables that agree with each other."""

from __future__ import annotations

import json
from decimal import Decimal
from typing import Any

import pytest
from pydantic import ValidationError

from services.rates.domain.revision import (
    canonical_rows,
    contradictions,
    contradictions_of,
    digest_of_revision,
    digest_of_table,
    tables_of,
)
from services.rates.domain.seed import seed_rates
from services.rates.domain.table_csv import validated_rows
from services.rates.errors import TableUnreadable
from shared_schemas.rates import TABLES, RateRow, Rates


def digest(rates: Rates) -> str:
    return digest_of_revision({table: digest_of_table(table, canonical_rows(rows)) for table, rows in tables_of(rates).items()})


def with_row(rates: Rates, table: str, number: int, **changes: Any) -> Rates:
    rows: list[RateRow] = list(getattr(rates, table))
    rows[number] = rows[number].model_copy(update=changes)
    return rates.model_copy(update={table: tuple(rows)})


def pointers(rates: Rates, table: str) -> list[str]:
    return [found.pointer for found in contradictions(rates, table)]


def test_revision_1_has_the_same_digest_each_time_it_is_read(rates: Rates) -> None:
    assert digest(seed_rates()) == digest(rates)


def test_one_figure_in_one_row_gives_another_digest(rates: Rates) -> None:
    assert digest(with_row(rates, "yields", 0, yield_share=0.123)) != digest(rates)


def test_the_same_rows_in_another_table_have_another_digest() -> None:
    assert digest_of_table("yields", b"[]") != digest_of_table("hardware", b"[]")


def test_canonical_rows_do_not_depend_on_the_order_in_which_fields_were_given(rates: Rates) -> None:
    row = rates.yields[0]
    turned = type(row)(**dict(reversed(row.model_dump().items())))
    assert canonical_rows([turned]) == canonical_rows([row])


@pytest.mark.parametrize("table", TABLES)
def test_no_table_of_revision_1_contradicts_another(rates: Rates, table: str) -> None:
    assert contradictions(rates, table) == []


@pytest.mark.parametrize(
    ("table", "number", "changes", "pointer"),
    [
        ("stock_forms", 1, {"glass": "N-MARBLE"}, "/rows/1/glass"),
        ("polishing", 0, {"glass": "N-MARBLE"}, "/rows/0/glass"),
        ("polishing", 0, {"knoop_over_hk": 900.0, "knoop_up_to_hk": 800.0}, "/rows/0/knoop_up_to_hk"),
        ("allowances", 2, {"diameter_over_mm": 50.0, "diameter_up_to_mm": 50.0}, "/rows/2/diameter_up_to_mm"),
        ("shop_load", 0, {"name": "nobody's bench"}, "/rows/0/name"),
        ("calendar", 1, {"weekday": 0}, "/rows/1/weekday"),
        ("calendar", 1, {"weekday": None}, "/rows/1/weekday"),
        ("tolerance_classes", 0, {"precision": 99.0}, "/rows/0/precision"),
        ("tolerance_classes", 0, {"capability": 3.0}, "/rows/0/capability"),
        ("tolerance_classes", 0, {"time_slope": 2.0, "strength_power": 1.5, "ramp_power": 2.9}, "/rows/0/ramp_power"),
        ("tolerance_classes", 0, {"yield_slope": 2.0}, "/rows/0/ramp_power"),
        ("yields", 0, {"rework_share": 0.5}, "/rows/0/rework_yield"),
        ("extra_work", 0, {"operation": "inspect", "per": "piece"}, "/rows/0/operation"),
        ("extra_work", 0, {"method": "single"}, "/rows/0/method"),
        ("extra_work", 2, {"per": "seat"}, "/rows/2/per"),
        ("assembly", 0, {"operation": "polish"}, "/rows/0/operation"),
        ("outside_work", 0, {"lot_charge": Decimal(0), "piece_charge": Decimal(0)}, "/rows/0/piece_charge"),
    ],
)
def test_a_contradiction_is_named_at_its_cell(rates: Rates, table: str, number: int, changes: dict[str, Any], pointer: str) -> None:
    found = contradictions(with_row(rates, table, number, **changes), table)
    assert [entry.pointer for entry in found] == [pointer]
    assert all(entry.remedy for entry in found)


@pytest.mark.parametrize(
    ("table", "gone", "told"),
    [
        ("polishing", "medium, single", "a Knoop hardness by single over 400 and up to 550"),
        ("polishing", "hard, block", "by block"),
        ("allowances", "on_diameter 60-100", "on_diameter at a diameter in mm over 60 and up to 100"),
        ("grinding", "generate HG3", "generate of grindability class 3"),
        ("grinding", "saw", "saw"),
        ("work_centres", "engraver", "engrave"),
    ],
)
def test_what_would_be_left_without_a_row_is_named(rates: Rates, table: str, gone: str, told: str) -> None:
    kept = tuple(row for row in getattr(rates, table) if row.name != gone)
    changed = {table: kept, "shop_load": tuple(row for row in rates.shop_load if row.name != gone)}
    (found,) = contradictions(rates.model_copy(update=changed), table)
    assert found.pointer.startswith("/rows")
    assert told in found.reason
    assert found.remedy


@pytest.mark.parametrize(
    ("table", "wrong", "field"),
    [
        ("tolerance_classes", {"time_slope": -0.1}, "time_slope"),
        ("tolerance_classes", {"yield_slope": -0.1}, "yield_slope"),
        ("tolerance_classes", {"ramp_power": -1.0}, "ramp_power"),
        ("tolerance_classes", {"ramp_power": 3.5}, "ramp_power"),
        ("tolerance_classes", {"strength_power": -0.5}, "strength_power"),
        ("tolerance_classes", {"time_shares": [0.5, 0.5]}, "time_shares"),
        ("tolerance_classes", {"time_shares": [1.5]}, "time_shares"),
        ("yields", {"yield": 1.02}, "yield"),
        ("yields", {"rework_share": 1.2}, "rework_share"),
        ("yields", {"rework_yield": 1.2}, "rework_yield"),
        ("polishing", {"form_log_sd": 0.1}, "form_log_sd"),
    ],
)
def test_a_row_that_breaks_a_law_is_refused_at_its_cell(rates: Rates, table: str, wrong: dict[str, Any], field: str) -> None:
    record = getattr(rates, table)[0].model_dump(mode="json", by_alias=True) | wrong
    with pytest.raises(TableUnreadable) as caught:
        validated_rows(table, [record])
    assert [entry.pointer.split("/")[:4] for entry in caught.value.errors] == [["", "rows", "0", field]]


def test_there_is_one_base_currency(rates: Rates) -> None:
    assert pointers(with_row(rates, "currencies", 1, per_base=rates.currencies[0].per_base), "currencies") == ["/rows/1/per_base"]
    assert pointers(rates.model_copy(update={"currencies": rates.currencies[1:]}), "currencies") == ["/rows"]


def test_a_week_without_working_hours_is_refused(rates: Rates) -> None:
    rows = tuple(row.model_copy(update={"hours": 0.0}) for row in rates.calendar)
    assert pointers(rates.model_copy(update={"calendar": rows}), "calendar") == ["/rows"]


def test_a_holiday_or_a_yield_that_stands_twice_is_named(rates: Rates) -> None:
    again = rates.calendar[-1].model_copy(update={"name": "again"})
    place = f"/rows/{len(rates.calendar)}/holiday"
    assert pointers(rates.model_copy(update={"calendar": (*rates.calendar, again)}), "calendar") == [place]
    twin = rates.yields[0].model_copy(update={"name": "twin"})
    place = f"/rows/{len(rates.yields)}/method"
    assert pointers(rates.model_copy(update={"yields": (*rates.yields, twin)}), "yields") == [place]


def test_what_others_speak_of_cannot_be_taken_away(rates: Rates) -> None:
    spoken_of = rates.stock_forms[0].glass
    glasses = tuple(row for row in rates.glasses if row.name != spoken_of)
    (found,) = contradictions(rates.model_copy(update={"glasses": glasses}), "glasses")
    assert spoken_of in found.reason
    busy = rates.shop_load[0].name
    centres = tuple(row for row in rates.work_centres if row.name != busy)
    (found,) = contradictions(rates.model_copy(update={"work_centres": centres}), "work_centres")
    assert busy in found.reason


@pytest.mark.parametrize("lacking", ["work_centres", "yields"])
def test_extra_work_at_an_operation_without_work_centre_or_yield_is_named_at_its_row(rates: Rates, lacking: str) -> None:
    if lacking == "yields":
        kept: tuple[RateRow, ...] = tuple(row for row in rates.yields if row.operation != "generate")
    else:
        kept = tuple(row for row in rates.work_centres if "generate" not in row.operations)
    found = contradictions(rates.model_copy(update={lacking: kept}), "extra_work")
    wanted = [number for number, row in enumerate(rates.extra_work) if row.operation == "generate"]
    assert wanted
    assert [entry.pointer for entry in found] == [f"/rows/{number}/operation" for number in wanted]
    assert all(lacking in entry.reason for entry in found)


def test_extra_work_that_is_wanted_by_something_unknown_is_no_row(rates: Rates) -> None:
    row = rates.extra_work[0].model_dump(mode="json")
    with pytest.raises(ValidationError, match="wanted_by"):
        type(rates.extra_work[0]).model_validate_json(json.dumps(row | {"wanted_by": "moonlight"}))


def test_outside_work_that_no_work_centre_does_is_named_at_its_row(rates: Rates) -> None:
    kept = tuple(row for row in rates.work_centres if "coat" not in row.operations)
    (found,) = contradictions(rates.model_copy(update={"work_centres": kept}), "outside_work")
    assert found.pointer == f"/rows/{[row.operation for row in rates.outside_work].index('coat')}/operation"
    assert "work_centres" in found.reason


def test_outside_work_for_no_diameter_at_all_is_no_row(rates: Rates) -> None:
    row = rates.outside_work[0].model_dump(mode="json") | {"smallest_diameter_mm": 40.0, "largest_diameter_mm": 30.0}
    with pytest.raises(ValidationError, match="largest_diameter_mm"):
        type(rates.outside_work[0]).model_validate_json(json.dumps(row))


def test_a_tool_that_is_not_owned_is_not_for_nothing(rates: Rates) -> None:
    number = next(number for number, row in enumerate(rates.tooling) if not row.owned)
    assert pointers(with_row(rates, "tooling", number, charge=Decimal(0)), "tooling") == [f"/rows/{number}/charge"]


def test_a_work_centre_and_its_load_get_another_name_together_and_neither_alone(rates: Rates) -> None:
    centres = (rates.work_centres[0].model_copy(update={"name": "wire saw"}), *rates.work_centres[1:])
    busy = tuple(row.model_copy(update={"name": "wire saw"}) if row.name == "slab saw" else row for row in rates.shop_load)
    both = rates.model_copy(update={"work_centres": centres, "shop_load": busy})
    assert contradictions_of(both, {"work_centres", "shop_load"}) == {}
    assert "slab saw" in contradictions(rates.model_copy(update={"work_centres": centres}), "work_centres")[0].reason
    assert pointers(rates.model_copy(update={"shop_load": busy}), "shop_load") == ["/rows/0/name"]


def test_a_name_that_two_changed_tables_disagree_on_is_one_fault_at_the_cell_that_speaks_of_it(rates: Rates) -> None:
    changed = with_row(rates, "stock_forms", 0, glass="N-BK77")
    found = contradictions_of(changed, {"glasses", "stock_forms"})
    assert list(found) == ["stock_forms"]
    (fault,) = found["stock_forms"]
    assert fault.pointer == "/rows/0/glass"
    assert fault.remedy is not None
    assert fault.remedy.startswith("N-BK7, if that is meant")
