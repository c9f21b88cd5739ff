"""A file of a customer as it is sent to be read; what is JSON already goes as it is."""

from __future__ import annotations

import base64
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from services.desk.errors import FileUnreadable, OptionUnusable
from shared_schemas.intake import MOST_BYTES, IntakeRequest
from shared_schemas.problem import ProblemDetail

STANDARD_INPUT = Path("-")


def bytes_of(path: Path) -> bytes:
    """The bytes of a file, or of the standard input for `-`. Raises `FileUnreadable`."""
    try:
        if path == STANDARD_INPUT:
            content = sys.stdin.buffer.read(MOST_BYTES + 1)
            size = len(content)
        else:
            size = path.stat().st_size
            content = path.read_bytes() if size <= MOST_BYTES else b""
    except OSError as fault:
        raise FileUnreadable(str(path), (fault.strerror or str(fault)).lower()) from fault
    if size > MOST_BYTES:
        raise FileUnreadable(
            name_of(path),
            f"it has {size / 2**20:.0f} MiB, and no table of a lens is larger than {MOST_BYTES // 2**20} MiB; "
            "save the sheet with the lens alone, as CSV or .xlsx",
        )
    return content


def name_of(path: Path) -> str:
    """What a file is called."""
    return "standard input" if path == STANDARD_INPUT else path.name[-200:]


def is_json(path: Path, content: bytes) -> bool:
    """Whether a file is a request or a prescription in JSON, which needs no reading."""
    return path.suffix.lower() == ".json" or content.removeprefix(b"\xef\xbb\xbf").lstrip()[:1] == b"{"


def to_be_read(
    path: Path, content: bytes, *, answers: Mapping[str, str], asked: Mapping[str, Any], sheet: str | None
) -> IntakeRequest:
    """What is sent to be read: the file as it is, the answers, and what the command line says beside it."""
    said = {name: value for name, value in asked.items() if value is not None}
    return IntakeRequest(
        name=name_of(path), content_base64=base64.b64encode(content).decode(), sheet=sheet, answers=dict(answers), asked=said
    )  # fmt: skip


def answers_in(given: list[str] | None) -> dict[str, str]:
    """Answers as they stand on a command line, NAME=VALUE. Raises `OptionUnusable`."""
    wrong = [one for one in given or () if "=" not in one or not one.partition("=")[0].strip()]
    if wrong:
        raise OptionUnusable(
            *(ProblemDetail(pointer="--answer", reason="it is not NAME=VALUE", figure=one, remedy="--answer 'NAME=VALUE'") for one in wrong)
        )  # fmt: skip
    return {one.partition("=")[0].strip(): one.partition("=")[2].strip() for one in given or ()}
