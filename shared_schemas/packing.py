"""How the documents of a quote lie in the table: one behind the other, compressed together, as each repeats much of the one before.

A quote is packed quickly when it is settled and tightly when nothing else is to do. Measured on the demo lens (six elements, 3.9 MB in
three documents): `zlib` 494 kB in 25 ms, `xz` 64 kB in 1.2 s; the first document is read in 5 ms out of either.
"""

from __future__ import annotations

import lzma
import zlib
from collections.abc import Sequence

QUICK, TIGHT = "zlib", "xz"

# Long repetitions lie megabytes apart: the dictionary covers all documents, and matches may be as long as they get.
_FILTERS = [{"id": lzma.FILTER_LZMA2, "preset": 6, "dict_size": 8 * 2**20, "nice_len": 273}]


class PackingUnknown(ValueError):
    """A packing that this release does not read."""

    def __init__(self, packing: str) -> None:
        self.packing = packing
        super().__init__(f"The packing {packing!r} is unknown; this release reads {QUICK} and {TIGHT}.")


def pack(documents: Sequence[bytes], packing: str) -> bytes:
    """The documents as one block of that packing; raises `PackingUnknown`."""
    joined = b"".join(documents)
    if packing == QUICK:
        return zlib.compress(joined, 1)
    if packing == TIGHT:
        return lzma.compress(joined, format=lzma.FORMAT_XZ, check=lzma.CHECK_CRC32, filters=_FILTERS)
    raise PackingUnknown(packing)


def unpack(packing: str, block: bytes, sizes: Sequence[int]) -> tuple[bytes, ...]:
    """As many documents from the beginning of a block as there are sizes [bytes]; raises `PackingUnknown`, `ValueError` for a block cut short.

    What lies behind them is not unpacked.
    """
    wanted = sum(sizes)
    if packing == QUICK:
        joined = zlib.decompressobj().decompress(block, wanted)
    elif packing == TIGHT:
        joined = lzma.LZMADecompressor(lzma.FORMAT_XZ).decompress(block, wanted)
    else:
        raise PackingUnknown(packing)
    if len(joined) != wanted:
        raise ValueError(f"the block holds {len(joined)} of {wanted} bytes")
    documents = []
    for size in sizes:
        documents.append(joined[:size])
        joined = joined[size:]
    return tuple(documents)
