"""What follows from an attempt to deliver, and what an endpoint may be. Pure: now is an argument."""

from collections.abc import Collection, Sequence
from datetime import UTC, datetime, timedelta
from email.utils import parsedate_to_datetime
from uuid import UUID

from msgspec import Struct

from service.events.addresses import Reach
from service.events.models import EVENT_TYPES, Endpoint, NewEndpoint, Replay
from service.events.signing import secret_key
from service.events.urls import url_faults
from service.kernel.errors import Fault, Refused, invalid
from service.kernel.sentences import nearest, shown

# Waits after the first attempt, the second and so on, as the Standard Webhooks specification gives them.
WAITS = (
    timedelta(seconds=5),
    timedelta(minutes=5),
    timedelta(minutes=30),
    timedelta(hours=2),
    timedelta(hours=5),
    timedelta(hours=10),
    timedelta(hours=14),
    timedelta(hours=20),
    timedelta(hours=24),
)
LONGEST_WAIT = timedelta(hours=24)
TAKEN, REDIRECTED = range(200, 300), range(300, 400)
GONE = 410

# The circuit of an endpoint that nothing gets through to: after so many failures in a row it is left alone, each time
# for half as long as it has failed by then, within these bounds; then one delivery tries it.
FAILURES_TO_OPEN = 5
SHORTEST_OPEN, LONGEST_OPEN = timedelta(seconds=10), timedelta(hours=1)
# As long as the schedule, and more than an outage of our own could make of a single failure.
FAILING_TOO_LONG, FAILURES_TO_PAUSE = timedelta(hours=72), 10
ONE_WAY = (
    "Say in one way what to replay: deliverynumbers, or event_ids, or since and until (or one of them), or all as "
    "true; GET deliveries?state=dead lists the dead ones."
)
FILTERS = (*EVENT_TYPES, *sorted({f"{known.partition('.')[0]}.*" for known in EVENT_TYPES}))
GONE_REASON = "The receiver answered 410 Gone: it wants no more deliveries; resume the endpoint to go on."


class Outcome(Struct, frozen=True, kw_only=True):
    """What one attempt came to: the receiver's status, or one sentence on why there is none."""

    status: int | None = None
    error: str | None = None
    retry_after: str | None = None
    answer: bytes = b""
    sent_at: datetime
    duration_ms: int


class Delivered(Struct, frozen=True):
    """The receiver has it."""


class Again(Struct, frozen=True):
    """To be tried again after that."""

    wait: timedelta


class GivenUp(Struct, frozen=True):
    """Tried as often as the schedule says; it stays in the list as dead."""


Verdict = Delivered | Again | GivenUp


def after(attempt: int, outcome: Outcome, now: datetime, jitter: float) -> Verdict:
    """What to do after attempt 1, 2, ... ended at `now`; `jitter` lies in [0, 1).

    Only 2xx is delivered. Each wait lies anywhere from nothing to twice its step, so that receivers that fell together
    are not met together and the mean is the schedule's 75 hours; a receiver's Retry-After lengthens it, up to 24 hours.
    """
    if outcome.status in TAKEN:
        return Delivered()
    if attempt > len(WAITS):
        return GivenUp()
    return Again(
        max(WAITS[attempt - 1] * 2 * jitter, min(asked_wait(outcome.retry_after, now), LONGEST_WAIT))
    )


def asked_wait(retry_after: str | None, now: datetime) -> timedelta:
    """What a Retry-After header asks for: seconds or an HTTP-date (RFC 9110 section 10.2.3); else none."""
    text = (retry_after or "").strip()
    if text.isascii() and text.isdigit():
        return timedelta(seconds=min(int(text[:9]), 10**8))
    try:
        date = parsedate_to_datetime(text)
    except (ValueError, TypeError, OverflowError):
        return timedelta()
    return max(timedelta(), (date if date.tzinfo else date.replace(tzinfo=UTC)) - now)


def not_taken(status: int) -> str | None:
    """Why an answer of that status is no delivery; None where it is one."""
    if status in TAKEN:
        return None
    if status in REDIRECTED:
        return (
            f"The receiver answered {status}, and redirects are not followed; amend the endpoint's url to where it "
            "leads."
        )
    return f"The receiver answered {status}; only 2xx is delivered."


def is_gone(outcome: Outcome) -> bool:
    """Whether the receiver wants no more deliveries at all (RFC 9110 section 15.5.11)."""
    return outcome.status == GONE


def is_failing_too_long(failures: int, failing_for: timedelta | None) -> bool:
    """Whether an endpoint that nothing got through to for so many attempts and so long is to be paused."""
    return failures >= FAILURES_TO_PAUSE and failing_for is not None and failing_for >= FAILING_TOO_LONG


def failing_reason(failures: int, failing_since: datetime, last: str | None) -> str:
    """Why the courier paused an endpoint, for a person."""
    since = f"{failing_since.astimezone(UTC):%Y-%m-%d %H:%M} UTC"
    return (
        f"Nothing got through since {since}: {failures} attempts in a row failed, the last like this: {last} "
        "Mend the receiver, then resume the endpoint; its deliveries wait."
    )


