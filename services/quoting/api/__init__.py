"""Routes of quoting: quotes and what becomes of them, estimates for an ERP, webhooks, and what an operator looks after."""

from __future__ import annotations

from services.quoting.api.quotes import FIGURES, LARGER_BODIES, STATUS, router

__all__ = ["FIGURES", "LARGER_BODIES", "STATUS", "router"]
