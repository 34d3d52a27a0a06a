"""A changed byte anywhere in what was handed out is found and named, and so is what was cut off."""

import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.verify.signed import export, flipped, line_of, page, record, seal, verified, with_party

OTHER_BYTES = "These are not the bytes that were signed: neither the signature nor the SHA-256 fits."
OTHER_PARTY = "The party block is not the one that belongs to the record: party_hash is of other bytes."
FIRST, SECOND = record(1), record(2)
EXCLUDED = b'[{"number":"2026-000003","version":1,"why":"castor oil"}]'
FILES = {
    "record.json": line_of(FIRST),
    "party.json": with_party(line_of(FIRST)) + b"\n",
    "records.ndjson": export(line_of(FIRST), line_of(SECOND), excluded=EXCLUDED),
    "seal.json": seal(FIRST, SECOND),
    "page.json": page(line_of(FIRST), line_of(SECOND)),
}
# what a page says beside its records is bound by nothing in it: a cursor, and why records were left out
UNBOUND = {"page.json": (b'"next":"', b'","excluded"')}


def places(name: str) -> list[int]:
    """Every byte of a file but those that nothing binds."""
    content = FILES[name]
    if name not in UNBOUND:
        return list(range(len(content)))
    begins, ends = UNBOUND[name]
    start = content.index(begins) + len(begins)
    return [place for place in range(len(content)) if not start <= place < content.index(ends)]


@pytest.mark.parametrize("name", FILES)
def test_what_was_handed_out_holds(name: str) -> None:
    faults, said = verified({name: FILES[name]})
    assert (faults, len(said)) == (0, 1 + (name == "seal.json")), said


@pytest.mark.parametrize("name", FILES)
def test_every_single_byte_counts(name: str) -> None:
    for place in places(name):
        faults, said = verified({name: flipped(FILES[name], place, 1)})
        assert faults, f"byte {place}: {FILES[name][place : place + 1]!r}"
        assert any(one.startswith(name) for one in said), said


@settings(max_examples=600)
@given(st.sampled_from(sorted(FILES)), st.data())
def test_no_change_of_bits_passes(name: str, data: st.DataObject) -> None:
    place = data.draw(st.sampled_from(places(name)))
    bits = data.draw(st.integers(1, 255))
    assert verified({name: flipped(FILES[name], place, bits)})[0]


def test_the_line_is_named_in_which_a_byte_was_changed() -> None:
    content = FILES["records.ndjson"]
    first_ends = content.index(b"\n")
    for place in range(first_ends + 1, content.index(b"\n", first_ends + 1)):
        _, said = verified({"records.ndjson": flipped(content, place, 2)})
        assert any(one.startswith("records.ndjson: line 2: ") for one in said), (place, said)
        assert not any(one.startswith("records.ndjson: line 1: ") for one in said), (place, said)


def test_the_record_is_named_and_what_does_not_hold_of_it() -> None:
    content = FILES["records.ndjson"]
    place = content.index(b"no pesticide", content.index(b"\n"))
    assert verified({"all.ndjson": flipped(content, place, 1)})[1] == [
        f"all.ndjson: line 2: record 2026-000002.1: {OTHER_BYTES}",
        "all.ndjson: The closing line's SHA-256 is not that of the lines before it.",
    ]
    party = FILES["party.json"]
    _, said = verified({"party.json": flipped(party, party.index(b"Sample"), 1)})
    assert said == [f"party.json: line 1: record 2026-000001.1: {OTHER_PARTY}"]


@pytest.mark.parametrize("name", FILES)
def test_what_was_cut_off_anywhere_is_found(name: str) -> None:
    content = FILES[name].rstrip(b"\n") if name == "party.json" else FILES[name]
    for length in range(len(content)):
        assert verified({name: content[:length]})[0], length


@pytest.mark.parametrize("more", [b"\n", b" ", b"{}", b"\0"])
def test_what_was_put_behind_it_is_found(more: bytes) -> None:
    for name, content in FILES.items():
        ends_in_a_line_feed = more == b"\n" and not content.endswith(b"\n")
        assert bool(verified({name: content + more})[0]) != ends_in_a_line_feed, name


@pytest.mark.parametrize(
    "written",
    [
        json.dumps(json.loads(FILES["record.json"]), indent=1).encode(),
        FILES["record.json"].replace(b',"sha256":', b', "sha256":'),
        FILES["record.json"].replace("é".encode(), b"\\u00e9"),
        b" " + FILES["record.json"],
    ],
)
def test_a_file_that_a_tool_has_written_anew_is_told_apart_from_a_forged_one(written: bytes) -> None:
    _, said = verified({"record.json": written})
    assert "What it says is what was signed, but its bytes are not as they were handed out" in said[0]
