"""Standard MIDI files: as played or as written, on one channel, one for each string, or as MPE."""

from transcriber.export.midi.midi_file import MidiSettings, midi_bytes

__all__ = ["MidiSettings", "midi_bytes"]
