"""Which photos wait for a label, and two people who label one part in the same moment."""

import math
import threading
from dataclasses import replace

from api.cases.learned.asked import photos_to_label
from api.cases.learned.learned_photos import ready_photos
from api.cases.photos import photos_of
from api.commands.main import main
from api.settings import PREFIX
from classifier.identify import ConceptReading
from tests.api.test_agent_pages import Desk
from tests.api.test_photo_labels import HUNG_TOP, app, photographed, sent_label, technician, tell, tom
from tests.support.toy_networks import blob_photo, encoded

__all__ = ["app", "tom"]


def test_doubt_is_the_entropy_of_what_was_read() -> None:
    even = ConceptReading({"a": 0.25, "b": 0.25, "c": 0.25, "d": 0.25}, ("a", "b", "c", "d"))
    assert math.isclose(even.doubt_bits, 2.0) and replace(even, probabilities={"a": 1.0, "b": 0.0}).doubt_bits == 0.0


def test_those_that_wait_for_a_label_are_listed_with_their_case_one_of_each_lift_first(
    tom: Desk, app, monkeypatch, capsys
) -> None:
    shots = [encoded(blob_photo(("control_box", (0.3 + 0.1 * n, 0.5), 0.3, {"black": "above"}))) for n in range(4)]
    pages = [photographed(app, shot) for shot in shots]
    for page in pages[:2]:
        tell(tom, page, "asset", "asset", "lift 7")
    for concept, value in HUNG_TOP.items():
        tell(tom, pages[3], "observation", concept, value)
    store = app.state.cases
    asked, (ready, _) = photos_to_label(store), ready_photos(store)
    assert len(asked) == 3 and len(ready) == 1 and ready[0].origin not in {one.origin for one in asked}
    assert asked[2].lift_key in {one.lift_key for one in asked[:2]}, "a second photo of one lift comes last"
    assert asked[0].bits >= asked[1].bits
    monkeypatch.setenv(f"{PREFIX}DATABASE", app.state.settings.database)
    assert main(["photos", "list"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert [line.split(":")[0] for line in lines] == [ready[0].origin, lines[1][:-1], *(one.origin for one in asked)]
    assert all(f"case {one.code}" in line for one, line in zip(asked, lines[2:], strict=True))


def test_two_people_who_label_in_the_same_moment_are_both_kept_and_nothing_is_learned(app, monkeypatch) -> None:
    people = [(technician(app, monkeypatch, name), value) for name, value in (("Tom", "none"), ("Eva", "twist_knob"))]
    for _ in range(5):
        here = photographed(app)
        (photo,) = photos_of(app.state.cases, here.rsplit("/", 1)[1])
        version, start = str(app.state.cases.version(here.rsplit("/", 1)[1])), threading.Barrier(2)
        came: list[int] = []

        def label(desk: Desk, value: str, here=here, photo=photo, version=version, start=start, came=came) -> None:
            start.wait(10)
            came.append(sent_label(desk, here, photo.id, version=version, **{"value-lowering": value}).status_code)

        threads = [threading.Thread(target=label, args=each) for each in people]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join(30)
        said = [e for e in app.state.cases.by_id(here.rsplit("/", 1)[1]).events if e.kind == "label"]
        assert came == [303, 303] and {each.actor for each in said} == {"Tom", "Eva"}
    ready, left_out = ready_photos(app.state.cases)
    assert ready == [] and len(left_out) == 5 and all("differ" in line for line in left_out)
