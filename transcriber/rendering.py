"""A written line as sound, with its truth beside it."""

from __future__ import annotations

from pathlib import Path

TRUTH_SUFFIX = ".truth.json"


def rendered_files(
    line: str | Path,
    sound: Path,
    seed: int,
    style: str | None = None,
    tone: str | None = None,
    tempo_bpm: float | None = None,
) -> dict[Path, bytes]:
    """Play a written line with the program's own guitar.

    Parameters
    ----------
    line : str or Path
        Line file.
    sound : Path
        Where the sound is to stand; the truth stands beside it. Nothing is written here.
    seed : int
        Another seed is another take.
    style, tone : str or None
        By name; None takes what the line file says.
    tempo_bpm : float or None
        None takes the line's own.

    Returns
    -------
    dict of Path to bytes
        The sound (FLAC) and its truth (JSON), in the order of `rendered_paths`.
    """
    from transcriber.synthesis import RenderOptions, render_line_file

    options = RenderOptions(seed=seed, style=style, tone=tone, tempo_bpm=tempo_bpm)
    return dict(zip(rendered_paths(sound), render_line_file(line, options), strict=True))


def rendered_paths(sound: Path) -> tuple[Path, Path]:
    """Paths of a rendered sound and of its truth beside it."""
    return sound, sound.with_name(sound.stem + TRUTH_SUFFIX)
