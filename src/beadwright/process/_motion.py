"""How long the motion takes: a look-ahead over all junctions under limits of speed and acceleration.

Along the path the speed obeys |dv/dt| <= a, on an arc of radius R also v^2 / R <= a_c, on every move its feed.
In terms of u = v^2 over the way s these are |du/ds| <= 2 a and u <= U(s), so the fastest legal motion is the
greatest function below U with slope at most 2 a, either way: the least of U(s') + 2 a |s - s'| over all s'. It
is found for all moves of a layer by two running minima, without a loop. Jerk is not limited.

At a junction where the direction turns by theta the path control mode decides. Exact path: the speed must
fall until the step in velocity, 2 v sin(theta / 2), is one that the drives take (`jump`). Continuous with
tolerance P: the corner is rounded by the fillet that leaves the corner by P, r = P / (1 / cos(theta / 2) - 1), as
far as half of each neighbour gives it room, and v^2 / r <= a_c.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from beadwright.curves import ArcPath, ends_of, move_lengths
from beadwright.errors import SettingsError

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class MotionLimits:
    """What the axes can do.

    Attributes
    ----------
    acceleration : float
        Along the path, mm/s2.
    centripetal : float
        Across it, mm/s2.
    traverse : float
        Speed of traverse moves, mm/s.
    jump : float
        Step in velocity that the drives take at a junction, mm/s.
    path_tolerance : float or None
        P of the continuous path mode, mm; None for exact path.

    Raises
    ------
    SettingsError
        If one is not above 0 (`jump`: below 0).
    """

    acceleration: float
    centripetal: float
    traverse: float
    jump: float = 0.0
    path_tolerance: float | None = None

    def __post_init__(self) -> None:
        rows = [
            ("acceleration", self.acceleration),
            ("centripetal", self.centripetal),
            ("traverse", self.traverse),
        ]
        if self.path_tolerance is not None:
            rows.append(("path tolerance", self.path_tolerance))
        for name, value in rows:
            if not 0 < value < math.inf:
                raise SettingsError(f"{name} must be above 0, not {value}")
        if not 0 <= self.jump < math.inf:
            raise SettingsError(f"jump must be 0 or more mm/s, not {self.jump}")

    def fillet(self, turn: npt.ArrayLike) -> Floats:
        """Radius of the fillet that leaves a corner of turning angle `turn` (rad) by the path tolerance, mm."""
        half = np.asarray(turn, float) / 2
        tolerance = self.path_tolerance or 0.0
        with np.errstate(divide="ignore"):
            # 1 / cos - 1 = 2 sin^2(h / 2) / cos, without its cancellation.
            return np.asarray(tolerance * np.cos(half) / (2 * np.sin(half / 2) ** 2))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Profile:
    """The motion along one path, move by move: up to a peak, along it, down again.

    Attributes
    ----------
    length : (m,) float
        Of each move, mm.
    enter, peak, leave : (m,) float
        Speed at its start, its greatest, and at its end, mm/s.
    begin : (m,) float
        Time at its start, s after that of the path.
    duration : float
        Of the whole, s.
    acceleration : float
        mm/s2.
    """

    length: Floats
    enter: Floats
    peak: Floats
    leave: Floats
    begin: Floats
    duration: float
    acceleration: float

    @property
    def way(self) -> Floats:
        """Length of path up to each move: (m,), mm."""
        return np.concatenate([[0.0], np.cumsum(self.length)[:-1]])

    def place(self, time: npt.ArrayLike) -> Floats:
        """How far along the path the nozzle is at times after its start, mm: the leads are reckoned so.

        Parameters
        ----------
        time : (k,) array_like of float
            s; before the start and after the end it stands.
        """
        t = np.clip(np.atleast_1d(np.asarray(time, float)), 0.0, self.duration)
        row = np.clip(np.searchsorted(self.begin, t, side="right") - 1, 0, len(self.begin) - 1)
        v0, vp, v1, a = self.enter[row], self.peak[row], self.leave[row], self.acceleration
        since = t - self.begin[row]
        up, down = (vp - v0) / a, (vp - v1) / a
        ramps = (2 * vp * vp - v0 * v0 - v1 * v1) / (2 * a)
        flat = np.maximum(self.length[row] - ramps, 0.0)
        hold = np.divide(flat, vp, out=np.zeros_like(flat), where=vp > 0)
        first = np.minimum(since, up)
        second = np.clip(since - up, 0.0, hold)
        third = np.clip(since - up - hold, 0.0, down)
        gone = v0 * first + a * first**2 / 2 + vp * second + vp * third - a * third**2 / 2
        return np.asarray(self.way[row] + np.minimum(gone, self.length[row]))

    def time(self, row: npt.NDArray[np.int64], share: Floats) -> Floats:
        """When the nozzle is at a share of a move's way: (k,), s after the start of the path.

        Parameters
        ----------
        row : (k,) int
            Moves.
        share : (k,) float
            Of the way of each, 0 to 1.
        """
        a = self.acceleration
        length, v0, vp, v1 = self.length[row], self.enter[row], self.peak[row], self.leave[row]
        gone, left = share * length, (1.0 - share) * length
        up, down = (vp**2 - v0**2) / (2 * a), (vp**2 - v1**2) / (2 * a)
        ends = np.append(self.begin[1:], self.duration)[row]
        # On the ramp up v = sqrt(v0^2 + 2 a s), on the ramp down likewise seen from the end.
        rising = (np.sqrt(v0**2 + 2 * a * gone) - v0) / a
        falling = (np.sqrt(v1**2 + 2 * a * left) - v1) / a
        level = (vp - v0) / a + np.divide(gone - up, vp, out=np.zeros_like(gone), where=vp > 0)
        inside = np.where(gone <= up, rising, level)
        return np.asarray(np.where(left <= down, ends - falling, self.begin[row] + inside))


def profiles(
    paths: Sequence[ArcPath],
    feeds: Sequence[float | Floats],
    limits: MotionLimits,
    rises: Sequence[Floats] = (),
) -> list[Profile]:
    """Fastest legal motion along paths, each from standing to standing.

    Parameters
    ----------
    paths : sequence of ArcPath
        mm; moves of no length are allowed.
    feeds : sequence of float or of (m,) float
        Greatest speed along each, or along each of its moves, mm/s, above 0.
    limits : MotionLimits
    rises : sequence of (m,) float
        What each move of each path climbs, mm, straight along its way; none: all are level.

    Returns
    -------
    list of Profile
        One for each path; all are solved together.
    """
    if not paths:
        return []
    counts = [len(path.bulge) for path in paths]
    feed = np.concatenate([np.broadcast_to(each, count) for each, count in zip(feeds, counts, strict=True)])
    ends = ends_of(paths)
    chord, bulge = ends.points[ends.end] - ends.points[ends.start], ends.bulge
    run = move_lengths(chord, bulge)
    top = _arc_limit(chord, bulge, feed, limits)
    first = np.zeros(len(run), bool)
    first[np.cumsum([0, *counts[:-1]])] = True
    rise = np.concatenate(list(rises)) if rises else np.zeros(len(run))
    corner = _corner_limit(chord, bulge, run, rise, limits)
    run = np.hypot(run, rise)
    # Squares of the greatest speed at each move's start; 0 where a path begins.
    start = np.where(first, 0.0, np.minimum(np.minimum(top, np.roll(top, 1)), corner) ** 2)
    a = limits.acceleration
    enter, leave = _envelope(start, run, a)
    # Rounding may leave the ends a hair above what the ramps between them reach.
    peak = np.maximum(np.minimum(top**2, (enter + leave) / 2 + a * run), np.maximum(enter, leave))
    vp, v0, v1 = np.sqrt(peak), np.sqrt(enter), np.sqrt(leave)
    flat = np.maximum(run - (2 * peak - enter - leave) / (2 * a), 0.0)
    took = (2 * vp - v0 - v1) / a + np.divide(flat, vp, out=np.zeros_like(flat), where=vp > 0)
    out: list[Profile] = []
    for at, count in zip(np.cumsum([0, *counts[:-1]]).tolist(), counts, strict=True):
        own = slice(at, at + count)
        clock = np.cumsum(took[own])
        out.append(
            Profile(
                length=run[own],
                enter=v0[own],
                peak=vp[own],
                leave=v1[own],
                begin=np.concatenate([[0.0], clock[:-1]]),
                duration=float(clock[-1]),
                acceleration=a,
            )
        )
    return out


def _arc_limit(chord: Floats, bulge: Floats, feed: Floats, limits: MotionLimits) -> Floats:
    """Greatest speed on each move, mm/s: the feed, or sqrt(a_c R) on an arc."""
    b = np.abs(bulge)
    radius = np.divide(
        np.hypot(chord[:, 0], chord[:, 1]) * (1 + b * b), 4 * b, out=np.full(len(b), np.inf), where=b > 0
    )
    return np.asarray(np.minimum(feed, np.sqrt(limits.centripetal * radius)))


def _corner_limit(chord: Floats, bulge: Floats, run: Floats, rise: Floats, limits: MotionLimits) -> Floats:
    """Greatest speed at each move's start by the turn from the move before it, mm/s (row 0: any)."""
    heading = np.arctan2(chord[:, 1], chord[:, 0])
    half = 2 * np.arctan(bulge)  # half of the sweep: from chord to tangent
    turn = (heading - half) - np.roll(heading + half, 1)
    turn = np.abs(np.arctan2(np.sin(turn), np.cos(turn)))
    if rise.any():
        turn = _in_space(turn, np.divide(rise, run, out=np.zeros_like(run), where=run > 0))
    # A move without length has no direction; what follows it starts anew from standing.
    turn = np.where((run > 0) & (np.roll(run, 1) > 0), turn, math.pi)
    with np.errstate(divide="ignore", invalid="ignore"):
        step = limits.jump / (2 * np.sin(turn / 2))
    step = np.where(turn <= SAME_DIRECTION, np.inf, step)
    if limits.path_tolerance is None:
        return np.asarray(step)
    room = np.minimum(run, np.roll(run, 1)) / 2
    with np.errstate(divide="ignore", invalid="ignore"):
        radius = np.minimum(limits.fillet(turn), room / np.tan(turn / 2))
    rounded = np.sqrt(limits.centripetal * np.where(turn <= SAME_DIRECTION, np.inf, radius))
    return np.asarray(np.maximum(step, rounded))


