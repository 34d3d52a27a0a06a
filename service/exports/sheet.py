"""Records as a spreadsheet (Office Open XML): real dates, numbers and truths, and no text that is run as a formula."""

import asyncio
import csv
import hashlib
import io
from collections.abc import AsyncIterator
from datetime import date, datetime
from functools import partial
from tempfile import TemporaryFile
from typing import IO
from uuid import UUID

from xlsxwriter import Workbook  # type: ignore[import-untyped]

from service.exports.columns import COLUMNS, HEADER, Cell, cells
from service.exports.export import ROWS_BYTES, left_out, read_rows
from service.exports.models import Excluded
from service.exports.portions import find_last, portions
from service.exports.selection import ClaimName, Selection
from service.kernel.db import Db
from service.kernel.errors import Refused

# making a spreadsheet costs a hundred times what a line of CSV does, and none of it can be sent before its end
MOST = 100_000
# Excel's own limit of a cell
MOST_CHARACTERS = 32_767
PIECE_BYTES = 250_000
WIDTHS = {"text": 14, "whole": 9, "decimal": 9, "day": 11, "instant": 19, "truth": 9}
OPTIONS = {
    "constant_memory": True,
    "strings_to_formulas": False,
    "strings_to_urls": False,
    "default_date_format": "yyyy-mm-dd hh:mm:ss",
}


class Sheet:
    """A workbook written row by row: the records, what a claim left out, and on the last sheet what they come to."""

    def __init__(self, file: IO[bytes]) -> None:
        """`file` takes the workbook when it is closed."""
        self.book = Workbook(file, OPTIONS)
        self.day = self.book.add_format({"num_format": "yyyy-mm-dd"})
        self.records = self.book.add_worksheet("records")
        self.digest = hashlib.sha256(f"{HEADER}\r\n".encode())
        self.count = 0
        self.left_out = 0
        self.bold = bold = self.book.add_format({"bold": True})
        for place, (name, kind) in enumerate(COLUMNS.items()):
            self.records.set_column(place, place, WIDTHS[kind])
            self.records.write_string(0, place, name, bold)
        self.records.freeze_panes(1, 0)

    def add(self, text: bytes) -> None:
        """Lines of the CSV as it is for machines."""
        self.digest.update(text)
        for fields in csv.reader(io.StringIO(text.decode(), newline="")):
            self.count += 1
            for place, cell in enumerate(cells(fields)):
                self._write(place, cell)

    def leave_out(self, excluded: list[Excluded]) -> None:
        """Records that a claim leaves out, on a sheet of their own, each with why."""
        if not self.left_out:
            self.excluded = self.book.add_worksheet("left out")
            self.excluded.set_column(0, 1, WIDTHS["text"])
            self.excluded.set_column(2, 2, 100)
            self.excluded.freeze_panes(1, 0)
            for place, name in enumerate(Excluded.__struct_fields__):
                self.excluded.write_string(0, place, name, self.bold)
        for one in excluded:
            self.left_out += 1
            self.excluded.write_string(self.left_out, 0, one.number)
            self.excluded.write_number(self.left_out, 1, one.version)
            self.excluded.write_string(self.left_out, 2, one.why[:MOST_CHARACTERS])

    def close(self, cursor: str, claim: ClaimName | None) -> None:
        """Say what it comes to, and put the file together."""
        self.records.autofilter(0, 0, self.count, len(COLUMNS) - 1)
        about = self.book.add_worksheet("about")
        about.set_column(0, 0, 32)
        about.set_column(1, 1, 70)
        claimed = {} if claim is None else {"claim": claim, "left out": self.left_out}
        told = {
            "records": self.count,
            **claimed,
            "sha256 of the CSV with raw=true": self.digest.hexdigest(),
            "next": cursor,
            "instants": "UTC",
        }
        for row, (name, value) in enumerate(told.items()):
            about.write_string(row, 0, name)
            if isinstance(value, int):
                about.write_number(row, 1, value)
            else:
                about.write_string(row, 1, value)
        self.book.close()

    def _write(self, place: int, cell: Cell) -> None:
        match cell:
            case None:
                pass
            case bool():
                self.records.write_boolean(self.count, place, cell)
            case int() | float():
                self.records.write_number(self.count, place, cell)
            case datetime():
                self.records.write_datetime(self.count, place, cell)
            case date():
                self.records.write_datetime(self.count, place, cell, self.day)
            case str():
                self.records.write_string(self.count, place, cell[:MOST_CHARACTERS])


async def sheet(db: Db, business_id: UUID, chosen: Selection, cursor: str) -> IO[bytes]:
    """The workbook as an open file at its beginning, which goes when it is closed.

    Raises Refused where there are more records than one takes.
    """
    if await find_last(db, business_id, chosen, MOST + 1) is not None:
        raise Refused(
            "unreadable", f"A spreadsheet takes up to {MOST:,} records; ask for a month of them, or for CSV."
        )
    file = TemporaryFile()  # noqa: SIM115 - closed by whoever sends it
    try:
        made = Sheet(file)
        read = partial(read_rows, db, business_id, raw=True)
        async for portion in portions(chosen, read, ROWS_BYTES):
            await asyncio.to_thread(made.add, portion.text)
        async for excluded in left_out(db, business_id, chosen):
            await asyncio.to_thread(made.leave_out, excluded)
        await asyncio.to_thread(made.close, cursor, chosen.claim)
        file.seek(0)
    except BaseException:
        file.close()
        raise
    return file


async def pieces(file: IO[bytes]) -> AsyncIterator[bytes]:
    """What is in the file, which is closed at the end."""
    with file:
        while piece := await asyncio.to_thread(file.read, PIECE_BYTES):
            yield piece
