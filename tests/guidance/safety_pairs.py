"""Seeded pairs of sentences that contradict each other, put into a catalogue after it was checked.

Half of them tell in data what they order, and the code that should leave one out is broken; the others lie in data.
"""

from collections.abc import Callable

from guidance.catalogue.catalogue import Catalogue
from guidance.catalogue.fault_rows import Caution
from guidance.catalogue.rows import PlacedSentence, Sentence
from guidance.safety.orders import Orders

SOURCE = "common practice, no source"


def _filter_off(patch) -> None:
    """Nothing is left out any more, whatever was ordered before."""
    patch.setattr(Orders, "allow", lambda self, sentence: True)


def _in_plan(sign: str, text: str, honest: bool = False, at: int | None = None, **data) -> Callable:
    """One more sentence in the plan of a danger sign while somebody is up."""

    def apply(catalogue: Catalogue, rebuilt, patch) -> Catalogue:
        row = Sentence(id=f"{sign}-more", text=text, source=SOURCE, signal="danger", **(data if honest else {}))
        if honest:
            _filter_off(patch)
        rows = []
        for known in catalogue.stop_signs:
            plan = list(known.occupied)
            plan.insert(len(plan) if at is None else at, row)
            rows.append(known.model_copy(update={"occupied": tuple(plan)}) if known.id == sign else known)
        return rebuilt(catalogue, stop_signs=tuple(rows))

    return apply


def _in_way_down(place: str, text: str, honest: bool = False, **data) -> Callable:
    """One more sentence in the way down, after the others of its place."""

    def apply(catalogue: Catalogue, rebuilt, patch) -> Catalogue:
        row = PlacedSentence(id="way-more", place=place, text=text, source=SOURCE, **(data if honest else {}))
        if honest:
            _filter_off(patch)
        return rebuilt(catalogue, sentences=(*catalogue.sentences, row))

    return apply


def _caution(moment: str, text: str, honest: bool = False, **data) -> Callable:
    """One more caution at a moment."""

    def apply(catalogue: Catalogue, rebuilt, patch) -> Catalogue:
        row = Caution(id=f"{moment}-more", moment=moment, text=text, source=SOURCE, **(data if honest else {}))
        if honest:
            _filter_off(patch)
        return rebuilt(catalogue, cautions=(*catalogue.cautions, row))

    return apply


LOWER = "Try the lower button: on the hand control, or on the box itself."
CHARGE = "Plug in the charger."
RELEASE = "Turn the red stop button until it springs out."

PAIRS = [
    ("stop pressed, then released, after movement", _in_plan("moves_unasked", RELEASE, True, acts=("release:stop",))),
    ("the same, and not said in data", _in_plan("moves_unasked", RELEASE)),
    ("stop pressed, then a button needed", _in_plan("heat", LOWER, True, acts=("press:lower",))),
    ("the same, and not said in data, for a wet box", _in_plan("wet_parts", LOWER)),
    ("charger unplugged, then plugged in", _in_plan("burning_smell", CHARGE, True, acts=("plug:charger",))),
    ("the same, and not said in data, for a leak", _in_plan("leaking_battery", CHARGE)),
    ("do not raise, then raise", _in_plan("dropped_or_bent", "Press raise a little.", True, acts=("press:raise",))),
    ("by hand again", _in_plan("failed_lowering", "Turn the knob slowly.", True, acts=("lower:by_hand",))),
    ("kept away while somebody hangs there", _in_plan("smoke", "Touch the lift no more.", True, keeps_away=True)),
    ("the same, and not said in data, for heat", _in_plan("heat", "Leave the lift alone.")),
    ("lift locked away under somebody who is up", _in_plan("sinks_by_itself", "Lock this lift away.")),
    ("nothing by guess, then pinch both tabs", _in_way_down("lowering_after", "Pinch both tabs together.")),
    ("stop pressed first, then buttons", _caution("occupied", "Press the red stop and leave it pressed.")),
    ("lower button, then stop", _in_way_down("lowering_before", "Press the red stop.", True, acts=("press:stop",))),
    ("no button, then a button, on a wet box", _caution("always", "Press raise once before you begin.")),
    ("stop pressed beside its release", _caution("after_repair", "Press the red stop and leave it pressed.")),
]  # fmt: skip
"""Each makes a catalogue, from a catalogue, `rebuilt` and pytest's MonkeyPatch, in which two sentences contradict."""
