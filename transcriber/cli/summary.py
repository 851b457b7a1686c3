"""What is told about a draft once it is written: in words, and as JSON."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from transcriber.cli.console import Output, counted
from transcriber.draft.sureness import sure_notes, sure_words
from transcriber.errors import TranscriberError

if TYPE_CHECKING:
    from transcriber.draft import Draft, DraftNote, Issue, Phrase
    from transcriber.draft_files import DraftFiles

_CHECK_NOTE = "check_note"
_MOST_LISTED = 10
_WORTH_OF_SURE = ": measured, 98 of 100 such notes were right in everything"
_ASPECTS = {
    "pitch": "the pitch",
    "onset": "where it begins",
    "place": "string and fret",
    "rhythm": "the rhythm",
    "technique": "the technique",
}


def print_summary(output: Output, take: str, made: DraftFiles) -> None:
    """Tell what was found, what to check first, and what was written."""
    draft = made.corrected
    output.line(take, style="bold")
    output.line(f"  {_facts(draft)}")
    about = [issue.message for issue in draft.issues if issue.code != _CHECK_NOTE]
    _print_list(output, "About the take:", about, len(about))
    left_out = [problem.message for problem in made.problems]
    _print_list(output, "Corrections that no longer fit:", left_out, len(left_out))
    unsure = [note for note in map(draft.note, _checked_ids(draft)) if note is not None]
    title = f"Check first ({len(unsure)} of {counted(len(draft.notes), 'note')}):"
    _print_list(output, title, [_doubt(note) for note in _least_sure(unsure)], len(unsure))
    if draft.notes:
        output.line(f"  {sure_words(draft.notes)}{_WORTH_OF_SURE if sure_notes(draft.notes) else ''}")
    if not unsure:
        output.line("  No note stands out as one to check first.")
    sits = [f"{feel.start_s:.2f} to {feel.end_s:.2f} s: {words}" for feel, words in made.feel]
    _print_list(output, "Against the beat, by phrase:", sits, len(sits))
    output.line("  Written: " + ", ".join(str(path) for path in made.files))


def result_entry(take: str, made: DraftFiles) -> dict[str, Any]:
    """One take's result for programs."""
    draft = made.corrected
    return {
        "take": take,
        "ok": True,
        "tempo_bpm": draft.timing.tempo_bpm,
        "meter": str(draft.timing.meter),
        "swing": draft.timing.swing,
        "notes": len(draft.notes),
        "sure": sure_notes(draft.notes),
        "check_first": [_check_entry(draft, issue) for issue in draft.issues if issue.code == _CHECK_NOTE],
        "issues": [
            {"code": issue.code, "message": issue.message, "start_s": issue.start_s, "end_s": issue.end_s}
            for issue in draft.issues
            if issue.code != _CHECK_NOTE
        ],
        "phrases": [_phrase_entry(phrase) for phrase in draft.phrases],
        "feel": [dict(vars(feel)) for feel, _ in made.feel],
        "corrections_left_out": [problem.message for problem in made.problems],
        "files": [str(path) for path in made.files],
    }


def error_entry(take: str, error: BaseException, exit_code: int) -> dict[str, Any]:
    """One take's failure for programs."""
    message = str(error) if isinstance(error, TranscriberError) else f"{type(error).__name__}: {error}"
    return {"take": take, "ok": False, "error": {"message": message, "exit_code": exit_code}}


def _facts(draft: Draft) -> str:
    timing = draft.timing
    beat = "dotted quarters" if timing.meter.compound else "beats"
    facts = [f"{timing.tempo_bpm:.0f} {beat} a minute", f"meter {timing.meter}"]
    if timing.swing is not None:
        facts.append(f"swing {timing.swing:.1f} to 1")
    facts.append(counted(len(draft.notes), "note"))
    return ", ".join(facts)


def _checked_ids(draft: Draft) -> list[str]:
    return [issue.notes[0] for issue in draft.issues if issue.code == _CHECK_NOTE]


def _least_sure(notes: list[DraftNote]) -> list[DraftNote]:
    """The least sure notes, as many as are listed, in order of time."""
    listed = sorted(notes, key=lambda note: note.confidence.overall)[:_MOST_LISTED]
    return sorted(listed, key=lambda note: note.onset_s)


def _doubt(note: DraftNote) -> str:
    """Where a note stands, and what about it is least sure."""
    whole, part = divmod(note.beat, 1)
    beat = f"{whole}+{part}" if part else f"{whole}"
    aspect = min(_ASPECTS, key=lambda name: float(getattr(note.confidence, name)))
    sure = getattr(note.confidence, aspect)
    return f"{note.onset_s:.2f} s, bar {note.bar}, beat {beat}: {_ASPECTS[aspect]} ({sure:.2f} sure)"


def _print_list(output: Output, title: str, lines: Sequence[str], total: int) -> None:
    if not lines:
        return
    output.line(f"  {title}")
    for line in lines[:_MOST_LISTED]:
        output.line(f"    {line}")
    left = total - len(lines[:_MOST_LISTED])
    if left > 0:
        output.line(f"    and {left} more, listed in the draft")


def _check_entry(draft: Draft, issue: Issue) -> dict[str, Any]:
    note = draft.note(issue.notes[0])
    entry: dict[str, Any] = {"note": issue.notes[0], "start_s": issue.start_s, "reason": issue.message}
    if note is not None:
        entry |= {"bar": note.bar, "beat": str(note.beat), "confidence": note.confidence.overall}
    return entry


def _phrase_entry(phrase: Phrase) -> dict[str, Any]:
    return {
        "phrase": phrase.id,
        "start_s": phrase.start_s,
        "end_s": phrase.end_s,
        "alternatives": [
            {"words": each.words, "extra_cost": each.extra_cost, "toss_up": each.toss_up}
            for each in phrase.alternatives
        ],
    }
