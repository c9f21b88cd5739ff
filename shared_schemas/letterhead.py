"""What the seller's paper says of him on every offer: name, address, how to reach him, tax, terms."""

from __future__ import annotations

from datetime import datetime
from operator import not_
from typing import Annotated, Literal

from pydantic import Field

from shared_schemas.base import NO_CONTROLS, Contract

SheetLanguage = Literal["en", "de", "fr"]
MAIL_ADDRESS = r"[A-Za-z0-9.!#$%&'*+/=?^_`{|}~-]{1,64}@[A-Za-z0-9-]{1,63}(\.[A-Za-z0-9-]{1,63})+"
"""An address of mail as HTML takes it, with a dot in its domain: nothing in it ends a line of a header or begins another address."""

Line = Annotated[str, Field(min_length=1, max_length=120, pattern=NO_CONTROLS)]
Terms = Annotated[str, Field(max_length=1000, pattern=NO_CONTROLS)]
InLanguages = Annotated[dict[SheetLanguage, Terms], Field(exclude_if=not_)]
"""A text by language; what is not said in one is shown in another, English first."""


class Letterhead(Contract):
    """The seller of every offer. `legal` are lines for the foot, such as register and managers; `tax_note` says what of tax is in the prices."""

    name: Line
    address: Annotated[tuple[Line, ...], Field(max_length=6)] = ()
    email: Annotated[str, Field(max_length=254, pattern=rf"^({MAIL_ADDRESS})?$")] = ""
    phone: Annotated[str, Field(max_length=60, pattern=NO_CONTROLS)] = ""
    web: Annotated[str, Field(max_length=120, pattern=NO_CONTROLS)] = ""
    tax_id: Annotated[str, Field(max_length=60, pattern=NO_CONTROLS)] = ""
    payment: InLanguages = Field(default_factory=dict)
    delivery: InLanguages = Field(default_factory=dict)
    tax_note: InLanguages = Field(default_factory=dict)
    validity: InLanguages = Field(default_factory=dict)
    legal: Annotated[tuple[Line, ...], Field(max_length=6)] = ()


class LogoInfo(Contract):
    """The picture on a letterhead: what it is, and how large."""

    media_type: Literal["image/png", "image/jpeg"]
    width_px: int
    height_px: int
    size_bytes: int
    sha256: str


class KeptLetterhead(Contract):
    """The letterhead in force: each change makes a `version`, and none is ever changed. Offers that were sent keep the one they went out on."""

    version: int
    letterhead: Letterhead
    logo: LogoInfo | None = None
    changed_at: datetime
    changed_by: str


__all__ = ["MAIL_ADDRESS", "KeptLetterhead", "Letterhead", "LogoInfo", "SheetLanguage"]
