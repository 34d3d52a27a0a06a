"""What a visit's record states, as a function of the facts as at the visit's end. Pure."""

import re
from collections.abc import Sequence
from datetime import date, datetime, timedelta
from uuid import UUID
from zoneinfo import ZoneInfo

import msgspec
from msgspec.structs import asdict

from service.claims.models import Presence
from service.claims.rules import period_of
from service.identity.models import Licence
from service.kernel.canonical import canonical, sha256
from service.kernel.days import local_date, start_of_day
from service.kernel.errors import Refused
from service.kernel.sentences import shown
from service.kernel.values import Erased, is_within
from service.records.accounts import account
from service.records.facts import Head, Scope, VisitFacts
from service.records.models import MONTH, Content, LicenceLine, Party, VisitContent, WithdrawnContent

_MONTH = re.compile(MONTH)
_NAME = re.compile(r"([0-9]{4}-[0-9]{6})(?:\.([1-9][0-9]{0,5}))?")
LAST_PLACE = 999_999


def content(facts: VisitFacts) -> VisitContent:
    """The content of the record of a visit that is not withdrawn.

    It takes facts with instants up to the visit's end, whoever brought them, and all that the visit itself
    states; the order of the lists does not matter.
    """
    head = facts.head
    zone = ZoneInfo(head.zone)
    period = period_of(presence(head), facts.visits)
    stated = account(
        head,
        scope_of(head),
        period,
        facts,
        facts.visits,
        target=head.target,
        states_none=head.treatments_none,
    )
    return VisitContent(
        **asdict(stated),
        visit_id=head.id,
        property_id=head.property_id,
        customer_id=facts.customer_id,
        zone=head.zone,
        region=head.region,
        service_on=service_day(head),
        arrived_at=head.arrived_at,
        ended_at=head.ended_at,
        arrived_local=head.arrived_at.astimezone(zone).isoformat(),
        ended_local=head.ended_at.astimezone(zone).isoformat(),
        outcome=head.outcome,
        worker_id=head.worker_id,
        with_worker_ids=sorted(head.with_worker_ids),
        job_id=head.job_id,
        target=head.target,
        treatments_none=head.treatments_none,
    )


def service_day(head: Head) -> date:
    """The local day of the arrival, which the record belongs to."""
    return local_date(head.arrived_at, ZoneInfo(head.zone))


def scope_of(head: Head) -> Scope:
    """The visit's own facts are all that it states; known are those up to its end."""
    return Scope(visit_id=head.id, from_at=head.arrived_at, until_at=head.ended_at)


def withdrawn(head: Head, customer_id: UUID | None) -> WithdrawnContent:
    """The content of the record of a visit that was withdrawn."""
    service_on = service_day(head)
    return WithdrawnContent(
        visit_id=head.id,
        property_id=head.property_id,
        customer_id=customer_id,
        service_on=service_on,
        statement=f"The visit of {service_on} was withdrawn; earlier versions of its record are void.",
    )


def bytes_of(value: msgspec.Struct) -> bytes:
    """The RFC 8785 form of a record, of its content or of a party block."""
    return canonical(msgspec.to_builtins(value))


def content_digest(stated: Content) -> bytes:
    """SHA-256 that decides whether a new version is due: equal where the content is equal."""
    return sha256(bytes_of(stated))


def party_hash(party: Party) -> str:
    """SHA-256, in hex, of the party block's RFC 8785 form."""
    return sha256(bytes_of(party)).hex()


def with_party(line: str, party: Party | None, erased: Erased | None) -> bytes:
    """A signed record as it goes out, with the persons beside it or when they were erased; RFC 8785 form again."""
    members = line.removeprefix('{"noun":"signed_service_record",').encode()
    said = b"" if erased is None else b'"erased":' + bytes_of(erased) + b","
    persons = b"null" if party is None else bytes_of(party)
    return b"{" + said + b'"noun":"service_record_with_party","party":' + persons + b"," + members


def in_force(licences: Sequence[Licence], day: date, region: str) -> list[LicenceLine]:
    """The licences for a region (ISO 3166-2) or what it is a part of, which had not expired on the day, as printed."""
    return [
        LicenceLine(number=one.number, authority=one.authority)
        for one in licences
        if (one.expires_on is None or one.expires_on >= day) and is_within(region, one.region)
    ]


def duration(seconds: int) -> str:
    """ISO 8601 duration of whole seconds, never negative: a phone's clock may run ahead of ours."""
    minutes, second = divmod(max(seconds, 0), 60)
    hour, minute = divmod(minutes, 60)
    return f"PT{hour}H{minute}M{second}S"


def month_in(text: str) -> tuple[date, date]:
    """The first day of the month that `YYYY-MM` names, and of the next; `unreadable` where it names none."""
    form = _MONTH.fullmatch(text)
    if form is None:
        raise Refused("unreadable", "A month is written as year and month, 2026-05 for example.")
    year, number = int(form.group(1)), int(form.group(2))
    first_on = date(year, number, 1)
    return first_on, following(first_on)


def following(first_on: date) -> date:
    """The first day of the next month."""
    return (first_on.replace(day=28) + timedelta(days=4)).replace(day=1)


def name_in(text: str) -> tuple[str, int | None]:
    """The number that `YYYY-NNNNNN` is, and the version where `.v` follows; `not_found` where it is neither."""
    form = _NAME.fullmatch(text)
    if form is None:
        raise Refused(
            "not_found",
            f"{shown(text)} names no service record: a number is written 2026-000123, a version of it 2026-000123.1.",
        )
    number, version = form.groups()
    return number, None if version is None else int(version)


def number_of(year: int, place: int) -> str:
    """The number of the record at a place of a year, from 1; `conflict` where the year has no further number.

    A seventh figure would be out of order among six, in lists and in the leaves of a sealed month.
    """
    if place > LAST_PLACE:
        raise Refused(
            "conflict",
            f"All {LAST_PLACE:,} numbers of {year} are given; a new record can be issued from 1 January {year + 1} on, "
            "a further version of one that has a number at any time.",
        )
    return f"{year:04}-{place:06}"


def check_ended(first_on: date, zone: ZoneInfo, now: datetime, then: str) -> None:
    """Refuse as `conflict` a month that has not ended in a zone, with what can be done `then`, and from when on."""
    ends_at = start_of_day(following(first_on), zone)
    if now < ends_at:
        raise Refused(
            "conflict",
            f"The month {first_on:%Y-%m} has not ended in {zone.key}; "
            f"{then} from {ends_at.astimezone(zone).isoformat()} on.",
        )


def presence(head: Head) -> Presence:
    """The visit as one of the property's."""
    return Presence(
        id=head.id,
        arrived_at=head.arrived_at,
        ended_at=head.ended_at,
        treatments_none=head.treatments_none,
    )
