"""The client's tests meet the quotes and the listed answers that the desk's tests have."""

from __future__ import annotations

from tests.unit.desk.conftest import demo_request, ready_quote, report, server

__all__ = ["demo_request", "ready_quote", "report", "server"]
