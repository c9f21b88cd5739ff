"""Changes in a request: the merge patch of the standard."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared_schemas.merge_patch import merged

JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=3), inner, max_size=3),
    max_leaves=10,
)


# The test cases of P. Hoffman, J. Snell, JSON Merge Patch, RFC 7396 (2014), appendix A: https://www.rfc-editor.org/rfc/rfc7396
@pytest.mark.parametrize(
    ("original", "patch", "result"),
    [
        ({"a": "b"}, {"a": "c"}, {"a": "c"}),
        ({"a": "b"}, {"b": "c"}, {"a": "b", "b": "c"}),
        ({"a": "b"}, {"a": None}, {}),
        ({"a": "b", "b": "c"}, {"a": None}, {"b": "c"}),
        ({"a": ["b"]}, {"a": "c"}, {"a": "c"}),
        ({"a": "c"}, {"a": ["b"]}, {"a": ["b"]}),
        ({"a": {"b": "c"}}, {"a": {"b": "d", "c": None}}, {"a": {"b": "d"}}),
        ({"a": [{"b": "c"}]}, {"a": [1]}, {"a": [1]}),
        (["a", "b"], ["c", "d"], ["c", "d"]),
        ({"a": "b"}, ["c"], ["c"]),
        ({"a": "foo"}, None, None),
        ({"a": "foo"}, "bar", "bar"),
        ({"e": None}, {"a": 1}, {"e": None, "a": 1}),
        ([1, 2], {"a": "b", "c": None}, {"a": "b"}),
        ({}, {"a": {"bb": {"ccc": None}}}, {"a": {"bb": {}}}),
    ],
)
def test_the_cases_of_the_standard(original: Any, patch: Any, result: Any) -> None:
    assert merged(original, patch) == result


@given(JSON, JSON)
def test_the_same_changes_twice_are_the_same_changes_once(document: Any, patch: Any) -> None:
    once = merged(document, patch)
    assert merged(once, patch) == once


@given(JSON)
def test_no_changes_change_no_object(document: Any) -> None:
    if isinstance(document, dict):
        assert merged(document, {}) == document
