"""Value types of the contract: text, instants, measures and positions, with their units and limits.

The limits live in the types, so that the JSON Schema, the OpenAPI document and the decoder say the same.
`extra` names what `kernel/faults.py` looks at beyond them.
"""

from datetime import date, datetime
from typing import Annotated, Literal
from uuid import UUID

from msgspec import Meta, Struct

# PostgreSQL refuses NUL in text; other control characters but line breaks and tabs have no place in a record.
LINE = r"^[^\u0000-\u001f\u007f]*$"
_LINES = r"^[^\u0000-\u0008\u000b\u000c\u000e-\u001f\u007f]*$"

Name = Annotated[str, Meta(min_length=1, max_length=200, pattern=LINE)]
Line = Annotated[str, Meta(max_length=500, pattern=LINE)]
Notes = Annotated[str, Meta(max_length=10_000, pattern=_LINES)]

Instant = Annotated[
    datetime, Meta(tz=True, description="RFC 3339 with an offset, e.g. 2026-05-14T10:00:00-07:00")
]
FutureInstant = Annotated[
    datetime, Meta(tz=True, description="RFC 3339 with an offset; may lie ahead", extra={"future": True})
]
LocalDate = Annotated[date, Meta(description="calendar date, e.g. 2026-05-14")]

Count = Annotated[int, Meta(ge=0, le=1_000_000)]
LengthMm = Annotated[int, Meta(ge=0, le=1_000_000, description="millimetres")]
MassG = Annotated[int, Meta(ge=0, le=100_000, description="grams")]
Degrees = Annotated[int, Meta(ge=0, le=360, description="degrees from north, clockwise")]
DegreesE7 = Annotated[int, Meta(description="degrees times 10^7, WGS 84")]
DurationMs = Annotated[int, Meta(ge=0, description="milliseconds")]
_DECIMAL = r"^[0-9]{1,12}(\.[0-9]{1,6})?$"
Amount = Annotated[str, Meta(pattern=_DECIMAL, description="decimal in plain notation, e.g. 0.25")]
AreaM2 = Annotated[
    str, Meta(pattern=_DECIMAL, description="square metres as a decimal in plain notation, e.g. 0.25")
]
# of what is worked out, which may have more digits than anyone states
AreaShownM2 = Annotated[str, Meta(description="square metres as a decimal, e.g. 0.25")]
TrapNights = Annotated[str, Meta(description="trap-nights as a decimal, e.g. 3.5")]

Zone = Annotated[
    str,
    Meta(
        min_length=1,
        max_length=64,
        pattern=LINE,
        description="IANA time zone, e.g. America/Los_Angeles",
        extra={"zone": True},
    ),
]
REGION = r"^[A-Z]{2}(-[A-Z0-9]{1,3})?$"
Region = Annotated[str, Meta(pattern=REGION, description="ISO 3166-2 code, or ISO 3166-1 alpha-2")]
Species = Annotated[
    str,
    Meta(
        pattern=r"^(unidentified|[A-Z][a-z]+ [a-z-]+( [a-z-]+)?)$",
        max_length=100,
        description="binomial, e.g. Scapanus latimanus, or unidentified",
    ),
]
Ids = Annotated[list[UUID], Meta(max_length=100)]

# What a key may do: post visits, read, run the office, subscribe to events, hold the keys.
Scope = Literal["record", "read", "office", "events", "admin"]
Mechanism = Literal["scissor_jaw", "harpoon", "choker_loop", "two_prong_pincer", "snap", "box", "live_tunnel"]
FootTraffic = Literal["none", "some", "path"]
# what is to be heeded at a property
Hazard = Literal[
    "foot_traffic",
    "children",
    "pets",
    "livestock",
    "buried_cables",
    "irrigation",
    "gas_line",
    "hollowed_paving",
    "water",
    "vehicles",
]

# RFC 7946: longitude, latitude in degrees, optionally altitude in metres; WGS 84.
Position = Annotated[
    list[float],
    Meta(min_length=2, max_length=3, description="[longitude, latitude]", extra={"position": True}),
]


class Caution(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """Something the trade would warn of, or that does not fit beside other facts; stored all the same."""

    code: str
    detail: str
    fact_id: UUID | None = None


class Erased(Struct, frozen=True, kw_only=True):
    """When somebody's personal data were erased, and on which ground."""

    at: Instant
    ground: str


class Point(Struct, frozen=True, tag="Point", tag_field="type", forbid_unknown_fields=True):
    """GeoJSON Point (RFC 7946 section 3.1.2)."""

    coordinates: Position


class LineString(Struct, frozen=True, tag="LineString", tag_field="type", forbid_unknown_fields=True):
    """GeoJSON LineString (RFC 7946 section 3.1.4)."""

    coordinates: Annotated[list[Position], Meta(min_length=2, max_length=1_000)]


class Polygon(Struct, frozen=True, tag="Polygon", tag_field="type", forbid_unknown_fields=True):
    """GeoJSON Polygon (RFC 7946 section 3.1.6): closed rings, the first one outside."""

    coordinates: Annotated[
        list[Annotated[list[Position], Meta(min_length=4, max_length=10_000)]],
        Meta(min_length=1, max_length=100, extra={"rings": True}),
    ]


def is_within(region: str, whole: str) -> bool:
    """Whether a region is `whole` or a part of it; both ISO 3166 codes as in `Region`."""
    return region == whole or region.startswith(f"{whole}-")
