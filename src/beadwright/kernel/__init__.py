"""The only room that talks to the CAD kernel: STEP in and out, health, section as referee."""

from beadwright.kernel._read import from_shape, read_step

__all__ = ["from_shape", "read_step"]
