"""Typesetting in a process of its own: the same bytes, its failure told, nothing left behind."""

import asyncio
import os
from pathlib import Path

import pytest

from service.kernel.typeset import pdf_apart, pdf_of

PAGE = """
#set document(title: "A page", date: datetime(year: 2026, month: 1, day: 5))
#set text(lang: "en")
#json(bytes(sys.inputs.data)).said
"""


def written(folder: Path, text: str) -> Path:
    path = folder / "page.typ"
    path.write_text(text)
    return path


def children() -> set[str]:
    """The processes that this one started and that have not ended."""
    return set(Path(f"/proc/{os.getpid()}/task/{os.getpid()}/children").read_text().split())


async def test_a_page_is_the_same_in_a_process_of_its_own(tmp_path: Path) -> None:
    page, data = written(tmp_path, PAGE), '{"said": "Zürich #panic()"}'.encode()
    assert await pdf_apart(page, data) == pdf_of(page, data)


async def test_a_template_that_is_wrong_says_so(tmp_path: Path) -> None:
    with pytest.raises(RuntimeError, match=r"(?s)page.typ was not typeset: .*expected"):
        await pdf_apart(written(tmp_path, "#let x ="), b"{}")


async def test_whoever_goes_away_leaves_no_process_behind(tmp_path: Path) -> None:
    before = children()
    with pytest.raises(TimeoutError):
        async with asyncio.timeout(1):
            await pdf_apart(written(tmp_path, "#for one in range(2000000000) { one }"), b"{}")
    assert children() <= before
