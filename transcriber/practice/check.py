"""An attempt held against a draft: what became of every note."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from transcriber.draft.document import Draft
from transcriber.practice.advice import advise
from transcriber.practice.align import Alignment, align, off_pitch
from transcriber.practice.evidence import Attempt
from transcriber.practice.extras import extra_notes
from transcriber.practice.hands import AttackScale, Sounded, judge_hands
from transcriber.practice.pace import Pace, beats_a_minute, pace_of
from transcriber.practice.passes import Pass, counting_pass, passes_of, superseded
from transcriber.practice.phrase_reports import phrase_reports
from transcriber.practice.report import CheckReport, NoteReport, Remark, Stop
from transcriber.practice.ringing import rings_on
from transcriber.practice.tolerance import Tolerance
from transcriber.practice.wanted import Wanted, wanted_notes
from transcriber.records.heard import HeardNote
from transcriber.records.pitch import A4_HZ

_SLURS = ("hammer_on", "pull_off", "slide", "grace", "trill")
_LEAST_PICKED = 6
# Percentiles of the picks that the attempt is known to have: one that listening took for a slur is strong.
_WEAK_PICK, _USUAL_PICK = 25.0, 75.0
_CLEAR_ATTACK_DB = 9.0
_SHORT_AT_LEAST_S = 0.12
_LONGEST_JUDGED_S = 1.6


@dataclass(frozen=True)
class Found:
    """A wanted note as found: number of the played note (None: found by a second look), time and pass."""

    played: int | None
    onset_s: float
    passage: int


def check_attempt(draft: Draft, attempt: Attempt, ear: Tolerance) -> CheckReport:
    """Hold an attempt against a draft.

    Parameters
    ----------
    draft : Draft
        The reference, corrections applied.
    attempt : Attempt
    ear : Tolerance

    Returns
    -------
    CheckReport
    """
    wanted = wanted_notes(draft)
    played = attempt.heard.notes
    reference_beat_s = 60.0 / (draft.timing.tempo_bpm * draft.meter.tap)
    alignment = align(played, wanted, reference_beat_s)
    passes = passes_of(alignment.pairs)
    counts = counting_pass(passes, len(wanted))
    found = _found(attempt, wanted, passes, counts, alignment)
    paces = _paces(wanted, found, len(passes), alignment.beat_s)
    judge = _Judge(attempt, draft, wanted, alignment, ear, found, paces)
    notes = tuple(judge.note(number) for number in range(len(wanted)))
    gone = superseded(passes, counts, len(played))
    matched = {pair[0] for pair in alignment.pairs}
    left = [i for i in range(len(played)) if i not in gone and i not in matched]
    extra = extra_notes(attempt, wanted, {n: f.onset_s for n, f in found.items()}, left, alignment.shift)
    beat_s = _overall_beat(paces, alignment.beat_s)
    ratio = reference_beat_s / beat_s if found else None
    report = CheckReport(
        tolerance=ear.name,
        tempo_bpm=round(beats_a_minute(beat_s, draft.meter.tap), 1) if found else None,
        tempo_ratio=None if ratio is None else round(ratio, 3),
        transposed=alignment.shift,
        tuning_cents=round(1200.0 * float(np.log2(attempt.heard.reference_hz / A4_HZ)), 1),
        notes=notes,
        extra=extra,
        stops=_stops(wanted, paces),
        restarts=max(len(passes) - 1, 0),
        phrases=phrase_reports(draft, wanted, notes, passes, paces, reference_beat_s),
    )
    return replace(report, advice=advise(draft, report))


@dataclass(frozen=True)
class PassPace:
    """Wanted notes of one pass in order, and where they were due."""

    numbers: tuple[int, ...]
    pace: Pace

    def of(self, number: int) -> tuple[float, float]:
        """Time due and beat of one note, seconds."""
        place = self.numbers.index(number)
        return float(self.pace.due_s[place]), float(self.pace.beat_s[place])


def _found(
    attempt: Attempt,
    wanted: Sequence[Wanted],
    passes: Sequence[Pass],
    counts: Sequence[int],
    alignment: Alignment,
) -> dict[int, Found]:
    """Wanted notes that were played, in the pass that counts; what listening left out is looked for again."""
    played = attempt.heard.notes
    found = {
        j: Found(i, played[i].onset_s, number)
        for number, each in enumerate(passes)
        for i, j in each.pairs
        if counts[j] == number
    }
    for number, want in enumerate(wanted):
        if counts[number] >= 0 and number not in found and want.pitch is not None:
            time_s = _second_look(attempt, wanted, number, found, alignment)
            if time_s is not None:
                found[number] = Found(None, time_s, counts[number])
    return found


def _second_look(
    attempt: Attempt, wanted: Sequence[Wanted], number: int, found: dict[int, Found], alignment: Alignment
) -> float | None:
    """Time at which a note that listening left out sounds after all."""
    want = wanted[number]
    before = max((n for n in found if n < number), default=None)
    after = min((n for n in found if n > number), default=None)
    if before is None or after is None or found[before].passage != found[after].passage:
        return None
    from_s, to_s = found[before].onset_s, found[after].onset_s
    span = wanted[after].at - wanted[before].at
    if want.pitch is None or span <= 0 or to_s - from_s > 2.5 * span * alignment.beat_s + 0.5:
        return None
    due = from_s + (to_s - from_s) * (want.at - wanted[before].at) / span
    reach = 0.5 * min(due - from_s, to_s - due, 0.25)
    low = want.pitch + alignment.shift - 0.6
    high = want.pitch + alignment.shift + want.height + 0.6
    length = min(max(want.length * alignment.beat_s, 0.06), to_s - due)
    share, first = attempt.sounds(low, high, due - reach, due + 0.6 * length)
    if first is None or share < 0.4:
        return None
    neighbours = [wanted[before], wanted[after]]
    if any(near.pitch is not None and abs(near.pitch - want.pitch) < 0.7 for near in neighbours):
        # The same pitch goes on: only an attack tells a new note.
        return _strongest_attack(attempt, due - reach, due + reach)
    return first


def _strongest_attack(attempt: Attempt, from_s: float, to_s: float) -> float | None:
    times = np.arange(from_s, to_s, 0.01)
    rises = [attempt.attack(float(time)) for time in times]
    if not rises or max(rises) < _CLEAR_ATTACK_DB:
        return None
    return float(times[int(np.argmax(rises))])


def _paces(
    wanted: Sequence[Wanted], found: dict[int, Found], passes: int, beat_s: float
) -> dict[int, PassPace]:
    paces = {}
    for passage in range(passes):
        numbers = tuple(
            n for n in sorted(found) if found[n].passage == passage and not wanted[n].note.is_grace
        )
        if numbers:
            beats = np.array([wanted[n].at for n in numbers])
            onsets = np.array([found[n].onset_s for n in numbers])
            paces[passage] = PassPace(numbers, pace_of(beats, onsets, beat_s))
    return paces


def _overall_beat(paces: dict[int, PassPace], fallback: float) -> float:
    beats = [each.pace.beat_s for each in paces.values()]
    return float(np.median(np.concatenate(beats))) if beats else fallback


def _stops(wanted: Sequence[Wanted], paces: dict[int, PassPace]) -> tuple[Stop, ...]:
    return tuple(
        Stop(wanted[each.numbers[place]].note.id, pause)
        for each in paces.values()
        for place, pause in each.pace.stops
    )


class _Judge:
    """Judges one note after the other by what was found."""

    def __init__(
        self,
        attempt: Attempt,
        draft: Draft,
        wanted: Sequence[Wanted],
        alignment: Alignment,
        ear: Tolerance,
        found: dict[int, Found],
        paces: dict[int, PassPace],
    ) -> None:
        self._attempt = attempt
        self._draft = draft
        self._wanted = wanted
        self._shift = alignment.shift
        self._ear = ear
        self._found = found
        self._paces = paces
        self._onsets = sorted(each.onset_s for each in attempt.heard.notes)
        self._scale = self._attack_scale()

    def note(self, number: int) -> NoteReport:
        """Judge one wanted note."""
        want = self._wanted[number]
        here = self._found.get(number)
        if here is None:
            verdict = "played" if want.optional else "missed"
            return NoteReport(want.note.id, want.note.bar, verdict)  # type: ignore[arg-type]
        heard = None if here.played is None else self._attempt.heard.notes[here.played]
        wrong = self._wrong_pitch(heard, want, here.onset_s)
        remarks: list[Remark] = []
        timing_s, beat_s = self._timing(number, here)
        bound = self._ear.timing_s(beat_s)
        if timing_s is not None and abs(timing_s) > bound:
            remarks.append("early" if timing_s < 0 else "late")
        report = NoteReport(
            want.note.id,
            want.note.bar,
            "played" if wrong is None else "wrong_pitch",
            round(here.onset_s, 4),
            None if timing_s is None else round(1000.0 * timing_s, 1),
            None if timing_s is None else round(timing_s / beat_s, 3),
            played_midi=wrong,
        )
        if heard is None or wrong is not None:
            return replace(report, remarks=tuple(remarks))
        return self._closer(report, number, heard, remarks, beat_s)

    def _closer(
        self, report: NoteReport, number: int, heard: HeardNote, remarks: list[Remark], beat_s: float
    ) -> NoteReport:
        """Length, pitch, hands and ringing of a note that was played."""
        want = self._wanted[number]
        ratio = self._length(number, heard, beat_s)
        if ratio is not None and ratio < self._ear.length_share:
            remarks.append("short")
        cents = self._cents(want, heard)
        if cents is not None and abs(cents) > self._ear.cents:
            remarks.append("off_pitch")
        techniques, said = judge_hands(
            self._attempt, want, self._sounded(number, heard), self._scale, self._ear
        )
        remarks += said
        if self._rings(number, heard):
            remarks.append("ringing")
        return replace(
            report,
            length_ratio=None if ratio is None else round(ratio, 3),
            pitch_cents=None if cents is None else round(cents, 1),
            techniques=techniques,
            remarks=tuple(remarks),
        )

    def _wrong_pitch(self, heard: HeardNote | None, want: Wanted, onset_s: float) -> int | None:
        """What was played instead, None where the wanted pitch sounds after all."""
        if heard is None or want.pitch is None or heard.has("dead_note"):
            return None
        off = off_pitch(heard, want, self._shift)
        if off == 0:
            return None
        low = want.pitch + self._shift - 0.45
        share, _ = self._attempt.sounds(low, low + want.height + 0.9, onset_s, self._until(onset_s))
        if share >= 0.5 or (want.note.is_grace and share > 0.25):
            return None
        return heard.pitch_midi - self._shift

    def _until(self, onset_s: float) -> float:
        later = [time for time in self._onsets if time > onset_s + 0.03]
        end = later[0] if later else onset_s + 2.0
        return min(end, onset_s + 3.0)

    def _timing(self, number: int, here: Found) -> tuple[float | None, float]:
        pace = self._paces.get(here.passage)
        if pace is None or number not in pace.numbers:
            return None, 60.0 / (self._draft.timing.tempo_bpm * self._draft.meter.tap)
        due, beat_s = pace.of(number)
        return (here.onset_s - due if len(pace.numbers) >= 3 else None), beat_s

    def _length(self, number: int, heard: HeardNote, beat_s: float) -> float | None:
        """Share of its length that a note sounds; None where nothing can be said."""
        want = self._wanted[number]
        reference_beat = 60.0 / (self._draft.timing.tempo_bpm * self._draft.meter.tap)
        sounded = (want.note.end_s - want.note.onset_s) * beat_s / reference_beat
        due = min(want.length * beat_s, sounded, _LONGEST_JUDGED_S)
        if due <= 0 or want.note.has("staccato", "dead_note", "palm_mute", "let_ring", "trill"):
            return None
        played = min(heard.end_s - heard.onset_s, 2.0 * due)
        if due - played < _SHORT_AT_LEAST_S and played < due:
            return max(played / due, self._ear.length_share)
        return played / due

    def _cents(self, want: Wanted, heard: HeardNote) -> float | None:
        """Median distance from the fret's pitch of a note that is not meant to move."""
        if want.pitch is None or want.height or want.note.has("natural_harmonic", "trill", "slide_in"):
            return None
        part = heard.contour_cents[heard.contour_times_s < heard.onset_s + 1.0]
        part = part[len(part) // 6 : max(len(part) - len(part) // 6, 1)]
        part = part[np.isfinite(part)]
        if len(part) < 5:
            return None
        off = 100.0 * (heard.pitch_midi - want.pitch - self._shift)
        return float(np.median(part)) + off

    def _sounded(self, number: int, heard: HeardNote) -> Sounded:
        want = self._wanted[number]
        before = self._wanted[number - 1] if number and (number - 1) in self._found else None
        left = None if before is None or before.pitch is None else float(before.pitch + self._shift)
        until = self._next_found(number, heard)
        return Sounded(heard, heard.onset_s, until, (want.pitch or 0) + self._shift, left)

    def _next_found(self, number: int, heard: HeardNote) -> float:
        """Where the note ends for good: at the next note of the line that was played, or as it dies away."""
        later = [each.onset_s for each in self._found.values() if each.onset_s > heard.onset_s + 0.03]
        want = self._wanted[number]
        end = min(later, default=heard.end_s + 0.05)
        return min(end, max(heard.end_s, heard.onset_s + 0.1) if not want.height else end)

    def _rings(self, number: int, heard: HeardNote) -> bool:
        before = self._found.get(number - 1)
        if before is None or before.played is None:
            return False
        return rings_on(
            self._attempt,
            self._wanted[number - 1],
            self._wanted[number],
            self._attempt.heard.notes[before.played],
            heard,
            self._shift,
        )

    def _attack_scale(self) -> AttackScale | None:
        """What a pick sounds like here, by the notes that are to be picked and were played."""
        rises = [
            self._attempt.attack(each.onset_s)
            for number, each in self._found.items()
            if each.played is not None and not self._wanted[number].note.has(*_SLURS)
        ]
        if len(rises) < _LEAST_PICKED:
            return None
        return AttackScale(*(float(np.percentile(rises, share)) for share in (_WEAK_PICK, _USUAL_PICK)))
