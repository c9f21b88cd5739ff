"""Make a specimen of the documents of quotes, which stored quotes are packed beside (`services/chassis/packing.py`).

    python -m tests.make_specimen FILE.xz

A specimen that quotes were packed with is never made anew: give the new one the next number, a packing of its own, and keep the old
one to read with. It is time for a new one when the test of the size of a packed quote says so.
"""

from __future__ import annotations

import hashlib
import lzma
import sys
from pathlib import Path

from services.rates.domain.seed import seed_rates
from shared_schemas.quote_request import QuoteRequest
from tests.chain import alike_doublets, demo, quote_of, sections_of


def documents_of(request: QuoteRequest) -> tuple[bytes, ...]:
    """The three documents that are kept of a quote at the rates of the demo."""
    rates = seed_rates()
    _, blanks, operations = sections_of(request, rates)
    return tuple(document.model_dump_json().encode() for document in (quote_of(request, rates), blanks, operations))


def main(place: Path) -> None:
    """Write the documents of two lenses, the longer one last, as what is nearest is found cheapest."""
    if place.exists():
        sys.exit(f"{place} is there already; stored quotes may lean on it.")
    content = b"".join(document for request in (alike_doublets(), demo()) for document in documents_of(request))
    place.write_bytes(lzma.compress(content, preset=9 | lzma.PRESET_EXTREME))
    sys.stdout.write(f"{place}: {len(content)} bytes, SHA-256 {hashlib.sha256(content).hexdigest()}\n")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
