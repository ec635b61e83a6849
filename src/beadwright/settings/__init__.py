"""Placeholder docstring, replaced by the room's owner."""
