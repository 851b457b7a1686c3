"""What a lesson asks of the stages: everything about one line, gathered in one folder.

Like `drafting` this calls stages; it starts from a draft.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from transcriber.errors import UsageError
from transcriber.loops import PLAN_SUFFIX, LoopOptions, Made, loop_sounds, spans_of, take_of
from transcriber.settings import ExportSettings
from transcriber.stages import Progress

if TYPE_CHECKING:
    from transcriber.draft import Draft
    from transcriber.files import Content
    from transcriber.practice.lesson import LoopLink, PhraseFiles
    from transcriber.practice.loops import Span

INDEX, LOOP_FOLDER = "index.html", "loops"
LESSON_FORMATS = {
    "sheet": "the sheet to print: notation and tab",
    "text": "text tab",
    "midi": "MIDI, as it was played",
    "musicxml": "for a notation program",
    "captions": "captions for a video of the take: phrase, bar and tab line (WebVTT)",
    "phrases": "which tab picture to show when over a video",
}
"""Formats of a lesson, and what its page says of them."""


@dataclass
class _Gathered:
    """A lesson as it grows: files by name within its folder, what the page says of them, what is left out."""

    name: str
    files: dict[str, Content] = field(default_factory=dict)
    told: list[tuple[str, str]] = field(default_factory=list)
    left_out: list[str] = field(default_factory=list)

    def add(self, suffix: str, data: bytes, about: str | None = None) -> str:
        """Add a file; without `about` the list on the page leaves it to its phrase."""
        file = f"{self.name}{suffix}"
        self.files[file] = data
        if about is not None:
            self.told.append((file, about))
        return file


def lesson_files(
    draft: Path,
    folder: Path,
    name: str,
    options: LoopOptions,
    settings: ExportSettings | None = None,
    progress: Progress = lambda _words: None,
) -> Made:
    """Gather a lesson: index page, sheet, tab, MIDI, MusicXML, pictures, loops, captions, chapters, plan.

    Loops are made when they are written. The last file lists the others, so that a later lesson knows them.

    What cannot be made for want of a library is left out, and the page says so; without the recording there
    are no loops.

    Parameters
    ----------
    draft : Path
        ``NAME.draft.json``; its corrections are applied.
    folder : Path
        Where it is to lie. Nothing is written here.
    name : str
        What the names of its files begin with.
    options : LoopOptions
    settings : ExportSettings, optional
    progress : callable, optional

    Raises
    ------
    DraftError
        If the draft cannot be read, or cannot be written in a format.
    AudioError
        If its recording is another one or cannot be read.
    NoNotesError
        If the draft has no notes.
    """
    from transcriber.draft import read_corrected
    from transcriber.explain import explained
    from transcriber.export.plain_words import title_of
    from transcriber.lesson_list import listed
    from transcriber.practice.lesson import Contents, index_page

    read = read_corrected(draft)
    reference = explained(read.draft)
    spans = spans_of(reference, None)
    lesson = _Gathered(name)
    # The recording comes first: one that cannot be read is told before anything is engraved.
    loops = _add_loops(lesson, reference, spans, take_path(reference, draft, options), options, progress)
    progress("writing the formats")
    _add_formats(lesson, reference, settings or ExportSettings())
    _add_texts(lesson, reference, spans, options)
    phrases = tuple(_add_phrases(lesson, reference, loops, settings or ExportSettings()))
    contents = Contents(title_of(reference), tuple(lesson.told), phrases, tuple(lesson.left_out))
    page = index_page(reference, contents).encode("utf-8")
    files = listed({INDEX: page, **lesson.files}, name)
    return Made({folder / file: content for file, content in files.items()}, read.problems)


def take_path(draft: Draft, path: Path, options: LoopOptions) -> Path | None:
    """Return where the recording is; None where it is not beside the draft and none was named."""
    beside = path.with_name(draft.source.file)
    return options.take or (beside if beside.is_file() else None)


def _add_formats(lesson: _Gathered, draft: Draft, settings: ExportSettings) -> None:
    from transcriber.export.formats import formats_named

    for row in formats_named(LESSON_FORMATS):
        try:
            row.check_installed()
        except UsageError as error:
            lesson.left_out.append(str(error))
            continue
        for suffix, data in row.write(draft, settings).items():
            lesson.add(suffix, data, None if suffix.endswith(".png") else LESSON_FORMATS[row.name])


def _add_texts(lesson: _Gathered, draft: Draft, spans: tuple[Span, ...], options: LoopOptions) -> None:
    from transcriber.practice.chapters import chapter_cues, chapter_list
    from transcriber.practice.plan import practice_plan

    speeds = [speed / 100 for speed in sorted(set(options.speeds))]
    lesson.add(".chapters.vtt", chapter_cues(draft).encode("utf-8"), "chapters of a video (WebVTT)")
    lesson.add(".chapters.txt", chapter_list(draft).encode("utf-8"), "chapter times to paste under it")
    plan = practice_plan(draft, spans, speeds)
    lesson.add(PLAN_SUFFIX, plan.encode("utf-8"), "practice plan")


def _add_loops(
    lesson: _Gathered,
    draft: Draft,
    spans: tuple[Span, ...],
    take: Path | None,
    options: LoopOptions,
    progress: Progress,
) -> dict[str, tuple[LoopLink, ...]]:
    """Add the loops, and say by the id of a phrase which are its own."""
    from transcriber.practice.lesson import LoopLink

    if take is None:
        lesson.left_out.append(
            f"loops, as the recording {draft.source.file} is not beside the draft (--take names it)"
        )
        return {}
    recording = take_of(draft, take, take)
    for suffix, data in loop_sounds(draft, spans, recording, options, progress):
        lesson.files[_loop_file(lesson, suffix)] = data
    return {
        span.phrase.id: tuple(
            LoopLink(
                speed,
                _loop_file(lesson, f"phrase-{span.number:02d}.{speed:03d}.loop.wav"),
                _loop_file(lesson, f"phrase-{span.number:02d}.{speed:03d}.counted.wav"),
            )
            for speed in sorted(set(options.speeds))
        )
        for span in spans
    }


def _loop_file(lesson: _Gathered, suffix: str) -> str:
    return f"{LOOP_FOLDER}/{lesson.name}.{suffix}"


def _add_phrases(
    lesson: _Gathered, draft: Draft, loops: dict[str, tuple[LoopLink, ...]], settings: ExportSettings
) -> Iterator[PhraseFiles]:
    """Add a picture of the neck for each phrase, and say which files are its own."""
    from transcriber.export.neck_picture import PictureSettings, phrase_neck_svg
    from transcriber.practice.chapters import phrase_name, phrases_of
    from transcriber.practice.lesson import PhraseFiles

    marks = PictureSettings(settings.marks, settings.hand)
    for number, phrase in enumerate(phrases_of(draft), start=1):
        picture = phrase_neck_svg(draft, phrase, phrase_name(phrase, number), marks)
        neck = lesson.add(f".phrase-{number:02d}.neck.svg", picture.encode("utf-8"))
        tab = f"{lesson.name}.phrase-{number:02d}.png"
        yield PhraseFiles(neck, tab if tab in lesson.files else None, loops.get(phrase.id, ()))
