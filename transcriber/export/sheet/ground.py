"""Transparent ground for a picture of black on white, in memory."""

from __future__ import annotations

import io

from transcriber.errors import UsageError


def on_transparent_ground(png: bytes, ink: int, margin_px: int) -> tuple[bytes, tuple[int, int]]:
    """Turn black on white into ink on nothing, and cut off above and below what is drawn.

    Parameters
    ----------
    png : bytes
        A picture.
    ink : int
        Grey of the lines, 0 to 255.
    margin_px : int
        What is left above and below.

    Returns
    -------
    bytes
        A PNG picture, grey with transparency.
    tuple of int
        Its width and height.

    Raises
    ------
    UsageError
        If Pillow is not installed.
    """
    try:
        from PIL import Image, ImageOps
    except ImportError as error:
        raise UsageError("pictures need Pillow: install it with  pip install 'transcriber[sheet]'") from error
    with Image.open(io.BytesIO(png)) as page:
        paper = Image.new("RGBA", page.size, "white")
        paper.alpha_composite(page.convert("RGBA"))
    cover = ImageOps.invert(paper.convert("L"))
    box = cover.getbbox() or (0, 0, *cover.size)
    top, bottom = max(0, box[1] - margin_px), min(cover.height, box[3] + margin_px)
    cover = cover.crop((0, top, cover.width, bottom))
    picture = Image.merge("LA", (Image.new("L", cover.size, ink), cover))
    buffer = io.BytesIO()
    picture.save(buffer, "PNG", optimize=True)
    return buffer.getvalue(), picture.size
