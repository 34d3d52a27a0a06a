"""Records to be shown: a plain visit, one with everything, a false claim, a month, one withdrawn."""

from typing import Any

import msgspec

from service.pages.models import Beside, Page, Signed
from service.pages.rules import page_of
from service.wording.content import PartyStated

NOTE = "Gate closed again; please keep children off the flagged spot.\nBack on Friday."
PARTY = {
    "addresses": ["12 Sample Row"],
    "customer_name": "Alder Court School",
    "customer_note": NOTE,
    "worker_names": ["R. Example"],
    "told": [{"told_id": "t1", "who": "the caretaker", "how": "in person"}],
}
CLAIM = {
    "free": True,
    "from_at": "2026-05-13T17:00:00Z",
    "until_at": "2026-05-14T17:40:00Z",
    "visit_ids": ["v1", "v2"],
    "visits_stating_none": 1,
    "broken_by": [],
}
OIL = {
    "id": "o1",
    "method": "castor_oil",
    "method_class": "minimum_risk_pesticide",
    "product": "pellets",
    "amount": "2",
    "unit": "kg",
    "applied_at": "2026-05-14T16:00:00Z",
    "applied_by": "customer",
}
MOLE = {
    "species": "Scapanus latimanus",
    "sex": "male",
    "age_class": "adult",
    "fate": "dead_in_trap",
    "count": 1,
}
CAUTIONS = [
    {
        "code": "stand",
        "to": "everyone",
        "sentence": "Traps stand here: touch none.",
        "source": "common practice",
    },
    {"code": "catch", "to": "worker", "sentence": "Keep the safety catch on.", "source": "common practice"},
]


def a_set(number: int, **more: Any) -> dict[str, Any]:
    """A standing set that was looked at."""
    stated = {
        "set_id": f"s{number}",
        "done": ["checked", "reset"],
        "state": "standing",
        "mechanism": "scissor_jaw",
        "traps": 2,
        "latitude_e7": 375500001,
        "longitude_e7": -1224512345,
        "trap_nights": "3.5",
    }
    return stated | more


def signed(**content: Any) -> dict[str, Any]:
    """A signed record of a visit whose content has these members beside the usual."""
    plain = {
        "kind": "visit",
        "zone": "America/Los_Angeles",
        "region": "US-CA",
        "service_on": "2026-05-14",
        "arrived_local": "2026-05-14T10:00:00-07:00",
        "ended_local": "2026-05-14T10:40:00-07:00",
        "outcome": "done",
        "target": "Scapanus latimanus",
        "methods": [{"method": "scissor_jaw", "method_class": "mechanical_trap"}],
        "sets": [a_set(1), a_set(2)],
        "checks": [{"set_id": "s1", "finding": "undisturbed"}, {"set_id": "s2", "finding": "catch"}],
        "catches": [
            {
                "species": "Scapanus latimanus",
                "sex": "male",
                "age_class": "adult",
                "fate": "dead_in_trap",
                "count": 1,
            }
        ],
        "mounds_cleared": 3,
        "treatments_said": "none_stated",
        "pesticide_free_by_us": CLAIM,
        "pesticide_known_at_property": CLAIM,
        "statement": "No pesticide was used by us, and none is known; this rests on 2 visits, of which 1 states so.",
        "cautions": CAUTIONS,
        "next_due": [{"set_id": "s1", "due_at": "2026-05-16T07:00:00Z"}],
        "notice": "Local codes and licensed practice come first.",
    }
    record = {
        "number": "2026-000123",
        "version": 1,
        "replaces": None,
        "issued_at": "2026-05-14T18:02:11Z",
        "issuer": {"licences": [{"number": "L-1", "authority": "Sample Board"}], "permit": None},
        "refs": {"customer": "C-104", "property": "P-7"},
        "content": plain | content,
    }
    return {"record": record, "sha256": "ab" * 32, "signature": "eyJraWQiOiJrUHJLIn0..c2ln"}


RICH = signed(
    turf_figures={"saved": {"count": 3, "area_m2": "0.42"}, "opened": {"count": 1, "area_m2": None}},
    repairs=[{"how": "reseeded", "area_m2": "0.3", "seed_treated": False}],
    other_animals=[{"species": "Microtus californicus", "fate": "released_here", "count": 1}],
    told=[{"told_id": "t1", "told_at": "2026-05-14T17:30:00Z", "what": "traps_standing"}],
    treatments_said="listed",
    treatments=[OIL],
    pesticide_known_at_property=CLAIM | {"free": False, "broken_by": [OIL]},
    statement="No pesticide was used by us, but this is known: castor oil on 2026-05-14 by the customer.",
)
LONG = signed(sets=[a_set(number) for number in range(40)])
MONTH = signed(kind="month", month="2026-05", visits=[{}, {}], arrived_local=None, ended_local=None)
WITHDRAWN = {
    **signed(),
    "record": signed()["record"]
    | {"content": {"kind": "withdrawn", "service_on": "2026-05-14", "statement": "The visit was withdrawn."}},
}
SAMPLES = {"plain": signed(), "rich": RICH, "long": LONG, "month": MONTH, "withdrawn": WITHDRAWN}


def page(record: dict[str, Any], party: dict[str, Any] | None = PARTY, **beside: Any) -> Page:
    """Its page, with these persons beside it."""
    persons = None if party is None else msgspec.convert(party, PartyStated)
    shown = Beside(business="Greenway Trapping", party=persons, **beside)
    return page_of(msgspec.convert(record, Signed), shown)
