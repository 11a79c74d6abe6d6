"""The conversation in the terminal: first the person, back, skip, "don't know", readings, a record that resumes."""

import json

import pytest

from api.cases.record import Event, Record, load_record, save_record
from api.commands.main import main
from api.commands.triage import converse
from classifier.errors import CaseError
from guidance.catalogue.catalogue import DEMO_CATALOGUE, load
from guidance.documents.answer import CatalogueInfo

SAFE = ("no", "none", "dead", "hung-top")
"""Nobody is up, no danger sign, nothing moves, which box."""


@pytest.fixture(scope="module")
def catalogue():
    return load(DEMO_CATALOGUE)


@pytest.fixture
def speak(catalogue):
    """Hold a conversation with given answers; gives the record, what was shown, and every record that was kept."""

    def hold(*answers: str, role: str = "caregiver", record: Record | None = None):
        start = record or Record(catalogue=CatalogueInfo(id="demo-loan-pool", version="2026.1"), role=role)
        shown, kept, left = [], [], iter(answers)
        ended = converse(catalogue, start, lambda prompt: next(left, None), shown.append, kept.append)
        return ended, "\n".join(shown), kept

    return hold


def test_the_first_question_is_the_person(speak):
    record, shown, _ = speak()
    assert "Is somebody in the sling" in shown and "HOW TO COME DOWN" in shown
    assert "PROBABLY AT FAULT" not in shown and record.events == ()


def test_yes_brings_the_person_down_and_asks_what_tells_the_mechanism(speak):
    record, shown, _ = speak("yes", "?", "?", "no")
    assert shown.count("Is somebody in the sling") == 2 and "===|    |==|||||" in shown
    assert record.case().person_in_sling == "no"


def test_a_danger_sign_ends_it(speak):
    record, shown, _ = speak("no", "leaking_battery, 2")
    assert record.case().danger_signs == ("leaking_battery", "smoke")
    assert "OUT OF USE" in shown and "DANGER: Take the lift out of use now" in shown and "REPORT THIS CASE" in shown
    assert "=> What is wrong" not in shown


def test_numbers_ids_back_skip_and_dont_know(speak):
    record, shown, _ = speak(*SAFE)
    assert [event.kind for event in record.events] == ["person_in_sling", "danger_signs", "symptom", "observation"]
    assert "PROBABLY AT FAULT" in shown
    further, _, _ = speak("?", record=record)
    assert len(further.events) == 5 and further.events[-1].answer == "unsure"
    skipped, _, _ = speak("s", record=record)
    assert skipped.events[-1].answer in ("skipped", "unsure")
    back, _, _ = speak("?", "b", record=record)
    assert back == record


def test_back_at_the_start_and_nonsense_are_said(speak):
    _, shown, _ = speak("b", "perhaps", "17", "")
    assert "This is the first question." in shown
    assert "“perhaps” is none of the answers" in shown and "“17” is none" in shown


def test_the_person_cannot_be_skipped(speak):
    record, shown, _ = speak("s")
    assert record.events == () and "none of the answers" in shown


def test_a_repair_that_works_ends_with_trial_and_release(speak, catalogue):
    record, _, _ = speak(*SAFE)
    case = record.after(Event(kind="step", id="release_stop", answer="works"))
    _, shown, _ = speak(record=case)
    assert "BEFORE ANYBODY IS LIFTED" in shown
    assert "First try the lift without a person" in shown and "A competent person releases the lift" in shown
    assert shown.count("=>") == 1 and "Was anybody hurt" in shown and "REPORT" not in shown
    hurt, shown, _ = speak("yes", record=case)
    assert hurt.case().could_hurt is True and "REPORT THIS CASE" in shown


def test_caregivers_see_no_technicians_step_to_the_end(speak, catalogue):
    forbidden = [row.text for row in (*catalogue.checks, *catalogue.repairs) if "caregiver" not in row.roles]
    record, shown, _ = speak(*SAFE, *["?"] * 40)
    assert not [text for text in forbidden if text in " ".join(shown.split())]
    assert "HAND OVER" in shown


