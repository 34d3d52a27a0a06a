"""The body of a webhook, read by the CloudEvents SDK and held against the specification's attribute rules."""

import json
import re
from datetime import UTC, datetime
from uuid import UUID

import msgspec
from cloudevents.core.bindings.http import HTTPMessage, from_http_event
from hypothesis import given, settings
from hypothesis import strategies as st

from service.events.envelope import CONTENT_TYPE, envelope
from service.events.models import EVENT_TYPES, LoggedEvent
from service.kernel.db import connect
from tests.http import PUBLIC_URL

events = st.builds(
    LoggedEvent,
    business_id=st.uuids(),
    sequence=st.integers(1, 2**63 - 1),
    id=st.uuids(),
    type=st.sampled_from(EVENT_TYPES),
    subject=st.none() | st.uuids(),
    time=st.datetimes(timezones=st.just(UTC), min_value=datetime(2020, 1, 1)),  # noqa: DTZ001  the zone is beside it
    data=st.dictionaries(st.text(max_size=9), st.integers() | st.text(max_size=9), max_size=5).map(
        json.dumps
    ),
)

EXAMPLE = LoggedEvent(
    business_id=UUID(int=1),
    sequence=42,
    id=UUID(int=2),
    type="check.overdue",
    subject=UUID(int=3),
    time=datetime(2026, 5, 14, 7, tzinfo=UTC),
    data='{"set_id":"00000000-0000-0000-0000-000000000003"}',
)


def body(event: LoggedEvent, public_url: str, deliverynumber: int) -> bytes:
    """As it is sent."""
    return msgspec.json.encode(envelope(event, public_url, deliverynumber))


def test_the_attributes_of_an_event():
    assert json.loads(body(EXAMPLE, PUBLIC_URL, 7)) == {
        "specversion": "1.0",
        "id": "00000000-0000-0000-0000-000000000002",
        "source": "/v1/businesses/00000000-0000-0000-0000-000000000001",
        "type": "check.overdue",
        "time": "2026-05-14T07:00:00Z",
        "subject": "00000000-0000-0000-0000-000000000003",
        "datacontenttype": "application/json",
        "dataschema": "https://setbook.test/schema/v1/check.overdue.json",
        "businessid": "00000000-0000-0000-0000-000000000001",
        "sequence": "00000000000000000042",
        "deliverynumber": "7",
        "data": {"set_id": "00000000-0000-0000-0000-000000000003"},
    }


@given(events, st.integers(1, 2**63 - 1))
def test_a_foreign_reader_reads_what_was_written(event, deliverynumber):
    read = from_http_event(
        HTTPMessage(headers={"content-type": CONTENT_TYPE}, body=body(event, PUBLIC_URL, deliverynumber))
    )
    assert read.get_id() == str(event.id)
    assert read.get_type() == event.type
    assert read.get_source() == f"/v1/businesses/{event.business_id}"
    assert read.get_time() == event.time
    assert read.get_subject() == (None if event.subject is None else str(event.subject))
    assert read.get_extension("businessid") == str(event.business_id)
    assert int(read.get_extension("sequence")) == event.sequence
    assert int(read.get_extension("deliverynumber")) == deliverynumber
    assert read.get_data() == json.loads(event.data)


@given(events, st.integers(1, 10**9))
def test_attribute_names_are_lower_case_letters_and_digits(event, deliverynumber):
    """CloudEvents 1.0.2, section 3.1: naming conventions of attributes; section 3: none may be null."""
    told = json.loads(body(event, PUBLIC_URL, deliverynumber))
    assert all(re.fullmatch("[a-z0-9]{1,20}", name) for name in told)
    assert all(value is not None for value in told.values())


WRITE = """
insert into event (business_id, sequence, id, type, subject, time, data)
values ($1, $2, $3, $4, $5, $6, $7::text::json)
"""
MADE = "select webhook_body(e, $2, $3) from event e where e.id = $1"


async def test_the_database_makes_the_very_same_bytes(database: str):
    """Whatever is told: every type, instants with and without a fraction, any text, with and without a subject."""
    written = drawn(200)
    async with connect(database) as owner:
        await owner.execute("set search_path = setbook")
        for number, event in enumerate(written, 1):
            row = (
                event.business_id,
                event.sequence,
                event.id,
                event.type,
                event.subject,
                event.time,
                event.data,
            )
            await owner.execute(WRITE, *row)
            url = PUBLIC_URL if number % 2 else 'http://127.0.0.1:8080/a"b'
            assert await owner.fetchval(MADE, event.id, number, url) == body(event, url, number)
        unnamed = json.loads(await owner.fetchval(MADE, written[0].id, 7, None))
        assert unnamed == {k: v for k, v in json.loads(body(written[0], "", 7)).items() if k != "dataschema"}


def drawn(count: int) -> list[LoggedEvent]:
    """Events as hypothesis makes them; PostgreSQL's json refuses half a surrogate pair, and so does the outbox."""
    found: dict[UUID, LoggedEvent] = {}

    @settings(max_examples=2 * count, database=None, derandomize=True)
    @given(events)
    def draw(event: LoggedEvent) -> None:
        found.setdefault(event.id, event)

    draw()
    return [event for event in found.values() if "\\u0000" not in event.data][:count]


@given(events, st.integers(1, 10**9))
def test_the_log_tells_the_same_but_for_the_delivery_number(event, deliverynumber):
    pulled = json.loads(msgspec.json.encode(envelope(event, PUBLIC_URL)))
    pushed = json.loads(body(event, PUBLIC_URL, deliverynumber))
    assert pushed.pop("deliverynumber") == str(deliverynumber)
    assert pulled == pushed


@given(st.integers(1, 2**63 - 1), st.integers(1, 2**63 - 1))
def test_sequences_sort_as_text(one, two):
    first, second = (
        envelope(msgspec.structs.replace(EXAMPLE, sequence=number), PUBLIC_URL).sequence
        for number in (one, two)
    )
    assert (first < second) == (one < two)
    assert len(first) == 20
