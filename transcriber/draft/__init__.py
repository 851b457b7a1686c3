"""The draft document and the journal of its corrections."""
