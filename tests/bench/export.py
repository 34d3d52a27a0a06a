"""`export`: 200,000 records pulled as NDJSON and CSV, against psql's COPY of the same query and the usual way."""

import asyncio
import os
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from pathlib import Path
from statistics import median
from typing import NamedTuple
from urllib.parse import parse_qs, urlsplit

import httpx
import msgspec

from fixtures.demo import load, visit_lines
from fixtures.running import Failed, free_port
from service.kernel.db import connect
from service.server.account import account, binaries
from tests.bench.book import Book, a_book
from tests.bench.figures import FOLDER, Extent, Figures, compared

RECORDS, RECORDS_QUICK, ROUNDS = 200_000, 20_000, 5
# the usual way is measured on so many, as its rate does not hang on how many there are
USUAL_RECORDS = 4_000
USUAL = ("fastapi==0.165.0", "sqlalchemy[asyncio]==2.1.9", "asyncpg==0.32.0", "uvicorn[standard]==0.54.0")
FORMS = ("ndjson", "csv")
LINES = {"ndjson": "signed_line(r.bytes, r.sha256, r.signature)", "csv": "r.csv[cardinality(r.csv)]"}
# of the demo's records, told apart by number and place
MULTIPLY = """
insert into service_record (business_id, number, version, visit_id, property_id, customer_id, service_on, issued_at,
    sequence, pesticide_free_by_us, pesticide_known_at_property, withdrawn, bytes, sha256, signature, content_sha256,
    party)
select s.business_id, '2000-' || lpad(g::text, 6, '0'), 1, gen_random_uuid(), s.property_id, s.customer_id,
    s.service_on, s.issued_at, c.value + g * 7, s.pesticide_free_by_us, s.pesticide_known_at_property, s.withdrawn,
    s.bytes || '', s.sha256, s.signature, s.content_sha256, s.party
from generate_series(1, $1::int) g
join (select row_number() over (order by sequence) as place, count(*) over () as many, *
      from service_record where not withdrawn) s on s.place = 1 + g % s.many
join counter c on c.business_id = s.business_id and c.name = 'event'
"""
NOTES = (
    "Records a second; the records are the demo's, as issued, many times over. Ours is curl over HTTP with a key, "
    "tenancy, digest and closing line. The limit is psql's COPY of the same rows and order as the server's owner, "
    "whom row security does not bind, of the line of CSV as it is kept. Output goes to /dev/null. The usual way "
    "(FastAPI, SQLAlchemy 2, uvicorn, in a venv of its own) takes 4,000 records a round: `usual` reads and writes "
    "each, `usual_text` only hands on the text that is kept."
)


class Pulled(NamedTuple):
    """One pull."""

    first_byte_ms: float
    seconds: float
    bytes: int


def measure(extent: Extent) -> Figures:
    """Each form by us, by psql and the usual way, in turn."""
    quick = extent.seconds < 5
    records, rounds = (RECORDS_QUICK, extent.rounds) if quick else (RECORDS, ROUNDS)
    with a_book(businesses=1, properties=1) as book:
        total = asyncio.run(filled(book, records))
        key = book.businesses[0].key
        rates: dict[str, list[float]] = {}
        first: dict[str, list[float]] = {form: [] for form in FORMS}
        with usual(book) as usual_url:
            for form in FORMS:
                pull(ours(book, form), key)
            before = memory(book)
            for _ in range(rounds):
                for form in FORMS:
                    one = pull(ours(book, form), key)
                    first[form].append(one.first_byte_ms)
                    rates.setdefault(form, []).append(total / one.seconds)
                    rates.setdefault(f"{form}_limit", []).append(total / copied(book, form))
                for path in ("ndjson", "text", "csv"):
                    taken = pull(f"{usual_url}/{path}", key)
                    rates.setdefault(f"usual_{path}", []).append(min(total, USUAL_RECORDS) / taken.seconds)
            grown = max(0.0, memory(book) - before)
        zipped = [total / pull(ours(book, "ndjson"), key, "zstd").seconds for _ in range(rounds)]
    return figures(rates, first, {"rss_growth_mb": [grown], "zstd": zipped, "records": [total]})


def figures(
    rates: dict[str, list[float]], first: dict[str, list[float]], further: dict[str, list[float]]
) -> Figures:
    """NDJSON as the bench's own figure, CSV beside it."""

    def ratios(one: str, other: str) -> list[float]:
        return [ours / theirs for ours, theirs in zip(rates[one], rates[other], strict=True)]

    further |= {
        "first_byte_ms": first["ndjson"],
        "csv_first_byte_ms": first["csv"],
        "csv": rates["csv"],
        "csv_limit": rates["csv_limit"],
        "csv_usual": rates["usual_csv"],
        "csv_ratio_to_limit": ratios("csv", "csv_limit"),
        "csv_ratio_to_usual": ratios("csv", "usual_csv"),
        "ratio_to_usual": ratios("ndjson", "usual_ndjson"),
        "ratio_to_usual_text": ratios("ndjson", "usual_text"),
    }
    rounds = list(zip(rates["ndjson"], rates["ndjson_limit"], strict=True))
    told = compared("export", "records a second", rounds, further, NOTES)
    peers = {"usual": "usual_ndjson", "usual_text": "usual_text"}
    return msgspec.structs.replace(
        told,
        peers={name: round(median(rates[of]), 3) for name, of in peers.items()},
        ratio_to_peer={name: round(median(ratios("ndjson", of)), 3) for name, of in peers.items()},
    )


