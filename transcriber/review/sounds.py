"""What the page lets people hear: the take, the draft played as written, one in each ear, single readings."""

from __future__ import annotations

import threading
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from transcriber.draft import Draft
from transcriber.errors import UsageError
from transcriber.review.renderings import Check
from transcriber.rework import (
    SOUND_RATE_HZ,
    compressed_bytes,
    draft_sound,
    open_take,
    resampled,
    wav_bytes,
    with_clicks,
)

if TYPE_CHECKING:
    from transcriber.records.recording import WholeRecording

HIGHEST_PEAK = 10.0 ** (-1.0 / 20.0)
KINDS = ("take", "draft", "both")

FloatArray = npt.NDArray[np.float32]


class Sounds:
    """Sound for one draft; whole renderings are kept until the draft changes.

    Parameters
    ----------
    take_path : Path or None
    sha256 : str
        Digest of the recording that the draft was made from.

    Raises
    ------
    AudioError
        If the recording cannot be read or is another one.
    """

    def __init__(self, take_path: Path | None, sha256: str) -> None:
        self._recording = None if take_path is None else open_take(take_path, sha256)
        self._take: bytes | None = None
        self._made: dict[str, tuple[int, bytes]] = {}
        self._lock = threading.Lock()

    @property
    def has_take(self) -> bool:
        """Whether there is a recording to hear."""
        return self._recording is not None

    def recording(self) -> WholeRecording | None:
        """Return the recording, None if there is none."""
        return self._recording

    def whole(self, kind: str, draft: Draft, revision: int, check: Check | None = None) -> bytes:
        """Return the take, the draft or both as WAV, on the take's time.

        Parameters
        ----------
        kind : str
            One of `KINDS`.
        draft : Draft
        revision : int
            Of the draft: what was made for another is not given again.
        check : callable, optional
            Called now and then while sound is made; what it raises ends the work.

        Raises
        ------
        UsageError
            If there is no such sound.
        """
        if kind not in KINDS:
            raise UsageError(f"there is no sound '{kind}'; give one of {', '.join(KINDS)}")
        with self._lock:
            if kind == "take":
                if self._take is None:
                    self._take = self.take_wav(0.0, draft.source.duration_s)
                return self._take
            made = self._made.get(kind)
            if made is None or made[0] != revision:
                made = (revision, self._rendered(kind, draft, check))
                self._made[kind] = made
            return made[1]

    def take_wav(self, start_s: float, end_s: float) -> bytes:
        """Return a part of the take as WAV."""
        recording = self._needed()
        return wav_bytes(limited(recording.part(start_s, end_s)), recording.sample_rate_hz)

    def part_wav(self, draft: Draft, start_s: float, end_s: float) -> bytes:
        """Return a part of a draft played as written, as WAV."""
        return wav_bytes(limited(draft_sound(draft, start_s, end_s)), SOUND_RATE_HZ)

    def counted_wav(self, draft: Draft, start_s: float, end_s: float) -> bytes:
        """Return a part of the take (of the draft, where there is none) with its beats clicked, as WAV."""
        if self._recording is None:
            sound, rate_hz = draft_sound(draft, start_s, end_s), SOUND_RATE_HZ
        else:
            sound, rate_hz = self._recording.part(start_s, end_s), self._recording.sample_rate_hz
        return wav_bytes(limited(with_clicks(sound, rate_hz, draft, start_s)), rate_hz)

    def compressed(self, kind: str, draft: Draft) -> tuple[bytes, str]:
        """Return the take or the draft small, and its media type."""
        if kind == "take":
            recording = self._needed()
            sound, rate = recording.part(0.0, draft.source.duration_s), recording.sample_rate_hz
        else:
            sound, rate = draft_sound(draft), SOUND_RATE_HZ
        return compressed_bytes(limited(sound), rate)

    def _rendered(self, kind: str, draft: Draft, check: Check | None) -> bytes:
        sound = draft_sound(draft, between=check)
        if kind == "draft":
            return wav_bytes(limited(sound), SOUND_RATE_HZ)
        recording = self._needed()
        left = recording.part(0.0, draft.source.duration_s)
        right = resampled(sound, SOUND_RATE_HZ, recording.sample_rate_hz)
        pair = np.zeros((len(left), 2), dtype=np.float32)
        pair[:, 0] = left
        length = min(len(left), len(right))
        pair[:length, 1] = right[:length]
        return wav_bytes(limited(pair), recording.sample_rate_hz)

    def _needed(self) -> WholeRecording:
        if self._recording is None:
            raise UsageError("the recording was not found; start again with --take FILE")
        return self._recording


def limited(sound: FloatArray) -> FloatArray:
    """Turn sound down as far as its peak lies above -1 dB full scale."""
    peak = float(np.abs(sound).max()) if sound.size else 0.0
    return sound if peak <= HIGHEST_PEAK else (sound * np.float32(HIGHEST_PEAK / peak)).astype(np.float32)
