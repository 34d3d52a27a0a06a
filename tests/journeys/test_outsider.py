"""The README's way to check a sealed month without our code, as it stands there, on the month of the demo over HTTP.

Nothing of ours takes part in the checking: signatures by joserfc, digests by hashlib, the tree from the RFC's words.
"""

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import pytest_asyncio

from service.verify.files import Given
from service.verify.report import report
from tests.journeys.conftest import Demo
from tests.verify.signed import flipped

README = (Path(__file__).parents[2] / "README.md").read_text()
(SECTION,) = re.findall(
    r"^### You check records as an auditor.*?\n(.*?)^## ", README, re.DOTALL | re.MULTILINE
)
(CODE,) = re.findall(r"^```python\n(.*?)^```$", SECTION, re.DOTALL | re.MULTILINE)
MONTH = "2026-04"


@pytest.fixture(scope="module")
def check_month() -> Callable[[bytes, bytes, bytes], int]:
    names: dict[str, Any] = {}
    exec(compile(CODE, "README.md", "exec"), names)  # noqa: S102 - the README's own
    return names["check_month"]  # type: ignore[no-any-return]


@pytest_asyncio.fixture(scope="module", loop_scope="module")
async def pulled(demo: Demo) -> tuple[bytes, bytes, bytes]:
    """The key set, the month's seal and its records, as an auditor gets them."""
    sealed = await demo.api.post(f"months/{MONTH}/seal")
    assert sealed.status_code == 201, sealed.text
    keys = await demo.api.holding("").get("/.well-known/jwks.json")
    records = await demo.api.get(f"service-records?month={MONTH}&format=ndjson")
    return keys.content, sealed.content, records.content


@pytest.mark.asyncio(loop_scope="module")
async def test_the_month_of_the_demo_holds_without_us(
    pulled: tuple[bytes, bytes, bytes], check_month: Callable[[bytes, bytes, bytes], int]
):
    assert check_month(*pulled) > 20


@pytest.mark.asyncio(loop_scope="module")
async def test_leaving_any_record_out_is_found_and_named(
    pulled: tuple[bytes, bytes, bytes], check_month: Callable[[bytes, bytes, bytes], int]
):
    keys, seal, records = pulled
    *lines, closing = records.splitlines(keepends=True)
    for place in (0, len(lines) // 2, len(lines) - 1):
        kept = b"".join([*lines[:place], *lines[place + 1 :], closing])
        name = re.search(rb'"noun":"service_record","number":"(.{11})"', lines[place])
        assert name is not None
        with pytest.raises(ValueError, match=rf"left out: \['{name[1].decode()}\.\d+'\]; not sealed: \[\]"):
            check_month(keys, seal, kept)


@pytest.mark.asyncio(loop_scope="module")
async def test_a_changed_word_is_found(
    pulled: tuple[bytes, bytes, bytes], check_month: Callable[[bytes, bytes, bytes], int]
):
    keys, seal, records = pulled
    with pytest.raises(Exception, match="bad_signature"):
        check_month(keys, seal, records.replace(b"No pesticide", b"no pesticide", 1))
    with pytest.raises(Exception, match="bad_signature"):
        check_month(keys, seal.replace(b'"count":', b'"c0unt":', 1), records)


@pytest.mark.asyncio(loop_scope="module")
async def test_our_verifier_agrees_and_finds_any_changed_byte(
    pulled: tuple[bytes, bytes, bytes], tmp_path: Path
):
    files = [tmp_path / name for name in ("keys.json", "seal.json", "records.ndjson")]
    for file, content in zip(files, pulled, strict=True):
        file.write_bytes(content)

    def holds() -> bool:
        return report(Given([tmp_path], None), said.append)

    said: list[str] = []
    assert holds(), said
    assert any("no other of the month" in one for one in said), said
    for file, content in list(zip(files, pulled, strict=True))[1:]:
        for place in range(0, len(content), len(content) // 15):
            file.write_bytes(flipped(content, place, 1))
            assert not holds(), (file.name, place)
        file.write_bytes(content)
