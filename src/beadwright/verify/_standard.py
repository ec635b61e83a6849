"""Words of RS274/NGC as numbers: modal groups, ends, limits of a line.

Source: T.R. Kramer, F.M. Proctor, E. Messina, *The NIST RS274NGC Interpreter - Version 3*, NISTIR 6556:
section 3.3 (line), table 4 (modal groups), section 3.5 (G codes), table 8 (order of execution).
"""

from __future__ import annotations

MAX_LINE = 256
MAX_N_DIGITS = 5
MAX_M_WORDS = 4
# A G or M number lies this near to what it stands for (3.3.2.1: "within 0.0001 of").
NEAR_CODE = 1e-4

# The radii at both ends of an arc (3.5.3.2), in the unit of the words.
ARC_RULE_MM = 0.002
ARC_RULE_INCH = 0.0002
# Differences of printed decimals are off by some 1e-12; the rule itself is not made laxer than that.
DIGITS = 1e-11

INCH = 25.4

LETTERS = frozenset("ABCDFGHIJKLMNPQRSTXYZ")
AXES = "XYZABC"

STRAIGHT = frozenset({0, 10})
ARCS = frozenset({20, 30})
MOTIONS = frozenset({0, 10, 20, 30, 382, 800, 810, 820, 830, 840, 850, 860, 870, 880, 890})
CYCLES = frozenset(range(810, 900, 10))
# G codes, times ten, by modal group.
G_GROUPS: dict[str, frozenset[int]] = {
    "motion": MOTIONS,
    "plane": frozenset({170, 180, 190}),
    "distance": frozenset({900, 910}),
    "feed mode": frozenset({930, 940}),
    "units": frozenset({200, 210}),
    "radius compensation": frozenset({400, 410, 420}),
    "length offset": frozenset({430, 490}),
    "return in cycles": frozenset({980, 990}),
    "coordinate system": frozenset({540, 550, 560, 570, 580, 590, 591, 592, 593}),
    "path mode": frozenset({610, 611, 640}),
    "not modal": frozenset({40, 100, 280, 300, 530, 920, 921, 922, 923}),
}
GROUP_OF_G = {code: name for name, codes in G_GROUPS.items() for code in codes}
M_GROUPS: dict[str, frozenset[int]] = {
    "stop": frozenset({0, 1, 2, 30, 60}),
    "tool change": frozenset({6}),
    "spindle": frozenset({3, 4, 5}),
    "coolant": frozenset({7, 8, 9}),
    "override": frozenset({48, 49}),
}
GROUP_OF_M = {code: name for name, codes in M_GROUPS.items() for code in codes}

ENDS = frozenset({2, 30})
HALTS = frozenset({0, 1, 60})
"""M words at which the machine waits for a hand."""

# Codes of the group "not modal" that use axis words themselves, so that those are no motion.
TAKES_AXES = frozenset({100, 280, 300, 920})
SYSTEMS = (540, 550, 560, 570, 580, 590, 591, 592, 593)

# Axes of an arc's plane, first and second, then its normal; letters of the centre (3.5.3).
PLANES: dict[int, tuple[int, int, int]] = {170: (0, 1, 2), 180: (2, 0, 1), 190: (1, 2, 0)}
CENTRE_LETTERS = "IJK"

# Letters that need one of these G codes on the line, or in force (table 5 and the text of each code).
NEEDS: dict[str, frozenset[int]] = {
    "I": frozenset({20, 30, 870}),
    "J": frozenset({20, 30, 870}),
    "K": frozenset({20, 30, 870}),
    "R": frozenset({20, 30}) | CYCLES,
    "D": frozenset({410, 420}),
    "H": frozenset({430}),
    "L": frozenset({100}) | CYCLES,
    # G64 P, a path tolerance, is not in the report: controllers that descend from it have it.
    "P": frozenset({40, 100, 640, 820, 860, 880, 890}),
    "Q": frozenset({830}),
}
