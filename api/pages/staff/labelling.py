"""Where a technician says what one part of a photo is: its box, its values, what the photo hides, and how they know."""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass

from fastapi import APIRouter, Request, Response
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import RedirectResponse
from starlette.exceptions import HTTPException

from api.cases.events import LABEL, CaseEvent
from api.cases.learned.labels import HOW, differ, places_of, words_on
from api.cases.learned.stating import MOST_PARTS, label_said
from api.cases.photos import CasePhoto, picture_of
from api.cases.store import Said
from api.cases.view import CaseView
from api.cases.words import HOW_WORDS, KIND_WORDS, label_words, who_words
from api.http.sessions import Session, staff
from api.pages.forms import version_of
from api.pages.languages import Language
from api.pages.staff.screens import show_staff, staff_form, staff_language, staff_view
from api.state import state_of
from classifier.errors import InputError
from classifier.taxonomy import CONCEPTS_OF, NOT_VISIBLE, SUBJECTS
from guidance.catalogue.catalogue import Catalogue
from guidance.catalogue.rows import UNSURE

SIDES = ("left", "top", "right", "bottom")
WHOLE = (0.1, 0.1, 0.9, 0.9)
"""Where the box of a part stands that nobody has drawn yet."""

router = APIRouter(prefix="/staff", include_in_schema=False)
"""Included once for each language, under its tag."""


@dataclass(frozen=True)
class Drawn:
    """One part as the form shows it: sides in percent of the upright photo, values, and what the photo hides."""

    place: int
    kind: str
    sides: dict[str, str]
    values: dict[str, str]
    hidden: tuple[str, ...]
    how: str


@router.get("/cases/{case_id}/photos/{photo_id}/label")
def label_page(request: Request, case_id: str, photo_id: str, place: int = 0, saved: str = "") -> Response:
    """One part of one photo."""
    session = staff(request)
    seen, photo = _photo(request, session, case_id, photo_id)
    told = staff_language(request).say("What you said is recorded.") if saved else ""
    return _show(request, session, seen, photo, _known(seen.live, photo, place), told)


@router.post("/cases/{case_id}/photos/{photo_id}/label")
async def label(request: Request, case_id: str, photo_id: str) -> Response:
    """Record what somebody says of a part, beside what others say at the same time."""
    session, form = await staff_form(request)
    return await run_in_threadpool(_label, request, session, case_id, photo_id, form)


def disputed(seen: CaseView) -> list[tuple[int, str, int]]:
    """Every part of which people say different things: number and id of its photo, and its place there."""
    return [
        (number, photo.id, place)
        for number, photo in enumerate(seen.photos, 1)
        for place in places_of(seen.live, photo)
        if differ(words_on(seen.live, photo.id, place))
    ]


def _label(request: Request, session: Session, case_id: str, photo_id: str, form: dict[str, str]) -> Response:
    seen, photo = _photo(request, session, case_id, photo_id)
    store = state_of(request).cases
    drawn = _as_sent(form, _number(form.get("place", "")))
    try:
        place = drawn.place if drawn.place <= len(places_of(seen.live, photo)) else -1
        sides = [drawn.sides[side] for side in SIDES]
        said = label_said(photo.id, place, drawn.kind, sides, drawn.values, drawn.hidden, drawn.how)
    except InputError as error:
        return _show(request, session, seen, photo, drawn, staff_language(request).said(error.message), 422)
    said["seen"] = min(version_of(form), seen.row.version)
    sent = hashlib.sha256(repr((session.actor, sorted(form.items()))).encode()).hexdigest()[:32]
    store.add_once(case_id, Said(LABEL, {**said, "sent": sent}, seen.summary()), session.who(request))
    return RedirectResponse(f"label?place={drawn.place}&saved=yes", 303)


def _number(came: str) -> int:
    """A place in a photo; -1, which none has, for anything else."""
    return int(came) if came.isascii() and came.isdecimal() and len(came) < 3 else -1


