r"""Timed captions in WebVTT (W3C): phrase and bar, and the tab line of the moment.

A cue is a bar, or the part of it that lies in one phrase. Its first line names phrase and bar, its second the
notes in order: string and fret as the text tab writes them, such as ``B8b10~ G7``. Each note after the first
has its time in the line, so that a player can show which of them sounds.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import groupby, pairwise

from transcriber.draft import Draft, DraftNote, Phrase
from transcriber.export.layers import links
from transcriber.export.plain_words import one_line, title_of
from transcriber.export.tab import string_names
from transcriber.export.tab_signs import note_sign

ENTITIES = (("&", "&amp;"), ("<", "&lt;"), (">", "&gt;"))
ARROW = "-->"
LEAST_MS = 1


@dataclass(frozen=True)
class Cue:
    """One caption: milliseconds from the start of the recording, its notes and what it is called."""

    begin_ms: int
    end_ms: int
    title: str
    notes: tuple[DraftNote, ...]


def captions(draft: Draft) -> str:
    """Write a draft as WebVTT.

    Parameters
    ----------
    draft : Draft

    Returns
    -------
    str
        A WebVTT file whose cues follow one another without overlap. Bars without a note have none.
    """
    title = title_of(draft).replace(ARROW, "->")
    names = string_names(draft.instrument.tuning_midi)
    before = links(draft)
    blocks = [f"WEBVTT {title}"]
    for number, cue in enumerate(cues(draft), start=1):
        times = f"{clock(cue.begin_ms)} {ARROW} {clock(cue.end_ms)}"
        blocks.append(f"{number}\n{times}\n{escaped(cue.title)}\n{_tab_line(draft, cue, names, before)}")
    return "\n\n".join(blocks) + "\n"


def cues(draft: Draft) -> tuple[Cue, ...]:
    """Bars of a draft, parted where a phrase begins, in order of time."""
    starts: list[tuple[float, str, tuple[DraftNote, ...]]] = []
    ordered = sorted(draft.notes, key=lambda note: (note.bar, note.start(draft.meter), note.onset_s))
    for bar, in_bar in groupby(ordered, key=lambda note: note.bar):
        due = draft.timing.time_of(Fraction((bar - 1) * draft.meter.beats))
        for place, (phrase, played) in enumerate(_by_phrase(draft, list(in_bar))):
            begin = played[0].onset_s if place else min(due, played[0].onset_s)
            name = "" if phrase is None else one_line(phrase.name)
            starts.append((begin, f"{name}, bar {bar}" if name else f"Bar {bar}", tuple(played)))
    ends_s = max([0.0, *(note.end_s for note in draft.notes)])
    found: list[Cue] = []
    for (begin, title, notes), following in pairwise([*starts, (ends_s, "", ())]):
        bar_end = draft.timing.time_of(Fraction(notes[-1].bar * draft.meter.beats))
        first = max(_ms(begin), found[-1].end_ms if found else 0)
        last = min(_ms(following[0]), _ms(max(bar_end, notes[-1].end_s)))
        found.append(Cue(first, max(last, first + LEAST_MS), title, notes))
    return tuple(found)


def _by_phrase(draft: Draft, notes: Sequence[DraftNote]) -> list[tuple[Phrase | None, list[DraftNote]]]:
    def phrase_of(note: DraftNote) -> Phrase | None:
        return next((one for one in draft.phrases if one.start_s <= note.onset_s < one.end_s), None)

    return [(phrase, list(group)) for phrase, group in groupby(notes, key=phrase_of)]


def _tab_line(draft: Draft, cue: Cue, names: Sequence[str], before: dict[str, str]) -> str:
    shown = cue.begin_ms
    words = []
    for note in cue.notes:
        at = _ms(note.onset_s)
        mark = ""
        if shown < at < cue.end_ms:
            mark, shown = f"<{clock(at)}>", at
        sign = note_sign(note, draft.note(before.get(note.id, "")))
        string = "" if note.string is None else names[note.string - 1]
        words.append(mark + escaped(f"{string}{sign.before}{sign.text}"))
    return " ".join(words)


def escaped(words: str) -> str:
    """Words as cue text: one line, without markup."""
    for sign, entity in ENTITIES:
        words = words.replace(sign, entity)
    return words


def clock(milliseconds: int) -> str:
    """Write a time as WebVTT does, such as ``00:01:02.345``."""
    minutes, rest = divmod(milliseconds, 60_000)
    hours, minutes = divmod(minutes, 60)
    return f"{hours:02}:{minutes:02}:{rest // 1000:02}.{rest % 1000:03}"


def _ms(time_s: float) -> int:
    return max(0, round(time_s * 1000))
