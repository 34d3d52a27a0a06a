"""A deadline: something to be done at a set or sign by an instant, with why."""

from datetime import date
from typing import Literal
from uuid import UUID

from msgspec import Struct

from service.events.models import Event
from service.identity.models import HousePolicy
from service.kernel.values import Instant, Mechanism, Point
from service.packs.models import Pack, Word

Kind = Literal["check", "set_search", "run_look", "lawn", "lawn_cover", "lawn_followup", "report"]
RuleKind = Literal[
    "calendar_day",
    "elapsed",
    "latest_hour",
    "after_sunrise",
    "since_word",
    "lawn",
    "local_day_end",
    "report_due",
    "qualitative",
    "exemption",
    "who_may_look",
]
OF_SETS: tuple[Kind, ...] = ("check", "set_search", "lawn_cover")
OF_SIGNS: tuple[Kind, ...] = ("run_look", "lawn", "lawn_followup")
OF_PERMITS: tuple[Kind, ...] = ("report",)
State = Literal["open", "met", "late", "withdrawn"]
Verdict = Literal["in_time", "late", "found_late", "still_lying"]


class RuleApplied(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One rule that was looked at: its own due instant, or None where it is shown and never computed.

    `rule_name` is `house_policy/part`, `pack/rule` or a name of ours; `pack`, `citation`, `text_as_of` and
    `verified_on` are those of the text where a pack says it. `replaced_by` names the rule that stands in its
    place; `exempted_by` the one that leaves this mechanism or animal out. Neither of these is computed.
    """

    rule: str
    rule_name: str
    kind: RuleKind
    state: Literal["law", "caution", "practice"]
    pack: str | None = None
    authority: str | None = None
    citation: str | None = None
    text_as_of: str | None = None
    verified_on: date | None = None
    reviewed_by: str | None = None
    inputs: dict[str, str | int | None] = {}
    due_at: Instant | None = None
    replaced_by: str | None = None
    exempted_by: str | None = None


class Attempt(Struct, frozen=True, kw_only=True):
    """A visit that met a locked gate: it meets nothing and shows here."""

    visit_id: UUID
    arrived_at: Instant
    reason: str | None


class Contact(Struct, frozen=True, kw_only=True):
    """What was said of a set beside the looks that count: by a monitor, or by somebody else.

    A look that no rule accepts has no `words`; a customer's or agent's word of a capture may be of a look that
    counts.
    """

    check_id: UUID
    at: Instant
    by: Literal["worker", "customer", "agent", "monitor"]
    words: list[Word] = []


class Explanation(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """How a due instant came about, as data: every rule that was looked at, and `winner`, the id of the earliest."""

    started_by: str
    zone: str
    rules: list[RuleApplied]
    winner: str
    notice: str
    contacts: list[Contact] = []


class Why(Explanation, frozen=True, kw_only=True):
    """The same with its start, the visits that met a locked gate, and one English sentence."""

    started_at: Instant
    sentence: str
    attempts: list[Attempt] = []


class Derived(Struct, frozen=True, kw_only=True):
    """A deadline as it follows from the stated facts alone."""

    kind: Kind
    subject_id: UUID
    starting_fact_id: UUID
    property_id: UUID | None
    started_at: Instant
    due_at: Instant
    state: State
    met_at: Instant | None = None
    met_by_fact_id: UUID | None = None
    outcome: str | None = None
    why: Why


class Place(Struct, frozen=True, kw_only=True):
    """What the arithmetic needs of a property and its business; `packs` are the business's own."""

    property_id: UUID
    zone: str
    house_policies: list[HousePolicy]
    attempts: list[Attempt] = []
    region: str = ""
    county: str | None = None
    locality: str | None = None
    position: Point | None = None
    packs: list[Pack] = []


class Covered(Struct, frozen=True, kw_only=True):
    """What a rule's scope is held against: how a set was made, for which animal, under a permit or not."""

    mechanism: Mechanism | None = None
    target: str | None = None
    under_permit: bool = False


class Due(Struct, frozen=True, kw_only=True):
    """The instant that the rules give, each rule with its own; `winner` is the id of the earliest."""

    due_at: Instant
    rules: list[RuleApplied]
    winner: str


class KnownBy(Struct, frozen=True, kw_only=True):
    """Whose visit made something known; both None where a recomputation did."""

    worker_id: UUID | None
    key_id: UUID | None


class Stored(Derived, frozen=True, kw_only=True):
    """A deadline's row: what follows from the facts, and the clock's memory of what it said and will say.

    `announced_due_at` is the due instant that was last spoken of, `announced_event_id` the last word that it
    was due, and `settled_*` the last word on how it ended, if none that it is due came after it. `wake_*` stand
    in a row of their own, which goes away as the clock speaks.
    """

    id: UUID
    known_at: Instant
    known_by_worker_id: UUID | None
    known_by_key_id: UUID | None
    episode: int = 1
    announced_due_at: Instant | None = None
    announced_event_id: UUID | None = None
    settled_outcome: str | None = None
    settled_event_id: UUID | None = None
    wake_at: Instant | None = None
    wake_type: str | None = None


class Wake(Struct, frozen=True, kw_only=True):
    """What the clock says next of a deadline: an event, as it will stand in the log, and when; `data` is its JSON.

    `known_*` are given only where it was already due when it became known.
    """

    deadline_id: UUID
    wake_at: Instant
    due_at: Instant
    type: str
    subject: UUID
    event_id: UUID
    cause: str
    data: str
    known_at: Instant | None = None
    known_by_worker_id: UUID | None = None
    known_by_key_id: UUID | None = None


class Deadline(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A deadline as it is read; `overdue` says that it is open and its due instant has come.

    It is of a set, a sign or a permit. `episode` rises when it opens again after it was settled or withdrawn.
    `being_worked_out_anew` is true while a change of the property, a pack, the house policy or the zone
    database that may move it is still in the queue.
    """

    id: UUID
    kind: Kind
    set_id: UUID | None = None
    sign_id: UUID | None = None
    permit_id: UUID | None = None
    property_id: UUID | None = None
    job_id: UUID | None = None
    starting_fact_id: UUID
    started_at: Instant
    due_at: Instant
    state: State
    overdue: bool
    met_at: Instant | None = None
    met_by_fact_id: UUID | None = None
    outcome: str | None = None
    known_at: Instant
    episode: int
    being_worked_out_anew: bool = False
    why: Why


class Said(Struct, frozen=True, kw_only=True):
    """An event to be told, and the cause that makes it told once."""

    event: Event
    cause: str


class Reconciled(Struct, frozen=True, kw_only=True):
    """A row as it is to be stored, and what is to be told at once."""

    row: Stored
    overdue: Said | None = None
    settled: Said | None = None
