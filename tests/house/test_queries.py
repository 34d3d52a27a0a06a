"""The house rules of SQL: prepared by PostgreSQL, one writer a table, the business in every statement."""

import re

import asyncpg
import pytest

from service.kernel.db import connect
from tests.house.slices import python_of, queries_of, slices_with_queries, tables_written

# Statements that span businesses, each with its reason in the comment above it.
SPANNING = {
    "keys": {"list_keys"},
    "deadlines": {"say_what_is_due"},
    "events": {
        *("fan_out", "claim_deliveries", "list_keys_of_receivers"),
        *("settle_deliveries", "hand_back_deliveries"),
    },
    "work": {"claim_due", "put_everything_of_all"},
    "packs": {"note_rules"},
    "signatures": {"read_key_in_force", "insert_key", "list_public", "list_keys", "retire_others"},
    "replay": {"find_business"},
    "identity": {"insert_business", "insert_counter"},
}
# Erasing a person takes texts out of every table that holds some. Stand-alone treatments and upkeep share a table
# with those of visits; a check constraint keeps them apart. The clock's one statement writes its events and bumps the
# log's counter itself; records count their own numbers.
SHARED_TABLES = {
    "treatment": {"visits", "treatments", "erasure"},
    "upkeep": {"visits", "upkeep", "erasure"},
    **{table: {"visits", "erasure"} for table in ("visit", "visit_version", "told", "sign")},
    **{table: {"identity", "erasure"} for table in ("worker", "api_key")},
    **{table: {"properties", "erasure"} for table in ("property", "feature")},
    "customer": {"customers", "erasure"},
    "incident": {"incidents", "erasure"},
    "job": {"jobs", "erasure"},
    "refusal": {"refusals", "erasure"},
    "service_record": {"records", "erasure"},
    "stated_version": {"stated", "erasure"},
    "event": {"events", "deadlines"},
    "counter": {"events", "deadlines", "identity", "records"},
}


@pytest.mark.parametrize("slice_name", slices_with_queries())
async def test_every_query_is_prepared_against_the_migrated_schema(slice_name: str, database: str) -> None:
    async with connect(database) as connection:
        await connection.execute("set search_path = setbook")
        for query in queries_of(slice_name).values():
            try:
                await connection.prepare(query.text)
            except asyncpg.PostgresError as error:
                pytest.fail(f"{slice_name}.{query.name}: {error}")


@pytest.mark.parametrize("slice_name", slices_with_queries())
def test_every_query_is_used_in_its_slice_or_through_its_door(slice_name: str) -> None:
    python = "\n".join(python_of(name) for name in {slice_name, *slices_with_queries()} | {"serve"})
    unused = [name for name in queries_of(slice_name) if not re.search(rf"\.{name}\b", python)]
    assert not unused


def test_a_table_has_one_writer() -> None:
    writers: dict[str, set[str]] = {}
    for slice_name in slices_with_queries():
        for query in queries_of(slice_name).values():
            for table in tables_written(query.text):
                writers.setdefault(table, set()).add(slice_name)
    several = {table: names for table, names in writers.items() if len(names) > 1}
    assert {table: names for table, names in several.items() if SHARED_TABLES.get(table) != names} == {}


@pytest.mark.parametrize("slice_name", slices_with_queries())
def test_a_query_names_the_business_or_is_listed(slice_name: str) -> None:
    without = {
        name for name, query in queries_of(slice_name).items() if "business_id" not in query.parameters
    }
    assert without == SPANNING.get(slice_name, set())
