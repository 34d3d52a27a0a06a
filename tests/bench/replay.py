"""Has pgbench send what the service sends: its statements for one request are captured, then told of other things."""

import re
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from typing import Any, NamedTuple

import httpx
from asyncpg.connection import LoggedQuery

from fixtures.running import Failed
from service.app import create_app
from service.kernel.db import connect, open_pool
from service.kernel.ids import new_id
from service.kernel.now import random_bytes
from tests.bench.load import CONNECTIONS, with_values
from tests.http import PUBLIC_URL

ID = re.compile(r"[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}")
# each client counts its own transactions; what one is about was laid down beforehand, in one more select
HEAD = f"\\set i :i + 1\n\\set n :i * {CONNECTIONS} + :client_id\n"


class Statement(NamedTuple):
    """What was sent, and its parameters as PostgreSQL writes them down, each with its type."""

    text: str
    parameters: list[tuple[str | None, str]]


class Replay(NamedTuple):
    """A script for pgbench, its variables, and the texts with ids in them that differ from visit to visit."""

    script: str
    variables: dict[str, object]
    varying: list[str]


async def captured(url: str, key: str, requests: list[tuple[str, Any]]) -> list[Statement]:
    """The statements of the last of these PUTs (path and body); the others warm the connection up."""
    sent: list[LoggedQuery] = []
    async with await open_pool(url, "app", 1) as pool:
        async with pool.acquire() as connection:
            connection.add_query_logger(sent.append)
        app = create_app(pool, new_id(), random_bytes(32), PUBLIC_URL)
        transport = httpx.ASGITransport(app)  # type: ignore[arg-type]
        async with httpx.AsyncClient(transport=transport, base_url=PUBLIC_URL) as client:
            for path, body in requests:
                sent.clear()
                answer = await client.put(path, json=body, headers={"Authorization": f"Bearer {key}"})
                if answer.status_code != 201:
                    raise Failed(f"A visit is not answered as it should be: {answer.text}")
            logged = list(sent)
        async with pool.acquire() as connection:
            return [await _written_down(connection, one) for one in logged]


async def _written_down(connection: Any, logged: LoggedQuery) -> Statement:
    if not logged.args:
        return Statement(logged.query.rstrip(";"), [])
    prepared = await connection.prepare(logged.query)
    types = [one.name for one in prepared.get_parameters()]
    texts = [
        await connection.fetchval(f"select $1::{kind}::text", value)
        for kind, value in zip(types, logged.args, strict=True)
    ]
    return Statement(logged.query, list(zip(texts, types, strict=True)))


def replayed(statements: list[Statement]) -> Replay:
    """The same statements with variables for their parameters; pgbench has no null, so that one is written out."""
    texts = {text for one in statements for text, _ in one.parameters if text is not None}
    varying = sorted(text for text in texts if ID.search(text))
    names = {text: f"v{number}" for number, text in enumerate(varying)}
    fixed = {f"c{number}": text for number, text in enumerate(sorted(texts - set(varying)))}
    names |= {text: name for name, text in fixed.items()}

    def variable(text: str | None, kind: str) -> str:
        return f"null::{kind}" if text is None else f":{names[text]}::{kind}"

    columns = ", ".join(names[text] for text in varying)
    lines = [f"select {columns} from bench.given where n = :n \\gset\n"]  # noqa: S608
    lines += [
        with_values(one.text, [variable(*each) for each in one.parameters]) + ";\n" for one in statements
    ]
    return Replay(HEAD + "".join(lines), {"i": -1} | fixed, varying)


async def lay_down(url: str, varying: list[str], visits: Iterable[Mapping[str, str]]) -> None:
    """A row of the varying texts for each visit, with the ids of that visit; an id not given is a fresh one."""
    async with connect(url) as admin:
        columns = [f"v{number}" for number in range(len(varying))]
        await admin.execute(
            "create schema if not exists bench; grant usage on schema bench to setbook_app;"
            "drop table if exists bench.given;"
            f"create unlogged table bench.given (n int primary key, {', '.join(f'{c} text' for c in columns)});"
            "grant select on bench.given to setbook_app"
        )
        await admin.copy_records_to_table(
            "given", schema_name="bench", columns=["n", *columns], records=_rows(varying, visits)
        )
        await admin.execute("vacuum analyze bench.given")


def _rows(varying: list[str], visits: Iterable[Mapping[str, str]]) -> Iterator[tuple[Any, ...]]:
    for number, ids in enumerate(visits):
        yield number, *_told_of(ids, varying)


def _told_of(ids: Mapping[str, str], texts: list[str]) -> list[str]:
    fresh = defaultdict(lambda: str(new_id()), ids)
    return [ID.sub(lambda found: fresh[found.group()], text) for text in texts]


async def count_visits(url: str) -> int:
    """Visits in the book, of all businesses."""
    async with connect(url) as admin:
        return int(await admin.fetchval("select count(*) from setbook.visit"))
