"""The compiled check of a draft and the full one agree: on good drafts, and on drafts damaged in every way.

The compiled check lets a right draft pass at once; what it refuses is looked at by the full one, which finds
the words. So a draft that only the compiled one refuses is merely slow, while one that only the compiled one
lets pass would be a hole. Neither may happen.
"""

from __future__ import annotations

import copy
import json
import math
import sys
from pathlib import Path

import pytest
from draft_samples import sample_draft
from hypothesis import given, settings
from hypothesis import strategies as st

from transcriber.draft import draft_bytes
from transcriber.draft.schema import _passes, _validator, check_document, draft_schema
from transcriber.errors import DraftError

SAMPLE = json.loads(draft_bytes(sample_draft()))
FIXTURES = [
    json.loads(path.read_text(encoding="utf-8"))
    for path in sorted(Path(__file__).with_name("fixtures").glob("*.draft.json"))
]
# Values of every type at and beyond the edges that the schema sets, and what Python's JSON lets pass.
STRANGE = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-2, 2),
    st.sampled_from([36, 37, 127, 128, 240, 10**6, 10**6 + 1, -(10**9), 10**400]),
    st.floats(allow_nan=False, allow_infinity=False, width=32),
    st.sampled_from([0.0, -0.0, 1.0, 1.0000001, math.nan, math.inf, -math.inf, sys.float_info.max, 2.0]),
    st.sampled_from(["", "1", "5/2", "0", "-1", "01/2", "4/4", "x" * 61, "é", "\ud800", "A\n", "n001", "C#"]),
    st.text(max_size=3),
    st.just([]),
    st.just({}),
    st.lists(st.one_of(st.none(), st.integers(), st.sampled_from([math.nan, "a", 0.5])), max_size=3),
    st.dictionaries(st.text(max_size=3), st.integers(), max_size=2),
)


def agreed(document) -> bool:
    """Both checks' verdict, which must be the same."""
    quick = _passes(document)
    full = next(_validator(None).iter_errors(document), None) is None
    assert quick == full
    if quick:
        check_document(document, "draft")
    else:
        with pytest.raises(DraftError, match="draft: "):
            check_document(document, "draft")
    return quick


def places(value, path=()):
    """Paths to every value of a document, the long arrays of numbers by their first three alone."""
    yield path
    if isinstance(value, dict):
        for key, each in value.items():
            yield from places(each, (*path, key))
    elif isinstance(value, list):
        for index, each in enumerate(value[:3]):
            yield from places(each, (*path, index))


PLACES = [path for path in places(SAMPLE) if path]


def parent_of(document, path):
    at = document
    for key in path[:-1]:
        at = at[key]
    return at


@pytest.mark.parametrize("document", [SAMPLE, *FIXTURES])
def test_good_drafts_pass_both(document):
    assert agreed(document)


@settings(max_examples=300, deadline=None)
@given(st.sampled_from(PLACES), STRANGE)
def test_one_value_replaced(path, value):
    document = copy.deepcopy(SAMPLE)
    parent_of(document, path)[path[-1]] = value
    agreed(document)


@pytest.mark.parametrize(
    ("path", "value"),
    [(("key", "tonic"), "A\n"), (("notes", 0, "meaning", "name"), "A\n"), (("notes", 0, "beat"), "1\n")],
)
def test_a_line_break_is_no_part_of_a_name(path, value):
    document = copy.deepcopy(SAMPLE)
    parent_of(document, path)[path[-1]] = value
    assert not agreed(document)


@settings(max_examples=150, deadline=None)
@given(st.sampled_from(PLACES), st.text(max_size=4), STRANGE)
def test_something_added_beside(path, key, value):
    document = copy.deepcopy(SAMPLE)
    parent = parent_of(document, path)
    if isinstance(parent, dict):
        parent[key] = value
    else:
        parent.append(value)
    agreed(document)


@pytest.mark.parametrize("path", PLACES, ids=lambda path: ".".join(map(str, path)))
def test_something_left_out(path):
    document = copy.deepcopy(SAMPLE)
    del parent_of(document, path)[path[-1]]
    agreed(document)


@settings(max_examples=150, deadline=None)
@given(st.lists(st.tuples(st.sampled_from(PLACES), st.sampled_from(PLACES)), min_size=1, max_size=4))
def test_parts_put_in_place_of_each_other(swaps):
    document = copy.deepcopy(SAMPLE)
    for to, source in swaps:
        try:
            value = copy.deepcopy(parent_of(document, source)[source[-1]])
            parent_of(document, to)[to[-1]] = value
        except (KeyError, IndexError, TypeError):
            # What was put in before has no such part.
            continue
    agreed(document)


@given(STRANGE)
def test_what_is_no_draft_at_all(value):
    assert not agreed(value)


def test_the_schema_uses_no_word_that_the_two_libraries_read_differently():
    """The compiled one knows JSON Schema up to draft 7; the shipped schema is 2020-12."""
    later = {"prefixItems", "$dynamicRef", "unevaluatedProperties", "unevaluatedItems", "dependentSchemas",
             "dependentRequired", "minContains", "maxContains", "$anchor"}  # fmt: skip
    found = set()

    def look(value):
        if isinstance(value, dict):
            found.update(value)
            for each in value.values():
                look(each)
        elif isinstance(value, list):
            for each in value:
                look(each)

    look(draft_schema())
    assert not found & later
