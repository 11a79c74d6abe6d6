"""The job sheet as one document for another program: the lift, what was found, and what is to be ordered."""

from dataclasses import asdict
from typing import Any

from api.cases.basket import Basket
from api.cases.summary import QueueRow
from api.cases.view import PLATE, CaseView
from guidance.catalogue.catalogue import Catalogue
from guidance.parts.fitting import fits_of

SCHEMA_VERSION = "1"


def job_document(view: CaseView, state: QueueRow, basket: Basket, catalogue: Catalogue) -> dict[str, Any]:
    """The sheet, ready for JSON. Readings carry their units in their names; an open part carries no number."""
    found, verdict = view.identification, view.help.electricity
    plates = [event.said for event in view.live if event.kind == PLATE]
    taken = [event.said["readings"] for event in view.live if event.kind == "readings"]
    return {
        "schema_version": SCHEMA_VERSION,
        "case": view.row.code,
        "version": view.row.version,
        "catalogue": view.help.catalogue.model_dump(),
        "person_in_sling": state.occupied,
        "trouble": state.trouble,
        "status": state.status,
        "control_box": found.control_box.model_dump(mode="json") if found else None,
        "actuator": found.actuator.model_dump(mode="json") if found else None,
        "plate": dict(plates[-1]) if plates else None,
        "readings": taken[-1] if taken else None,
        "battery": verdict.model_dump(mode="json") if verdict else None,
        "probably_at_fault": [{"component": c.id, "probability": c.probability} for c in view.help.components],
        "parts": [
            {
                "number": None if fit.verdict == "not_sure_yet" else fit.part.number,
                "name": fit.part.name,
                "component": fit.part.component,
                "fit": fit.verdict,
                "supplied_instead": fit.supplied.number if fit.supplied and fit.verdict != "not_sure_yet" else None,
            }
            for fit in fits_of(catalogue, view.lift)
        ],
        "order": {
            "ready": basket.ready,
            "lines": [
                {"quantity": row.quantity, "number": row.number, "name": row.name, "standing": row.standing}
                for row in basket.lines
            ],
            "confirm_before_order": [asdict(row) for row in basket.confirm],
            "mixed_families": list(basket.mixed),
        },
    }
