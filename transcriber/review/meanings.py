"""What the notes of a corrected draft mean, said anew after every correction, and in words.

A correction of pitch, key or chords takes meanings away (`draft.apply`); the page looks at the line anew, as
every export does, so that degree, chord and shape are right at once.
"""

from __future__ import annotations

from dataclasses import replace

from transcriber.draft import Draft, DraftNote
from transcriber.explain import explained


class Meanings:
    """Explains a draft as it is corrected; notes that mean what they meant stay the very same records."""

    def __init__(self) -> None:
        self._last: tuple[Draft, Draft] | None = None

    def of(self, draft: Draft) -> Draft:
        """Return a corrected draft with what its line is made of.

        A draft whose key a person took away is left as it is: there is nothing to mean anything in.
        """
        if self._last is not None and self._last[0] == draft:
            return self._last[1]
        shown = draft
        if draft.key is not None:
            known = {} if self._last is None else {note.id: note for note in self._last[1].notes}
            made = explained(draft)
            shown = replace(made, notes=tuple(_same(known.get(note.id), note) for note in made.notes))
        self._last = (draft, shown)
        return shown


def _same(old: DraftNote | None, new: DraftNote) -> DraftNote:
    return old if old == new and old is not None else new


def meaning_words(draft: Draft, note: DraftNote) -> str | None:
    """Say what a note is in its key, over its chord and in its shapes; None where nothing is known."""
    meaning = note.meaning
    if meaning is None or draft.key is None:
        return None
    key = f"{_signs(draft.key.tonic)} {draft.key.mode}"
    told = [f"{_signs(meaning.name)}: {_signs(meaning.degree)} in {key}"]
    if not meaning.in_key:
        told[0] += ", outside the key"
    if meaning.fretted_degree is not None:
        told.append(f"bent from {_signs(meaning.fretted_degree)}")
    if meaning.chord is not None and meaning.chord_degree is not None:
        role = "" if meaning.role is None else f" ({meaning.role.replace('_', ' ')})"
        told.append(f"{_signs(meaning.chord_degree)} over {_signs(meaning.chord)}{role}")
    told += dict.fromkeys(_signs(shape.name) for shape in draft.shapes if note.id in shape.notes)
    return "; ".join(told)


def _signs(text: str) -> str:
    """Write sharps and flats of a name or degree by their signs; a letter b of a word stays."""
    head, space, rest = text.partition(" ")
    if head[:1] in "b#" and head[1:2].isdigit():
        head = ("♭" if head[0] == "b" else "♯") + head[1:]
    elif head[:1] in "ABCDEFG" and head[1:2] in ("b", "#"):
        head = head[0] + ("♭" if head[1] == "b" else "♯") + head[2:]
    return head + space + rest
