"""Opening a sound file and decoding it in blocks, with errors that a person can act on."""

from __future__ import annotations

import hashlib
import os
import struct
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import soundfile

from transcriber.audio.limits import HIGHEST_RATE_HZ, LOWEST_RATE_HZ, MOST_CHANNELS, READ_BLOCK_S
from transcriber.errors import AudioError

READABLE = "WAV, FLAC, OGG, MP3, Opus or AIFF"
# Bits of a sample by soundfile's subtype; anything else decodes to float.
SAMPLE_BITS = {"PCM_U8": 8, "PCM_S8": 8, "PCM_16": 16, "PCM_24": 24, "PCM_32": 32}
# Formats whose frames can be sought exactly; the compressed ones are decoded from the start instead.
_EXACT_SEEK = {"WAV", "WAVEX", "RF64", "W64", "AIFF", "FLAC", "AU", "CAF"}
# Sizes that programs write when they stream a WAV and cannot know its length.
_UNKNOWN_SIZES = {0, 0xFFFFFFFF, 0x7FFFFFFF, 0x7FFFF000}
_MOST_FRAMES = 2**40
# Decoded at once: what a damaged FLAC frame takes with it is lost, so not a whole block.
_DECODE_FRAMES = 4096


class _ForwardFile(soundfile.SoundFile):  # type: ignore[misc]
    """A sound file read from front to back.

    soundfile seeks to where it already is after each read, and libsndfile's MP3 decoder does not land on
    the same sample: read in blocks, the sound is torn at each. A file that cannot seek is not sought.
    """

    def seekable(self) -> bool:
        return False


@dataclass(frozen=True)
class Source:
    """A sound file that was opened once and found readable.

    Attributes
    ----------
    path : Path
    sha256 : str
    sample_rate_hz, channels, frames : int
        As the file's header says; `frames` is what can really be read.
    promised_frames : int
        What the header promised; more than `frames` if the file was cut short.
    sample_bits : int or None
        None for float and compressed sound.
    float_samples : bool
        Whether samples were stored as floats, which may rightly exceed full scale.
    exact_seek : bool
        Whether frames can be sought exactly.
    """

    path: Path
    sha256: str
    sample_rate_hz: int
    channels: int
    frames: int
    promised_frames: int
    sample_bits: int | None
    float_samples: bool
    exact_seek: bool

    @property
    def duration_s(self) -> float:
        """Length of what can be read, in seconds."""
        return self.frames / self.sample_rate_hz


def open_source(path: str | Path) -> Source:
    """Check that a file is sound within the bounds of this program.

    Raises
    ------
    AudioError
        If it is missing, no file, empty, not sound, or outside the bounds of rate and channels.
    """
    path = Path(path)
    sha256 = _digest(path)
    with _decoder(path) as file:
        _check_bounds(path, file)
        frames = int(file.frames)
        if not 0 < frames < _MOST_FRAMES:
            frames = sum(len(block) for block in _blocks_of(file, path))
        if not frames:
            raise AudioError(f"'{path}' holds no sound that can be decoded; export or copy it again")
        return Source(
            path=path,
            sha256=sha256,
            sample_rate_hz=int(file.samplerate),
            channels=int(file.channels),
            frames=frames,
            promised_frames=max(frames, _promised_frames(path)),
            sample_bits=SAMPLE_BITS.get(file.subtype),
            float_samples=file.subtype in {"FLOAT", "DOUBLE"},
            exact_seek=file.format in _EXACT_SEEK,
        )


def read_blocks(source: Source, start: int, stop: int) -> Iterator[npt.NDArray[np.float32]]:
    """Decode frames `start` to `stop` in blocks of about a second.

    Yields
    ------
    ndarray of float32, shape (n, channels)
        Full scale at 1.0. Ends early, without an error, where a damaged file ends early.

    Raises
    ------
    AudioError
        If the file cannot be decoded from the first block on.
    """
    with _decoder(source.path) as file:
        position = 0
        if source.exact_seek and start:
            file.seek(start)
            position = start
        for block in _blocks_of(file, source.path):
            first, position = position, position + len(block)
            wanted = block[max(0, start - first) : max(0, stop - first)]
            if len(wanted):
                yield wanted
            if position >= stop:
                return


