"""How the documents of a quote lie in the table: one behind the other, compressed together, beside a specimen that all quotes have in common.

Each document repeats much of the one before, and every quote much of any other: names, units, laws and their words. The specimen is the documents
of two quotes (`specimen_1.xz`, made by `python -m tests.make_specimen`); zstd takes from it what a quote has in common with them, so that only what is
the quote's own is stored. A quote is packed quickly when it is settled and tightly when nothing else is to do. Measured on a quote of six elements
(4.1 MB in three documents) that is not in the specimen: quickly 43 kB in 30 ms, tightly 27 kB in 1.9 s; without a specimen the tight packing
of before, `xz`, took 66 kB. The first document is read in a few milliseconds.
"""

from __future__ import annotations

import hashlib
import lzma
import sys
import zlib
from base64 import b64decode
from collections.abc import Sequence
from functools import cache
from pathlib import Path

from shared_schemas.archive import Block

if sys.version_info >= (3, 14):
    from compression import zstd
else:
    from backports import zstd

QUICK, TIGHT = "zstd-1-quick", "zstd-1"
"""Both are read alike; the first is packed once more. The number is the specimen's."""

SPECIMEN = Path(__file__).parent / "specimen_1.xz"
SPECIMEN_SHA256 = "0e9963b0a443394451e59cff68e9d3030022448394d20d71cdb67eca91d03cfd"  # pragma: allowlist secret
"""What was packed beside a specimen is read beside the same one, byte for byte: another is another packing, with another number."""

_LEVELS = {QUICK: 3, TIGHT: 19}
_REACH_LOG2 = 24
"""How far back a repetition is seen, 16 MiB: over the specimen and the documents of any usual quote."""


class PackingUnknown(ValueError):
    """A packing that this release does not read."""

    def __init__(self, packing: str) -> None:
        self.packing = packing
        super().__init__(f"The packing {packing!r} is unknown; this release reads {TIGHT}, {QUICK}, xz and zlib.")


class SpecimenChanged(RuntimeError):
    """The file beside this module is not the one that stored quotes were packed with."""


@cache
def _specimen() -> zstd.ZstdDict:
    content = lzma.decompress(SPECIMEN.read_bytes())
    if hashlib.sha256(content).hexdigest() != SPECIMEN_SHA256:
        raise SpecimenChanged(
            f"{SPECIMEN.name} is not the specimen that quotes were packed with; it must never be made anew in its place."
        )
    return zstd.ZstdDict(content, is_raw=True)


def pack(documents: Sequence[bytes], packing: str) -> bytes:
    """The documents as one block of a packing of today, `QUICK` or `TIGHT`; raises `PackingUnknown`."""
    if packing not in _LEVELS:
        raise PackingUnknown(packing)
    told: dict[int, int] = {
        zstd.CompressionParameter.compression_level: _LEVELS[packing],
        zstd.CompressionParameter.window_log: _REACH_LOG2,
        zstd.CompressionParameter.enable_long_distance_matching: 1,
        zstd.CompressionParameter.checksum_flag: 1,
    }
    return zstd.compress(b"".join(documents), options=told, zstd_dict=_specimen().as_prefix)


def unpack(packing: str, block: bytes, sizes: Sequence[int]) -> tuple[bytes, ...]:
    """As many documents from the beginning of a block as there are sizes [bytes]; raises `PackingUnknown`, `ValueError` for a block cut short.

    What lies behind them is not unpacked. Blocks of before, `xz` and `zlib`, are read too.
    """
    wanted = sum(sizes)
    joined = _beginning(packing, block, wanted) if wanted else b""
    if len(joined) != wanted:
        raise ValueError(f"the block holds {len(joined)} of {wanted} bytes")
    documents = []
    for size in sizes:
        documents.append(joined[:size])
        joined = joined[size:]
    return tuple(documents)


def documents_in(block: Block) -> tuple[bytes, ...]:
    """The documents of a block in an archive; raises as `unpack` does."""
    return unpack(block.packing, b64decode(block.data), block.sizes)


def body_in(block: Block) -> bytes:
    """The first document alone; raises as `unpack` does."""
    return unpack(block.packing, b64decode(block.data), block.sizes[:1])[0]


def _beginning(packing: str, block: bytes, wanted: int) -> bytes:
    """The first bytes of what a block holds, as many as are wanted or there are; raises `PackingUnknown`, `ValueError` for one that is damaged."""
    try:
        if packing in _LEVELS:
            return zstd.ZstdDecompressor(_specimen().as_prefix).decompress(block, wanted)
        if packing == "xz":
            return lzma.LZMADecompressor(lzma.FORMAT_XZ).decompress(block, wanted)
        if packing == "zlib":
            return zlib.decompressobj().decompress(block, wanted)
    except (zstd.ZstdError, lzma.LZMAError, zlib.error) as fault:
        raise ValueError(f"the block is damaged: {fault}") from fault
    raise PackingUnknown(packing)
