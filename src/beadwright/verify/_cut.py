"""The CAD kernel's own section of the part as a region that distances can be measured to."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import shapely

from beadwright.brep import Model, PlaneSurface
from beadwright.kernel import Reference, reference_section

Floats = npt.NDArray[np.float64]

# Sag of the chords that stand for the referee's curves, mm: the greatest part of its accuracy.
CHORD = 1e-4
# What parabolas between the referee's points may miss, mm of the model; what they do miss is estimated again and told.
MISS = 1e-5
# Points that stand between the referee's own, by the quartic through five of them, are off by no more, mm: its share
# of what may be missed.
BETWEEN = 3e-6
# A point of the referee's that could not be moved onto surface and plane is as the kernel made it, mm.
UNCORRECTED = 1e-3
# Gaps between solids that touch are closed up to this width, mm.
HAIR = 1e-3
# Where points lie about as far from a boundary as expected, what lies this much farther is looked at, mm.
ROOM = 0.05
# Turns by more between two points of a curve are corners of it, rad.
CORNER = 0.3
# A plane this near to a flat face is moved, and by how much, mm.
ON_FLAT, NUDGE = 1e-6, 1e-4
# Parts and voids thinner than this are rounding of two faces on each other: area by length, mm.
THIN = 1e-4


@dataclass(frozen=True, slots=True, eq=False)
class Chords:
    """Straight pieces (m, 2, 2), mm, and a tree of them to look for those near to points."""

    ends: Floats
    tree: shapely.STRtree

    @classmethod
    def of(cls, ends: Floats) -> Chords:
        """Those with some ends."""
        return cls(ends, shapely.STRtree(shapely.linestrings(ends)))

    def within(self, points: Floats, reach: float) -> npt.NDArray[np.bool_]:
        """Whether a piece passes each point within a reach, mm: (k,)."""
        found = np.zeros(len(points), bool)
        if len(self.ends) and len(points):
            found[self.tree.query(shapely.points(points), predicate="dwithin", distance=reach)[0]] = True
        return found

    def nearest(self, points: Floats, around: float | None = None) -> tuple[npt.NDArray[np.int64], Floats]:
        """Row and distance of the piece nearest to each point; 0 and 1e9 where there is none.

        Where most lie about `around` away (mm), all pieces as near as that are held against them, a third of the time.
        """
        row, far = np.zeros(len(points), np.int64), np.full(len(points), 1e9)
        if not len(self.ends) or not len(points):
            return row, far
        places = shapely.points(points)
        if around is not None:
            k, j = self.tree.query(places, predicate="dwithin", distance=around + ROOM)
            if len(k):
                start, way = self.ends[j, 0], self.ends[j, 1] - self.ends[j, 0]
                to = points[k] - start
                share = np.clip((to * way).sum(axis=1) / (way * way).sum(axis=1), 0.0, 1.0)
                apart = np.hypot(*(to - share[:, None] * way).T)
                np.minimum.at(far, k, apart)
                best = np.flatnonzero(apart == far[k])[::-1]
                row[k[best]] = j[best]
        left = np.flatnonzero(far == 1e9)
        if len(left):
            pairs, apart = self.tree.query_nearest(places[left], all_matches=False, return_distance=True)
            row[left], far[left] = pairs[1], apart
        return row, far


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cut:
    """A section of the part.

    Attributes
    ----------
    region : shapely.MultiPolygon
        All solids united; empty where the section is open (surfaces).
    boundary : Chords
        Of the region's boundary, material on the left; of open curves where there is no region.
    curves, faces : Chords, (c,) int32
        Chords of the kernel's curves before they were united, and the CAD face of each (-1: not told).
    accuracy : float
        How far the boundary may be from the kernel's surfaces, mm: sag of the chords, and what the parabolas between
        its points were estimated to miss.
    closed : bool
        Whether every curve closed.
    """

    region: shapely.MultiPolygon
    boundary: Chords
    curves: Chords
    faces: npt.NDArray[np.int32]
    accuracy: float
    closed: bool

    @property
    def segments(self) -> Floats:
        """Ends of the chords of the boundary: (m, 2, 2), mm."""
        return self.boundary.ends

    def distance(self, points: Floats, around: float | None = None) -> Floats:
        """Distance of points to the boundary, mm, most of them about `around`; 1e9 if there is none: (k,)."""
        return self.boundary.nearest(points, around)[1]

    def depth(self, points: Floats, around: float | None = None) -> Floats:
        """Distance of points to the boundary, negative outside, mm: (k,); see `distance`."""
        inside = shapely.contains_xy(self.region, points[:, 0], points[:, 1])
        return np.asarray(self.distance(points, around) * np.where(inside, 1.0, -1.0))

    def face_at(self, points: Floats, around: float | None = None) -> npt.NDArray[np.int32]:
        """CAD face of the section's curve nearest to points: (k,); see `distance`."""
        if not len(self.faces):
            return np.full(len(points), -1, np.int32)
        return np.asarray(self.faces[self.curves.nearest(points, around)[0]], np.int32)


