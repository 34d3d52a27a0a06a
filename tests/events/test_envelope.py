"""The body of a webhook, read by the CloudEvents SDK and held against the specification's attribute rules."""

import json
import re
from datetime import UTC, datetime
from uuid import UUID

import msgspec
from cloudevents.core.bindings.http import HTTPMessage, from_http_event
from hypothesis import given
from hypothesis import strategies as st

from service.events.envelope import CONTENT_TYPE, body, envelope
from service.events.models import EVENT_TYPES, LoggedEvent
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
