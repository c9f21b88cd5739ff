"""Quote what a customer sent: a table is read, its questions are answered, and the draft is confirmed as it then is."""

import os

from services.client import Client
from shared_schemas.intake import IntakeRequest

TABLE = """surface,radius,thickness,glass,diameter
1,2.420,0.236,N-BK7,1.000
2,-1.757,0.098,SF5,1.000
3,-5.116,3.740,,1.000
"""


def main() -> None:
    with Client(url=os.environ["BLANKWRIGHT_URL"], key=os.environ["BLANKWRIGHT_KEY"]) as client:
        sent = IntakeRequest(text=TABLE, name="doublet.csv")
        draft = client.intake(sent)
        answers = {}
        for question in draft.questions:
            print(f"{question.asks}  {question.choices[0].answer}: {question.choices[0].means}")
            answers[question.name] = question.choices[0].answer
        sent = sent.model_copy(update={"answers": answers})
        draft = client.intake(sent)
        for assumption in draft.assumptions:
            print(f"assumed: {assumption.what}")
        quote = client.wait_for_quote(client.confirm_intake(sent, draft.digest).number, timeout_s=60)
        print(f"{quote.number} is {quote.status}")
        for each in quote.breaks or ():
            print(f"{each.quantity:>4} at {each.unit_price} {quote.currency} each")


if __name__ == "__main__":
    main()
