"""Follow a quote from stage to stage as it happens, without asking again and again."""

import os
import time

from services.client import Client
from services.client.examples.quote_a_lens import REQUEST


def main() -> None:
    with Client(url=os.environ["BLANKWRIGHT_URL"], key=os.environ["BLANKWRIGHT_KEY"]) as client:
        began = time.monotonic()
        number = client.request_quote(REQUEST).number
        for status in client.follow_quote(number):
            print(f"{time.monotonic() - began:5.2f} s  {status}")
        for each in client.quote(number).breaks or ():
            print(f"{each.quantity:>4}: {each.total_price} in all")


if __name__ == "__main__":
    main()
