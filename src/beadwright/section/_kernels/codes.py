"""Numbers that stand for the kinds of faces and of branches in the compiled loops."""

PLANE = 0
SPHERE = 1
TURNED_LINE = 2
TURNED_CIRCLE = 3
TURNED_SPLINE = 4
PUSHED_CONIC = 5
PUSHED_SPLINE = 6
FREE = 7

PAR = 17
"""Numbers of a branch; 12: how far it may lie from the section in the plane, mm; 16: off the surface, mm (of an
extrusion's line: a part of its length)."""

B_LINE = 0
"""par: x, y, dx, dy (unit, along the direction); 13: 1 if it ends at s = 0, -1 if it begins there; 14, 15: least
sine of the angle to the plane and the surface's radius there."""
B_CIRCLE = 1
"""par: centre x, y, radius, sense (+1 counter-clockwise), v on the face, 1 or -1 for a torus cut along
its axis; 14, 15: as of a line."""
B_ANGLE = 2
"""par: rows x, y, w of a matrix times (1, cos a, sin a); sense; centre and half width of a (0: closed);
13: 1 for a matrix times (cosh a, 1, sinh a);
14: height of the plane over the point of the axis that the quadric is written about."""
B_PUSHED = 3
"""par: height, sense; the directrix is the face's."""
B_LEVEL = 4
"""par: form, v at both ends, side, height, tilt, axis z, x, y, e x, e y, sense; see `level`."""
B_FREE = 5
"""par: row of the free face's own table."""

# curves.CurveKind
C_LINE = 0
C_CIRCLE = 1
C_ELLIPSE = 2
C_PARABOLA = 3
C_HYPERBOLA = 4
C_SPLINE = 5
C_LEVEL = 6
C_CONNECTOR = 7
