"""Listening: from sound to notes with their techniques."""

from transcriber.listening.clicks import hear_clicks
from transcriber.listening.listen import listen

__all__ = ["hear_clicks", "listen"]