def flat_heights(model: Model, matrix: Floats) -> Floats:
    """Heights of the part's horizontal flat faces in the machine, mm."""
    found = []
    for face in model.faces:
        if isinstance(face.surface, PlaneSurface):
            # Normals go by the cofactors of the matrix; for a similarity that is the matrix but for a factor.
            normal = np.linalg.inv(matrix[:, :3]).T @ face.surface.frame.axes[2]
            if abs(normal[2]) > (1 - 1e-12) * np.linalg.norm(normal):
                found.append(float(matrix[2, :3] @ face.surface.frame.origin + matrix[2, 3]))
    return np.array(sorted(found))


def shifts(cuts: tuple[float, ...], flats: Floats) -> tuple[float, ...]:
    """Shifts of the planes to try in turn: none, then a hair to both sides, but never beyond a flat face."""
    away = [float(f - z) for f in flats for z in cuts]
    nearest_flat = min(away, key=abs, default=np.inf)
    if abs(nearest_flat) <= ON_FLAT:
        return (-NUDGE, NUDGE)
    first = -NUDGE if nearest_flat > 0 else NUDGE
    return (0.0, first) + ((-first,) if abs(nearest_flat) > 2 * NUDGE else ())


def cut(
    model: Model,
    matrix: Floats,
    cuts: tuple[float, ...],
    rule: str = "neutral",
    later: tuple[frozenset[int], ...] = (),
) -> Cut:
    """The kernel's generic section of a placed part at one or several heights, its points corrected.

    Parameters
    ----------
    model : Model
    matrix : (3, 4) float
        From the model as read to the machine.
    cuts : tuple of float
        Heights in the machine, mm.
    rule : {"neutral", "outer", "inner"}
        Of several: ``inner`` takes what is in all, the others what is in any.
    later : tuple of frozenset of int
        Features by their faces. A hole all of whose curves are on faces of one is taken as full, unless another curve
        of one of the sections is on them too.

    Raises
    ------
    GeometryError
        The model carries no shape of the kernel's.
    """
    found = [reference_section(model, z, matrix, miss=MISS) for z in cuts]
    if not all(r.closed for r in found):
        return _open(found)
    if later:
        found = _filled(found, later)
    regions = [_united(r) for r in found]
    region = shapely.intersection_all(regions) if rule == "inner" else shapely.union_all(regions)
    region = shapely.MultiPolygon([p for p in shapely.get_parts(region) if p.geom_type == "Polygon"])
    region = shapely.orient_polygons(region)
    shapely.prepare(region)
    rings = shapely.get_rings(shapely.get_parts(region))
    segments = _chords([shapely.get_coordinates(ring) for ring in rings])
    return _cut(found, region, segments, closed=True)


def _filled(found: list[Reference], later: tuple[frozenset[int], ...]) -> list[Reference]:
    """Sections without the holes of features that are cut later."""
    gone: list[list[int]] = []
    stay: set[int] = set()
    for reference in found:
        rings = [shapely.Polygon(chain) for chain in reference.chains]
        of = []
        for place, faces in enumerate(reference.faces):
            own = set(faces.tolist()) - {-1}
            mine = {k for k, feature in enumerate(later) if own & feature}
            # a point of the curve itself: one inside the ring may lie in a hole of it
            on = shapely.Point(reference.chains[place][1])
            around = sum(
                ring.contains(on)
                for other, ring in enumerate(rings)
                if other != place and reference.body[other] == reference.body[place]
            )
            whole = len(mine) == 1 and own <= later[min(mine)] and around % 2 == 1
            of.append(min(mine) if whole else -1)
            stay |= set() if whole else mine
        gone.append(of)
    out = []
    for reference, of in zip(found, gone, strict=True):
        rows = [i for i, feature in enumerate(of) if feature < 0 or feature in stay]
        out.append(
            replace(
                reference,
                chains=tuple(reference.chains[i] for i in rows),
                faces=tuple(reference.faces[i] for i in rows),
                body=tuple(reference.body[i] for i in rows),
            )
        )
    return out


def _open(found: list[Reference]) -> Cut:
    """Curves that do not close: only distances to them are known."""
    segments = _chords([_flat(c)[0] for r in found for c in r.chains])
    return _cut(found, shapely.MultiPolygon(), segments, closed=False)


def _cut(found: list[Reference], region: shapely.MultiPolygon, segments: Floats, *, closed: bool) -> Cut:
    flat = [(*_flat(c, f), e) for r in found for c, f, e in zip(r.chains, r.faces, _missed(r), strict=True)]
    lines = _chords([points for points, _, _ in flat])
    faces = [owner[1:][_long(points)] for points, owner, _ in flat]
    lost = any(r.uncorrected for r in found)
    return Cut(
        region=region,
        boundary=Chords.of(segments),
        curves=Chords.of(lines),
        faces=np.concatenate(faces) if faces else np.zeros(0, np.int32),
        accuracy=CHORD + BETWEEN + max((e for _, _, e in flat), default=0.0) + (UNCORRECTED if lost else 0.0),
        closed=closed,
    )


