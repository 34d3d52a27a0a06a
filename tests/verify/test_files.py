"""What may be given to `setbook verify`, what it says, and with which status it ends."""

import base64
import json
import os
import subprocess
import sys
import tracemalloc
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Self

import pytest

from service.kernel.errors import CannotStart
from service.verify.files import File, Given
from service.verify.key_set import read_key_set
from service.verify.report import Run, report
from service.verify.rules import look
from tests.verify.signed import (
    JWK,
    KEY_SET,
    KEYS,
    PARTY,
    export,
    flipped,
    line_of,
    page,
    record,
    seal,
    verified,
    with_party,
)

ONE, TWO = record(1), record(2)
ROOT = Path(__file__).parents[2]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """What the file of a property holds, and a sealed month."""
    (tmp_path / "records").mkdir()
    for name, raw in (("2026-000001.1", ONE), ("2026-000002.1", TWO)):
        (tmp_path / "records" / f"{name}.json").write_bytes(line_of(raw))
    (tmp_path / "keys.json").write_bytes(KEY_SET)
    (tmp_path / "seal.json").write_bytes(seal(ONE, TWO))
    (tmp_path / "README.txt").write_text("How to verify")
    return tmp_path


def zipped(folder: Path, into: Path) -> Path:
    with zipfile.ZipFile(into, "w", zipfile.ZIP_DEFLATED) as archive:
        for path in sorted(one for one in folder.rglob("*") if one.is_file()):
            archive.write(path, path.relative_to(folder))
    return into


def said_of(*paths: Path, keys: Path | None = None) -> tuple[bool, list[str]]:
    said: list[str] = []
    return report(Given(list(paths), keys), said.append), said


def test_a_folder_and_a_zip_are_verified_with_the_key_set_in_them(
    folder: Path, tmp_path_factory: pytest.TempPathFactory
) -> None:
    archive = zipped(folder, tmp_path_factory.mktemp("zip") / "file.zip")
    for given in (folder, archive):
        holds, said = said_of(given)
        assert holds, said
        assert said[-3] == "seal 2026-05.1: all of its 2 records are here, and no other of the month."
        assert said[-2].startswith(f"Signed with {JWK.kid} of {given}")
        assert said[-2].endswith("keys.json: see that the issuer publishes them.")
        assert said[-1] == "All holds: 2 records and 1 seal; not looked at: 1 other file."


def test_what_lies_beside_the_records_may_be_named_as_well_and_is_not_looked_at(folder: Path) -> None:
    (folder / "file.pdf").write_bytes(b"%PDF-1.7")
    holds, said = said_of(*sorted(folder.iterdir()))
    assert holds, said
    assert said[-1] == "All holds: 2 records and 1 seal; not looked at: 2 other files."


def test_a_month_of_one_record_is_said_to_be_there(folder: Path) -> None:
    (folder / "seal.json").write_bytes(seal(ONE))
    (folder / "records" / "2026-000002.1.json").unlink()
    holds, said = said_of(folder)
    assert holds, said
    assert "seal 2026-05.1: its one record is here, and no other of the month." in said


def test_where_nothing_can_be_verified_nothing_is_said_to_hold(folder: Path) -> None:
    holds, said = said_of(folder / "README.txt", folder / "keys.json")
    assert not holds
    assert said[0].startswith("Nothing verified: No record, export, page or seal was given")
    assert said[-1].startswith("1 thing wrong: 0 records and 0 seals")


def test_a_record_that_was_changed_in_a_zip_is_named(
    folder: Path, tmp_path_factory: pytest.TempPathFactory
) -> None:
    place = folder / "records" / "2026-000002.1.json"
    place.write_bytes(flipped(place.read_bytes(), 30, 1))
    archive = zipped(folder, tmp_path_factory.mktemp("zip") / "file.zip")
    holds, said = said_of(archive)
    assert not holds
    assert any("records/2026-000002.1.json: record 2026-000002.1: " in one for one in said), said


def test_every_flipped_byte_of_what_a_zip_holds_is_found(
    folder: Path, tmp_path_factory: pytest.TempPathFactory
) -> None:
    archive = zipped(folder, tmp_path_factory.mktemp("zip") / "file.zip")
    whole = archive.read_bytes()
    with zipfile.ZipFile(archive) as opened:
        one = opened.getinfo("records/2026-000001.1.json")
        begins = one.header_offset + 30 + len(one.filename)
    for place in range(begins, begins + one.compress_size):
        archive.write_bytes(flipped(whole, place, 4))
        if said_of(archive)[0]:
            # bits after the end of the deflated data say nothing
            assert zipfile.ZipFile(archive).read(one) == line_of(ONE), place


