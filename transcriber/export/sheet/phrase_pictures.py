"""A tab picture of each phrase on a transparent ground, with the times at which it is to be shown.

For a lesson video: the picture for time t shows the phrase that sounds at t. All pictures have one width and
one scale; each is as high as its phrase needs.
"""

from __future__ import annotations

import json
from dataclasses import replace
from fractions import Fraction

from transcriber.draft import Draft, Phrase
from transcriber.errors import DraftError
from transcriber.export.layers import Layer, LayeredScore
from transcriber.export.plain_words import one_line
from transcriber.export.sheet import staves, style
from transcriber.export.sheet.engrave import engrave
from transcriber.export.sheet.ground import on_transparent_ground
from transcriber.export.sheet.page import Remarks, score_block, written_out
from transcriber.export.written_bars import Bar

WIDTH_PX, DOTS_PER_INCH = 1920, 144
MARGIN_PX = 24
STAFF_SIZE = 30

INKS = {"dark": 0, "light": 255}
"""Grey of the lines, for a bright and for a dark film."""

TIMES_SUFFIX = ".phrases.json"
FORMAT_VERSION = 1


def phrase_pictures(draft: Draft, ink: str = "dark") -> dict[str, bytes]:
    """Draw every phrase that has notes.

    Parameters
    ----------
    draft : Draft
        One without phrases is drawn as one.
    ink : {"dark", "light"}

    Returns
    -------
    dict of str to bytes
        Pictures and their times, by what follows NAME in the file's name.

    Raises
    ------
    UsageError
        If LilyPond or Pillow is not installed.
    DraftError
        If there are no notes, or one cannot be written.
    """
    phrases = [one for one in (draft.phrases or (_whole(draft),)) if draft.phrase_notes(one)]
    if not phrases:
        raise DraftError("this draft has no notes: there is no phrase to draw")
    pages = engrave(pictures_source(draft, phrases), "png", DOTS_PER_INCH)
    files = {}
    told = []
    for number, phrase in enumerate(phrases, start=1):
        suffix = f".phrase-{number:02d}.png"
        files[suffix], (width, height) = on_transparent_ground(
            pages[f"-{_suffix(number)}.png"], INKS[ink], MARGIN_PX
        )
        told.append(
            {
                "suffix": suffix,
                "id": phrase.id,
                "name": one_line(phrase.name),
                "from_s": round(phrase.start_s, 3),
                "to_s": round(phrase.end_s, 3),
                "width_px": width,
                "height_px": height,
            }
        )
    times = {"format_version": FORMAT_VERSION, "pictures": told}
    files[TIMES_SUFFIX] = (json.dumps(times, indent=2, ensure_ascii=False) + "\n").encode("utf-8")
    return files


def pictures_source(draft: Draft, phrases: list[Phrase]) -> str:
    """Write the phrases as LilyPond's text, each a book of its own."""
    books = []
    for number, phrase in enumerate(phrases, start=1):
        notes = draft.phrase_notes(phrase)
        end = max(note.end(draft.meter) for note in notes)
        chords = tuple(chord for chord in draft.chords if chord.start(draft.meter) < end)
        part, score = written_out(replace(draft, notes=notes, chords=chords, phrases=()))
        score = without_rests_before(score)
        music = score_block(part, score, staves.staves_of("tab"), set(), Remarks(part), whole=False)
        books.append(f'\\book {{ \\bookOutputSuffix "{_suffix(number)}" {music} }}')
    inches = WIDTH_PX / DOTS_PER_INCH
    margin = MARGIN_PX / DOTS_PER_INCH
    return "\n".join(
        [
            f'\\version "{style.VERSION}"',
            f"#(set-global-staff-size {STAFF_SIZE})",
            style.DEFINITIONS,
            f"\\paper {{ paper-width = {inches:.4f}\\in line-width = {inches - 2 * margin:.4f}\\in",
            f"  left-margin = {margin:.4f}\\in page-breaking = #ly:one-page-breaking",
            "  ragged-right = ##t system-system-spacing.padding = #2 tagline = ##f print-page-number = ##f",
            "  oddFooterMarkup = ##f evenFooterMarkup = ##f oddHeaderMarkup = ##f evenHeaderMarkup = ##f }",
            style.LAYOUT % {"inside": 0},
            *books,
        ]
    )


def without_rests_before(score: LayeredScore) -> LayeredScore:
    """Begin a score at its first note, or at the tuplet in which that stands."""
    starts = [_first_sound(bar) for layer in score.layers for bar in layer.bars if not bar.empty]
    start = min(starts, default=score.start)
    number = next(
        (
            bar.number
            for layer in score.layers
            for bar in layer.bars
            if bar.start <= start < bar.start + bar.length
        ),
        score.first_bar,
    )
    layers = tuple(replace(layer, bars=_from(layer, number, start)) for layer in score.layers)
    return replace(score, layers=layers, start=start, first_bar=number)


def _first_sound(bar: Bar) -> Fraction:
    first = next(piece for piece in bar.pieces if piece.event is not None)
    return first.start if first.tuplet is None else bar.tuplets[first.tuplet].start


def _from(layer: Layer, number: int, start: Fraction) -> tuple[Bar, ...]:
    """Bars of a layer from one on, that one without what lies before `start`."""
    kept = []
    for bar in layer.bars:
        if bar.number > number or (bar.number == number and bar.start >= start):
            kept.append(bar)
        elif bar.number == number and bar.start + bar.length > start:
            pieces = tuple(piece for piece in bar.pieces if piece.start >= start)
            begins = pieces[0].start if pieces else bar.start + bar.length
            if pieces:
                kept.append(replace(bar, start=begins, length=bar.start + bar.length - begins, pieces=pieces))
    return tuple(kept)


def _suffix(number: int) -> str:
    return f"p{number:02d}"


def _whole(draft: Draft) -> Phrase:
    end = max((note.end_s for note in draft.notes), default=0.0)
    return Phrase("whole", "", None, min((note.onset_s for note in draft.notes), default=0.0), end + 0.001)
