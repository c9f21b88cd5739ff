"""What a JSON merge patch makes of a document."""

from __future__ import annotations

from typing import Any


def merged(document: Any, patch: Any) -> Any:
    """The document with a merge patch applied: members take the place of members, `None` removes, a list is replaced whole.

    Source:
        P. Hoffman, J. Snell, JSON Merge Patch, RFC 7396 (2014), section 2.
    """
    if not isinstance(patch, dict):
        return patch
    result = dict(document) if isinstance(document, dict) else {}
    for name, value in patch.items():
        if value is None:
            result.pop(name, None)
        else:
            result[name] = merged(result.get(name), value)
    return result