def check_active(endpoint: Endpoint) -> None:
    """Refuse to try out an endpoint whose deliveries wait."""
    if endpoint.state == "paused":
        raise Refused(
            "conflict", "This endpoint is paused; resume it (PATCH its state to active), then test it."
        )


def check_replay(wanted: Replay) -> None:
    """Refuse a replay that does not say in one way what it is of."""
    ranged = wanted.since is not None or wanted.until is not None
    if (bool(wanted.deliverynumbers) + bool(wanted.event_ids) + ranged + wanted.all) != 1:
        raise invalid([Fault(ONE_WAY, "#", "replay")])
    if (wanted.deliverynumbers or wanted.event_ids) and wanted.delivered:
        sentence = "Deliveries named one by one are replayed whatever became of them; leave delivered out."
        raise invalid([Fault(sentence, "#/delivered", "replay")])
    if wanted.since is not None and wanted.until is not None and wanted.since >= wanted.until:
        raise invalid([Fault("since must lie before until.", "#/until", "order")])


def check_known(numbers: Sequence[int], known: Collection[int]) -> None:
    """Refuse numbers of deliveries that the endpoint does not have."""
    faults = [
        Fault(f"This endpoint has no delivery {number}.", f"#/deliverynumbers/{place}", "unknown")
        for place, number in enumerate(numbers)
        if number not in known
    ]
    if faults:
        raise invalid(faults)


def check_told(events: Sequence[UUID], told: Collection[UUID]) -> None:
    """Refuse events of which the endpoint has no delivery."""
    faults = [
        Fault(f"This endpoint has no delivery of event {event}.", f"#/event_ids/{place}", "unknown")
        for place, event in enumerate(events)
        if event not in told
    ]
    if faults:
        raise invalid(faults)


def states_to_replay(wanted: Replay) -> list[str]:
    """What a replay of a range or of all is of."""
    return ["dead", "delivered"] if wanted.delivered else ["dead"]


def check_replayed(wanted: Replay, count: int) -> None:
    """Refuse a replay that came to nothing, with why."""
    if count:
        return
    if wanted.deliverynumbers or wanted.event_ids:
        raise Refused("conflict", "Nothing to replay: these deliveries are being sent at this moment.")
    kinds = "dead or delivered delivery" if wanted.delivered else "dead delivery"
    where = "" if wanted.all else " of an event in that range"
    hint = (
        ""
        if wanted.delivered
        else "; with delivered true those that it has taken are sent again too, and what waits is sent without a replay"
    )
    raise Refused("conflict", f"Nothing to replay: this endpoint has no {kinds}{where}{hint}.")


def stated_of(endpoint: NewEndpoint) -> NewEndpoint:
    """What was stated of an endpoint, without identity, version and the courier's word."""
    return NewEndpoint(
        url=endpoint.url, types=endpoint.types, description=endpoint.description, state=endpoint.state
    )


def reason_stated(new: NewEndpoint) -> str | None:
    """Why it is paused, where the office says that it is."""
    return "Paused by the office." if new.state == "paused" else None


def secret_faults(brought: str | None) -> list[Fault]:
    """What is wrong with a secret that is brought."""
    try:
        if brought is not None:
            secret_key(brought)
    except ValueError as wrong:
        return [Fault(str(wrong), "#/secret", "secret")]
    return []


def check_endpoint(new: NewEndpoint, reach: Reach, more: Sequence[Fault] = ()) -> None:
    """Refuse an endpoint whose URL or types cannot work, with every fault at once, `more` among them."""
    faults = [Fault(sentence, "#/url", "url") for sentence in url_faults(new.url, reach)]
    faults += [
        Fault(_unknown_type(wanted), f"#/types/{place}", "unknown_type")
        for place, wanted in enumerate(new.types)
        if not is_known(wanted)
    ]
    faults += more
    if faults:
        raise invalid(faults)


def types_in(text: str | None) -> list[str]:
    """The filters of a list parted by commas; refuses one that names no event type, and a list of none."""
    if text is None:
        return []
    wanted = [part.strip() for part in text.split(",") if part.strip()]
    faults = [_unknown_type(one) for one in wanted if not is_known(one)]
    if not wanted:
        faults = ["types names no event type; leave it out to get all."]
    if faults:
        raise Refused("unreadable", " ".join(faults))
    return wanted


def is_known(wanted: str) -> bool:
    """Whether a filter names an event type, or with `noun.*` at least one."""
    return wanted in FILTERS


def _unknown_type(wanted: str) -> str:
    if wanted == "*":
        return "`*` is no event type; leave types out to get every event."
    quoted = shown(wanted)[1:-1]
    guess = nearest(wanted, FILTERS)
    if guess.endswith("?"):
        return f"`{quoted}` is no event type{guess}"
    return (
        f"`{quoted}` is no event type; write one as in check.overdue, or all of a noun as in check.*: "
        "/openapi.json lists all under webhooks."
    )
