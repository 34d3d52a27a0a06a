"""A refusal: the bytes of a visit that was refused, why, and what became of it."""

from uuid import UUID

from msgspec import Struct

from service.kernel.errors import Problem
from service.kernel.values import Instant


class Refusal(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A kept body as listed; kept for 90 days."""

    id: UUID
    claimed_id: UUID | None = None
    status: int
    problem: Problem
    received_at: Instant
    accepted_at: Instant | None = None
    accepted_visit_id: UUID | None = None


class RefusedBody(Refusal, frozen=True, kw_only=True, omit_defaults=True):
    """A refusal with the text that was sent; bytes that are no UTF-8 show as replacement characters."""

    text: str


class RefusalRow(Refusal, frozen=True, kw_only=True):
    """A refusal with the bytes that were sent."""

    body: bytes

    def shown(self) -> RefusedBody:
        """With text for bytes."""
        members = {name: getattr(self, name) for name in Refusal.__struct_fields__}
        return RefusedBody(**members, text=self.body.decode(errors="replace"))


class KeptBody(Struct, frozen=True):
    """What trying again needs of a refusal."""

    id: UUID
    claimed_id: UUID | None
    key_id: UUID
    body: bytes


class Kept(Struct, frozen=True):
    """A refusal's id, and the visit that its mended body became."""

    id: UUID
    accepted_visit_id: UUID | None
