"""Documents of a quote in one block: the same bytes come out, whichever way they were packed."""

from __future__ import annotations

import lzma
import zlib
from collections.abc import Callable
from pathlib import Path

import pytest

from services.chassis import packing as module
from services.chassis.packing import QUICK, TIGHT, PackingUnknown, SpecimenChanged, pack, unpack
from tests.chain import published_triplet
from tests.make_specimen import documents_of

DOCUMENTS = (b'{"a":1}' * 2000, b"", bytes(range(256)))
PACKED: dict[str, Callable[[bytes], bytes]] = {
    QUICK: lambda joined: pack([joined], QUICK),
    TIGHT: lambda joined: pack([joined], TIGHT),
    "xz": lzma.compress,
    "zlib": zlib.compress,
}
"""Each packing that may lie in a database, by who makes it; the last two are of before."""


@pytest.mark.parametrize("packing", PACKED)
def test_what_was_packed_comes_out_byte_for_byte_and_the_first_alone_too(packing: str) -> None:
    block = PACKED[packing](b"".join(DOCUMENTS))
    sizes = [len(document) for document in DOCUMENTS]
    assert unpack(packing, block, sizes) == DOCUMENTS
    assert unpack(packing, block, sizes[:1]) == DOCUMENTS[:1]
    assert len(block) < sum(sizes) / 10


@pytest.mark.parametrize("packing", [QUICK, TIGHT])
@pytest.mark.parametrize("documents", [(), (b"",), (b"", b"", b"x"), (b"\x00" * 3, b"\xff")])
def test_nothing_at_all_comes_out_as_it_went_in(documents: tuple[bytes, ...], packing: str) -> None:
    assert unpack(packing, pack(documents, packing), [len(each) for each in documents]) == documents


@pytest.mark.parametrize("packing", PACKED)
def test_a_block_that_was_cut_short_or_has_a_wrong_byte_is_not_taken_for_another_document(packing: str) -> None:
    block = PACKED[packing](bytes(range(256)) * 8)
    with pytest.raises(ValueError, match=r"of 2048 bytes|damaged"):
        unpack(packing, block[: len(block) // 2], (2048,))
    with pytest.raises(ValueError, match="damaged"):
        unpack(packing, b"\x55" + block[1:], (2048,))


def test_a_packing_of_a_later_release_is_named() -> None:
    with pytest.raises(PackingUnknown, match="'zstd-9' is unknown"):
        unpack("zstd-9", b"", (1,))
    with pytest.raises(PackingUnknown):
        pack(DOCUMENTS, "xz")


def test_a_lens_that_is_not_in_the_specimen_takes_thirty_kilobytes() -> None:
    documents = documents_of(published_triplet())
    tight, quick = (len(pack(documents, packing)) for packing in (TIGHT, QUICK))
    assert tight < quick < sum(map(len, documents)) / 50
    assert tight <= 30_000, "documents have grown away from the specimen: make the next one"


def test_another_specimen_in_the_same_place_is_not_read_with(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    other = tmp_path / "specimen_1.xz"
    other.write_bytes(lzma.compress(b"of another lens"))
    monkeypatch.setattr(module, "SPECIMEN", other)
    module._specimen.cache_clear()
    try:
        with pytest.raises(SpecimenChanged, match="never be made anew"):
            pack(DOCUMENTS, TIGHT)
    finally:
        module._specimen.cache_clear()
