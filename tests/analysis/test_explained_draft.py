"""What a line is made of in its draft: found, corrected by a person, written over the tab, and drawn."""

import re
from dataclasses import replace
from fractions import Fraction
from xml.etree import ElementTree

import pytest

from tests.analysis.marked import marked_lines
from tests.export import export_drafts as lines
from transcriber.draft import (
    Chord,
    Confidence,
    Contour,
    Draft,
    DraftInstrument,
    DraftNote,
    Key,
    MadeBy,
    Shape,
    Source,
    Timing,
    draft_bytes,
    parse_draft,
)
from transcriber.errors import UsageError
from transcriber.explain import check_harmony, explained
from transcriber.export import text_tab
from transcriber.export.neck_picture import PictureSettings, neck_pictures
from transcriber.records.written import Meter

SURE = Confidence(1.0, 1.0, 1.0, 1.0, 1.0, 1.0)
SVG = "{http://www.w3.org/2000/svg}"


def bare_draft(title="Milk round", tuning=(64, 59, 55, 50, 45, 40), capo=0):
    line = next(line for line in marked_lines() if line.title == title)
    notes = []
    for number, note in enumerate(line.notes, 1):
        onset = round(2 + 0.5 * float(note.start), 4)
        end = round(onset + 0.5 * float(note.length), 4)
        bar, beat = int(note.start // 4) + 1, note.start % 4 + 1
        pitch = tuning[note.string - 1] + capo + note.fret
        contour = Contour((), ())
        notes.append(
            DraftNote(f"n{number:03d}", onset, end, pitch, note.string, note.fret, None, bar, beat,
                      note.length, 1, 90, (), contour, None, SURE, ())
        )  # fmt: skip
    return Draft(
        1, MadeBy("0", {}, "0" * 64), Source("line.wav", "0" * 64, 44100, 60.0),
        DraftInstrument("standard", tuning, capo, 24, 440.0),
        Timing(120.0, Meter(4, 4), None, tuple(0.5 * beat for beat in range(100)), -4),
        None, (), (), (), tuple(notes), (),
    )  # fmt: skip


def test_an_explained_draft_is_written_and_read():
    draft = explained(bare_draft(), "G7 | G7 | C7 | C7 | G7 | G7 | C7 | G7")
    assert parse_draft(draft_bytes(draft)) == draft
    assert (draft.key.tonic, draft.key.mode, draft.key.given) == ("G", "mixolydian", False)
    assert draft.key.outside == ("Bb",)
    assert [phrase.name for phrase in draft.phrases] == [f"Phrase {number}" for number in range(1, 5)]
    assert [phrase.bars for phrase in draft.phrases] == [(1, 2), (3, 4), (5, 6), (7, 8)]
    assert draft.phrases[2].like == "p1"
    assert {each for shape in draft.shapes for each in shape.notes} <= {note.id for note in draft.notes}
    assert all(note.meaning.chord for note in draft.notes)
    assert explained(draft) == draft


def test_what_a_person_says_is_kept():
    draft = explained(bare_draft(), "G7")
    first = replace(draft.phrases[0], name="Opening", remark="Lightly.")
    named = replace(draft, phrases=(first, *draft.phrases[1:]))
    unread = (Chord("Q?", 1, Fraction(1), Fraction(4)),)
    again = explained(replace(named, key=Key("G", "major"), chords=unread))
    assert (again.phrases[0].name, again.phrases[0].remark) == ("Opening", "Lightly.")
    assert (again.key.mode, again.key.given, again.key.confidence) == ("major", True, 1.0)
    assert again.chords == unread
    assert all(note.meaning.chord is None for note in again.notes)


@pytest.mark.parametrize(("chords", "key"), [("Am | Xm", None), (None, "A mynor")])
def test_what_cannot_be_read_is_refused(chords, key):
    with pytest.raises(UsageError):
        check_harmony(chords, key)


def test_the_tab_names_shapes_over_their_notes_and_lists_phrases():
    tab = text_tab(explained(bare_draft()), 100)
    assert tab.isascii()
    assert "Em pent. box 2" in tab.partition("Signs")[0]
    listed = " ".join(tab.partition("What it is made of")[2].split())
    assert "E minor pentatonic, box 2 (G major pentatonic)" in listed
    assert re.search(r"Phrase 1, bars 1 to 2; .* notes a second", listed)


def test_a_label_at_the_end_of_a_short_system_is_whole():
    draft = lines.build([(beat, "1", 3, 5) for beat in range(4)])
    last = draft.notes[-1]
    shape = Shape(
        "E minor pentatonic, box 3", last.onset_s, last.end_s, 5, 8, "pentatonic_box", notes=(last.id,)
    )
    row = next(row for row in text_tab(replace(draft, shapes=(shape,))).splitlines() if "Em pent." in row)
    assert row.endswith("Em pent. box 3")
    assert len(row) <= 80


def texts(svg):
    root = ElementTree.fromstring(svg)
    return [(each.text, float(each.get("x"))) for each in root.iter(f"{SVG}text")]


def test_a_neck_is_drawn_for_every_shape():
    draft = explained(bare_draft())
    made = neck_pictures(draft)
    assert list(made) == [".neck-01.svg", ".neck-02.svg", ".neck-03.svg", ".neck-04.svg"]
    assert made == neck_pictures(draft)
    words = [text for text, _ in texts(made[".neck-01.svg"])]
    assert words[0] == "E minor pentatonic, box 2"
    # Eight notes: their moments stand at their places, each once.
    moments = [int(each) for text in words if re.fullmatch(r"[\d ]+", text) for each in text.split()]
    assert {1, 2, 3, 4, 5, 6, 7, 8} <= set(moments)
    root = ElementTree.fromstring(made[".neck-01.svg"])
    # The whole picture's ground, and Bb, which the shape does not explain.
    assert len(list(root.iter(f"{SVG}rect"))) == 2


def test_moments_of_an_open_string_are_not_hidden_by_the_nut():
    notes = ((0, "1", 1, 0), (1, "1", 1, 3), (2, "1", 1, 0), (3, "1", 2, 3))
    svg = neck_pictures(explained(lines.build(list(notes))))[".neck-01.svg"]
    root = ElementTree.fromstring(svg)
    moments = next(each for each in root.iter(f"{SVG}text") if each.text == "1 3")
    x, y = float(moments.get("x")), float(moments.get("y"))
    before = list(root)[: list(root).index(moments)]
    blank = next(each for each in before[::-1] if each.tag == f"{SVG}rect")
    left, top = float(blank.get("x")), float(blank.get("y"))
    assert left <= x
    assert x + 3 * 4.5 <= left + float(blank.get("width"))
    assert top < y < top + float(blank.get("height"))


def test_a_left_handed_neck_is_the_mirror_of_a_right_handed_one():
    draft = explained(bare_draft())
    right = neck_pictures(draft)[".neck-01.svg"]
    left = neck_pictures(draft, PictureSettings(hand="left"))[".neck-01.svg"]
    width = float(ElementTree.fromstring(right).get("width"))
    frets = {text: x for text, x in texts(right) if text in ("3", "5")}
    mirrored = {text: x for text, x in texts(left)}
    assert all(mirrored[text] == pytest.approx(width - x) for text, x in frets.items() if text == "5")


@pytest.mark.parametrize(("marks", "one"), [("degrees", "\u266d3"), ("names", "B\u266d"), ("frets", "3")])
def test_places_are_marked_as_asked(marks, one):
    picture = neck_pictures(explained(bare_draft()), PictureSettings(marks=marks))[".neck-02.svg"]
    assert one in [text for text, _ in texts(picture)]


def test_tuned_down_and_capo_keep_the_frets_and_change_the_names():
    """The same frets a tone down, and with a capo at 3: the same boxes of other keys (common practice)."""
    plain = explained(bare_draft("Third rail"))
    down = explained(bare_draft("Third rail", tuning=(62, 57, 53, 48, 43, 38)))
    capo = explained(bare_draft("Third rail", capo=3))
    assert [shape.places for shape in plain.shapes] == [shape.places for shape in down.shapes]
    assert [shape.places for shape in plain.shapes] == [shape.places for shape in capo.shapes]
    names = [draft.shapes[0].name for draft in (plain, down, capo)]
    assert names == [f"{tonic} minor pentatonic, box 1" for tonic in ("B", "A", "D")]
    assert "capo 3" in " ".join(text for text, _ in texts(neck_pictures(capo)[".neck-01.svg"]))
