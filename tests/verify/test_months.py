"""A seal beside the records of its month: what is missing, too much, other, newer or older is named."""

import pytest

from tests.verify.signed import export, line_of, page, record, seal, verified, with_party

ONE, TWO, THREE = record(1), record(2, 2), record(3)
MONTH = seal(ONE, TWO, THREE)
ANOTHER = "It is not the one that the seal 2026-05.1 holds: its SHA-256 is another."
ALL = "seal 2026-05.1: all of its 3 records are here, and no other of the month."


def compared(content: bytes, sealed: bytes = MONTH, name: str = "all.ndjson") -> tuple[int, list[str]]:
    faults, said = verified({"seal.json": sealed, name: content})
    return faults, [one for one in said if not one.endswith("holds")]


def lines(*records: bytes) -> list[bytes]:
    return [line_of(one) for one in records]


def test_all_records_of_a_sealed_month_are_ticked_off() -> None:
    assert compared(export(*lines(ONE, TWO, THREE))) == (0, [ALL])
    assert compared(export(*lines(THREE, ONE, TWO))) == (0, [ALL])
    assert compared(page(*lines(ONE, TWO, THREE))) == (0, [ALL])


@pytest.mark.parametrize(
    ("left_out", "name"), [(0, "2026-000001.1"), (1, "2026-000002.2"), (2, "2026-000003.1")]
)
def test_leaving_one_out_shows(left_out: int, name: str) -> None:
    kept = lines(ONE, TWO, THREE)
    del kept[left_out]
    for content in (export(*kept), page(*kept)):
        assert compared(content) == (
            1,
            [f"seal 2026-05.1: record {name}: It is sealed in 2026-05.1 and is not among the records given."],
        )


def test_a_record_too_many_shows() -> None:
    assert compared(export(*lines(ONE, TWO, THREE, record(4)))) == (
        1,
        ["seal 2026-05.1: record 2026-000004.1: It is of 2026-05, and the seal 2026-05.1 does not hold it."],
    )


def test_another_record_under_the_same_name_shows() -> None:
    other = record(3, on="2026-05-15")
    assert compared(export(*lines(ONE, TWO, other))) == (
        1,
        [f"all.ndjson: line 3: record 2026-000003.1: {ANOTHER}"],
    )


def test_a_newer_version_asks_for_the_newer_seal_and_an_older_one_is_passed_over() -> None:
    faults, said = compared(export(*lines(ONE, TWO, record(3, 2))))
    assert (faults, "newer than 2026-000003.1" in said[0]) == (1, True), said
    assert compared(export(*lines(ONE, record(2, 1), TWO, THREE))) == (0, [ALL])


def test_records_of_other_months_and_businesses_are_not_compared() -> None:
    other = record(3, 7, business="01980000-0000-7000-8000-00000000000f")
    assert compared(export(*lines(ONE, TWO, THREE, record(9, on="2026-06-01")))) == (0, [ALL])
    files = {
        "seal.json": MONTH,
        "all.ndjson": export(*lines(ONE, TWO, THREE)),
        "other.ndjson": export(*lines(other)),
    }
    faults, said = verified(files)
    assert (faults, said[-1]) == (0, ALL)


def test_a_record_that_moved_to_another_month_is_not_too_much() -> None:
    moved = [record(4), record(4, 2, on="2026-06-02")]
    assert compared(export(*lines(ONE, TWO, THREE, *moved))) == (0, [ALL])
    assert compared(export(*lines(*reversed(moved), ONE, TWO, THREE))) == (0, [ALL])


def test_a_record_that_moved_into_the_month_again_is_too_much() -> None:
    moved = [record(4, 3), record(4, 2, on="2026-06-02")]
    assert compared(export(*lines(ONE, TWO, THREE, *moved)))[0] == 1
    assert compared(export(*lines(ONE, TWO, THREE, *reversed(moved))))[0] == 1


def test_two_seals_of_one_name_that_differ_are_named() -> None:
    faults, said = verified({"1.json": MONTH, "2.json": seal(ONE, TWO), "3.json": MONTH})
    assert (faults, "Another seal of that name" in said[1]) == (1, True), said


def test_single_records_need_not_be_all_of_the_month() -> None:
    assert compared(with_party(line_of(TWO)), name="two.json") == (
        0,
        [
            "seal 2026-05.1: 1 of its 3 records are here, each as it was sealed.",
        ],
    )


def test_of_two_seals_of_a_month_the_later_is_compared() -> None:
    later = seal(ONE, TWO, THREE, record(4), version=2)
    files = {"1.json": MONTH, "2.json": later, "all.ndjson": export(*lines(ONE, TWO, THREE, record(4)))}
    faults, said = verified(files)
    assert (faults, said[-1]) == (
        0,
        "seal 2026-05.2: all of its 4 records are here, and no other of the month.",
    )


def test_an_empty_month_is_sealed_and_a_record_in_it_is_too_many() -> None:
    empty = seal()
    assert compared(export(), empty) == (
        0,
        ["seal 2026-05.1: all of its 0 records are here, and no other of the month."],
    )
    assert compared(export(*lines(ONE)), empty)[0] == 1


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"count": 2}, "counts 2 records and lists 3"),
        ({"root": "00" * 32}, "not the Merkle root"),
        ({"records": []}, "counts 3 records and lists 0"),
        ({"month": 5}, "no seal of a month"),
    ],
)
def test_a_seal_that_was_signed_and_does_not_add_up_says_so(wrong: dict[str, object], said: str) -> None:
    faults, told = verified({"seal.json": seal(ONE, TWO, THREE, **wrong)})
    assert faults
    assert any(said in one for one in told), told


def test_a_seal_out_of_order_says_so_and_a_record_is_no_seal() -> None:
    assert any("ascending" in one for one in verified({"seal.json": seal(TWO, ONE)})[1])
    forged = MONTH.replace(b"signed_month_seal", b"signed_service_record").replace(b'"seal":', b'"record":')
    assert verified({"seal.json": forged})[0]
