"""Writers of the draft in formats that other programs and people read."""