def _photo(request: Request, session: Session, case_id: str, photo_id: str) -> tuple[CaseView, CasePhoto]:
    """A photo that may be learned from and is there to be looked at."""
    state = state_of(request)
    seen = staff_view(request, session, state.cases.by_id(case_id))
    photo = next((photo for photo in seen.photos if photo.id == photo_id), None)
    if photo is None or photo_id not in seen.may_learn or not picture_of(state.cases, state.shelf, case_id, photo_id):
        raise HTTPException(404, "This picture is not kept any more.")
    return seen, photo


def _known(live: Sequence[CaseEvent], photo: CasePhoto, place: int) -> Drawn:
    """What the form begins with: the last label of this part, or what was read in it."""
    place = min(max(place, 0), MOST_PARTS - 1, len(places_of(live, photo)))
    words = words_on(live, photo.id, place)
    if words:
        said = words[-1].said
        return Drawn(place, said["kind"], _percent(said["box"]), said["values"], tuple(said["hidden"]), said["how"])
    if place >= len(photo.reading.subjects):
        return Drawn(place, SUBJECTS[0], _percent(WHOLE), {}, (), HOW[-1])
    subject = photo.reading.subjects[place]
    best = {c: read.likeliest for c, read in subject.concepts.items()}
    hidden = tuple(concept for concept, value in best.items() if value == NOT_VISIBLE)
    seen = {concept: value for concept, value in best.items() if value != NOT_VISIBLE}
    return Drawn(place, subject.kind, _percent(subject.box), seen, hidden, HOW[-1])


def _percent(box: Sequence[float]) -> dict[str, str]:
    return {side: f"{100 * value:.1f}" for side, value in zip(SIDES, box, strict=True)}


def _as_sent(form: dict[str, str], place: int) -> Drawn:
    kind = form.get("kind", "")
    concepts = CONCEPTS_OF.get(kind, {})
    return Drawn(
        place=place,
        kind=kind,
        sides={side: form.get(side, "").strip() for side in SIDES},
        values={concept: form.get(f"value-{concept}", UNSURE) for concept in concepts},
        hidden=tuple(concept for concept in concepts if form.get(f"hidden-{concept}") == "yes"),
        how=form.get("how", ""),
    )


def _show(
    request: Request, session: Session, seen: CaseView, photo: CasePhoto, drawn: Drawn, told: str, status: int = 200
) -> Response:
    language, catalogue = staff_language(request), state_of(request).resources.catalogue
    words = words_on(seen.live, photo.id, drawn.place)
    case = f"/{language.tag}/staff/cases/{seen.row.id}"
    values = {
        "view": seen,
        "photo": photo,
        "drawn": drawn,
        "sides": _sides(language),
        "kinds": KIND_WORDS,
        "concepts": {k: [(c, catalogue.concepts[c]) for c in CONCEPTS_OF[k]] for k in SUBJECTS if CONCEPTS_OF[k]},
        "how_words": HOW_WORDS,
        "places": places_of(seen.live, photo),
        "another": min(len(places_of(seen.live, photo)), MOST_PARTS - 1),
        "words": [_in_words(event, catalogue, language) for event in words],
        "differ": differ(words),
        "told": told,
        "case": case,
        "here": f"{case}/photos/{photo.id}",
        "height": round(1000 * photo.reading.height / photo.reading.width),
    }
    return show_staff(request, "staff/label.html", session, status=status, **values)


def _sides(language: Language) -> dict[str, str]:
    return {
        "left": language.say("Left side, %"),
        "top": language.say("Upper side, %"),
        "right": language.say("Right side, %"),
        "bottom": language.say("Lower side, %"),
    }


def _in_words(event: CaseEvent, catalogue: Catalogue, language: Language) -> str:
    return f"{who_words(event.role, event.actor, language)}: {label_words(event, catalogue, language)}"
