"""MusicXML: the W3C schema, a plain reading back, music21 and verovio, on written and generated drafts."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction as Frac

import export_drafts as lines
import generated_drafts as generated
import pytest
from hypothesis import given
from lxml import etree
from musicxml_reading import (
    ReadNote,
    assert_music21_agrees,
    assert_music21_reads_techniques,
    draw_all,
    expected,
    faults,
    read_notes,
)

from transcriber.draft import Chord, Draft, Key
from transcriber.export.musicxml import musicxml_bytes
from transcriber.export.pitch_names import fifths_of, spelled
from transcriber.export.plain_words import one_line
from transcriber.records.written import Meter

STAVES = ("both", "notation", "tab")


@pytest.mark.parametrize("staves", STAVES)
@pytest.mark.parametrize("name", sorted(lines.DRAFTS))
def test_drafts_are_valid_and_read_back(name: str, staves: str) -> None:
    draft = lines.DRAFTS[name]()
    data = musicxml_bytes(draft, staves)
    assert faults(data) == []
    for staff in (1, 2) if staves == "both" else (1,):
        assert read_notes(data, staff) == expected(draft)


@generated.quick
@given(generated.written_drafts())
def test_any_draft_is_valid_and_comes_back_whole(draft: Draft) -> None:
    data = musicxml_bytes(draft)
    assert faults(data) == []
    graces = [note for note in draft.notes if note.is_grace]
    wanted = expected(draft)
    for staff in (1, 2):
        found = read_notes(data, staff)
        if not graces:
            assert found == wanted
        # A grace may be moved to the note that it decorates.
        assert sorted(_timeless(note) for note in found) == sorted(_timeless(note) for note in wanted)


def _timeless(note: ReadNote) -> tuple:
    return (note.length, note.pitch or -1, note.string or 0, note.fret or 0, sorted(note.marks))


@generated.quick
@given(generated.written_drafts())
def test_words_survive_as_one_line(draft: Draft) -> None:
    root = etree.fromstring(musicxml_bytes(draft))
    said = [words.text for words in root.iter("words")]
    for note in draft.notes:
        if note.remark and one_line(note.remark):
            assert one_line(note.remark) in said
    named = [mark.text for mark in root.iter("rehearsal")]
    starts = {note.onset_s for note in draft.notes}
    assert named == [
        one_line(phrase.name)
        for phrase in sorted(draft.phrases, key=lambda phrase: phrase.start_s)
        if one_line(phrase.name) and phrase.start_s in starts
    ]
    assert root.findtext(".//instrument-name") == one_line(draft.instrument.name) or "Guitar"
    assert root.findtext("./identification/source") == one_line(draft.source.file)


@generated.quick
@given(generated.written_drafts())
def test_bars_are_full_and_beams_and_brackets_close(draft: Draft) -> None:
    root = etree.fromstring(musicxml_bytes(draft, "notation"))
    divisions = int(root.findtext(".//divisions"))
    full = draft.meter.beats * Frac(4, draft.meter.unit)
    for measure in root.iter("measure"):
        time = reached = 0
        open_beams: set[str] = set()
        brackets = 0
        for element in measure.iter("note", "backup", "forward"):
            duration = int(element.findtext("duration", "0"))
            if element.tag == "backup":
                time -= duration
            elif element.find("chord") is None:
                time += duration
            reached = max(reached, time)
            for beam in element.iter("beam"):
                if beam.text == "begin":
                    assert beam.get("number") not in open_beams
                    open_beams.add(beam.get("number"))
                elif beam.text in ("continue", "end"):
                    assert beam.get("number") in open_beams
                    if beam.text == "end":
                        open_beams.discard(beam.get("number"))
            brackets += sum(1 if one.get("type") == "start" else -1 for one in element.iter("tuplet"))
            assert brackets in (0, 1)
        assert (open_beams, brackets) == (set(), 0)
        whole = Frac(reached, divisions)
        assert whole == full or (measure.get("implicit") == "yes" and whole < full)


def test_sixteenth_triplets_have_their_ratio_and_bracket() -> None:
    root = etree.fromstring(musicxml_bytes(lines.techniques_line(), "notation"))
    notes = list(root.iter("note"))[1:4]
    assert [note.findtext("type") for note in notes] == ["16th"] * 3
    # check values: a sixteenth triplet has actual-notes 3 and normal-notes 2 (MusicXML 4.0).
    assert [(note.findtext(".//actual-notes"), note.findtext(".//normal-notes")) for note in notes] == [
        ("3", "2")
    ] * 3
    assert [[one.get("type") for one in note.iter("tuplet")] for note in notes] == [["start"], [], ["stop"]]


def test_strings_capo_and_clefs() -> None:
    root = etree.fromstring(musicxml_bytes(lines.low_line()))
    names = [
        one.findtext("tuning-step") + one.findtext("tuning-octave")
        for one in sorted(root.iter("staff-tuning"), key=lambda one: int(one.get("line")))
    ]
    # Drop D, from the bottom line up (common practice): line 1 is the lowest string.
    assert names == ["D2", "A2", "D3", "G3", "B3", "E4"]
    assert root.findtext(".//capo") == "2"
    assert [clef.findtext("sign") for clef in root.iter("clef")] == ["G", "TAB"]
    # Guitar is written an octave above its sound: check values, common practice.
    assert root.findtext(".//clef[@number='1']/clef-octave-change") == "-1"
    bass = replace(lines.build([(0, "1", 4, 3)], tuning=(43, 38, 33, 28)))
    root = etree.fromstring(musicxml_bytes(bass, "notation"))
    assert root.findtext(".//clef/sign") == "F"
    assert [note.pitch for note in read_notes(musicxml_bytes(bass))] == [31]


def test_compound_tempo_and_swing() -> None:
    draft = lines.build([(0, "3", 2, 3)], meter=Meter(6, 8), tempo_bpm=60.0)
    root = etree.fromstring(musicxml_bytes(draft))
    metronome = root.find(".//metronome")
    assert [one.tag for one in metronome] == ["beat-unit", "beat-unit-dot", "per-minute"]
    # A dotted quarter at 60 is a quarter at 90: computed.
    assert root.find(".//sound").get("tempo") == "90"
    root = etree.fromstring(musicxml_bytes(lines.build([(0, "1", 2, 3)], swing=2.0)))
    assert (root.findtext(".//swing/first"), root.findtext(".//swing/second")) == ("2", "1")


def test_a_pickup_is_bar_0_and_not_full() -> None:
    root = etree.fromstring(musicxml_bytes(lines.pickup_line()))
    first, second = list(root.iter("measure"))[:2]
    assert (first.get("number"), first.get("implicit")) == ("0", "yes")
    assert (second.get("number"), second.get("implicit")) == ("1", None)


@pytest.mark.parametrize(
    ("key", "fifths"),
    # Circle of fifths and church modes: common practice.
    [
        (Key("G", "major"), 1),
        (Key("E", "minor"), 1),
        (Key("D", "dorian"), 0),
        (Key("Bb", "major"), -2),
        (Key("E", "phrygian"), 0),
        (Key("F", "lydian"), 0),
        (Key("G", "mixolydian"), 0),
        (Key("B", "locrian"), 0),
        (Key("C#", "major"), 7),
        (Key("G#", "major"), -4),
    ],
)
def test_key_signatures(key: Key, fifths: int) -> None:
    assert fifths_of(key) == fifths
    draft = replace(lines.straight_line(), key=key)
    root = etree.fromstring(musicxml_bytes(draft))
    assert (root.findtext(".//fifths"), root.findtext(".//mode")) == (str(fifths), key.mode)


def test_every_pitch_is_spelled_back_to_itself_and_scales_need_no_accidental() -> None:
    for tonic in ("C", "G", "D", "A", "E", "B", "F#", "F", "Bb", "Eb", "Ab", "Db", "Gb"):
        key = Key(tonic, "major")
        assert all(spelled(pitch, key).midi == pitch for pitch in range(128))
        steps = [60 + spelled_class(tonic) + step for step in (0, 2, 4, 5, 7, 9, 11)]
        assert sorted(spelled(pitch, key).step for pitch in steps) == list("ABCDEFG")


def spelled_class(tonic: str) -> int:
    letter = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}[tonic[0]]
    return letter + tonic.count("#") - tonic[1:].count("b")


def test_accidentals_stand_once_in_a_bar_and_again_in_the_next() -> None:
    notes = [(place, "1", 2, fret) for place, fret in enumerate((2, 2, 1, 2, 2))]  # C# C# C C# | C#
    root = etree.fromstring(musicxml_bytes(lines.build(notes), "notation"))
    shown = [note.findtext("accidental") for note in root.iter("note") if note.find("rest") is None]
    assert shown == ["sharp", None, "natural", "sharp", "sharp"]


def test_chord_names() -> None:
    names = ("F#m7/C#", "E7#9", "N.C.", "odd")
    chords = tuple(Chord(name, 1, Frac(place + 1), Frac(1)) for place, name in enumerate(names))
    root = etree.fromstring(musicxml_bytes(replace(lines.straight_line(), chords=chords)))
    found = [
        (*map(one.findtext, (".//root-step", ".//root-alter", "kind")), one.find("kind").get("text"))
        for one in root.iter("harmony")
    ]
    assert found == [
        ("F", "1", "minor-seventh", "m7"),
        ("E", None, "other", "7#9"),
        ("C", None, "none", "N.C."),
    ]
    assert root.findall(".//root-step")[2].get("text") == ""
    assert "odd" in [words.text for words in root.iter("words")]
    assert root.findtext(".//bass-step") == "C"


def test_no_notes_is_one_empty_bar() -> None:
    data = musicxml_bytes(replace(lines.straight_line(), notes=()))
    assert faults(data) == []
    assert read_notes(data) == []


def test_same_draft_same_bytes() -> None:
    assert musicxml_bytes(lines.techniques_line()) == musicxml_bytes(lines.techniques_line())


@generated.quick
@given(generated.written_drafts(one_line=True))
def test_music21_reads_the_same(draft: Draft) -> None:
    assert_music21_agrees(draft, musicxml_bytes(draft, "notation"))


def test_music21_reads_the_techniques() -> None:
    draft = lines.techniques_line()
    notes = assert_music21_reads_techniques(draft, musicxml_bytes(draft, "notation"))
    full, pre = notes[0], notes[11]
    assert full.articulations[-1].bendAlter.semitones == 2
    assert [mark.preBend for mark in pre.articulations if type(mark).__name__ == "FretBend"] == [True, False]


@pytest.mark.parametrize("staves", STAVES)
def test_verovio_draws_without_a_word(tmp_path, staves: str) -> None:
    draw_all(tmp_path, {name: musicxml_bytes(make(), staves) for name, make in lines.DRAFTS.items()})
