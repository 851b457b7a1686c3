"""Hear it: written lines played and rendered by the project's own string model, with their truth."""
