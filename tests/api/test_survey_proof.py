"""What the lifts of a survey prove: counted by lifts, with intervals, and no more than so few can say."""

import pytest

from api.surveys.progress import lifts_to_show, proven, whole_lifts
from tests.api.test_survey import LEFT, Walk, app, photo, tom, walk

__all__ = ["app", "tom", "walk"]


@pytest.mark.walk
def test_after_thirty_lifts_it_says_what_thirty_prove(walk: Walk) -> None:
    """Of 29 of 30 the interval of Wilson is 83.3 to 99.4 %, reckoned from the formula apart from the code."""
    for number in range(30):
        token = walk.lift(f"A-{number}")
        walk.view(token, "box_left", photo(LEFT))
        walk.accept(token, **({"battery": "built_in"} if number == 7 else {}))
        if number == 28:
            assert "Lifts checked so far: 29. So few prove little" in walk.desk.client.get(walk.here).text
    page = " ".join(walk.desk.client.get(walk.here).text.split())
    assert "29 of 30 (83 % to 99.4 %)" in page
    assert "Lifts checked: 30. The share that is read right here is probably over 83 %." in page
    assert "To show that it is over 95.0 %, 73 lifts without a mistake are needed." in page


def test_what_the_lifts_prove_is_counted_by_lifts(walk: Walk) -> None:
    tokens = [walk.photographed(f"A-{n}") for n in range(3)]
    assert "nothing is proven" in walk.desk.client.get(walk.here).text
    walk.accept(tokens[0])
    walk.accept(tokens[1], battery="built_in")
    shares = proven(walk.states())
    assert {about: (share.hits, share.n) for about, share in shares.items()} == {
        "stop_position": (2, 2), "battery": (1, 2), "lowering": (2, 2),
    }  # fmt: skip
    assert (whole_lifts(walk.states()).hits, whole_lifts(walk.states()).n) == (1, 2)
    assert "Lifts checked so far: 2. So few prove little" in walk.desk.client.get(walk.here).text


def test_how_many_lifts_without_a_mistake_show_95_percent() -> None:
    """With h = n Wilson's lower end is n / (n + z²), so n = 19 z² = 72.99 (by hand)."""
    assert lifts_to_show(0.95) == 73
