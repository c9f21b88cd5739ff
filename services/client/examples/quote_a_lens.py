"""Quote a lens: ask, wait, read prices and dates."""

import os

from services.client import Client
from shared_schemas.quote_request import QuoteRequest

FACE = {"clear_diameter_mm": 22.0, "form": "3/3(1)", "imperfections": "5/3x0.25", "coating": "ar-single"}
SINGLET = {
    "name": "L1", "glass": "N-BK7", "diameter_mm": 25.0, "centre_thickness_mm": 5.0,
    "front": {"radius_mm": 61.47, **FACE}, "back": {"radius_mm": -61.47, **FACE},
}  # fmt: skip
REQUEST = QuoteRequest.model_validate(
    {
        "customer": "Norrskär Sensors",
        "prescription": {"title": "Collimator for a ferry's fog lidar", "wavelength_nm": 587.5618, "elements": [SINGLET]},
        "quantities": [5, 50],
    }
)


def main() -> None:
    with Client(url=os.environ["BLANKWRIGHT_URL"], key=os.environ["BLANKWRIGHT_KEY"]) as client:
        accepted = client.request_quote(REQUEST)
        quote = client.wait_for_quote(accepted.number, timeout_s=60)
        print(f"{quote.number} is {quote.status}")
        for each in quote.breaks or ():
            print(f"{each.quantity:>4} at {each.unit_price} {quote.currency} each, shipped on {each.lead_time.ship_date}")


if __name__ == "__main__":
    main()