def test_a_key_set_that_is_named_goes_before_the_one_that_came_along(folder: Path, tmp_path: Path) -> None:
    stranger = tmp_path.parent / "stranger.json"
    stranger.write_text('{"keys":[]}')
    holds, said = said_of(folder, keys=stranger)
    assert not holds
    assert any(f"The key set has no key {JWK.kid}" in one for one in said)


def test_without_a_key_set_or_with_a_path_to_nowhere_the_way_is_told(tmp_path: Path) -> None:
    file = tmp_path / "record.json"
    file.write_bytes(line_of(ONE))
    with pytest.raises(CannotStart, match=r"jwks\.json and name it with --keys"):
        said_of(file)
    with pytest.raises(CannotStart, match="cannot be read"):
        said_of(tmp_path / "nothing.json")


def test_what_holds_nothing_to_verify_asks_for_no_key_set(tmp_path: Path) -> None:
    """The public's folder holds digests and no record."""
    (tmp_path / "README.txt").write_text("WHAT IS HERE")
    holds, said = said_of(tmp_path)
    assert not holds
    assert said[0].startswith("Nothing verified")


def test_a_table_is_not_taken_for_records_line_by_line_and_asks_for_no_key_set(tmp_path: Path) -> None:
    (tmp_path / "records.csv").write_text("number,version\r\n2026-000001,1\r\n")
    holds, said = said_of(tmp_path / "records.csv")
    assert not holds
    assert said[0].startswith(f"{tmp_path}/records.csv: A table bears no signature")
    assert len(said) == 2


def test_without_a_seal_it_is_said_that_what_was_left_out_does_not_show(folder: Path, tmp_path: Path) -> None:
    export_file, keys = tmp_path / "records.ndjson", tmp_path / "keys.json"
    keys.write_bytes(KEY_SET)
    export_file.write_bytes(export(line_of(ONE), line_of(TWO), line_of(record(3, on="2026-06-01"))))
    unsealed = "was given: that no record was left out there does not show"
    holds, said = said_of(export_file, keys=keys)
    assert holds
    assert next(one for one in said if unsealed in one).startswith("No seal of 2026-05, 2026-06 ")
    export_file.write_bytes(export(line_of(ONE), line_of(TWO)))
    assert not [one for one in said_of(export_file, folder / "seal.json", keys=keys)[1] if unsealed in one]
    alone = tmp_path / "record.json"
    alone.write_bytes(line_of(ONE))
    assert not [one for one in said_of(alone, keys=keys)[1] if unsealed in one]


# The key set -----------------------------------------------------------------------------------------------
def test_a_key_under_another_name_is_none() -> None:
    for changed in ({"kid": "another"}, {"x": JWK.x[::-1]}, {"crv": "X25519"}, {"x": 7}):
        keys, faults = read_key_set(
            json.dumps({"keys": [{**json.loads(KEY_SET)["keys"][0], **changed}]}).encode()
        )
        assert (keys, len(faults)) == ({}, 1)
    assert "secret half" in read_key_set(KEY_SET.replace(b'"kty"', b'"d":"AA","kty"'))[1][0]
    for odd in (b"", b"[]", b'{"keys":7}', b"{}", b"[" * 100_000):
        assert read_key_set(odd)[0] == {}
        assert "no key set" in read_key_set(odd)[1][0]


# One record ------------------------------------------------------------------------------------------------
def test_a_record_that_nobody_signed_holds_only_by_a_seal() -> None:
    unsigned = line_of(ONE, is_signed=False)
    faults, said = verified({"old.json": unsigned})
    assert (faults, "anybody can have written it" in said[0]) == (1, True), said
    faults, said = verified({"seal.json": seal(ONE), "old.json": unsigned})
    assert (faults, "a seal that was given holds it" in said[1]) == (0, True), said
    assert verified({"seal.json": seal(TWO), "old.json": unsigned})[0] == 2
    assert verified({"seal.json": seal(ONE), "old.json": flipped(unsigned, 60, 1)})[0]


def test_an_unsigned_line_among_signed_ones_is_named() -> None:
    faults, said = verified({"all.ndjson": export(line_of(ONE), line_of(TWO, is_signed=False))})
    assert faults == 1
    assert said[0].startswith("all.ndjson: line 2: record 2026-000002.1: It is not signed")


def test_a_line_that_stands_twice_is_named() -> None:
    for content in (export(line_of(ONE), line_of(TWO), line_of(ONE)), page(line_of(ONE), line_of(ONE))):
        faults, said = verified({"all": content})
        assert (faults, "2026-000001.1: It stands twice" in said[0]) == (1, True), said
    later = export(line_of(ONE), line_of(record(1, 2)))
    assert verified({"all": later, "again": export(line_of(ONE))})[0] == 0


