"""A draft as the LilyPond text of a whole sheet."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from transcriber.draft import Draft, DraftNote
from transcriber.draft.sureness import key_words
from transcriber.export.layers import LayeredScore, layered
from transcriber.export.plain_words import one_line, title_of
from transcriber.export.score import ORPHAN_GRACE_LENGTH, unsure_notes
from transcriber.export.sheet import frame, ly_text, signs, staves, style
from transcriber.export.sheet.staves import Staff
from transcriber.export.sheet.voice import VoiceWriter, graces_at
from transcriber.export.tab_words import capo_words, tuning_words

LONGEST_INLINE = 26
"""A remark with more characters is numbered, and stands in full at the end."""

TITLE_WIDTH, LABEL_WIDTH, FOOT_WIDTH = 46, 32, 100
"""Characters in a line of the title, of a phrase's label, and of what stands at the end."""


class Remarks:
    """Remarks over notes: short ones stand there, long ones by number."""

    def __init__(self, draft: Draft) -> None:
        self._draft = draft
        self.listed: list[str] = []

    def over(self, note: DraftNote) -> str:
        """Words over a note, empty if there is no remark."""
        words = one_line(note.remark or "")
        return f"^{self.markup(words)}" if words else ""

    def markup(self, words: str) -> str:
        """A remark as it stands in the music."""
        if len(words) <= LONGEST_INLINE:
            return f"\\markup \\fontsize #-1 \\italic {ly_text.quoted(words)}"
        self.listed.append(words)
        return f"\\markup \\fontsize #-2 \\circle \\fontsize #-1 {ly_text.quoted(str(len(self.listed)))}"


def sheet_source(draft: Draft, which: str = "both", paper: str = "a4", count: bool = False) -> str:
    """Write a draft as LilyPond's text.

    Parameters
    ----------
    draft : Draft
    which : {"both", "notation", "tab"}
        Staves.
    paper : {"a4", "letter"}
    count : bool
        Whether counting syllables stand under the lowest staff.

    Returns
    -------
    str

    Raises
    ------
    DraftError
        If a position or length of the draft cannot be written.
    """
    draft, score = written_out(draft)
    used: set[str] = set()
    remarks = Remarks(draft)
    music = score_block(draft, score, staves.staves_of(which), used, remarks, count=count)
    return "\n".join(
        [
            f'\\version "{style.VERSION}"',
            f'#(set-default-paper-size "{paper}")',
            "#(set-global-staff-size 17)",
            style.DEFINITIONS,
            "\\paper { tagline = ##f ragged-last-bottom = ##t ragged-bottom = ##t ragged-last = ##t",
            "  top-margin = 10 bottom-margin = 10 left-margin = 14 right-margin = 14",
            "  system-system-spacing.padding = #1.5 markup-system-spacing.padding = #2",
            "  last-bottom-spacing.padding = #1 score-markup-spacing.padding = #2",
            "  oddFooterMarkup = \\markup \\unless \\on-first-page \\column { \\vspace #1.5",
            f'  \\fill-line {{ \\fontsize #-2 \\concat {{ {ly_text.quoted(title_of(draft))} ", page "',
            "  \\fromproperty #'page:page-number-string } } }",
            "  evenFooterMarkup = \\oddFooterMarkup oddHeaderMarkup = ##f evenHeaderMarkup = ##f }",
            _header(draft, which),
            style.LAYOUT % {"inside": frame.PAGE_BREAK_IN_PHRASE},
            music,
            *_foot(draft, used, remarks.listed),
        ]
    )


def written_out(draft: Draft) -> tuple[Draft, LayeredScore]:
    """Write a draft out in layers; a grace with no note after it becomes a short note of its own."""
    score = layered(draft)
    if not score.trailing:
        return draft, score
    alone = {note.id for note in score.trailing}
    notes = tuple(
        replace(note, length=ORPHAN_GRACE_LENGTH) if note.id in alone else note for note in draft.notes
    )
    draft = replace(draft, notes=notes)
    return draft, layered(draft)


def score_block(
    draft: Draft,
    score: LayeredScore,
    shown: Sequence[Staff],
    used: set[str],
    remarks: Remarks,
    count: bool = False,
    whole: bool = True,
) -> str:
    """Write the music: chords, staves and syllables, one over the other; a part has no tempo and no end."""
    graces = graces_at(score, notation=any(not staff.tab for staff in shown))
    marks = _labels(draft, remarks) if whole else {}
    framed = frame.frame(draft, score, graces, marks, whole)
    lines = []
    chords = frame.chord_line(draft, score)
    if chords:
        lines.append(f"\\new Lyrics \\lyricmode {{ {_lead(score, graces)}{chords} }}")
    if len(shown) > 1:
        lines.append("\\new StaffGroup <<")
    for place, staff in enumerate(shown):
        top = framed if place == 0 else ""
        lines.append(_staff(draft, score, staff, graces, used, remarks, top))
    if len(shown) > 1:
        lines.append(">>")
    if count:
        syllables = _lead(score, graces) + frame.count_line(draft, score)
        lines.append(f"\\new Lyrics \\with {{ \\sheetCount }} \\lyricmode {{ {syllables} }}")
    inside = "\n".join(lines)
    return f"\\score {{ <<\n{inside}\n>> }}"


