"""The legend of a sheet: the signs used, drawn small, and what they mean."""

from __future__ import annotations

from collections.abc import Iterable

from transcriber.export.sheet.drawing import Drawing
from transcriber.export.sheet.ly_text import quoted

COLUMN_WIDTH = 50
"""Staff spaces of one column of the legend."""

ROWS_APART = "\\override #'(baseline-skip . 3.4)"


def _text(words: str) -> str:
    return f"\\sheetSign {quoted(words)}"


def _arrow(kind: str) -> str:
    drawn = Drawing(0.0, 1.1)
    drawn.parts.append(_text("7"))
    if kind == "pre_bend":
        drawn.path("moveto 0.5 1.5", "lineto 0.5 2.2")
        drawn.head(0.5, 2.6, up=True)
    elif kind == "bend":
        drawn.path("moveto 1.2 0.6", "curveto 2.2 0.6 2.6 1 2.6 2.2")
        drawn.head(2.6, 2.6, up=True)
    else:
        drawn.path("moveto 1.2 2.4", "curveto 2.2 2.4 2.6 2 2.6 0.9")
        drawn.head(2.6, 0.4, up=False)
    return "\\overlay { " + " ".join(drawn.parts) + " }"


def _line(before: str, after: str) -> str:
    slope = "\\path #0.15 #'((moveto 0.2 0.2) (lineto 1.6 1.2))"
    words = [_text(before)] if before else []
    words += [slope, "\\hspace #0.3"]
    words += [_text(after)] if after else []
    return "\\concat { " + " ".join(words) + " }"


WAVE = "\\raise #0.5 \\concat { " + '\\musicglyph "scripts.trill_element" ' * 5 + "}"
TRILL = '\\concat { \\musicglyph "scripts.trill" \\hspace #0.5 ' + _text("(9)") + " }"

ENTRIES: tuple[tuple[str, str, str], ...] = (
    ("bend", _arrow("bend"), "bend: full is a whole tone, 1/2 a half-tone"),
    ("bend_word", '\\sheetSmall "full"', "bend: full is a whole tone, 1/2 a half-tone"),
    ("pre_bend", _arrow("pre_bend"), "pre-bend: bent before it is picked"),
    ("release", _arrow("release"), "release the bend"),
    ("vibrato", WAVE, "vibrato"),
    ("H", _text("H"), "hammer-on"),
    ("P", _text("P"), "pull-off"),
    ("slide", _line("5", "7"), "slide; with a slur over it, do not pick again"),
    ("slide_in", _line("", "7"), "slide in from a few frets away"),
    ("slide_out", _line("7", ""), "slide off"),
    ("trill", TRILL, "trill with the fret in parentheses"),
    ("grace", "\\fontsize #-3 " + _text("5"), "small: a quick note before the beat's note"),
    ("natural_harmonic", _text("<12>"), "natural harmonic: touch over the fret"),
    ("harmonic_word", '\\sheetSmall "Harm."', "natural harmonic"),
    ("cross", '\\musicglyph "noteheads.s2cross"', "dead note: muted, no pitch"),
    ("dead_note", _text("X"), "dead note: muted, no pitch"),
    ("palm_mute", '\\sheetSmall "P.M."', "palm mute, as far as the dashes go"),
    ("let_ring", '\\sheetSmall "let ring"', "let ring, as far as the dashes go"),
    ("staccato", '\\musicglyph "scripts.staccato"', "staccato: short"),
    ("optional", _text("(H)"), "in parentheses over the staff: may be left out"),
    ("tied", _text("(7)"), "still sounding, not picked again"),
    ("unplaced", _text("[D2]"), "a pitch that this tuning cannot play"),
    ("crowded", _text("5+7"), "two notes on one string at once: one must be wrong"),
)
"""Key, sign and meaning, in the order of the legend."""


def legend(used: Iterable[str]) -> str:
    """Markup of the signs used, in two columns; empty if there are none."""
    wanted = set(used)
    rows = [
        f"\\line {{ \\fontsize #-1 \\combine \\hspace #7 {sign} \\fontsize #-1.5 {quoted(meaning)} }}"
        for key, sign, meaning in ENTRIES
        if key in wanted
    ]
    if not rows:
        return ""
    half = (len(rows) + 1) // 2
    columns = " ".join(
        f"\\combine \\hspace #{COLUMN_WIDTH} {ROWS_APART} \\column {{ {' '.join(part)} }}"
        for part in (rows[:half], rows[half:])
        if part
    )
    head = '\\vspace #0.6 \\bold \\fontsize #-1 "Signs" \\vspace #0.2'
    return f"\\markup \\column {{ {head} \\line {{ {columns} }} }}"
