"""What practice asks of the stages: loops of a draft's phrases, and a practice plan.

Like `drafting` this calls stages; it starts from a draft and the sound of it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import lru_cache, partial
from pathlib import Path
from typing import TYPE_CHECKING

from transcriber.errors import AudioError, NoNotesError, UsageError
from transcriber.stages import Progress

if TYPE_CHECKING:
    from transcriber.draft import Draft
    from transcriber.files import Content
    from transcriber.practice.loops import Backing, Sound, Span
    from transcriber.records.problem import Problem
    from transcriber.records.recording import WholeRecording

SPEED_BOUNDS = (25, 150)
USUAL_SPEEDS = (50, 70, 85, 100)
PLAN_SUFFIX = ".practice.txt"
_CHORD_LOWEST_MIDI = 48


@dataclass(frozen=True)
class LoopOptions:
    """How loops are made.

    Attributes
    ----------
    take : Path or None
        The recording; None takes the one beside the draft.
    speeds : tuple of int
        Percent of the take's tempo, 25 to 150.
    click : bool
    chords : bool
        Whether the draft's chords sound under it.
    phrase : int or None
        Only this phrase, from 1; None for all.
    """

    take: Path | None = None
    speeds: tuple[int, ...] = USUAL_SPEEDS
    click: bool = True
    chords: bool = False
    phrase: int | None = None

    def __post_init__(self) -> None:
        low, high = SPEED_BOUNDS
        for speed in self.speeds:
            if not low <= speed <= high:
                raise UsageError(
                    f"speed {speed} % is out of {low} to {high}; give speeds such as 50,70,85,100"
                )
        if not self.speeds:
            raise UsageError("no speed was given; give speeds such as 50,70,85,100")


@dataclass(frozen=True)
class Made:
    """Files by path, loops made only when they are written, and what was left out."""

    files: dict[Path, Content]
    problems: tuple[Problem, ...]


def loop_files(
    draft: Path, folder: Path, name: str, options: LoopOptions, progress: Progress = lambda _words: None
) -> Made:
    """Make the loops of a draft, its journal applied, and a practice plan; nothing is written here.

    Raises
    ------
    DraftError
        If the draft cannot be read.
    AudioError
        If its recording cannot.
    UsageError
        If there is no such phrase, or no chords though they were asked for.
    NoNotesError
        If the draft has no notes.
    """
    from transcriber.draft import read_corrected
    from transcriber.explain import explained
    from transcriber.practice.plan import practice_plan

    read = read_corrected(draft)
    reference = explained(read.draft)
    spans = spans_of(reference, options.phrase)
    recording = take_of(reference, draft, options.take)
    files: dict[Path, Content] = {
        folder / f"{name}.{suffix}": data
        for suffix, data in loop_sounds(reference, spans, recording, options, progress)
    }
    speeds = [speed / 100 for speed in sorted(options.speeds)]
    files[folder / f"{name}{PLAN_SUFFIX}"] = practice_plan(reference, spans, speeds).encode("utf-8")
    return Made(files, read.problems)


def take_of(draft: Draft, path: Path, told: Path | None) -> WholeRecording:
    """Read the recording that a draft was made from.

    Raises
    ------
    AudioError
        If it is not there, cannot be read or is another one.
    """
    from transcriber.rework import open_take

    take = told or path.with_name(draft.source.file)
    if not take.is_file():
        raise AudioError(f"the recording '{take}' is not there; name it with --take FILE")
    return open_take(take, draft.source.sha256)


def spans_of(draft: Draft, phrase: int | None) -> tuple[Span, ...]:
    """Phrases laid on beats, all or one.

    Raises
    ------
    NoNotesError
        If the draft has no notes.
    UsageError
        If there is no such phrase.
    """
    from transcriber.practice.loops import loop_spans

    spans = loop_spans(draft)
    if not spans:
        raise NoNotesError("this draft has no notes: there is nothing to loop")
    if phrase is None:
        return spans
    chosen = tuple(span for span in spans if span.number == phrase)
    if not chosen:
        known = ", ".join(str(span.number) for span in spans)
        raise UsageError(f"there is no phrase {phrase} with notes; give one of {known}")
    return chosen


def loop_sounds(
    draft: Draft,
    spans: tuple[Span, ...],
    recording: WholeRecording,
    options: LoopOptions,
    progress: Progress,
) -> Iterator[tuple[str, Callable[[], bytes]]]:
    """Loop and count-in of every phrase and speed, by what follows NAME in the file's name.

    What makes each is given, not the sound itself: all loops of a long take would fill the memory.

    Raises
    ------
    UsageError
        At the first one, if chords were asked for and the draft has none.
    """
    import numpy as np

    from transcriber.practice.loops import LoopSettings, phrase_loop
    from transcriber.rework import wav_bytes

    backing = _backing(draft) if options.chords else ()
    rate_hz = recording.sample_rate_hz
    speeds = sorted(set(options.speeds))

    @lru_cache(maxsize=1)  # A loop and its count-in are written one after the other.
    def made(place: int, speed: int) -> tuple[Sound, Sound]:
        span = spans[place]
        if speed == speeds[0]:
            progress(f"loops of phrase {span.number}")
        settings = LoopSettings(speed / 100, options.click, backing)
        return phrase_loop(draft, span, recording.samples, rate_hz, settings)

    def loop(place: int, speed: int) -> bytes:
        return wav_bytes(made(place, speed)[0], rate_hz)

    def counted(place: int, speed: int) -> bytes:
        sound, lead = made(place, speed)
        return wav_bytes(np.concatenate([lead, sound]), rate_hz)

    for place, span in enumerate(spans):
        for speed in speeds:
            stem = f"phrase-{span.number:02d}.{speed:03d}"
            yield f"{stem}.loop.wav", partial(loop, place, speed)
            yield f"{stem}.counted.wav", partial(counted, place, speed)


def _backing(draft: Draft) -> tuple[Backing, ...]:
    """The draft's chords in close position around the middle of the guitar, the bass an octave below."""
    from transcriber.analysis import parse_chord
    from transcriber.practice.loops import Backing

    found = []
    for chord in draft.chords:
        try:
            symbol = parse_chord(chord.name)
        except UsageError:
            continue
        root = _CHORD_LOWEST_MIDI + (symbol.root_class - _CHORD_LOWEST_MIDI) % 12
        pitches = tuple(root + step for step in symbol.steps)
        if pitches:
            found.append(Backing(chord.start(draft.meter), chord.length, (root - 12, *pitches)))
    if not found:
        raise UsageError(
            "the draft has no chords to sound under the loops; give them when you draft: --chords 'Am | F'"
        )
    return tuple(found)
