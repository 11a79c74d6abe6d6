"""One thing a page: what the photo showed, then one question; the browser's Back leads to the question before."""

import itertools
import re
from collections.abc import Iterator

import pytest
from fastapi.testclient import TestClient

from api.cases.events import in_force
from tests.api.test_caregiver_pages import (
    BOX,
    HEAD,
    HTML,
    choices,
    heading,
    press,
    send,
    to_photo,
    to_repair,
    version,
    words,
)
from tests.support.toy_networks import blob_photo, encoded

BOX_ONLY, HEAD_ONLY, NOTHING = (encoded(blob_photo(*parts)) for parts in ((BOX,), (HEAD,), ()))


@pytest.fixture
def phone(client: TestClient) -> Iterator[TestClient]:
    client.headers.update(HTML)
    yield client


def title(page) -> str:
    return re.search(r"<title>(.*?) · Lift help</title>", page.text)[1]


def said(phone: TestClient, here: str) -> list[tuple[str, str]]:
    row = phone.app.state.cases.by_token(here.split("/")[3])
    return [(e.kind, str(e.said.get("answer", ""))) for e in in_force(row.events)]


def again(page) -> str:
    return re.search(r'name="again" value="(\d+)"', page.text)[1]


def asked_about_the_lift(phone: TestClient) -> tuple[str, list]:
    """A case with a photo of a box, and its pages from the result to the third question about it."""
    here = to_photo(phone)
    send(phone, here, BOX_ONLY)
    pages = [phone.get(f"{here}/ask")]
    for _ in range(2):
        pages.append(press(phone, here, choices(pages[-1])[0], pages[-1]))
    return here, pages


def test_a_photo_is_answered_on_a_page_of_its_own_and_the_question_has_the_next(phone: TestClient) -> None:
    here = to_photo(phone)
    result = send(phone, here, BOX_ONLY)
    assert choices(result) == [] and 'class="marked"' in result.text and title(result) == heading(result)
    asked = phone.get(f"{here}/ask")
    assert choices(asked) and 'class="marked"' not in asked.text and title(asked) == heading(asked)
    assert "Not sure yet:" in words(asked)


def test_each_answer_is_repeated_above_the_next_question(phone: TestClient) -> None:
    _, pages = asked_about_the_lift(phone)
    assert len({heading(page) for page in pages}) == 3
    for before, page in itertools.pairwise(pages):
        given = re.search(
            rf'value="{choices(before)[0]}">(?:<svg.*?</svg>)?\s*(?:<span>)?(.*?)<', before.text, re.DOTALL
        )[1]
        assert f"You said: {given}" in words(page)
    assert all(re.search(r"/at/\d+$", page.url.path) for page in pages[1:])


def test_back_shows_the_question_before_and_another_answer_takes_back_what_followed(phone: TestClient) -> None:
    here, pages = asked_about_the_lift(phone)
    address, before = pages[1].url.path, said(phone, here)
    was = phone.get(address)
    assert heading(was) == heading(pages[1]) and "You said: " in words(was)
    assert "data-case" not in was.text, "an old page does not announce what she said herself"
    other = choices(was)[-1]
    page = press(phone, here, other, was, again=again(was))
    now = said(phone, here)
    assert now == [*before[:-1], ("observation", other)] and page.status_code == 200
    assert int(version(page)) == int(again(was)) + 2, "one taken back, one said"


def test_the_same_answer_again_loses_nothing(phone: TestClient) -> None:
    here, pages = asked_about_the_lift(phone)
    first = phone.get(re.sub(r"\d+$", lambda m: str(int(m[0]) - 1), pages[1].url.path))
    before = said(phone, here)
    given = next(answer for kind, answer in before if kind == "observation")
    press(phone, here, given, first, again=again(first))
    assert said(phone, here) == before


def test_what_was_said_meanwhile_is_not_overwritten_from_an_old_page(phone: TestClient) -> None:
    here, pages = asked_about_the_lift(phone)
    was = phone.get(pages[1].url.path)
    press(phone, here, choices(pages[2])[0], pages[2])
    before = said(phone, here)
    late = press(phone, here, choices(was)[-1], was, again=again(was))
    assert late.status_code == 409 and "This was answered already" in words(late)
    assert said(phone, here) == before


@pytest.mark.parametrize("version_", [0, 1, 999, 10**30])
def test_an_address_of_no_question_shows_where_the_case_stands(phone: TestClient, version_: int) -> None:
    here = to_photo(phone)
    now = send(phone, here, BOX_ONLY)
    page = phone.get(f"{here}/at/{version_}")
    assert (page.status_code, heading(page)) == (200, heading(now)), "a photo is not taken back by going back"


def test_while_somebody_is_up_an_old_address_shows_the_way_down(phone: TestClient) -> None:
    here, pages = asked_about_the_lift(phone)
    phone.post(f"{here}/now", data={"kind": "person_in_sling", "id": "person_in_sling", "answer": "yes"})
    for path in (pages[1].url.path, f"{here}/ask", f"{here}/result"):
        assert heading(phone.get(path)) == "Bring the person down first"


def test_headings_say_what_the_photo_shows(phone: TestClient) -> None:
    here = to_photo(phone)
    page = send(phone, here, HEAD_ONLY)
    assert "motor end" in heading(page) and "box" not in heading(page)
    page = send(phone, to_photo(phone), NOTHING)
    assert heading(page) == "We found no part of a lift in this photo."
    assert re.search(r'href="[^"]+/photo">', page.text), "it can be taken again"


def test_nothing_is_both_probable_and_not_sure(phone: TestClient) -> None:
    for photo in (BOX_ONLY, HEAD_ONLY, encoded(blob_photo(BOX, HEAD))):
        here = to_photo(phone)
        page = send(phone, here, photo)
        for _ in range(8):
            shown = words(page)
            assert not ("probably has the box" in shown and "Which box it is" in shown)
            assert not ("motor end probably has" in shown and "How the arm is lowered by hand" in shown)
            asked = phone.get(f"{here}/ask")
            if not choices(asked):
                break
            press(phone, here, choices(asked)[0], asked)
            page = phone.get(f"{here}/result")


def test_the_seventh_photo_is_told_why_it_is_not_taken(phone: TestClient) -> None:
    here = to_photo(phone)
    for number in range(6):
        send(phone, here, encoded(blob_photo(("control_box", (0.3 + 0.05 * number, 0.5), 0.3, {"black": "above"}))))
    page = send(phone, here, HEAD_ONLY)
    assert page.status_code == 422 and "This case has 6 photos already" in words(page)


def test_what_mended_it_is_told_at_the_end(phone: TestClient) -> None:
    here, page = to_repair(phone)
    step = heading(page)
    press(phone, here, "works")
    page = press(phone, here, "no")
    assert heading(page) == "It works again"
    assert "What was wrong" in words(page) and f"It works since this step: {step}" in words(page)
