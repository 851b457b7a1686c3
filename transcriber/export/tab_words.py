"""The words around a text tab: header, notes to check first, and a person's remarks."""

from __future__ import annotations

import re
import textwrap

from transcriber.draft import CONFIDENCE_ASPECTS, Draft, DraftNote, Issue
from transcriber.draft.sureness import key_words, sure_words
from transcriber.export.plain_words import TITLE_IF_NONE, one_line
from transcriber.export.score import CHECK_ISSUE, unsure_notes
from transcriber.export.tab_analysis import analysis_items
from transcriber.records.pitch import open_string_names, pitch_name

TUNING_NAMES: dict[tuple[int, ...], str] = {
    (64, 59, 55, 50, 45, 40): "standard",
    (64, 59, 55, 50, 45, 38): "drop D",
    (62, 57, 53, 48, 43, 36): "drop C",
    (63, 58, 54, 49, 44, 39): "half a tone down",
    (62, 57, 53, 48, 43, 38): "a tone down",
    (62, 57, 55, 50, 45, 38): "DADGAD",
    (62, 59, 55, 50, 43, 38): "open G",
    (62, 57, 54, 50, 45, 38): "open D",
    (64, 59, 56, 52, 47, 40): "open E",
    (64, 59, 55, 50, 45, 40, 35): "standard, seven strings",
    (59, 54, 50, 45, 40, 35): "standard baritone",
    (43, 38, 33, 28): "standard bass",
}
"""Names the trade has for tunings, string 1 first."""

UNIT_NAMES = {1: "whole", 2: "half", 4: "quarter", 8: "eighth", 16: "16th"}

ASPECT_WORDS = {
    "pitch": "pitch",
    "onset": "beginning",
    "place": "string and fret",
    "rhythm": "rhythm",
    "technique": "technique",
}
"""What a person checks, by aspect of confidence."""

NUMBERED_PHRASE = re.compile(r"Phrase \d+")
"""Name of a phrase that nobody named."""

CHECK_COLUMNS = ("bar", "beat", "time", "string/fret", "least sure")
"""Heads of the table of notes to check."""


def header(draft: Draft, width: int) -> list[str]:
    """Title, tempo, meter, key, tuning and capo."""
    title = one_line(draft.source.file)
    timing = draft.timing
    pulse = "dotted quarter" if timing.meter.compound else UNIT_NAMES.get(timing.meter.unit, "beat")
    facts = [f"Tempo: {pulse} = {timing.tempo_bpm:.0f}", f"Meter: {timing.meter}"]
    if draft.key is not None:
        facts.append(f"Key: {key_words(draft.key)}")
    if timing.swing is not None:
        facts.append(f"Swing: {timing.swing:.1f} to 1, written straight")
    titles = textwrap.wrap(title, width) or [TITLE_IF_NONE]
    lines = [*titles, "=" * len(titles[0])]
    return lines + _flow(facts, width) + _flow([tuning_words(draft), capo_words(draft)], width)


def take_issues(draft: Draft, width: int) -> list[str]:
    """What the draft says about the take as a whole."""
    whole = [issue for issue in draft.issues if not issue.notes]
    if not whole:
        return []
    return ["", "About the take", *(line for one in whole for line in _item(_spanned(one), width))]


def check_list(draft: Draft, width: int) -> list[str]:
    """The notes to check first, a row each: where, and what is least sure; then what was noticed there."""
    unsure = unsure_notes(draft)
    if not unsure:
        return []
    rows = [CHECK_COLUMNS, *(_check_row(note) for note in unsure)]
    widths = [max(len(row[column]) for row in rows) for column in range(len(CHECK_COLUMNS))]
    lines = ["", "Check first", *_flow([f"{sure_words(draft.notes)}; these are the least sure."], width)]
    for row, note in zip(rows, (None, *unsure), strict=True):
        cells = [cell.ljust(wide) for cell, wide in zip(row, widths, strict=True)]
        lines.append("  ".join(cells).rstrip())
        for said in () if note is None else _noticed(draft, note):
            lines += textwrap.wrap(said, width, initial_indent="  ", subsequent_indent="  ")
    return lines


