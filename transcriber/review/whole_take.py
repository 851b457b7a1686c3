"""Questions about the take as a whole: how fast the beat is tapped, and where the bars begin.

They are asked where the draft noticed that it is unsure of them, before any question about a note, as all
rhythm hangs on them. A person who says or moves tempo or bar lines has answered (`draft.apply`).
"""

from __future__ import annotations

import re

from transcriber.draft import Correction, Draft
from transcriber.draft.retime import DOWNBEAT_UNSURE, TEMPO_UNSURE
from transcriber.review.changes import bar_lines_moved, retime
from transcriber.review.readings import Reading
from transcriber.review.words import beat_words

TEMPO, DOWNBEAT = "take:tempo", "take:downbeat"
WHOLE_TAKE = (TEMPO, DOWNBEAT)

_ISSUES = {TEMPO: TEMPO_UNSURE, DOWNBEAT: DOWNBEAT_UNSURE}
# The draft names the other tempo at the beginning of what it says to people.
_OTHER_TEMPO = re.compile(r"(\d+(?:\.\d+)?) beats a minute")
_SHOWN_BARS = 2
_COUNTS = {1: "one beat", 2: "two beats", 3: "three beats"}
_MOST_MOVED = 3


def unsure_of(draft: Draft, about: str) -> bool:
    """Whether the draft noticed that it is unsure of its tempo or its bar lines."""
    return bool(draft.notes) and any(issue.code == _ISSUES[about] for issue in draft.issues)


def asked_words(draft: Draft, about: str) -> str:
    """Put the question in words."""
    if about == TEMPO:
        return f"The whole take: are {round(draft.timing.tempo_bpm)} beats a minute tapped?"
    first = draft.notes[0]
    where = beat_words(first.bar, first.beat)
    return f"The whole take: do the bars begin where they are drawn? The first note is on {where}."


def shown_notes(draft: Draft) -> tuple[str, ...]:
    """Notes by which the question is shown and heard: those of the first two bars that have any."""
    bars = sorted({note.bar for note in draft.notes})[:_SHOWN_BARS]
    return tuple(note.id for note in draft.notes if note.bar in bars)


def readings_of_take(draft: Draft, about: str, drafted: str) -> tuple[Reading, ...]:
    """List what tempo or bar lines could be; the draft's own, under the key `drafted`, first.

    Parameters
    ----------
    draft : Draft
    about : str
        `TEMPO` or `DOWNBEAT`.
    drafted : str
    """
    return _tempi(draft, drafted) if about == TEMPO else _bar_lines(draft, drafted)


def _tempi(draft: Draft, drafted: str) -> tuple[Reading, ...]:
    own = draft.timing.tempo_bpm
    right = Correction("confirm_timing", values={"tempo_bpm": own})
    readings = [Reading(drafted, f"yes, {round(own)}", (right,))]
    for tempo_bpm in _other_tempi(draft):
        words = f"no, {tempo_bpm:g}: the rhythm written anew"

        def work(tempo_bpm: float = tempo_bpm) -> tuple[Correction, ...]:
            return retime(draft, tempo_bpm, None)

        readings.append(Reading(f"tempo_{tempo_bpm:g}", words, work=work))
    return tuple(readings)


def _other_tempi(draft: Draft) -> list[float]:
    """The tempo that the draft named as the other one; half and double where it named none."""
    for issue in draft.issues:
        named = _OTHER_TEMPO.match(issue.message) if issue.code == TEMPO_UNSURE else None
        if named is not None:
            return [float(named[1])]
    return [round(draft.timing.tempo_bpm * factor, 1) for factor in (0.5, 2.0)]


def _bar_lines(draft: Draft, drafted: str) -> tuple[Reading, ...]:
    right = Correction("confirm_timing", values={"first_beat": draft.timing.first_beat})
    readings = [Reading(drafted, "yes, as drawn", (right,))]
    tap = draft.meter.tap
    taps = draft.meter.beats // tap
    for late in range(1, taps):
        # Nearly a bar later is a little earlier.
        by = late if late <= taps // 2 else late - taps
        words = f"{_COUNTS.get(abs(by), f'{abs(by)} beats')} {'later' if by > 0 else 'earlier'}"
        correction = bar_lines_moved(draft, late * tap)
        readings.append(Reading(f"late_{late}", words, (correction,)))
    nearest = sorted(readings[1:], key=lambda one: _distance(one.key, taps))
    return (readings[0], *nearest[:_MOST_MOVED])


def _distance(key: str, taps: int) -> int:
    late = int(key.removeprefix("late_"))
    return min(late, taps - late)
