"""A customer: whom the work is done for."""

from typing import Annotated
from uuid import UUID

from msgspec import Meta, Struct, field

from service.kernel.values import Erased, Instant, Line, Name


class NewCustomer(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, omit_defaults=True):
    """A customer as stated; `ref` is the number it has in the billing system."""

    name: Name
    ref: Line | None = None
    email: Line | None = None
    phone: Line | None = None
    addresses: Annotated[list[Line], Meta(max_length=10)] = field(default_factory=list)


class Customer(NewCustomer, frozen=True, kw_only=True):
    """A customer as kept; of one who was erased, what is left."""

    id: UUID
    version: int
    received_at: Instant
    erased: Erased | None = None