def _united(reference: Reference) -> shapely.Geometry:
    """The region of all solids: even-odd in each, then their union, hairs between solids that touch closed."""
    bodies = []
    for body in sorted(set(reference.body)):
        chains = [c for c, b in zip(reference.chains, reference.body, strict=True) if b == body]
        rings = [shapely.make_valid(shapely.Polygon(_flat(c)[0])) for c in chains if len(c) > 3]
        whole = rings[0] if rings else shapely.MultiPolygon()
        for ring in rings[1:]:
            whole = shapely.symmetric_difference(whole, ring)
        bodies.append(whole)
    region = shapely.union_all(bodies)
    if len(bodies) > 1:
        region = region.buffer(HAIR / 2, join_style="mitre").buffer(-HAIR / 2, join_style="mitre")
    parts = [p for p in shapely.get_parts(region) if p.geom_type == "Polygon" and _solid(p)]
    return shapely.MultiPolygon(
        [shapely.Polygon(p.exterior, [r for r in p.interiors if _solid(shapely.Polygon(r))]) for p in parts]
    )


def _solid(polygon: shapely.Polygon) -> bool:
    """Whether a part or a void is more than rounding."""
    return bool(polygon.area > THIN * polygon.length)


def _flat(chain: Floats, faces: npt.NDArray[np.int32] | None = None) -> tuple[Floats, npt.NDArray[np.int32]]:
    """Points of the parabolas of a chain, chords within `CHORD` of them, and the face of each."""
    start, middle, end = chain[0:-2:2], chain[1:-1:2], chain[2::2]
    bend = start - 2 * middle + end
    # The second derivative of the parabola through three points at 0, 1/2, 1 is four times that.
    count = np.maximum(1, np.ceil(np.sqrt(np.hypot(*bend.T) / (2 * CHORD)))).astype(np.int64)
    owner = np.repeat(np.arange(len(start)), count)
    first = np.concatenate([[0], np.cumsum(count)[:-1]])
    t = ((np.arange(len(owner)) - first[owner] + 1) / count[owner])[:, None]
    points = start[owner] + t * (4 * middle - 3 * start - end)[owner] + 2 * t * t * bend[owner]
    own = np.full(len(chain), -1, np.int32) if faces is None else faces
    return np.concatenate([chain[:1], points]), np.concatenate([own[:1], own[1:-1:2][owner]])


def _chords(rows: list[Floats]) -> Floats:
    """Each chord of some rows of points, without those of no length."""
    pieces = [np.stack([r[:-1], r[1:]], axis=1)[_long(r)] for r in rows]
    return np.concatenate([np.zeros((0, 2, 2)), *pieces])


def _long(points: Floats) -> npt.NDArray[np.bool_]:
    """Which chords of a row of points have a length."""
    return np.asarray(np.hypot(*np.diff(points, axis=0).T) > 0)


def _missed(reference: Reference) -> list[float]:
    """Of each chain, what the parabolas through its points miss, estimated, mm.

    Parabolas through every second point are compared with the points between; those through all points miss
    an eighth of that, the error being of third order.
    """
    out = []
    for chain, face in zip(reference.chains, reference.faces, strict=True):
        out.append(0.0)
        if len(chain) < 7:
            continue
        i = np.arange(0, len(chain) - 4, 2)
        p = np.stack([chain[i + k] for k in range(5)])
        step = np.hypot(*(p[1:] - p[:-1]).transpose(2, 0, 1))
        same = (face[i] == face[i + 4]) & (step.min(axis=0) > 0)
        turn = np.diff(
            np.unwrap(np.arctan2((p[1:] - p[:-1])[..., 1], (p[1:] - p[:-1])[..., 0]), axis=0), axis=0
        )
        same &= np.abs(turn).max(axis=0) < CORNER
        if not same.any():
            continue
        p, step = p[:, same], step[:, same]
        s = np.concatenate([np.zeros((1, step.shape[1])), np.cumsum(step, axis=0)])
        for k in (1, 3):
            there = sum(
                p[a] * ((s[k] - s[b]) * (s[k] - s[c]) / ((s[a] - s[b]) * (s[a] - s[c])))[:, None]
                for a, b, c in ((0, 2, 4), (2, 0, 4), (4, 0, 2))
            )
            along = (p[k + 1] - p[k - 1]) / np.hypot(*(p[k + 1] - p[k - 1]).T)[:, None]
            off = there - p[k]
            miss = np.abs(off[:, 0] * along[:, 1] - off[:, 1] * along[:, 0])
            out[-1] = max(out[-1], float(miss.max()) / 8)
    return out
