"""What follows from what is stated of one set or sign, and how it differs from the book. Pure."""

from uuid import UUID

from msgspec.structs import asdict

from service.deadlines.models import Attempt, Derived, Kind, Place
from service.deadlines.rules import deadline_id
from service.replay.gathering import bounds_at, set_facts, sign_facts
from service.replay.models import Book, Entered
from service.sets.rules import derive as derive_set
from service.sets.rules import home_of
from service.signs.rules import derive as derive_sign

COMPARED = tuple(Derived.__struct_fields__)


def derived(book: Book, kinds: tuple[Kind, ...], subject_id: UUID) -> dict[UUID, Derived]:
    """Every deadline of a set or a sign by its id, from what is stated alone."""
    if "check" in kinds:
        facts = set_facts(book, subject_id)
        home = home_of(facts)
        found = derive_set(facts, None if home is None else place_of(book, home)).deadlines
    else:
        places = {id_: place_of(book, id_) for id_ in book.sites}
        bounds = {id_: list(bounds_at(book, id_)) for id_ in book.sites}
        found = derive_sign(sign_facts(book, subject_id), bounds, places).deadlines
    return by_id(book.business_id, found)


def by_id(business_id: UUID, found: list[Derived]) -> dict[UUID, Derived]:
    """Deadlines by the ids that anybody can work out."""
    return {deadline_id(business_id, one.kind, one.subject_id, one.starting_fact_id): one for one in found}


def differing(entered: Entered, again: Derived | None) -> list[str]:
    """The members in which the book differs from the replay; none where they agree."""
    if again is None:
        return [] if entered.state == "withdrawn" else ["state"]
    return [name for name in COMPARED if getattr(entered, name) != getattr(again, name)]


def place_of(book: Book, property_id: UUID) -> Place:
    """A property as the rules take it, with every visit there that met a locked gate."""
    attempts = [
        Attempt(visit_id=one.id, arrived_at=one.body.arrived_at, reason=one.body.no_access_reason)
        for one in book.visits
        if one.body.property_id == property_id and one.body.outcome == "no_access"
    ]
    attempts.sort(key=lambda one: (one.arrived_at, one.visit_id.bytes))
    members = asdict(book.sites[property_id].place) | {"attempts": attempts}
    return Place(**members)
