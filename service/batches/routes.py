"""HTTP for batches: a phone's queue as NDJSON, each line answered in its order."""

from collections.abc import Iterator
from tempfile import SpooledTemporaryFile
from typing import IO, Any

import msgspec
from litestar import Request, Router, post
from litestar.response import Stream

from service.batches.actions import lines_of, take_line
from service.batches.models import BatchLine, BatchResult
from service.kernel.db import Pool
from service.kernel.http import route
from service.keys.rules import Caller

NDJSON = "application/x-ndjson"
LARGEST_BATCH_BYTES = 512_000_000
HELD_IN_MEMORY_BYTES = 256 * 1024
PIECE_BYTES = 64 * 1024


@post(
    "/visits/batch",
    **route("record", takes=BatchLine, media=(NDJSON,), gives=BatchResult, produces=(NDJSON,)),
    request_max_body_size=LARGEST_BATCH_BYTES,
    status_code=200,
)
async def take_batch(request: Request[Any, Any, Any], caller: Caller, pool: Pool) -> Stream:
    """Take visits, and the customers, properties and jobs made offline, one a line (NDJSON).

    Each line is stored by itself, and answered by a line of its own in the same order: a refused line stops none
    of the others. The answer starts when the last line was read.
    """
    results: IO[bytes] = SpooledTemporaryFile(max_size=HELD_IN_MEMORY_BYTES)  # noqa: SIM115 - closed when streamed
    number = 0
    async for line in lines_of(request.stream()):
        number += 1
        result = await take_line(pool, caller, request.app.state.now(), number, line)
        results.write(msgspec.json.encode(result) + b"\n")
    results.seek(0)
    return Stream(_pieces(results), media_type=NDJSON)


def _pieces(results: IO[bytes]) -> Iterator[bytes]:
    with results:
        while piece := results.read(PIECE_BYTES):
            yield piece


router = Router("/", route_handlers=[take_batch])
