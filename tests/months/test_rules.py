"""Where a month begins in a zone, and how figures add up; sums are our own arithmetic."""

from datetime import UTC, date, datetime
from typing import Any
from uuid import UUID

from hypothesis import given, settings
from hypothesis import strategies as st

from service.months.models import Bounds, Figure, FigureRow, Month, PropertyRow, RecordRow
from service.months.rules import bounds_in, month_named, summary

MAY = Month(first_on=date(2026, 5, 1), until_on=date(2026, 6, 1))
NOW = datetime(2026, 5, 20, tzinfo=UTC)
A, B = (
    PropertyRow(id=UUID(int=number), name=name, ref=None, zone="America/Los_Angeles")
    for number, name in ((1, "Upper green"), (2, "Alder Court"))
)


def row(
    figure: Any, at: PropertyRow, *ids: int, kind: str | None = None, area: str | None = None
) -> FigureRow:
    return FigureRow(
        figure=figure, property_id=at.id, kind=kind, ids=[UUID(int=one) for one in ids], area_m2=area
    )


def record(number: int, at: PropertyRow, **more: Any) -> RecordRow:
    stated = {"version": 1, "visit_id": UUID(int=number), "withdrawn": False, "property_id": at.id}
    claims = {"pesticide_free_by_us": True, "pesticide_known_at_property": True}
    return RecordRow(number=f"2026-{number:06}", **{**stated, **claims, **more})


def test_a_month_is_bounded_by_the_local_days_of_each_zone():
    """Los Angeles keeps daylight time from March to November (UTC-7), so does New York (UTC-4)."""
    assert month_named("2026-05") == MAY
    assert bounds_in(MAY, ["America/Los_Angeles", "America/New_York"]) == [
        Bounds(
            zone=zone,
            from_at=datetime(2026, 5, 1, hour, tzinfo=UTC),
            until_at=datetime(2026, 6, 1, hour, tzinfo=UTC),
        )
        for zone, hour in (("America/Los_Angeles", 7), ("America/New_York", 4))
    ]


def test_totals_add_up_the_properties_and_leave_the_ids_there():
    figures = [
        row("catches", A, 11, 12, kind="Scapanus latimanus"),
        row("visits", A, 1, 2),
        row("visits", B, 3),
        row("catches", B, 13, kind="Scapanus latimanus"),
        row("lawn_patches", A, 21, kind="in_time", area="0.135088"),
        row("lawn_patches", B, 22, 23, kind="in_time", area="0.494801"),
        row("lawn_patches", B, 24, kind="late"),
    ]
    month = summary(MAY, [A, B], figures, [], NOW)
    assert month.figures == [
        Figure(figure="visits", count=3),
        Figure(figure="catches", kind="Scapanus latimanus", count=3),
        Figure(figure="lawn_patches", kind="in_time", count=3, area_m2="0.629889"),
        Figure(figure="lawn_patches", kind="late", count=1),
    ]
    assert [one.name for one in month.properties] == ["Alder Court", "Upper green"]
    assert month.properties[1].figures[0] == Figure(figure="visits", count=2, ids=[UUID(int=1), UUID(int=2)])


def test_a_claim_of_the_month_holds_where_it_holds_in_every_record_that_stands():
    records = [
        record(2, A, pesticide_known_at_property=False),
        record(1, A),
        record(3, B, withdrawn=True, pesticide_free_by_us=False, pesticide_known_at_property=False),
    ]
    month = summary(MAY, [A, B], [], records, NOW)
    assert month.records.issued == ["2026-000001.1", "2026-000002.1"]
    assert month.records.withdrawn == ["2026-000003.1"]
    assert month.records.pesticide_free_by_us
    assert not month.records.pesticide_known_at_property
    assert month.records.not_known_at_property == ["2026-000002.1"]
    assert [one.records.issued for one in month.properties] == [[], ["2026-000001.1", "2026-000002.1"]]


def test_a_property_where_nothing_was_is_left_out():
    assert summary(MAY, [A, B], [row("visits", A, 1)], [], NOW).properties[0].property_id == A.id
    assert len(summary(MAY, [A, B], [row("visits", A, 1)], [], NOW).properties) == 1


@settings(deadline=None)  # what else the machine does must not fail it
@given(st.randoms(use_true_random=False))
def test_the_order_of_the_rows_does_not_matter(random):
    figures = [row("visits", A, 1), row("visits", B, 2), row("looks", A, 3), row("catches", B, 4, kind="x")]
    records = [record(1, A), record(2, B)]
    shuffled = summary(
        MAY, random.sample([A, B], 2), random.sample(figures, 4), random.sample(records, 2), NOW
    )
    assert shuffled == summary(MAY, [A, B], figures, records, NOW)
