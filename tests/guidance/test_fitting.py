"""The table of parts: it agrees with what `parts.py` names, and nothing fits before it is confirmed."""

from itertools import product

import pytest

from classifier.taxonomy import CONCEPTS, UNLISTED
from guidance.catalogue.catalogue import DEMO_CATALOGUE, load
from guidance.identify.identified import Identified
from guidance.parts.fitting import families_of, fits_of
from guidance.parts.parts import parts_for

CATALOGUE = load(DEMO_CATALOGUE)
GENERATIONS = tuple(g.id for g in CATALOGUE.generations)
MECHANISMS = CONCEPTS["lowering"]


def lift(generation: str | None, lowering: str | None, generations=(*GENERATIONS, UNLISTED), mechanisms=MECHANISMS):
    possible = ((generation,) if generation else generations, (lowering,) if lowering else mechanisms)
    return Identified({}, *possible, generation, lowering)


def table(*given, **more):
    return {fit.part.id: fit for fit in fits_of(CATALOGUE, lift(*given, **more))}


@pytest.mark.parametrize(("generation", "lowering"), list(product((None, *GENERATIONS), (None, *MECHANISMS))))
def test_the_table_and_the_parts_that_are_named_say_the_same(generation: str | None, lowering: str | None) -> None:
    named = parts_for(CATALOGUE, generation, lowering, "technician")
    orderable = {row.part.id for row in named} | {p.id for row in named for p in row.substitutes}
    assert {id_ for id_, fit in table(generation, lowering).items() if fit.orderable} == orderable


def test_nothing_fits_and_nothing_is_ruled_out_while_everything_is_open() -> None:
    assert {fit.verdict for fit in table(None, None).values()} == {"not_sure_yet"}
    assert {fit.verdict for fit in table(None, None, generations=("hung-top",)).values()} == {"not_sure_yet"}


def test_a_confirmed_box_rules_an_actuator_in_or_out_only_with_its_mechanism() -> None:
    found = table("hung-top", None)
    assert found["pack-hung"].verdict == "fits" and found["pack-stacked"].verdict == "does_not_fit"
    assert found["actuator-twist"].verdict == "not_sure_yet"
    assert [(g.about, g.verdict) for g in found["actuator-twist"].grounds] == [
        ("generation", "fits"), ("lowering", "not_sure_yet"),
    ]  # fmt: skip
    assert found["actuator-twist"].grounds[1].possible == MECHANISMS


def test_a_wrong_mechanism_rules_out_even_while_the_box_is_open() -> None:
    found = table(None, "squeeze_tabs")
    assert found["actuator-tabs"].verdict == "not_sure_yet" and found["actuator-twist"].verdict == "does_not_fit"


def test_a_substitute_fits_in_place_of_the_part_that_fits() -> None:
    found = table("sealed-top", "none")
    assert found["blocks-sealed-front"].verdict == "fits"
    assert found["blocks-sealed-front"].stands_in_for.id == "blocks-sealed-top"
    assert found["actuator-twist"].stands_in_for.id == "actuator-plain"
    assert found["blocks-sealed-top"].stands_in_for is None
    assert table("hung-top", "none")["blocks-sealed-front"].verdict == "does_not_fit"


def test_a_superseded_part_fits_and_is_not_ordered() -> None:
    old = table("stacked-front", None)["pack-stacked-old"]
    assert (old.verdict, old.supplied.id, old.orderable) == ("fits", "pack-stacked", False)


def test_families_are_told_apart() -> None:
    by_id = CATALOGUE.parts_by_id
    assert families_of([by_id["pack-hung"], by_id["fuse-any"], by_id["charger-hung"]]) == ("hung",)
    assert families_of([by_id["pack-hung"], by_id["charger-sealed"]]) == ("hung", "sealed")
