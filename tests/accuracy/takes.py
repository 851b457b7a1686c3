"""The takes that are judged: which lines, on which guitar, in which split; rendered once, kept in a cache."""

from __future__ import annotations

import hashlib
import io
import json
import tempfile
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import soundfile as sf

from tests.accuracy.compose import CONDITIONS, Composed, compose
from tests.accuracy.handwritten import handwritten
from tests.accuracy.note_bank import SAMPLE_RATE_HZ, STRAT_FIRST
from tests.accuracy.note_bank import SETS as RECORDED_SETS
from tests.accuracy.playing import play
from tests.accuracy.splice import detune_of, splice
from transcriber.files import write_whole
from transcriber.records.line import Performance
from transcriber.synthesis import STYLES, TONES, Tone, perform, render_performance, truth_document

SETS = (*RECORDED_SETS, "synth", STRAT_FIRST)
SPLITS: dict[str, tuple[str, ...]] = {"fit": ("green", "synth"), "report": ("strat", "emily", "synth")}
# Sets whose sound comes from the string that the line names.
STRINGS_TOLD = ("strat", "strat_first", "synth")
SPLIT_SEEDS = {"fit": 1000, "report": 2000}
ALL_CONDITIONS = (*CONDITIONS, "written")
SYNTH_TONES = ("clean", "warm", "bright", "edge")
SYNTH_STYLES = ("steady", "loose")
_CODE = ("compose.py", "decorate.py", "necks.py", "rhythms.py", "playing.py", "note_bank.py", "splice.py")
Document = dict[str, Any]


@dataclass(frozen=True)
class TakeSpec:
    """Which take: enough to make it again in another process."""

    split: str
    set_name: str
    condition: str
    index: int

    @property
    def strings_told(self) -> bool:
        """Whether the sound comes from the strings that the line names."""
        return self.set_name in STRINGS_TOLD

    @property
    def name(self) -> str:
        """Short name, such as ``strat/techniques/3``."""
        return f"{self.set_name}/{self.condition}/{self.index}"


@dataclass(frozen=True)
class JudgedTake:
    """A rendered take with its truth.

    Attributes
    ----------
    spec : TakeSpec
    composed : Composed
    truth : dict
        `transcriber.synthesis.truth_document`.
    sound : Path
        WAV file, mono, 16 bit, 44.1 kHz.
    """

    spec: TakeSpec
    composed: Composed
    truth: Document
    sound: Path

    @property
    def key(self) -> str:
        """Name and digest of the truth: tells whether a stored result still belongs to this take."""
        text = json.dumps(self.truth, sort_keys=True)
        return f"{self.spec.name}:{hashlib.sha256(text.encode()).hexdigest()[:12]}"


def specs(split: str, sets: tuple[str, ...], conditions: tuple[str, ...], lines: int) -> list[TakeSpec]:
    """List takes; hand-written lines are shared out: every second one to each split."""
    own = [number for number in range(len(handwritten())) if number % 2 == (split == "report")]
    listed = []
    for set_name in sets:
        for condition in conditions:
            numbers = own[:lines] if condition == "written" else range(lines)
            listed += [TakeSpec(split, set_name, condition, number) for number in numbers]
    return listed


def make_take(spec: TakeSpec) -> JudgedTake:
    """Compose, play and render a take, or find it in the cache."""
    composed = _composed(spec)
    effects = CONDITIONS[spec.condition].effects if spec.condition in CONDITIONS else ()
    seed = SPLIT_SEEDS[spec.split] + 100 * SETS.index(spec.set_name) + spec.index
    if spec.set_name == "synth":
        performance, tone = _synth_performance(composed, effects, seed)
        truth = truth_document(performance, tone.reference_hz)
    else:
        performance = play(composed.line, seed)
        truth = truth_document(performance, 440.0 * 2 ** (detune_of(performance, effects) / 12))
    sound = _cache_path(spec, truth, effects)
    if not sound.exists():
        if spec.set_name == "synth":
            samples = render_performance(performance, tone, seed)
        else:
            samples = splice(performance, spec.set_name, effects)
        _write_whole(sound, samples)
    return JudgedTake(spec, composed, truth, sound)


def _composed(spec: TakeSpec) -> Composed:
    if spec.condition == "written":
        return handwritten()[spec.index]
    return compose(spec.condition, spec.index, SPLIT_SEEDS[spec.split] + SETS.index(spec.set_name))


def _synth_performance(composed: Composed, effects: tuple[str, ...], seed: int) -> tuple[Performance, Tone]:
    """Sound and habits change from take to take."""
    tone = TONES["driven" if "drive" in effects else SYNTH_TONES[seed % len(SYNTH_TONES)]]
    if "noise" in effects:
        tone = replace(tone, noise_db=-42.0, hum_db=-50.0)
    if "detune" in effects:
        tone = replace(tone, detune_cents=35.0 if seed % 2 else -35.0)
    return perform(composed.line, STYLES[SYNTH_STYLES[seed // 4 % len(SYNTH_STYLES)]], seed), tone


def _cache_path(spec: TakeSpec, truth: Document, effects: tuple[str, ...]) -> Path:
    digest = hashlib.sha256(json.dumps([spec.name, spec.split, truth, effects], sort_keys=True).encode())
    here = Path(__file__).resolve().parent
    code = [here / name for name in _CODE]
    if spec.set_name == "synth":
        code = sorted((here.parents[1] / "transcriber" / "synthesis").glob("*.py"))
    for path in code:
        digest.update(path.read_bytes())
    folder = Path(tempfile.gettempdir()) / "transcriber_accuracy_takes"
    folder.mkdir(exist_ok=True)
    return folder / f"{spec.name.replace('/', '_')}_{digest.hexdigest()[:16]}.wav"


def _write_whole(path: Path, samples: np.ndarray) -> None:
    buffer = io.BytesIO()
    sf.write(buffer, samples, SAMPLE_RATE_HZ, format="WAV", subtype="PCM_16")
    write_whole(path, buffer.getvalue(), force=True)
