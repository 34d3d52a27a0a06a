"""The same export written the usual way: a FastAPI app, SQLAlchemy's ORM, StreamingResponse. Run in a venv of its own.

`python usual.py PORT`; BENCH_DATABASE_URL, BENCH_BUSINESS and BENCH_MOST say where, whose and how many.
"""

import csv
import io
import json
import os
import sys
from collections.abc import AsyncIterator
from uuid import UUID

import uvicorn
from fastapi import FastAPI
from fastapi.responses import StreamingResponse
from sqlalchemy import select
from sqlalchemy.ext.asyncio import async_sessionmaker, create_async_engine
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column

BUSINESS, MOST = UUID(os.environ["BENCH_BUSINESS"]), int(os.environ["BENCH_MOST"])
engine = create_async_engine(os.environ["BENCH_DATABASE_URL"])
session_of = async_sessionmaker(engine)
app = FastAPI()


class Base(DeclarativeBase):
    """All tables."""


class Record(Base):
    """A version of a service record."""

    __tablename__ = "service_record"
    __table_args__ = {"schema": "setbook"}  # noqa: RUF012 - as SQLAlchemy's pages write it
    business_id: Mapped[UUID] = mapped_column(primary_key=True)
    number: Mapped[str] = mapped_column(primary_key=True)
    version: Mapped[int] = mapped_column(primary_key=True)
    sequence: Mapped[int]
    sha256: Mapped[bytes]
    signature: Mapped[str]
    bytes: Mapped[str]


async def records() -> AsyncIterator[Record]:
    """All of the business, in the order of the log."""
    wanted = select(Record).where(Record.business_id == BUSINESS).order_by(Record.sequence).limit(MOST)
    async with session_of() as session:
        async for record in await session.stream_scalars(wanted.execution_options(yield_per=500)):
            yield record


@app.get("/ndjson")
async def ndjson() -> StreamingResponse:
    """Each record read, put into its answer, and written."""

    async def lines() -> AsyncIterator[str]:
        async for one in records():
            signed = {
                "noun": "signed_service_record",
                "record": json.loads(one.bytes),
                "sha256": one.sha256.hex(),
                "signature": one.signature,
            }
            yield json.dumps(signed, separators=(",", ":"), ensure_ascii=False) + "\n"

    return StreamingResponse(lines(), media_type="application/x-ndjson")


@app.get("/text")
async def text() -> StreamingResponse:
    """The text as it is kept, handed on without a look at it."""

    async def lines() -> AsyncIterator[str]:
        async for one in records():
            yield (
                f'{{"noun":"signed_service_record","record":{one.bytes},"sha256":"{one.sha256.hex()}",'
                f'"signature":"{one.signature}"}}\n'
            )

    return StreamingResponse(lines(), media_type="application/x-ndjson")


@app.get("/csv")
async def table() -> StreamingResponse:
    """Each record read, its cells picked, and written by the csv module."""

    async def rows() -> AsyncIterator[str]:
        async for one in records():
            record = json.loads(one.bytes)
            line = io.StringIO()
            csv.writer(line).writerow(cells(record, record["content"], one))
            yield line.getvalue()

    return StreamingResponse(rows(), media_type="text/csv")


def cells(record: dict, content: dict, one: Record) -> list:
    """The columns of ours."""
    known, sets = content["pesticide_known_at_property"], content["sets"]
    counted = ("placed", "moved", "made_safe", "pulled")
    plain = (
        "service_on",
        "arrived_at",
        "ended_at",
        "visit_id",
        "property_id",
        "customer_id",
        "job_id",
        "worker_id",
    )
    return [
        *(record["number"], record["version"], content["kind"], ""),
        *(content[name] for name in plain),
        *(record["issued_at"], False, content["pesticide_free_by_us"]["free"], known["free"]),
        *(len(known["visit_ids"]), known["visits_stating_none"]),
        *(sum(done in each["done"] for each in sets) for done in counted),
        sum(each["state"] in ("standing", "made_safe", "missing") for each in sets),
        len(content["checks"]),
        sum(each["count"] for each in content["catches"]),
        sum(each["count"] for each in content["other_animals"]),
        *(
            content["mounds_cleared"],
            content["trap_nights"],
            len(content["repairs"]),
            "",
            "",
            one.sha256.hex(),
        ),
        *(content["zone"], record["refs"]["property"], record["refs"]["customer"]),
        *(content["outcome"], content["target"]),
        "; ".join(sorted(each["method"] for each in content["methods"])),
        "; ".join(each["method"] for each in content["treatments"]),
        content["statement"],
    ]


if __name__ == "__main__":
    uvicorn.run(app, host="127.0.0.1", port=int(sys.argv[1]), log_level="warning", access_log=False)
