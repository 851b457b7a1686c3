"""Listening: from sound to notes with their techniques."""

from transcriber.listening.listen import listen

__all__ = ["listen"]
