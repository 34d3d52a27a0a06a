"""Who sees what: books with a word of its own in every text, and where each word may stand."""

import json
from typing import Any
from uuid import UUID

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.kernel.typeset import pdf_of
from service.property_file.models import Content, Place, Record
from service.property_file.public import public_file
from service.property_file.routes import TEMPLATE
from service.wording.content import Stated
from tests.http import Api
from tests.property_file.book import NEW, OLD, everything, marked_book, text_of
from tests.property_file.rows import a_version, chosen_of

SEEDS = range(4)
PERSONAL = (
    "old",
    "new",
    "refs",
    "old refs",
    "new refs",
    "old homes",
    "new homes",
    "place",
    "house",
    "workers",
)


@pytest.mark.parametrize("seed", SEEDS)
async def test_the_public_sees_no_word_that_anybody_wrote_and_no_position(two: tuple[Api, Api], seed: int):
    api, _ = two
    words = await marked_book(api, seed)
    read = await everything(api, "audience=public")
    assert words.among(read, *PERSONAL, "old positions", "new positions") == []
    assert not [one for one in (OLD, NEW) if any(one.encode() in text for text in read)]


@pytest.mark.parametrize("seed", SEEDS)
async def test_a_customer_sees_nothing_of_another_tenure(two: tuple[Api, Api], seed: int):
    api, _ = two
    words = await marked_book(api, seed)
    read = await everything(api, "audience=customer")
    assert words.among(read, "house", "old", "old refs", "old homes", "old positions") == []
    assert OLD.encode() not in b"".join(read)
    # what is the customer's own is there, so the search finds what is to be found
    assert set(words.of["new"]) - set(words.among(read, "new")) == set()
    assert words.among(read, "workers", "refs", "place") == [
        *words.of["workers"],
        *words.of["refs"],
        *words.of["place"],
    ]


@pytest.mark.parametrize("seed", SEEDS)
async def test_who_held_it_before_sees_nothing_of_what_came_after(two: tuple[Api, Api], seed: int):
    api, _ = two
    words = await marked_book(api, seed)
    read = await everything(api, f"audience=customer&customer_id={OLD}")
    # also not the name that the property has today
    assert words.among(read, "house", "new", "new refs", "new homes", "new positions") == []
    assert NEW.encode() not in b"".join(read)
    assert set(words.of["old"]) - set(words.among(read, "old")) == set()


@pytest.mark.parametrize("seed", SEEDS)
async def test_an_auditor_sees_every_record_and_the_name_of_nobody(two: tuple[Api, Api], seed: int):
    api, _ = two
    words = await marked_book(api, seed)
    read = await everything(api, "audience=auditor")
    names = [words.of["old"][0], words.of["new"][1], *words.of["workers"]]
    assert not [word for word in names if any(word.encode() in text for text in read)]
    assert words.among(read, "house", "old homes", "new homes") == []
    signed = [json.loads(one) for one in read if one.startswith(b'{"noun":"signed_service_record"')]
    assert {one["record"]["content"]["customer_id"] for one in signed} == {OLD, NEW}
    assert len(signed) == 9


# What records may hold one day -----------------------------------------------------------------------------
MARK = "Zqmark"
marked = st.text("abc", max_size=3).map(lambda tail: f"{MARK}{tail}")
whatever: st.SearchStrategy[Any] = st.recursive(
    marked | st.integers(0, 9) | st.none(),
    lambda inner: st.lists(inner, max_size=2) | st.dictionaries(marked, inner),
)
animals = st.fixed_dictionaries(
    {"species": st.just("Scapanus latimanus"), "sex": marked, "count": st.integers(0, 3)}
)
treatment = st.fixed_dictionaries(
    dict.fromkeys(("id", "method", "method_class", "product", "registration", "unit", "applied_by"), marked)
)
contents = st.fixed_dictionaries(
    {
        "kind": st.sampled_from(["visit", "month", "Zqmark"]),
        "outcome": marked,
        "statement": marked,
        "arrived_local": marked,
        "methods": st.lists(st.fixed_dictionaries({"method": marked, "method_class": marked}), max_size=2),
        "sets": st.lists(st.fixed_dictionaries({"done": st.lists(marked), "state": marked}), max_size=2),
        "catches": st.lists(animals, max_size=2),
        "treatments": st.lists(treatment, max_size=2),
        "repairs": st.lists(st.fixed_dictionaries({"how": marked, "area_m2": marked}), max_size=1),
        "turf_figures": st.dictionaries(marked, whatever, max_size=2),
        "some_day": whatever,
    }
)
MARKED_PLACE = Place(
    **dict.fromkeys(("name", "ref", "county", "locality", "address", "kind"), MARK),
    zone="America/Los_Angeles",
    region="US-CA",
    business_name="Greenway Trapping",
    business_zone="America/Los_Angeles",
    packs=[],
)


@given(contents, st.booleans())
@settings(max_examples=60)
def test_whatever_a_record_holds_the_public_reads_closed_words_alone(
    content: dict[str, Any], withdrawn: bool
):
    head = a_version(1, withdrawn=withdrawn, customer_id=UUID(int=7))
    stated = Content(
        sequence=1,
        replaces=MARK,
        content=msgspec.convert(content, Stated, strict=False),
        licences=[],
        property_ref=MARK,
        party=None,
    )
    chosen = chosen_of("public", [head])
    file = msgspec.json.encode(public_file(chosen, MARKED_PLACE, [[Record(head=head, content=stated)]]))
    assert MARK.encode() not in file


def test_markup_in_a_text_is_text():
    """What people wrote is data of the page, never its commands."""
    evil = '#panic("x") *bold* $x$ `raw` <label> @ref = heading'
    place = msgspec.structs.replace(MARKED_PLACE, business_name=evil)
    head = a_version(1)
    content = Content(
        sequence=1, replaces=None, content=Stated(kind="visit"), licences=[], property_ref=None, party=None
    )
    file = public_file(chosen_of("public", [head]), place, [[Record(head=head, content=content)]])
    said = text_of(pdf_of(TEMPLATE, msgspec.json.encode(file)))
    assert evil in " ".join(said.split())
