"""From a CAD solid to an arc-move program for a large-format bead extruder, with a proven error bound."""

__version__ = "0.1.0"
