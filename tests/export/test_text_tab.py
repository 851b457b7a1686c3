"""Text tab: golden files, and random drafts read back from what was written."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import export_drafts as lines
import pytest
from generated_drafts import written_drafts
from hypothesis import HealthCheck, Phase, assume, given, settings
from hypothesis import strategies as st
from make_golden import WIDTHS, golden_path

from transcriber.draft import Chord, Draft, DraftNote, Issue, Key, Phrase, PhraseAlternative
from transcriber.draft.sureness import sure_words
from transcriber.errors import UsageError
from transcriber.export import text_tab
from transcriber.export.plain_words import one_line
from transcriber.export.read_tab import read_text_tab
from transcriber.export.score import score_of
from transcriber.export.tab_analysis import hard_words
from transcriber.export.tab_signs import half_steps
from transcriber.export.tab_writer import MARK_KINDS
from transcriber.records.analysed import BendCount, HardParts
from transcriber.records.technique import Technique
from transcriber.records.written import Meter

NO_SHRINKING = (Phase.explicit, Phase.reuse, Phase.generate)
"""Shrinking a whole draft takes minutes; the text of the failing tab tells enough."""

TUNINGS = {
    4: (43, 38, 33, 28),
    6: lines.STANDARD,
    7: (64, 59, 55, 50, 45, 40, 35),
    12: (76, 71, 67, 62, 57, 52, 64, 59, 55, 50, 45, 40),
}


@pytest.mark.parametrize("name", sorted(lines.DRAFTS))
@pytest.mark.parametrize("width", WIDTHS)
def test_golden(name: str, width: int) -> None:
    assert text_tab(lines.DRAFTS[name](), width) == golden_path(name, width).read_text(encoding="utf-8")


@st.composite
def drafts(draw: st.DrawFn) -> Draft:
    """Lines on mixed grids with techniques, rests, graces, any meter and number of strings."""
    meter = Meter(*draw(st.sampled_from([(4, 4), (3, 4), (6, 8), (12, 8), (5, 4), (2, 2)])))
    tuning = TUNINGS[draw(st.sampled_from(sorted(TUNINGS)))]
    here = Fraction(draw(st.integers(-2, 3)))
    given_notes: list[tuple] = []
    for _ in range(draw(st.integers(1, 9))):
        # Finer parts of an eighth than its quarter are beyond the values that are written.
        grid = draw(st.sampled_from([1, 2, 3, 4, 6, 8] if meter.unit <= 4 else [1, 2, 3, 4]))
        for step in range(grid):
            if not draw(st.integers(0, 5)):
                continue
            start = here + Fraction(step, grid)
            string, fret = draw(st.integers(1, len(tuning))), draw(st.integers(0, 22))
            if given_notes and not draw(st.integers(0, 9)):
                given_notes.append((start, 0, draw(st.integers(1, len(tuning))), draw(st.integers(0, 22))))
            held = Fraction(draw(st.sampled_from([1, 1, 1, 2, 5])), grid)
            given_notes.append((start, held, string, fret, *draw(techniques())))
        here += draw(st.integers(1, 2))
    given_notes = given_notes or [(0, 1, 1, 5)]
    return lines.build(_cut(given_notes), meter=meter, tuning=tuning)


def _cut(notes: list[tuple]) -> list[tuple]:
    """End every note where the next begins at the latest."""
    starts = sorted({note[0] for note in notes if note[1]})
    found = []
    for note in notes:
        after = [start for start in starts if start > note[0]]
        length = min(Fraction(note[1]), after[0] - note[0]) if after and note[1] else note[1]
        found.append((note[0], length, *note[2:]))
    return found


@st.composite
def techniques(draw: st.DrawFn) -> tuple[Technique, ...]:
    lead = draw(
        st.sampled_from(
            [None, None, None, "hammer_on", "pull_off", "slide", "slide_picked", "slide_in", "dead_note"]
        )
    )
    found = []
    if lead == "slide_picked":
        found.append(lines.tech("slide", picked=True))
    elif lead == "slide_in":
        found.append(lines.tech("slide_in", direction=draw(st.sampled_from(["up", "down"]))))
    elif lead is not None:
        found.append(lines.tech(lead))
    if lead != "dead_note" and draw(st.booleans()):
        amount = draw(st.sampled_from([0.5, 1.0, 1.5, 2.0, 3.0]))
        found.append(
            lines.tech(draw(st.sampled_from(["bend", "pre_bend"])), start_s=0.1, end_s=0.2, semitones=amount)
        )
        if draw(st.booleans()):
            found.append(lines.tech("release", start_s=0.4, end_s=0.5, semitones=0.0))
        if draw(st.booleans()):
            found.append(lines.tech("vibrato", start_s=0.7, rate_hz=5.0, depth_semitones=0.4))
    found += [
        lines.tech(kind) for kind in ("palm_mute", "let_ring", "staccato") if not draw(st.integers(0, 5))
    ]
    if not draw(st.integers(0, 8)):
        found.append(lines.tech("slide_out", direction=draw(st.sampled_from(["up", "down"]))))
    return tuple(found)


def expected(draft: Draft) -> list[tuple]:
    """What a reader of the tab must find, worked out from the draft alone."""
    found = []
    previous: dict[int, int] = {}
    for note in sorted(draft.notes, key=lambda note: (note.start(draft.meter), note.length > 0)):
        assert note.string is not None
        assert note.fret is not None
        signs = []
        for one in note.techniques:
            if one.kind in ("hammer_on", "pull_off"):
                signs.append(one.kind[0])
            elif one.kind == "slide":
                up = previous.get(note.string, 0) <= note.fret
                signs.append(("/" if up else "\\") + ("'" if one.picked else ""))
            elif one.kind == "slide_in":
                signs.append("./" if one.direction == "up" else ".\\")
        signs += ["g"] if note.is_grace else []
        for one in note.techniques:
            if one.kind in ("bend", "pre_bend", "release"):
                letters = {"bend": "b", "pre_bend": "pb", "release": "r"}[one.kind]
                signs.append(letters + half_steps(note.fret + (one.semitones or 0)))
            elif one.kind == "vibrato":
                signs.append("~")
            elif one.kind == "slide_out":
                signs.append("/." if one.direction == "up" else "\\.")
        body = "x" if note.has("dead_note") else str(note.fret)
        marks = frozenset(
            one.kind for one in note.techniques if one.kind in ("palm_mute", "let_ring", "staccato")
        )
        found.append((note.start(draft.meter), note.length, note.string, body, tuple(signs), marks))
        previous[note.string] = note.fret
    return found


@settings(max_examples=100, deadline=None, phases=NO_SHRINKING)
@given(drafts(), st.integers(60, 200))
def test_a_tab_reads_back_as_the_draft_at_any_width(draft: Draft, width: int) -> None:
    text = text_tab(draft, width)
    assert text.isascii()
    assert max(len(line) for line in text.split("\n")) <= width
    tab = read_text_tab(text)
    got = [(one.start, one.length, one.string, one.body, one.signs, one.marks) for one in tab.notes]
    assert got == expected(draft), text
    for place, (_, length) in enumerate(tab.bars):
        assert length == draft.meter.beats or place == 0


def spoken(techniques: tuple[Technique, ...]) -> list[tuple]:
    """What a tab can say of techniques: kinds, heights to a quarter tone, ways and frets, but no times."""
    said = []
    for one in techniques:
        height = None if one.semitones is None else float(half_steps(one.semitones))
        way = one.direction if one.kind in ("slide_in", "slide_out") else None
        said.append((one.kind, height, way, bool(one.picked), one.to_fret))
    return sorted(said, key=repr)


@settings(max_examples=80, deadline=None, phases=NO_SHRINKING, suppress_health_check=[HealthCheck.too_slow])
@given(written_drafts(), st.integers(60, 160), st.booleans(), st.sampled_from(["", "    ", "> "]))
def test_whatever_a_draft_holds_reads_back(draft: Draft, width: int, count: bool, quote: str) -> None:
    """Strings, frets, rhythm and techniques of drafts with two voices, graces, dead and unplayable notes."""
    text = text_tab(draft, width, count)
    assert max(len(line) for line in text.split("\n")) <= width
    score = score_of(draft)
    end = score.bars[-1].start + score.bars[-1].length
    above = [chord for chord in draft.chords if chord.start(draft.meter) < end]
    assert all(one_line(chord.name) in text for chord in above), text
    wanted = []
    for event in score.events:
        places = [note.string for note in event.notes]
        assume(len(set(places)) == len(places) and None not in places)
        # Muting, ringing and staccato stand over a whole column.
        marks = {one for note in event.notes for one in note.techniques if one.kind in MARK_KINDS}
        wanted += [(grace, event.start, Fraction(0)) for grace in event.graces]
        wanted += [(with_marks(note, marks), event.start, event.length) for note in event.notes]
    assume(all(grace.string is not None for grace, _, _ in wanted))
    tab = read_text_tab("\r\n".join(quote + line for line in text.split("\n")))
    got = [
        (one.start, one.length, one.string, one.fret, spoken(one.techniques))
        for one in sorted(tab.notes, key=lambda one: (one.start, one.length > 0, one.string))
    ]
    shown = [
        (start, length, note.string, None if note.has("dead_note") else note.fret, spoken_of(note, length))
        for note, start, length in sorted(wanted, key=lambda one: (one[1], one[2] > 0, one[0].string))
    ]
    assert [one for one in got if one[1]] == [one for one in shown if one[1]], text
    assert sorted(map(repr, got)) == sorted(map(repr, shown)), text


def with_marks(note: DraftNote, marks: set[Technique]) -> DraftNote:
    """A note with the marks of its column."""
    own = tuple(one for one in note.techniques if one.kind not in MARK_KINDS)
    kinds = sorted({one.kind for one in marks})
    return replace(note, techniques=(*own, *(Technique(kind) for kind in kinds)))


def spoken_of(note: DraftNote, length: Fraction) -> list[tuple]:
    """What a tab can say of a note's own techniques.

    A grace has no mark on rows of their own, and an ``x`` does not tell that it is a harmonic as well.
    """
    kinds = MARK_KINDS if length == 0 else ()
    kinds += ("natural_harmonic",) if note.has("dead_note") else ()
    kept = tuple(one for one in note.techniques if one.kind not in (*kinds, "grace"))
    return spoken((*kept, Technique("grace")) if note.is_grace else kept)


@pytest.mark.parametrize("width", [59, 201, 0])
def test_width_out_of_bounds_names_the_bound(width: int) -> None:
    with pytest.raises(UsageError, match=f"{width} is out of bounds: choose 60 to 200"):
        text_tab(lines.straight_line(), width)


def test_a_bar_alone_too_wide_is_broken_at_a_beat() -> None:
    bend = lines.tech("bend", start_s=0.1, end_s=0.4, semitones=2.0)
    draft = lines.build([(Fraction(step, 8), "1/8", 2, 10, bend) for step in range(32)])
    text = text_tab(draft, 60)
    rows = [row for row in text.split("\n") if row.startswith("B")]
    assert len(rows) == 4
    assert [row[1] for row in rows] == ["|", ":", ":", ":"]
    assert [row[-1] for row in rows] == [":", ":", ":", "|"]
    beats = [row.split() for row in text.split("\n") if row.strip() in ("1", "2", "3", "4")][1:]
    assert beats == [["1"], ["2"], ["3"], ["4"]]
    assert len(read_text_tab(text).notes) == 32


def test_a_broken_pickup_bar_reads_back() -> None:
    bend = lines.tech("bend", start_s=0.1, end_s=0.4, semitones=2.0)
    draft = lines.build([(Fraction(step, 8) - 4, "1/8", 2, 10, bend) for step in range(40)])
    tab = read_text_tab(text_tab(draft, 60))
    assert [note.start for note in tab.notes] == [note.start(draft.meter) for note in draft.notes]
    assert tab.bars == ((0, 4), (1, 4))


def test_two_digit_frets_do_not_touch() -> None:
    draft = lines.build([(Fraction(step, 4), "1/4", 3, 10 + step % 3) for step in range(16)])
    row = next(row for row in text_tab(draft, 60).split("\n") if row.startswith("G"))
    assert [one for one in row[2:-1].split("-") if one] == [str(10 + step % 3) for step in range(16)]


def test_legend_names_only_signs_in_use() -> None:
    plain = text_tab(lines.build([(0, "1", 3, 5)]))
    for word in ("vibrato", "tie:", "triplet"):
        assert word not in plain
    full = text_tab(lines.techniques_line())
    for word in (
        "vibrato",
        "hammer-on",
        "quarter tone",
        "pre-bend",
        "triplet",
        "dead note",
        "let ring",
        "slide off",
    ):
        assert word in full


def test_unsure_notes_are_marked_and_listed() -> None:
    text = text_tab(lines.straight_line())
    assert [note.unsure for note in read_text_tab(text).notes].count(True) == 1
    assert text.split("Check first\n")[1].split("\n")[:4] == [
        "0 of 13 notes are sure; these are the least sure.",
        "bar  beat   time     string/fret  least sure",
        "2    1+1/2  0:03.50  3/7 D4       pitch 40 %",
        "  the note sounds a fourth lower in its second half: written is its first half",
    ]
    draft = lines.build([(0, "1", 3, 5)])
    weak = replace(draft.notes[0].confidence, rhythm=0.3, overall=0.3)
    text = text_tab(replace(draft, notes=(replace(draft.notes[0], confidence=weak),)))
    assert "1    1     0:00.50  3/5 C4       rhythm 30 %" in text.split("\n")


def test_header_names_tuning_capo_and_dotted_beat() -> None:
    text = text_tab(lines.low_line())
    assert "Tuning: D A D G B E (string 6 to 1, drop D)" in text
    assert "Capo: fret 2" in text
    compound = lines.build([(0, "3", 3, 5)], meter=Meter(6, 8), tempo_bpm=66)
    assert "Tempo: dotted quarter = 66   Meter: 6/8" in text_tab(compound)


def test_a_key_that_is_a_guess_has_a_question_mark() -> None:
    for confidence, by_person, told in (
        (0.3, False, "E minor (?)"),
        (0.9, False, "E minor"),
        (0.3, True, "E minor"),
    ):
        key = Key("E", "minor", relative="G major", confidence=confidence, given=by_person)
        text = text_tab(replace(lines.build([(0, "1", 6, 0)]), key=key))
        assert f"Key: {told}\n" in text
        assert f"- {told}, relative G major\n" in text


def test_one_note_is_sure_or_not() -> None:
    (note,) = lines.build([(0, "1", 6, 0)]).notes
    sure, unsure = (replace(note, confidence=replace(note.confidence, overall=one)) for one in (1.0, 0.4))
    assert [sure_words(notes) for notes in ((unsure,), (sure,), (sure, unsure), (unsure, unsure))] == [
        "0 of 1 note is sure",
        "1 of 1 note is sure",
        "1 of 2 notes is sure",
        "0 of 2 notes are sure",
    ]


def test_one_note_has_no_speed_and_changes_no_string() -> None:
    one = HardParts(0.0, 0, 0, (), 0.0)
    assert hard_words(one) == ""
    assert hard_words(replace(one, bends=(BendCount(2.0, 1),))) == "bends 1 x 1 tone"
    moving = replace(one, notes_a_second=2.0)
    assert hard_words(moving) == "up to 2.0 notes a second, 0.0 string changes a beat"
    phrase = Phrase("p1", "Alone", None, 0.0, 2.0, bars=(1,), hard=one)
    text = text_tab(replace(lines.build([(0, "1", 6, 0)]), phrases=(phrase,)))
    assert "- Alone, bar 1\n" in text


def test_words_of_people_cannot_disturb_the_page() -> None:
    draft = lines.build([(0, "1", 3, 5)], file="evening\n\x1b[31m.wav")
    draft = replace(draft, notes=(replace(draft.notes[0], remark="slow\r\ndown – später"),))
    draft = replace(draft, chords=(Chord("A\nm7", 1, Fraction(1), Fraction(1)),))
    text = text_tab(draft)
    assert " A m7\n" in text
    assert text.split("\n")[0] == "evening [31m.wav"
    assert "slow down – später" in text


def test_a_note_no_string_can_play_is_named_by_pitch() -> None:
    draft = lines.build([(0, "1", 6, 0), (1, "1", 6, 3)])
    low = replace(draft.notes[0], string=None, fret=None, pitch_midi=38)
    text = text_tab(replace(draft, notes=(low, draft.notes[1])))
    assert "E|-[D2]-" in text
    assert [note.body for note in read_text_tab(text).notes] == ["[D2]", "3"]


def test_two_notes_on_one_string_are_both_shown() -> None:
    draft = lines.build([(0, "1", 3, 5), (0, "1", 3, 7)])
    assert "5+7" in text_tab(draft)


def test_a_phrase_is_listed_only_if_it_has_more_to_tell_than_its_number() -> None:
    draft = lines.straight_line()
    plain = Phrase("p1", "Phrase 1", None, 0.5, 2.0)
    again = Phrase("p2", "Phrase 2", "slower", 2.0, 3.0, like="p1", like_words="as phrase 1, a third higher")
    named = Phrase("p3", "Turn", None, 3.0, 9.0)
    text = text_tab(replace(draft, phrases=(plain, again, named)))
    told = "- 0:02.00 Phrase 2: as phrase 1, a third higher; slower\n- 0:03.00 Turn\n"
    assert f"\nPhrases\n{told}" in text
    assert "Phrase 1\n" not in text
    assert "Remarks" not in text


def test_no_notes() -> None:
    text = text_tab(replace(lines.straight_line(), notes=(), chords=(), issues=()))
    assert text.startswith("ferry_landing.wav\n=")
    assert "Signs" not in text


def test_only_a_toss_up_is_told_and_nameless_phrases_are_not_remarks() -> None:
    draft = lines.DRAFTS["straight_line"]()
    near = PhraseAlternative(9, (3,), 0, 0.5, True, "the same line at fret 9 on string 3", ())
    far = replace(near, toss_up=False, words="the same line at fret 14 on string 4")
    told = replace(draft, phrases=(Phrase("p1", "", None, 0.5, 3.6, (near, far)),))
    tab = text_tab(told)
    assert "Could be elsewhere\n- 0:00.50 to 0:03.60: the same line at fret 9 on string 3\n" in tab
    assert "fret 14" not in tab
    assert "Remarks" not in tab
    quiet = replace(draft, phrases=(Phrase("p1", "", None, 0.5, 3.6, (far,)),))
    assert text_tab(quiet) == text_tab(replace(draft, phrases=()))


def test_a_lead_is_not_taken_for_the_end_of_the_note_before() -> None:
    """After a bend, slid to and slid in at once: were they to touch, ``b9/./7`` would read as a slide off."""
    bend = lines.tech("bend", start_s=0.1, end_s=0.4, semitones=2.0)
    slides = (lines.tech("slide", picked=False), lines.tech("slide_in", direction="up"))
    draft = lines.build([(0, "1/2", 3, 7, bend), ("1/2", "1/2", 3, 7, *slides)])
    assert [note.signs for note in read_text_tab(text_tab(draft)).notes] == [("b9",), ("/", "./")]


@pytest.mark.parametrize(
    ("message", "told"),
    [
        ("a string rings on at 2.50 s", "- a string rings on at 2.50 s\n"),
        ("a string rings on", "- 0:02.50: a string rings on\n"),
    ],
)
def test_what_was_noticed_is_told_with_its_time_once(message: str, told: str) -> None:
    draft = replace(lines.straight_line(), issues=(Issue("two_notes", message, 2.5, 2.5, ()),))
    assert told in text_tab(draft)
