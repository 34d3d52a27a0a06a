"""Examples for the contract: plausible values by the name of a member, else by its type. Deterministic."""

from hashlib import sha256
from typing import Any

from msgspec import inspect

AN_INSTANT = "2026-05-14T17:00:00Z"
A_DATE = "2026-05-14"
PLAIN: dict[type, Any] = {
    inspect.DateTimeType: AN_INSTANT,
    inspect.DateType: A_DATE,
    inspect.BoolType: True,
    inspect.FloatType: 1.5,
}
BY_NAME: dict[str, Any] = {
    "name": "Alder Court School",
    "business_name": "Quiet Lawn Trapping",
    "number": "2026-000123",
    "zone": "America/Los_Angeles",
    "region": "US-CA",
    "county": "Sonoma",
    "address": "12 Sample Row",
    "addresses": ["12 Sample Row"],
    "email": "office@alder-court.example",
    "phone": "+1 555 0100",
    "url": "https://billing.example/hooks/setbook",
    "types": ["check.overdue", "record.*"],
    "target": "Scapanus latimanus",
    "species": "Scapanus latimanus",
    "mechanism": "scissor_jaw",
    "method": "mechanical trap",
    "authority": "Department of Fish and Wildlife",
    "kind": "school",
    "currency": "USD",
    "amount": "0.25",
    "area_m2": "0.135088",
    "unit": "kg",
    "told_by": "the groundskeeper",
    "who": "the groundskeeper",
    "how": "by telephone",
    "access_notes": "Gate by the bicycle shed; the code is in the office.",
    "customer_note": "Gate closed again.",
    "last_four": "9f3c",
    "sequence": "00000000000000000042",
    "deliverynumber": "7",
    "etag": '"1"',
    "amends": '"1"',
    "specversion": "1.0",
    "datacontenttype": "application/json",
    "month": "2026-05",
    "pointer": "#/checks/0/checked_at",
    "latitude": 38.44,
    "coordinates_Point": [-122.71, 38.44],
    "coordinates_LineString": [[-122.71, 38.44], [-122.7099, 38.4401]],
    "coordinates_Polygon": [
        [[-122.711, 38.44], [-122.71, 38.44], [-122.71, 38.441], [-122.711, 38.441], [-122.711, 38.44]]
    ],
}


def sample_of(of: Any) -> Any:
    """A plain JSON example of a type."""
    return _sample(inspect.type_info(of), "")


def _id(name: str) -> str:
    """A UUIDv7-shaped id that follows from the member's name."""
    digest = sha256(name.encode()).hexdigest()
    return f"0198f3a0-{digest[:4]}-7{digest[4:7]}-8{digest[7:10]}-{digest[10:22]}"


def _sample(kind: Any, name: str) -> Any:
    match kind:
        case inspect.Metadata():
            return _sample(kind.type, name)
        case inspect.StructType():
            return _struct(kind)
        case inspect.UnionType():
            return _sample(next(one for one in kind.types if not isinstance(one, inspect.NoneType)), name)
        case inspect.LiteralType():
            return BY_NAME[name] if BY_NAME.get(name) in kind.values else kind.values[0]
        case inspect.ListType() | inspect.VarTupleType() | inspect.SetType():
            return BY_NAME[name] if isinstance(BY_NAME.get(name), list) else [_sample(kind.item_type, name)]
        case inspect.DictType():
            return {}
        case _:
            return _scalar(kind, name)


def _struct(kind: inspect.StructType) -> dict[str, Any]:
    shown = {
        field.encode_name: BY_NAME[f"coordinates_{kind.tag}"]
        if field.encode_name == "coordinates"
        else _sample(field.type, field.encode_name)
        for field in kind.fields
    }
    if kind.tag_field is not None:
        shown = {kind.tag_field: kind.tag, **shown}
    return shown


def _scalar(kind: Any, name: str) -> Any:
    if isinstance(kind, inspect.StrType):
        return BY_NAME[name] if isinstance(BY_NAME.get(name), str) else f"{name.replace('_', ' ')} in words"
    if isinstance(kind, inspect.UUIDType):
        return _id(name)
    if isinstance(kind, inspect.IntType):
        return max(kind.ge or 1, 1)
    return PLAIN.get(type(kind), {})
