"""Workbooks (XLSX) that strangers send: no bomb is unpacked, and what a file says of its own size is not believed."""

from __future__ import annotations

import io
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, Literal

DAMAGED = (
    zipfile.BadZipFile, zipfile.LargeZipFile, zlib.error, NotImplementedError, RuntimeError, EOFError, OSError, ValueError, LookupError,
)  # fmt: skip
"""What `zipfile` raises for a zip that is damaged, encrypted, or packed in a way that it does not know."""

MOST_UNPACKED_BYTES = 64 * 1024 * 1024


class WorkbookUnreadable(Exception):
    """Why what was sent cannot be read as a workbook: it is `no_zip`, `too_large` (`unpacked_bytes`) or `damaged` (`detail`)."""

    def __init__(self, why: Literal["no_zip", "too_large", "damaged"], detail: str = "", unpacked_bytes: int = 0) -> None:
        self.why = why
        self.detail = detail
        self.unpacked_bytes = unpacked_bytes
        super().__init__(f"{why}: {detail or unpacked_bytes}")


def entries_of(content: bytes) -> set[str]:
    """The names of the files in a workbook. Raises `WorkbookUnreadable` for what is no zip, or too large unpacked."""
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            unpacked_bytes = sum(entry.file_size for entry in packed.infolist())
            names = set(packed.namelist())
    except DAMAGED as fault:
        raise WorkbookUnreadable("no_zip") from fault
    if unpacked_bytes > MOST_UNPACKED_BYTES:
        raise WorkbookUnreadable("too_large", unpacked_bytes=unpacked_bytes)
    return names


@contextmanager
def opened_workbook(content: bytes) -> Iterator[Any]:
    """The workbook of `content` after `entries_of` has looked at it, formulas as they are written.

    Whatever goes wrong while it is read, also later and sheet by sheet, is raised as `WorkbookUnreadable`.
    """
    from openpyxl import load_workbook  # noqa: PLC0415
    from openpyxl.utils.exceptions import InvalidFileException  # noqa: PLC0415

    try:
        book = load_workbook(io.BytesIO(content), read_only=True, data_only=False, keep_links=False)
        for sheet in book.worksheets:
            # A sheet that tells a smaller size than it has would lose its last rows and columns without a word.
            sheet.reset_dimensions()
        yield book
    except (*DAMAGED, InvalidFileException, SyntaxError, TypeError, AttributeError) as fault:
        raise WorkbookUnreadable("damaged", str(fault)[:100]) from fault
