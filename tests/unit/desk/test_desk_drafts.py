"""A draft is looked over: names that the rates do not have and slips that the rays show are asked, and answers go in."""

from __future__ import annotations

import copy
import json
from datetime import date
from email.message import EmailMessage
from typing import Any

import pytest

from services.desk.drafts.digest import refuse_another
from services.desk.drafts.look_over import look_over
from services.desk.drafts.mail import letter_in
from services.desk.drafts.reading import content_of, read, with_digest
from services.desk.errors import AnswersUnusable, DraftIsAnother, FileUnreadable, RequestUnreadable
from services.prescription.domain.check import check_prescription
from shared_schemas.check import CheckReport
from shared_schemas.intake import IntakeDraft, IntakeRequest
from shared_schemas.prescription import Prescription
from shared_schemas.quote_request import QuoteRequest
from shared_schemas.rates import Rates

TODAY = date(2026, 11, 2)


@pytest.fixture
def document(demo_request: QuoteRequest) -> dict[str, Any]:
    return demo_request.model_dump(mode="json")


def drafted(document: dict[str, Any], rates: Rates, answers: dict[str, str] | None = None) -> IntakeDraft:
    """The draft of a request as it comes out of the reader, looked over with the real check."""
    asked = IntakeRequest(text=json.dumps(document), name="request.json", answers=answers or {})
    draft = read(asked, content_of(asked))
    looked = look_over(draft, asked.answers, rates=rates, check=lambda lens: checked(lens, rates), today=TODAY)
    return with_digest(looked, asked, content_of(asked))


def checked(lens: Prescription, rates: Rates) -> CheckReport:
    return check_prescription(lens, rates)


def test_a_request_that_says_all_is_a_draft_without_questions(document: dict[str, Any], rates: Rates) -> None:
    draft = drafted(document, rates)
    assert draft.questions == ()
    assert draft.request is not None
    assert draft.request.prescription == QuoteRequest.model_validate(document).prescription
    assert draft.assumptions == ()


def test_tolerances_that_are_not_stated_are_one_assumption_that_says_how_many_and_where(
    document: dict[str, Any], rates: Rates
) -> None:
    for element in document["prescription"]["elements"][:2]:
        element["tolerances"] = {}
        element["front"]["form"] = element["back"]["form"] = None
    draft = drafted(document, rates)
    assert draft.request is not None
    assert draft.request.assumptions == (), "the check says it by itself"
    (assumed,) = draft.assumptions
    report = checked(draft.request.prescription, rates)
    taken = [finding for finding in report.findings if finding.code == "tolerance-defaulted"]
    assert len(taken) > 4
    assert assumed.what.startswith(f"{len(taken)} tolerances are taken as loose: L1 (")


def test_a_glass_and_a_coating_that_the_rates_do_not_know_are_asked_with_the_nearest_names(
    document: dict[str, Any], rates: Rates
) -> None:
    element = document["prescription"]["elements"][0]
    right = element["glass"]
    element["glass"] = right + "7"
    element["front"]["coating"] = "ar-singel"
    draft = drafted(document, rates)
    name = element["name"]
    glass, coating = draft.questions
    assert (glass.name, coating.name) == (f"name.{name}.glass", f"name.{name}.front.coating")
    assert right in [choice.answer for choice in glass.choices]
    assert coating.choices[0].answer == "ar-single"
    assert draft.request is None

    answered = drafted(document, rates, {glass.name: right, coating.name: "none"})
    assert answered.request is not None
    assert answered.request.prescription.elements[0].glass == right
    assert answered.request.prescription.elements[0].front.coating is None
    assert any(f"{right} instead of {right}7" in told for told in answered.request.assumptions)


def test_an_answer_that_is_no_name_either_is_asked_again(document: dict[str, Any], rates: Rates) -> None:
    document["prescription"]["elements"][0]["glass"] = "N-BK77"
    name = f"name.{document['prescription']['elements'][0]['name']}.glass"
    draft = drafted(document, rates, {name: "N-BK78"})
    assert [(one.name, one.figure) for one in draft.questions] == [(name, "N-BK78")]


