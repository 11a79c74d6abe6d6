"""Which photos are of one lift, by which way, and what speaks against it. Nothing here looks at what the photos read.

A table's word goes first; then each way in the order that was asked for, for the photos that no way before has placed.
What no way places is a lift of its own.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime

from api.audit.plan import Plan
from api.audit.taken import metres_apart
from classifier.errors import InputError

WAYS = ("folder", "label", "time")

ALONE, TWO_LABELS, LABEL_ELSEWHERE = "alone", "two_labels", "label_elsewhere"
BY_TIME, MANY, CONTRADICT = "by_time", "many_photos", "contradict"
DOUBTS = {
    ALONE: "Nothing says which other photos are of this lift, so that one photo stands for one.",
    TWO_LABELS: "Its photos show different labels. Perhaps they are of several lifts.",
    LABEL_ELSEWHERE: "Its label stands on photos of another lift as well. Perhaps they are one lift.",
    BY_TIME: "Put together by time alone. Perhaps two lifts in a row, or one lift photographed twice.",
    MANY: "More photos than one lift usually gets. Perhaps they are of several lifts.",
    CONTRADICT: "Its photos contradict each other. Perhaps they are of two lifts.",
}
"""What can speak against a grouping, in words."""

MANY_PHOTOS = 12
"""From more photos on it is asked whether that is one lift; chosen as twice the views that are read."""

COMMON_LABEL = 100
"""A code on more photos than that is on every lift, as the maker's address is, and tells none from another."""

MINUTES_APART, METRES_APART = 5.0, 30.0
"""Without a label between, a longer pause or a longer way begins the next lift. Chosen, not measured."""


def ways_of(asked: str) -> tuple[str, ...]:
    """The ways in `--group-by`, in order. Raises `InputError`."""
    ways = tuple(way.strip() for way in asked.split(",") if way.strip())
    wrong = [way for way in ways if way not in WAYS]
    if wrong or not ways or len(set(ways)) < len(ways):
        raise InputError(f"--group-by {asked!r} came. Some of {', '.join(WAYS)} are wanted, each once, with commas.")
    return ways


def group(plan: Plan, ways: tuple[str, ...]) -> None:
    """Give every photo its lift, number the lifts by name, and note the doubts."""
    with plan.at_once():
        plan.run("UPDATE photos SET lift = given, way = 'table' WHERE given IS NOT NULL")
        plan.run(
            "UPDATE photos SET label = NULL WHERE label IN "
            "(SELECT label FROM photos WHERE label IS NOT NULL GROUP BY label HAVING count(*) > ?)",
            (COMMON_LABEL,),
        )
        for way in ways:
            if way == "time":
                _by_time(plan)
            else:
                told = (
                    f"UPDATE photos SET lift = {way}, way = ? WHERE lift IS NULL AND {way} IS NOT NULL AND {way} != ''"
                )
                plan.run(told, (way,))
        plan.run("UPDATE photos SET lift = name, way = 'alone' WHERE lift IS NULL")
        plan.run("CREATE INDEX photos_of_lift ON photos (lift, name)")
        plan.run("CREATE INDEX photos_of_label ON photos (label) WHERE label IS NOT NULL")
        plan.run(
            "INSERT INTO lifts (number, lift) "
            "SELECT row_number() OVER (ORDER BY lift) - 1, lift FROM photos GROUP BY lift"
        )
        _note_doubts(plan)
        plan.note("grouped", "yes")


def _note_doubts(plan: Plan) -> None:
    alone = "SELECT lift FROM photos WHERE way = 'alone'"
    timed = "SELECT lift FROM photos WHERE way = 'time'"
    labels = "SELECT lift FROM photos WHERE label IS NOT NULL GROUP BY lift HAVING count(DISTINCT label) > 1"
    shared = "SELECT label FROM photos WHERE label IS NOT NULL GROUP BY label HAVING count(DISTINCT lift) > 1"
    many = f"SELECT lift FROM photos GROUP BY lift HAVING count(*) > {MANY_PHOTOS}"
    for doubt, lifts in (
        (ALONE, alone),
        (BY_TIME, timed),
        (TWO_LABELS, labels),
        (LABEL_ELSEWHERE, f"SELECT lift FROM photos WHERE label IN ({shared})"),
        (MANY, many),
    ):
        plan.run(f"UPDATE lifts SET doubts = doubts || ? || ' ' WHERE lift IN ({lifts})", (doubt,))


def _by_time(plan: Plan) -> None:
    """Photos in the order of the camera's clock; a label names all photos around it."""
    plan.run("CREATE TEMP TABLE placed (number INTEGER PRIMARY KEY, lift TEXT)")
    for cluster, label in _clusters(plan):
        begins = datetime.fromtimestamp(cluster[0][1], UTC)
        lift = label or f"taken {begins:%Y-%m-%d %H:%M:%S}, {cluster[0][4]}"
        plan.run_many("INSERT INTO placed VALUES (?, ?)", [(photo[0], lift) for photo in cluster if not photo[5]])
    plan.run(
        "UPDATE photos SET way = 'time', lift = (SELECT lift FROM placed WHERE placed.number = photos.number) "
        "WHERE number IN (SELECT number FROM placed)"
    )
    plan.run("DROP TABLE placed")


def _clusters(plan: Plan) -> Iterator[tuple[list[tuple], str | None]]:
    """Photos that follow each other closely, (number, seconds, latitude, longitude, name, lift), and their label."""
    photos = plan.run(
        "SELECT number, taken_s, latitude, longitude, name, CASE WHEN way = 'label' THEN lift END, label FROM photos "
        "WHERE taken_s IS NOT NULL AND (lift IS NULL OR way = 'label') ORDER BY taken_s, name"
    )
    cluster: list[tuple] = []
    named: str | None = None
    for *photo, label in photos:
        another = label is not None and named is not None and label != named
        if cluster and (another or _far(cluster[-1], photo) or len(cluster) >= COMMON_LABEL):
            yield cluster, named
            cluster, named = [], None
        cluster.append(tuple(photo))
        named = named or label
    if cluster:
        yield cluster, named


def _far(one: tuple, other: list) -> bool:
    if other[1] - one[1] > 60 * MINUTES_APART:
        return True
    places = (one[2], one[3]), (other[2], other[3])
    return None not in (*places[0], *places[1]) and metres_apart(*places) > METRES_APART
