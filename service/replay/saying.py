"""A replay as it is printed: the sentence, every rule with its own instant, and whether the book agrees. Pure."""

from collections.abc import Iterator

from service.deadlines.models import RuleApplied
from service.replay.models import Replayed


def lines(found: Replayed) -> Iterator[str]:
    """One line a thing; the last says whether the book agrees."""
    again = found.derived
    if again is not None:
        yield again.why.sentence
        yield again.why.notice
        yield ""
        yield from (_rule(one, is_winner=one.rule_name == again.why.winner) for one in again.why.rules)
        yield ""
        yield f"Replayed: due {again.due_at:%Y-%m-%dT%H:%M:%SZ}, {again.state}."
    else:
        yield "Replayed: the stated facts give no such deadline (any more)."
    yield f"The book: due {found.entered.due_at:%Y-%m-%dT%H:%M:%SZ}, {found.entered.state}."
    if not found.differing:
        yield "They agree."
    else:
        queued = "; it is being worked out anew" if found.entered.is_being_worked_out_anew else ""
        yield f"They differ in {', '.join(found.differing)}{queued}."


def _rule(one: RuleApplied, *, is_winner: bool) -> str:
    """A rule: its instant or why it has none, its words, its text."""
    if one.due_at is not None:
        when = f"{one.due_at:%Y-%m-%dT%H:%M:%SZ}"
    elif one.exempted_by is not None:
        when = f"left out by {one.exempted_by}"
    elif one.replaced_by is not None:
        when = f"replaced by {one.replaced_by}"
    else:
        when = "shown"
    source = "" if one.citation is None else f" [{one.state}: {one.citation}]"
    return f"{'*' if is_winner else ' '} {when:20} {one.rule_name}: {one.rule}{source}"
