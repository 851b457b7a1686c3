"""How far ahead of the beat or behind it a player sits, phrase by phrase.

The beats of a draft follow the player, so a phrase is held against beats that are freed from quick changes: a
weighted straight line through the beats around each of them (local regression after Cleveland, "Robust
locally weighted regression and smoothing scatterplots", JASA 74, 1979, from memory).
Where the beat was found from the notes themselves the mean over the take says nothing and is taken off;
what is left is how phrases differ. Where it was tapped or clicked, the lag itself is told.
"""

from __future__ import annotations

from dataclasses import dataclass
from statistics import mean, pstdev

from transcriber.draft import Draft, Timing

REACH_BEATS = 16
"""Beats to each side that a smoothed beat looks at."""

FEWEST_NOTES = 4
"""A phrase with fewer notes is left out."""


@dataclass(frozen=True)
class Feel:
    """Where the notes of a span lie against the beat, milliseconds; late is positive.

    Attributes
    ----------
    phrase : str or None
        Id of the phrase; None for the whole take.
    start_s, end_s : float
    late_ms, spread_ms : float
        Mean and standard deviation.
    notes : int
    """

    phrase: str | None
    start_s: float
    end_s: float
    late_ms: float
    spread_ms: float
    notes: int


def feel_of(draft: Draft) -> tuple[Feel, ...]:
    """Tell where the player sits: each phrase that has notes enough, in order.

    Parameters
    ----------
    draft : Draft

    Returns
    -------
    tuple of Feel
        Empty where the draft has too few beats to tell, or a single phrase and no beats but its own.
    """
    if len(draft.timing.beats_s) < 4:
        return ()
    steady = steady_timing(draft.timing)
    late = [
        (note, 1000 * (note.onset_s - steady.time_of(note.start(draft.meter))))
        for note in draft.notes
        if not note.is_grace
    ]
    told = bool(draft.made_by.options.get("click") or draft.made_by.options.get("beats_s"))
    if not late or (len(draft.phrases) < 2 and not told):
        return ()
    usual = 0.0 if told else mean(ms for _, ms in late)
    found = []
    for phrase in draft.phrases:
        inside = [ms - usual for note, ms in late if phrase.start_s <= note.onset_s < phrase.end_s]
        if len(inside) >= FEWEST_NOTES:
            found.append(
                Feel(
                    phrase.id,
                    phrase.start_s,
                    phrase.end_s,
                    round(mean(inside), 1) + 0.0,
                    round(pstdev(inside), 1),
                    len(inside),
                )
            )
    return tuple(found)


def feel_words(feel: Feel) -> str:
    """Say it in words, such as ``"12 ms behind the beat"``."""
    size = round(abs(feel.late_ms))
    if size < 5:
        return f"on the beat (spread {feel.spread_ms:.0f} ms)"
    side = "behind" if feel.late_ms > 0 else "ahead of"
    return f"{size} ms {side} the beat (spread {feel.spread_ms:.0f} ms)"


def steady_timing(timing: Timing) -> Timing:
    """The timing with its beats freed from quick changes."""
    beats = timing.beats_s
    smooth = [_local_line(beats, index) for index in range(len(beats))]
    for index in range(1, len(smooth)):
        smooth[index] = max(smooth[index], smooth[index - 1] + 1e-3)
    return Timing(timing.tempo_bpm, timing.meter, timing.swing, tuple(smooth), timing.first_beat)


def _local_line(beats: tuple[float, ...], index: int) -> float:
    low, high = max(index - REACH_BEATS, 0), min(index + REACH_BEATS + 1, len(beats))
    reach = max(index - low, high - 1 - index) + 1
    weights = [(1 - (abs(at - index) / reach) ** 3) ** 3 for at in range(low, high)]
    total = sum(weights)
    centre = sum(w * at for w, at in zip(weights, range(low, high), strict=True)) / total
    level = sum(w * beats[at] for w, at in zip(weights, range(low, high), strict=True)) / total
    across = sum(w * (at - centre) ** 2 for w, at in zip(weights, range(low, high), strict=True))
    slope = sum(
        w * (at - centre) * (beats[at] - level) for w, at in zip(weights, range(low, high), strict=True)
    )
    return level + (slope / across if across > 0 else 0.0) * (index - centre)
