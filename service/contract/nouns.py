"""The nouns of the contract, each with the Struct that gives its JSON Schema."""

from collections.abc import Iterator
from typing import Any

from service.animals_taken.models import AnimalsTaken
from service.batches.models import BatchLine, BatchResult
from service.billed.models import Billed
from service.catches.models import CatchShown
from service.conflicts.models import ConflictShown
from service.customers.models import Customer
from service.deadlines.models import Deadline
from service.drafts.models import DraftShown, RecordDraft
from service.events.models import Delivery, Endpoint, Envelope, Event
from service.facts.models import Check, Clearing, Finding, Look, NewVisit, Repair, Survey, Tamping, Told
from service.identity.models import ApiKey, Business, HousePolicy, Worker
from service.incidents.models import Incident
from service.jobs.models import Job
from service.kernel.errors import Problem
from service.lawn.models import PatchShown
from service.methods.models import Method, RegisterShown
from service.months.models import MonthSummary
from service.packs.models import PackShown
from service.permits.models import Permit
from service.properties.models import Feature, Property, Tenure
from service.records.models import (
    MonthContent,
    Party,
    ServiceRecord,
    SignedRecord,
    VisitContent,
    WithdrawnContent,
)
from service.refusals.models import Refusal
from service.rounds.models import Round
from service.seals.models import MonthSeal, SignedSeal
from service.sets.models import SetShown, TrapShown
from service.signs.models import SignShown
from service.treatments.models import KnownTreatment
from service.upkeep.models import KnownUpkeep
from service.visits.models import Receipt, Visit

NOUNS: dict[str, Any] = {
    "animals-taken": AnimalsTaken,
    "api-key": ApiKey,
    "batch-line": BatchLine,
    "batch-result": BatchResult,
    "billed": Billed,
    "business": Business,
    "catch": CatchShown,
    "check": Check,
    "clearing": Clearing,
    "conflict": ConflictShown,
    "customer": Customer,
    "deadline": Deadline,
    "delivery": Delivery,
    "draft": DraftShown,
    "endpoint": Endpoint,
    "event": Envelope,
    "feature": Feature,
    "finding": Finding,
    "house-policy": HousePolicy,
    "incident": Incident,
    "job": Job,
    "lawn-patch": PatchShown,
    "look": Look,
    "method": Method,
    "method-register": RegisterShown,
    "month": MonthSummary,
    "month-seal": MonthSeal,
    "party": Party,
    "permit": Permit,
    "problem": Problem,
    "property": Property,
    "receipt": Receipt,
    "record-draft": RecordDraft,
    "record-of-month": MonthContent,
    "record-of-visit": VisitContent,
    "record-of-withdrawn-visit": WithdrawnContent,
    "recorded-visit": Visit,
    "refusal": Refusal,
    "repair": Repair,
    "rule-pack": PackShown,
    "round": Round,
    "service-record": ServiceRecord,
    "signed-month-seal": SignedSeal,
    "signed-service-record": SignedRecord,
    "set": SetShown,
    "sign": SignShown,
    "survey": Survey,
    "tamping": Tamping,
    "tenure": Tenure,
    "told": Told,
    "trap": TrapShown,
    "treatment": KnownTreatment,
    "upkeep": KnownUpkeep,
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
