"""What a validator found, in the words of whoever wrote the document: what is wrong with a value, and what would do."""

from __future__ import annotations

from typing import Any

_REMEDIES: dict[str, str] = {
    "missing": "add it",
    "extra_forbidden": "leave it out, or look for a misspelt name",
    "finite_number": "a finite number; NaN and Infinity are not numbers here",
    "float_type": "a number, without quotes",
    "int_type": "a whole number, without quotes",
    "string_type": "a text, in quotes",
    "bool_type": "true or false",
    "model_type": "a JSON object",
    "model_attributes_type": "a JSON object",
    "dict_type": "a JSON object",
    "tuple_type": "a JSON array",
    "list_type": "a JSON array",
    "date_type": "a date as 2027-03-01, in quotes",
    "date_from_datetime_parsing": "a date as 2027-03-01",
    "date_from_datetime_inexact": "a date as 2027-03-01, without a time",
    "date_parsing": "a date as 2027-03-01",
}

_REASONS: dict[str, str] = {
    "missing": "it is missing",
    "extra_forbidden": "there is no such field",
    "date_type": "it is no date",
    "date_from_datetime_parsing": "it is no date",
    "date_from_datetime_inexact": "it has a time with the date",
    "date_parsing": "it is no date",
    "model_type": "it is no object",
    "model_attributes_type": "it is no object",
    "dict_type": "it is no object",
    "tuple_type": "it is no array",
    "list_type": "it is no array",
    "string_type": "it is no text",
}

_LIMITS: dict[str, tuple[str, str, str]] = {
    "greater_than": ("gt", "it is not above {}", "a number above {}"),
    "greater_than_equal": ("ge", "it is below {}", "a number of at least {}"),
    "less_than": ("lt", "it is not below {}", "a number below {}"),
    "less_than_equal": ("le", "it is above {}", "a number of at most {}"),
    "string_too_long": ("max_length", "it is longer than {} characters", "at most {} characters"),
    "string_too_short": ("min_length", "it is shorter than {}", "at least {}"),
    "literal_error": ("expected", "it is none of those there are", "one of {}"),
    "enum": ("expected", "it is none of those there are", "one of {}"),
}

_FORMS: dict[str, tuple[str, str]] = {
    r"^[A-Z]{3}$": ("it is no code of a currency", "three capital letters, as USD"),
    r"^[^\x00-\x1f\x7f]*$": ("it has a line break, a tab or another control character", "the text in one line, without them"),
    r"^[^/~\s\x00-\x1f\x7f]+$": ("it has a space, a / or a ~, which no name may have", "a name such as L1 or L1-A"),
    r"^(/[^/]*)*$": ("it is no JSON pointer", "a pointer such as /breaks/0"),
    r"^(4|6|8|10|12|14|16|18|20)$": ("there is no aspheric term of that order", "an even order from 4 to 20, as 4"),
    r"^\d{6}(\.\d{3})?$": ("it is no code of six digits", "six digits, as 517642, or six and three, as 517642.251"),
}
"""What it means not to match a pattern of the contracts."""


def in_words(error: Any) -> tuple[str, Any, str | None]:
    """Reason, limit and remedy of one thing that the validator found."""
    context = error.get("ctx") or {}
    kind = error["type"]
    if kind == "fault":
        return error["msg"], context.get("limit"), context.get("remedy")
    if kind in ("too_long", "too_short"):
        return _counted(kind, context)
    if kind == "string_pattern_mismatch":
        pattern = context.get("pattern", "")
        reason, remedy = _FORMS.get(pattern, ("it is not written as it must be", f"a text of the form {pattern}"))
        return reason, None, remedy
    if kind in _LIMITS:
        key, reason, remedy = _LIMITS[kind]
        limit = context.get(key)
        words = f"{limit:g}" if isinstance(limit, float) else str(limit)
        percent = _meant_in_percent(error.get("input")) if kind.startswith("less_than") and limit == 1 else ""
        return reason.format(words), limit, remedy.format(words) + percent
    return _REASONS.get(kind, error["msg"].removeprefix("Value error, ")), None, _REMEDIES.get(kind)


def _counted(kind: str, context: Any) -> tuple[str, Any, str]:
    """Too many entries of an array, or too few."""
    limit = context.get("max_length" if kind == "too_long" else "min_length")
    length = context.get("actual_length")
    there = "it has too many entries" if length is None else f"it has {length} {'entry' if length == 1 else 'entries'}"
    entries = "entry" if limit == 1 else "entries"
    if kind == "too_long":
        return f"{there}, and at most {limit} are taken", limit, f"at most {limit} {entries}"
    there = "it is empty" if length == 0 else there
    return f"{there}, and at least {limit} {'is' if limit == 1 else 'are'} needed", limit, f"at least {limit} {entries}"


def _meant_in_percent(figure: Any) -> str:
    """A share that was written in percent, written as a share."""
    if isinstance(figure, bool) or not isinstance(figure, (int, float)) or not 1 < figure < 100:
        return ""
    return f"; {figure:g} % is written {figure / 100:g}"
