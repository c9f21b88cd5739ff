"""A file becomes a quote request: a request or a prescription as JSON. Any other file is read by `services/desk/intake`."""

from __future__ import annotations

import codecs
import json
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, NoReturn

from pydantic import ValidationError

from services.chassis.problems import details_of_invalid
from services.desk.errors import FileUnreadable, OptionUnusable, RequestUnreadable
from services.desk.intake.draft import USUAL_QUANTITIES
from shared_schemas.prescription import Prescription
from shared_schemas.quote_request import QuoteRequest

LARGEST_FILE_BYTES = 1024 * 1024
SPREADSHEET_MARKS = (b"PK\x03\x04", b"\xd0\xcf\x11\xe0")
"""First bytes of zipped and of older office files."""


def read_prescription(path: Path, *, content: bytes | None = None) -> Prescription:
    """The prescription in a file, also when a whole quote request is around it. Raises `FileUnreadable`."""
    document = read_object(path, "a prescription, or a quote request", content=content)
    inner = document.get("prescription", document)
    try:
        return Prescription.model_validate(inner)
    except ValidationError as fault:
        _refuse(path, fault, inner)


def read_request(
    path: Path, asked: Mapping[str, Any], *, content: bytes | None = None, say: Callable[[str], None] = lambda _: None
) -> QuoteRequest:
    """The quote request in a file. What is `asked` on the command line (not None) overrides the file.

    A bare prescription gets the usual quantities unless others are asked, which is said and goes with the request. Raises `FileUnreadable`.
    """
    found = read_object(path, "a prescription, or a quote request", content=content)
    said = {name: value for name, value in asked.items() if value is not None}
    document = (found if "prescription" in found else {"prescription": found}) | said
    if "quantities" not in document and "prescription" not in found:
        many = ", ".join(map(str, USUAL_QUANTITIES))
        document |= {
            "quantities": list(USUAL_QUANTITIES),
            "assumptions": [f"quantities {many} (no quantity is said; these are usual)"],
        }
        say(f"no quantity is said: quoted for {many}; others with --quantities")
    try:
        return QuoteRequest.model_validate(document)
    except ValidationError as fault:
        _refuse_what_was_asked(fault, document, asked)
        _refuse(path, fault, document)


def read_object(path: Path, what: str = "changes of a quote request", *, content: bytes | None = None) -> dict[str, Any]:
    """The JSON object in a file. Raises `FileUnreadable`."""
    document = read_json(path, content=content)
    if not isinstance(document, dict):
        raise FileUnreadable(path.name, f"it must hold one JSON object: {what}")
    return document


def read_json(path: Path, *, content: bytes | None = None) -> Any:
    """The JSON document in a file, or in its `content` where that has been read. Raises `FileUnreadable`."""
    try:
        text = _text(path) if content is None else _text_of(content, path.name)
        return json.loads(text, parse_constant=_no_such_number)
    except (ValueError, RecursionError) as fault:
        raise FileUnreadable(path.name, f"it is not JSON: {fault}") from fault


def _text(path: Path) -> str:
    try:
        _refuse_if_large(path.stat().st_size, path.name)
        return decoded(path.read_bytes(), path.name)
    except OSError as fault:
        raise FileUnreadable(str(path), (fault.strerror or str(fault)).lower()) from fault


def _refuse_if_large(size: int, name: str) -> None:
    if size > LARGEST_FILE_BYTES:
        raise FileUnreadable(name, f"it is larger than {LARGEST_FILE_BYTES // 1024} KiB, which no prescription is")


def _text_of(content: bytes, name: str) -> str:
    _refuse_if_large(len(content), name)
    return decoded(content, name)


def decoded(content: bytes, name: str) -> str:
    """The text of a file: UTF-8, or UTF-16 that begins with its mark. Raises `FileUnreadable` on anything else."""
    if content.startswith(SPREADSHEET_MARKS):
        raise FileUnreadable(name, "it is a spreadsheet or an archive, not text; save the sheet as CSV in UTF-8")
    wide = content.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE))
    try:
        text = content.decode("utf-16" if wide else "utf-8-sig")
    except UnicodeDecodeError as fault:
        kind = "UTF-16" if wide else "UTF-8"
        raise FileUnreadable(name, f"byte {fault.start} is not {kind} text; save it as UTF-8") from fault
    if "\x00" in text:
        at = text.index("\x00")
        raise FileUnreadable(
            name, f"character {at} is NUL: it is not text, or it is UTF-16 without its byte order mark; save it as UTF-8"
        )
    return text


def _no_such_number(text: str) -> NoReturn:
    raise ValueError(f"{text} is not a number in JSON")


def _refuse_what_was_asked(fault: ValidationError, document: Any, asked: Mapping[str, Any]) -> None:
    """Raise `OptionUnusable` for what stands on the command line and not in the file."""
    of_options = [one for one in details_of_invalid(fault.errors(), document) if asked.get(one.pointer.split("/")[1]) is not None]
    if of_options:
        raise OptionUnusable(
            *(one.model_copy(update={"pointer": f"--{one.pointer.split('/')[1].replace('_', '-')}"}) for one in of_options)
        )


def _refuse(path: Path, fault: ValidationError, document: Any) -> NoReturn:
    details = details_of_invalid(fault.errors(), document)
    places = "one place needs" if len(details) == 1 else f"{len(details)} places need"
    raise RequestUnreadable(path.name, f"{places} correcting", *details) from fault
