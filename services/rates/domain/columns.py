"""What tables and columns mean, told from the contracts themselves: the same texts stand in the description of the API."""

from __future__ import annotations

import json
import re
from collections import Counter
from datetime import date
from decimal import Decimal
from typing import Any, get_args

from pydantic.fields import FieldInfo

from services.rates.domain.cells import cell_of, plain_types
from services.rates.domain.revision import canonical_rows, digest_of_table
from services.rates.domain.seed import seed_rates
from shared_schemas.rate_column_texts import COLUMNS, PURPOSES
from shared_schemas.rate_tables import ColumnInfo, ColumnInfoList, TableInfo
from shared_schemas.rates import TABLES, Rates

_UNITS = (
    ("_per_h", "money/h"), ("_mm2_per_min", "mm2/min"), ("_mm3_per_min", "mm3/min"), ("_cm3_per_min", "cm3/min"), ("_m_per_min", "m/min"),
    ("_mm_per_min", "mm/min"), ("_um_per_min", "um/min"), ("_min_per_mm", "min/mm"), ("_min_per_mrad", "min/mrad"), ("_nm_per_s", "nm/s"),
    ("_m_per_s", "m/s"), ("_per_pa", "1/Pa"), ("_min_per_piece", "min"), ("_g_per_l", "g/l"), ("_g_cm3", "g/cm3"), ("_1e6_per_k", "1e-6/K"),
    ("_mm", "mm"), ("_um", "um"), ("_nm", "nm"), ("_min", "min"), ("_h", "h"), ("_days", "days"), ("_deg", "deg"), ("_arcmin", "arcmin"),
    ("_mrad", "mrad"), ("_pa", "Pa"), ("_gpa", "GPa"), ("_mpa", "MPa"), ("_kg", "kg"), ("_c", "degC"), ("_um2", "um2"), ("_fringes", "fringes"),
    ("_percent", "%"), ("_share", "share of 1"), ("_hk", "HK"),
)  # fmt: skip
"""Units by the end of a name; the longest that fits."""


def table_infos(rates: Rates) -> tuple[TableInfo, ...]:
    """Every table with its purpose and the origins of its rows."""
    return tuple(
        TableInfo(
            table=table, purpose=PURPOSES[table][0], rows=len(getattr(rates, table)),
            origins=dict(sorted(Counter(row.origin for row in getattr(rates, table)).items())),
            digest=digest_of_table(table, canonical_rows(getattr(rates, table))),
        )
        for table in TABLES
    )  # fmt: skip


def columns_of(table: str) -> ColumnInfoList:
    """The columns of a table; examples are of the rows that the suite is delivered with."""
    purpose, used = PURPOSES[table]
    rows = [row.model_dump(mode="json", by_alias=True) for row in getattr(seed_rates(), table)]
    return ColumnInfoList(
        table=table, purpose=purpose, where_used=used,
        columns=tuple(_column(table, field.alias or name, field, rows) for name, field in TABLES[table].model_fields.items()),
    )  # fmt: skip


def meaning_of(table: str, column: str, field: FieldInfo) -> str:
    """What a column means; empty where nobody said it, which a test refuses."""
    return field.description or COLUMNS[table].get(column, "")


def _column(table: str, column: str, field: FieldInfo, rows: list[dict[str, Any]]) -> ColumnInfo:
    meaning = meaning_of(table, column, field)
    default = None if field.is_required() else json.loads(json.dumps(field.default, default=str))
    return ColumnInfo(
        column=column, meaning=meaning, unit=_unit(column, field, meaning), range=_range(field), example=_example(column, field, rows),
        needed=field.is_required(), default=default,
    )  # fmt: skip


def _unit(column: str, field: FieldInfo, meaning: str) -> str:
    said = re.search(r"\[([^\]]{1,20})\]", meaning)
    if said:
        return said[1]
    kinds = plain_types(field.annotation)
    if Decimal in kinds:
        return "money"
    if not kinds & {int, float}:
        return "-"
    fitting = [(end, unit) for end, unit in _UNITS if column.endswith(end)]
    return max(fitting, key=lambda one: len(one[0]))[1] if fitting else "-"


def _range(field: FieldInfo) -> str:
    words = [part for part in plain_types(field.annotation) if isinstance(part, str)]
    if words:
        return "one of " + ", ".join(sorted(words))
    limits = {
        key: getattr(rule, key)
        for rule in [*field.metadata, *(rule for part in get_args(field.annotation) for rule in getattr(part, "__metadata__", ()))]
        for nested in [rule, *getattr(rule, "metadata", ())]
        for key in ("gt", "ge", "lt", "le")
        if hasattr(nested, key) and getattr(nested, key) is not None
        for rule in [nested]
    }
    said = [
        f"{word} {limits[key]:g}"
        for key, word in (("gt", "above"), ("ge", "from"), ("lt", "below"), ("le", "up to"))
        if key in limits
    ]
    if said:
        return " ".join(said)
    kinds = plain_types(field.annotation)
    if bool in kinds:
        return "true or false"
    if date in kinds:
        return "a day"
    return "any figure" if kinds & {int, float, Decimal} else "text"


def _example(column: str, field: FieldInfo, rows: list[dict[str, Any]]) -> Any:
    if field.examples:
        return field.examples[0]
    value = next((row[column] for row in rows if row.get(column) not in (None, "", [])), None)
    if isinstance(value, list):
        return cell_of(value, field.annotation)
    if value is not None:
        return value
    kinds = plain_types(field.annotation)
    return 1 if kinds & {int, float, Decimal} else "2026-11-02" if date in kinds else "text"
