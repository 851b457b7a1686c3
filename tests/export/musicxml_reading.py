"""MusicXML as others read it: the W3C schema, and a plain reading of the XML for what music21 leaves out."""

from __future__ import annotations

import functools
import subprocess
import sys
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

from lxml import etree

from transcriber.draft import Draft, DraftNote
from transcriber.export.layers import links
from transcriber.records.technique import Technique

SCHEMA_FOLDER = Path(__file__).resolve().parent / "musicxml_schema"


class _Local(etree.Resolver):
    """Finds the schema's imports beside it, never on a network."""

    def resolve(self, system_url, public_id, context):
        local = SCHEMA_FOLDER / system_url.rpartition("/")[2]
        return self.resolve_filename(str(local), context)


@functools.cache
def schema() -> etree.XMLSchema:
    parser = etree.XMLParser(no_network=True)
    parser.resolvers.add(_Local())
    return etree.XMLSchema(etree.parse(str(SCHEMA_FOLDER / "musicxml.xsd"), parser))


def faults(data: bytes) -> list[str]:
    """What the schema says against a document, each with its line."""
    root = etree.fromstring(data)
    check = schema()
    check.validate(root)
    return [f"line {entry.line}: {entry.message}" for entry in check.error_log]


@dataclass(frozen=True)
class ReadNote:
    """A note as the XML tells it: times in quarter notes from bar 1, ties joined."""

    start: Fraction
    length: Fraction
    pitch: int | None
    string: int | None
    fret: int | None
    marks: frozenset[str]


def read_notes(data: bytes, staff: int = 1) -> list[ReadNote]:
    """Notes of one staff, by a plain reading of `backup`, `forward`, `chord`, ties and graces."""
    found: list[ReadNote] = []
    held: dict[tuple[str, str, str], int] = {}
    begin, divisions, bar_1 = Fraction(0), 1, None
    for measure in etree.fromstring(data).iter("measure"):
        here = furthest = latest = begin
        if measure.get("number") == "1":
            bar_1 = begin
        for element in measure:
            if element.tag == "attributes":
                divisions = int(element.findtext("divisions"))
            if element.tag in ("backup", "forward", "note"):
                step = Fraction(int(element.findtext("duration", "0")), divisions)
            if element.tag == "backup":
                here -= step
            if element.tag == "forward":
                here += step
            if element.tag == "note":
                if element.find("chord") is None:
                    latest, here = here, here + step
                if int(element.findtext("staff", "1")) == staff and element.find("rest") is None:
                    _take(element, latest, step, found, held)
            furthest = max(furthest, here)
        begin = furthest
    origin = begin if bar_1 is None else bar_1
    return sorted((replace(note, start=note.start - origin) for note in found), key=order)


def order(note: ReadNote) -> tuple:
    """By position, then length and place."""
    return (note.start, note.length, note.string or 0, note.fret or 0, note.pitch or 0, sorted(note.marks))


def _take(element, start, length, found, held) -> None:
    """Add a note, or what it adds to the note it is tied to."""
    key = (element.findtext("voice"), element.findtext(".//string", ""), _pitch_text(element))
    ties = {tie.get("type") for tie in element.findall("tie")}
    marks = _marks(element)
    if "stop" in ties:
        place = held.pop(key)
        before = found[place]
        assert before.start + before.length == start
        found[place] = replace(before, length=before.length + length, marks=before.marks | marks)
    else:
        place = len(found)
        string, fret = element.findtext(".//string"), element.findtext(".//fret")
        found.append(
            ReadNote(
                start,
                length,
                _pitch(element),
                int(string) if string else None,
                int(fret) if fret else None,
                marks,
            )
        )
    if "start" in ties:
        held[key] = place


def _pitch(element) -> int | None:
    pitch = element.find("pitch")
    if pitch is None:
        return None
    steps = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
    step, alter = steps[pitch.findtext("step")], int(pitch.findtext("alter", "0"))
    return 12 * (int(pitch.findtext("octave")) + 1) + step + alter


def _pitch_text(element) -> str:
    return "".join(element.find("pitch").itertext()) if element.find("pitch") is not None else "x"


def _marks(element) -> frozenset[str]:
    """Techniques that the elements of a note stand for, in the document's words."""
    marks = set()
    height = 0.0
    for bend in element.iter("bend"):
        steps = float(bend.findtext("bend-alter"))
        kind = next((name for name in ("pre-bend", "release") if bend.find(name) is not None), "bend")
        kind = kind.replace("-", "_")
        height = -steps if kind == "pre_bend" else height + steps
        marks.add(f"{kind} {height:g}")
    for tag, mark in (
        ("scoop", "slide_in up"),
        ("plop", "slide_in down"),
        ("doit", "slide_out up"),
        ("falloff", "slide_out down"),
        ("staccato", "staccato"),
        ("natural", "natural_harmonic"),
        ("trill-mark", "trill"),
        ("grace", "grace"),
    ):
        if element.find(f".//{tag}") is not None:
            marks.add(mark)
    marks |= {"vibrato" for line in element.iter("wavy-line") if line.get("type") == "start"}
    marks |= {"let_ring" for tied in element.iter("tied") if tied.get("type") == "let-ring"}
    marks |= {"palm_mute" for mute in element.iter("mute") if mute.text == "palm"}
    marks |= {"dead_note" for head in element.iter("notehead") if head.text == "x"}
    marks |= {"hammer_on" for one in element.iter("hammer-on") if one.get("type") == "stop"}
    marks |= {"pull_off" for one in element.iter("pull-off") if one.get("type") == "stop"}
    slurs = {one.get("number") for one in element.iter("slur") if one.get("type") == "stop"}
    for slide in element.iter("slide"):
        if slide.get("type") == "stop":
            marks.add("slide" if slide.get("number") in slurs else "slide picked")
    marks |= {other.text for other in element.iter("other-technical")}
    return frozenset(marks)


