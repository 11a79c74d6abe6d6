"""The basket of a case: parts put in, changed, exchanged for their alternative, confirmed, sent back; as a file."""

from fastapi import APIRouter, Request, Response
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import RedirectResponse

from api.cases.basket import basket_csv, basket_of, came_back, checked, kept_in, ordered
from api.cases.events import BASKET, CHECKED, RETURNED
from api.http.sessions import Session, staff
from api.pages.staff.bench.recording import record, refuse
from api.pages.staff.case_screen import show_case
from api.pages.staff.screens import as_file, staff_form, staff_language, staff_view
from api.state import state_of
from classifier.errors import InputError
from guidance.parts.parts import as_csv

router = APIRouter(prefix="/staff", include_in_schema=False)


@router.post("/cases/{case_id}/basket")
async def put_in_basket(request: Request, case_id: str) -> Response:
    """So many of one part are to be ordered, `instead` of another one if that is named; none takes it out."""
    session, form = await staff_form(request)
    return await run_in_threadpool(_put_in_basket, request, session, case_id, form)


@router.post("/cases/{case_id}/checked")
async def check_before_order(request: Request, case_id: str) -> Response:
    """One sentence of what is confirmed before ordering holds, or does not."""
    session, form = await staff_form(request)
    return await run_in_threadpool(_check_before_order, request, session, case_id, form)


@router.post("/cases/{case_id}/returned")
async def part_came_back(request: Request, case_id: str) -> Response:
    """A part of the basket came back: it did not fit this lift."""
    session, form = await staff_form(request)
    return await run_in_threadpool(_part_came_back, request, session, case_id, form)


@router.get("/cases/{case_id}/parts.csv")
def parts_csv(request: Request, case_id: str) -> Response:
    """The parts of the likeliest faults, one a line."""
    session = staff(request)
    row = state_of(request).cases.by_id(case_id)
    return as_file(as_csv(staff_view(request, session, row).help.parts), "text/csv", f"parts-{row.code}.csv")


@router.get("/cases/{case_id}/basket.csv")
def basket_as_csv(request: Request, case_id: str) -> Response:
    """The basket, one part a line."""
    session, state = staff(request), state_of(request)
    row = state.cases.by_id(case_id)
    basket = basket_of(staff_view(request, session, row), state.resources.catalogue)
    return as_file(basket_csv(basket), "text/csv", f"basket-{row.code}.csv")


def _put_in_basket(request: Request, session: Session, case_id: str, form: dict[str, str]) -> Response:
    state = state_of(request)
    row = state.cases.by_id(case_id)
    part, quantity, instead = (form.get(name, "") for name in ("part", "quantity", "instead"))
    field = f"quantity-{part}"
    seen = staff_view(request, session, row)
    try:
        said = ordered(seen, state.resources.catalogue, part, quantity, staff_language(request), instead)
    except InputError as error:
        if part not in state.resources.catalogue.parts_by_id and part not in kept_in(seen.live):
            return show_case(request, session, case_id, 422, changed=error.message)
        return refuse(request, session, case_id, field, error.message, {field: quantity})
    if said is None:  # the basket says so already, as after a double tap
        return RedirectResponse(f"../{case_id}#basket", 303)
    return record(request, session, case_id, BASKET, said, {**form, "at": "basket"}, {field: quantity})


def _check_before_order(request: Request, session: Session, case_id: str, form: dict[str, str]) -> Response:
    state = state_of(request)
    seen = staff_view(request, session, state.cases.by_id(case_id))
    said = checked(seen, state.resources.catalogue, form.get("id", ""), form.get("answer", ""))
    if said is None:
        words = "This is not on the list of what to confirm for the parts in the basket. Nothing changed."
        return show_case(request, session, case_id, 422, changed=staff_language(request).say(words))
    return record(request, session, case_id, CHECKED, said, {**form, "at": "basket"}, {})


def _part_came_back(request: Request, session: Session, case_id: str, form: dict[str, str]) -> Response:
    state = state_of(request)
    seen = staff_view(request, session, state.cases.by_id(case_id))
    said = came_back(seen, state.resources.catalogue, form.get("part", ""))
    if said is None:
        words = "This part is not in the basket. Nothing changed."
        return show_case(request, session, case_id, 422, changed=staff_language(request).say(words))
    answer = record(request, session, case_id, RETURNED, said, {**form, "at": "basket"}, {})
    state.learn()
    return answer
