"""The lines of JSON texts, against the standard library's reading of them."""

import json
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from service.packs.lines import lines_in

TEXT = """{
  "name": "a",
  "rules": [
    {"id": "x", "of":
      ["p",
       "q"]},

    {"id": "y", "a/b~c": {"%41": {"deep": 1}}}
  ],
  "quoted \\" ] } \\\\": "{[,:]}", "last": []
}"""

JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=5), inner, max_size=4),
    max_leaves=20,
)


def test_each_member_stands_on_the_line_of_its_name() -> None:
    lines = lines_in(TEXT)
    expected = {
        "#": 1,
        "#/name": 2,
        "#/rules": 3,
        "#/rules/0": 4,
        "#/rules/0/of": 4,
        "#/rules/0/of/0": 5,
        "#/rules/0/of/1": 6,
        "#/rules/1": 8,
        "#/rules/1/a~1b~0c/%2541/deep": 8,
        "#/last": 10,
    }
    assert {pointer: lines.line_of(pointer) for pointer in expected} == expected
    assert lines.doubled == []


def test_what_is_missing_stands_where_it_should_be_held() -> None:
    lines = lines_in(TEXT)
    assert lines.line_of("#/rules/1/hours") == 8
    assert lines.line_of("#/region") == 1
    assert lines.line_of("#/rules/7/id") == 3


def test_a_name_that_is_given_twice_is_named_with_both_lines() -> None:
    lines = lines_in('{"a": 1,\n "b": {"c/d": 1,\n\n "c\\/d": 2}, "A": 3,\n"a": 4, "a": 5}')
    assert [(one.pointer, one.code, one.detail) for one in lines.doubled] == [
        ("#/b/c~1d", "doubled_name", "'c/d' stands on line 2 already; give it once."),
        ("#/a", "doubled_name", "'a' stands on line 1 already; give it once."),
        ("#/a", "doubled_name", "'a' stands on line 5 already; give it once."),
    ]
    assert lines.line_of("#/b/c~1d") == 4


def paths_of(value: Any, path: tuple[str, ...] = ()) -> set[tuple[str, ...]]:
    """The steps to every member of a value."""
    parts = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    return {path}.union(*(paths_of(part, (*path, str(name))) for name, part in parts))


@given(JSON, st.sampled_from([None, 1]))
def test_every_member_of_any_json_is_found_and_nothing_else(value: Any, indent: int | None) -> None:
    text = json.dumps(value, indent=indent)
    lines = lines_in(text)
    assert set(lines.of) == paths_of(value)
    assert max(lines.of.values()) <= text.count("\n") + 1
    assert lines.doubled == []


@given(JSON)
def test_one_member_a_line_is_found_in_order(value: Any) -> None:
    """With an indent every member begins a line of its own, in the order of the text."""
    found = list(lines_in(json.dumps(value, indent=1)).of.values())
    assert found == sorted(set(found))
