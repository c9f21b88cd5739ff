"""Lines of a key and a value that name a field as it is called, such as `barrel` or `first_article`, with its value as JSON has it."""

from __future__ import annotations

import json
from typing import Any

from shared_schemas.prescription import Prescription
from shared_schemas.quote_request import QuoteRequest

FIELDS = ({*Prescription.model_fields, *QuoteRequest.model_fields}) - {"prescription", "elements", "spaces"}
FIGURES = ("confidence", "rate_revision", "prototypes", "first_article")
"""Fields whose value is a figure, true or false, which no other word of a customer means."""

WORDS = ("customer_class", "delivered", "repeats")


def exact_value(key: str, text: str) -> tuple[bool, Any]:
    """Whether a line says a field exactly, and its value: JSON of anything in quotation marks, brackets or braces."""
    if key not in FIELDS:
        return False, None
    if key in WORDS and text[:1] not in ('"', "[", "{"):
        return True, text
    if key not in FIGURES and text[:1] not in ('"', "[", "{"):
        return False, None
    try:
        return True, json.loads(text)
    except (ValueError, RecursionError):
        return False, None