def remarks(draft: Draft, width: int) -> list[str]:
    """Phrases that have more to tell than their number, and the teacher's own words on notes."""
    phrases: list[str] = []
    for phrase in draft.phrases:
        name = one_line(phrase.name)
        told = [one_line(words) for words in (phrase.like_words, phrase.remark) if words]
        if told or not (name == "" or NUMBERED_PHRASE.fullmatch(name)):
            place = f"{_clock(phrase.start_s)} {name}".strip()
            phrases += _item(": ".join([place, "; ".join(told)] if told else [place]), width)
    lines = ["", "Phrases", *phrases] if phrases else []
    noted = [(note, one_line(note.remark)) for note in draft.notes if note.remark]
    words = [line for note, remark in noted for line in _item(f"{_where(note)}: {remark}", width)]
    return lines + (["", "Remarks", *words] if words else [])


def made_of(draft: Draft, width: int) -> list[str]:
    """Key and phrases: where they lie, what they take up, what makes them hard."""
    lines = [line for item in analysis_items(draft) for line in _item(item, width)]
    return ["", "What it is made of", *lines] if lines else []


def toss_ups(draft: Draft, width: int) -> list[str]:
    """Phrases for which another fingering is as good a guess, one line for each."""
    lines: list[str] = []
    for phrase in draft.phrases:
        close = next((each for each in phrase.alternatives if each.toss_up), None)
        if close is not None:
            span = f"{_clock(phrase.start_s)} to {_clock(phrase.end_s)}"
            lines += _item(f"{span}: {one_line(close.words)}", width)
    return ["", "Could be elsewhere", *lines] if lines else []


def tuning_words(draft: Draft) -> str:
    """Name the tuning, lowest string first."""
    tuning = draft.instrument.tuning_midi
    names = " ".join(reversed(open_string_names(tuning)))
    known = TUNING_NAMES.get(tuning)
    return f"Tuning: {names} (string {len(tuning)} to 1{', ' + known if known else ''})"


def capo_words(draft: Draft) -> str:
    """Say where the capo is."""
    capo = draft.instrument.capo
    return f"Capo: fret {capo}, frets are counted from it" if capo else "Capo: none"


def _where(note: DraftNote) -> str:
    place = "no string" if note.string is None else f"string {note.string}"
    if note.fret is not None:
        place += f" fret {note.fret}"
    pitch = "" if note.pitch_midi is None else f" ({pitch_name(note.pitch_midi)})"
    return f"bar {note.bar} beat {_mixed(note)}, {_clock(note.onset_s)}, {place}{pitch}"


def _mixed(note: DraftNote) -> str:
    """Write a beat as a whole number and a fraction, such as ``2+1/2``."""
    whole, part = divmod(note.beat, 1)
    return f"{whole}+{part}" if part else str(whole)


def _check_row(note: DraftNote) -> tuple[str, ...]:
    weakest = min(CONFIDENCE_ASPECTS, key=lambda aspect: getattr(note.confidence, aspect))
    sure = round(100 * getattr(note.confidence, weakest))
    place = "-" if note.string is None else f"{note.string}/{note.fret}"
    pitch = "" if note.pitch_midi is None else f" {pitch_name(note.pitch_midi)}"
    least = f"{ASPECT_WORDS[weakest]} {sure} %"
    return (str(note.bar), _mixed(note), _clock(note.onset_s), place + pitch, least)


def _noticed(draft: Draft, note: DraftNote) -> list[str]:
    """What the stages noticed about a note, the mark that it is to be checked apart."""
    return [
        one_line(issue.message)
        for issue in draft.issues
        if note.id in issue.notes and issue.code != CHECK_ISSUE
    ]


def _spanned(issue: Issue) -> str:
    """Say what was noticed and when, once: many messages say the time themselves."""
    if issue.start_s is None or f"{issue.start_s:.2f} s" in issue.message:
        return one_line(issue.message)
    return f"{_clock(issue.start_s)}: {one_line(issue.message)}"


def _clock(seconds: float) -> str:
    """Write a time as minutes, seconds and hundredths."""
    hundredths = round(seconds * 100)
    return f"{hundredths // 6000}:{hundredths // 100 % 60:02d}.{hundredths % 100:02d}"


def _flow(facts: list[str], width: int) -> list[str]:
    """Set facts side by side, three spaces apart, as many as fit in a line."""
    lines: list[str] = []
    for fact in facts:
        if lines and len(lines[-1]) + 3 + len(fact) <= width:
            lines[-1] += "   " + fact
        else:
            lines += textwrap.wrap(fact, width)
    return lines


def _item(text: str, width: int) -> list[str]:
    return textwrap.wrap(text, width, initial_indent="- ", subsequent_indent="  ")
