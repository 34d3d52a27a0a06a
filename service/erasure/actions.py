"""Erasing a person in one transaction of the business, so that nothing issued at the same time keeps a name."""

from collections.abc import Callable, Sequence
from uuid import UUID
from zoneinfo import ZoneInfo

from msgspec import Struct

from service.customers.door import CUSTOMER
from service.erasure.days import Homes, is_visit_of, may_be_history_of, may_be_refused_of
from service.erasure.models import (
    Body,
    CustomerErased,
    Erasure,
    History,
    Home,
    Place,
    RefusedBody,
    VisitVersion,
    WorkerErased,
)
from service.erasure.rules import kept_until
from service.events.outbox import Entry
from service.facts.texts import GONE, redacted, redacted_bytes
from service.identity.door import BUSINESS, WORKER
from service.kernel.days import local_date
from service.kernel.db import Db
from service.kernel.errors import Refused
from service.kernel.sql import Queries
from service.kernel.values import Erased
from service.stated import door as stated
from service.work import door as work
from service.work.models import PROPERTY_ANEW

sql = Queries(__package__)
# So many bodies are read at once.
PORTION = 500


class About(Struct, frozen=True, kw_only=True):
    """What a customer is spoken of in: the properties held, those that nobody else ever held or nobody after, and the
    visits of the tenures with the versions that state a day in one.

    `visit_ids`: as the visits are now; `spoken_ids`: in any version; `whole_ids`: in every version.
    """

    homes: list[Home]
    theirs: list[UUID]
    last_held: list[UUID]
    versions: list[VisitVersion]
    visit_ids: list[UUID]
    spoken_ids: list[UUID]
    whole_ids: list[UUID]

    @property
    def by_id(self) -> dict[UUID, Home]:
        """The properties held."""
        return {home.property_id: home for home in self.homes}


# A worker is spoken of in the own row alone, beside what bears the worker's id.
NOWHERE = About(homes=[], theirs=[], last_held=[], versions=[], visit_ids=[], spoken_ids=[], whole_ids=[])


async def about(db: Db, business_id: UUID, customer_id: UUID) -> About:
    """Where a customer may be named."""
    homes = await db.many(Home, sql.list_homes, business_id=business_id, customer_id=customer_id)
    by_id = {home.property_id: home for home in homes}
    found = await db.many(
        VisitVersion, sql.list_visit_versions, business_id=business_id, property_ids=list(by_id)
    )
    versions = [one for one in found if is_visit_of(one, by_id)]
    spoken = {one.id for one in versions}
    return About(
        homes=homes,
        theirs=[one.property_id for one in homes if one.is_theirs],
        last_held=[one.property_id for one in homes if one.is_last],
        versions=versions,
        visit_ids=[one.id for one in versions if one.is_last],
        spoken_ids=sorted(spoken),
        whole_ids=sorted(spoken - {one.id for one in found if not is_visit_of(one, by_id)}),
    )


async def refusals(db: Db, business_id: UUID, known: About) -> list[RefusedBody]:
    """Bodies that were refused and are kept, and may be of the customer's days."""
    found = await db.many(
        RefusedBody,
        sql.list_refused,
        business_id=business_id,
        property_ids=[one.property_id for one in known.homes],
        theirs=known.theirs,
        visit_ids=known.visit_ids,
    )
    homes = known.by_id
    return [one for one in found if may_be_refused_of(one, homes)]


async def erase_customer(entry: Entry, customer_id: UUID, ground: str) -> Erasure:
    """Take the customer's name, addresses and texts out of the book; what was done and what is signed stays.

    409 while a text bids to keep it. Erased again, it answers the first erasure.
    """
    db, business_id = entry.db, entry.business_id
    before = await stated.read(db, CUSTOMER, business_id, customer_id)
    if before.erased is not None:
        return Erasure(id=customer_id, erased=before.erased, records=0, visits=0)
    known = await about(db, business_id, customer_id)
    await _check_not_kept(entry, "customer", known.homes)
    erased = Erased(at=entry.now, ground=ground)
    records = await db.value(
        sql.erase_parties_of_customer,
        business_id=business_id,
        customer_id=customer_id,
        visit_ids=known.visit_ids,
        theirs=known.theirs,
        erased=erased,
    )
    await _forget_visits(db, business_id, customer_id, known)
    await _forget_history(db, business_id, "customer", customer_id, known)
    await db.run(sql.forget_jobs, business_id=business_id, customer_id=customer_id, theirs=known.theirs)
    await db.run(sql.forget_properties, business_id=business_id, last_held=known.last_held, gone=GONE)
    await db.run(sql.forget_features, business_id=business_id, theirs=known.theirs, gone=GONE)
    await db.run(sql.forget_customer, business_id=business_id, id=customer_id, gone=GONE, erased=erased)
    for home in known.homes:
        # what a deadline tells of locked gates is a text as well
        await work.put(entry, PROPERTY_ANEW, home.property_id, None, entry.now)
    entry.tell(CustomerErased(customer_id=customer_id, erased_at=entry.now), customer_id)
    return Erasure(id=customer_id, erased=erased, records=records, visits=len(known.spoken_ids))


