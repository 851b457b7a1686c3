"""Bends, vibrato, slurs and slides of a note against what the reference asks for."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from transcriber.practice.evidence import Attempt
from transcriber.practice.picks import PickScale, is_picked
from transcriber.practice.report import Remark, TechniqueReport
from transcriber.practice.tolerance import Tolerance
from transcriber.practice.wanted import Wanted
from transcriber.records.heard import HeardNote
from transcriber.records.technique import Technique

FloatArray = npt.NDArray[np.float64]

NO_BEND_CENTS, NEAR_TOP_CENTS = 45.0, 12.0
# Widest vibrato that counts as none, semitones peak to peak, and the least one asked for that is judged.
NO_VIBRATO, CLEAR_VIBRATO = 0.12, 0.25
LEAST_VIBRATO_S = 0.35
_PLATEAU_S = 0.04
_RISE_PAST_CENTS = 30.0
_SLIDE_FRAMES = 2
# Where the pitch is faint on the way, so many frames in a row that each lie near the one before.
_FAINT_FRAMES, _FAINT_STEP = 5, 0.6
_SWING_BINS, _SWING_HZ = 4096, (1.5, 10.0)


@dataclass(frozen=True)
class Sounded:
    """A note as found in the attempt.

    Attributes
    ----------
    heard : HeardNote
    onset_s, until_s : float
        Where it begins, and where the next note of the attempt does.
    pitch : int
        The fretted pitch wanted, the attempt's transposition added.
    before : float or None
        Pitch of the note before, likewise; None at the start of a pass.
    slower : float
        The student's beat as a share of the reference's.
    """

    heard: HeardNote
    onset_s: float
    until_s: float
    pitch: int
    before: float | None
    slower: float = 1.0


def judge_hands(
    attempt: Attempt, want: Wanted, sounded: Sounded, scale: PickScale | None, ear: Tolerance
) -> tuple[tuple[TechniqueReport, ...], tuple[Remark, ...]]:
    """Hold every technique of one note against the attempt.

    Parameters
    ----------
    attempt : Attempt
    want : Wanted
    sounded : Sounded
    scale : PickScale or None
        None where too few picked notes tell what a pick sounds like.
    ear : Tolerance
    """
    reports: list[TechniqueReport] = []
    remarks: list[Remark] = []
    for each in want.note.techniques:
        found, said = _judge(attempt, want, each, sounded, scale, ear)
        if each.optional and found.verdict in ("missing", "differs"):
            found, said = TechniqueReport(each.kind, "left_out"), None
        reports.append(found)
        if said is not None and said not in remarks:
            remarks.append(said)
    return tuple(reports), tuple(remarks)


def _judge(
    attempt: Attempt,
    want: Wanted,
    each: Technique,
    sounded: Sounded,
    scale: PickScale | None,
    ear: Tolerance,
) -> tuple[TechniqueReport, Remark | None]:
    if each.kind in ("bend", "pre_bend") and each.semitones:
        return _bend(attempt, each, sounded, ear)
    if each.kind == "vibrato":
        return _vibrato(attempt, each, sounded, ear)
    if each.kind in ("hammer_on", "pull_off"):
        return _slur(attempt, each, sounded, scale)
    if each.kind == "slide":
        return _slide(attempt, each, sounded)
    heard = sounded.heard.has(each.kind)
    return TechniqueReport(each.kind, "played" if heard else "not_judged"), None


def _bend(
    attempt: Attempt, each: Technique, sounded: Sounded, ear: Tolerance
) -> tuple[TechniqueReport, Remark | None]:
    wanted = 100.0 * (each.semitones or 0.0)
    times, cents = _curve(attempt, sounded)
    top, reached = bend_top(times, cents, wanted)
    if top is None or reached is None:
        return TechniqueReport(each.kind, "not_judged"), None
    if top < min(NO_BEND_CENTS, 0.5 * wanted):
        return TechniqueReport(each.kind, "missing"), "bend_missing"
    took = _took(times, cents, top, reached) if each.kind == "bend" else None
    off = top - wanted
    report = TechniqueReport(each.kind, "played", round(off, 1), None if took is None else round(took, 3))
    if abs(off) > ear.cents:
        return _differs(report), "bend_flat" if off < 0 else "bend_sharp"
    asked = None
    if each.start_s is not None and each.end_s is not None:
        asked = (each.end_s - each.start_s) * max(sounded.slower, 1.0)
    if took is not None and asked is not None and took > max(ear.bend_slower * asked, asked + 0.25):
        return _differs(report), "bend_slow"
    return report, None


def _differs(report: TechniqueReport) -> TechniqueReport:
    return TechniqueReport(
        report.kind, "differs", report.cents, report.took_s, report.rate_hz, report.depth_semitones
    )


def bend_top(times: FloatArray, cents: FloatArray, wanted: float) -> tuple[float | None, int | None]:
    """Height in cents that a curve holds at its top, and the frame at which it gets there.

    The top is where the curve, its median over 40 ms taken, is highest; a vibrato on the held bend is evened
    out by the median over what lies within half a semitone below.
    """
    if len(cents) < 6:
        return None, None
    step = max(1, round(_PLATEAU_S / max(float(times[1] - times[0]), 1e-3)))
    smooth = _running_median(cents, 2 * (step // 2) + 1)
    # A slip of the tracker to the next partial is no bend.
    believable = smooth < wanted + 250.0
    if believable.sum() < 4:
        return None, None
    peak = float(np.percentile(smooth[believable], 97))
    held = believable & (smooth > peak - min(50.0, 0.35 * max(peak, 1.0)))
    top = float(np.median(smooth[held])) if held.sum() >= 3 else peak
    within = np.flatnonzero(believable & (smooth > top - NEAR_TOP_CENTS))
    return top, int(within[0]) if len(within) else int(np.argmax(smooth))


def _took(times: FloatArray, cents: FloatArray, top: float, reached: int) -> float:
    """Seconds from the fret to the top: the middle is measured, both ends follow a raised cosine."""
    low = min(_RISE_PAST_CENTS, 0.3 * top)
    below = np.flatnonzero(cents[: reached + 1] < low)
    if not len(below):
        return 0.0
    high = max(top - NEAR_TOP_CENTS, 0.5 * top)
    share = float(np.arccos(1.0 - 2.0 * high / top) - np.arccos(1.0 - 2.0 * low / top)) / np.pi
    return float(times[reached] - times[below[-1]]) / share


def _running_median(values: FloatArray, width: int) -> FloatArray:
    if width <= 1 or len(values) < width:
        return values
    padded = np.pad(values, width // 2, mode="edge")
    return np.asarray(np.median(np.lib.stride_tricks.sliding_window_view(padded, width), axis=1))


def _curve(attempt: Attempt, sounded: Sounded) -> tuple[FloatArray, FloatArray]:
    times, pitch = attempt.pitches(sounded.onset_s + 0.01, sounded.until_s - 0.015)
    cents = 100.0 * (pitch - sounded.pitch)
    good = np.isfinite(cents) & (np.abs(cents) < 700.0)
    return times[good], cents[good]


def _vibrato(
    attempt: Attempt, each: Technique, sounded: Sounded, ear: Tolerance
) -> tuple[TechniqueReport, Remark | None]:
    heard = next((one for one in sounded.heard.techniques if one.kind == "vibrato"), None)
    if heard is not None and heard.rate_hz and heard.depth_semitones:
        rate, depth = heard.rate_hz, heard.depth_semitones
    else:
        times, cents = _curve(attempt, sounded)
        long_enough = len(times) > 12 and times[-1] - times[0] >= LEAST_VIBRATO_S
        clear = each.depth_semitones is None or each.depth_semitones >= CLEAR_VIBRATO
        if not (long_enough and clear):
            return TechniqueReport("vibrato", "not_judged"), None
        rate, depth = swing(times, cents)
        if depth < NO_VIBRATO:
            return TechniqueReport("vibrato", "missing"), "vibrato_missing"
    report = TechniqueReport("vibrato", "played", None, None, round(rate, 2), round(depth, 3))
    bounds = (
        (each.rate_hz, rate, 1.0 + ear.vibrato_share),
        (each.depth_semitones, depth, 1.0 + 2.0 * ear.vibrato_share),
    )
    if any(want and not want / bound <= was <= want * bound for want, was, bound in bounds):
        return _differs(report), "vibrato_differs"
    return report, None


def swing(times: FloatArray, cents: FloatArray) -> tuple[float, float]:
    """Rate (hertz) and depth (semitones peak to peak) of the latter two thirds, their slow part taken out."""
    first = len(cents) // 3
    part, at = cents[first:], times[first:] - times[first]
    part = part - np.polyval(np.polyfit(at, part, 2), at)
    depth = float(np.percentile(part, 95) - np.percentile(part, 5)) / 100.0
    step = float(np.median(np.diff(at)))
    spectrum = np.abs(np.fft.rfft(part * np.hanning(len(part)), _SWING_BINS))
    hz = np.fft.rfftfreq(_SWING_BINS, step)
    band = (hz >= _SWING_HZ[0]) & (hz <= _SWING_HZ[1])
    return float(hz[band][int(np.argmax(spectrum[band]))]), depth


def _slur(
    attempt: Attempt, each: Technique, sounded: Sounded, scale: PickScale | None
) -> tuple[TechniqueReport, Remark | None]:
    if scale is None or sounded.before is None or not sounded.heard.onset_confidence:
        # A note that was found by its pitch alone tells nothing of its attack.
        return TechniqueReport(each.kind, "not_judged"), None
    if is_picked(attempt, sounded.heard, scale):
        return TechniqueReport(each.kind, "missing"), "slur_picked"
    return TechniqueReport(each.kind, "played"), None


def _slide(attempt: Attempt, each: Technique, sounded: Sounded) -> tuple[TechniqueReport, Remark | None]:
    if sounded.heard.has("slide", "slide_in"):
        return TechniqueReport("slide", "played"), None
    if sounded.before is None or abs(sounded.before - sounded.pitch) < 1.5:
        return TechniqueReport("slide", "not_judged"), None
    low, high = sorted((sounded.before, float(sounded.pitch)))
    span = (sounded.onset_s - 0.2, sounded.onset_s + 0.06)
    _, pitch = attempt.pitches(*span)
    between = np.sum((pitch > low + 0.4) & (pitch < high - 0.4))
    if between >= _SLIDE_FRAMES or _glides(attempt.guesses(*span), low + 0.4, high - 0.4):
        return TechniqueReport("slide", "played"), None
    return TechniqueReport("slide", "missing"), "slide_missing"


def _glides(guesses: FloatArray, low: float, high: float) -> bool:
    """Whether the likeliest pitches, faint as they are, go through a stretch step by step."""
    row = 0
    for before, guess in itertools.pairwise(guesses):
        row = row + 1 if low < guess < high and abs(guess - before) < _FAINT_STEP else 0
        if row >= _FAINT_FRAMES:
            return True
    return False