def _in_space(turn: Floats, slope: Floats) -> Floats:
    """Angle between neighbouring moves that turn in the plane and climb with slopes: from the chord of unit vectors."""
    before = np.roll(slope, 1)
    one, two = np.sqrt(1 + before**2), np.sqrt(1 + slope**2)
    apart = np.sqrt(
        (np.cos(turn) / two - 1 / one) ** 2 + (np.sin(turn) / two) ** 2 + (slope / two - before / one) ** 2
    )
    return np.asarray(2 * np.arcsin(np.minimum(apart / 2, 1.0)))


# Turn that is no corner but the rounding of two headings, rad: an ulp of a heading is 4e-16, and the ends of
# the shortest printed moves are known to 1e-12 of their length.
SAME_DIRECTION = 1e-9


def _envelope(start: Floats, run: Floats, acceleration: float) -> tuple[Floats, Floats]:
    """Squared speed at the start and the end of each move: the greatest below `start` that a can follow.

    ``start`` is 0 where a path begins, and each path ends standing, so the next path's first row ends it.
    """
    way = np.concatenate([[0.0], np.cumsum(run)]) * (2 * acceleration)
    limit = np.append(start, 0.0)
    forward = np.minimum.accumulate(limit - way) + way
    backward = np.minimum.accumulate((limit + way)[::-1])[::-1] - way
    u = np.clip(np.minimum(forward, backward), 0.0, limit)
    return u[:-1], u[1:]


def straight_time(distance: float, speed: float, acceleration: float) -> float:
    """Time of a straight move from standing to standing, s.

    s / v + v / a where the way holds both ramps, else 2 sqrt(s / a).
    """
    if distance * acceleration >= speed * speed:
        return distance / speed + speed / acceleration
    return 2 * math.sqrt(distance / acceleration)
