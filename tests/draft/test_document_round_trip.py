"""The document: what is written is what is read, laid out the same every time, and places beats in time."""

from __future__ import annotations

import dataclasses
import json
from fractions import Fraction

import pytest
from draft_samples import drafts, sample_draft
from hypothesis import HealthCheck, given, settings
from make_fixtures import fixture_path

from transcriber.draft import (
    Draft,
    DraftNote,
    Timing,
    draft_bytes,
    draft_schema,
    parse_draft,
    read_draft,
    write_draft,
)
from transcriber.draft.coding import decode_draft, encode
from transcriber.draft.layout import NOTE_LINES, document_text
from transcriber.draft.versions import migrate
from transcriber.errors import DraftError
from transcriber.records.analysed import BendCount, HardParts, NoteMeaning
from transcriber.records.technique import TECHNIQUE_KINDS, Technique
from transcriber.records.written import Meter

RECORD_OF = {
    None: Draft,
    "note": DraftNote,
    "timing": Timing,
    "technique": Technique,
    "hard_parts": HardParts,
    "bend_count": BendCount,
    "meaning": NoteMeaning,
}


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)
@given(drafts())
def test_reading_gives_back_what_was_written(draft):
    data = draft_bytes(draft)
    again = parse_draft(data)
    assert again == draft
    assert draft_bytes(again) == data


def test_file_round_trip(tmp_path):
    path = tmp_path / "take.draft.json"
    write_draft(sample_draft(), path)
    assert read_draft(path) == sample_draft()
    assert path.read_bytes().endswith(b"}\n")


def test_layout_is_for_people():
    text = draft_bytes(sample_draft()).decode("utf-8")
    contours = [line for line in text.splitlines() if '"contour"' in line]
    assert len(contours) == 4
    assert all('"times_s"' in line and '"cents"' in line for line in contours)
    assert '"beat": "4", "length": "1/2"' in text
    assert "休み" in text
    assert max(len(line) for line in text.splitlines()) < 500


def test_layout_covers_every_key_of_a_note():
    laid = [key for line in NOTE_LINES for key in line]
    assert laid == [field.name for field in dataclasses.fields(DraftNote)]


@pytest.mark.parametrize("definition", [None, *draft_schema()["$defs"]])
def test_schema_and_records_have_the_same_keys(definition):
    import transcriber.draft as records

    schema = draft_schema() if definition is None else draft_schema()["$defs"][definition]
    if "properties" not in schema:
        assert "additionalProperties" not in schema
        return
    names = {
        "instrument": "DraftInstrument",
        "made_by": "MadeBy",
        "phrase_alternative": "PhraseAlternative",
        "note_place": "NotePlace",
    }
    record = RECORD_OF.get(definition) or getattr(records, names.get(definition, str(definition).title()))
    fields = [field.name for field in dataclasses.fields(record)]
    assert list(schema["properties"]) == fields
    assert schema["additionalProperties"] is False
    if record is not Technique:
        # What an analysis adds may be missing, and then has a default.
        required = schema["required"]
        assert required == fields[: len(required)]
        added = dataclasses.fields(record)[len(required) :]
        assert all(field.default is not dataclasses.MISSING for field in added)


def test_schema_knows_every_technique():
    assert tuple(draft_schema()["$defs"]["technique"]["properties"]["kind"]["enum"]) == TECHNIQUE_KINDS


def test_schema_is_valid_and_takes_the_sample():
    import jsonschema

    jsonschema.Draft202012Validator.check_schema(draft_schema())
    jsonschema.Draft202012Validator(draft_schema()).validate(json.loads(draft_bytes(sample_draft())))


def test_fixture_of_format_1_is_still_read():
    data = fixture_path(1).read_bytes()
    assert parse_draft(data) == sample_draft()
    assert draft_bytes(sample_draft()) == data


def test_a_newer_document_is_refused():
    document = encode(sample_draft()) | {"format_version": 2, "weather": "fine"}
    with pytest.raises(
        DraftError, match=r"format_version is 2; this program reads up to 1; use a newer"
    ) as caught:
        parse_draft(document_text(document).encode())
    assert "\n" not in str(caught.value)


def test_migrations_run_one_version_at_a_time():
    """How a migration will look: format 1 as if it had once been format 3, two steps behind."""

    def name_the_take(document):
        return {**document, "title": document["source"]["file"]}

    def count_notes(document):
        assert document["format_version"] == 2
        return {**document, "count": len(document["notes"])}

    old = encode(sample_draft())
    new = migrate(old, "take.draft.json", migrations={1: name_the_take, 2: count_notes}, current=3)
    assert (new["format_version"], new["title"], new["count"]) == (3, "harbour_take.wav", 4)
    assert old["format_version"] == 1
    assert decode_draft(migrate(old, "take.draft.json")) == sample_draft()
    with pytest.raises(DraftError, match="no longer read"):
        migrate(old, "take.draft.json", migrations={2: count_notes}, current=3)


def test_start_counts_from_beat_one_of_bar_one():
    starts = [note.start(Meter(4, 4)) for note in sample_draft().notes]
    assert starts == [Fraction(-1), Fraction(0), Fraction(0), Fraction(2)]
    assert sample_draft().notes[2].end(Meter(4, 4)) == Fraction(4, 3)
    assert sample_draft().phrase_notes(sample_draft().phrases[0]) == sample_draft().notes[:3]


@pytest.mark.parametrize(
    ("start", "due"),
    [
        (Fraction(-1), 0.5),
        (Fraction(0), 1.0),
        (Fraction(1, 3), 1.0 + 0.5 / 3),
        (Fraction(3, 2), 1.8),
        (Fraction(-2), 0.0),
        (Fraction(3), 2.7),
    ],
)
def test_beats_have_times(start, due):
    timing = Timing(120.0, Meter(4, 4), None, (0.5, 1.0, 1.5, 2.1), -1)
    assert timing.time_of(start) == pytest.approx(due)


def test_swung_eighths_are_due_late():
    """Triplet swing, 2:1, puts the second eighth at two thirds of the beat."""
    timing = Timing(120.0, Meter(4, 4), 2.0, (0.0, 0.6), 0)
    assert timing.time_of(Fraction(1, 2)) == pytest.approx(0.4)
    assert timing.time_of(Fraction(1)) == pytest.approx(0.6)
    assert timing.time_of(Fraction(3, 4)) == pytest.approx(0.5)


def test_a_single_beat_takes_its_pace_from_the_tempo():
    """Dotted quarters at 60 are eighths a third of a second long."""
    timing = Timing(60.0, Meter(6, 8), None, (1.0,), 0)
    assert timing.time_of(Fraction(3)) == pytest.approx(2.0)
