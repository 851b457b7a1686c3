"""The three things to work on first: the bar, what happened and what to try."""

from __future__ import annotations

from collections.abc import Sequence

from transcriber.draft import Draft, DraftNote
from transcriber.practice.passages import left_out_ids
from transcriber.practice.report import Advice, CheckReport, NoteReport
from transcriber.records.pitch import pitch_name

LONGEST_LIST = 3
# With a smaller share of what was heard, and of the line, as written, it may not be this line at all.
_ANOTHER_LINE = 1.0 / 3.0

CAUTION = (
    "Keep the volume moderate, rest for a few minutes in every half hour, and stop if anything hurts; with "
    "pain that stays or comes back, see a doctor or a physiotherapist."
)

# How much each kind weighs: what a listener notices first stands first.
WEIGHTS = {
    "missed": 3.0,
    "wrong_pitch": 3.0,
    "bend_missing": 2.2,
    "bend_flat": 2.0,
    "bend_sharp": 2.0,
    "late": 1.6,
    "early": 1.6,
    "extra": 1.5,
    "off_pitch": 1.4,
    "slide_missing": 1.2,
    "slur_picked": 1.0,
    "ringing": 1.0,
    "short": 0.8,
    "vibrato_missing": 0.8,
    "bend_slow": 0.6,
    "long": 0.6,
    "vibrato_differs": 0.5,
}

TRY = {
    "missed": "play the bar up to this note and stop on it, then from it to the bar's end; join them slowly",
    "wrong_pitch": "find its place on the neck by itself, then go to it from the note before until sure",
    "bend_missing": "play the target pitch on its fret, then bend to it and compare",
    "bend_flat": "play the target pitch on its fret, then bend up until both sound alike",
    "bend_sharp": "play the target pitch on its fret, then bend up to it and stop there",
    "late": "count the beat aloud with a click and play only this note and the one before",
    "early": "count the beat aloud with a click and let the note before have its full length",
    "extra": "play the bar slowly and rest the fingers that are not needed on the strings",
    "off_pitch": "check the tuning, then press just behind the fret without pulling the string aside",
    "slide_missing": "keep the finger on the string from the note before until the new fret sounds",
    "slur_picked": "pick the note before only, and let the fretting hand sound this one",
    "ringing": "damp the string left behind with the picking hand or the side of a finger",
    "short": "keep the finger down until the next note is due",
    "long": "lift the finger on the count at which the rest begins",
    "vibrato_missing": "hold the note and move it evenly, first slowly, counting the swings in a beat",
    "bend_slow": "bend to the target in one move on the count",
    "vibrato_differs": "listen to the vibrato of the take and match its speed first, then its width",
}


def advise(draft: Draft, report: CheckReport) -> tuple[Advice, ...]:
    """Choose what to work on: kinds gathered bar by bar, the weightiest first, one of a kind in each bar.

    Nothing of an attempt that hardly fits the line, and nothing of passages that were left out.
    """
    if hardly_fits(report):
        return ()
    left_out = left_out_ids(report.notes)
    gathered: dict[tuple[int, str], list[NoteReport]] = {}
    for note in report.notes:
        if note.id in left_out:
            continue
        kinds = [note.verdict] if note.verdict != "played" else []
        for kind in [*kinds, *note.remarks]:
            gathered.setdefault((note.bar, kind), []).append(note)
    ranked = sorted(gathered.items(), key=lambda item: (-WEIGHTS[item[0][1]] * len(item[1]) ** 0.7, item[0]))
    chosen = [
        Advice(bar, tuple(note.id for note in notes), _happened(draft, kind, notes), TRY[kind])
        for (bar, kind), notes in ranked
    ]
    extras: dict[int, int] = {}
    for each in report.extra:
        before = draft.note(each.after) if each.after else None
        bar = before.bar if before else (draft.notes[0].bar if draft.notes else 1)
        extras[bar] = extras.get(bar, 0) + 1
    for bar, count in sorted(extras.items(), key=lambda item: (-item[1], item[0])):
        words = (
            "a note sounded that the line does not have" if count == 1 else f"{count} notes too many sounded"
        )
        chosen.append(Advice(bar, (), words, TRY["extra"]))
    return tuple(chosen[:LONGEST_LIST])


def hardly_fits(report: CheckReport) -> bool:
    """Whether so little is as written that this may be another line, or one that was not heard well."""
    missed = sum(note.verdict == "missed" for note in report.notes)
    other = len(report.notes) - missed + len(report.extra)
    return report.without_remark < _ANOTHER_LINE * min(len(report.notes), other)


def _happened(draft: Draft, kind: str, notes: Sequence[NoteReport]) -> str:
    first = notes[0]
    named = named_note(draft.note(first.id))
    more = f" and {len(notes) - 1} more" if len(notes) > 1 else ""
    if kind == "wrong_pitch" and first.played_midi is not None:
        return f"{named}{more}: {pitch_name(first.played_midi)} was played"
    if kind in ("early", "late") and first.timing_ms is not None and first.timing_beats is not None:
        return (
            f"{named}{more} came {abs(first.timing_ms):.0f} ms ({abs(first.timing_beats):.2f} beats) {kind}"
        )
    bend = next((each for each in first.techniques if each.cents is not None), None)
    if kind in ("bend_flat", "bend_sharp") and bend is not None and bend.cents is not None:
        way = "below" if bend.cents < 0 else "above"
        return f"the bend on {named}{more} stopped {abs(bend.cents):.0f} cents {way} its target"
    if kind == "off_pitch" and first.pitch_cents is not None:
        way = "flat" if first.pitch_cents < 0 else "sharp"
        return f"{named}{more} was {abs(first.pitch_cents):.0f} cents {way}"
    return f"{named}{more} {HAPPENED[kind]}"


HAPPENED = {
    "missed": "did not sound",
    "bend_missing": "was not bent",
    "bend_slow": "took long to reach its bend",
    "short": "was cut short",
    "long": "sounded on into the rest",
    "slide_missing": "was not reached by a slide",
    "slur_picked": "was picked, not slurred",
    "vibrato_missing": "had no vibrato",
    "vibrato_differs": "had another vibrato than the take",
    "ringing": "had the string of the note before ringing on under it",
}


def named_note(note: DraftNote | None) -> str:
    """Name a note by its pitch, beat and place, such as ``A4 on beat 2+1/2 (string 1, fret 5)``."""
    if note is None:
        return "a note"
    pitch = "the dead note" if note.pitch_midi is None else pitch_name(note.pitch_midi)
    known = note.string is not None and note.fret is not None
    place = f" (string {note.string}, fret {note.fret})" if known else ""
    return f"{pitch} on beat {_beat(note)}{place}"


def _beat(note: DraftNote) -> str:
    whole, part = divmod(note.beat, 1)
    return f"{whole}" if not part else f"{whole}+{part}"
