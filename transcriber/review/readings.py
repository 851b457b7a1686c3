"""The readings a moment could have, aspect by aspect, and the corrections that each would be."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from fractions import Fraction
from statistics import median
from typing import Any

from transcriber.draft import Correction, Draft, DraftNote, NoteMark
from transcriber.draft.coding import encode
from transcriber.records.technique import Technique
from transcriber.records.written import Meter, WrittenNote
from transcriber.review.words import (
    beat_words,
    length_words,
    number_words,
    pitch_words,
    place_words,
    techniques_words,
    tones_words,
)

ARRIVALS = ("hammer_on", "pull_off", "slide")
BENDS = ("bend", "pre_bend", "release")
# Two notes further apart than this are not joined by a slur or slide.
_JOINED_WITHIN_S = 0.15
_BENT_FROM_CENTS = 60.0
_USUAL_BENDS = (0.5, 1.0, 1.5, 2.0, 3.0, 4.0)
_VIBRATO_HZ, _VIBRATO_SEMITONES = 5.3, 0.4
_GRIDS = (Fraction(1, 2), Fraction(1, 3), Fraction(1, 4), Fraction(1, 6))
_MOST_STARTS = 3
_WIDEST_SLUR = 5
_HIGHEST_BEND = 3


@dataclass(frozen=True)
class Reading:
    """One thing that a moment could be.

    Attributes
    ----------
    key : str
        Stable name; equal keys of alike questions are the same answer.
    words : str
    corrections : tuple of Correction
        What taking it appends to the journal; empty where `work` finds it.
    work : callable or None
        Works out the corrections where that takes a stage.
    """

    key: str
    words: str
    corrections: tuple[Correction, ...] = ()
    work: Callable[[], tuple[Correction, ...]] | None = field(default=None, compare=False)

    def worked_out(self) -> tuple[Correction, ...]:
        """Return the corrections, worked out if need be."""
        return self.corrections if self.work is None else self.work()


@dataclass(frozen=True)
class Readings:
    """What is asked, what the draft says, and what else it could be."""

    kind: str
    words: str
    drafted: str
    others: tuple[Reading, ...]


def readings_of(draft: Draft, index: int, aspect: str) -> Readings:
    """List what a note could be otherwise in one aspect.

    Parameters
    ----------
    draft : Draft
    index : int
        Of the note in the draft.
    aspect : str
        One of `CONFIDENCE_ASPECTS`.
    """
    return _ASPECTS[aspect](draft, index)


def _change(note: DraftNote, **values: Any) -> tuple[Correction, ...]:
    return (Correction("change_note", note=NoteMark.of(note), values=values),)


def _technique(draft: Draft, index: int) -> Readings:
    note = draft.notes[index]
    if note.has(*BENDS) or _highest_cents(note) >= _BENT_FROM_CENTS:
        return _bend(note)
    if note.has("vibrato") and not note.has(*ARRIVALS):
        without = _techniques(note, [one for one in note.techniques if one.kind != "vibrato"])
        return Readings("vibrato", "vibrato or none?", "vibrato", (Reading("plain", "no vibrato", without),))
    return _arrival(draft, index)


def _arrival(draft: Draft, index: int) -> Readings:
    """Was it picked, or sounded from the note before?"""
    note, before = draft.notes[index], _before(draft, index)
    rest = [one for one in note.techniques if one.kind not in ARRIVALS]
    options: dict[str, tuple[str, tuple[Correction, ...]]] = {"picked": ("picked", _techniques(note, rest))}
    if before is not None and _joined(before, note):
        options.update(_from_before(draft, before, note, rest))
    drafted = next((one.kind for one in note.techniques if one.kind in ARRIVALS), "picked")
    shown = options.pop(drafted, (techniques_words(note), ()))[0]
    if not options and not note.has("vibrato"):
        options["vibrato"] = ("with vibrato", _techniques(note, [*note.techniques, _vibrato(note)]))
    others = tuple(Reading(key, words, given) for key, (words, given) in options.items())
    asked = ", ".join([shown, *(other.words for other in others[:-1])])
    words = f"{asked} or {others[-1].words}?" if others else f"{shown}?"
    return Readings(f"arrival_{drafted}", words, shown, others)


def _from_before(
    draft: Draft, before: DraftNote, note: DraftNote, rest: list[Technique]
) -> dict[str, tuple[str, tuple[Correction, ...]]]:
    """Ways in which a note may come out of the one before."""
    if before.pitch_midi is None or note.pitch_midi is None or before.string is None or before.fret is None:
        return {}
    step = note.pitch_midi - before.pitch_midi
    if step == 0:
        return {"held": ("the note before, held on", _merged(before, note))}
    fret = before.fret + step
    if abs(step) > _WIDEST_SLUR or not 0 <= fret <= draft.instrument.fretted.highest_fret:
        return {}
    moved: tuple[Correction, ...] = ()
    on_string = ""
    if before.string != note.string:
        # It can only come out of the note before on that note's string.
        moved = _change(note, string=before.string, fret=fret)
        on_string = f", on string {before.string}"
    slur = Technique("hammer_on" if step > 0 else "pull_off")
    words = "hammered" if step > 0 else "pulled off"
    options: dict[str, tuple[str, tuple[Correction, ...]]] = {}
    options[slur.kind] = (words + on_string, (*moved, *_techniques(note, [slur, *rest])))
    if not moved:
        slid = Technique("slide", picked=False)
        options["slide"] = ("slid to", _techniques(note, [slid, *rest]))
    if 0 < step <= _HIGHEST_BEND and not note.has(*BENDS) and before.fret > 0:
        bend = Technique("bend", note.onset_s, note.end_s, semitones=float(step))
        bent = (*_merged(before, note), *_techniques(before, [*before.techniques, bend]))
        options["bent"] = ("bent up from the note before", bent)
    return options


def _bend(note: DraftNote) -> Readings:
    rest = [one for one in note.techniques if one.kind not in BENDS]
    drafted = next((one for one in note.techniques if one.kind in ("bend", "pre_bend")), None)
    height = drafted.semitones if drafted is not None else None
    measured = max(_highest_cents(note) / 100.0, 0.25)
    drafted_words = tones_words(height or 0.0)
    others = []
    # What the trace reaches comes first; a teacher may know better than either.
    for usual in sorted(_USUAL_BENDS, key=lambda usual: abs(usual - measured))[:3]:
        if height is not None and abs(usual - height) < 0.25:
            continue
        if drafted is None:
            given = [*rest, Technique("bend", note.onset_s, note.end_s, semitones=usual)]
        else:
            # A note bent twice alike is bent otherwise twice.
            given = [
                replace(one, semitones=usual)
                if one.kind in ("bend", "pre_bend") and tones_words(one.semitones or 0.0) == drafted_words
                else one
                for one in note.techniques
            ]
        others.append(Reading(f"bend_{usual:g}", f"bent {tones_words(usual)}", _techniques(note, given)))
    if drafted is not None:
        other: Any = "pre_bend" if drafted.kind == "bend" else "bend"
        swapped = [replace(one, kind=other) if one is drafted else one for one in note.techniques]
        words = "bent before it is picked" if other == "pre_bend" else "bent after it is picked"
        others.insert(1, Reading(other, words, _techniques(note, swapped)))
        others.append(Reading("plain", "not bent at all", _techniques(note, rest)))
    shown = techniques_words(note)
    amount = tones_words(height) if height is not None else "not bent"
    words = f"how far is it bent? The draft says {amount}; the trace reaches {measured:.1f} frets."
    return Readings("bend" if drafted else "unbent", words, shown, tuple(others))


def _place(draft: Draft, index: int) -> Readings:
    note = draft.notes[index]
    neck = draft.instrument.fretted
    listed = [(one.string, one.fret) for one in note.alternatives]
    if note.pitch_midi is not None and not note.has("natural_harmonic"):
        listed += [place for place in neck.places(note.pitch_midi) if place not in listed]
    others = tuple(
        Reading(f"string_{string}", place_words(string, fret), _change(note, string=string, fret=fret))
        for string, fret in listed
        if (string, fret) != (note.string, note.fret)
    )
    shown = place_words(note.string, note.fret)
    words = f"{pitch_words(note.pitch_midi)} on {shown}"
    words += f", or {others[0].words}?" if others else "?"
    return Readings(f"string_{note.string}", words, shown, others)


def _pitch(draft: Draft, index: int) -> Readings:
    note = draft.notes[index]
    if note.pitch_midi is None:
        return Readings("pitch", "a note without pitch?", "no pitch", (_removal(note),))
    steps = [-12, 12, -1, 1]
    cents = [value for value in note.contour.cents if value is not None]
    if cents and not note.has(*BENDS):
        heard = round(median(cents) / 100.0)
        steps = [heard, *(step for step in steps if step != heard)] if heard else steps
    neck = draft.instrument.fretted
    around = _hand_at(draft, index)
    lowest, highest = min(neck.tuning_midi) + neck.capo, max(neck.tuning_midi) + neck.frets
    others = []
    for step in steps:
        pitch = note.pitch_midi + step
        if lowest <= pitch <= highest:
            near = min(neck.places(pitch), key=lambda place: abs(place[1] - around), default=None)
            place = {} if near is None else {"string": near[0], "fret": near[1]}
            key = f"step_{step}"
            others.append(Reading(key, pitch_words(pitch), _change(note, pitch_midi=pitch, **place)))
    others.append(_removal(note))
    shown = pitch_words(note.pitch_midi)
    return Readings("pitch", f"{shown}, or another pitch?", shown, tuple(others))


def _hand_at(draft: Draft, index: int) -> float:
    """The fret around which the notes on both sides lie."""
    beside = draft.notes[max(index - 2, 0) : index] + draft.notes[index + 1 : index + 3]
    frets = [note.fret for note in beside if note.fret]
    return median(frets) if frets else float(draft.notes[index].fret or 0)


def _onset(draft: Draft, index: int) -> Readings:
    note, before = draft.notes[index], _before(draft, index)
    others = []
    near = before is not None and abs((before.pitch_midi or 0) - (note.pitch_midi or 0)) <= _HIGHEST_BEND
    if before is not None and near and _joined(before, note):
        others.append(Reading("held", "no: the note before sounds on", _merged(before, note)))
    others.append(_removal(note))
    return Readings("onset", "does a note begin here?", "yes, a note of its own", tuple(others))


def _rhythm(draft: Draft, index: int) -> Readings:
    note, meter = draft.notes[index], draft.meter
    before = draft.notes[index - 1] if index else None
    after = draft.notes[index + 1] if index + 1 < len(draft.notes) else None
    start, end = note.start(meter), note.end(meter)
    low = before.start(meter) if before is not None else start - 1
    high = after.start(meter) if after is not None else end
    others = []
    for near in _near_starts(draft, note):
        if low < near < high and near != start:
            key = f"start_{(near - start).numerator}_{(near - start).denominator}"
            words = f"on {beat_words(*_position(near, meter))}"
            others.append(Reading(key, words, _moved(draft, index, near)))
    others = others[:_MOST_STARTS]
    if after is not None and not note.is_grace and end != high > start:
        given = _rhythms({note: (start, high - start)}, meter)
        others.append(
            Reading("to_next", f"held to the next note: {length_words(high - start, meter)}", given)
        )
    if not note.is_grace and note.length > Fraction(1, 2):
        half = note.length / 2
        words = f"half as long: {length_words(half, meter)}"
        others.append(Reading("half", words, _rhythms({note: (start, half)}, meter)))
    shown = f"on {beat_words(note.bar, note.beat)}, {length_words(note.length, meter)}"
    where = number_words(note.beat)
    words = f"on beat {where}, {length_words(note.length, meter)}; or otherwise?"
    return Readings("rhythm", words, shown, tuple(others))


def _near_starts(draft: Draft, note: DraftNote) -> list[Fraction]:
    """Places in the bar near the onset as it was heard, the nearest first."""
    heard = beats_at(draft, note.onset_s)
    found = {round(heard / float(grid)) * grid for grid in _GRIDS}
    return sorted(found, key=lambda place: (abs(float(place) - heard), place.denominator))


def beats_at(draft: Draft, time_s: float) -> float:
    """Denominator beats from beat 1 of bar 1 at a time: `Timing.time_of` turned round."""
    beats = draft.timing.beats_s
    if len(beats) < 2:
        step = 60.0 / (draft.timing.tempo_bpm * draft.meter.tap)
        return draft.timing.first_beat + (time_s - beats[0]) / step
    place = min(max(bisect_right(beats, time_s) - 1, 0), len(beats) - 2)
    part = (time_s - beats[place]) / (beats[place + 1] - beats[place])
    return draft.timing.first_beat + place + part


def _moved(draft: Draft, index: int, start: Fraction) -> tuple[Correction, ...]:
    """Begin a note elsewhere; it ends where it did, and a note that ended where it began ends there still."""
    note, meter = draft.notes[index], draft.meter
    end = note.end(meter)
    places = {note: (start, Fraction(0) if note.is_grace else max(end - start, Fraction(1, 8)))}
    if index and not draft.notes[index - 1].is_grace:
        before = draft.notes[index - 1]
        if before.end(meter) in (note.start(meter), start) or before.end(meter) > start:
            places[before] = (before.start(meter), start - before.start(meter))
    return _rhythms(places, meter)


def _rhythms(places: Mapping[DraftNote, tuple[Fraction, Fraction]], meter: Meter) -> tuple[Correction, ...]:
    listed = []
    for one, (start, length) in places.items():
        bar, beat = _position(start, meter)
        given = {"bar": bar, "beat": str(beat), "length": str(length)}
        listed.append({**vars(NoteMark.of(one)), **given})
    return (Correction("rewrite_rhythm", values={"notes": listed}),)


def _position(start: Fraction, meter: Meter) -> tuple[int, Fraction]:
    written = WrittenNote(start, Fraction(1), 1.0)
    return written.bar(meter), written.beat(meter)


def _techniques(note: DraftNote, techniques: list[Technique]) -> tuple[Correction, ...]:
    encoded = [encode(one) for one in techniques]
    return (Correction("replace_techniques", note=NoteMark.of(note), values={"techniques": encoded}),)


def _merged(before: DraftNote, note: DraftNote) -> tuple[Correction, ...]:
    values = {"notes": [dict(vars(NoteMark.of(note)))]}
    return (Correction("merge_notes", note=NoteMark.of(before), values=values),)


def _removal(note: DraftNote) -> Reading:
    return Reading("none", "no note here", (Correction("remove_note", note=NoteMark.of(note)),))


def _vibrato(note: DraftNote) -> Technique:
    return Technique(
        "vibrato", note.onset_s, note.end_s, rate_hz=_VIBRATO_HZ, depth_semitones=_VIBRATO_SEMITONES
    )


def _before(draft: Draft, index: int) -> DraftNote | None:
    return draft.notes[index - 1] if index else None


def _joined(before: DraftNote, note: DraftNote) -> bool:
    return note.onset_s - before.end_s <= _JOINED_WITHIN_S


def _highest_cents(note: DraftNote) -> float:
    return max((value for value in note.contour.cents if value is not None), default=0.0)


_ASPECTS: Mapping[str, Callable[[Draft, int], Readings]] = {
    "technique": _technique,
    "place": _place,
    "pitch": _pitch,
    "onset": _onset,
    "rhythm": _rhythm,
}