def expected(draft: Draft) -> list[ReadNote]:
    """What a reader must find, from the draft alone."""
    meter = draft.meter
    quarters = Fraction(4, meter.unit)
    before = links(draft)
    found = []
    for note in draft.notes:
        marks = {mark for one in note.techniques for mark in _marks_of(one, note, before)}
        marks |= {"grace"} if note.is_grace else set()
        start, length = note.start(meter) * quarters, note.length * quarters
        found.append(ReadNote(start, length, note.pitch_midi, *_place(note), frozenset(marks)))
    return sorted(found, key=order)


def _place(note: DraftNote) -> tuple[int | None, int | None]:
    return (note.string, note.fret) if note.string is not None else (None, None)


def _marks_of(one: Technique, note: DraftNote, before: dict[str, str]) -> set[str]:
    marks = {one.kind}
    if one.kind in ("bend", "pre_bend", "release"):
        # Written in quarter tones.
        marks = {f"{one.kind} {int(2 * one.semitones + 0.5) / 2:g}"}
    if one.kind in ("slide_in", "slide_out"):
        marks = {f"{one.kind} {one.direction}"}
    if one.kind == "trill":
        marks.add(f"trill to fret {one.to_fret}")
    picked = " picked" if one.picked else ""
    if one.kind == "slide":
        marks = {"slide" + picked}
    if one.kind in ("slide", "hammer_on", "pull_off") and note.id not in before:
        marks = {f"{one.kind.replace('_', ' ')} from before{picked}"}
    if one.optional:
        marks.add(f"optional {one.kind.replace('_', ' ')}")
    return marks


def assert_music21_agrees(draft: Draft, data: bytes) -> None:
    """Lengths, pitches, strings and frets as music21 reads a notation staff."""
    from music21 import converter

    part = converter.parseData(data.decode(), format="musicxml").parts[0]
    quarters = Fraction(4, draft.meter.unit)
    # One line: music21 keeps no string and fret of the single notes of a chord.
    found = [
        (Fraction(0) if note.duration.isGrace else Fraction(note.quarterLength), _pitch_of(note))
        for note in single_notes(part.stripTies())
    ]
    assert sorted(found) == sorted((note.length * quarters, note.pitch_midi or -1) for note in draft.notes)
    places = []
    for note in single_notes(part):
        if note.tie is None or note.tie.type in ("start", "let-ring"):
            marks = [mark for mark in note.articulations if hasattr(mark, "number")]
            numbers = {type(mark).__name__: mark.number for mark in marks}
            place = (numbers.get("StringIndication"), numbers.get("FretIndication"))
            places.append((_pitch_of(note), *(-1 if one is None else one for one in place)))
    assert sorted(places) == sorted(
        (note.pitch_midi or -1, *(-1 if one is None else one for one in _place(note))) for note in draft.notes
    )


def single_notes(part) -> list:
    """Notes of a music21 part, those within chords too; chord names, which it counts as chords, left out."""
    return [
        note
        for element in part.flatten().notes
        if "ChordSymbol" not in element.classes
        for note in getattr(element, "notes", [element])
    ]


def _pitch_of(note) -> int:
    return note.pitch.midi if hasattr(note, "pitch") else -1


MUSIC21_CLASSES = {
    "bend": {"FretBend"},
    "pre_bend": {"FretBend"},
    "release": {"FretBend"},
    "vibrato": {"TrillExtension"},
    "slide": {"Glissando"},
    "slide_in": {"Scoop", "Plop"},
    "slide_out": {"Falloff", "Doit"},
    "hammer_on": {"HammerOn"},
    "pull_off": {"PullOff"},
    "trill": {"Trill"},
    "natural_harmonic": {"StringHarmonic"},
    "staccato": {"Staccato"},
}
"""What music21 makes of a technique; of the others it reads the notehead or nothing."""


def assert_music21_reads_techniques(draft: Draft, data: bytes) -> list:
    """Techniques note by note on a line without chords; gives music21's notes."""
    from music21 import converter

    # music21 refers weakly from a note to its slides: the streams that own them stay until notes are read.
    score = converter.parseData(data.decode(), format="musicxml")
    without_ties = score.parts[0].stripTies()
    line = without_ties.flatten()
    notes = list(line.notes)
    assert len(notes) == len(draft.notes)
    for note, wanted in zip(notes, draft.notes, strict=True):
        marks = [*note.articulations, *note.expressions, *note.getSpannerSites()]
        names = {type(mark).__name__ for mark in marks}
        for one in wanted.techniques:
            assert one.kind not in MUSIC21_CLASSES or MUSIC21_CLASSES[one.kind] & names, (one.kind, names)
        assert (note.notehead == "x") == wanted.has("dead_note")
        steps = [mark.bendAlter.semitones for mark in marks if type(mark).__name__ == "FretBend"]
        assert len(steps) == sum(one.kind in ("bend", "pre_bend", "release") for one in wanted.techniques)
    return notes


DRAW = """
import sys, verovio
for path in sys.argv[1:]:
    toolkit = verovio.toolkit()
    assert toolkit.loadFile(path), path
    for page in range(1, toolkit.getPageCount() + 1):
        assert len(toolkit.renderToSVG(page)) > 2000
"""


def draw_all(folder, documents: dict[str, bytes]) -> None:
    """Draw with verovio, which tells faults on standard error: there must be none."""
    paths = []
    for name, data in documents.items():
        paths.append(folder / f"{name}.musicxml")
        paths[-1].write_bytes(data)
    done = subprocess.run([sys.executable, "-c", DRAW, *map(str, paths)], capture_output=True, text=True)
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")
