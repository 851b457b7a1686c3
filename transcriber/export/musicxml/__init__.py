"""MusicXML 4.0 (W3C): the draft as a notation program opens it, on a notation staff, a tab staff or both."""

from transcriber.export.musicxml.score_file import musicxml_bytes

__all__ = ["musicxml_bytes"]
