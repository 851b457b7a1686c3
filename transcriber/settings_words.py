"""What a person tells of a take, as it is typed: text to the values of settings."""

from __future__ import annotations

import re
from fractions import Fraction

from transcriber.errors import UsageError
from transcriber.records.written import Meter
from transcriber.settings import Pin, check_meter


def parse_tempo(text: str) -> float | tuple[float, float]:
    """Read a tempo such as ``"92"``, or a range such as ``"90-110"``.

    Raises
    ------
    UsageError
    """
    match = re.fullmatch(r"\s*(\d{1,4}(?:\.\d*)?)\s*-\s*(\d{1,4}(?:\.\d*)?)\s*", text, flags=re.ASCII)
    if match is not None:
        return float(match[1]), float(match[2])
    try:
        return float(text)
    except ValueError:
        raise UsageError(f"tempo '{text}' is not a number; give 20 to 400 BPM, or a range: 90-110") from None


def parse_pickup(text: str) -> Fraction:
    """Read beats such as ``"1"``, ``"1/2"``, ``"1.5"`` or ``"1+1/2"``.

    Raises
    ------
    UsageError
    """
    try:
        return sum((Fraction(part.strip()) for part in text.split("+")), Fraction(0))
    except (ValueError, ZeroDivisionError):
        raise UsageError(f"pickup '{text}' is no number of beats; write it like 1, 1/2 or 1+1/2") from None


def parse_beats(text: str, name: str) -> tuple[float, ...]:
    """Read times of tapped beats, one in a line; empty lines and what follows a ``#`` are skipped.

    Parameters
    ----------
    text : str
    name : str
        Of the file, for messages.

    Raises
    ------
    UsageError
    """
    times = []
    for number, line in enumerate(text.splitlines(), 1):
        word = line.partition("#")[0].strip()
        if not word:
            continue
        try:
            times.append(float(word))
        except ValueError:
            raise UsageError(f"line {number} of '{name}' is '{word[:40]}', not a time in seconds") from None
    if not times:
        raise UsageError(f"'{name}' holds no beats; write the time of each tapped beat in a line of its own")
    return tuple(times)


def parse_meter(text: str) -> Meter:
    """Read a meter such as ``"6/8"``.

    Raises
    ------
    UsageError
        If it is not two whole numbers within the bounds; the message names the nearest that works.
    """
    match = re.fullmatch(r"\s*(\d{1,6})\s*/\s*(\d{1,6})\s*", text, flags=re.ASCII)
    if match is None:
        raise UsageError(f"meter '{text}' is not a time signature; write it like 4/4, 3/4 or 6/8")
    meter = Meter(int(match[1]), int(match[2]))
    check_meter(meter)
    return meter


def parse_pin(text: str) -> Pin:
    """Read a pin such as ``"1.25=2/5"``: seconds in the file, string and fret.

    Raises
    ------
    UsageError
        If it is not written so, or out of bounds.
    """
    match = re.fullmatch(r"\s*(\d{1,7}(?:\.\d*)?)\s*=\s*(\d{1,3})\s*/\s*(\d{1,3})\s*", text, flags=re.ASCII)
    if match is None:
        raise UsageError(f"pin '{text}' is not SECONDS=STRING/FRET; write it like 1.25=2/5")
    return Pin(float(match[1]), int(match[2]), int(match[3]))
