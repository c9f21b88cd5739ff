"""A mail as it is saved to a file: what is written in it is read, its head is told, and files that hang on it are asked for by themselves."""

from __future__ import annotations

import re
from email import message_from_bytes
from email.policy import default
from html import unescape

from services.desk.errors import FileUnreadable

HEAD = re.compile(rb"(?:from|received|return-path|mime-version|delivered-to|subject|date|message-id|to):[ \t]", re.IGNORECASE)
TABLES = (".csv", ".tsv", ".xlsx", ".xls", ".txt")


def letter_in(content: bytes, name: str) -> tuple[str, str] | None:
    """The text of a mail and a line that tells of its head, `None` for what is none. Raises `FileUnreadable` where a table hangs on it."""
    if not name.lower().endswith(".eml") or HEAD.match(content.lstrip()) is None:
        return None
    mail = message_from_bytes(content.lstrip(), policy=default)
    attached = [part.get_filename() or "a file without a name" for part in mail.iter_attachments()]
    tables = [file for file in attached if file.lower().endswith(TABLES)]
    if tables:
        raise FileUnreadable(name, f"it is a mail with {', '.join(tables)[:200]} attached; save that file and send it by itself")
    body = mail.get_body(("plain", "html"))
    text = str(body.get_content()) if body is not None else ""
    if body is not None and body.get_content_subtype() == "html":
        text = unescape(re.sub(r"<[^>]*>", " ", re.sub(r"(?i)<(?:br|/p|/tr|/div)[^>]*>", "\n", text)))
    told = f"a mail; its head is not read (subject: {str(mail.get('Subject', ''))[:150] or 'none'})"
    return text, told + (f"; attached and not read: {', '.join(attached)[:200]}" if attached else "")
