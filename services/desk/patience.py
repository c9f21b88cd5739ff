"""A server that says 429 has not begun; the request is sent again when it says so, within bounds."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import httpx

LONGEST_WAIT_S = 65.0
"""All waits of one request together; the limits of a key begin anew each minute."""
FEWEST_S = 0.5


def answered_in_time(send: Callable[[], httpx.Response], *, sleep: Callable[[float], None]) -> httpx.Response:
    """The answer that is no 429, or the 429 that asks for a longer wait than there is patience for."""
    left_s = LONGEST_WAIT_S
    while True:
        answer = send()
        told = answer.headers.get("Retry-After", "")
        wait_s = max(FEWEST_S, float(told)) if told.isascii() and told.isdigit() else FEWEST_S
        if answer.status_code != 429 or wait_s > left_s:
            return answer
        left_s -= wait_s
        sleep(wait_s)
