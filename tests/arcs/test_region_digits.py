"""Booleans and offsets against the same arrangement evaluated with 50 digits: every crossing, piece and area anew."""

from __future__ import annotations

from itertools import pairwise, product

import mpmath as mp
import numpy as np
import pytest
from shapely.geometry import Point, Polygon

from beadwright.arcs import intersect, offset, subtract, unite
from beadwright.curves import region_area, region_length
from tests.arcs import _build_regions as make
from tests.arcs._offset_digits import exact_area
from tests.arcs.test_region_offset import hard_regions


class Span:
    """A line or arc of a loop in 50 digits."""

    def __init__(self, p, q, bulge):
        self.p, self.q = (mp.mpc(float(v[0]), float(v[1])) for v in (p, q))
        self.b = mp.mpf(float(bulge))
        chord = self.q - self.p
        if self.b:
            self.centre = (self.p + self.q) / 2 + 1j * chord * (1 - self.b**2) / (4 * self.b)
            self.r = abs(chord) * (1 + self.b**2) / (4 * abs(self.b))
        self.sweep = 4 * mp.atan(self.b)
        # An arc of at most half a turn stays within its chord's length of its start.
        self.box = (complex(self.p), complex(self.q), abs(complex(chord)))

    def at(self, f):
        if not self.b:
            return self.p + f * (self.q - self.p)
        return self.centre + (self.p - self.centre) * mp.expj(self.sweep * f)

    def place(self, z):
        """Share of the way at a point of the whole line or circle."""
        if not self.b:
            return ((z - self.p) / (self.q - self.p)).real
        return mp.arg((z - self.centre) / (self.p - self.centre)) / self.sweep

    def area(self, f, g):
        """Green's share x dy - y dx, halved, from share f to share g."""
        a, b = self.at(f), self.at(g)
        flat = (mp.conj(a) * b).imag / 2
        turn = self.sweep * (g - f)
        return flat + (self.r**2 * (turn - mp.sin(turn)) / 2 if self.b else 0)


def crossings(s, t):
    """Where the lines or circles of two spans meet."""
    if not s.b and t.b:
        return crossings(t, s)
    if not s.b:
        d, e = s.q - s.p, t.q - t.p
        cross = (mp.conj(d) * e).imag
        return [s.p + d * (mp.conj(t.p - s.p) * e).imag / cross] if cross else []
    if not t.b:
        way = (t.q - t.p) / abs(t.q - t.p)
        foot = t.p + way * ((s.centre - t.p) / way).real
        rest = s.r**2 - abs(foot - s.centre) ** 2
        return [foot + k * way * mp.sqrt(rest) for k in (1, -1)] if rest > 0 else []
    d = abs(t.centre - s.centre)
    if not d:
        return []
    along = (d * d + s.r**2 - t.r**2) / (2 * d)
    rest = s.r**2 - along**2
    way = (t.centre - s.centre) / d
    return [s.centre + way * (along + 1j * k * mp.sqrt(rest)) for k in (1, -1)] if rest > 0 else []


def spans(loop):
    return [Span(*v) for v in zip(loop.points, np.roll(loop.points, -1, 0), loop.bulge, strict=True)]


def polygon(own):
    return Polygon(
        [(float(z.real), float(z.imag)) for s in own for z in (s.at(mp.mpf(k) / 24) for k in range(24))]
    )


def exact_areas(first, second):
    """Area of union, intersection and difference of two loops."""
    sides = [spans(first), spans(second)]
    cuts = [[[mp.mpf(0), mp.mpf(1)] for _ in own] for own in sides]
    for (i, s), (j, t) in product(enumerate(sides[0]), enumerate(sides[1])):
        if abs(s.box[0] - t.box[0]) > s.box[2] + t.box[2] + 1e-9:
            continue
        for z in crossings(s, t):
            f, g = s.place(z), t.place(z)
            if 0 < f < 1 and 0 < g < 1:
                cuts[0][i].append(f)
                cuts[1][j].append(g)
    shapes = [polygon(own) for own in sides]
    within, without = [mp.mpf(0), mp.mpf(0)], [mp.mpf(0), mp.mpf(0)]
    count = 0
    for side in (0, 1):
        for s, at in zip(sides[side], cuts[side], strict=True):
            at.sort()
            count += len(at) - 2
            for f, g in pairwise(at):
                middle = s.at((f + g) / 2)
                place = Point(float(middle.real), float(middle.imag))
                target = within if shapes[1 - side].contains(place) else without
                target[side] += s.area(f, g)
    assert count > 0
    return without[0] + without[1], within[0] + within[1], without[0] - within[1]


