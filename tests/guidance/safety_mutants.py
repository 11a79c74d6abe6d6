"""Seeded ways to break a rule: in the catalogue's data after it was checked, or in the code that applies it."""

import numpy as np

from guidance.catalogue.catalogue import Catalogue
from guidance.diagnose import diagnosis, released, troubleshoot
from guidance.identify import identified
from guidance.parts import parts
from guidance.safety import lowering, sentences, way_down
from guidance.safety.orders import Orders
from tests.guidance import safety_ways as ways
from tests.guidance.safety_pairs import PAIRS

MUTATIONS = [
    ("a technician's check given to a caregiver", ways.data("checks", ways.opened_to("caregiver"))),
    ("a technician's check given to an agent", ways.data("checks", ways.opened_to("agent"))),
    ("a technician's repair given to a caregiver", ways.data("repairs", ways.opened_to("caregiver"))),
    ("a technician's repair given to an agent", ways.data("repairs", ways.opened_to("agent"))),
    ("a swap given to a caregiver", ways.data("checks", ways.swap_made_a_caregivers)),
    ("a replacement given to a caregiver", ways.data("repairs", ways.swap_made_a_caregivers)),
    ("a check without source", ways.data("checks", ways.without_source)),
    ("a repair without source", ways.data("repairs", ways.without_source)),
    ("a caution without source", ways.data("cautions", ways.without_source)),
    ("a stop sign without source", ways.data("stop_signs", ways.without_source)),
    ("a caution kept from those who need it", ways.data("cautions", ways.told_to_nobody_but_technicians)),
    ("a caution with too weak a signal word", ways.data("cautions", ways.weaker_signal)),
    ("a stop sign with too weak a signal word", ways.data("stop_signs", ways.weaker_signal)),
    ("a part said to fit another generation", ways.data("parts", ways.for_the_wrong_generation)),
    ("two mechanisms mixed up", lambda catalogue, pick, patch: ways.mechanisms_mixed_up(catalogue, pick)),
    ("unsure taken for nobody in the sling", ways.code(troubleshoot, "troubleshoot", ways.unsure_taken_for_no)),
    ("the sling never asked about", ways.code(troubleshoot, "troubleshoot", ways.as_if(person_in_sling="no"))),
    ("danger signs forgotten", ways.code(troubleshoot, "troubleshoot", ways.as_if(danger_signs=()))),
    (
        "an injury forgotten",
        ways.code(troubleshoot, "complaint", ways.case_forgotten(could_hurt=False, danger_signs=())),
    ),
    ("likely taken for confirmed", ways.code(identified, "_component", ways.seen_as_confirmed)),
    ("failed lowering tried again", ways.code(troubleshoot, "way_down", ways.case_forgotten(danger_signs=()))),
    ("nothing said that always holds", ways.code(troubleshoot, "first_lines", ways.nothing)),
    ("no trial after a repair", ways.code(troubleshoot, "say", ways.silent_about("after_repair"))),
    ("handed over without a word", ways.code(troubleshoot, "say", ways.silent_about("hand_over"))),
    ("no word on taking it out of use", ways.code(troubleshoot, "say", ways.silent_about("out_of_use"))),
    ("old batteries in the bin", ways.code(troubleshoot, "say", ways.silent_about("disposal"))),
    ("access ignored", ways.access_ignored),
    ("caregivers shown parts", ways.code(parts, "ORDERING_ROLES", lambda _: ("caregiver", "agent", "technician"))),
    ("a part number guessed", ways.code(parts, "part_for", ways.guessed_parts)),
    ("parts of every box named", ways.code(parts, "_fits", lambda _: lambda *a: True)),
    ("orders forgotten", ways.code(Orders, "after", lambda _: lambda self, sentence: self)),
    ("the mechanism whatever was ordered", ways.code(lowering, "_own_steps", ways.own_whatever)),
    ("no caution beside what needs one", ways.code(lowering, "beside", ways.nothing)),
    ("no caution beside a step", ways.code(troubleshoot, "beside", ways.nothing)),
    ("the order of signs is that of naming", ways.code(way_down, "signs_in_order", ways.backwards)),
    ("the person before the fire", ways.code(way_down, "_said_first", ways.person_first)),
    ("answers on the way down forgotten", ways.code(troubleshoot, "way_down", ways.case_forgotten(lowered=()))),
    ("what made it worse is told again", ways.code(way_down, "_made_worse", ways.nothing)),
    ("nothing to find out the mechanism", ways.code(troubleshoot, "ways_to_find_out", ways.nothing)),
    ("a yes outweighed by a no", ways.code(troubleshoot, "_most_cautious", ways.first_word_counts)),
    ("a strange word stands before the way down", ways.code(troubleshoot, "understood", ways.refused)),
    ("released whatever is found later", ways.code(released, "_found_later", lambda _: lambda *a: None)),
    ("released with a cut cord", ways.code(released, "signs_of_findings", lambda _: lambda *a: {})),
    ("released wet", ways.code(released, "signs_of_circumstances", lambda _: lambda *a: {})),
    ("pressed and charged whatever is wet", ways.code(diagnosis, "not_now", lambda _: lambda *a: frozenset())),
    ("nothing said of what is wet", ways.code(troubleshoot, "found_signs", lambda _: lambda *a: {})),
    ("a release taken back in silence", ways.code(troubleshoot, "say", ways.silent_about("taken_back"))),
    ("no word on the limits of lift and sling", ways.code(troubleshoot, "say", ways.silent_about("before_lifting"))),
    ("advice for everybody", ways.code(sentences, "advice", ways.for_every_role)),
    ("no emergency call for fire", ways.row("stop_signs", "smoke", gives=())),
    ("no collection for a leaking battery", ways.row("stop_signs", "leaking_battery", gives=())),
    ("no collection after a new battery", ways.row("components", "battery", gives=())),
    ("a failed lowering given no meaning", ways.row("stop_signs", "failed_lowering", gives=(), occupied=())),
    ("caregivers told of collection", ways.row("cautions", "disposal-1", roles=("caregiver", "agent", "technician"))),
    ("a wet box is nothing", ways.row("contexts", "wet", signs={})),
    ("a cut cord is nothing", ways.row("findings", "hand_cord", signs={})),
    ("a burnt socket is nothing", ways.row("findings", "socket", signs={})),
    ("charging not said in data", ways.row("checks", "look_charge_lamps", acts=())),
    ("pressing not said in data", ways.row("checks", "ask_beeps", acts=())),
    ("releasing not said in data", ways.row("repairs", "release_stop", acts=())),
    ("help not called for", ways.reworded("sentences", "after-2", "call for help", "wait")),
    ("one lower button only", ways.reworded("sentences", "before-1", "or on the box itself", "no other")),
    ("no landing place", ways.without_sentence("before-2")),
    ("the way down backwards", ways.way_down_backwards),
    ("nothing said of a fast arm", ways.steps("squeeze_tabs", lambda rows: (rows[0], rows[2]))),
    ("the mechanism's action in another order", ways.steps("pull_twist_knob", lambda rows: rows[::-1])),
    ("a plan without its first line", ways.plan("smoke", lambda rows: rows[1:])),
    ("movement without pressing the stop", ways.plan("moves_unasked", lambda rows: rows[1:])),
    ("an arm that sinks without a bed under it", ways.plan("sinks_by_itself", lambda rows: rows[1:])),
    ("a plan in another order", ways.plan("smoke", lambda rows: rows[::-1])),
    ("leave the lift alone, now", ways.plan("heat", ways.later_said_of_now)),
    (
        "fluid without rinsing",
        ways.plan("leaking_battery", lambda rows: tuple(r for r in rows if "rinse" not in r.text)),
    ),
    *((f"contradiction: {name}", ways.pair(apply)) for name, apply in PAIRS),
]
"""Where a way has several places, the seed chooses one. The last are pairs of sentences that contradict."""


def mutate(catalogue: Catalogue, number: int, seed: int, patch) -> Catalogue:
    """Break one rule; `patch` is pytest's MonkeyPatch, which mends the code again."""
    rng = np.random.default_rng((seed, number))
    return MUTATIONS[number][1](catalogue, lambda places: places[int(rng.integers(len(places)))], patch)
