"""Whether a version may be billed, or was. Pure."""

from service.billed.models import Billed, NewBilled, Stand
from service.kernel.errors import Refused


def is_new(record: str, stand: Stand, new: NewBilled) -> bool:
    """True where the version is billed now, False where the same was said before; else `conflict`."""
    if stand.invoice_ref is None:
        if stand.withdrawn:
            raise Refused(
                "conflict", f"Version {record} takes its record back; there is nothing in it to bill."
            )
        return True
    if (stand.invoice_ref, stand.billed_on) == (new.invoice_ref, new.billed_on):
        return False
    on = f" on {stand.billed_on}" if stand.billed_on else ""
    raise Refused(
        "conflict",
        f"Version {record} was billed already, in invoice {stand.invoice_ref}{on}; "
        "credit that invoice in your billing system, and bill a later version if there is one.",
    )


def billed(number: str, version: int, stand: Stand) -> Billed:
    """What is answered of a version that was billed."""
    assert stand.invoice_ref is not None  # noqa: S101 narrows the type
    assert stand.received_at is not None  # noqa: S101 narrows the type
    return Billed(
        record=f"{number}.{version}",
        latest=f"{number}.{stand.latest_version}",
        invoice_ref=stand.invoice_ref,
        billed_on=stand.billed_on,
        received_at=stand.received_at,
    )
