"""A piece of work as it is claimed and taken up."""

from datetime import datetime
from uuid import UUID

from msgspec import Struct

# The first record of a visit; subject: the visit.
RECORD = "record"
# All records of a property whose visits ended at or after `since_at`; subject: the property.
RECORDS_ANEW = "records_anew"

# All deadlines of a property, after it, its features or the house policy changed; subject: the property.
PROPERTY_ANEW = "property_anew"
# Bodies that were refused because the property was not there yet; subject: the property.
REFUSALS_AGAIN = "refusals_again"
# Refused bodies that were kept long enough; subject: the business.
REFUSALS_OLD = "refusals_old"
# The reports of a permit, after it or a rule pack changed, and when its next reporting period begins; subject: the
# permit.
PERMIT_ANEW = "permit_anew"
# A sealed month into which a record was issued; subject: what stands for the month.
MONTH_SEALED_ANEW = "month_sealed_anew"
# Sets that stand though their job is closed; subject: the job.
LEFT_OUT = "left_out"

# Persons past the business's keeping times; subject: the business, or the person to go on after.
KEEPING = "keeping"


class Claimed(Struct, frozen=True):
    """Leased to one runner; `attempt` tells its word from that of a runner before or after."""

    business_id: UUID
    kind: str
    subject_id: UUID
    attempt: int


class Taken(Struct, frozen=True):
    """Taken off the queue, in the transaction that does it. Without `since_at`: from the beginning."""

    since_at: datetime | None
