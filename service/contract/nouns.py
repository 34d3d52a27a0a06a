"""The nouns of the contract, each with the Struct that gives its JSON Schema."""

from collections.abc import Iterator
from typing import Any

from service.batches.models import BatchLine, BatchResult
from service.conflicts.models import Conflict
from service.customers.models import Customer
from service.deadlines.models import Deadline
from service.events.models import Delivery, Endpoint, Envelope, Event
from service.facts.models import (
    Catch,
    Check,
    Clearing,
    Look,
    NewVisit,
    Repair,
    Set,
    Sign,
    Survey,
    Tamping,
    Told,
    Treatment,
    Upkeep,
)
from service.identity.models import ApiKey, Business, HousePolicy, Worker
from service.incidents.models import Incident
from service.jobs.models import Job
from service.kernel.errors import Problem
from service.permits.models import Permit
from service.properties.models import Feature, Property, Tenure
from service.refusals.models import Refusal
from service.visits.models import Receipt

NOUNS: dict[str, Any] = {
    "api-key": ApiKey,
    "batch-line": BatchLine,
    "batch-result": BatchResult,
    "business": Business,
    "catch": Catch,
    "check": Check,
    "clearing": Clearing,
    "conflict": Conflict,
    "customer": Customer,
    "deadline": Deadline,
    "delivery": Delivery,
    "endpoint": Endpoint,
    "event": Envelope,
    "feature": Feature,
    "house-policy": HousePolicy,
    "incident": Incident,
    "job": Job,
    "look": Look,
    "permit": Permit,
    "problem": Problem,
    "property": Property,
    "receipt": Receipt,
    "refusal": Refusal,
    "repair": Repair,
    "set": Set,
    "sign": Sign,
    "survey": Survey,
    "tamping": Tamping,
    "tenure": Tenure,
    "told": Told,
    "treatment": Treatment,
    "upkeep": Upkeep,
    "visit": NewVisit,
    "worker": Worker,
}


def events() -> dict[str, type[Event]]:
    """Every event type with its Struct: all that is told derives from Event."""
    found = {one.event_type: one for one in _derived(Event) if hasattr(one, "event_type")}
    return dict(sorted(found.items()))


def _derived(of: type[Event]) -> Iterator[type[Event]]:
    for one in of.__subclasses__():
        yield one
        yield from _derived(one)
