"""What a stage noticed and wants to tell the player, as data."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Problem:
    """Something a person should know about the take or the draft; never an exception.

    Attributes
    ----------
    code : str
        Stable name for programs, lower case with underscores, such as ``clipping``.
    message : str
        One sentence for people: what was seen and what to do about it.
    start_s, end_s : float or None
        Where in the file it holds, in seconds; None for the whole take.
    """

    code: str
    message: str
    start_s: float | None = None
    end_s: float | None = None
