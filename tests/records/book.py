"""A small book in memory for the content of records: one property in Los Angeles, May 2026."""

from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import UUID

from service.claims.models import Applied, Presence
from service.identity.models import HousePolicy, Licence
from service.records.facts import Caught, Head, SetCheck, SetPlacing, SoilCleared, VisitFacts

PROPERTY, WORKER, MATE, CUSTOMER = (UUID(int=0x0198F3A0_0000_7000_8000 << 48 | n) for n in range(1, 5))
TARGET = "Scapanus latimanus"


def an_id(number: int) -> UUID:
    return UUID(int=0x0198F3A0_0000_7000_8000 << 48 | number)


def la(day: int, hour: int, minute: int = 0) -> datetime:
    """An instant of May 2026 by the clock on a wall in Los Angeles, seven hours behind UTC."""
    return datetime(2026, 5, day, tzinfo=UTC) + timedelta(hours=hour + 7, minutes=minute)


def visit(number: int, arrived_at: datetime, minutes: int, *, states_none: bool = False) -> Presence:
    return Presence(
        id=an_id(number),
        arrived_at=arrived_at,
        ended_at=arrived_at + timedelta(minutes=minutes),
        treatments_none=states_none,
    )


def castor_oil(applied_at: datetime, **more: Any) -> Applied:
    stated = {
        "id": an_id(900),
        "noun": "treatment",
        "method": "castor_oil",
        "applied_at": applied_at,
        "applied_by": "customer",
    }
    return Applied(**stated | more)


def head_of(one: Presence, **more: Any) -> Head:
    stated = {
        "id": one.id,
        "property_id": PROPERTY,
        "worker_id": WORKER,
        "with_worker_ids": [],
        "arrived_at": one.arrived_at,
        "ended_at": one.ended_at,
        "outcome": "done",
        "treatments_none": one.treatments_none,
        "customer_note": "Gate closed again.",
        "withdrawn_at": None,
        "zone": "America/Los_Angeles",
        "region": "US-CA",
        "property_ref": "P-7",
        "address": "12 Sample Row",
        "job_id": an_id(700),
        "target": TARGET,
        "permit": None,
        "business_zone": "America/Los_Angeles",
        "licences": [Licence(number="L-1", authority="Sample Board", region="US-CA")],
        "house_policies": [HousePolicy(calendar_days=1)],
        "hazards": (),
        "paving_undermined": False,
    }
    return Head(**stated | more)


def facts_of(
    one: Presence, visits: list[Presence], applied: list[Applied] | None = None, **more: Any
) -> VisitFacts:
    """The facts of the record of `one`, with the property's visits and treatments."""
    lists = {
        "placings": [],
        "checks": [],
        "caught": [],
        "clearings": [],
        "repairs": [],
        "told": [],
        "head": head_of(one),
    }
    return VisitFacts(
        **{"customer_id": CUSTOMER, "visits": visits, "applied": applied or [], **lists, **more}
    )


def a_set(number: int, placed: Presence, placed_at: datetime, **more: Any) -> SetPlacing:
    stated = {
        "set_id": an_id(number),
        "visit_id": placed.id,
        "property_id": PROPERTY,
        "placed_at": placed_at,
        "mechanism": "scissor_jaw",
        "trap_nos": [1, 2],
        "target": None,
        "depth_mm": None,
        "foot_traffic": None,
        "position": {"type": "Point", "coordinates": [-122.4512345, 37.5500001]},
    }
    return SetPlacing(**stated | more)


def a_check(number: int, set_id: UUID, looked: Presence, at: datetime, **more: Any) -> SetCheck:
    stated = {
        "id": an_id(number),
        "set_id": set_id,
        "visit_id": looked.id,
        "property_id": PROPERTY,
        "checked_at": at,
        "finding": "undisturbed",
        "action": "left",
        "ground_searched": None,
    }
    return SetCheck(**stated | more)


def an_animal(number: int, species: str = TARGET, **more: Any) -> Caught:
    stated = {"id": an_id(number), "set_id": None, "species": species, "sex": None, "age_class": None}
    return Caught(**stated | {"fate": "dead_in_trap"} | more)


def soil(number: int, sign_id: UUID, by: Presence, at: datetime, **more: Any) -> SoilCleared:
    stated = {
        "id": an_id(number),
        "visit_id": by.id,
        "sign_id": sign_id,
        "cleared_at": at,
        "count": None,
        "by_us": True,
        "sign_count": 5,
        "is_mound": True,
    }
    return SoilCleared(**stated | more)
