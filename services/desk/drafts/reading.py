"""What was sent becomes a draft: a quote request or a prescription in JSON, or any table, file or letter."""

from __future__ import annotations

import base64
import binascii
import json
import logging
import traceback
from collections.abc import Mapping
from typing import Any

from pydantic import ValidationError

from services.chassis.problems import details_of_invalid
from services.desk.drafts.digest import digest_of
from services.desk.drafts.look_over import answers_of_reader
from services.desk.drafts.mail import letter_in
from services.desk.errors import DeskError, FileUnreadable, ReadingBroke, RequestUnreadable
from services.desk.intake.draft import read_intake
from services.desk.intake.grids import is_list_of_rows
from shared_schemas.intake import MOST_BYTES, Assumption, IntakeDraft, IntakeRequest
from shared_schemas.quote_request import QuoteRequest

log = logging.getLogger(__name__)

USUAL_QUANTITIES = (5, 25, 100)
JSON_BEGINS = ("{", "[")


def content_of(asked: IntakeRequest) -> bytes:
    """The bytes that are to be read. Raises `FileUnreadable`."""
    if asked.text is not None:
        return asked.text.encode("utf-8", "replace")
    try:
        content = base64.b64decode("".join((asked.content_base64 or "").split()), validate=True)
    except (binascii.Error, ValueError) as fault:
        raise FileUnreadable(asked.name, "content_base64 is not base64") from fault
    if len(content) > MOST_BYTES:
        raise FileUnreadable(asked.name, f"it is larger than {MOST_BYTES // 2**20} MiB, which no table of a lens is")
    return content


def read(asked: IntakeRequest, content: bytes) -> IntakeDraft:
    """The draft as the file alone makes it. Raises errors of the desk, and nothing that tells of the content."""
    try:
        if not content.strip():
            raise FileUnreadable(asked.name, "it is empty")
        document = json_in(content, asked.name)
        if document is not None:
            return _of_document(document, asked)
        mail = letter_in(content, asked.name)
        sent: bytes | str = content if mail is None else mail[0]
        draft = read_intake(sent, name=asked.name, sheet=asked.sheet, answers=answers_of_reader(asked.answers), asked=asked.asked)
        return draft if mail is None else draft.model_copy(update={"recognised": (mail[1], *draft.recognised)})
    except DeskError:
        raise
    except Exception as fault:
        # Messages of errors may quote what was sent, so only their kinds and the places in our code are logged.
        where = [
            f"{frame.filename.rpartition('services/')[2]}:{frame.lineno}" for frame in traceback.extract_tb(fault.__traceback__)
        ]
        log.error("what was sent broke the reader", extra={"kind": type(fault).__name__, "where": where[-6:]})
        raise ReadingBroke(asked.name) from None


def with_digest(draft: IntakeDraft, asked: IntakeRequest, content: bytes) -> IntakeDraft:
    """The draft with the digest that confirms it."""
    return draft.model_copy(update={"digest": digest_of(content, asked, draft)})


def json_in(content: bytes, name: str) -> dict[str, Any] | None:
    """The JSON object that a file holds, `None` for what is no JSON. Raises `FileUnreadable` for JSON that cannot be read."""
    try:
        text = content.decode("utf-8-sig").lstrip()
    except UnicodeDecodeError:
        return None
    if not text.startswith(JSON_BEGINS):
        return None
    try:
        document = json.loads(text, parse_constant=_no_such_number)
    except (ValueError, RecursionError) as fault:
        if not name.lower().endswith(".json") and not text.startswith('{"'):
            return None
        raise FileUnreadable(name, f"it is not JSON: {fault}") from fault
    if is_list_of_rows(document):
        return None
    if not isinstance(document, dict):
        raise FileUnreadable(name, "it must hold one JSON object: a prescription, or a quote request; or a list of rows")
    return document


def _of_document(content: dict[str, Any], asked: IntakeRequest) -> IntakeDraft:
    is_request = "prescription" in content
    document: dict[str, Any] = dict(content) if is_request else {"prescription": content}
    document |= {name: value for name, value in asked.asked.items() if value is not None}
    assumptions = []
    if not is_request and "quantities" not in document:
        document["quantities"] = list(USUAL_QUANTITIES)
        assumptions.append(usual_quantities())
    return IntakeDraft(
        name=asked.name,
        recognised=("a quote request in JSON" if is_request else "a prescription in JSON",),
        document=document,
        request=_validated(document, asked.name),
        assumptions=tuple(assumptions),
        digest="",
    )


def usual_quantities() -> Assumption:
    """That nobody said how many."""
    many = ", ".join(map(str, USUAL_QUANTITIES))
    return Assumption(pointer="/quantities", what=f"quantities {many}", rule="no quantity is said; these are usual")


def _validated(document: Mapping[str, Any], name: str) -> QuoteRequest:
    try:
        return QuoteRequest.model_validate(document)
    except ValidationError as fault:
        details = details_of_invalid(fault.errors(), document)
        places = "one place needs" if len(details) == 1 else f"{len(details)} places need"
        raise RequestUnreadable(name, f"{places} correcting", *details) from fault


def _no_such_number(text: str) -> None:
    raise ValueError(f"{text} is not a number in JSON")
