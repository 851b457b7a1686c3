"""What a staff of the sheet is, and how one note is written on it."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from transcriber.draft import Draft, DraftInstrument, DraftNote
from transcriber.export.pitch_names import spelled
from transcriber.export.sheet import ly_text
from transcriber.export.sheet.drawing import TAB_LINE
from transcriber.export.sheet.moves import Move
from transcriber.export.sound import is_bass
from transcriber.records.pitch import pitch_name

SMALLEST_BEND_WRITTEN = 0.75
"""A smaller bend changes no note on the staff: the amount stands at the note alone."""

DIGIT_WIDTH = 0.95
"""Width of one figure on the tab staff, in staff spaces."""

STEPS = "CDEFGAB"
MIDDLE_LINE = {"treble_8": 3 * 7 + STEPS.index("B"), "bass_8": 2 * 7 + STEPS.index("D")}
"""Sounding step, counted from C0, on the middle line."""


@dataclass(frozen=True)
class Staff:
    """One staff of the sheet.

    Attributes
    ----------
    tab : bool
        Tab, or notation.
    signs : bool
        Whether letters, vibrato and muting stand over it: on the tab if there is one.
    remarks : bool
        Whether remarks stand over it: on the upper staff.
    """

    tab: bool
    signs: bool
    remarks: bool


def staves_of(which: str) -> tuple[Staff, ...]:
    """Give the staves asked for, from the top."""
    if which == "notation":
        return (Staff(tab=False, signs=True, remarks=True),)
    tab = Staff(tab=True, signs=True, remarks=which == "tab")
    return (tab,) if which == "tab" else (Staff(tab=False, signs=False, remarks=True), tab)


def clef(instrument: DraftInstrument) -> str:
    """Clef of the notation staff: an octave over the sound, as guitar and bass are written."""
    return "bass_8" if is_bass(instrument) else "treble_8"


def open_pitch(instrument: DraftInstrument, string: int) -> int:
    """Pitch of a string with the capo on."""
    return instrument.tuning_midi[string - 1] + instrument.capo


def sounding_pitch(draft: Draft, note: DraftNote) -> int:
    """Pitch that the notation staff shows; a dead note without one stands where its string is."""
    if note.pitch_midi is not None:
        return note.pitch_midi
    return open_pitch(draft.instrument, note.string or 1) + (note.fret or 0)


def string_of(draft: Draft, note: DraftNote) -> int:
    """String line of a note; one that fits no string stands on the outer line nearest to it."""
    if note.string is not None:
        return note.string
    tuning = draft.instrument.tuning_midi
    return 1 if note.pitch_midi is not None and note.pitch_midi > max(tuning) else len(tuning)


def height_on_tab(draft: Draft, note: DraftNote) -> float:
    """Height of a note's string line over the middle of the tab staff, in staff spaces."""
    lines = len(draft.instrument.tuning_midi)
    return ((lines - 1) / 2 - (string_of(draft, note) - 1)) * TAB_LINE


def height_on_staff(draft: Draft, pitch_midi: int) -> float:
    """Height of a pitch over the middle line of the notation staff, in staff spaces."""
    name = spelled(pitch_midi, draft.key)
    step = name.octave * 7 + STEPS.index(name.step)
    return (step - MIDDLE_LINE[clef(draft.instrument)]) / 2


def written_pitch(draft: Draft, pitch_midi: int) -> str:
    """Pitch as LilyPond's text, spelled in the draft's key."""
    return ly_text.pitch(spelled(pitch_midi, draft.key))


def tab_text(note: DraftNote, tied: bool) -> str | None:
    """Text in the place of the fret's number; None where the number itself is right."""
    if note.has("dead_note"):
        return "(X)" if tied else "X"
    if note.fret is None or note.string is None:
        return f"[{'X' if note.pitch_midi is None else pitch_name(note.pitch_midi)}]"
    if tied:
        return f"({note.fret})"
    return None


def tab_width(note: DraftNote, tied: bool) -> float:
    """Width of what stands on the tab staff for a note, in staff spaces."""
    text = tab_text(note, tied) or str(note.fret)
    return DIGIT_WIDTH * len(text) + (0.9 if note.has("natural_harmonic") else 0.0)


def tab_head(draft: Draft, note: DraftNote, tied: bool, others: tuple[DraftNote, ...] = ()) -> str:
    """One head of the tab staff; `others` fall on the same string and must share its place."""
    string = string_of(draft, note)
    text = tab_text(note, tied)
    if others:
        text = "+".join(tab_text(one, tied) or str(one.fret) for one in (note, *others))
    fret = note.fret if note.string is not None and note.fret is not None else 0
    sound = written_pitch(draft, open_pitch(draft.instrument, string) + fret)
    tweak = "" if text is None else f"\\tweak TabNoteHead.text \\markup \\vcenter {ly_text.quoted(text)} "
    harmonic = "\\harmonic" if note.has("natural_harmonic") and text is None else ""
    return f"{tweak}{sound}\\{string}{harmonic}"


def staff_head(draft: Draft, note: DraftNote, semitones: int) -> str:
    """One head of the notation staff, bent up by so many semitones."""
    sound = written_pitch(draft, sounding_pitch(draft, note) + semitones)
    if note.has("dead_note"):
        return f"\\tweak style #'cross {sound}"
    return sound + ("\\harmonic" if note.has("natural_harmonic") else "")


def written_level(semitones: float) -> int:
    """Semitones by which a bend moves the note on the notation staff."""
    return int(semitones + 0.5) if semitones >= SMALLEST_BEND_WRITTEN else 0


@dataclass(frozen=True)
class BentPiece:
    """A piece on the notation staff: the level before it if that is shown, its own, and those after."""

    before: int | None
    own: int
    after: tuple[int, ...]
    pre_bent: bool = False


def bent_piece(moves: tuple[Move, ...], level: float, first: bool) -> tuple[BentPiece, float]:
    """Write a piece's moves as heads: a bend at its start is led in by a small note.

    Parameters
    ----------
    moves : tuple of Move
        Of this piece.
    level : float
        Semitones above the fret where the piece begins.
    first : bool
        Whether it is the note's first piece.

    Returns
    -------
    BentPiece and the level at which it ends.
    """
    before: int | None = None
    own = written_level(level)
    rest = list(moves)
    pre_bent = bool(rest) and rest[0].kind == "pre_bend"
    if first and rest and (pre_bent or not rest[0].late) and written_level(rest[0].after) != own:
        before, own = own, written_level(rest[0].after)
        level = rest[0].after
        rest = rest[1:]
    after: list[int] = []
    for move in rest:
        level = move.after
        if written_level(level) != (after[-1] if after else own):
            after.append(written_level(level))
    return BentPiece(before, own, tuple(after), pre_bent and before is not None), level


def grace_length(count: int) -> Fraction:
    """Written length of each of so many graces, in whole notes."""
    return Fraction(1, 8 if count <= 1 else 16)
