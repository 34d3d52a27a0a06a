"""The door to properties: how one is kept, with its features and tenures, and what a change of one touches."""

from typing import Any

from service.events.outbox import Entry
from service.kernel.sql import Queries
from service.properties.models import Feature, NewFeature, NewProperty, NewTenure, Property, Tenure
from service.stated.door import Noun, Outcome
from service.work import door as work
from service.work.models import PROPERTY_ANEW, REFUSALS_AGAIN

sql = Queries(__package__)
PROPERTY = Noun(
    "property", "properties", NewProperty, Property, sql.read_property, sql.put_property, sql.list_properties
)
FEATURE = Noun(
    "feature",
    "properties/{property_id:uuid}/features",
    NewFeature,
    Feature,
    sql.read_feature,
    sql.put_feature,
    sql.list_features,
    parent=PROPERTY,
)
TENURE = Noun(
    "tenure",
    "properties/{property_id:uuid}/tenures",
    NewTenure,
    Tenure,
    sql.read_tenure,
    sql.put_tenure,
    sql.list_tenures,
    {"tenure_check": "`until_on` comes after `from_on`"},
    parent=PROPERTY,
)


async def property_changed(entry: Entry, outcome: Outcome[Any]) -> None:
    """A new property takes in the visits that waited for it; an amended one has its deadlines worked out anew."""
    kind = REFUSALS_AGAIN if outcome.before is None else PROPERTY_ANEW
    await work.put(entry, kind, outcome.now.id, None, entry.now)


async def part_changed(entry: Entry, outcome: Outcome[Any]) -> None:
    """A feature bears on which mounds a survey covers; a tenure on whose record it is."""
    await work.put(entry, PROPERTY_ANEW, outcome.now.property_id, None, entry.now)
