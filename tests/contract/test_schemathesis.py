"""The server as it is, held against its own document by a tool that knows nothing of either."""

import asyncio
import json
import os
import subprocess
import sys
from collections.abc import AsyncIterator
from pathlib import Path

import pytest

from service.identity.actions import add_business
from service.kernel.db import open_pool
from service.kernel.now import utc_now
from tests.contract.test_document import operations
from tests.http import LOS_ANGELES
from tests.processes import REPOSITORY
from tests.server.following import serving

SCHEMATHESIS = str(Path(sys.executable).with_name("schemathesis"))
SETTINGS = Path(__file__).with_name("schemathesis.toml")


@pytest.fixture
async def address(database: str) -> AsyncIterator[str]:
    """Where a process of the API's own answers, on a book of its own."""
    async with serving(database) as api:
        yield api.url


@pytest.fixture
async def keys(database: str) -> list[str]:
    """Those of two businesses, each of which may do everything in its own book."""
    async with await open_pool(database, "migrator", 1) as migrator:
        return [
            (await add_business(migrator, name, LOS_ANGELES, utc_now()))[1].key
            for name in ("One Business", "Another Business")
        ]


async def test_a_stranger_finds_nothing_that_the_document_does_not_say(
    address: str, keys: list[str], tmp_path: Path
) -> None:
    users = [
        {"name": name, "fixedHeaders": [{"name": "Authorization", "value": f"Bearer {key}"}]}
        for name, key in zip(("one", "another"), keys, strict=True)
    ]
    (tmp_path / "wfc.json").write_text(json.dumps({"auth": users}))
    (tmp_path / "schemathesis.toml").write_text(SETTINGS.read_text())
    run = await asyncio.create_subprocess_exec(
        *(SCHEMATHESIS, "run", f"{address}/openapi.json"),
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(REPOSITORY), "SCHEMATHESIS_HOOKS": "tests.contract.hooks"},
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
    )
    said, _ = await run.communicate()
    assert run.returncode == 0, said.decode()
    # all but the document itself, which is where it begins
    served = len(list(operations())) - 1
    assert f"Selected: {served}/{served}" in said.decode()
    assert f"Tested: {served}" in said.decode()
