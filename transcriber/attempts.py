"""What checking an attempt asks of the stages: the recording heard, and held against a draft.

Like `drafting` this calls stages; it starts from a draft and the sound of it.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from transcriber.errors import NoNotesError, UsageError
from transcriber.stages import Progress

if TYPE_CHECKING:
    from transcriber.draft import Draft
    from transcriber.practice import CheckReport
    from transcriber.practice.report import PlayedPitch
    from transcriber.records.problem import Problem

CHECK_SUFFIX = ".check.json"
_TOGETHER, _MOST_TIMES = ("chord", "two_notes"), 6
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
    progress: Progress = lambda _words: None,
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
    from transcriber.practice.overlay import played_pitches
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
    pitches = played_pitches(heard.notes)
    document = check_document(report, (take.file, take.sha256), source, earlier, pitches)
    problems = (*corrected.problems, *take.problems, *_of_an_attempt(heard.problems))
    return Checked(report, document, check_bytes(document), check_text(reference, report, earlier), problems)


def _of_an_attempt(problems: tuple[Problem, ...]) -> tuple[Problem, ...]:
    """Tell what listening noticed in an attempt, where nothing is to be written by hand."""
    from transcriber.records.problem import Problem

    together = [each for each in problems if each.code in _TOGETHER and each.start_s is not None]
    kept = tuple(each for each in problems if each not in together)
    if not together:
        return kept
    times = [f"{each.start_s:.1f}" for each in together[:_MOST_TIMES]]
    more = ", ..." if len(together) > _MOST_TIMES else ""
    where = f"{', '.join(times)}{more} s"
    words = f"several strings sound together at {where}; only the line's own notes are judged"
    return (*kept, Problem("strings_together", words, together[0].start_s, together[-1].end_s))


@dataclass(frozen=True)
class Answer:
    """An answer that was written earlier, ready to be shown over its line.

    Attributes
    ----------
    report : CheckReport
    recording : Path or None
        The attempt's recording, where it lies beside the answer.
    sha256 : str
        Digest of the attempt's recording.
    name : str
        Of its file.
    pitches : tuple of PlayedPitch
        As heard when it was checked; empty where the answer does not hold them.
    """

    report: CheckReport
    recording: Path | None
    sha256: str
    name: str
    pitches: tuple[PlayedPitch, ...] = ()


def read_earlier_answer(path: Path, draft: Draft) -> Answer:
    """Read ``ATTEMPT.check.json`` and find its recording.

    Raises
    ------
    DraftError
        If it cannot be read or is no answer.
    UsageError
        If it is about another line.
    """
    from transcriber.practice.answer_file import read_answer, read_pitches

    report, document = read_answer(path)
    if document["reference"]["sha256"] != draft.source.sha256:
        raise UsageError(
            f"'{path}' answers an attempt at '{document['reference']['file']}', while the draft is of "
            f"'{draft.source.file}'; give the draft that it was checked against"
        )
    attempt = document["attempt"]
    beside = path.parent / Path(attempt["file"]).name
    recording = beside if beside.is_file() else None
    return Answer(report, recording, attempt["sha256"], attempt["file"], read_pitches(document))


def answer_words(draft: Draft, answer: Answer) -> dict[str, Any]:
    """Tell an answer for a page: plain JSON values.

    Returns
    -------
    dict
        `summary` and `caution` in sentences; `work_on`, at most three, with bar, notes, `happened` and
        `try_this`; `notes` by id with `verdict`, `words` (empty where a note before says it for a whole
        passage) and `short`, where there is something to say;
        `extra` with the time of the line, pitch and words; `knots`, pairs of a time of the attempt and one of
        the line.
    """
    from transcriber.practice.advice import CAUTION
    from transcriber.practice.overlay import knots_of
    from transcriber.practice.words import head_lines, short_words, words_of_extras, words_of_notes

    report = answer.report
    knots = knots_of(draft, report)
    words = words_of_notes(draft, report)
    extras = zip(report.extra, words_of_extras(draft, report), strict=True)
    return {
        "name": answer.name,
        "summary": head_lines(report),
        "caution": CAUTION,
        "work_on": [
            {"bar": one.bar, "notes": list(one.notes), "happened": one.happened, "try_this": one.try_this}
            for one in report.advice
        ],
        "phrases": [
            {"id": one.id, "name": one.name, "tempo_bpm": one.tempo_bpm, "verdict": one.verdict}
            for one in report.phrases
        ],
        "notes": {
            note.id: {
                "verdict": note.verdict,
                "words": words.get(note.id, ""),
                "short": short_words(note),
                "line_s": None
                if knots is None or note.attempt_onset_s is None
                else knots.to_line(note.attempt_onset_s),
                "played_midi": None if note.played_midi is None else note.played_midi - report.transposed,
            }
            for note in report.notes
            if note.id in words or note.verdict == "missed"
        },
        "extra": [
            {
                "line_s": None if knots is None else knots.to_line(extra.onset_s),
                "midi": extra.pitch_midi - report.transposed,
                "after": extra.after,
                "words": told,
            }
            for extra, told in extras
        ],
        "knots": [] if knots is None else [list(pair) for pair in knots.pairs()],
        "ratio": None if knots is None else knots.ratio,
        "tempo_bpm": report.tempo_bpm,
        "has_pitch": bool(answer.pitches),
    }


def attempt_traces(draft: Draft, answer: Answer) -> list[dict[str, Any]]:
    """Lay an attempt's pitch over the line: `times_s` of the line and `midi`, note by note."""
    from transcriber.practice.overlay import knots_of, traces_of

    knots = knots_of(draft, answer.report)
    if knots is None:
        return []
    traces = traces_of(draft, answer.report, answer.pitches, knots)
    return [{"times_s": list(one.times_s), "midi": list(one.midi)} for one in traces]
