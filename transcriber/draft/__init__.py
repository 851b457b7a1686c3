"""The draft document, checked both ways, and the journal of a person's corrections beside it.

`read_corrected` is what readers use: the machine's draft with the journal applied.
"""

from transcriber.draft.apply import apply_journal
from transcriber.draft.assemble import AssembleSettings, assemble_draft
from transcriber.draft.corrections import ACTIONS, Correction, Journal, JournalEntry, NoteMark
from transcriber.draft.document import FORMAT_VERSION, Draft, DraftInstrument, Issue, MadeBy, Source
from transcriber.draft.files import draft_bytes, parse_draft, read_draft, write_draft
from transcriber.draft.journal import (
    JOURNAL_SUFFIX,
    Corrected,
    append_correction,
    journal_path,
    read_corrected,
    read_journal,
)
from transcriber.draft.line_parts import Chord, Key, NotePlace, Phrase, PhraseAlternative, Shape
from transcriber.draft.note import CONFIDENCE_ASPECTS, Alternative, Confidence, Contour, DraftNote
from transcriber.draft.schema import draft_schema
from transcriber.draft.timing import Timing
from transcriber.files import DRAFT_SUFFIX

__all__ = [
    "ACTIONS",
    "CONFIDENCE_ASPECTS",
    "DRAFT_SUFFIX",
    "FORMAT_VERSION",
    "JOURNAL_SUFFIX",
    "Alternative",
    "AssembleSettings",
    "Chord",
    "Confidence",
    "Contour",
    "Corrected",
    "Correction",
    "Draft",
    "DraftInstrument",
    "DraftNote",
    "Issue",
    "Journal",
    "JournalEntry",
    "Key",
    "MadeBy",
    "NoteMark",
    "NotePlace",
    "Phrase",
    "PhraseAlternative",
    "Shape",
    "Source",
    "Timing",
    "append_correction",
    "apply_journal",
    "assemble_draft",
    "draft_bytes",
    "draft_schema",
    "journal_path",
    "parse_draft",
    "read_corrected",
    "read_draft",
    "read_journal",
    "write_draft",
]
