"""Every word that the customer's sheet says of itself, a table for each language. Another language is another module like these and a line in `TABLES`.

A name that stands in one table stands in all; a test holds them together, and the places that a sentence fills in.
"""

from __future__ import annotations

from types import ModuleType

from services.quoting.sheet.words import english, french, german

TABLES: dict[str, ModuleType] = {"en": english, "de": german, "fr": french}

__all__ = ["TABLES"]
