"""Damaged and wrong documents: one line with the JSON path, the value and the bound, never a traceback."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import jsonschema
import pytest
from draft_samples import sample_draft
from hypothesis import given, settings
from hypothesis import strategies as st

from transcriber.draft import draft_bytes, draft_schema, parse_draft, read_draft, write_draft
from transcriber.draft.coding import encode
from transcriber.draft.schema import check_document
from transcriber.errors import DraftError
from transcriber.records.technique import Technique

GOOD = draft_bytes(sample_draft())


def damaged(path: str, value) -> bytes:
    """The sample with one value replaced; the path is dotted, as ``notes.0.fret``."""
    document = json.loads(GOOD)
    *parents, last = path.split(".")
    at = document
    for key in parents:
        at = at[int(key)] if isinstance(at, list) else at[key]
    at[int(last) if isinstance(at, list) else last] = value
    return json.dumps(document).encode()


@pytest.mark.parametrize(
    ("path", "value", "said"),
    [
        ("notes.0.velocity", 128, r"\$\.notes\[0\]\.velocity is 128; it must be at most 127"),
        ("notes.0.velocity", "loud", r'\$\.notes\[0\]\.velocity is "loud"; it must be integer'),
        ("notes.0.velocity", True, r"velocity is true; it must be integer"),
        ("notes.1.confidence.pitch", 1.5, r"\$\.notes\[1\]\.confidence\.pitch is 1\.5; it must be at most 1"),
        ("notes.1.onset_s", float("nan"), r"\$\.notes\[1\]\.onset_s is NaN; it must be a finite number"),
        ("notes.1.end_s", float("inf"), r"\$\.notes\[1\]\.end_s is Infinity; it must be a finite number"),
        ("notes.2.contour.cents.2", float("nan"), r"contour\.cents\[2\] is NaN; it must be a finite number"),
        ("notes.2.contour.cents.0", "flat", r'contour\.cents\[0\] is "flat"; it must be number, null'),
        ("notes.2.contour.times_s.0", None, r"contour\.times_s\[0\] is null; it must be number"),
        (
            "notes.2.contour.times_s.1",
            0.5,
            r"contour\.times_s\[1\] is 0\.5; it must be after the one before, 1\.0",
        ),
        ("notes.2.contour.cents", [0.0], r"contour\.cents has 1 values; it must have one for each of the 3"),
        ("notes.0.beat", 2.5, r"\$\.notes\[0\]\.beat is 2\.5; it must be string"),
        ("notes.0.beat", "0", r'beat is "0"; it must match'),
        ("notes.0.beat", "5", r'beat is "5"; in 4/4 it lies from 1 to below 5'),
        ("notes.0.length", "-1", r'length is "-1"; it must match'),
        ("notes.0.length", "1/0", r'length is "1/0"; it must match'),
        ("notes.0.length", "0", r'length is "0"; a grace alone has length "0", and this note is not a grace'),
        ("notes.1.length", "1", r'length is "1"; a grace alone has length "0", and this note is a grace'),
        ("notes.0.meaning.chord_degree", False, r"chord_degree is false; it must be null, string"),
        ("notes.0.meaning.chord_degree", "third", r'chord_degree is "third"; it must match'),
        ("phrases.0.like", 1, r"phrases\[0\]\.like is 1; it must be null, string"),
        ("notes.0.string", 7, r"\$\.notes\[0\]\.string is 7; the tuning has 6 strings"),
        ("notes.0.fret", 23, r"\$\.notes\[0\]\.fret is 23; the highest fret over the capo is 22"),
        ("notes.0.fret", 6, r"pitch_midi is 64; string 2 at fret 6 sounds 65"),
        ("notes.0.fret", None, r"string is 2; a note has string and fret both or neither"),
        ("notes.0.pitch_midi", None, r"pitch_midi is null; only a dead note has no pitch"),
        ("notes.0.end_s", 0.5, r"end_s is 0\.5; it must be after onset_s, 0\.5"),
        ("notes.3.end_s", 3.2, r"end_s is 3\.2; the recording ends at 3\.0"),
        ("notes.1.id", "n001", r'\$\.notes\[1\]\.id is "n001"; another one has this id already'),
        ("notes.2.onset_s", 0.9, r"onset_s is 0\.9; notes stand in order and the one before is at 0\.98"),
        ("notes.0.alternatives.0.fret", 23, r"alternatives\[0\]\.fret is 23; the highest fret"),
        ("notes.2.techniques.0.end_s", 1.0, r"techniques\[0\]\.end_s is 1\.0; it must not be before start_s"),
        ("notes.2.techniques.0", {"kind": "bend"}, r"techniques\[0\] lacks the key 'semitones'"),
        ("notes.2.techniques.0", {"kind": "trill"}, r"techniques\[0\] lacks the key 'to_fret'"),
        ("notes.2.techniques.0", {"kind": "slide"}, r"techniques\[0\] lacks the key 'picked'"),
        ("notes.2.techniques.0", {"kind": "hum"}, r'kind is "hum"; it must be one of bend, pre_bend'),
        ("notes.0.colour", "red", r'\$\.notes\[0\] has the key "colour", which this format does not know'),
        ("notes.0", {}, r"\$\.notes\[0\] lacks the key 'id'"),
        ("notes", {}, r"\$\.notes is an object; it must be array"),
        ("timing.beats_s", [], r"\$\.timing\.beats_s is an array of 0; it needs at least 1 item"),
        ("timing.beats_s.1", 0.5, r"beats_s\[1\] is 0\.5; it must be after the one before"),
        ("timing.meter", "4/5", r'meter is "4/5"; it must match'),
        ("timing.meter", "2/4", r'\$\.notes\[0\]\.beat is "4"; in 2/4 it lies from 1 to below 3'),
        ("instrument.capo", 22, r"\$\.instrument\.capo is 22; it must be below the 22 frets"),
        ("key.mode", "gloomy", r'mode is "gloomy"; it must be one of major'),
        ("key.tonic", "H", r'tonic is "H"; it must match'),
        ("issues.1.notes.0", "n009", r'\$\.issues\[1\]\.notes\[0\] is "n009"; no note has this id'),
        (
            "issues.1.end_s",
            None,
            r"issues\[1\]\.end_s is null; start_s and end_s are both given or both null",
        ),
        ("phrases.0.end_s", 0.1, r"phrases\[0\]\.end_s is 0\.1; it must be after start_s"),
        ("shapes.0.end_s", 0.1, r"shapes\[0\]\.end_s is 0\.1; it must be after start_s"),
        ("chords.0.beat", "5", r'\$\.chords\[0\]\.beat is "5"; in 4/4 it lies from 1 to below 5'),
        ("source.sha256", "b" * 63, r'sha256 is "b+\.\.\.; it must match'),
        ("notes.2.remark", "half \ud800", r'remark is "half \\ud800"; it must be string, null'),
        ("made_by.options.tempo", {"a": 1}, r"options\.tempo is an object; it must be string, number"),
        ("format_version", None, r"format_version is null; it must be a whole number"),
        ("format_version", 0, r"format_version is 0; it must be a whole number"),
    ],
)
def test_wrong_values_are_named(path, value, said):
    with pytest.raises(DraftError, match=said) as caught:
        parse_draft(damaged(path, value), "take.draft.json")
    message = str(caught.value)
    assert message.startswith("take.draft.json: ")
    assert "\n" not in message
    assert len(message) < 300


@pytest.mark.parametrize("cut", [0, 1, 40, len(GOOD) // 2, len(GOOD) - 3])
def test_truncated_documents(cut):
    with pytest.raises(DraftError, match=r"line \d+ is not JSON .*; the file is damaged"):
        parse_draft(GOOD[:cut])


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"[]", r"\$ is an array of 0; a draft is a JSON object"),
        (b"\xff\xfe", r"byte 0 is not UTF-8"),
        (GOOD.replace(b'"key"', b'"chords"'), r'the key "chords" stands twice in one object'),
        (b"[" * 100_000, r"not a document of this program"),
        (b'{"format_version": 1' + b"0" * 5000 + b"}", r"not a document of this program"),
        (damaged("notes.0.onset_s", 12345).replace(b"12345", b"1e999"), r"onset_s is Infinity"),
    ],
)
def test_files_that_are_no_drafts(data, said):
    with pytest.raises(DraftError, match=said):
        parse_draft(data)


def test_a_missing_file_is_one_line(tmp_path):
    with pytest.raises(DraftError, match=r"none\.draft\.json' cannot be read: No such file"):
        read_draft(tmp_path / "none.draft.json")


@settings(max_examples=150, deadline=None)
@given(st.integers(0, len(GOOD) - 1), st.binary(min_size=1, max_size=3))
def test_any_damage_is_a_draft_error_or_a_good_draft(place, patch):
    """Anything else than a `DraftError` would come through and fail the test."""
    said = ""
    try:
        parse_draft(GOOD[:place] + patch + GOOD[place + len(patch) :])
    except DraftError as error:
        said = str(error)
    assert "\n" not in said


@pytest.mark.parametrize(
    "wrong",
    [
        replace(sample_draft().notes[0], velocity=90.5),
        replace(sample_draft().notes[0], onset_s=float("nan")),
        replace(sample_draft().notes[0], beat=1.5),
        replace(sample_draft().notes[0], techniques=(Technique("bend"),)),
        replace(sample_draft().notes[0], remark="\udc80"),
    ],
)
def test_a_wrong_draft_is_not_written(tmp_path, wrong):
    draft = sample_draft()
    path = tmp_path / "take.draft.json"
    with pytest.raises(DraftError, match=r"^take\.draft\.json: \$\.notes\[0\]\."):
        write_draft(replace(draft, notes=(wrong, *draft.notes[1:])), path)
    assert list(tmp_path.iterdir()) == []


def test_a_wrong_type_of_meter_is_not_written():
    timing = replace(sample_draft().timing, meter=(4, 4))
    with pytest.raises(DraftError, match=r"\$\.timing\.meter is"):
        draft_bytes(replace(sample_draft(), timing=timing))


numbers = st.none() | st.integers(-30_000, 30_000) | st.floats() | st.booleans() | st.text(max_size=2)


@settings(max_examples=200, deadline=None)
@given(st.lists(numbers, max_size=5))
def test_the_quick_check_of_arrays_agrees_with_the_slow_one(values):
    """`jsonschema` item by item is the independent reference; it lets NaN pass, which we do not."""
    document = encode(sample_draft())
    document["notes"][0]["contour"] = {"times_s": [], "cents": values}
    strict = not any(isinstance(value, float) and not math.isfinite(value) for value in values)
    strict = strict and not any(_half_surrogate(value) for value in values)
    expected = strict and jsonschema.Draft202012Validator(draft_schema()).is_valid(document)
    try:
        check_document(document, "draft")
        accepted = True
    except DraftError:
        accepted = False
    assert accepted == expected


def _half_surrogate(value) -> bool:
    return isinstance(value, str) and any(0xD800 <= ord(letter) <= 0xDFFF for letter in value)
