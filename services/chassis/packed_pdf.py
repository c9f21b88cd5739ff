"""PDF with its small objects packed: those that are no streams go, compressed, into object streams (PDF 1.5 and later, which PDF/A-2 allows).

A tagged page has an object for each cell of its tables. As text they are most of the file; packed they are a tenth of that.
"""

from __future__ import annotations

import re
import zlib
from itertools import pairwise

IN_A_STREAM = 500
"""Objects in one object stream; a reader takes a whole one apart to get at any of them."""
_ENTRY = 20
"""Bytes of an entry of the table of objects."""


def packed(pdf: bytes) -> bytes:
    """The same document with small objects packed; `pdf` is as the compiler of pages writes it: one table of objects, no encryption.

    Raises `ValueError` for a file without such a table.
    """
    bodies, trailer = _objects(pdf)
    head = pdf[: pdf.index(b"\n", pdf.index(b"\n") + 1) + 1]
    whole = {number: body for number, body in bodies.items() if body.endswith(b"endstream")}
    small = [(number, body) for number, body in sorted(bodies.items()) if number not in whole]
    out, size = bytearray(head), max(bodies) + 1
    places: dict[int, tuple[int, int, int]] = {0: (0, 0, 0xFFFF)}
    for number, body in sorted(whole.items()):
        places[number] = (1, len(out), 0)
        out += _written(number, body)
    for first in range(0, len(small), IN_A_STREAM):
        some = small[first : first + IN_A_STREAM]
        for index, (number, _) in enumerate(some):
            places[number] = (2, size, index)
        places[size] = (1, len(out), 0)
        out += _written(size, _object_stream(some))
        size += 1
    places[size] = (1, len(out), 0)
    at, size = len(out), size + 1
    rows = b"".join(_row(*places.get(number, (0, 0, 0xFFFF))) for number in range(size))
    said = b"/Type/XRef/W[1 4 2]" + re.sub(rb"/Size \d+", b"/Size %d" % size, trailer)
    out += _written(size - 1, _stream(said, rows)) + b"startxref\n%d\n%%%%EOF\n" % at
    return bytes(out)


def _objects(pdf: bytes) -> tuple[dict[int, bytes], bytes]:
    """Every object in use by its number, and what the trailer says."""
    found = re.search(rb"startxref\s+(\d+)\s+%%EOF\s*$", pdf)
    table = re.compile(rb"xref\s+0 (\d+)\s*?\r?\n").match(pdf, int(found[1])) if found else None
    trailer = re.compile(rb"trailer\s*<<(.*)>>\s*startxref", re.DOTALL).search(pdf, table.end()) if table else None
    if table is None or trailer is None:
        raise ValueError("a PDF without one table of its objects cannot be packed")
    entries = [pdf[table.end() + _ENTRY * number :][:_ENTRY] for number in range(int(table[1]))]
    starts = {number: int(entry[:10]) for number, entry in enumerate(entries) if entry[17:18] == b"n"}
    ends = [*sorted(starts.values()), table.start()]
    after = dict(pairwise(ends))
    bodies = {}
    for number, start in starts.items():
        text = pdf[start : after[start]].strip()
        bodies[number] = text.removeprefix(b"%d 0 obj" % number).removesuffix(b"endobj").strip()
    return bodies, trailer[1].strip()


def _object_stream(objects: list[tuple[int, bytes]]) -> bytes:
    heads, contents, at = [], [], 0
    for number, body in objects:
        heads.append(b"%d %d" % (number, at))
        contents.append(body)
        at += len(body) + 1
    head = b" ".join(heads) + b"\n"
    return _stream(b"/Type/ObjStm/N %d/First %d" % (len(objects), len(head)), head + b"\n".join(contents))


def _stream(said: bytes, content: bytes) -> bytes:
    squeezed = zlib.compress(content, 9)
    return b"<<%b/Filter/FlateDecode/Length %d>>stream\n%b\nendstream" % (said, len(squeezed), squeezed)


def _written(number: int, body: bytes) -> bytes:
    return b"%d 0 obj\n%b\nendobj\n" % (number, body)


def _row(kind: int, place: int, within: int) -> bytes:
    return kind.to_bytes(1, "big") + place.to_bytes(4, "big") + within.to_bytes(2, "big")
