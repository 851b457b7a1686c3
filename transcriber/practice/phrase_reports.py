"""Each phrase in a few words, with its tempo."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from typing import TYPE_CHECKING

from transcriber.draft import Draft, Phrase
from transcriber.practice.pace import beats_a_minute, median
from transcriber.practice.passages import left_out_ids
from transcriber.practice.passes import Pass
from transcriber.practice.report import NoteReport, PhraseReport
from transcriber.practice.wanted import Wanted

if TYPE_CHECKING:
    from transcriber.practice.found import PassPace

REMARK_WORDS = {
    "early": "early",
    "late": "late",
    "short": "cut short",
    "long": "held into the rest",
    "off_pitch": "out of tune",
    "bend_missing": "not bent",
    "bend_flat": "bent too little",
    "bend_sharp": "bent too far",
    "bend_slow": "bent slowly",
    "vibrato_missing": "without vibrato",
    "vibrato_differs": "with another vibrato",
    "slur_picked": "picked instead of slurred",
    "slide_missing": "not slid",
    "ringing": "with a string ringing on",
}


def phrase_reports(
    draft: Draft,
    wanted: Sequence[Wanted],
    notes: Sequence[NoteReport],
    passes: Sequence[Pass],
    paces: Mapping[int, PassPace],
    reference_beat_s: float,
) -> tuple[PhraseReport, ...]:
    """Sum up every phrase that has notes; a draft without phrases is one."""
    phrases = draft.phrases or (Phrase("whole", "", None, 0.0, draft.source.duration_s),)
    left_out = left_out_ids(notes)
    reports = []
    for number, phrase in enumerate(phrases):
        inside = [n for n, want in enumerate(wanted) if want.phrase == number or not draft.phrases]
        if not inside:
            continue
        beats = [
            float(beat)
            for each in paces.values()
            for n, beat in zip(each.numbers, each.pace.beat_s, strict=True)
            if n in set(inside)
        ]
        beat_s = median(beats)
        reports.append(
            PhraseReport(
                id=phrase.id,
                name=phrase.name,
                tempo_bpm=None if beat_s is None else round(beats_a_minute(beat_s, draft.meter.tap), 1),
                tempo_ratio=None if beat_s is None else round(reference_beat_s / beat_s, 3),
                played=sum(notes[n].verdict == "played" for n in inside),
                notes=len(inside),
                tries=sum(each.first <= inside[-1] and each.last >= inside[0] for each in passes),
                verdict=_words([notes[n] for n in inside], left_out),
            )
        )
    return tuple(reports)


def _words(notes: Sequence[NoteReport], left_out: Collection[str]) -> str:
    missed = sum(note.verdict == "missed" for note in notes)
    if missed == len(notes):
        return "left out"
    wrong = sum(note.verdict == "wrong_pitch" for note in notes)
    gone = sum(note.id in left_out for note in notes)
    parts = [f"{missed - gone} missed"] if missed > gone else []
    parts += [f"{gone} left out"] if gone else []
    parts += [f"{wrong} of another pitch"] if wrong else []
    for remark, words in REMARK_WORDS.items():
        count = sum(remark in note.remarks for note in notes)
        parts += [f"{count} {words}"] if count else []
    return ", ".join(parts) or "as written"
