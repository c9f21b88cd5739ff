"""All tables of a revision in one zip: a CSV each, and a manifest that says of which revision they are and what each must hash to."""

from __future__ import annotations

import hashlib
import io
import json
import zipfile
from collections.abc import Mapping, Sequence
from typing import Any

from services.chassis.workbooks import DAMAGED
from services.rates.domain.csv_dialect import decoded
from services.rates.domain.table_csv import rows_from_csv, rows_to_csv
from services.rates.errors import ArchiveUnreadable, TablesUnreadable, TableUnreadable
from services.rates.workbook import csv_of_sheets
from shared_schemas.problem import ProblemDetail
from shared_schemas.rates import TABLES, RateRow

MANIFEST = "manifest.json"
MOST_UNPACKED_BYTES = 32 * 1024 * 1024
MOST_ENTRIES = 100
EPOCH_OF_ZIP = (1980, 1, 1, 0, 0, 0)
"""The same tables give the same bytes: no entry has a time."""


def packed(tables: Mapping[str, Sequence[RateRow]], head: Mapping[str, Any]) -> bytes:
    """The archive of tables, with what is said of them in its manifest."""
    files = {f"{table}.csv": rows_to_csv(table, rows).encode() for table, rows in tables.items()}
    manifest = {**head, "files": {name: hashlib.sha256(content).hexdigest() for name, content in files.items()}}
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in {MANIFEST: json.dumps(manifest, indent=1).encode(), **files}.items():
            archive.writestr(zipfile.ZipInfo(name, EPOCH_OF_ZIP), content, zipfile.ZIP_DEFLATED)
    return out.getvalue()


def tables_in(content: bytes, before: Mapping[str, Sequence[Mapping[str, Any]]]) -> dict[str, tuple[RateRow, ...]]:
    """The rows of an archive or of a spreadsheet, which are to replace those of `before`.

    Raises `ArchiveUnreadable`, and `TablesUnreadable` naming every wrong cell of every table.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            is_workbook = "[Content_Types].xml" in archive.namelist()
    except DAMAGED as fault:
        raise ArchiveUnreadable("it is neither a zip nor a spreadsheet of the kind xlsx") from fault
    rows: dict[str, tuple[RateRow, ...]] = {}
    faults: list[ProblemDetail] = []
    texts: Mapping[str, str | bytes] = csv_of_sheets(content) if is_workbook else unpacked(content)
    for table, text in texts.items():
        try:
            rows[table] = rows_from_csv(table, decoded(table, text) if isinstance(text, bytes) else text, before.get(table, ()))
        except TableUnreadable as fault:
            faults += [one.model_copy(update={"pointer": f"/tables/{table}{one.pointer}"}) for one in fault.errors]
    if faults:
        raise TablesUnreadable(faults)
    return rows


def unpacked(content: bytes) -> dict[str, bytes]:
    """The CSV of each table in an archive, edited or not; the manifest is for people and is not needed.

    Raises `ArchiveUnreadable` for what is no zip, for names that are no table, and for more bytes than are read.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            return _tables(archive)
    except DAMAGED as fault:
        raise ArchiveUnreadable(f"it cannot be read as a zip: {str(fault)[:100]}") from fault


def _tables(archive: zipfile.ZipFile) -> dict[str, bytes]:
    entries = [entry for entry in archive.infolist() if not entry.is_dir()]
    if len(entries) > MOST_ENTRIES:
        raise ArchiveUnreadable(f"it has {len(entries)} files, and {MOST_ENTRIES} are read")
    found: dict[str, bytes] = {}
    left = MOST_UNPACKED_BYTES
    for entry in entries:
        if entry.filename == MANIFEST:
            continue
        table = entry.filename.removesuffix(".csv")
        if table not in TABLES or table == entry.filename:
            raise ArchiveUnreadable("a file in it is no rate table", entry.filename[:100])
        if table in found:
            raise ArchiveUnreadable("a table stands in it twice", entry.filename)
        with archive.open(entry) as file:
            # What the head of the entry says of its size need not be so.
            found[table] = file.read(left + 1)
        left -= len(found[table])
        if left < 0:
            raise ArchiveUnreadable(f"unpacked it has more than {MOST_UNPACKED_BYTES} bytes")
    if not found:
        raise ArchiveUnreadable("there is no table in it")
    return found
