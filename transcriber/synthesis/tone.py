"""The sound of the guitar and what it is played through."""

from __future__ import annotations

from dataclasses import dataclass

from transcriber.errors import UsageError

_BOUNDS: dict[str, tuple[float, float]] = {
    "pick_position": (0.03, 0.45),
    "pickup_position": (0.03, 0.45),
    "brightness": (0.0, 1.0),
    "drive": (0.0, 1.0),
    "sustain": (0.3, 3.0),
    "pick_noise_db": (-120.0, 0.0),
    "hum_db": (-120.0, -20.0),
    "hum_hz": (40.0, 70.0),
    "noise_db": (-120.0, -20.0),
    "detune_cents": (-100.0, 100.0),
    "room": (0.0, 1.0),
    "peak_db": (-40.0, -1.0),
}


@dataclass(frozen=True)
class Tone:
    """Settings of the sound.

    Attributes
    ----------
    pick_position, pickup_position : float
        Distance from the bridge as a share of the open string's length.
    brightness : float
        0 (dull) to 1 (bright): hardness of the pick and the pickup's resonance.
    drive : float
        0 (clean) to 1 (distorted).
    sustain : float
        Factor on how long the strings ring.
    pick_noise_db : float
        Level of the pick's scrape against the note it begins, dB.
    hum_db, noise_db : float
        Levels of mains hum and hiss, dB below full scale; -120 is none.
    hum_hz : float
        Frequency of the mains.
    detune_cents : float
        The whole guitar against 440 Hz.
    room : float
        0 (direct) to 1: level of a few early reflections.
    peak_db : float
        Highest peak of the take, dB below full scale; never above -1.

    Raises
    ------
    UsageError
        If a value is outside its bounds.
    """

    pick_position: float = 0.17
    pickup_position: float = 0.13
    brightness: float = 0.5
    drive: float = 0.0
    sustain: float = 1.0
    pick_noise_db: float = -27.0
    hum_db: float = -84.0
    hum_hz: float = 50.0
    noise_db: float = -80.0
    detune_cents: float = 0.0
    room: float = 0.0
    peak_db: float = -4.0

    def __post_init__(self) -> None:
        for name, (low, high) in _BOUNDS.items():
            value = getattr(self, name)
            if not low <= value <= high:
                raise UsageError(f"tone: {name} is {value}; give {low:g} to {high:g}")

    @property
    def reference_hz(self) -> float:
        """Frequency of MIDI 69 on this guitar."""
        return float(440.0 * 2.0 ** (self.detune_cents / 1200.0))
