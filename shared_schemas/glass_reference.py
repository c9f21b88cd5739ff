"""Which glass does a prescription mean? A catalogue name, a six-digit or a nine-digit code, looked up in the rates."""

from __future__ import annotations

import re
from collections.abc import Sequence
from difflib import get_close_matches

from shared_schemas.rates import GlassRow


class GlassNotFound(LookupError):
    """The reference names no glass, or a code that several glasses share. `candidates` are names that may be meant."""

    def __init__(self, reference: str, candidates: tuple[str, ...], ambiguous: bool) -> None:
        self.reference = reference
        self.candidates = candidates
        self.ambiguous = ambiguous
        if ambiguous:
            text = f"the code {reference} is shared by {' and '.join(candidates)}; say which, by name"
        elif candidates:
            text = f"no glass is called {reference}; did you mean {' or '.join(candidates)}?"
        else:
            text = f"no glass is called {reference}, and no name in the rates is near it"
        super().__init__(text)


def find_glass(reference: str, glasses: Sequence[GlassRow]) -> GlassRow:
    """The row that a reference means; upper or lower case, spaces for hyphens and a code with or without density do.

    Raises `GlassNotFound` with the nearest names, or with all names that share the code.
    """
    wanted = _plain(reference)
    for row in glasses:
        if _plain(row.name) == wanted:
            return row
    if re.fullmatch(r"\d{6}([./]?\d{3})?", reference.strip()):
        digits = re.sub(r"\D", "", reference)
        same = [row for row in glasses if row.code.replace(".", "").startswith(digits)]
        if len(same) == 1:
            return same[0]
        raise GlassNotFound(reference, tuple(row.name for row in same), ambiguous=len(same) > 1)
    names = {_plain(row.name): row.name for row in glasses}
    near = [names[plain] for plain in names if plain.lstrip("NS") == wanted.lstrip("NS")]
    near += [names[plain] for plain in get_close_matches(wanted, names, n=3, cutoff=0.7) if names[plain] not in near]
    raise GlassNotFound(reference, tuple(near[:3]), ambiguous=False)


def _plain(name: str) -> str:
    return re.sub(r"[\s_-]", "", name).upper()
