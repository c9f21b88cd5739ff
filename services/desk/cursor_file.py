"""The file in which a poller keeps where it is in a feed: one line, exchanged whole, so that a fall of the machine leaves the old one or the new one."""

from __future__ import annotations

import os
import re
from pathlib import Path

from services.desk.errors import FileUnreadable, FileUnwritable

CURSOR = re.compile(r"[A-Za-z0-9_-]{1,200}")


def read_cursor(file: Path) -> str | None:
    """The cursor in a file, `None` where there is no file yet; raises `FileUnreadable`."""
    try:
        said = file.read_text(encoding="ascii").strip()
    except FileNotFoundError:
        return None
    except (OSError, UnicodeDecodeError) as fault:
        why = fault.strerror if isinstance(fault, OSError) and fault.strerror else "it is not a cursor"
        raise FileUnreadable(str(file), why) from fault
    if not CURSOR.fullmatch(said):
        raise FileUnreadable(str(file), "it is not a cursor; name another file, or delete it to begin with the first entry")
    return said


def write_cursor(file: Path, cursor: str) -> None:
    """Put a cursor in the place of the one in a file; raises `FileUnwritable`."""
    part = file.with_name(f".{file.name}.part")
    try:
        with part.open("w", encoding="ascii") as out:
            out.write(cursor + "\n")
            out.flush()
            os.fsync(out.fileno())
        part.replace(file)
    except OSError as fault:
        raise FileUnwritable(str(file), fault.strerror or type(fault).__name__) from fault
    finally:
        part.unlink(missing_ok=True)
