"""What an amendment of one fact may hold, beyond what the facts of a visit already say."""

from service.facts.models import Catch, Set, Sign, TrapNo
from service.kernel.values import Line


class SignAmended(Sign, frozen=True, kw_only=True):
    """A sign, and why it is changed."""

    amend_reason: Line | None = None


class SetAmended(Set, frozen=True, kw_only=True):
    """A set, and why it is changed."""

    amend_reason: Line | None = None


class CatchAmended(Catch, frozen=True, kw_only=True):
    """A catch of a visit, or one of a check: that has `trap_no` in place of `caught_at` and `method`."""

    trap_no: TrapNo | None = None
    amend_reason: Line | None = None
