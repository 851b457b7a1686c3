"""Chapters of a take: when each phrase begins, for a video and its description."""

from __future__ import annotations

from html import escape

from transcriber.draft import Draft, Phrase

_ARROW = "-->"
_LEAST_S = 0.001


def phrases_of(draft: Draft) -> tuple[Phrase, ...]:
    """Phrases that have notes; a draft without phrases is one."""
    whole = Phrase("whole", "", None, 0.0, draft.source.duration_s + 1.0)
    return tuple(each for each in (draft.phrases or (whole,)) if draft.phrase_notes(each))


def phrase_name(phrase: Phrase, number: int) -> str:
    """Name that a person gave, on one line, or its number."""
    return plain(phrase.name) or f"Phrase {number}"


def plain(words: str) -> str:
    """Words on one line, without control characters."""
    return " ".join("".join(char if char.isprintable() else " " for char in words).split())


def chapter_cues(draft: Draft) -> str:
    """Chapters as WebVTT (W3C), one cue a phrase, its times those of the recording."""
    blocks = ["WEBVTT"]
    for number, phrase in enumerate(phrases_of(draft), start=1):
        name = escape(phrase_name(phrase, number).replace(_ARROW, "->"), quote=False)
        end = max(min(phrase.end_s, draft.source.duration_s), phrase.start_s + _LEAST_S)
        blocks.append(f"{number}\n{_stamp(phrase.start_s)} {_ARROW} {_stamp(end)}\n{name}")
    return "\n\n".join(blocks) + "\n"


def chapter_list(draft: Draft) -> str:
    """Chapter times to paste under a video: a line a phrase, the first from the very start."""
    lines = [
        f"{clock(phrase.start_s if number > 1 else 0.0)} {phrase_name(phrase, number)}"
        for number, phrase in enumerate(phrases_of(draft), start=1)
    ]
    return "\n".join(lines) + "\n"


def clock(time_s: float) -> str:
    """Hours (where there are any), minutes and seconds, such as ``1:07``."""
    minutes, seconds = divmod(int(time_s), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02d}:{seconds:02d}" if hours else f"{minutes}:{seconds:02d}"


def _stamp(time_s: float) -> str:
    milliseconds = max(0, round(1000 * time_s))
    minutes, rest = divmod(milliseconds, 60_000)
    hours, minutes = divmod(minutes, 60)
    return f"{hours:02}:{minutes:02}:{rest // 1000:02}.{rest % 1000:03}"
