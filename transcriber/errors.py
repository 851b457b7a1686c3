"""Errors that end a run, each with its exit code. `cli` alone turns them into messages.

Exit codes: 0 ok, 1 failed, 2 usage (a value out of its bounds), 3 unreadable audio, 4 no notes found,
130 interrupted.
"""

from __future__ import annotations


class TranscriberError(Exception):
    """A run cannot go on. The message is one line: the value, the bound and what to do."""

    exit_code = 1


class UsageError(TranscriberError):
    """An option or argument is out of its bounds."""

    exit_code = 2


class AudioError(TranscriberError):
    """The recording cannot be read, or holds nothing that could be listened to."""

    exit_code = 3


class NoNotesError(TranscriberError):
    """The recording was read, but no single-note line was found in it."""

    exit_code = 4


class ModelError(TranscriberError):
    """A file of `models/` is missing, damaged or of another format version."""


class DraftError(TranscriberError):
    """A draft document or its journal is damaged, newer than this program, or held by another writer."""
