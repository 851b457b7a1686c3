"""The draft as text: JSON laid out so that people can read it and a comparison of two shows what moved.

A note takes a few lines grouped by what belongs together, its contour one. The same draft gives the same
bytes.
"""

from __future__ import annotations

import json
from typing import Any

from transcriber.draft.coding import encode
from transcriber.draft.document import Draft

NOTE_LINES: tuple[tuple[str, ...], ...] = (
    ("id", "onset_s", "end_s", "pitch_midi", "string", "fret", "finger"),
    ("bar", "beat", "length", "voice", "velocity"),
    ("techniques",),
    ("contour",),
    ("remark",),
    ("confidence",),
    ("alternatives",),
    ("meaning",),
)
_ONE_LINE = ("chords", "shapes", "issues")


def draft_text(draft: Draft) -> str:
    """Lay out a draft as JSON text with a newline at the end.

    Parameters
    ----------
    draft : Draft

    Returns
    -------
    str

    Raises
    ------
    ValueError
        If a value cannot be written as JSON; `transcriber.draft.files.draft_bytes` names it instead.
    """
    return document_text(encode(draft))


def document_text(document: dict[str, Any]) -> str:
    """Lay out an encoded draft; see `draft_text`."""
    parts = [f'  "{key}": {_part(key, value)}' for key, value in document.items()]
    return "{\n" + ",\n".join(parts) + "\n}\n"


def compact(value: Any) -> str:
    """Write JSON on one line, text as it is and no NaN."""
    return json.dumps(value, ensure_ascii=False, allow_nan=False)


def _part(key: str, value: Any) -> str:
    if key == "notes":
        return _array([_note(note) for note in value])
    if key == "phrases":
        return _array([_phrase(phrase) for phrase in value])
    if key in _ONE_LINE:
        return _array([f"    {compact(item)}" for item in value])
    return compact(value)


def _array(items: list[str]) -> str:
    return "[\n" + ",\n".join(items) + "\n  ]" if items else "[]"


def _phrase(phrase: dict[str, Any]) -> str:
    """Lay out a phrase, each of its other fingerings on two lines."""
    if not phrase["alternatives"]:
        return f"    {compact(phrase)}"
    alternatives = []
    for alternative in phrase["alternatives"]:
        rest = {name: part for name, part in alternative.items() if name != "notes"}
        notes = compact(alternative["notes"])
        alternatives.append(f'        {{{compact(rest)[1:-1]},\n         "notes": {notes}}}')
    facts = {name: part for name, part in phrase.items() if name != "alternatives"}
    listed = ",\n".join(alternatives)
    return f'    {{{compact(facts)[1:-1]},\n      "alternatives": [\n{listed}\n      ]}}'


def _note(note: dict[str, Any]) -> str:
    lines = (", ".join(f'"{key}": {compact(note[key])}' for key in keys) for keys in NOTE_LINES)
    return "    {\n      " + ",\n      ".join(lines) + "\n    }"
