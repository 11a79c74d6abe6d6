"""Cases that the tests of troubleshooting start from."""

from guidance.documents.case import Case

HUNG = {"decision": "confirmed", "probabilities": {"hung-top": 0.997, "unlisted": 0.003}, "set": ["hung-top"]}
TABS = {"decision": "confirmed", "probabilities": {"squeeze_tabs": 0.995, "none": 0.005}, "set": ["squeeze_tabs"]}
SAFE = {"person_in_sling": "no", "danger_signs": ()}


def case_of(**known) -> Case:
    return Case.model_validate({**SAFE, "role": "agent", "symptom": "dead", "control_box": HUNG, **known})


def done(*steps):
    return [{"id": step, "outcome": outcome} for step, outcome in steps]