def test_a_lost_minus_sign_is_asked_with_the_repair_first_and_the_answer_makes_it(document: dict[str, Any], rates: Rates) -> None:
    sent = copy.deepcopy(document)
    element = sent["prescription"]["elements"][0]
    right = element["front"]["radius_mm"]
    element["front"]["radius_mm"] = -right
    draft = drafted(sent, rates)
    (question,) = draft.questions
    assert question.name == f"check.{element['name']}.front.radius_mm"
    assert question.figure == -right
    assert float(question.choices[0].answer) == right
    assert question.choices[1].answer == "as it stands"

    mended = drafted(sent, rates, {question.name: question.choices[0].answer})
    assert mended.request is not None
    assert mended.request.prescription == QuoteRequest.model_validate(document).prescription
    kept = drafted(sent, rates, {question.name: "as it stands"})
    assert kept.request is not None
    assert kept.request.prescription.elements[0].front.radius_mm == -right
    other = drafted(sent, rates, {question.name: f"{right * 1.001:.6g}"})
    assert other.request is not None
    assert other.request.prescription.elements[0].front.radius_mm == float(f"{right * 1.001:.6g}")


def test_an_answer_to_no_question_is_refused_by_its_name(document: dict[str, Any], rates: Rates) -> None:
    with pytest.raises(AnswersUnusable) as refused:
        drafted(document, rates, {"check.L9.front.radius_mm": "4"})
    assert refused.value.errors[0].pointer == "/answers/check.L9.front.radius_mm"


def test_a_day_that_is_gone_and_a_currency_without_a_rate_are_asked(document: dict[str, Any], rates: Rates) -> None:
    document |= {"needed_by": "2026-10-01", "currency": "XXX"}
    assert {one.name for one in drafted(document, rates).questions} == {"name.needed_by", "name.currency"}
    answered = drafted(document, rates, {"name.needed_by": "none", "name.currency": "USD"}).request
    assert answered is not None
    assert (answered.needed_by, answered.currency) == (None, "USD")


def test_a_bare_prescription_takes_the_usual_quantities_and_says_so(document: dict[str, Any], rates: Rates) -> None:
    draft = drafted(document["prescription"], rates)
    assert draft.request is not None
    assert draft.request.quantities == (5, 25, 100)
    assert draft.request.assumptions == ("quantities 5, 25, 100 (no quantity is said; these are usual)",)


def test_json_that_is_no_request_is_refused_with_the_place(document: dict[str, Any], rates: Rates) -> None:
    document["prescription"]["elements"][0]["diameter_mm"] = "thirty"
    with pytest.raises(RequestUnreadable) as refused:
        drafted(document, rates)
    assert refused.value.errors[0].pointer == "/prescription/elements/0/diameter_mm"


def test_a_digest_of_another_draft_says_what_differs(document: dict[str, Any], rates: Rates) -> None:
    draft = drafted(document, rates)
    refuse_another(draft.digest, draft)
    with pytest.raises(DraftIsAnother) as refused:
        refuse_another(drafted({**document, "quantities": [7]}, rates).digest, draft)
    assert [error.pointer for error in refused.value.errors] == ["/content", "/request"]
    assert draft.digest in str(refused.value)


def test_a_mail_with_a_table_attached_is_refused_with_what_would_do() -> None:
    mail = EmailMessage()
    mail["Subject"] = "our objective"
    mail.set_content("Please see the table.")
    mail.add_attachment(b"radius,thickness\n", maintype="text", subtype="csv", filename="objective.csv")
    with pytest.raises(FileUnreadable, match=r"a mail with objective\.csv attached; save that file"):
        letter_in(mail.as_bytes(), "rfq.eml")
    mail = EmailMessage()
    mail["Subject"] = "our objective"
    mail.set_content("<p>R1 51.68</p><p>gl&auml;ser</p>", subtype="html")
    text, told = letter_in(mail.as_bytes(), "rfq.eml") or ("", "")
    assert text.split() == ["R1", "51.68", "gläser"]
    assert "subject: our objective" in told
    assert letter_in(b"radius,thickness\n", "rfq.eml") is None
