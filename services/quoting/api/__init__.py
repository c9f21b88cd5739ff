"""The routes of quoting."""

from __future__ import annotations

from services.quoting.api.quotes import FIGURES, LARGER_BODIES, STATUS, router

__all__ = ["FIGURES", "LARGER_BODIES", "STATUS", "router"]
