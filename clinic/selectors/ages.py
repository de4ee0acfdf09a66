"""A child's ages, by the terms of her organization."""

from datetime import date

from clinic.errors import InvalidField
from clinic.models import Client
from clinic.rules.access import Actor
from clinic.rules.ages import AgeError, AgeMethod, AgeReport, age_report
from clinic.selectors.organization import organization_of


def ages_of(actor: Actor, client: Client, *, on: date, method: AgeMethod) -> AgeReport:
    """Both ages on a day; a day before the birth is refused."""
    try:
        return age_report(
            client.birth_date,
            on,
            gestation_weeks=client.gestation_weeks,
            gestation_days=client.gestation_days,
            cut_off_months=organization_of(actor).corrected_age_until_months,
            method=method,
        )
    except AgeError as exc:
        raise InvalidField("/on", "The child was not born by then", code=exc.code.value) from exc
