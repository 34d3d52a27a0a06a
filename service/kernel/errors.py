"""What a rule or a query raises, and the one map from it to an HTTP answer (RFC 9457)."""

from uuid import UUID

from msgspec import Struct, field

TITLES = {
    "unreadable": (400, "The request cannot be read"),
    "no_key": (401, "An API key is needed"),
    "scope_missing": (403, "The key lacks a scope"),
    "not_found": (404, "Not found"),
    "method_not_allowed": (405, "Method not allowed"),
    "not_acceptable": (406, "No such format"),
    "conflict": (409, "Against what is stored"),
    "cursor_gone": (410, "The cursor is of another epoch"),
    "stale": (412, "The version has moved on"),
    "too_large": (413, "The body is too large"),
    "unsupported_media_type": (415, "The media type is not taken"),
    "invalid": (422, "The body is wrong"),
    "precondition_required": (428, "If-Match is needed"),
    "internal": (500, "Our fault"),
    "unavailable": (503, "Not ready"),
}


class Fault(Struct, frozen=True):
    """One fault of a body: a sentence that says what to mend, and where (RFC 6901, as a URI fragment)."""

    detail: str
    pointer: str
    code: str = "wrong"


class Problem(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """RFC 9457 problem details; `errors` lists every fault of the body."""

    type: str
    title: str
    status: int
    detail: str
    errors: list[Fault] = field(default_factory=list)
    refusal_id: UUID | None = None


class Refused(Exception):
    """The request is refused; `kind` is a key of TITLES, `detail` one sentence that says what to mend."""

    def __init__(
        self, kind: str, detail: str, errors: list[Fault] | None = None, headers: dict[str, str] | None = None
    ) -> None:
        super().__init__(detail)
        self.kind = kind
        self.detail = detail
        self.errors = errors or []
        self.headers = headers or {}
        self.refusal_id: UUID | None = None

    def problem(self) -> Problem:
        """As it goes out."""
        status, title = TITLES[self.kind]
        return Problem(
            type=f"/problems/{self.kind}",
            title=title,
            status=status,
            detail=self.detail,
            errors=self.errors,
            refusal_id=self.refusal_id,
        )


class Missing(Refused):
    """Not there, or another business's: the same answer."""

    def __init__(self, what: str = "This") -> None:
        super().__init__("not_found", f"{what} is not in your book; check the id and the key's business.")


def invalid(faults: list[Fault]) -> Refused:
    """All faults of a body in one refusal."""
    more = f" ({len(faults)} faults in all)" if len(faults) > 1 else ""
    return Refused("invalid", f"{faults[0].detail}{more}", faults)


class CannotStart(Exception):
    """A process cannot do its work at all; the text is one sentence that says what to mend, with the line to type."""