def test_a_record_of_another_business_that_was_put_into_an_export_is_named() -> None:
    other = record(2, business="01980000-0000-7000-8000-00000000000f")
    for content in (export(line_of(ONE), line_of(other)), page(line_of(ONE), line_of(other))):
        faults, said = verified({"all": content})
        assert (faults, "2026-000002.1: It is of another business" in said[0]) == (1, True), said


def test_persons_may_be_erased_and_the_record_holds() -> None:
    erased = {"at": "2026-06-01T00:00:00Z", "ground": "asked by the person"}
    for content in (
        with_party(line_of(ONE), None, erased=erased),
        with_party(line_of(ONE), PARTY, erased=None),
    ):
        looked = look(KEYS, content)
        assert (looked.faults, looked.name) == ([], "record 2026-000001.1")
    faults, said = verified({"erased.json": with_party(line_of(ONE), None, erased=erased)})
    assert faults == 0
    assert said[0] == (
        "erased.json: record 2026-000001.1: The record holds without its persons. They were erased at "
        "2026-06-01T00:00:00Z (asked by the person): day and ground are the business's word, which nothing that is "
        "signed binds."
    )


def test_persons_of_another_record_are_found() -> None:
    assert "party_hash" in look(KEYS, with_party(line_of(ONE), {**PARTY, "customer_name": "B"})).faults[0]


def test_persons_are_there_or_said_to_be_erased() -> None:
    erased = {"at": "2026-06-01T00:00:00Z", "ground": "asked by the person"}
    assert "stand beside" in look(KEYS, with_party(line_of(ONE), PARTY, erased=erased)).faults[0]
    for beside in ({}, {"erased": None}):
        (fault,) = look(KEYS, with_party(line_of(ONE), None, **beside)).faults
        assert "nothing says that they were erased" in fault


def test_a_header_that_nests_without_end_is_no_signature() -> None:
    header = base64.urlsafe_b64encode(b"[" * 300_000).rstrip(b"=").decode()
    content = line_of(ONE).rpartition(b'"signature":')[0] + f'"signature":"{header}..AA"}}'.encode()
    assert "no detached JWS" in look(KEYS, content).faults[0]


def test_a_seal_never_passes_for_a_record() -> None:
    (fault,) = look(KEYS, line_of(ONE, "month-seal+json")).faults
    assert "header is not that of service-record+json" in fault


# Large ones ------------------------------------------------------------------------------------------------
class Endless:
    """An export of many lines that is made while it is read."""

    def __init__(self, lines: int) -> None:
        self.lines = iter(self._made(lines))

    def _made(self, lines: int) -> Iterator[bytes]:
        yield from (line_of(record(number)) + b"\n" for number in range(1, lines + 1))

    def readline(self, _most: int) -> bytes:
        return next(self.lines, b"")

    def read(self, _most: int) -> bytes:
        return b""

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        return None


def test_memory_stays_flat_however_long_an_export_is() -> None:
    def peak_of(lines: int) -> int:
        run = Run(lambda _: None)
        run.keys = KEYS
        tracemalloc.start()
        run.verify(File("all.ndjson", lambda: Endless(lines)))  # type: ignore[arg-type, return-value]
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        assert (run.seen["records"], run.faults) == (lines, 1)
        return peak

    peak_of(10)
    assert peak_of(2_000) < peak_of(200) + 50_000


# The command -----------------------------------------------------------------------------------------------
def setbook_verify(*arguments: str) -> "subprocess.CompletedProcess[str]":
    environment = {name: text for name, text in os.environ.items() if not name.startswith("SETBOOK_")}
    return subprocess.run(
        [sys.executable, "-m", "service", "verify", *arguments],
        cwd=ROOT,
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )


def test_the_command_ends_with_0_where_all_holds_and_1_where_anything_does_not(tmp_path: Path) -> None:
    good, bad, keys = tmp_path / "good.ndjson", tmp_path / "bad.ndjson", tmp_path / "jwks.json"
    good.write_bytes(export(line_of(ONE), line_of(TWO)))
    bad.write_bytes(flipped(good.read_bytes(), 100, 1))
    keys.write_bytes(KEY_SET)
    held = setbook_verify(str(good), "--keys", str(keys))
    assert (held.returncode, held.stderr) == (0, "")
    assert held.stdout.splitlines()[0] == f"{good}: an export of 2 records is whole and holds"
    broken = setbook_verify(str(bad), str(good), "--keys", str(keys))
    assert broken.returncode == 1
    assert "line 1: record 2026-000001.1: These are not the bytes that were signed" in broken.stdout
    without = setbook_verify(str(good))
    assert (without.returncode, without.stderr.startswith("setbook: No key set was given")) == (78, True)
