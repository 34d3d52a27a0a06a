"""Which dates are asked for, how the figures add up, and the report as CSV. Pure."""

import csv
import io
import re
from collections.abc import Iterable, Sequence
from datetime import date, datetime
from zoneinfo import ZoneInfo

from msgspec.structs import asdict

from service.animals_taken.models import AnimalsTaken, Bounds, PermitTaken, Taken, TakenRow
from service.deadlines.why import NOTICE
from service.kernel.days import ONE_DAY, start_of_day
from service.kernel.errors import Refused
from service.kernel.sentences import shown
from service.kernel.values import REGION

# What people wrote is guarded; all else has a form that needs no quotes and starts no formula.
COLUMNS = (
    "from_on", "until_on", "species", "sex", "region", "county", "mechanism", "fate", "count", "permit", "authority",
    "catch_ids",
)  # fmt: skip
# No catch lies outside these, so dates beyond them ask for no more.
FIRST_DATE, LAST_DATE = date(1899, 1, 1), date(2202, 1, 1)
_REGION = re.compile(REGION)
_FORMULA = re.compile("[\\s\u00a0\u3000\ufeff]*[=+\\-@＝＋－＠]|[\t\r\n]")


def check_asked(from_on: date, until_on: date, region: str | None) -> None:
    """Refuses as `unreadable` dates in the wrong order, and a region that is none."""
    if until_on <= from_on:
        raise Refused(
            "unreadable",
            f"`until` is exclusive and must come after `from`; {until_on} does not come after {from_on}.",
        )
    if region is not None and _REGION.fullmatch(region) is None:
        raise Refused("unreadable", f"`region` is an ISO 3166-2 code such as US-OR, not {shown(region)}.")


def within(day: date) -> date:
    """The day, or the first or last one on which a catch can lie."""
    return min(max(day, FIRST_DATE), LAST_DATE)


def bounds_in(from_on: date, until_on: date, zones: Iterable[str]) -> list[Bounds]:
    """When the dates begin and end in each zone."""
    return [
        Bounds(
            zone=zone,
            from_at=start_of_day(within(from_on), ZoneInfo(zone)),
            until_at=start_of_day(within(until_on), ZoneInfo(zone)),
        )
        for zone in zones
    ]


def report(
    from_on: date,
    until_on: date,
    region: str | None,
    permit: PermitTaken | None,
    rows: Sequence[TakenRow],
    now: datetime,
) -> AnimalsTaken:
    """The report; the order of the rows that come does not matter."""
    counted = [Taken(**asdict(row), count=len(row.catch_ids)) for row in sorted(rows, key=_place)]
    total = sum(row.count for row in counted)
    return AnimalsTaken(
        from_on=from_on,
        until_on=until_on,
        region=region,
        permit=permit,
        as_of=now,
        total=total,
        nil=total == 0,
        sentence=_sentence(from_on, until_on, permit, total),
        rows=counted,
        notice=NOTICE,
    )


def as_csv(taken: AnimalsTaken) -> bytes:
    """RFC 4180 with a header; a nil report is one row that counts 0.

    Texts carry an apostrophe before what a spreadsheet would take for a formula.
    """
    permit = ("", "") if taken.permit is None else (taken.permit.number, taken.permit.authority)
    shared = {"from_on": taken.from_on.isoformat(), "until_on": taken.until_on.isoformat()}
    shared |= {"permit": _guarded(permit[0]), "authority": _guarded(permit[1])}
    lines = [
        shared
        | {
            "species": row.species,
            "sex": row.sex,
            "region": row.region,
            "county": _guarded(row.county or ""),
            "mechanism": _guarded(row.mechanism),
            "fate": row.fate,
            "count": str(row.count),
            "catch_ids": " ".join(map(str, row.catch_ids)),
        }
        for row in taken.rows
    ]
    if taken.nil:
        lines.append(shared | {"count": "0", "region": taken.region or ""})
    rows = [[line.get(name, "") for name in COLUMNS] for line in lines]
    return "".join(_line(line) for line in [list(COLUMNS), *rows]).encode()


def _line(fields: Sequence[str]) -> str:
    out = io.StringIO()
    csv.writer(out, lineterminator="\r\n").writerow(fields)
    return out.getvalue()


def _guarded(text: str) -> str:
    return f"'{text}" if _FORMULA.match(text) else text


def _place(row: TakenRow) -> tuple[str, ...]:
    return (row.species, row.sex, row.region, row.county or "", row.mechanism, row.fate)


def _sentence(from_on: date, until_on: date, permit: PermitTaken | None, total: int) -> str:
    under = "" if permit is None else f" under permit {permit.number}"
    days = f"from {from_on} to {until_on - ONE_DAY}"
    if total == 0:
        said = f"No animal was taken {days}{under}: this is a nil report"
        return f"{said}, and one is due." if permit is not None and permit.nil_due else f"{said}."
    animals = "1 animal was" if total == 1 else f"{total} animals were"
    return f"{animals} taken {days}{under}."
