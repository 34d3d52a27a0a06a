"""What the permit of a visit's job does not cover: said to whoever recorded it, never refused. Pure."""

from collections.abc import Iterator
from datetime import date, datetime
from uuid import UUID
from zoneinfo import ZoneInfo

from msgspec import Struct

from service.facts.models import Fate, VisitBody
from service.kernel.days import local_date
from service.kernel.values import Caution
from service.packs.rules import is_of

# after these a set fishes on, or may
FISHING_ON = ("left", "reset", "armed", "moved")


class PermitThere(Struct, frozen=True, kw_only=True):
    """The permit of a job, the zone of its property, and how many animals all other visits took under it.

    It holds from `from_on` until `until_on`, exclusive; without species or mechanisms it is for all.
    """

    id: UUID
    number: str
    authority: str
    species: list[str]
    mechanisms: list[str]
    quota: int | None
    from_on: date
    until_on: date | None
    zone: str
    taken: int = 0

    def covers(self, species: str) -> bool:
        """Whether it is for this animal."""
        return not self.species or is_of(species, self.species)

    def holds(self, at: datetime) -> bool:
        """Whether it is in force on the local date of an instant."""
        day = local_date(at, ZoneInfo(self.zone))
        return self.from_on <= day and (self.until_on is None or day < self.until_on)

    def caution(self, code: str, what: str, fact_id: UUID | None) -> Caution:
        """A warning that names the authority."""
        return Caution(
            code=code,
            detail=f"Permit {self.number} {what}; ask {self.authority}. "
            "Local codes and licensed practice come first.",
            fact_id=fact_id,
        )


class _Taken(Struct, frozen=True):
    """An animal of the visit that was taken: not one that escaped."""

    at: datetime
    id: UUID
    species: str


def not_under_permit(body: VisitBody, permit: PermitThere | None, target: str | None) -> Iterator[Caution]:
    """Mechanisms, animals and days that the permit does not cover, and its quota where it is passed.

    `target` is what the job is after, for sets that name no target. Nothing where the job has no permit.
    """
    if permit is None:
        return
    taken = _taken(body)
    for one in body.sets:
        meant = one.target or target
        if permit.mechanisms and one.mechanism not in permit.mechanisms:
            mechanism = one.mechanism.replace("_", " ")
            yield permit.caution("mechanism_not_in_permit", f"does not cover {mechanism} traps", one.id)
        if meant is not None and meant != "unidentified" and not permit.covers(meant):
            yield permit.caution("species_not_in_permit", f"does not cover {meant}", one.id)
    for animal in taken:
        if animal.species != "unidentified" and not permit.covers(animal.species):
            yield permit.caution("species_not_in_permit", f"does not cover {animal.species}", animal.id)
    yield from _outside(body, permit, taken)
    yield from _beyond_quota(body, permit, taken)


def _taken(body: VisitBody) -> list[_Taken]:
    """In the order in which they were taken."""
    found: list[tuple[Fate, _Taken]] = [
        (one.fate, _Taken(one.caught_at, one.id, one.species)) for one in body.catches
    ]
    found += [
        (one.fate, _Taken(check.checked_at, one.id, one.species))
        for check in body.checks
        for one in check.catches
    ]
    return sorted((one for fate, one in found if fate != "escaped"), key=lambda one: (one.at, one.id.bytes))


def _outside(body: VisitBody, permit: PermitThere, taken: list[_Taken]) -> Iterator[Caution]:
    """The first set, look after which a set fishes on, or catch on a day on which the permit does not hold."""
    done = [(one.at, one.id) for one in taken] + [(one.placed_at, one.id) for one in body.sets]
    done += [(one.checked_at, one.id) for one in body.checks if one.action in FISHING_ON]
    for at, fact_id in sorted(done, key=lambda one: (one[0], one[1].bytes)):
        if not permit.holds(at):
            day = local_date(at, ZoneInfo(permit.zone))
            until = "" if permit.until_on is None else f" until {permit.until_on} (exclusive)"
            what = f"holds from {permit.from_on}{until} and not on {day}"
            yield permit.caution("permit_not_in_force", what, fact_id)
            return


def _beyond_quota(body: VisitBody, permit: PermitThere, taken: list[_Taken]) -> Iterator[Caution]:
    """Said with the catch that passes the quota, or of any sets and catches after it."""
    counted = [one for one in taken if permit.covers(one.species) and permit.holds(one.at)]
    total = permit.taken + len(counted)
    if permit.quota is None or total <= permit.quota or not (body.sets or taken):
        return
    room = max(permit.quota - permit.taken, 0)
    passing = counted[room].id if counted else None
    yield permit.caution(
        "quota_passed", f"allows {permit.quota} animals and {total} were taken under it", passing
    )
