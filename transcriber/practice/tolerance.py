"""How far off a note may be before anything is said: for three ears.

Timing. 30 ms is about the asynchrony of professional ensembles (Rasch, "Synchronization in performed ensemble
music", Acustica 43, 1979: spreads of 30 to 50 ms); 50 ms is the onset tolerance of the MIREX note-tracking
task; 80 ms is common practice for a beginner. At a slow tempo the same slip takes longer, so the bound is
never less than a share of the student's own beat, the same three figures at 60 beats a minute.

Pitch. 25 cents is about what listeners take as in tune in a melody (Vurma and Ross, "Production and
perception of musical intervals", Music Perception 23, 2006: 20 to 25 cents); 50 cents is half the way to the
next fret, beyond which it is another note; 35 lies between.
"""

from __future__ import annotations

from dataclasses import dataclass

SOURCE = (
    "timing: Rasch 1979 (30 ms), MIREX note tracking (50 ms), common practice (80 ms); "
    "pitch: Vurma and Ross 2006 (25 cents), half a fret (50 cents)"
)


@dataclass(frozen=True)
class Tolerance:
    """Bounds within which a note is as it should be.

    Attributes
    ----------
    name : str
    timing_ms : float
    timing_beat_share : float
        The bound in parts of a beat; the larger of the two holds.
    cents : float
        Fretted pitch, and the top of a bend.
    bend_slower : float
        How many times as long as in the reference a bend may take to reach its target.
    vibrato_share : float
        How far the rate of a vibrato may lie from the reference's, as a share of it; its depth twice as far.
    length_share : float
        Least share of the length that a note is to sound.
    rest_share : float
        Share of a written rest into which a note may sound.
    """

    name: str
    timing_ms: float
    timing_beat_share: float
    cents: float
    bend_slower: float
    vibrato_share: float
    length_share: float
    rest_share: float

    def timing_s(self, beat_s: float) -> float:
        """The bound in seconds at the student's own beat."""
        return max(self.timing_ms / 1000.0, self.timing_beat_share * beat_s)


TOLERANCES = {
    each.name: each
    for each in (
        Tolerance("beginner", 80.0, 0.08, 50.0, 4.0, 0.6, 0.35, 0.8),
        Tolerance("intermediate", 50.0, 0.05, 35.0, 3.0, 0.5, 0.45, 0.6),
        Tolerance("strict", 30.0, 0.03, 25.0, 2.0, 0.4, 0.55, 0.5),
    )
}
