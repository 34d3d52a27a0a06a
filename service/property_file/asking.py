"""How a file is asked for: its audience, its period, its form. Pure, but for the header that it reads."""

from collections.abc import Sequence
from datetime import date
from typing import Literal, get_args
from uuid import UUID

from service.kernel.errors import Refused
from service.kernel.http import form_of
from service.kernel.sentences import shown
from service.property_file.models import Asked, Audience

Format = Literal["pdf", "zip"]
MEDIA: dict[str, Format] = {"application/pdf": "pdf", "application/zip": "zip"}


def asked_for(audience: str, from_on: date | None, until_on: date | None, customer_id: UUID | None) -> Asked:
    """What was asked for; refuses as `unreadable` an audience that is none, and a period that is none."""
    named = next((one for one in get_args(Audience) if one == audience), None)
    if named is None:
        raise Refused(
            "unreadable", f"There is no audience {shown(audience)}; ask for {_listed(get_args(Audience))}."
        )
    if from_on is not None and until_on is not None and until_on <= from_on:
        raise Refused(
            "unreadable",
            f"`until` is exclusive and must come after `from`; {until_on} does not come after {from_on}.",
        )
    if customer_id is not None and named != "customer":
        raise Refused("unreadable", f"`customer_id` goes with audience=customer, not with {named}.")
    return Asked(audience=named, from_on=from_on, until_on=until_on, customer_id=customer_id)


def format_of(wanted: str | None, accept: str | None) -> Format:
    """What `format` says, else what Accept likes best (RFC 9110 section 12.5.1); 406 where there is none."""
    found = form_of(wanted, accept, MEDIA)
    if found is None:
        listed = _listed([f"{media} (format={form})" for media, form in MEDIA.items()])
        raise Refused("not_acceptable", f"A property's file comes as {listed}; ask for one of these.")
    return found


def _listed(words: Sequence[str]) -> str:
    return f"{', '.join(words[:-1])} or {words[-1]}"
