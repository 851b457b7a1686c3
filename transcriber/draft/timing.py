"""Tempo, meter and beats of a draft, and the time at which a written position is due."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from transcriber.records.written import Meter


def beats_from_bar_1(bar: int, beat: Fraction, meter: Meter) -> Fraction:
    """Denominator beats from beat 1 of bar 1 to a beat of a bar, negative in a pickup bar; beats from 1."""
    return (bar - 1) * meter.beats + beat - 1


@dataclass(frozen=True)
class Timing:
    """Tempo, meter and the beats found.

    Attributes
    ----------
    tempo_bpm : float
        Tapped beats a minute: dotted quarters in 6/8, 9/8 and 12/8, else the denominator's note.
    meter : Meter
        Written ``"4/4"`` in JSON.
    swing : float or None
        Long:short ratio of the eighths, None where they are straight.
    beats_s : tuple of float
        Times of the meter's denominator beats, strictly ascending, at least one.
    first_beat : int
        Beats from beat 1 of bar 1 of ``beats_s[0]``; negative in a pickup bar.
    downbeat_confidence : float or None
        Probability that bars begin where they are written, 0 to 1; None where a person said so.
    """

    tempo_bpm: float
    meter: Meter
    swing: float | None
    beats_s: tuple[float, ...]
    first_beat: int
    downbeat_confidence: float | None = None

    def time_of(self, start: Fraction) -> float:
        """Time at which a written position is due.

        Parameters
        ----------
        start : Fraction
            Denominator beats from beat 1 of bar 1, as in `DraftNote.start`.

        Returns
        -------
        float
            Seconds in the file: linear between the beats found, and carried on at the nearest beat's pace
            before the first and after the last. Under swing in a quarter-note meter the second eighth of a
            beat is due at ``swing / (1 + swing)`` of it, since written positions are the straight ones.
        """
        whole = start.numerator // start.denominator
        place = whole - self.first_beat
        part = self._swung(float(start - whole))
        last = len(self.beats_s) - 1
        if last == 0:
            return self.beats_s[0] + (place + part) * 60.0 / (self.tempo_bpm * self.meter.tap)
        index = min(max(place, 0), last - 1)
        pace = self.beats_s[index + 1] - self.beats_s[index]
        return self.beats_s[index] + (place - index + part) * pace

    def _swung(self, part: float) -> float:
        """Move a straight position within one beat (0 to 1) to where swing puts it."""
        if self.swing is None or self.meter.unit != 4:
            return part
        turn = self.swing / (1.0 + self.swing)
        if part <= 0.5:
            return 2.0 * part * turn
        return turn + (2.0 * part - 1.0) * (1.0 - turn)
