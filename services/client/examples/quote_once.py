"""Quote a lens once, however often this program is stopped and started: the journal keeps the key under which it was asked for."""

import os
from pathlib import Path

from services.client import Client
from services.client.examples.quote_a_lens import REQUEST

JOURNAL = Path(os.environ.get("BLANKWRIGHT_JOURNAL", "sent.journal"))


def main() -> None:
    numbers = []
    for _ in range(2):  # as though the power had failed in between
        with Client(url=os.environ["BLANKWRIGHT_URL"], key=os.environ["BLANKWRIGHT_KEY"], journal=JOURNAL) as client:
            numbers.append(client.request_quote(REQUEST).number)
    print(f"asked twice, quoted once: {numbers[0]} is {numbers[1]}")


if __name__ == "__main__":
    main()
