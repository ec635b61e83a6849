"""Settings of the kernel that are global to the process, set for a while and put back."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from OCP.Interface import Interface_Static
from OCP.STEPCAFControl import STEPCAFControl_Controller


@contextmanager
def statics(values: dict[str, str]) -> Iterator[None]:
    """Set named settings, and put back what they were."""
    STEPCAFControl_Controller.Init_s()  # they have no value before
    before = {key: Interface_Static.CVal_s(key) for key in values}
    for key, value in values.items():
        Interface_Static.SetCVal_s(key, value)
    try:
        yield
    finally:
        for key, value in before.items():
            Interface_Static.SetCVal_s(key, value)
