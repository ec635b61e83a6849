"""Offsets of surfaces, folded into the same kind wherever there is one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from beadwright.brep import (
    CircleProfile,
    LineProfile,
    OffsetSurface,
    PlaneSurface,
    RevolutionSurface,
    SphereSurface,
    SplineProfile,
    Surface,
    handedness,
)


def radius_of(surface: Surface) -> float:
    """The radius of a sphere, cylinder or torus tube, mm; 0 for the others."""
    match surface:
        case SphereSurface(radius=radius):
            return radius
        case RevolutionSurface(profile=LineProfile(r0=radius, dr=0.0)):
            return radius
        case RevolutionSurface(profile=CircleProfile(minor=radius)):
            return radius
        case _:
            return 0.0


def offset(surface: Surface, distance: float) -> Surface:
    """The surface moved along its unit dS/du x dS/dv, in the same parameters."""
    match surface:
        case PlaneSurface(frame=frame):
            move = distance * np.cross(frame.axes[0], frame.axes[1])
            return PlaneSurface(frame=replace(frame, origin=frame.origin + move))
        case SphereSurface(frame=frame, radius=radius):
            grown = radius + distance * handedness(frame.axes)
            if grown < 0.0:
                return SphereSurface(frame=replace(frame, axes=-frame.axes), radius=-grown)
            return SphereSurface(frame=frame, radius=grown)
        case RevolutionSurface(frame=frame, profile=profile):
            signed = distance * handedness(frame.axes)
            moved: LineProfile | CircleProfile | SplineProfile
            match profile:
                case LineProfile(r0=r0, w0=w0, dr=dr, dw=dw):
                    moved = LineProfile(r0=r0 + signed * dw, w0=w0 - signed * dr, dr=dr, dw=dw)
                case CircleProfile(major=major, minor=minor, w0=w0):
                    moved = CircleProfile(major=major, minor=minor + signed, w0=w0)
                case SplineProfile():
                    moved = replace(profile, offset=profile.offset + distance)
            return RevolutionSurface(frame=frame, profile=moved)
        case OffsetSurface():
            return replace(surface, distance=surface.distance + distance)
        case _:
            return OffsetSurface(base=surface, distance=distance)
