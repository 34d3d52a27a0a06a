"""What people write in the bodies that they state, and bodies without it. Pure."""

from typing import Any

import msgspec

from service.kernel.canonical import canonical
from service.kernel.values import Caution

# What stands where a text must stand and was erased.
GONE = "erased"
# What is said where they were left out of something that came later.
TEXTS_NOT_KEPT = Caution(
    code="texts_not_kept",
    detail="The customer of that day was erased; what was done is kept, and what people wrote is not.",
)
# Free texts of a visit's body, of what is stated alone, of a property: what a person may be named in.
TEXTS = {
    *("notes", "customer_note", "no_access_reason", "amend_reason", "told_by", "who"),
    *("access_notes", "address", "email", "phone", "ref", "description", "measures"),
}
# Those that a body cannot do without.
NEEDED = {"who", "description"}


def redacted(body: Any) -> Any:
    """A stated body without what people wrote: all other members as they are, so that all that follows stays."""
    match body:
        case dict():
            # how somebody was told is free text; how soil was cleared or turf repaired is a closed list
            told = "who" in body
            return {
                name: GONE if name in NEEDED or (told and name == "how") else redacted(value)
                for name, value in body.items()
                if name not in TEXTS or name in NEEDED
            }
        case list():
            return [redacted(one) for one in body]
        case _:
            return body


def redacted_bytes(raw: bytes) -> bytes:
    """The same of a body as it came; of one that cannot be read, nothing stays."""
    try:
        return canonical(redacted(msgspec.json.decode(raw)))
    except (msgspec.DecodeError, ValueError, UnicodeError):
        return b""
