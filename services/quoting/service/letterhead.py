"""The seller's letterhead: read, changed by who read the version in force, its logo looked into before anything is set with it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from hashlib import sha256
from struct import unpack

import typst

from services.chassis.resources import Resources
from services.chassis.typesetting import typeset
from services.quoting.offer_errors import LetterheadMissing, LetterheadMoved, LogoUnusable
from services.quoting.sheet import Logo
from services.quoting.store.letterheads import LetterheadStore, StoredLetterhead
from shared_schemas.base import canonical_json
from shared_schemas.letterhead import KeptLetterhead, Letterhead, LogoInfo

MOST_LOGO_BYTES = 512 * 1024
MOST_LOGO_PX = 4000
"""Of each side; at 600 pixels an inch that is a picture of 170 mm."""
PNG, JPEG = b"\x89PNG\r\n\x1a\n", b"\xff\xd8\xff"
_WITHOUT_LENGTH = frozenset({0x01, *range(0xD0, 0xD8)})
_OF_A_FRAME = frozenset({*range(0xC0, 0xD0)} - {0xC4, 0xC8, 0xCC})


@dataclass(frozen=True)
class SellersPaper:
    """What an offer is set on."""

    letterhead: Letterhead
    logo: Logo | None


def letterhead_in_force(resources: Resources) -> KeptLetterhead:
    """The letterhead as callers see it; raises `LetterheadMissing`."""
    stored = LetterheadStore(resources.database).newest()
    if stored is None:
        raise LetterheadMissing
    return _document(stored)


def paper_in_force(resources: Resources) -> SellersPaper | None:
    """What an offer of today is set on, `None` while nobody has entered it."""
    stored = LetterheadStore(resources.database).newest()
    if stored is None:
        return None
    logo = None
    if stored.logo is not None and stored.logo_info is not None:
        logo = Logo(stored.logo, LogoInfo.model_validate_json(stored.logo_info).media_type)
    return SellersPaper(Letterhead.model_validate_json(stored.document), logo)


def change_letterhead(
    asked: Letterhead, *, tags: frozenset[str], key_id: str, now: datetime, resources: Resources
) -> KeptLetterhead:
    """Store another letterhead; the logo stays. Raises `LetterheadMoved` unless a tag is that of the version in force, where there is one."""

    def changed(before: StoredLetterhead | None) -> StoredLetterhead:
        if before is not None:
            _refuse_stale(before, tags)
        made = StoredLetterhead(1, canonical_json(asked), None, None, now, key_id)
        return made if before is None else replace(made, version=before.version + 1, logo=before.logo, logo_info=before.logo_info)

    return _document(LetterheadStore(resources.database).change(changed, action="letterhead.change"))


def change_logo(content: bytes, *, tags: frozenset[str], key_id: str, now: datetime, resources: Resources) -> KeptLetterhead:
    """Put another logo on the letterhead. Raises `LogoUnusable`, `LetterheadMissing`, `LetterheadMoved`."""
    info = logo_info(content)

    def changed(before: StoredLetterhead | None) -> StoredLetterhead:
        if before is None:
            raise LetterheadMissing
        _refuse_stale(before, tags)
        kept = canonical_json(info)
        return StoredLetterhead(before.version + 1, before.document, content, kept, now, key_id)

    return _document(LetterheadStore(resources.database).change(changed, action="letterhead.logo"))


def tag_of(kept: KeptLetterhead) -> str:
    """The ETag of a version."""
    return f"letterhead-{kept.version}"


def logo_info(content: bytes) -> LogoInfo:
    """What a picture is, by its bytes and not by its name; raises `LogoUnusable` for one that no page can be set with."""
    if len(content) > MOST_LOGO_BYTES:
        raise LogoUnusable("it is too large", f"{len(content):,} bytes", f"{MOST_LOGO_BYTES:,} bytes")
    head = content[:512].lstrip().lower()
    if head.startswith(b"<") or b"<svg" in head:
        raise LogoUnusable("it is drawn in SVG, which may bring scripts and pictures from elsewhere along", "SVG", "PNG or JPEG")
    size = _size_of_png(content) or _size_of_jpeg(content)
    if size is None:
        raise LogoUnusable("its bytes are no picture that is known here", content[:4].hex(" ") or "nothing", "PNG or JPEG")
    if not all(1 <= side <= MOST_LOGO_PX for side in size):
        raise LogoUnusable("it has too many pixels", f"{size[0]} x {size[1]}", f"{MOST_LOGO_PX} each way")
    media_type = "image/png" if content.startswith(PNG) else "image/jpeg"
    logo = Logo(content, media_type)
    try:
        typeset("services.quoting.sheet", "logo.typ", {"logo": logo.file}, on=date(2000, 1, 1), files={logo.file: content})
    except typst.TypstError as fault:
        raise LogoUnusable("it cannot be read to its end", f"{len(content):,} bytes", "a whole PNG or JPEG") from fault
    return LogoInfo.model_validate(
        {"media_type": media_type, "width_px": size[0], "height_px": size[1], "size_bytes": len(content), "sha256": sha256(content).hexdigest()}
    )  # fmt: skip


def _document(stored: StoredLetterhead) -> KeptLetterhead:
    return KeptLetterhead(
        version=stored.version,
        letterhead=Letterhead.model_validate_json(stored.document),
        logo=LogoInfo.model_validate_json(stored.logo_info) if stored.logo_info else None,
        changed_at=stored.changed_at.astimezone(UTC),
        changed_by=stored.changed_by,
    )


def _refuse_stale(before: StoredLetterhead, tags: frozenset[str]) -> None:
    current = tag_of(_document(before))
    if current not in tags:
        raise LetterheadMoved(before.version, current)


def _size_of_png(content: bytes) -> tuple[int, int] | None:
    """Width and height out of the chunk IHDR (ISO/IEC 15948, 11.2.2; from memory), `None` for what is no PNG."""
    if not content.startswith(PNG) or content[12:16] != b"IHDR" or len(content) < 24:
        return None
    width, height = unpack(">II", content[16:24])
    return int(width), int(height)


def _size_of_jpeg(content: bytes) -> tuple[int, int] | None:
    """Width and height out of the frame header (ISO/IEC 10918-1, B.2.2; from memory), `None` for what is no JPEG."""
    if not content.startswith(JPEG):
        return None
    at = 2
    while at + 9 <= len(content) and content[at] == 0xFF:
        marker = content[at + 1]
        if marker in _OF_A_FRAME:
            height, width = unpack(">HH", content[at + 5 : at + 9])
            return int(width), int(height)
        at += 2 if marker in _WITHOUT_LENGTH else 2 + int(unpack(">H", content[at + 2 : at + 4])[0])
    return None
