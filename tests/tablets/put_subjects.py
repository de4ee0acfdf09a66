"""For every PUT: what it takes for a row that is not there yet, and what else might have been said of it."""

from collections.abc import Callable
from datetime import date
from typing import Any

from clinic import models as c
from clinic.api.examples import EXAMPLES
from tests.architecture.clinic_of_nine import Clinic
from tests.architecture.doors import every_door
from tests.architecture.subjects import BODIES, booked, filled, signed
from tests.architecture.world import LATER, NOON, update

# What the documented example says otherwise, to differ from it in content.
OTHERWISE: dict[str, dict[str, Any]] = {
    "addenda/<uuid:id>/": {"text": "It was the third trial."},
    "care-team/<uuid:id>/": {"ends_on": "2027-01-31"},
    "certifications/<uuid:id>/": {"sent_on": "2026-03-03"},
    "clients/<uuid:id>/": {"preferred_name": "Mira"},
    "consents/<uuid:id>/": {"ends_on": "2026-12-31"},
    "contact-authorities/<uuid:id>/": {"ends_on": "2027-01-31"},
    "contacts/<uuid:id>/": {"phone": "+1 312 555 0143"},
    "contracted-hours/<uuid:id>/": {"ends_on": "2027-01-31"},
    "court-orders/<uuid:id>/": {"reference": "Order of 15 September 2026"},
    "credentials/<uuid:id>/": {"expires_on": "2027-12-31"},
    "disclosures/<uuid:id>/": {"purpose": "Ordered for the hearing of 27 March"},
    "episode-diagnoses/<uuid:id>/": {"rank": 2},
    "episodes/<uuid:id>/": {"payer": "Another fund"},
    "goals/<uuid:id>/": {"due_on": "2026-07-31"},
    "note-templates/<uuid:id>/": {"name": "Dressing, standing"},
    "notes/<uuid:id>/": {"plan": "Go on with the small buttons."},
    "plan-periods/<uuid:id>/": {"ends_on": "2026-05-28"},
    "precautions/<uuid:id>/": {"text": "No inversion until cleared"},
    "reporting-periods/<uuid:id>/": {"ends_on": "2026-11-20"},
    "rooms/<uuid:id>/": {"places": 3},
    "scales/<uuid:id>/": {"name": "Accepting what is new"},
    "sites/<uuid:id>/": {"name": "Alder Yard, south wing"},
    "staff/<uuid:id>/": {"printed_name": "Ana Brightwater"},
    "staff-roles/<uuid:id>/": {"ends_on": "2024-12-31"},
    "supervisions/<uuid:id>/": {"ends_on": "2027-01-31"},
    "supervisory-contacts/<uuid:id>/": {"minutes": 35},
    "visits/<uuid:id>/": {"place": "In the garden"},
}


# What must stand before such a row can be made.
BEFORE: dict[str, Callable[[Clinic], Any]] = {
    "addenda/<uuid:id>/": lambda clinic: cosigned_note(clinic),
    "consents/<uuid:id>/": lambda clinic: clinic.raw.row(c.ContactAuthority),
    "contact-authorities/<uuid:id>/": lambda clinic: clinic.raw.row(c.ContactAuthority),
    "court-orders/<uuid:id>/": lambda clinic: clinic.raw.row(c.ContactAuthority),
    "episode-diagnoses/<uuid:id>/": lambda clinic: make_code(),
    "notes/<uuid:id>/": lambda clinic: visited(clinic),
}
# What the documented example says otherwise, to stand beside the rows that the clinic has already.
BESIDE: dict[str, Callable[[Clinic], dict[str, Any]]] = {
    "care-team/<uuid:id>/": lambda clinic: {"staff": str(clinic.people["off_team"].pk)},
    "consents/<uuid:id>/": lambda clinic: {"starts_on": "2026-03-03"},
    "contact-authorities/<uuid:id>/": lambda clinic: {"kind": "pick_up"},
    "episodes/<uuid:id>/": lambda clinic: {"setting": "school"},
    "notes/<uuid:id>/": lambda clinic: {"measurements": []},
    "staff-roles/<uuid:id>/": lambda clinic: {"role": "front_desk"},
}


def cosigned_note(clinic: Clinic) -> Any:
    document = signed(clinic, "one")
    update(c.Document, document, state="cosigned", cosign_due_at=None)


def make_code() -> None:
    c.DiagnosisCode.objects.create(code="F82", title="F82", billable=True, valid_from=date(2015, 10, 1))


def visited(clinic: Clinic) -> None:
    """A part of a visit for which her assistant is booked, without a note yet."""
    booked(status="fulfilled", minutes=45, arrived_at=NOON, left_at=LATER)(clinic, "one")


def new_body(clinic: Clinic, route: str) -> dict[str, Any]:
    """The documented example with the clinic's rows, as somebody sends it who makes one more."""
    BEFORE.get(route, lambda clinic: None)(clinic)
    form = every_door()[route].inputs["PUT"]
    body = filled(EXAMPLES[form.__name__], clinic, "one") | BODIES.get(f"PUT {route}", {})
    return body | BESIDE.get(route, lambda clinic: {})(clinic)
