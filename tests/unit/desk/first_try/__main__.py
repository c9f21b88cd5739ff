"""Prints what becomes of every file of the first try: `python -m tests.unit.desk.first_try`."""

from __future__ import annotations

import time
from collections import Counter

from tests.unit.desk.first_try.files import FILES
from tests.unit.desk.first_try.trying import tried

WIDTH = 100


def main() -> None:
    """The table of outcomes."""
    counts: Counter[str] = Counter()
    for sample in FILES:
        began = time.perf_counter()
        outcome = tried(sample)
        took_ms = 1000 * (time.perf_counter() - began)
        counts[outcome.kind] += 1
        as_expected = "" if outcome.kind == sample.expected else f"   EXPECTED: {sample.expected}"
        print(f"{sample.name:<34} {outcome.kind:<8} {took_ms:6.0f} ms{as_expected}")
        if outcome.refused:
            print(f"      {outcome.refused[:WIDTH]}")
        for question in outcome.asked:
            offered = " | ".join(choice.answer for choice in question.choices[:3])
            print(f"      ? {question.name}: {question.asks[:WIDTH]}{f'  [{offered}]' if offered else ''}")
        if outcome.last is not None:
            fates = Counter(cell.fate for cell in outcome.last.cells)
            told = ", ".join(f"{count} {fate.replace('_', ' ')}" for fate, count in fates.items())
            print(f"      {len(outcome.last.assumptions)} assumed; cells: {told or 'none'}")
    print(f"{len(FILES)} files: " + ", ".join(f"{count} {kind}" for kind, count in counts.items()))


if __name__ == "__main__":
    main()
