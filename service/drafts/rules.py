"""Why a record is not issued yet, and until when. Pure."""

from datetime import datetime
from zoneinfo import ZoneInfo

from service.drafts.models import DraftShown, Reason, Waiting
from service.kernel.days import local_date


def shown(waiting: Waiting, now: datetime) -> DraftShown:
    """The draft with its reason and the sentence that says it."""
    reason, sentence = _why(waiting, now)
    return DraftShown(
        visit_id=waiting.visit_id,
        property_id=waiting.property_id,
        service_on=local_date(waiting.arrived_at, ZoneInfo(waiting.zone)),
        reason=reason,
        due_at=None if reason == "waits_for_office" else waiting.run_at,
        sentence=sentence,
    )


def _why(waiting: Waiting, now: datetime) -> tuple[Reason, str]:
    if waiting.by_office or waiting.run_at is None:
        return "waits_for_office", "Waits for the office; POST /v1/service-records issues it."
    if waiting.run_at > now and waiting.attempts == 0:
        until = f"{waiting.run_at:%Y-%m-%dT%H:%M:%SZ}"
        return (
            "held",
            f"Held until {until}, as the business has set it; POST /v1/service-records issues it now.",
        )
    return "due", "Due now; the clock is at it."