def pairs(seed):
    rng = np.random.default_rng(seed)
    yield "blobs", make.blob(rng, 60), make.turned(make.blob(rng, 60), rng.uniform(0, 6), (40.0, 17.0))
    yield "gear and blob", make.gear(), make.turned(make.blob(rng, 40, 90.0), 0.3, (5.0, -3.0))
    yield "stars", make.star(), make.turned(make.star(7, 30.0, 105.0), rng.uniform(0, 6), (11.0, 4.0))
    yield "dumbbell and gear", make.dumbbell(), make.turned(make.gear(16, 20.0, 31.0), 0.2, (31.7, 2.3))


def compare(seeds):
    with mp.workdps(50):
        for seed in seeds:
            for name, a, b in pairs(seed):
                exact = exact_areas(a, b)
                given = [make.region(loop) for loop in (a, b)]
                found = (unite(given), intersect(*given), subtract(*given))
                for result, value in zip(found, exact, strict=True):
                    assert result.fallbacks == 0
                    assert region_area(result.region) == pytest.approx(float(value), rel=1e-9), (seed, name)


def test_booleans_have_the_area_of_fifty_digits():
    compare(range(2))


@pytest.mark.bench
def test_booleans_have_the_area_of_fifty_digits_many():
    compare(range(100, 140))


# Of a sliver the bound alone, some 1e-8 mm all round, is more than a billionth of its area.
SLIVER = 1.0


def compare_offsets(seeds):
    """Offsets whose area is off by more than a billionth, or, of slivers, by more than the bound makes."""
    count, wrong = 0, []
    with mp.workdps(50):
        for seed in seeds:
            for name, region, distance in hard_regions(np.random.default_rng(seed)):
                result = offset(region, distance=distance)
                count += 1
                if result.fallbacks:
                    wrong.append((seed, name, distance, "polygons"))
                    continue
                exact = float(exact_area(region, distance, result.region))
                allowed = 1e-9 * exact
                if exact < SLIVER:
                    allowed += result.bound.mm * region_length(result.region)
                if abs(region_area(result.region) - exact) > allowed:
                    wrong.append((seed, name, distance, exact))
    return count, wrong


def test_offsets_have_the_area_of_fifty_digits():
    count, wrong = compare_offsets(range(6))
    assert count >= 120
    assert wrong == []


@pytest.mark.bench
@pytest.mark.timeout(1800)
def test_ten_thousand_offsets_have_the_area_of_fifty_digits():
    count, wrong = compare_offsets(range(1000, 1500))
    assert count >= 10_000
    assert wrong == []


def away(span, z):
    """Distance of a point from a span, in its digits."""
    ends = min(abs(z - span.p), abs(z - span.q))
    if not span.b:
        f = span.place(z)
        return abs(z - span.at(f)) if 0 < f < 1 else ends
    f = span.place(z)
    return min(ends, abs(abs(z - span.centre) - span.r)) if 0 < f < 1 else ends


@pytest.mark.parametrize(
    ("source", "distance"),
    [
        (make.region(make.blob(np.random.default_rng(31), 40)), 6.0),
        (make.region(make.blob(np.random.default_rng(32), 40)), -6.0),
        (make.region(make.star()), 5.0),
        (make.region(make.dumbbell(neck=9.0)), 6.0),
    ],
)
def test_nodes_of_an_offset_lie_at_its_distance_with_fifty_digits(source, distance):
    result = offset(source, distance=distance)

    with mp.workdps(50):
        spans = [
            Span(loop.points[i], loop.points[(i + 1) % len(loop.points)], loop.bulge[i])
            for loop in source.loops
            for i in range(len(loop.bulge))
        ]
        nodes = [mp.mpc(float(x), float(y)) for loop in result.region.loops for x, y in loop.points]
        off = max(abs(min(away(span, z) for span in spans) - abs(distance)) for z in nodes)
    assert len(nodes) >= 8
    assert off <= result.bound.mm
