"""What the contract's examples say of what is due, and why."""

from typing import Any

from service.contract.values import LEFT_OUT, id_named

LOOK = "House policy: one look on every local calendar day"
WHY = f"Look by Sat 16 May 2026 00:00 (America/Los_Angeles): placed Thu 14 May 10:20; {LOOK}."
SOIL = (
    "Clear by Sat 16 May 2026 10:00 (America/Los_Angeles): seen Thu 14 May 10:05; "
    "Lawn: soil off within 72 hours of the earliest moment."
)
NAME = "house_policy/calendar-day"

DUE: dict[str, Any] = {
    "Explanation.contacts": LEFT_OUT,
    "Explanation.started_by": "placed",
    "Explanation.winner": NAME,
    "Deadline.being_worked_out_anew": LEFT_OUT,
    "Deadline.permit_id": LEFT_OUT,
    **{
        f"RuleApplied.{name}": LEFT_OUT
        for name in (
            "pack",
            "authority",
            "citation",
            "text_as_of",
            "verified_on",
            "reviewed_by",
            "replaced_by",
            "exempted_by",
        )
    },
    "RuleApplied.rule_name": NAME,
    "Deadline.job_id": id_named("job_id"),
    "Deadline.kind": "check",
    "Deadline.known_at": "2026-05-14T18:02:11Z",
    "Deadline.met_at": LEFT_OUT,
    "Deadline.met_by_fact_id": LEFT_OUT,
    "Deadline.outcome": LEFT_OUT,
    "Deadline.overdue": True,
    "Deadline.sign_id": LEFT_OUT,
    "Deadline.started_at": "2026-05-14T17:20:00Z",
    "Deadline.starting_fact_id": id_named("set_id"),
    "Deadline.state": "open",
    "RuleApplied.inputs": {"days": 1},
    "RuleApplied.kind": "calendar_day",
    "RuleApplied.rule": LOOK,
    "RuleApplied.state": "practice",
    "Why.attempts": [],
    "Why.sentence": WHY,
    "Why.started_at": "2026-05-14T17:20:00Z",
}
