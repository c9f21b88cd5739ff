"""Put a rate table back with one row looked over; nothing is lost if somebody else changed it meanwhile. Takes an engineer's key."""

import os
from datetime import date

from services.client import Client
from services.client.errors import ServerRefused

TABLE = "metals"


def main() -> None:
    with Client(url=os.environ["BLANKWRIGHT_URL"], key=os.environ["BLANKWRIGHT_KEY"]) as client:
        while True:
            page, etag = client.rate_table(TABLE)
            first, *others = page.rows
            first = {**first, "source": "price list of our metal stockist", "as_of": date.today()}  # noqa: DTZ011  # a day of the shop's own
            try:
                page, _ = client.put_rate_table(TABLE, [first, *others], "looked over with the stockist", etag)
                break
            except ServerRefused as refusal:
                if refusal.status != 412:  # changed by somebody else since it was read: read it again
                    raise
        print(f"{TABLE} is in revision {page.revision}, {len(page.rows)} rows")


if __name__ == "__main__":
    main()