async def erase_worker(entry: Entry, worker_id: UUID, ground: str) -> Erasure:
    """Take a former worker's name and licences out of the book, and the persons beside the worker's records.

    A party block is bound as a whole, so it goes as a whole. 409 while a key of the worker is in force, and while a
    text bids to keep what names the worker.
    """
    db, business_id = entry.db, entry.business_id
    before = await stated.read(db, WORKER, business_id, worker_id)
    if before.erased is not None:
        return Erasure(id=worker_id, erased=before.erased, records=0, visits=0)
    if await db.value(sql.has_key_in_force, business_id=business_id, worker_id=worker_id, now=entry.now):
        raise Refused("conflict", "A key of this worker is in force; revoke it first, then erase the worker.")
    places = await db.many(Place, sql.list_workplaces, business_id=business_id, worker_id=worker_id)
    await _check_not_kept(entry, "worker", places)
    erased = Erased(at=entry.now, ground=ground)
    records = await db.value(
        sql.erase_parties_of_worker, business_id=business_id, worker_id=worker_id, erased=erased
    )
    await _forget_history(db, business_id, "worker", worker_id, NOWHERE)
    await db.run(sql.forget_key_names, business_id=business_id, worker_id=worker_id, gone=GONE)
    await db.run(sql.forget_worker, business_id=business_id, id=worker_id, gone=GONE, erased=erased)
    entry.tell(WorkerErased(worker_id=worker_id, erased_at=entry.now), worker_id)
    return Erasure(id=worker_id, erased=erased, records=records, visits=0)


async def _check_not_kept(entry: Entry, noun: str, places: Sequence[Place]) -> None:
    """Conflict while a text bids to keep what names the person."""
    business = await stated.read(entry.db, BUSINESS, entry.business_id, entry.business_id)
    bids = kept_until(places, local_date(entry.now, ZoneInfo(business.zone)))
    if bids is not None:
        until, words = bids
        raise Refused(
            "conflict", f"What names this {noun} is to be kept until {until}: {words}; erase it then."
        )


async def _forget_visits(db: Db, business_id: UUID, customer_id: UUID, known: About) -> None:
    """Free texts of the tenures' visits, in their rows and in the bodies that are kept of them, and of what was stated
    alone.

    Digests stay: a phone that sends an old body again is answered `same`, and its texts do not come back.
    """
    for at in range(0, len(known.versions), PORTION):
        await _redact_bodies(db, business_id, known.versions[at : at + PORTION])
    await db.run(sql.forget_amend_reasons, business_id=business_id, visit_ids=known.spoken_ids)
    there = {"business_id": business_id, "visit_ids": known.visit_ids}
    for query in (sql.forget_visits, sql.forget_signs):
        await db.run(query, **there)
    await db.run(sql.forget_told, **there, gone=GONE)
    alone = {**there, "customer_id": customer_id, "theirs": known.theirs}
    for query in (sql.forget_upkeep, sql.forget_treatments):
        await db.run(query, **alone)
    await db.run(sql.forget_incidents, **alone, gone=GONE)
    refused = [one.id for one in await refusals(db, business_id, known)]
    await db.run(sql.forget_refused, business_id=business_id, ids=refused, gone=GONE)


async def _redact_bodies(db: Db, business_id: UUID, versions: Sequence[VisitVersion]) -> None:
    bodies = await db.many(
        Body,
        sql.list_visit_bodies,
        business_id=business_id,
        ids=[one.id for one in versions],
        versions=[one.version for one in versions],
    )
    await db.run(
        sql.replace_visit_bodies,
        business_id=business_id,
        ids=[one.id for one in bodies],
        versions=[one.version for one in bodies],
        bodies=[redacted_bytes(one.body) for one in bodies],
    )


async def histories(
    db: Db, business_id: UUID, noun: str, id_: UUID, known: About, of_homes: Callable[[History, Homes], bool]
) -> list[History]:
    """Stated versions of the person, and of the homes, what stands there and the visits, those that are `of_homes`."""
    homes = known.by_id
    found = await db.many(
        History,
        sql.list_histories,
        business_id=business_id,
        noun=noun,
        id=id_,
        property_ids=list(homes),
        visit_ids=known.visit_ids,
    )
    return [one for one in found if (one.noun, one.id) == (noun, id_) or of_homes(one, homes)]


async def _forget_history(db: Db, business_id: UUID, noun: str, id_: UUID, known: About) -> None:
    found = await histories(db, business_id, noun, id_, known, may_be_history_of)
    named = {"customer", "worker", "property", "feature"}
    rows = []
    for one in found:
        body = redacted(one.body)
        if one.noun in named:
            body |= {"name": GONE}
        for texts in ("addresses", "licences"):
            if one.noun in ("customer", "worker"):
                body.pop(texts, None)
        rows.append({"noun": one.noun, "id": one.id, "version": one.version, "body": body})
    await db.run(sql.replace_histories, business_id=business_id, rows=rows)
