"""The log and the endpoints as an integrator meets them over HTTP."""

import asyncio
from uuid import UUID

import pytest
from litestar import Litestar
from standardwebhooks.webhooks import Webhook

from service.contract.nouns import events
from service.events.models import EVENT_TYPES, Ping
from service.events.outbox import entry
from service.kernel.ids import new_id
from service.kernel.now import utc_now
from tests.events.conftest import LOOPBACK, deliver, fan_out, receiving
from tests.http import Api, pointers
from tests.processes import PATIENCE_SECONDS

HOOK = {"url": "https://hooks.example.org/setbook", "types": ["check.*", "record.issued"]}


async def made(api: Api, **members: object) -> dict[str, object]:
    answer = await api.post("endpoints", HOOK | members)
    assert answer.status_code == 201, answer.text
    return dict(answer.json())


async def ping(api: Api, endpoint_id: object) -> str:
    answer = await api.post(f"endpoints/{endpoint_id}/test")
    assert answer.status_code == 202, answer.text
    assert answer.json()["event_type"] == "test.ping"
    return str(answer.json()["event_id"])


@pytest.fixture
def api(two: tuple[Api, Api]) -> Api:
    """A business with nothing in its log."""
    return two[0]


async def test_an_endpoint_is_made_read_and_listed_and_its_secret_shown_once(api: Api):
    answer = await api.post("endpoints", HOOK)
    assert answer.status_code == 201
    one = answer.json()
    assert answer.headers["etag"] == '"1"'
    assert answer.headers["location"] == f"/v1/endpoints/{one['id']}"
    secret = one.pop("secret")
    assert secret.startswith("whsec_")
    assert one["public_key"].startswith("whpk_")
    assert one == HOOK | {
        "id": one["id"],
        "version": 1,
        "state": "active",
        "description": None,
        "paused_reason": None,
        "public_key": one["public_key"],
        "created_at": one["created_at"],
    }

    read = await api.get(f"endpoints/{one['id']}")
    assert (read.json(), read.headers["etag"]) == (one, '"1"')
    assert (await api.get(f"endpoints/{one['id']}", If_None_Match='"1"')).status_code == 304
    assert await api.items("endpoints") == [one]


async def test_a_receiver_s_own_secret_is_taken(api: Api):
    secret = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"
    one = await made(api, secret=secret)
    assert one["secret"] == secret
    path = f"endpoints/{one['id']}"
    assert "secret" not in (await api.get(path)).json()
    # it is no member to be amended: that is a rotation
    assert (await api.patch(path, {"secret": secret}, If_Match='"1"')).status_code == 422
    again = await api.post(f"{path}/rotate", {"secret": secret})
    assert (again.status_code, "signs for the endpoint already" in again.text) == (409, True)


async def test_the_secret_is_kept_sealed(api: Api, owner):
    await made(api)
    rows = await owner.fetch("select scheme, sealed from endpoint_key")
    assert {row["scheme"]: len(row["sealed"]) for row in rows} == dict.fromkeys(("v1", "v1a"), 12 + 32 + 16)


@pytest.mark.parametrize(
    ("body", "places"),
    [
        ({"url": "https:///hook"}, ["#/url"]),
        ({"url": "https://ann:b@hooks.example.org/", "types": ["check.late"]}, ["#/url", "#/types/0"]),
        ({"url": "http://hooks.example.org/"}, ["#/url"]),
        ({"url": "https://127.0.0.1/"}, ["#/url"]),
        ({"url": "https://hooks.example.org/\u0000"}, ["#/url"]),
        ({"url": "https://hooks.example.org/a b"}, ["#/url"]),
        ({"url": "https://b\u00fccher.example/"}, ["#/url"]),
        ({}, ["#/url"]),
        (HOOK | {"secret": "whsec_AA=="}, ["#/secret"]),
        (
            {"url": "https:///hook", "types": ["check.late"], "secret": "whsec_AA=="},
            ["#/url", "#/types/0", "#/secret"],
        ),
        (HOOK | {"state": "closed"}, ["#/state"]),
    ],
)
async def test_a_wrong_endpoint_is_refused_with_every_fault(api: Api, body, places):
    answer = await api.post("endpoints", body)
    assert answer.status_code == 422
    assert [place for place, _ in pointers(answer)] == places
    assert await api.items("endpoints") == []


async def test_amending_needs_the_tag_that_was_read(api: Api):
    one = await made(api)
    path = f"endpoints/{one['id']}"
    change = {"types": ["lawn.*"], "description": "the billing side"}
    assert (await api.patch(path, change)).status_code == 428
    assert (await api.patch(path, change, If_Match='"9"')).status_code == 412
    answer = await api.patch(path, change, If_Match='"1"')
    assert answer.status_code == 200
    assert answer.headers["etag"] == '"2"'
    assert answer.json()["types"] == ["lawn.*"]
    assert answer.json()["url"] == HOOK["url"]
    assert (await api.patch(path, change)).headers["etag"] == '"2"'
    assert (await api.patch(path, {"types": None}, If_Match='"2"')).json()["types"] == []
    assert (await api.patch(path, {"url": "https://x.example.org/#y"}, If_Match='"3"')).status_code == 422
    assert (await api.patch(path, [], If_Match='"3"')).status_code == 400


