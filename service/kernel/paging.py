"""Keyset pages: opaque cursors that carry the database's epoch and the last row's place."""

from collections.abc import Callable, Sequence
from datetime import UTC, date, datetime
from typing import Annotated, Any, Generic, TypeVar
from uuid import UUID

import msgspec
from litestar import Request, Response
from litestar.params import Parameter

from service.kernel.base64url import base64url, from_base64url
from service.kernel.errors import Refused
from service.kernel.http import link_next
from service.kernel.values import Instant, Line

S = TypeVar("S")
FIRST_ID = UUID(int=0)
# what comes before every row
_FIRST: dict[type, Any] = {UUID: FIRST_ID, datetime: datetime(1, 1, 1, tzinfo=UTC), str: ""}

Limit = Annotated[int, Parameter(ge=1, le=500, description="most rows of a page")]
After = Annotated[
    str | None, Parameter(max_length=500, description="opaque cursor: `next` of the page before")
]

Since = Annotated[date | None, Parameter(description="first local service date, inclusive")]
Until = Annotated[date | None, Parameter(description="local service date where it ends, exclusive")]

# a cursor that somebody made by hand asks the database for nothing that it cannot hold
_CHECKED: dict[type, Any] = {
    str: Line,
    datetime: Instant,
    int: Annotated[int, msgspec.Meta(ge=0, le=2**63 - 1)],
}


class Page(msgspec.Struct, Generic[S], frozen=True, kw_only=True, omit_defaults=True):
    """Rows in order, and the cursor of the next page where there is one."""

    items: list[S]
    next: str | None = None


class Cursor(msgspec.Struct, frozen=True, array_like=True):
    """Where a page ended: the epoch it was made in, and the sort key of its last row."""

    epoch: UUID
    place: list[Any]


def encode_cursor(epoch: UUID, *place: object) -> str:
    """Opaque text of a place."""
    return base64url(msgspec.json.encode(Cursor(epoch, list(place))))


def decode_cursor(text: str | None, epoch: UUID, *kinds: type, name: str = "after") -> list[Any] | None:
    """The place a cursor names, as `kinds`, None for none; 410 where it is of another epoch, 400 where it is none.

    `name` is that of the parameter or header that it came in.
    """
    if not text:
        return None
    try:
        cursor = msgspec.json.decode(from_base64url(text), type=Cursor)
        checked = tuple(_CHECKED.get(kind, kind) for kind in kinds)
        named: list[Any] = list(msgspec.convert(cursor.place, tuple[checked], strict=False))  # type: ignore[valid-type]
        place = [each.astimezone(UTC) if isinstance(each, datetime) else each for each in named]
    except (ValueError, OverflowError) as wrong:
        raise Refused(
            "unreadable",
            f"`{name}` is no cursor of this list; give the `next` of an answer as it came, or leave it out.",
        ) from wrong
    if cursor.epoch != epoch:
        raise Refused(
            "cursor_gone",
            f"This cursor was made before the database was restored or moved; leave `{name}` out and read all again.",
        )
    return place


def place_after(request: "Request[Any, Any, Any]", after: str | None, *kinds: type) -> list[Any]:
    """The place that a list goes on from: where the cursor was made, else before its first row; refuses as above."""
    return decode_cursor(after, request.app.state.epoch, *kinds) or [_FIRST[kind] for kind in kinds]


def page(
    request: "Request[Any, Any, Any]", rows: Sequence[S], limit: int, key: Callable[[S], tuple[object, ...]]
) -> Response[Page[S]]:
    """A page of at most `limit` of the rows (ask the database for one more), with Link and next."""
    items = list(rows[:limit])
    if len(rows) <= limit:
        return Response(Page(items=items))
    cursor = encode_cursor(request.app.state.epoch, *key(items[-1]))
    return Response(Page(items=items, next=cursor), headers={"Link": link_next(request, cursor)})
