"""Compiled loops of the section room; every one has a slow oracle in the tests."""
