"""Where a month begins and ends, and how its figures add up. Pure."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import datetime
from decimal import Decimal
from typing import get_args
from uuid import UUID
from zoneinfo import ZoneInfo

from service.kernel.days import start_of_day
from service.months.models import (
    Bounds,
    Figure,
    FigureName,
    FigureRow,
    Month,
    MonthSummary,
    PropertyMonth,
    PropertyRow,
    RecordRow,
    Records,
)
from service.records.rules import month_in

_PLACES: dict[str, int] = {name: place for place, name in enumerate(get_args(FigureName))}


def month_named(text: str) -> Month:
    """The month that `YYYY-MM` names; refuses as `unreadable` what is none."""
    first_on, until_on = month_in(text)
    return Month(first_on=first_on, until_on=until_on)


def bounds_in(month: Month, zones: Iterable[str]) -> list[Bounds]:
    """When the month begins and ends in each zone."""
    return [
        Bounds(
            zone=zone,
            from_at=start_of_day(month.first_on, ZoneInfo(zone)),
            until_at=start_of_day(month.until_on, ZoneInfo(zone)),
        )
        for zone in zones
    ]


def summary(
    month: Month,
    properties: Sequence[PropertyRow],
    figures: Sequence[FigureRow],
    records: Sequence[RecordRow],
    now: datetime,
) -> MonthSummary:
    """The month of all properties where something was or is overdue; the order of rows does not matter."""
    figures_of: dict[UUID, list[FigureRow]] = defaultdict(list)
    for figure in figures:
        figures_of[figure.property_id].append(figure)
    records_of: dict[UUID, list[RecordRow]] = defaultdict(list)
    for record in records:
        records_of[record.property_id].append(record)
    return MonthSummary(
        month=f"{month.first_on:%Y-%m}",
        first_on=month.first_on,
        until_on=month.until_on,
        as_of=now,
        figures=_totals(figures),
        records=_records(records),
        properties=[
            PropertyMonth(
                property_id=one.id,
                name=one.name,
                ref=one.ref,
                zone=one.zone,
                figures=[_figure(row) for row in sorted(figures_of[one.id], key=_place)],
                records=_records(records_of[one.id]),
            )
            for one in sorted(properties, key=lambda one: (one.name, one.id.bytes))
            if one.id in figures_of or one.id in records_of
        ],
    )


def _place(row: FigureRow) -> tuple[int, str]:
    return (_PLACES[row.figure], row.kind or "")


def _figure(row: FigureRow) -> Figure:
    return Figure(figure=row.figure, kind=row.kind, count=len(row.ids), area_m2=row.area_m2, ids=row.ids)


def _totals(rows: Sequence[FigureRow]) -> list[Figure]:
    """Every figure once for each kind, without the ids, which stand with the properties."""
    grouped: dict[tuple[FigureName, str | None], list[FigureRow]] = defaultdict(list)
    for row in sorted(rows, key=_place):
        grouped[row.figure, row.kind].append(row)
    return [
        Figure(
            figure=figure,
            kind=kind,
            count=sum(len(row.ids) for row in group),
            area_m2=_sum_of([row.area_m2 for row in group]),
        )
        for (figure, kind), group in grouped.items()
    ]


def _sum_of(areas: Sequence[str | None]) -> str | None:
    known = [Decimal(area) for area in areas if area is not None]
    return str(sum(known)) if known else None


def _records(rows: Sequence[RecordRow]) -> Records:
    named = sorted((f"{row.number}.{row.version}", row) for row in rows)
    standing = [(name, row) for name, row in named if not row.withdrawn]
    not_by_us = [name for name, row in standing if not row.pesticide_free_by_us]
    not_known = [name for name, row in standing if not row.pesticide_known_at_property]
    return Records(
        issued=[name for name, _ in standing],
        withdrawn=[name for name, row in named if row.withdrawn],
        pesticide_free_by_us=not not_by_us,
        not_free_by_us=not_by_us,
        pesticide_known_at_property=not not_known,
        not_known_at_property=not_known,
    )
