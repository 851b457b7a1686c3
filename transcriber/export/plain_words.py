"""Words that any file can hold: titles, names and remarks, whatever a person typed."""

from __future__ import annotations

from pathlib import PurePosixPath

from transcriber.draft.document import Draft

TITLE_IF_NONE = "Untitled take"


def one_line(words: str) -> str:
    r"""Words as one line: line breaks, control characters and what no file may hold become single spaces.

    Examples
    --------
    >>> one_line('say "so"\n\n & <so>')
    'say "so" & <so>'
    """
    plain = "".join(char if _allowed(char) else " " for char in words)
    return " ".join(plain.split())


def title_of(draft: Draft) -> str:
    """Title of a draft: the recording's name without its ending."""
    return one_line(PurePosixPath(draft.source.file).stem) or TITLE_IF_NONE


def _allowed(char: str) -> bool:
    """Whether a character is printable and may stand in XML 1.0; spaces of any kind are plain words too."""
    code = ord(char)
    return char.isprintable() and not (0xD800 <= code <= 0xDFFF) and code & 0xFFFE != 0xFFFE
