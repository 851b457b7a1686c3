"""A practice plan that steps the tempo, phrase by phrase."""

from __future__ import annotations

from collections.abc import Sequence

from transcriber.draft.document import Draft
from transcriber.practice.advice import CAUTION
from transcriber.practice.loops import Span

# Notes a second at which most learners still hear and place every note: common practice.
COMFORTABLE_NOTES_A_SECOND = 4.0
CLEAN_TIMES = 3
LOUDNESS = (
    "Before the first sound turn the volume right down, then up to where you would talk over it; "
    "with headphones, lower."
)


def practice_plan(draft: Draft, spans: Sequence[Span], speeds: Sequence[float]) -> str:
    """Write the plan.

    Parameters
    ----------
    draft : Draft
    spans : sequence of Span
    speeds : sequence of float
        The speeds that there are loops of, ascending.
    """
    lines = ["Practice plan", "", LOUDNESS, CAUTION, ""]
    for span in spans:
        phrase = span.phrase
        name = phrase.name or f"Phrase {span.number}"
        fastest = phrase.hard.notes_a_second if phrase.hard else None
        start = _start(fastest, speeds)
        fast = f" (fastest passage: {fastest:.1f} notes a second)" if fastest else ""
        lines.append(f"{name}{fast}")
        for speed in [each for each in speeds if each >= start - 1e-9]:
            tempo = draft.timing.tempo_bpm * speed
            lines.append(
                f"  {speed:.0%}, {tempo:.0f} beats a minute: until it goes {CLEAN_TIMES} times running "
                "without a slip"
            )
        lines.append("  After a slip go back one step; leave it for today after ten minutes.")
        lines.append("")
    lines.append("Then two neighbouring phrases together, from the slowest speed at which both went well.")
    return "\n".join(lines) + "\n"


def _start(fastest: float | None, speeds: Sequence[float]) -> float:
    """Quickest of the speeds at which the fastest passage is comfortable, at most one step below the top."""
    if fastest is None or not speeds:
        return min(speeds, default=1.0)
    fitting = [each for each in speeds if fastest * each <= COMFORTABLE_NOTES_A_SECOND]
    return min(max(fitting, default=min(speeds)), sorted(speeds)[-2] if len(speeds) > 1 else speeds[0])
