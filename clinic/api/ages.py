"""The door to a child's ages."""

from typing import Any
from uuid import UUID

from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from clinic.api.examples import example
from clinic.api.fields import Day, StrictInput, word
from clinic.api.views import ApiView
from clinic.rules.access import Action
from clinic.rules.age_words import age_sentence
from clinic.rules.ages import Age, AgeMethod, Correction
from clinic.selectors import ages as selectors
from clinic.selectors import clients as client_selectors


@example({"years": 1, "months": 11, "days": 29, "text": "1;11;29"})
class AgeRecord(serializers.Serializer):
    """Completed years, months and days."""

    years = serializers.IntegerField()
    months = serializers.IntegerField()
    days = serializers.IntegerField()
    text = serializers.CharField()


@example(
    {
        "client": "0198a1f0-0000-7000-8000-0000000000c1",
        "on": "2026-02-27",
        "method": "calendar",
        "chronological": {"years": 1, "months": 11, "days": 29, "text": "1;11;29"},
        "correction": "applies",
        "corrected": {"years": 1, "months": 9, "days": 25, "text": "1;9;25"},
        "corrected_birth_date": "2024-05-02",
        "correction_stops_on": "2026-02-28",
        "sentence": "On 2026-02-27 the child is 1 year, 11 months and 29 days old, counted by the calendar. Corrected "
        "for the early birth, from 2024-05-02, it is 1 year, 9 months and 25 days, until 2026-02-28.",
    }
)
class AgesRecord(serializers.Serializer):
    """A child's ages on a day, with the method that they were counted by."""

    client = serializers.UUIDField()
    on = serializers.DateField()
    method = word(AgeMethod)
    chronological = AgeRecord()
    correction = word(Correction)
    corrected = AgeRecord(allow_null=True)
    corrected_birth_date = serializers.DateField(allow_null=True)
    correction_stops_on = serializers.DateField(allow_null=True)
    sentence = serializers.CharField()


@example({"on": "2026-02-27", "method": "calendar"})
class AgesFilter(StrictInput):
    on = Day(required=False, help_text="Today in the organization, unless another day is asked for")
    method = word(AgeMethod, required=False, help_text="calendar, unless another is asked for")


class Ages(ApiView):
    """A child's chronological and corrected age on a day.

    An age is corrected for a birth before 37 weeks, up to the organization's cut-off; the method is named.
    """

    resource = "clients"
    act = "ages"
    actions = {"GET": Action.SEE_AGES}
    outputs = {"GET": AgesRecord}
    filters = AgesFilter

    def get(self, request: Request, id: UUID) -> Response:
        asked = self.asked()
        on = asked.get("on", self.actor.today)
        method = AgeMethod(asked.get("method", AgeMethod.CALENDAR))
        client = client_selectors.client_for(self.actor, id, Action.SEE_AGES)
        self.touch(client.pk)
        report = selectors.ages_of(self.actor, client, on=on, method=method)
        told = {
            "client": client.pk,
            "on": on,
            "method": report.method.value,
            "chronological": _shown(report.chronological),
            "correction": report.correction.value,
            "corrected": _shown(report.corrected) if report.corrected else None,
            "corrected_birth_date": report.corrected_birth_date,
            "correction_stops_on": report.correction_stops_on,
            "sentence": age_sentence(report, on=on),
        }
        return self.show(AgesRecord(told).data)


def _shown(age: Age) -> dict[str, Any]:
    return {**age._asdict(), "text": str(age)}
