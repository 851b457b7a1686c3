"""JAMS: validated and re-read by the `jams` package."""

from __future__ import annotations

from pathlib import Path

import export_drafts as lines
import generated_drafts as generated
import jams
import pytest
from hypothesis import given

from transcriber.draft.document import Draft
from transcriber.export.jams import chord_label, jams_bytes
from transcriber.export.plain_words import one_line


def load(draft: Draft, folder: Path) -> jams.JAMS:
    """Read strictly: every annotation valid in its namespace."""
    path = folder / "take.jams"
    path.write_bytes(jams_bytes(draft))
    return jams.load(str(path), validate=True, strict=True)


def of(document: jams.JAMS, namespace: str) -> jams.Annotation:
    (found,) = document.search(namespace=f"^{namespace}$")
    return found


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    return tmp_path_factory.mktemp("jams")


@generated.quick
@given(generated.written_drafts())
def test_any_draft_is_valid_and_comes_back(folder: Path, draft: Draft) -> None:
    document = load(draft, folder)
    pitched = [note for note in draft.notes if note.pitch_midi is not None]
    notes = of(document, "note_midi")
    assert sorted((one.time, one.value, one.confidence) for one in notes.data) == sorted(
        (note.onset_s, note.pitch_midi, note.confidence.overall) for note in pitched
    )
    for aside, note in zip(notes.sandbox["notes"], pitched, strict=True):
        assert (aside["id"], aside["string"], aside["fret"], aside["remark"]) == (
            note.id,
            note.string,
            note.fret,
            note.remark,
        )
        assert (aside["beat"], aside["length"]) == (str(note.beat), str(note.length))
        assert [one["kind"] for one in aside["techniques"]] == [one.kind for one in note.techniques]
    assert document.file_metadata.identifiers["file"] == one_line(draft.source.file)
    assert [one.time for one in of(document, "beat").data] == list(draft.timing.beats_s)


def test_contours_are_in_hertz(folder: Path) -> None:
    draft = lines.techniques_line()
    contour = of(load(draft, folder), "pitch_contour").data
    first = [one for one in contour if one.value["index"] == 0]
    # G4 is 391.995 Hz (equal temperament, computed); bent by two semitones 440 Hz.
    assert first[0].value["frequency"] == pytest.approx(391.995, abs=0.001)
    assert max(one.value["frequency"] for one in first) > 440.0
    assert len(first) == len(draft.notes[0].contour.times_s)


def test_beats_count_within_the_bar_and_key_and_phrases_are_named(folder: Path) -> None:
    draft = lines.straight_line()
    document = load(draft, folder)
    assert [one.value for one in of(document, "beat").data][:5] == [1, 2, 3, 4, 1]
    assert of(document, "key_mode").data[0].value == "A:minor"
    assert [one.value for one in of(document, "chord").data] == ["A:min7", "D:9", "X"]
    pickup = load(lines.pickup_line(), folder)
    assert [one.value for one in of(pickup, "beat").data][:3] == [2, 3, 1]


@pytest.mark.parametrize(
    ("name", "label"),
    [
        ("G", "G:maj"),
        ("F#m7/C#", "F#:min7"),
        ("Bbmaj7", "Bb:maj7"),
        ("Bm7b5", "B:hdim7"),
        ("odd", "X"),
        ("N.C.", "N"),
    ],
)
def test_chord_labels(name: str, label: str) -> None:
    assert chord_label(name) == label
