"""One note after the other against what was found of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from transcriber.draft.document import Draft
from transcriber.practice.align import off_pitch
from transcriber.practice.evidence import Attempt
from transcriber.practice.found import Found, PassPace
from transcriber.practice.hands import Sounded, judge_hands
from transcriber.practice.pace import pace_of
from transcriber.practice.picks import PickScale, pick_scale
from transcriber.practice.report import NoteReport, Remark
from transcriber.practice.ringing import rings_on
from transcriber.practice.second_look import COMES_UP_DB, pitches_of, set_in
from transcriber.practice.tolerance import Tolerance
from transcriber.practice.wanted import Wanted
from transcriber.records.heard import HeardNote

_SLURS = ("hammer_on", "pull_off", "slide", "grace", "trill")
_SHORT_AT_LEAST_S, _LONG_AT_LEAST_S = 0.12, 0.2
_LONGEST_JUDGED_S = 1.6
_CUT_BY_NOTE_S = 0.08
_FAR_OFF = 7
_SHORTEST_HEARD_S = 0.06
# Two ways to time a note agree within this.
_AGREE_S = 0.03
_AROUND_END_S = (-0.1, -0.05, 0.0, 0.05, 0.1)
# Farther off it is another note, or an octave's slip of the tracker.
_OTHER_NOTE_CENTS = 75.0


class Judge:
    """Judges one note after the other by what was found."""

    def __init__(
        self,
        attempt: Attempt,
        draft: Draft,
        wanted: Sequence[Wanted],
        shift: int,
        ear: Tolerance,
        found: Mapping[int, Found],
        paces: Mapping[int, PassPace],
        onsets_s: Sequence[float],
    ) -> None:
        self._attempt = attempt
        self._reference_beat_s = 60.0 / (draft.timing.tempo_bpm * draft.meter.tap)
        self._wanted = wanted
        self._shift = shift
        self._ear = ear
        self._found = found
        self._paces = paces
        self._onsets = onsets_s
        self._scale = self._pick_scale()
        self._taken_s = _timing_of_take(wanted, self._reference_beat_s)

    def note(self, number: int) -> NoteReport:
        """Judge one wanted note."""
        want = self._wanted[number]
        here = self._found.get(number)
        if here is None:
            verdict = "played" if want.optional else "missed"
            return NoteReport(want.note.id, want.note.bar, verdict)  # type: ignore[arg-type]
        remarks: list[Remark] = []
        timing_s, beat_s = self._timing(number, here)
        bound = self._ear.timing_s(beat_s)
        if timing_s is not None and abs(timing_s) > bound:
            here, timing_s = self._looked_again(number, here, timing_s, bound)
        heard = self._heard(number, here)
        wrong = self._wrong_pitch(number, heard, here.onset_s)
        if timing_s is not None and self._off_in_time(number, timing_s, beat_s):
            remarks.append("early" if timing_s < 0 else "late")
        if self._rings(number, here):
            remarks.append("ringing")
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

    def _heard(self, number: int, here: Found) -> HeardNote | None:
        """The note as listening has it, or as the pitch track has it where listening left it out."""
        if here.played is not None:
            return self._attempt.heard.notes[here.played]
        want = self._wanted[number]
        if want.pitch is None:
            return None
        after = self._found.get(number + 1)
        until = here.onset_s + _LONGEST_JUDGED_S
        if after is not None and after.onset_s > here.onset_s:
            until = min(until, after.onset_s)
        until = min([until, *(onset for onset in self._onsets if onset > here.onset_s + _SHORTEST_HEARD_S)])
        return self._attempt.as_note(want.pitch + self._shift, want.height, here.onset_s, until)

    def _closer(
        self, report: NoteReport, number: int, heard: HeardNote, remarks: list[Remark], beat_s: float
    ) -> NoteReport:
        """Length, pitch, hands and ringing of a note that was played."""
        want = self._wanted[number]
        heard = self._until_next(number, heard)
        ratio = self._length(number, heard, beat_s)
        if ratio is not None and ratio < self._ear.length_share and self._cut(number, heard):
            remarks.append("short")
        elif self._into_rest(number, heard, beat_s):
            remarks.append("long")
        cents = self._cents(want, heard)
        # What the pitch track says is not the note's own where another string rings with it.
        if cents is not None and abs(cents) > self._ear.cents and "ringing" not in remarks:
            remarks.append("off_pitch")
        techniques, said = judge_hands(
            self._attempt, want, self._sounded(number, heard, beat_s), self._scale, self._ear
        )
        remarks += said
        return replace(
            report,
            length_ratio=None if ratio is None else round(ratio, 3),
            pitch_cents=None if cents is None else round(cents, 1),
            techniques=techniques,
            remarks=tuple(remarks),
        )

    def _wrong_pitch(self, number: int, heard: HeardNote | None, onset_s: float) -> int | None:
        """What was played instead, None where the wanted pitch sounds after all."""
        want = self._wanted[number]
        if heard is None or want.pitch is None or heard.has("dead_note"):
            return None
        off = off_pitch(heard, want, self._shift)
        if off == 0:
            return None
        low = want.pitch + self._shift - 0.45
        share, _ = self._attempt.sounds(low, low + want.height + 0.9, onset_s, self._until(onset_s))
        if share >= 0.5 or (want.note.is_grace and share > 0.25):
            return None
        if abs(off) > _FAR_OFF and not want.height:
            # Two strings that sound at once make the tracker see a deep pitch that is neither.
            before = pitches_of(self._wanted[number - 1]) if number else ()
            apart = tuple(pitch + self._shift for pitch in before)
            if self._attempt.comes_up(want.pitch + self._shift, onset_s, apart) > COMES_UP_DB:
                return None
        return heard.pitch_midi - self._shift

    def _until(self, onset_s: float) -> float:
        later = [time for time in self._onsets if time > onset_s + 0.03]
        end = later[0] if later else onset_s + 2.0
        return min(end, onset_s + 3.0)

    def _timing(self, number: int, here: Found) -> tuple[float | None, float]:
        pace = self._paces.get(here.passage)
        if pace is None or number not in pace.numbers:
            return None, self._reference_beat_s
        due, beat_s = pace.of(number)
        return (here.onset_s - due if len(pace.numbers) >= 3 else None), beat_s

    def _off_in_time(self, number: int, timing_s: float, beat_s: float) -> bool:
        """Whether a note is off where it is written and where the take plays it, which may lie behind it."""
        taken_s = self._taken_s[number] * beat_s / self._reference_beat_s
        return min(abs(timing_s), abs(timing_s - taken_s)) > self._ear.timing_s(beat_s)

    def _looked_again(
        self, number: int, here: Found, timing_s: float, bound_s: float
    ) -> tuple[Found, float | None]:
        """A note that seems off in time is timed by its own partials too, as a click can hide its stroke.

        Where that says it is in time, it is. One that was found by a second look is off only if both agree.
        """
        want = self._wanted[number]
        before = pitches_of(self._wanted[number - 1]) if number else ()
        onset = None
        if want.pitch is not None and want.pitch not in before:
            apart = tuple(pitch + self._shift for pitch in before)
            onset = set_in(self._attempt, want.pitch + self._shift, apart, here.onset_s)
        if onset is not None and abs(timing_s + onset - here.onset_s) <= bound_s:
            return replace(here, onset_s=onset), timing_s + onset - here.onset_s
        if here.played is None and (onset is None or abs(onset - here.onset_s) > _AGREE_S):
            return here, None
        return here, timing_s

    def _length(self, number: int, heard: HeardNote, beat_s: float) -> float | None:
        """Share of its length that a note sounds; None where nothing can be said."""
        want = self._wanted[number]
        sounded = (want.note.end_s - want.note.onset_s) * beat_s / self._reference_beat_s
        due = min(want.length * beat_s, sounded, _LONGEST_JUDGED_S)
        if due <= 0 or want.note.has("staccato", "dead_note", "palm_mute", "let_ring", "trill"):
            return None
        played = min(heard.end_s - heard.onset_s, 2.0 * due)
        if due - played < _SHORT_AT_LEAST_S and played < due:
            return max(played / due, self._ear.length_share)
        return played / due

    def _until_next(self, number: int, heard: HeardNote) -> HeardNote:
        """The note up to where the next one of the line was found, if listening took both for one."""
        after = self._found.get(number + 1)
        if after is None or not heard.onset_s < after.onset_s < heard.end_s:
            return heard
        kept = heard.contour_times_s < after.onset_s
        return replace(
            heard,
            end_s=after.onset_s,
            contour_times_s=heard.contour_times_s[kept],
            contour_cents=heard.contour_cents[kept],
        )

    def _cut(self, number: int, heard: HeardNote) -> bool:
        """Whether a note that ends early was cut off by the hand, not by another note or its own decay."""
        if any(0.0 <= onset - heard.end_s < _CUT_BY_NOTE_S for onset in self._onsets):
            return False
        pitch = heard.pitch_midi + (self._wanted[number].height if heard.has("bend", "pre_bend") else 0.0)
        return self._attempt.damped(pitch, heard.end_s)

    def _into_rest(self, number: int, heard: HeardNote, beat_s: float) -> bool:
        """Whether a note goes on sounding through most of the rest that is written after it."""
        want = self._wanted[number]
        if number + 1 >= len(self._wanted) or number + 1 not in self._found:
            return False
        if want.note.has("let_ring", "natural_harmonic", "slide_out") or not want.length:
            return False
        following = self._wanted[number + 1]
        sounded = (want.note.end_s - want.note.onset_s) * beat_s / self._reference_beat_s
        due = max(want.length * beat_s, sounded)
        rest = (following.at - want.at) * beat_s - due
        over = heard.end_s - heard.onset_s - due
        if over <= max(_LONG_AT_LEAST_S, self._ear.rest_share * rest):
            return False
        # A drone or a backing may hold the pitch after the hand has damped it.
        pitch, end_s = self._sounding(number, self._found[number]), heard.onset_s + due
        return not any(self._attempt.damped(pitch, end_s + off) for off in _AROUND_END_S)

    def _cents(self, want: Wanted, heard: HeardNote) -> float | None:
        """Median distance from the fret's pitch of a note that is not meant to move."""
        if want.pitch is None or want.height or want.note.has("natural_harmonic", "trill", "slide_in"):
            return None
        if want.note.has("vibrato") or heard.has("vibrato"):
            # A finger's vibrato only raises the pitch: its mean is sharp of the fret.
            return None
        part = heard.contour_cents[heard.contour_times_s < heard.onset_s + 1.0]
        part = part[len(part) // 6 : max(len(part) - len(part) // 6, 1)]
        part = part[np.isfinite(part)]
        if len(part) < 5:
            return None
        off = 100.0 * (heard.pitch_midi - want.pitch - self._shift)
        cents = float(np.median(part)) + off
        return cents if abs(cents) < _OTHER_NOTE_CENTS else None

    def _sounded(self, number: int, heard: HeardNote, beat_s: float) -> Sounded:
        want = self._wanted[number]
        before = self._wanted[number - 1] if number and (number - 1) in self._found else None
        left = None if before is None or before.pitch is None else float(before.pitch + self._shift)
        until = self._next_found(number, heard)
        slower = beat_s / self._reference_beat_s
        return Sounded(heard, heard.onset_s, until, (want.pitch or 0) + self._shift, left, slower)

    def _next_found(self, number: int, heard: HeardNote) -> float:
        """Where the note ends for good: at the next note of the line that was played, or as it dies away."""
        here, after = self._found[number], self._found.get(number + 1)
        later = [each.onset_s for each in self._found.values() if each.onset_s > heard.onset_s + 0.03]
        if after is None or after.passage != here.passage:
            # What was played next may belong to a pass that does not count.
            later += [onset for onset in self._onsets if onset > heard.end_s - 0.02]
        want = self._wanted[number]
        end = min(later, default=heard.end_s + 0.05)
        return min(end, max(heard.end_s, heard.onset_s + 0.1) if not want.height else end)

    def _rings(self, number: int, here: Found) -> bool:
        before = self._found.get(number - 1)
        if before is None or before.passage != here.passage:
            return False
        after = self._found.get(number + 1)
        until = here.onset_s + 1.0 if after is None or after.onset_s < here.onset_s else after.onset_s
        notes = (self._wanted[number - 1], self._wanted[number])
        pitches = (self._sounding(number - 1, before), self._sounding(number, here))
        return rings_on(self._attempt, notes, pitches, (before.onset_s, here.onset_s, until))

    def _sounding(self, number: int, here: Found) -> float:
        """The pitch that a note was played at, which may be another one or out of tune."""
        wanted = float((self._wanted[number].pitch or 0) + self._shift)
        if here.played is None:
            return wanted
        heard = self._attempt.heard.notes[here.played]
        cents = heard.contour_cents[np.isfinite(heard.contour_cents)]
        off = float(np.median(cents)) / 100.0 if len(cents) else 0.0
        wrong = self._wrong_pitch(number, heard, here.onset_s)
        return (wanted if wrong is None else float(wrong + self._shift)) + (off if abs(off) < 0.5 else 0.0)

    def _pick_scale(self) -> PickScale | None:
        """What a pick sounds like here, by the notes that are to be picked and were played."""
        picked = [
            self._attempt.heard.notes[each.played]
            for number, each in self._found.items()
            if each.played is not None and not self._wanted[number].note.has(*_SLURS)
        ]
        return pick_scale(self._attempt, picked)


def _timing_of_take(wanted: Sequence[Wanted], beat_s: float) -> list[float]:
    """How far behind its written place (ahead: negative) the take itself plays each note, seconds."""
    numbers = [number for number, want in enumerate(wanted) if not want.note.is_grace]
    if len(numbers) < 3:
        return [0.0] * len(wanted)
    beats = np.array([wanted[number].at for number in numbers])
    onsets = np.array([wanted[number].note.onset_s for number in numbers])
    off = dict(zip(numbers, onsets - pace_of(beats, onsets, beat_s).due_s, strict=True))
    return [float(off.get(number, 0.0)) for number in range(len(wanted))]
