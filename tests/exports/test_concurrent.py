"""A puller that always passes the last cursor sees every version once, whoever issues beside it and whatever dies."""

import asyncio
import random
import sys
from asyncio.subprocess import PIPE, Process
from collections.abc import Sequence
from signal import SIGKILL

import asyncpg
import pytest

from tests.bodies import an_id
from tests.exports.books import name_of, visit_on, visited, whole
from tests.http import Api

DAYS = range(1, 14)
# rounds over all visits, more than anybody has time for
UNTIL_KILLED = 1_000


async def issuer(url: str, api: Api, days: Sequence[int]) -> Process:
    """A process that issues the records of these days."""
    command = ("-m", "tests.exports.issuer", url, str(api.business_id), *map(str, days))
    return await asyncio.create_subprocess_exec(sys.executable, *command, stdout=PIPE)


async def issuing(url: str, api: Api, seed: int) -> None:
    """Four issuers at once, each with all visits in an order of its own; two are killed, and others do the rest."""
    orders = random.Random(seed)  # noqa: S311 - replayable
    rounds = (UNTIL_KILLED, UNTIL_KILLED, 1, 1)
    started = [await issuer(url, api, orders.sample(DAYS, len(DAYS)) * times) for times in rounds]
    try:
        for one in started[:2]:
            assert one.stdout is not None
            await one.stdout.readline()
            one.kill()
        await asyncio.gather(*(one.communicate() for one in started))
    finally:
        for one in started:
            if one.returncode is None:
                one.kill()
            await one.wait()
    assert [one.returncode for one in started] == [-SIGKILL, -SIGKILL, 0, 0]


class Puller:
    """Whoever keeps a copy of the records: what it has, and its last cursor."""

    def __init__(self, api: Api, seed: int, extra: str = "") -> None:
        """`seed` decides where its answers are cut off; `extra` is a part of its query."""
        self.api, self.extra = api, extra
        self.luck = random.Random(seed)  # noqa: S311 - replayable
        self.cursor, self.seen, self.cut = "", list[str](), 0

    async def pull(self, *, cutting: bool) -> None:
        """Take a whole answer; one that was cut off is dropped, and the same is asked again the next time."""
        path = f"service-records?format=ndjson&after={self.cursor}{self.extra}"
        text = (await self.api.get(path)).content
        if cutting and self.luck.random() < 0.5:
            text = text[: self.luck.randrange(len(text))]
        found = whole(text)
        if found is None:
            self.cut += 1
            return
        self.seen += [name_of(one) for one in found[0]]
        self.cursor = found[1]["next"]


@pytest.mark.parametrize("seed", [1, 2])
async def test_each_version_is_seen_once_by_each_puller(
    database: str, owner: "asyncpg.Connection[asyncpg.Record]", api: Api, seed: int
):
    for day in DAYS:
        await visited(api, day)
    pullers = [Puller(api, seed), Puller(api, seed + 10), Puller(api, seed + 20, "&limit=5")]
    done = asyncio.Event()

    async def keep_pulling(puller: Puller) -> None:
        while not done.is_set():
            await puller.pull(cutting=True)

    async def keep_issuing() -> None:
        try:
            await issuing(database, api, seed)
            for day in DAYS[::2]:
                body = visit_on(day, treatments_none=True)
                await api.put(f"visits/{an_id(100 + day)}", body, If_Match='"1"')
            await issuing(database, api, seed + 1)
        finally:
            done.set()

    await asyncio.gather(keep_issuing(), *map(keep_pulling, pullers))
    rows = await owner.fetch("select number || '.' || version as name from service_record order by sequence")
    issued = [row["name"] for row in rows]
    assert len(issued) >= len(DAYS) + len(DAYS[::2])
    for puller in pullers:
        for _ in range(len(issued)):
            await puller.pull(cutting=False)
        assert puller.cut > 0
        assert puller.seen == issued
    numbers = sorted({name.partition(".")[0][5:] for name in issued})
    assert numbers == [f"{number:06}" for number in range(1, len(DAYS) + 1)]


async def test_a_list_that_is_cut_off_anywhere_is_seen_to_be_cut(api: Api):
    for day in (1, 2):
        await visited(api, day)
        await api.post("service-records", {"visit_id": an_id(100 + day)})
    text = (await api.get("service-records?format=ndjson")).content
    assert whole(text) is not None
    assert all(whole(text[:end]) is None for end in range(len(text)))
