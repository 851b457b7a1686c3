"""What checking an attempt asks of the stages: the recording heard, and held against a draft.

Like `pipeline` this calls stages; unlike it, it starts from a draft.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from transcriber.errors import NoNotesError, UsageError

if TYPE_CHECKING:
    from transcriber.practice import CheckReport
    from transcriber.records.problem import Problem

CHECK_SUFFIX = ".check.json"
EARS = ("beginner", "intermediate", "strict")


@dataclass(frozen=True)
class AttemptSettings:
    """What is told about an attempt.

    Attributes
    ----------
    ear : str
        One of `EARS`.
    start_s, end_s : float or None
        The part of the file that holds the attempt.
    count_in : int or None
        Clicks before it.
    click : bool
        Whether a metronome sounds through it.
    """

    ear: str = "intermediate"
    start_s: float | None = None
    end_s: float | None = None
    count_in: int | None = None
    click: bool = False

    def __post_init__(self) -> None:
        if self.ear not in EARS:
            raise UsageError(f"ear is '{self.ear}'; give one of {', '.join(EARS)}")


@dataclass(frozen=True)
class Checked:
    """An attempt's answer.

    Attributes
    ----------
    report : CheckReport
    document : dict
        As it is written to ``ATTEMPT.check.json``.
    file : bytes
    text : str
    problems : tuple of Problem
        Of the recording, and of corrections that no longer fit the draft.
    """

    report: CheckReport
    document: dict[str, Any]
    file: bytes
    text: str
    problems: tuple[Problem, ...]


def checked_attempt(
    attempt: Path,
    draft: Path,
    target: Path,
    settings: AttemptSettings | None = None,
    progress: Callable[[str], None] = lambda _words: None,
) -> Checked:
    """Hold a recorded attempt against a draft, its journal applied.

    Parameters
    ----------
    attempt : Path
        The recording.
    draft : Path
        ``NAME.draft.json``.
    target : Path
        Where the answer is to stand; earlier answers beside it are compared. Nothing is written here.
    settings : AttemptSettings, optional
    progress : callable, optional

    Raises
    ------
    DraftError
        If the draft cannot be read.
    AudioError
        If the recording cannot be read.
    NoNotesError
        If no notes are heard in it, or the draft has none.
    """
    from transcriber.audio import read_take
    from transcriber.draft import read_corrected
    from transcriber.listening import hear_clicks, listen
    from transcriber.practice import TOLERANCES, Attempt, check_attempt
    from transcriber.practice.progress import earlier_attempts
    from transcriber.practice.words import check_bytes, check_document, check_text

    told = settings or AttemptSettings()
    corrected = read_corrected(draft)
    reference = corrected.draft
    if not reference.notes:
        raise NoNotesError(f"'{draft}' has no notes to hold an attempt against")
    progress("reading the attempt")
    take = read_take(attempt, told.start_s, told.end_s)
    progress("listening")
    heard = hear_clicks(take, listen(take, reference.instrument.fretted), told.count_in, told.click)
    if not heard.notes:
        raise NoNotesError(
            f"no notes were found in '{attempt}' from {take.start_s:.1f} to {take.end_s:.1f} s; "
            "give a recording in which single guitar notes can be heard"
        )
    progress("holding it against the line")
    sound = Attempt(heard, take.samples, take.sample_rate_hz, take.start_s)
    report = check_attempt(reference, sound, TOLERANCES[told.ear])
    earlier = earlier_attempts(target.parent, reference.source.sha256, target)
    source = (reference.source.file, reference.source.sha256)
    document = check_document(report, (take.file, take.sha256), source, earlier)
    problems = (*corrected.problems, *take.problems, *heard.problems)
    return Checked(report, document, check_bytes(document), check_text(reference, report, earlier), problems)
