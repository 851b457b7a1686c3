"""What a draft is written as: the document itself and other formats, a person's corrections applied."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from transcriber.drafting import retimed_draft
from transcriber.files import DRAFT_SUFFIX
from transcriber.settings import ExportSettings

if TYPE_CHECKING:
    from transcriber.draft.corrections import Journal
    from transcriber.draft.document import Draft
    from transcriber.export.feel import Feel
    from transcriber.export.formats import Format
    from transcriber.records.problem import Problem
    from transcriber.records.told import Told

# Formats that are written beside it unless others are asked for.
USUAL_FORMATS = ("text", "midi")


@dataclass(frozen=True)
class DraftFiles:
    """What a draft is written as.

    Attributes
    ----------
    files : dict of Path to bytes
        The machine's draft where it is written anew, then each format with a person's corrections applied.
    corrected : Draft
        The draft with the corrections applied.
    problems : tuple of Problem
        Corrections that no longer fit.
    feel : tuple of (Feel, str)
        How far ahead of the beat or behind it each phrase sits, and that in words.
    """

    files: dict[Path, bytes]
    corrected: Draft
    problems: tuple[Problem, ...]
    feel: tuple[tuple[Feel, str], ...] = ()


def draft_files(
    draft: Draft,
    folder: Path,
    name: str,
    settings: ExportSettings | None = None,
    formats: Sequence[str] = USUAL_FORMATS,
) -> DraftFiles:
    """Make what a draft is written as: the document, and the formats asked for.

    A journal of corrections that is there already is kept, and what still fits is applied.

    Parameters
    ----------
    draft : Draft
    folder : Path
        Where the files are to stand; nothing is written here.
    name : str
        What their names begin with.
    settings : ExportSettings, optional
    formats : sequence of str
        Names of formats, see `export_formats`.

    Returns
    -------
    DraftFiles

    Raises
    ------
    UsageError
        If there is no such format, or it needs a library that is not installed.
    DraftError
        If the journal that is there is damaged, or a format cannot hold the draft.
    """
    from transcriber.draft import journal_path, read_journal

    journal = read_journal(journal_path(folder / f"{name}{DRAFT_SUFFIX}"))
    return _drafted_files(draft, journal, folder, name, settings, formats)


def retimed_files(
    draft: Path,
    told: Told,
    folder: Path,
    name: str,
    formats: Sequence[str],
    settings: ExportSettings | None = None,
) -> DraftFiles:
    """Write the rhythm of a draft anew without listening again, and make what it is written as.

    Parameters
    ----------
    draft : Path
        ``NAME.draft.json``; its journal of corrections is kept and applied.
    told : Told
        What is to be different.
    folder, name, formats, settings
        As in `draft_files`.

    Returns
    -------
    DraftFiles
        Its problems tell which corrections of rhythm were made for the rhythm before.

    Raises
    ------
    UsageError, DraftError
        As `draft_files`; also if the draft cannot be read.
    """
    from transcriber.draft import journal_path, read_draft, read_journal
    from transcriber.draft.retime import misfits, rhythm_corrections

    anew = retimed_draft(read_draft(draft), told)
    journal = read_journal(journal_path(draft))
    made = _drafted_files(anew, journal, folder, name, settings, formats)
    return replace(made, problems=(*made.problems, *misfits(rhythm_corrections(anew, journal))))


def exported_files(
    draft: Path, folder: Path, name: str, formats: Sequence[str], settings: ExportSettings | None = None
) -> DraftFiles:
    """Make other formats of a draft that is there, its journal of corrections applied.

    Parameters
    ----------
    draft : Path
        ``NAME.draft.json``.
    folder, name, settings, formats
        As in `draft_files`.

    Returns
    -------
    DraftFiles
        Without the document itself.

    Raises
    ------
    UsageError, DraftError
        As `draft_files`; also if the draft cannot be read.
    """
    from transcriber.draft import read_corrected
    from transcriber.explain import explained

    read = read_corrected(draft)
    corrected = explained(read.draft)
    files = _formatted(corrected, folder, name, settings, formats)
    return DraftFiles(files, corrected, read.problems)


def _drafted_files(
    draft: Draft,
    journal: Journal,
    folder: Path,
    name: str,
    settings: ExportSettings | None,
    formats: Sequence[str],
) -> DraftFiles:
    """Make the document of a draft as it is, and the formats with what fits of a journal applied."""
    from transcriber.draft import apply_journal, draft_bytes
    from transcriber.explain import explained

    corrected, problems = apply_journal(draft, journal)
    if corrected != draft:
        corrected = explained(corrected)
    document = folder / f"{name}{DRAFT_SUFFIX}"
    files = {document: draft_bytes(draft, document.name)}
    files |= _formatted(corrected, folder, name, settings, formats)
    return DraftFiles(files, corrected, tuple(problems), _feel(corrected))


def _feel(draft: Draft) -> tuple[tuple[Feel, str], ...]:
    from transcriber.export.feel import feel_of, feel_words

    return tuple((feel, feel_words(feel)) for feel in feel_of(draft))


def _formatted(
    draft: Draft, folder: Path, name: str, settings: ExportSettings | None, formats: Sequence[str]
) -> dict[Path, bytes]:
    chosen = settings or ExportSettings()
    return {
        folder / f"{name}{suffix}": data
        for row in export_formats(formats)
        for suffix, data in row.write(draft, chosen).items()
    }


def export_formats(names: Sequence[str] | None = None) -> tuple[Format, ...]:
    """Give the formats of these names, or all there are.

    Raises
    ------
    UsageError
        If there is no format of a name.
    """
    from transcriber.export.formats import FORMATS, formats_named

    return FORMATS if names is None else formats_named(names)


def result_paths(folder: Path, name: str, formats: Sequence[str] = USUAL_FORMATS) -> tuple[Path, ...]:
    """Paths of the draft document of a take called `name`, and of each format that is a single file."""
    return (folder / f"{name}{DRAFT_SUFFIX}", *format_paths(folder, name, formats))


def format_paths(folder: Path, name: str, formats: Sequence[str]) -> tuple[Path, ...]:
    """Paths of the formats that are a single file."""
    return tuple(folder / f"{name}{row.suffix}" for row in export_formats(formats) if row.single)


def left_behind(folder: Path, name: str, formats: Sequence[str], written: Iterable[Path]) -> tuple[Path, ...]:
    """Paths of pages and pictures that an earlier export of a draft left, which `written` has no more."""
    from transcriber.export.formats import left_behind as left_by

    names = [path.name for path in written if path.parent == folder]
    there = [path.name for path in folder.iterdir()]
    rows = export_formats(formats)
    return tuple(folder / each for row in rows for each in left_by(row, name, names, there))
