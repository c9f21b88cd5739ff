"""Ask why a price is what it is, and go down to the figures that it is made of."""

import os

from services.client import Client
from services.client.examples.quote_a_lens import REQUEST
from shared_schemas.figure import Figure


def told(figure: Figure, depth: int = 0) -> None:
    print(f"{'  ' * depth}{figure.name} = {figure.value} {figure.unit}" + (f"   [{figure.formula}]" if figure.formula else ""))
    if depth < 2:
        for each in figure.inputs:
            told(each, depth + 1)


def main() -> None:
    with Client(url=os.environ["BLANKWRIGHT_URL"], key=os.environ["BLANKWRIGHT_KEY"]) as client:
        quote = client.wait_for_quote(client.request_quote(REQUEST).number)
        told(client.figure(quote.number, "/breaks/0/unit_price"))


if __name__ == "__main__":
    main()