def test_meter_readings_are_taken_over_or_refused(speak):
    start, _, _ = speak(*SAFE, role="technician")
    readings = ("r", "12,65 10.2", "", "8", "0.5", "", "")
    record, shown, _ = speak(*readings, record=start)
    assert record.case().readings[0].blocks_v == (12.65, 10.2)
    assert "BATTERY BY THE METER: failed" in shown
    loaded = ("r", "12.8 12.8", "", "12", "0.5", "", "8", "12.2 7", "20")
    record, shown, _ = speak(*loaded, record=start)
    assert record.case().readings[0].loaded_blocks_v == (12.2, 7.0) and record.case().readings[0].temperature_c == 20
    assert "block 1: good" in shown and "block 2: failed" in shown
    refused, shown, _ = speak("r", "12.65 10.2", "300", "", "", "", "", record=start)
    assert refused == start and "got 300 V" in shown
    words, shown, _ = speak("r", "much", "", "", "", "", "", record=start)
    assert words == start and "Readings are numbers" in shown


def test_every_answer_is_kept_and_a_record_resumes_where_it_was(speak, tmp_path):
    record, _, kept = speak(*SAFE)
    assert [len(r.events) for r in kept] == [1, 2, 3, 4]
    path = tmp_path / "case.json"
    save_record(record, path)
    assert load_record(path) == record
    _, before, _ = speak(record=record)
    _, after, _ = speak(record=load_record(path))
    assert after == before


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "no record"),
        ("{}", "catalogue"),
        ('{"schema_version": "9"}', "schema_version"),
        ("\x00", "no record"),
        ('{"role": "agent", "role": "technician"}', "'role' comes twice"),
        ('{"role": NaN}', "NaN is no number"),
    ],
)
def test_what_is_no_record_is_refused(tmp_path, text, says):
    path = tmp_path / "case.json"
    path.write_text(text)
    with pytest.raises(CaseError, match=says):
        load_record(path)


def test_a_record_of_another_catalogue_is_refused(speak):
    other = Record(catalogue=CatalogueInfo(id="other-pool", version="1"), role="agent")
    with pytest.raises(CaseError, match="start the case anew"):
        speak(record=other)


def test_the_command_keeps_a_record_and_resumes_it(tmp_path, monkeypatch, capsys):
    path = tmp_path / "case.json"
    answers = iter(["no", "none", "q"])
    monkeypatch.setattr("builtins.input", lambda prompt: next(answers))
    assert main(["triage", "--record", str(path), "--role", "agent"]) == 0
    assert [event["kind"] for event in json.loads(path.read_text())["events"]] == ["person_in_sling", "danger_signs"]
    answers = iter(["dead", "q"])
    assert main(["triage", "--record", str(path)]) == 0
    record = load_record(path)
    assert record.role == "agent" and record.case().symptom == "dead"
    capsys.readouterr()
    assert main(["triage", "--identification", str(path)]) == 2
    assert "no answer of `hoistlore identify --json`" in capsys.readouterr().err
    path.write_text('{"actuator": {}, "actuator": {}}')
    assert main(["triage", "--identification", str(path)]) == 2
    assert "'actuator' comes twice" in capsys.readouterr().err


def test_parts_and_catalogue_commands(tmp_path, capsys):
    assert main(["parts", "--fault", "pack_worn", "--generation", "hung-top"]) == 0
    assert "DEMO-1301" in capsys.readouterr().out
    assert main(["parts", "--fault", "pack_worn"]) == 3
    assert "DEMO-" not in capsys.readouterr().out
    assert main(["parts", "--fault", "nonsense"]) == 2
    assert main(["catalogue", "check", str(DEMO_CATALOGUE)]) == 0
    assert "holds together" in capsys.readouterr().out
    (tmp_path / "empty.toml").write_text("")
    assert main(["catalogue", "check", str(tmp_path / "empty.toml")]) == 2
    assert "problem(s)" in capsys.readouterr().err
    assert main(["catalogue", "show", "--out", str(tmp_path / "net.svg"), "--generation", "hung-top"]) == 0
    drawing = (tmp_path / "net.svg").read_text()
    assert drawing.startswith("<svg") and "pack worn out" in drawing and "built-in blocks" not in drawing
    assert main(["catalogue", "show", "--generation", "nonsense"]) == 2
    (tmp_path / "cases.jsonl").write_text('{"setting": "in_service", "fault": "board_faulty"}\n')
    assert main(["catalogue", "learn", str(tmp_path / "cases.jsonl")]) == 0
    assert "board_faulty" in capsys.readouterr().out