def _lead(score: LayeredScore, graces: dict[Fraction, int]) -> str:
    """Skips as long as the graces at the very start, which all lines must share."""
    number = graces.get(score.start, 0)
    return f"\\grace {{ \\skip {staves.grace_length(number).denominator}*{number} }} " if number else ""


def _staff(
    draft: Draft,
    score: LayeredScore,
    staff: Staff,
    graces: dict[Fraction, int],
    used: set[str],
    remarks: Remarks,
    top: str,
) -> str:
    voice = "TabVoice" if staff.tab else "Voice"
    clef = "" if staff.tab else f'\\clef "{staves.clef(draft.instrument)}" {frame.key(draft)} '
    voices = [f"\\new {voice} {{ {clef}{top or frame.skips({}, score, draft, graces)} }}"]
    many = len(score.layers) > 1
    for place, layer in enumerate(score.layers):
        writer = VoiceWriter(draft, score, layer, staff, graces, remarks.over, used)
        bars = " |\n".join(writer.bars())
        direction = style.TAB_VOICE if staff.tab else ""
        if many and staff.tab:
            further = style.TAB_VOICE_ALONE if staff.remarks else style.TAB_VOICE_UNDER_NOTATION
            direction += "" if place == 0 else further
        elif many:
            direction = ("\\voiceOne ", "\\voiceTwo ", "\\voiceThree ", "\\voiceFour ")[min(place, 3)]
        voices.append(f"\\new {voice} {{ {direction}{bars} }}")
        if staff.signs:
            lines = frame.span_lines(draft, score, layer, used)
            opening = style.TAB_VOICE if staff.tab else ""
            voices += [f"\\new {voice} {{ {opening}{line} }}" for line in lines]
    if staff.tab:
        tuning = " ".join(
            staves.written_pitch(draft, staves.open_pitch(draft.instrument, string))
            for string in range(len(draft.instrument.tuning_midi), 0, -1)
        )
        opened = f"\\new TabStaff \\with {{ stringTunings = \\stringTuning <{tuning}> }} <<"
    else:
        opened = "\\new Staff <<"
    return "\n".join([opened, *voices, ">>"])


def _labels(draft: Draft, remarks: Remarks) -> dict[Fraction, str]:
    """Labels of the phrases, where they begin."""
    found = {}
    for start in frame.phrase_starts(draft):
        lines = " ".join(f"\\line {{ {ly_text.quoted(line)} }}" for line in wrapped(start.label, LABEL_WIDTH))
        label = f"\\box \\fontsize #-0.5 \\column {{ {lines} }}"
        words = remarks.markup(start.remark).removeprefix("\\markup ") if start.remark else ""
        found[start.at] = f"\\textMark \\markup {{ {label} {words} }}"
    return found


def _header(draft: Draft, which: str) -> str:
    title = _column(title_of(draft), TITLE_WIDTH)
    left = [tuning_words(draft)] + ([capo_words(draft)] if draft.instrument.capo else [])
    right = []
    if draft.key is not None:
        right.append(f"Key: {key_words(draft.key)}")
    if draft.instrument.capo and which != "tab":
        right.append("Notation as it sounds, capo on")
    rows = [" ".join(f"\\line {{ {ly_text.quoted(words)} }}" for words in side) for side in (left, right)]
    return (
        f"\\header {{ title = \\markup \\column {{ {title} \\vspace #0.3 }}\n"
        f"  poet = \\markup \\fontsize #-1 \\column {{ {rows[0]} }}\n"
        f"  composer = \\markup \\fontsize #-1 \\right-column {{ {rows[1]} }} }}"
    )


def wrapped(words: str, width: int) -> list[str]:
    """Words in lines of at most so many characters, at least one line."""
    return textwrap.wrap(words, width) or [""]


def _column(words: str, width: int) -> str:
    lines = wrapped(words, width)
    return "\\center-column { " + " ".join(f"\\line {{ {ly_text.quoted(line)} }}" for line in lines) + " }"


def _foot(draft: Draft, used: set[str], listed: Sequence[str]) -> list[str]:
    """Remarks in full, the signs used, and how much of the draft is still to be checked."""
    words = []
    if listed:
        rows = []
        for number, remark in enumerate(listed, start=1):
            for line in textwrap.wrap(f"{number}  {remark}", FOOT_WIDTH, subsequent_indent="    "):
                rows.append(f"\\line {{ {ly_text.quoted(line)} }}")
        listing = '\\vspace #0.8 \\bold "Remarks" ' + " ".join(rows)
        words.append(f"\\markup \\fontsize #-1 \\column {{ {listing} }}")
    words.append(signs.legend(used))
    unsure = unsure_notes(draft)
    if unsure:
        numbers = sorted({note.bar for note in unsure})
        bars = ("bar " if len(numbers) == 1 else "bars ") + ", ".join(map(str, numbers))
        told = f"A draft: of {len(draft.notes)} notes, check {len(unsure)}, in {bars}."
        lines = " ".join(f"\\line {{ {ly_text.quoted(line)} }}" for line in textwrap.wrap(told, FOOT_WIDTH))
        words.append(f"\\markup \\fontsize #-2 \\italic \\column {{ \\vspace #0.6 {lines} }}")
    return [word for word in words if word]
