"""A student's attempt on the desk: its answer in words, its pitch over the line's, and its sound."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from transcriber.attempts import answer_words, attempt_traces, read_earlier_answer
from transcriber.draft import Draft, DraftNote
from transcriber.errors import UsageError
from transcriber.review.sounds import FloatArray, limited
from transcriber.rework import compressed_bytes, open_take, wav_bytes

if TYPE_CHECKING:
    from transcriber.records.recording import WholeRecording


class AttemptShown:
    """One answered attempt, to be shown over the draft that it was held against.

    Parameters
    ----------
    path : Path
        ``ATTEMPT.check.json``; the recording is looked for beside it.
    draft : Draft

    Raises
    ------
    DraftError, UsageError
        If the answer cannot be read, or is about another line.
    AudioError
        If the recording cannot be read or is another one.
    """

    def __init__(self, path: Path, draft: Draft) -> None:
        self._answer = read_earlier_answer(path, draft)
        found = self._answer.recording
        self._recording: WholeRecording | None = None
        if found is not None:
            self._recording = open_take(found, self._answer.sha256)
        self._sound: bytes | None = None

    @property
    def has_sound(self) -> bool:
        """Whether its recording was found."""
        return self._recording is not None

    def words(self, draft: Draft) -> dict[str, Any]:
        """Tell the answer for a draft as it is corrected now."""
        return {**answer_words(draft, self._answer), "has_sound": self.has_sound}

    def laid_over(self, draft: Draft) -> dict[str, Any]:
        """Give the pitch of line and attempt on the line's time.

        Returns
        -------
        dict
            `line` and `attempt`, each a list of traces with `times_s` and `midi`.
        """
        return {
            "line": [_trace(note) for note in draft.notes],
            "attempt": attempt_traces(draft, self._answer),
        }

    def sound(self) -> bytes:
        """Return the attempt as WAV, from the beginning of its file."""
        if self._sound is None:
            self._sound = wav_bytes(*self._whole())
        return self._sound

    def compressed(self) -> tuple[bytes, str]:
        """Return the attempt small, and its media type."""
        return compressed_bytes(*self._whole())

    def _whole(self) -> tuple[FloatArray, int]:
        if self._recording is None:
            raise UsageError(f"'{self._answer.name}' was not found beside its answer")
        rate_hz = self._recording.sample_rate_hz
        return limited(self._recording.part(0.0, len(self._recording.samples) / rate_hz)), rate_hz


def _trace(note: DraftNote) -> dict[str, Any]:
    """The pitch of a note as the take has it; as written where it was not measured."""
    if note.pitch_midi is None:
        return {"id": note.id, "times_s": [], "midi": []}
    if not any(cents is not None for cents in note.contour.cents):
        return {
            "id": note.id,
            "times_s": [note.onset_s, note.end_s],
            "midi": [note.pitch_midi, note.pitch_midi],
        }
    return {
        "id": note.id,
        "times_s": list(note.contour.times_s),
        "midi": [
            None if cents is None else round(note.pitch_midi + cents / 100.0, 2)
            for cents in note.contour.cents
        ],
    }
