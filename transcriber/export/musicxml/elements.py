"""Elements of MusicXML that hold nothing but text."""

from __future__ import annotations

from xml.etree.ElementTree import Element, SubElement


def add_text(parent: Element, name: str, text: str) -> None:
    """Add a child of this name that holds a text."""
    SubElement(parent, name).text = text
