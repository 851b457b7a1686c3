"""An engraved sheet of a draft, and pictures of its phrases, by the program LilyPond.

`source` writes a draft as LilyPond's text, `engrave` runs the program on it. Everything that a person typed
passes `ly_text.quoted`, so that it can never be read as anything but words.
"""

from __future__ import annotations