def _digest(path: Path) -> str:
    digest = hashlib.sha256()
    try:
        if path.is_dir():
            raise AudioError(f"'{path}' is a folder; give a recording ({READABLE})")
        if path.exists() and not path.is_file():
            raise AudioError(f"'{path}' is not a regular file; give a recording ({READABLE})")
        with path.open("rb") as file:
            if not path.stat().st_size:
                raise AudioError(f"'{path}' is empty (0 bytes); record or copy it again")
            while chunk := file.read(1 << 20):
                digest.update(chunk)
    except FileNotFoundError:
        raise AudioError(f"'{path}' does not exist; check the name and folder") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise AudioError(f"'{path}' cannot be read: {reason}") from None
    return digest.hexdigest()


def _decoder(path: Path) -> Any:
    try:
        with _quiet_decoder():
            return _ForwardFile(_system_name(path))
    except (soundfile.SoundFileError, TypeError, ValueError, OSError):
        raise AudioError(
            f"'{path}' is damaged or not sound that can be read; convert it to {READABLE}"
        ) from None


def _system_name(path: Path) -> str | bytes:
    """Name as soundfile takes it; one that is not valid text goes as bytes."""
    name = str(path)
    try:
        name.encode()
    except UnicodeEncodeError:
        return os.fsencode(name)
    return name


def _check_bounds(path: Path, file: Any) -> None:
    if not LOWEST_RATE_HZ <= file.samplerate <= HIGHEST_RATE_HZ:
        raise AudioError(
            f"'{path}' has a sample rate of {file.samplerate} Hz; "
            f"convert it to one from {LOWEST_RATE_HZ} to {HIGHEST_RATE_HZ} Hz, such as 44100"
        )
    if file.channels > MOST_CHANNELS:
        raise AudioError(
            f"'{path}' has {file.channels} channels, of at most {MOST_CHANNELS}; export the guitar alone"
        )


def _blocks_of(file: Any, path: Path) -> Iterator[npt.NDArray[np.float32]]:
    size = round(file.samplerate * READ_BLOCK_S)
    first, ended = True, False
    while not ended:
        pieces: list[npt.NDArray[np.float32]] = []
        wanted = size
        while wanted and not ended:
            try:
                with _quiet_decoder():
                    piece = file.read(min(wanted, _DECODE_FRAMES), dtype="float32", always_2d=True)
            except soundfile.SoundFileError:
                if first and not pieces:
                    raise AudioError(f"'{path}' is damaged and cannot be decoded; export it again") from None
                piece = np.empty((0, 1), dtype=np.float32)
            ended = not len(piece)
            wanted -= len(piece)
            if not ended:
                pieces.append(piece)
        first = False
        if pieces:
            yield np.concatenate(pieces)


@contextmanager
def _quiet_decoder() -> Iterator[None]:
    """Keep the MP3 decoder, a C library, from writing its own remarks to the terminal."""
    try:
        kept = os.dup(2)
    except OSError:
        yield
        return
    nothing = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nothing, 2)
        yield
    finally:
        os.dup2(kept, 2)
        os.close(nothing)
        os.close(kept)


def _promised_frames(path: Path) -> int:
    """Frames that the header of a WAV or AIFF promises; 0 for other files and where it makes no promise.

    libsndfile quietly shortens the sound to what the file holds, so the headers are read here. Both are
    chunks of a four-letter name and a 32-bit size: little-endian in RIFF WAVE (Microsoft and IBM, 1991),
    big-endian in AIFF (EA IFF 85).
    """
    with path.open("rb") as file:
        form, _, kind = struct.unpack("<4sI4s", file.read(12).ljust(12, b"\0"))
        if (form, kind) not in {(b"RIFF", b"WAVE"), (b"FORM", b"AIFF"), (b"FORM", b"AIFC")}:
            return 0
        order = "<" if form == b"RIFF" else ">"
        frame_bytes = 0
        while len(head := file.read(8)) == 8:
            name, size = struct.unpack(f"{order}4sI", head)
            if name == b"data":
                return size // frame_bytes if frame_bytes and size not in _UNKNOWN_SIZES else 0
            if name not in {b"fmt ", b"COMM"}:
                file.seek(size + size % 2, os.SEEK_CUR)
                continue
            body = file.read(size + size % 2)
            if name == b"COMM" and len(body) >= 6:
                return int(struct.unpack_from(">I", body, 2)[0])
            if name == b"fmt " and len(body) >= 16:
                frame_bytes = struct.unpack_from("<H", body, 12)[0]
    return 0
