"""Quote fifty lenses at once, in one thread."""

import asyncio
import os
import sys

from services.client import AsyncClient
from services.client.examples.quote_a_lens import REQUEST


async def quoted(client: AsyncClient, quantity: int) -> str:
    accepted = await client.request_quote(REQUEST.model_copy(update={"quantities": (quantity,)}))
    quote = await client.wait_for_quote(accepted.number, timeout_s=300)
    return f"{quote.number}  {quantity:>3} at {', '.join(str(each.unit_price) for each in quote.breaks or ())} {quote.currency}"


async def all_quoted(count: int) -> None:
    async with AsyncClient(url=os.environ["BLANKWRIGHT_URL"], key=os.environ["BLANKWRIGHT_KEY"]) as client:
        for line in await asyncio.gather(*(quoted(client, quantity) for quantity in range(1, count + 1))):
            print(line)


def main() -> None:
    asyncio.run(all_quoted(int(sys.argv[1]) if len(sys.argv) > 1 else 50))


if __name__ == "__main__":
    main()
