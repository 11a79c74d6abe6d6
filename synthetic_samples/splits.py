"""What is held out: the grammar's productions by style. A production stands in one style alone.

A style draws a shape by its own productions of a category; those of `SHARED` belong to no style, since a picture
could not be made without them (a cap, a rod, a bevel).
"""

from collections.abc import Sequence
from typing import Final

import numpy as np

PRODUCTIONS: Final[dict[str, dict[str, tuple[str, ...]]]] = {
    "outline": {
        "train": (
            "rounded", "chamfered", "many_sided", "swelling", "wavy", "half_round", "trapezoid", "notched", "bent",
        ),
        "calibration": ("squircle", "house"),
        "heldout": ("discs", "shield"),
    },
    "solid": {
        "train": ("extruded", "turned", "blended", "stacked", "joined", "crossed"),
        "calibration": ("faceted",),
        "heldout": ("lofted",),
    },
    "change": {
        "train": ("ribs", "groove", "step", "bite", "boss", "slope", "foot", "dish", "waist"),
        "calibration": ("corner_cut", "rail"),
        "heldout": ("scallops", "saddle"),
    },
    "case": {
        "train": ("beside", "across", "around", "astride", "oblique", "tower"),
        "calibration": ("twin", "slab"),
        "heldout": ("yoke", "elbow"),
    },
    "motor": {
        "train": ("plain", "dome", "taper", "sided", "bell", "boxed", "bands", "grooves", "flange"),
        "calibration": ("fins",),
        "heldout": ("bottle",),
    },
    "grip": {
        "train": ("wave", "lobes", "teeth", "wings", "paddles", "scoops", "star", "crown"),
        "calibration": ("slots", "wheel"),
        "heldout": ("bar", "petals"),
    },
    "profile": {
        "train": ("straight", "cone", "tiers", "dome", "rim"),
        "calibration": ("barrel",),
        "heldout": ("hourglass",),
    },
    "neck": {
        "train": ("rod", "many_sided", "tapered", "ringed"),
        "calibration": ("square",),
        "heldout": ("fluted",),
    },
    "tab": {
        "train": ("plate", "pad", "stud", "fin", "lever", "shelf", "paddle"),
        "calibration": ("hook", "key"),
        "heldout": ("loop", "horn"),
    },
    "tab_seat": {
        "train": ("collar", "stalk", "case", "ring", "between"),
        "calibration": ("hexagon",),
        "heldout": ("cup",),
    },
    "plain": {
        "train": ("cap", "cone", "boot", "clamp", "flange", "steps", "nut", "second_tube", "dome", "nothing"),
        "calibration": ("bush", "strap"),
        "heldout": ("bell", "block"),
    },
    "beyond": {
        "train": ("clevis", "eye", "cap", "ball", "plate"),
        "calibration": ("stud",),
        "heldout": ("bracket",),
    },
    "stacked_pack": {
        "train": ("on_top", "cradled", "before_a_back"),
        "calibration": ("slid_in",),
        "heldout": ("saddled",),
    },
    "hung_pack": {
        "train": ("hung", "framed", "stepped"),
        "calibration": ("in_a_bay",),
        "heldout": ("hooked",),
    },
    "buttons": {
        "train": ("round", "square", "pill", "arrow", "rocker", "membrane", "recessed"),
        "calibration": ("half_moons",),
        "heldout": ("ring",),
    },
    "display": {
        "train": ("framed", "sunk", "round_window", "segments", "proud"),
        "calibration": ("slanted",),
        "heldout": ("hooded",),
    },
    "lamps": {
        "train": ("strip", "bezels", "bare", "groove"),
        "calibration": ("pills",),
        "heldout": ("tiles",),
    },
    "thing": {
        "train": (
            "appliance", "vessel", "machine", "tool", "pole", "fixture", "tap", "lamp", "cart", "valve", "panel",
            "rack",
        ),
        "calibration": ("pump", "case"),
        "heldout": ("winch", "stand"),
    },
    "build": {
        "train": ("case", "slab", "tub", "vase", "ring", "frame", "branch", "stack", "wedge"),
        "calibration": ("ball",),
        "heldout": ("bundle", "shoe"),
    },
    "addition": {
        "train": (
            "red_button", "dial", "switch", "mushroom", "buttons", "lamps", "knob", "bow", "lever", "spout", "legs",
            "wheels", "lead", "hose", "blade", "lid", "bulb", "keys",
        ),
        "calibration": ("hook", "brush"),
        "heldout": ("strap", "lugs"),
    },
}  # fmt: skip
"""By category and style the names of what the grammar may do; no name stands in two styles of a category."""


def production(rng: np.random.Generator, category: str, style: str, but: Sequence[str] = ()) -> str:
    """One production that a style may use, none of `but`; raises ValueError for a category or style that is unknown."""
    styles = PRODUCTIONS.get(category)
    if styles is None or style not in styles:
        raise ValueError(
            f"productions of {category!r} in style {style!r} came; wanted one of {', '.join(PRODUCTIONS)}, "
            f"and of {', '.join(PRODUCTIONS['outline'])}"
        )
    names = [name for name in styles[style] if name not in but]
    return names[int(rng.integers(len(names)))]
