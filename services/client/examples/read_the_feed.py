"""Read what happened to job estimates since the last time, as an ERP does every few minutes; a file keeps how far it was read.

Who would rather listen uses `client.follow_estimates(after)`, which does not end.
"""

import os
from pathlib import Path

from services.client import Client

CURSOR = Path(os.environ.get("BLANKWRIGHT_CURSOR", "estimates.cursor"))


def main() -> None:
    with Client(url=os.environ["BLANKWRIGHT_URL"], key=os.environ["BLANKWRIGHT_KEY"]) as client:
        after = CURSOR.read_text(encoding="utf-8") if CURSOR.exists() else None
        count = 0
        while (page := client.estimates(after, limit=100)).items:
            for entry in page.items:
                print(f"{entry.at:%Y-%m-%d %H:%M}  {entry.type:<13} {entry.number}")  # here it would go into the ERP
            count, after = count + len(page.items), page.next
            CURSOR.write_text(after or "", encoding="utf-8")  # only now: what was cut short is read again
        print(f"{count} entries")


if __name__ == "__main__":
    main()
