"""A person's word on what the photos show: agreeing takes nothing back and counts once, disagreeing stands as it is."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from classifier.taxonomy import ACTUATOR_HEAD, CONCEPTS, CONTROL_BOX_CONCEPTS, NOT_VISIBLE
from guidance.advise.answer import answer
from guidance.catalogue.catalogue import DEMO_CATALOGUE, load
from guidance.identify.sources import Observed
from tests.guidance.lifts import FACTS, HUNG_TOP, MODEL, box_photo, head_photo, photo, reading, subject
from tests.guidance.test_answer import PHOTOS

pytestmark = pytest.mark.walk

DEMO = load(DEMO_CATALOGUE)
BELIEVED = DEMO.corrections.reliability
QUESTIONS = sorted(o.id for o in DEMO.questions if o.about)
OTHER_ANSWERS = st.dictionaries(st.sampled_from(QUESTIONS), st.integers(0, 5), max_size=3).map(
    lambda chosen: [
        Observed(i, options[n % len(options)], "caregiver")
        for i, n in chosen.items()
        for options in [list(DEMO.observations_by_id[i].options)]
    ]
)
WHO = st.sampled_from(["caregiver", "agent", "technician"])


def found(photos, *said, by="technician"):
    """The answer to photos and to what is said: `Observed`, or question and answer of `by`."""
    observed = [one if isinstance(one, Observed) else Observed(*one, by) for one in said]
    return answer(photos, observed, DEMO, MODEL, FACTS, "technician")


def lowering(photos, *said, by="technician"):
    return found(photos, *said, by=by).actuator


def favourites(photos):
    """Of each concept the value that every photo that tells of it holds for the likeliest one."""
    told = {}
    for subjects in (p.subjects for p in photos):
        for concept, read in (pair for kind in subjects for pair in kind.concepts.items()):
            shown = {v: p for v, p in read.probabilities.items() if v != NOT_VISIBLE}
            most = max(shown.values())
            told.setdefault(concept, []).append({v for v, p in shown.items() if p > most - 1e-6})
    agreed = {concept: set.intersection(*likeliest) for concept, likeliest in told.items()}
    return {c: next(iter(v)) for c, v in agreed.items() if len(v) == 1 and all(len(x) == 1 for x in told[c])}


def test_a_yes_to_a_confirmed_mechanism_leaves_it_confirmed():
    """L = 0.998 * 4 * p + 0.002 with even priors: 0.9985 of a photo that is quite sure, above the 0.985 of a person."""
    seen = [head_photo(squeeze_tabs=1.0)]
    before, after = lowering(seen), lowering(seen, ("lowering", "squeeze_tabs"))
    assert before.decision == after.decision == "confirmed"
    assert after.probabilities["squeeze_tabs"] == pytest.approx(3.994 / 4, abs=1e-12)
    assert after.probabilities == pytest.approx(before.probabilities, abs=1e-12)
    assert {b.source for b in after.because} == {"photo 1", "your answer"}


def test_a_yes_to_a_weaker_photo_is_believed_as_far_as_a_person_is():
    """What is left is shared as the photo shares it: 0.992 * 0.3 and 0.998 * 4 * 0.1 + 0.002 of three others."""
    seen = [head_photo(twist_knob=0.6, pull_twist_knob=0.3, none=0.1, squeeze_tabs=0.0)]
    after = lowering(seen, ("lowering", "twist_knob"))
    others = {"pull_twist_knob": 0.998 * 1.2 + 0.002, "none": 0.998 * 0.4 + 0.002, "squeeze_tabs": 0.002}
    shared = {v: (1 - BELIEVED) * x / sum(others.values()) for v, x in others.items()}
    assert after.probabilities == pytest.approx({"twist_knob": BELIEVED, **shared}, abs=1e-12)
    assert after.decision == "likely"


def test_a_word_against_the_photos_stands_alone():
    for sure in (0.4, 0.9, 1.0):
        seen = [head_photo(twist_knob=sure)]
        against = lowering(seen, ("lowering", "pull_twist_knob")).probabilities
        assert against == pytest.approx(lowering([], ("lowering", "pull_twist_knob")).probabilities, abs=1e-12)
    assert against["pull_twist_knob"] == pytest.approx(BELIEVED, abs=1e-12)


def test_what_was_taken_back_was_never_said():
    seen = [head_photo(twist_knob=0.9)]
    assert lowering(seen, ("lowering", "unsure")).probabilities == lowering(seen).probabilities


def test_a_photo_that_does_not_show_it_is_neither_agreed_with_nor_set_aside():
    """People alone speak: what a look at another place said stays beside the word."""
    label = Observed("label_shows_lowering", "twist_knob", "caregiver")
    hidden = [head_photo(not_visible=1.0)]
    alone = lowering([], label, ("lowering", "twist_knob")).probabilities
    assert lowering(hidden, label, ("lowering", "twist_knob")).probabilities == pytest.approx(alone, abs=1e-12)


def test_of_photos_that_differ_the_favourite_of_all_is_agreed_with():
    """Together they favour the stop on top, by odds of a surer and a vaguer photo; then a person is surer than both."""
    top, front = box_photo(0.999, **HUNG_TOP), box_photo(0.9, stop_position="front")
    before = found([top, front]).control_box
    agreed, against = (found([top, front], ("stop_position", v)).control_box for v in ("top", "front"))
    assert agreed.probabilities["hung-top"] > before.probabilities["hung-top"] > against.probabilities["hung-top"]
    hidden = [box_photo(0.999, **{c: v for c, v in HUNG_TOP.items() if c != "stop_position"}), photo()]
    alone = found(hidden, ("stop_position", "front")).control_box.probabilities
    assert against.probabilities == pytest.approx(alone, abs=1e-12)


def test_two_people_who_contradict_each_other_are_as_they_are_without_the_photos():
    said = [Observed("lowering", "twist_knob", "caregiver"), Observed("lowering", "none", "technician")]
    both = lowering([head_photo(twist_knob=1.0)], *said)
    assert both.probabilities == pytest.approx(lowering([], *said).probabilities, abs=1e-12)
    assert both.contradictions and both.decision == "undecided"


def test_a_yes_and_an_answer_of_one_person_are_one_look():
    """With a photo that says next to nothing they leave what the surer of the two leaves, not their product."""
    faint = [head_photo(twist_knob=0.21, pull_twist_knob=0.2, none=0.2, squeeze_tabs=0.2)]
    both = lowering(faint, ("lowering", "twist_knob"), ("motor_end_shape", "twist_knob"))
    assert both.probabilities["twist_knob"] == pytest.approx(BELIEVED, abs=1e-12)
    assert both.decision == "likely"


def test_a_yes_alone_confirms_nothing_that_the_photos_own_set_leaves_open():
    """The word takes the other value out of the set; sure enough is only the photo, which had left it open."""
    p = {"twist_knob": 0.995, "pull_twist_knob": 0.005, "none": 0.0, "squeeze_tabs": 0.0, NOT_VISIBLE: 0.0}
    both = replace(reading("lowering"), probabilities=p, prediction_set=("twist_knob", "pull_twist_knob"))
    after = lowering([photo(subject(ACTUATOR_HEAD, {"lowering": both}))], ("lowering", "twist_knob"))
    assert after.values == ("twist_knob",) and after.probabilities["twist_knob"] > 0.99
    assert after.decision == "likely"


@settings(max_examples=300, deadline=None)
@given(PHOTOS, OTHER_ANSWERS, WHO, st.data())
def test_agreeing_with_a_favourite_never_lowers_its_probability_nor_takes_a_confirmation_back(photos, said, by, data):
    """Whatever else was answered, and however many of the readings are agreed with."""
    before = found(photos, *said)
    told = favourites(photos)
    box = DEMO.generations_by_id.get(before.control_box.favourite or "")
    agreed = [c for c in CONTROL_BOX_CONCEPTS if box and told.get(c) == getattr(box, c)]
    agreed += ["lowering"] if told.get("lowering", "") == before.actuator.favourite else []
    yes = [Observed(c, told[c], by) for c in agreed if data.draw(st.booleans(), label=c)]
    after = found(photos, *said, *yes)
    spoken_of = {"control_box": len(set(agreed) - {"lowering"}) > 0, "actuator": "lowering" in agreed}
    for component in (c for c, there in spoken_of.items() if there):
        one, other = getattr(before, component), getattr(after, component)
        assert other.probabilities[one.favourite] >= one.probabilities[one.favourite] - 1e-12
        assert one.decision != "confirmed" or (other.decision, other.values) == ("confirmed", one.values)


@settings(max_examples=150, deadline=None)
@given(PHOTOS, OTHER_ANSWERS, WHO, st.sampled_from([(c, v) for c, values in CONCEPTS.items() for v in values]))
def test_two_yeses_count_like_one(photos, said, by, word):
    """Said on each of two crops, or by the person at the lift and by the agent who writes it down."""
    same = ["caregiver", "agent"] if by != "technician" else ["technician"] * 2
    once, twice = (found(photos, *said, *(Observed(*word, who) for who in whose)) for whose in (same[:1], same))
    for component in ("control_box", "actuator"):
        one, other = getattr(once, component), getattr(twice, component)
        assert other.probabilities == pytest.approx(one.probabilities, abs=1e-12)
        assert (other.decision, set(other.values)) == (one.decision, set(one.values))


@settings(max_examples=300, deadline=None)
@given(PHOTOS, OTHER_ANSWERS, WHO, st.sampled_from(CONCEPTS["lowering"]))
def test_a_word_on_the_mechanism_confirms_nothing_that_neither_it_nor_the_photos_confirm(photos, said, by, value):
    word = Observed("lowering", value, by)
    if lowering(photos, *said, word).decision == "confirmed":
        either = lowering(photos, *said), lowering([], *said, word)
        assert "confirmed" in [one.decision for one in either]
