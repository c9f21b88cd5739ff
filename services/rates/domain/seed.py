"""Revision 1: the tables that the suite is delivered with, one CSV file each. Prices, times and yields are invented."""

from __future__ import annotations

from pathlib import Path

from services.rates.domain.table_csv import rows_from_csv
from shared_schemas.rates import TABLES, Rates

SEED_FOLDER = Path(__file__).resolve().parent.parent / "seed"


def seed_rates(folder: Path = SEED_FOLDER) -> Rates:
    """All tables from `folder`, one `<table>.csv` each; raises `TableUnreadable` for a row that is wrong."""
    return Rates(**{table: rows_from_csv(table, (folder / f"{table}.csv").read_text(encoding="utf-8")) for table in TABLES})
