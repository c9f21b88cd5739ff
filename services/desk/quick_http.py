"""httpx without its own command line, which is more than half of the time that its import takes.

httpx looks for that part and goes on without it, so the place is marked as empty before the first import.
"""

from __future__ import annotations

import sys

sys.modules.setdefault("httpx._main", None)  # type: ignore[arg-type]  # None is how an import is told not to look

import httpx  # noqa: E402

__all__ = ["httpx"]
