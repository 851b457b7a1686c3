"""What is told about a draft once it is written: in words, and as JSON."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from transcriber.cli.console import Output
from transcriber.errors import TranscriberError

if TYPE_CHECKING:
    from transcriber.draft.document import Draft, Issue
    from transcriber.pipeline import DraftFiles
    from transcriber.records.problem import Problem

_CHECK_NOTE = "check_note"
_MOST_LISTED = 10


def print_summary(output: Output, take: str, made: DraftFiles) -> None:
    """Tell what was found, what to check first, and what was written."""
    draft = made.corrected
    output.line(take, style="bold")
    output.line(f"  {_facts(draft)}")
    about = [issue for issue in draft.issues if issue.code != _CHECK_NOTE]
    _print_list(output, "About the take:", about)
    _print_list(output, "Corrections that no longer fit:", made.problems)
    check = _least_sure(draft)
    total = sum(issue.code == _CHECK_NOTE for issue in draft.issues)
    _print_list(output, f"Check first ({total} of {_count(len(draft.notes), 'note')}):", check, total)
    if not total:
        output.line("  No note stands out as one to check first.")
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
        "check_first": [_check_entry(draft, issue) for issue in draft.issues if issue.code == _CHECK_NOTE],
        "issues": [
            {"code": issue.code, "message": issue.message, "start_s": issue.start_s, "end_s": issue.end_s}
            for issue in draft.issues
            if issue.code != _CHECK_NOTE
        ],
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
    facts.append(_count(len(draft.notes), "note"))
    return ", ".join(facts)


def _least_sure(draft: Draft) -> list[Issue]:
    """The least sure notes' issues, as many as are listed, in order of time."""
    notes = {note.id: note for note in draft.notes}
    checks = [issue for issue in draft.issues if issue.code == _CHECK_NOTE]
    checks.sort(key=lambda issue: min(notes[note_id].confidence.overall for note_id in issue.notes))
    return sorted(checks[:_MOST_LISTED], key=lambda issue: issue.start_s or 0.0)


def _print_list(
    output: Output, title: str, issues: Sequence[Issue | Problem], total: int | None = None
) -> None:
    if not issues:
        return
    output.line(f"  {title}")
    for issue in issues[:_MOST_LISTED]:
        output.line(f"    {issue.message}")
    left = (len(issues) if total is None else total) - len(issues[:_MOST_LISTED])
    if left > 0:
        output.line(f"    and {left} more, listed in the draft")


def _check_entry(draft: Draft, issue: Issue) -> dict[str, Any]:
    note = draft.note(issue.notes[0])
    entry: dict[str, Any] = {"note": issue.notes[0], "start_s": issue.start_s, "reason": issue.message}
    if note is not None:
        entry |= {"bar": note.bar, "beat": str(note.beat), "confidence": note.confidence.overall}
    return entry


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"
