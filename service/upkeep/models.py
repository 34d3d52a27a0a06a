"""Upkeep on its own: nobody of ours was there."""

from typing import Literal
from uuid import UUID

from msgspec import Struct, field

from service.kernel.values import Caution, Instant, Line


class NewUpkeep(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, omit_defaults=True):
    """What the turf got; without a feature it is the whole property's."""

    property_id: UUID
    kind: Literal["mown", "watered", "rain", "rolled", "aerated"]
    at: Instant
    feature_id: UUID | None = None
    told_by: Line | None = None


class KnownUpkeep(NewUpkeep, frozen=True, kw_only=True):
    """Upkeep as kept; `visit_id` where a visit states it, and then it is amended there."""

    id: UUID
    version: int
    received_at: Instant
    visit_id: UUID | None = None
    # what the answer to whoever sent it adds
    warnings: list[Caution] = field(default_factory=list)
