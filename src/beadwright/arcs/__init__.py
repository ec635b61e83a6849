"""Curves to arc chains with a certificate; offset, booleans and audit of line-and-arc regions.

Lengths in mm, angles in rad, counter-clockwise positive. Material lies left of every loop.
"""

from beadwright.arcs._fit import Fitted, fit
from beadwright.arcs._fit_check import certify

__all__ = ["Fitted", "certify", "fit"]