async def test_pausing_and_resuming_are_told(api: Api):
    one = await made(api)
    path = f"endpoints/{one['id']}"
    paused = await api.patch(path, {"state": "paused"}, If_Match='"1"')
    assert paused.json()["paused_reason"] == "Paused by the office."
    assert (await api.post(f"{path}/test")).status_code == 409
    renamed = await api.patch(path, {"description": "ours"}, If_Match='"2"')
    assert renamed.json()["paused_reason"] == "Paused by the office."
    resumed = await api.patch(path, {"state": "active"}, If_Match='"3"')
    assert resumed.json()["paused_reason"] is None
    told = await api.told()
    assert [(event["type"], event["subject"]) for event in told] == [
        ("endpoint.paused", one["id"]),
        ("endpoint.resumed", one["id"]),
    ]
    assert told[0]["data"] == {"endpoint_id": one["id"], "reason": "by_office"}


async def test_a_removed_endpoint_is_gone_with_its_deliveries(api: Api, courier, owner):
    one = await made(api)
    path = f"endpoints/{one['id']}"
    await ping(api, one["id"])
    await fan_out(courier, utc_now())
    assert await owner.fetchval("select count(*) from delivery") == 1
    assert (await api.delete(path)).status_code == 428
    assert (await api.delete(path, If_Match='"2"')).status_code == 412
    answer = await api.delete(path, If_Match='"1"')
    assert (answer.status_code, answer.content) == (204, b"")
    assert (await api.get(path)).status_code == 404
    assert await owner.fetchval("select count(*) from delivery") == 0


async def test_the_test_ping_arrives_signed_and_is_listed(
    two: tuple[Api, Api], app: Litestar, courier, sessions, monkeypatch: pytest.MonkeyPatch
):
    api, other = two
    monkeypatch.setitem(app.state, "reach", LOOPBACK)
    now = utc_now()
    async with receiving() as receiver:
        one = await made(api, url=receiver.url)
        bystander = await made(api, url=receiver.url)
        event_id = await ping(api, one["id"])
        await deliver(courier, sessions, now, sealing_key=app.state.sealing_key)
        (received,) = await receiver.take()
    event = Webhook(str(one["secret"])).verify(received.body, received.headers)
    assert event["data"] == {"endpoint_id": one["id"]}
    pushed = dict(event)
    assert pushed.pop("deliverynumber") == "1"
    assert await api.told() == [pushed]

    (delivery,) = await api.items(f"endpoints/{one['id']}/deliveries")
    assert delivery == {
        "deliverynumber": "1",
        "sequence": f"{1:020}",
        "event_id": event_id,
        "event_type": "test.ping",
        "state": "delivered",
        "attempt": 1,
        "last_attempt_at": delivery["last_attempt_at"],
        "last_status": 204,
        "last_duration_ms": delivery["last_duration_ms"],
        "delivered_at": delivery["delivered_at"],
    }
    assert await api.items(f"endpoints/{bystander['id']}/deliveries") == []
    for method, path in (
        ("GET", f"endpoints/{one['id']}"),
        ("PATCH", f"endpoints/{one['id']}"),
        ("DELETE", f"endpoints/{one['id']}"),
        ("GET", f"endpoints/{one['id']}/health"),
        ("GET", f"endpoints/{one['id']}/deliveries"),
        ("GET", f"endpoints/{one['id']}/deliveries/1"),
        ("POST", f"endpoints/{one['id']}/test"),
        ("POST", f"endpoints/{one['id']}/replay"),
        ("POST", f"endpoints/{one['id']}/rotate"),
    ):
        sent = {"PATCH": {"state": "paused"}, "replay": {"all": True, "delivered": True}, "rotate": {}}
        body = sent.get(method, sent.get(path.rpartition("/")[2]))
        assert (await other.send(method, path, body, If_Match='"1"')).status_code == 404


async def test_the_delivery_of_one_event_is_found_by_its_id(api: Api, courier):
    one, bystander = await made(api), await made(api)
    sent = [await ping(api, one["id"]) for _ in range(3)]
    await fan_out(courier, utc_now())
    path = f"endpoints/{one['id']}/deliveries?event_id="
    (found,) = await api.items(path + sent[1])
    assert (found["deliverynumber"], found["event_id"]) == ("2", sent[1])
    assert await api.items(f"{path}{sent[1]}&state=dead") == []
    assert await api.items(path + str(new_id())) == []
    assert await api.items(f"endpoints/{bystander['id']}/deliveries?event_id={sent[1]}") == []


