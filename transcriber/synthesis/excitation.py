"""What happens to each string during a performance: plucks, slurs, damping, and its pitch over time."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from transcriber.records.line import Performance, PlayedNote
from transcriber.synthesis.line_check import HARMONIC_OF_NODE

FloatArray = npt.NDArray[np.float64]
ExcitationKind = Literal["pick", "hammer", "pull", "slide"]

# Strength against a pick, and what is left of the vibration before.
_STRENGTH = {"hammer": 0.42, "pull": 0.45, "slide": 0.12}
_RETENTION = {"hammer": 0.6, "pull": 0.5, "slide": 0.8}
_RETENTION_SPAN_S = 0.008
_TRILL_STRENGTH, _TRILL_RETENTION = 0.3, 0.75
# The pick rests on the string before it leaves it; a lifted finger damps more gently.
_PICK_CONTACT_S, _PICK_CONTACT_RATE = 0.006, 900.0
_RELEASE_RATE = 70.0
_PALM_MUTE_RATE, _DEAD_NOTE_RATE = 14.0, 90.0
_SLIDE_OUT_RATE = 9.0


@dataclass(frozen=True)
class Excitation:
    """One way in which a string is set in motion.

    Attributes
    ----------
    time_s : float
    stop_s : float
        When the next pick silences it, infinity if none does.
    kind : str
        ``pick``, ``hammer``, ``pull`` or ``slide`` (the small knock on arriving at a fret).
    strength : float
        0 to 1.
    fret, from_fret : int
        Where the string is stopped, and where it was before a slur.
    muted : float
        0 to 1: how much of the brightness the hand takes away.
    """

    time_s: float
    stop_s: float
    kind: ExcitationKind
    strength: float
    fret: int
    from_fret: int
    muted: float = 0.0


@dataclass(frozen=True)
class Damping:
    """Extra decay of a string over a span, nepers a second."""

    start_s: float
    end_s: float
    rate: float


@dataclass(frozen=True)
class StringHistory:
    """All that happens to one string.

    `times_s`, `midi` are points of its piecewise linear pitch. From each of `fret_times_s` on it vibrates
    with the length it has at that fret of `length_frets` (a harmonic: the fret that would leave that length).
    """

    string: int
    excitations: tuple[Excitation, ...]
    dampings: tuple[Damping, ...]
    times_s: FloatArray
    midi: FloatArray
    fret_times_s: FloatArray
    length_frets: FloatArray


def string_histories(performance: Performance) -> tuple[StringHistory, ...]:
    """Sort a performance by string.

    Parameters
    ----------
    performance : Performance

    Returns
    -------
    tuple of StringHistory
        One for each string that is played, in order of string.
    """
    strings = sorted({note.string for note in performance.notes})
    return tuple(
        _history(string, [note for note in performance.notes if note.string == string]) for string in strings
    )


def _history(string: int, notes: list[PlayedNote]) -> StringHistory:
    excitations: list[Excitation] = []
    dampings: list[Damping] = []
    picks = [note.onset_s for note in notes if note.picked]
    for index, note in enumerate(notes):
        before = notes[index - 1] if index else None
        after = notes[index + 1] if index + 1 < len(notes) else None
        stop_s = next((pick for pick in picks if pick > note.onset_s), math.inf)
        excitations.append(_excitation(note, before, stop_s))
        excitations.extend(_trill_excitations(note, stop_s))
        dampings.extend(_dampings(note, before, after))
    times, midi = _pitch_points(notes)
    return StringHistory(
        string=string,
        excitations=tuple(excitations),
        dampings=tuple(dampings),
        times_s=times,
        midi=midi,
        fret_times_s=np.array([note.curve_times_s[0] for note in notes]),
        length_frets=np.array([_length_fret(note) for note in notes]),
    )


def _kinds(note: PlayedNote) -> set[str]:
    return {technique.kind for technique in note.techniques}


def _excitation(note: PlayedNote, before: PlayedNote | None, stop_s: float) -> Excitation:
    kinds = _kinds(note)
    strength = (note.velocity / 127.0) ** 1.5
    muted = 1.0 if "dead_note" in kinds else 0.7 if "palm_mute" in kinds else 0.0
    kind: ExcitationKind = "slide"
    if note.picked:
        kind = "pick"
    elif "hammer_on" in kinds:
        kind = "hammer"
    elif "pull_off" in kinds:
        kind = "pull"
    from_fret = before.fret if before is not None else note.fret
    strength *= _STRENGTH.get(kind, 1.0)
    return Excitation(note.onset_s, stop_s, kind, strength, note.fret, from_fret, muted)


def _trill_excitations(note: PlayedNote, stop_s: float) -> list[Excitation]:
    found: list[Excitation] = []
    for technique in note.techniques:
        if technique.kind == "trill" and technique.to_fret is not None:
            strength = _TRILL_STRENGTH * (note.velocity / 127.0) ** 1.5
            for start_s, rising in _quick_changes(note):
                upper, lower = max(note.fret, technique.to_fret), min(note.fret, technique.to_fret)
                kind: ExcitationKind = "hammer" if rising else "pull"
                fret, from_fret = (upper, lower) if rising else (lower, upper)
                found.append(Excitation(start_s, stop_s, kind, strength, fret, from_fret))
    return found


def _quick_changes(note: PlayedNote) -> list[tuple[float, bool]]:
    after = note.curve_times_s >= note.onset_s + 0.02
    times, heights = note.curve_times_s[after], note.curve_semitones[after]
    moving = np.abs(np.diff(heights)) > 0.1
    starts = np.flatnonzero(moving & ~np.concatenate([[False], moving[:-1]]))
    return [(float(times[k]), bool(heights[k + 1] > heights[k])) for k in starts]


def _dampings(note: PlayedNote, before: PlayedNote | None, after: PlayedNote | None) -> list[Damping]:
    kinds = _kinds(note)
    found = []
    if note.picked and before is not None:
        found.append(Damping(note.onset_s - _PICK_CONTACT_S, note.onset_s, _PICK_CONTACT_RATE))
    if not note.picked:
        kind = "hammer" if "hammer_on" in kinds else "pull" if "pull_off" in kinds else "slide"
        rate = -math.log(_RETENTION[kind]) / _RETENTION_SPAN_S
        found.append(Damping(note.onset_s - _RETENTION_SPAN_S, note.onset_s, rate))
    if "palm_mute" in kinds:
        found.append(Damping(note.onset_s, note.end_s, _PALM_MUTE_RATE))
    if "dead_note" in kinds:
        found.append(Damping(note.onset_s, note.end_s, _DEAD_NOTE_RATE))
    if "trill" in kinds:
        rate = -math.log(_TRILL_RETENTION) / _RETENTION_SPAN_S
        found.extend(Damping(t - _RETENTION_SPAN_S, t, rate) for t, _ in _quick_changes(note))
    for technique in note.techniques:
        if technique.kind == "slide_out" and technique.start_s is not None:
            found.append(Damping(technique.start_s, note.end_s, _SLIDE_OUT_RATE))
    continues = after is not None and after.curve_times_s[0] <= note.end_s + 1e-6
    if not continues:
        until = after.onset_s if after is not None else math.inf
        found.append(Damping(note.end_s, until, _RELEASE_RATE))
    return found


def _pitch_points(notes: list[PlayedNote]) -> tuple[FloatArray, FloatArray]:
    times: list[FloatArray] = []
    midi: list[FloatArray] = []
    for index, note in enumerate(notes):
        if index and note.curve_times_s[0] > times[-1][-1]:
            # The old pitch holds until the new note begins.
            times.append(note.curve_times_s[:1] - 1e-6)
            midi.append(midi[-1][-1:])
        times.append(note.curve_times_s)
        midi.append(note.pitch_midi + note.curve_semitones)
    return np.concatenate(times), np.concatenate(midi)


def _length_fret(note: PlayedNote) -> float:
    if "natural_harmonic" in _kinds(note):
        return 12.0 * math.log2(HARMONIC_OF_NODE[note.fret])
    return float(note.fret)