async def filled(book: Book, records: int) -> int:
    """The demo's records and so many more of the same; how many there are."""
    now, key = datetime.now(UTC), book.businesses[0].key
    await load(book.api_url, key, None, now)
    mine = {"Authorization": f"Bearer {key}"}
    async with httpx.AsyncClient(base_url=book.api_url, headers=mine, timeout=60) as client:
        for visit_id in dict.fromkeys(line["visit"]["id"] for line in visit_lines(now)):
            await client.post("/v1/service-records", json={"visit_id": visit_id})
    async with connect(book.database_url) as admin:
        await admin.execute("set search_path = setbook")
        issued = await admin.fetchval("select count(*) from service_record where not withdrawn")
        if not issued:
            raise Failed("No record of the demo was issued.")
        await admin.fetch(MULTIPLY, records - issued, timeout=600)
        await admin.execute("update counter set value = value + 7 * 1000000 where name = 'event'")
        await admin.execute("vacuum analyze service_record")
        return int(await admin.fetchval("select count(*) from service_record"))


def ours(book: Book, form: str) -> str:
    """Where all of them are."""
    return f"{book.api_url}/v1/service-records?format={form}"


def pull(url: str, key: str, coding: str = "identity") -> Pulled:
    """By curl, whose time counts from its start to its end."""
    out = "%{http_code} %{time_starttransfer} %{size_download}"
    options = ["-sS", "-o", "/dev/null", "-w", out, "-H", f"Accept-Encoding: {coding}"]
    began = time.perf_counter()
    done = subprocess.run(
        ["curl", *options, "-H", f"Authorization: Bearer {key}", url],
        capture_output=True,
        text=True,
        check=False,
    )
    seconds = time.perf_counter() - began
    if done.returncode != 0 or not done.stdout.startswith("200 "):
        raise Failed(f"{url} is not answered as it should be: {done.stdout} {done.stderr}")
    _, first, size = done.stdout.split()
    return Pulled(float(first) * 1000, seconds, int(size))


def copied(book: Book, form: str) -> float:
    """Seconds of psql for the same rows in the same order."""
    statement = (
        f"copy (select setbook.{LINES[form]} from setbook.service_record r"  # noqa: S608 - our own texts
        f" where r.business_id = '{book.businesses[0].id}' and r.replaced_sequence is null"
        " order by r.sequence) to stdout"
    ).replace("setbook.r.csv", "r.csv")
    beside = binaries(account()) / "psql"
    program = str(beside) if beside.exists() else shutil.which("psql")
    if program is None:
        raise Failed("This bench needs psql; as root, type: apt-get install -y postgresql-client")
    began = time.perf_counter()
    done = subprocess.run(
        [program, "-X", "-q", "-c", statement, book.database_url],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        check=False,
    )
    if done.returncode != 0:
        raise Failed(f"psql failed: {done.stderr.decode().strip()}")
    return time.perf_counter() - began


def memory(book: Book) -> float:
    """Megabytes that the API's processes came to at most since this was asked last."""
    port = str(urlsplit(book.api_url).port).encode()
    peak = 0
    for process in Path("/proc").glob("[0-9]*"):
        try:
            if b"\0--port\0" + port + b"\0" not in (process / "cmdline").read_bytes():
                continue
            status = (process / "status").read_text()
            peak += next(int(line.split()[1]) for line in status.splitlines() if line.startswith("VmHWM:"))
            (process / "clear_refs").write_text("5")
        except OSError:
            continue
    return peak / 1024


@contextmanager
def usual(book: Book) -> Iterator[str]:
    """The peer's server on the same data, from a venv that is made once."""
    venv = FOLDER / "usual"
    python = venv / "bin/python"
    if not (venv / "done").exists():
        FOLDER.mkdir(exist_ok=True)
        subprocess.run([sys.executable, "-m", "venv", "--clear", str(venv)], check=True)
        install = [str(python), "-m", "pip", "install", "-q", *USUAL]
        subprocess.run(install, check=True, stderr=subprocess.DEVNULL)
        (venv / "done").touch()
    at, port = urlsplit(book.database_url), free_port()
    url = f"postgresql+asyncpg://{at.netloc}{at.path}?host={parse_qs(at.query)['host'][0]}&port=5432"
    told = {
        "BENCH_DATABASE_URL": url,
        "BENCH_BUSINESS": str(book.businesses[0].id),
        "BENCH_MOST": str(USUAL_RECORDS),
    }
    command = [str(python), str(Path(__file__).with_name("usual.py")), str(port)]
    with subprocess.Popen(command, env=os.environ | told) as process:
        try:
            await_docs(process, f"http://127.0.0.1:{port}/docs")
            yield f"http://127.0.0.1:{port}"
        finally:
            process.terminate()


def await_docs(process: "subprocess.Popen[bytes]", url: str) -> None:
    """Ask until it answers, for half a minute at most."""
    for _ in range(600):
        with suppress(httpx.TransportError):
            httpx.get(url, timeout=5)
            return
        with suppress(subprocess.TimeoutExpired):
            process.wait(0.05)
            break
    raise Failed("The usual way does not start here; remove .bench/usual and try again.")
