"""The routes of the bench, in one router."""

from fastapi import APIRouter

from api.pages.staff.bench import basket, job_sheet, meter, photos, plate

router = APIRouter()
"""Included once for each language, under its tag."""

for page in (photos, meter, plate, basket, job_sheet):
    router.include_router(page.router)