async def test_deliveries_are_paged_newest_first(api: Api, courier):
    one = await made(api)
    for _ in range(5):
        await ping(api, one["id"])
    await fan_out(courier, utc_now())
    path, numbers, pages = f"/v1/endpoints/{one['id']}/deliveries?limit=2", [], 0
    while path:
        answer = await api.get(path)
        numbers += [row["deliverynumber"] for row in answer.json()["items"]]
        pages += 1
        path = answer.links["next"]["url"] if "next" in answer.links else ""
    assert numbers == ["5", "4", "3", "2", "1"]
    assert pages == 3


async def test_the_log_is_read_on_from_where_one_stopped(api: Api):
    one = await made(api)
    empty = (await api.get("events")).json()
    assert empty["events"] == []
    sent = [await ping(api, one["id"]) for _ in range(5)]

    first = await api.get(f"events?after={empty['next']}&limit=3")
    assert [event["id"] for event in first.json()["events"]] == sent[:3]
    assert first.links["next"]["url"].endswith(first.json()["next"])
    rest = await api.get(first.links["next"]["url"])
    assert [event["id"] for event in rest.json()["events"]] == sent[3:]
    assert rest.links == {}
    end = await api.get(f"events?after={rest.json()['next']}")
    assert end.json() == {"events": [], "next": rest.json()["next"]}
    later = await ping(api, one["id"])
    assert [
        event["id"] for event in (await api.get(f"events?after={end.json()['next']}")).json()["events"]
    ] == [later]
    assert [event["sequence"] for event in await api.told()] == [f"{number:020}" for number in range(1, 7)]


async def test_the_log_can_be_read_by_type(api: Api):
    one = await made(api)
    await ping(api, one["id"])
    await api.patch(f"endpoints/{one['id']}", {"state": "paused"}, If_Match='"1"')
    assert [event["type"] for event in await api.told("endpoint.*")] == ["endpoint.paused"]
    assert [event["type"] for event in await api.told("test.ping", "endpoint.paused")] == [
        "test.ping",
        "endpoint.paused",
    ]
    nothing = (await api.get("events?types=check.overdue")).json()
    assert nothing["events"] == []
    assert (await api.get(f"events?after={nothing['next']}")).json()["events"] == []
    answer = await api.get("events?types=mole.found")
    assert answer.status_code == 400
    assert "`mole.found` is no event type" in answer.json()["detail"]


async def test_cursors_of_another_epoch_and_garbage_are_told_apart(api: Api, app: Litestar):
    cursor = (await api.get("events")).json()["next"]
    app.state.epoch = new_id()
    answer = await api.get(f"events?after={cursor}")
    assert answer.status_code == 410
    assert "read all again" in answer.json()["detail"]
    assert (await api.get("events?after=garbage")).status_code == 400


async def test_a_reader_sees_every_event_once_while_others_write(api: Api, pool):
    """The counter's row is locked until the commit: no lower number appears after a higher one was read."""
    one = await made(api)
    count, read = 40, []

    async def write() -> None:
        for _ in range(count // 4):
            await ping(api, one["id"])

    async def follow() -> None:
        path = "events?limit=7"
        while len(read) < count:
            answer = (await api.get(path)).json()
            read.extend(int(event["sequence"]) for event in answer["events"])
            path = f"events?limit=7&after={answer['next']}"

    async with asyncio.timeout(PATIENCE_SECONDS), asyncio.TaskGroup() as group:
        group.create_task(follow())
        for _ in range(4):
            group.create_task(write())
    assert read == list(range(1, count + 1))


async def test_an_entry_that_fails_leaves_no_gap(api: Api, pool):
    one = await made(api)

    async def fail() -> None:
        async with entry(pool, api.business_id, utc_now()) as book:
            book.tell(Ping(endpoint_id=UUID(int=7)), UUID(int=7))
            raise ConnectionError

    with pytest.raises(ConnectionError):
        await fail()
    event_id = await ping(api, one["id"])
    assert [(event["id"], int(event["sequence"])) for event in await api.told()] == [(event_id, 1)]


def test_all_that_is_told_can_be_subscribed_to(app: Litestar):
    """The app imports every slice, so that every event is known by then."""
    assert sorted(events()) == sorted(EVENT_TYPES)


async def test_a_business_has_a_hundred_endpoints_at_most(
    api: Api, other: Api, app: Litestar, monkeypatch
) -> None:
    monkeypatch.setitem(app.state, "reach", LOOPBACK)
    monkeypatch.setattr("service.events.actions.MOST_ENDPOINTS", 2)
    made = [await api.post("endpoints", {"url": f"https://billing.example/{n}"}) for n in range(3)]
    assert [one.status_code for one in made] == [201, 201, 409]
    assert made[2].json()["detail"] == "A business has at most 2 endpoints; take one out first."
    assert (await other.post("endpoints", {"url": "https://billing.example/"})).status_code == 201
