"""Notes whose string and fret a person has told."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from transcriber.errors import UsageError
from transcriber.fretboard.hands import NoteKey, places_of
from transcriber.records.heard import HeardNote
from transcriber.records.pitch import pitch_name
from transcriber.records.placed import Instrument

Pins = Mapping[int, tuple[int, int]]

PIN_TOLERANCE_S = 0.1
_MOST_NAMED = 3


def find_pins(
    notes: Sequence[HeardNote], told: Iterable[tuple[float, int, int]]
) -> dict[int, tuple[int, int]]:
    """Find the note that each pin means: the one that begins nearest its time.

    Parameters
    ----------
    notes : sequence of HeardNote
    told : iterable of (float, int, int)
        Seconds in the file, string and fret.

    Returns
    -------
    dict of int to (int, int)
        String and fret by index of the note.

    Raises
    ------
    UsageError
        If no note begins within 0.1 s of a pin, or two pins mean one note.
    """
    pins: dict[int, tuple[int, int]] = {}
    for time_s, string, fret in told:
        near = sorted(range(len(notes)), key=lambda index: abs(notes[index].onset_s - time_s))
        name = f"pin {time_s:g}={string}/{fret}"
        if not near or round(abs(notes[near[0]].onset_s - time_s), 4) > PIN_TOLERANCE_S:
            there = ", ".join(_name(notes[index]) for index in sorted(near[:_MOST_NAMED])) or "none"
            raise UsageError(
                f"{name}: no note begins within {PIN_TOLERANCE_S:g} s of {time_s:g} s; "
                f"the nearest are {there}"
            )
        if near[0] in pins:
            raise UsageError(
                f"{name}: the note at {_name(notes[near[0]])} is pinned already; give one pin a note"
            )
        pins[near[0]] = (string, fret)
    return pins


def check_pin(string: int, fret: int, instrument: Instrument) -> None:
    """Refuse a place that the neck does not have.

    Raises
    ------
    UsageError
    """
    strings, highest = len(instrument.tuning_midi), instrument.highest_fret
    if not 1 <= string <= strings:
        raise UsageError(f"pin {string}/{fret}: string {string} is out of 1 to {strings}; 1 is the highest")
    if not 0 <= fret <= highest:
        raise UsageError(f"pin {string}/{fret}: fret {fret} is out of 0 to {highest}, counted from the capo")


def pinned_key(key: NoteKey, place: tuple[int, int], note: HeardNote, instrument: Instrument) -> NoteKey:
    """Bind a note to one place.

    Raises
    ------
    UsageError
        If the place is not on the neck or does not sound the note; the message lists those that do.
    """
    check_pin(*place, instrument)
    if place not in places_of(key, instrument):
        string, fret = place
        able = ", ".join(f"{s}/{f}" for s, f in places_of(key, instrument)) or "nowhere on this neck"
        sounds = pitch_name(instrument.open_midi(string) + fret)
        heard = pitch_name(key.pitch_midi) + (" as a harmonic" if key.harmonic else "")
        raise UsageError(
            f"pin {string}/{fret} sounds {sounds}, but the note at {note.onset_s:.2f} s is {heard}; "
            f"it can be played at {able}"
        )
    return NoteKey(key.pitch_midi, key.harmonic, place)


def _name(note: HeardNote) -> str:
    return f"{note.onset_s:.2f} s ({pitch_name(note.pitch_midi)})"
