"""Documents of a quote in one block: the same bytes come out, whichever way they were packed."""

from __future__ import annotations

import pytest

from shared_schemas.packing import QUICK, TIGHT, PackingUnknown, pack, unpack

DOCUMENTS = (b'{"a":1}' * 2000, b"", bytes(range(256)))


@pytest.mark.parametrize("packing", [QUICK, TIGHT])
def test_what_was_packed_comes_out_byte_for_byte_and_the_first_alone_too(packing: str) -> None:
    block = pack(DOCUMENTS, packing)
    sizes = [len(document) for document in DOCUMENTS]
    assert unpack(packing, block, sizes) == DOCUMENTS
    assert unpack(packing, block, sizes[:1]) == DOCUMENTS[:1]
    assert len(block) < sum(sizes) / 10


@pytest.mark.parametrize("packing", [QUICK, TIGHT])
@pytest.mark.parametrize("documents", [(), (b"",), (b"", b"", b"x"), (b"\x00" * 3, b"\xff")])
def test_nothing_at_all_comes_out_as_it_went_in(documents: tuple[bytes, ...], packing: str) -> None:
    assert unpack(packing, pack(documents, packing), [len(each) for each in documents]) == documents


@pytest.mark.parametrize("packing", [QUICK, TIGHT])
def test_a_block_that_was_cut_short_is_not_taken_for_a_shorter_document(packing: str) -> None:
    block = pack((bytes(range(256)) * 8,), packing)
    with pytest.raises(ValueError, match="of 2048 bytes"):
        unpack(packing, block[: len(block) // 2], (2048,))


def test_a_packing_of_a_later_release_is_named() -> None:
    with pytest.raises(PackingUnknown, match="'zstd' is unknown"):
        unpack("zstd", b"", (1,))
