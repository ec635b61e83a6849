"""`python -m beadwright`."""

from beadwright.cli import run

run()
