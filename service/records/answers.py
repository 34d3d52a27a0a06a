"""What is asked of records over HTTP, and what is answered beside the record itself."""

from datetime import date
from uuid import UUID

from msgspec import Struct

from service.claims.models import FreeAtProperty, FreeByUs
from service.kernel.values import Erased, Instant
from service.records.models import MonthName, Party, SignedRecord


class BilledIn(Struct, frozen=True, kw_only=True):
    """The invoice that a version went into."""

    invoice_ref: str
    billed_on: date | None
    received_at: Instant


class RecordVersion(Struct, frozen=True, kw_only=True):
    """One version of a record in short; its bytes are at `/v1/service-records/{number}.{version}`."""

    version: int
    issued_at: Instant
    service_on: date
    visit_id: UUID | None
    month: str | None
    withdrawn: bool
    pesticide_free_by_us: FreeByUs
    pesticide_known_at_property: FreeAtProperty
    sha256: str
    billed: BilledIn | None


class RecordVersions(Struct, frozen=True, kw_only=True, tag="service_record_versions", tag_field="noun"):
    """Every version of a record, oldest first."""

    number: str
    versions: list[RecordVersion]


class RecordWithParty(
    SignedRecord, frozen=True, kw_only=True, tag="service_record_with_party", tag_field="noun"
):
    """A version with the persons beside it; `party_hash` in the record binds the party block to it.

    `party` is null once it was erased: `erased` then says when and on which ground, and else is left out. No hash or
    signature binds `erased`: it is the business's word.
    """

    erased: Erased | None = None
    party: Party | None


class NewRecord(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, omit_defaults=True):
    """What a record is to be issued for: a visit, or a property's local month that has ended."""

    visit_id: UUID | None = None
    property_id: UUID | None = None
    month: MonthName | None = None
