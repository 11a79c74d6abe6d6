"""Why a step comes next, in any language."""

from api.pages.languages import Language
from guidance.catalogue.fault_rows import LAST_RESORT
from guidance.diagnose.explain import whole_percent
from guidance.documents.case import OutcomeOut, StepOut

PLAIN_WHY = {
    "context": "It changes which fault is likely.",
    "question": "The answer tells best what is wrong.",
    "look": "What is seen tells best what is wrong.",
    "swap": "Trying another one tells best what is wrong.",
    "measurement": "The reading tells best what is wrong.",
    "adjust": "It may end the trouble by itself.",
    "replace": "A new part may end the trouble.",
    LAST_RESORT: "What is left to try here is expected to take longer than this.",
}
"""Why a step comes next, by its kind, in one sentence without a figure."""


def why_words(step: StepOut, language: Language) -> str:
    """Why a step comes next, as `guidance/diagnose/explain.py` says it to staff, in any language."""
    if step.kind == LAST_RESORT:
        return language.say("What is left to try here is expected to take longer than this.")
    if step.kind in ("adjust", "replace"):
        share = _share(step.outcomes[0].probability, language)
        reasons = [language.fill("It ends the trouble in {share} of such cases.", share=share)]
    else:
        reasons = [_shifts_words(outcome, language) for outcome in step.outcomes if outcome.shifts]
    if step.otherwise_minutes is not None:
        saved = step.otherwise_minutes - step.expected_minutes
        fewer = "About {minutes} minutes until it works, {saved} fewer than with the next best step first."
        as_many = "About {minutes} minutes until it works, as many as with the next best step first."
        minutes, less = f"{step.expected_minutes:.0f}", f"{saved:.1f}"
        reasons.append(language.fill(fewer if saved >= 0.05 else as_many, minutes=minutes, saved=less))
    return " ".join(reasons)


def _shifts_words(outcome: OutcomeOut, language: Language) -> str:
    arrow = language.arrow
    moves = ", ".join(
        f"{language.say(s.name)} {_share(s.before, language)} {arrow} {_share(s.after, language)}"
        for s in outcome.shifts
    )
    share, answer = _share(outcome.probability, language), language.say(outcome.words)
    return language.fill("If “{answer}” ({share}): {moves}.", answer=answer, share=share, moves=moves)


def _share(probability: float, language: Language) -> str:
    return language.say(whole_percent(probability).replace("\u00a0%", " %")).replace(" %", "\u00a0%")
