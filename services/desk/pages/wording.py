"""How pages write amounts, days, shares and figures."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from shared_schemas.intake import Assumption

STAGES = (
    ("accepted", "Accepted"),
    ("checking", "Prescription checked"),
    ("planning_blanks", "Blanks planned"),
    ("planning_operations", "Operations planned"),
    ("assembling", "Price and date worked out"),
)
"""The stages of a quote in their order, each by the status that it has while it is under way."""


def amount(money: Decimal) -> str:
    """An amount with its thousands apart."""
    return f"{money:,}"


def day(when: date) -> str:
    """A day as ISO 8601 has it."""
    return f"{when:%Y-%m-%d}"


def moment(when: datetime) -> str:
    """A moment to the minute, in UTC."""
    return f"{when:%Y-%m-%d %H:%M} UTC"


def share(part: float) -> str:
    """A share in percent, with one decimal below ten."""
    return f"{part:.1%}" if abs(part) < 0.1 else f"{part:.0%}"


def figure(value: Any) -> str:
    """A figure as it is read: no more than six places, thousands apart; words stay as they are."""
    if isinstance(value, bool) or not isinstance(value, (int, float, Decimal)):
        return str(value)
    if isinstance(value, float):
        return f"{value:,.6g}" if abs(value) < 1e6 else f"{value:,.0f}"
    return f"{value:,}"


def sentence(words: str) -> str:
    """Words that begin as a sentence does."""
    return words[:1].upper() + words[1:]


_OTHERWISE = re.compile(r" \(otherwise answer ([^=()]+)=([^()]+)\)$")


@dataclass(frozen=True)
class Taken:
    """An assumption as a page shows it: with the answer that would have it otherwise, where one is offered."""

    assumption: Assumption
    rule: str
    name: str = ""
    answer: str = ""


def taken(assumption: Assumption) -> Taken:
    """An assumption, its offer apart from its rule."""
    otherwise = _OTHERWISE.search(assumption.rule)
    if otherwise is None:
        return Taken(assumption, assumption.rule)
    return Taken(assumption, assumption.rule[: otherwise.start()], otherwise[1], otherwise[2])
