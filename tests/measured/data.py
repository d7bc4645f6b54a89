"""Measured values as their sources give them; the words are ours.

PRACTICAL: a university physics practical on the skin effect, public scripts with the measured
arrays (student report; the index that held them does not name the repository). Coil of 574 turns,
500 mm long, 98 mm diameter; a probe coil whose voltage goes with B, scaled so that at the lowest
frequency it is the empty coil's; phase behind the coil's current. No conductivity was measured.

RADIO: public page of a radio hobbyist on small air coils, measured with a component analyser:
0.5 mm copper wire on a 7.1 mm drill, turns touching, with the two end wires as they come.
"""

from __future__ import annotations

COIL_LENGTH, COIL_DIAMETER = 0.5, 98e-3

# Solid aluminium cylinder, radius 45 mm, probe on the axis: Hz, mV, degrees. PRACTICAL.
CYLINDER_RADIUS = 45e-3
CYLINDER = (
    (1.0, 69.0, 5.4), (5.0, 65.0, 26.0), (10.0, 57.0, 50.0), (15.0, 48.0, 69.0),
    (20.0, 40.0, 85.0), (30.0, 28.5, 111.0), (40.0, 21.0, 132.0), (60.0, 12.5, 166.0),
    (80.0, 8.0, 196.0), (100.0, 5.4, 220.0), (120.0, 3.6, 243.0), (160.0, 1.9, 283.0),
    (200.0, 1.0, 320.0), (250.0, 0.6, 350.0),
)  # fmt: skip
# The same cylinder at 450 Hz, probe at a radius: mm, mV, degrees. PRACTICAL.
PROFILE_FREQUENCY = 450.0
PROFILE = (
    (25.0, 1.5, 215.0), (27.5, 2.2, 183.0), (30.0, 3.6, 152.0), (32.5, 5.9, 125.0),
    (35.0, 9.5, 100.0), (37.5, 15.5, 73.0), (40.0, 25.0, 47.0), (42.5, 39.0, 24.0),
    (45.0, 55.0, 5.2),
)  # fmt: skip
# Tubes of radii 30 and 35 mm, probe on the axis: stainless steel, copper. PRACTICAL.
TUBE_RADII = 30e-3, 35e-3
STEEL_TUBE = (
    (1.0, 69.6, 0.0), (10.0, 69.7, 0.45), (20.0, 69.7, 0.95), (40.0, 69.7, 1.8),
    (80.0, 69.2, 3.6), (120.0, 69.1, 5.4), (160.0, 68.7, 7.2), (200.0, 66.2, 9.0),
    (400.0, 62.7, 17.5), (600.0, 62.7, 25.4), (800.0, 59.0, 32.4), (1000.0, 54.5, 38.4),
    (1200.0, 50.5, 43.5), (1500.0, 45.0, 50.0), (1750.0, 41.0, 54.0), (2000.0, 37.2, 58.0),
    (2500.0, 32.0, 64.0), (3500.0, 24.0, 71.0), (5000.0, 18.0, 78.0), (7500.0, 12.0, 88.0),
)  # fmt: skip
COPPER_TUBE = (
    (1.0, 70.0, 2.0), (10.0, 66.0, 19.2), (20.0, 57.8, 35.2), (40.0, 41.8, 56.7),
    (80.0, 24.4, 76.7), (120.0, 16.9, 87.0), (160.0, 12.7, 94.0), (200.0, 10.0, 100.0),
    (400.0, 4.8, 121.0), (600.0, 2.9, 140.0), (800.0, 1.9, 155.0), (1000.0, 1.4, 170.0),
    (1200.0, 1.0, 180.0), (1500.0, 0.7, 200.0),
)  # fmt: skip

# Turns and inductance [nH]. RADIO.
WIRE, DRILL = 0.5e-3, 7.1e-3
AIR_COILS = ((3, 150.0), (4, 199.0), (5, 275.0), (6, 328.0), (7, 433.0), (9, 590.0))

# HF resistance of a single-layer coil over that of the same wire laid out straight, skin thin: rows
# length over mean diameter, columns pitch over wire. R. G. Medhurst, Wireless Engineer 24 (1947) 35
# and 80: measured on coils of many turns (30 to 50, recalled from memory); the table as public
# scripts of radio amateurs hold it, alike in two of them.
PITCHES = (1.25, 1.667, 2.5, 5.0)
COIL_RESISTANCE = {
    1.0: (3.17, 1.94, 1.45, 1.10),
    2.0: (2.74, 1.98, 1.50, 1.13),
    4.0: (2.60, 2.01, 1.54, 1.15),
}

# Steel of 0.1 % carbon, soft, cold: A/m and tesla (initial curve; fields are whole oersteds). A
# material table of a public program for electric motors; who measured it is not said.
SOFT_STEEL = (
    (238.7, 0.2003), (318.3, 0.3204), (477.5, 0.5606), (795.8, 0.9310), (1591.5, 1.302),
    (3183.1, 1.524), (4774.6, 1.626), (6366.2, 1.698), (7957.7, 1.73), (15915.5, 1.87),
    (47746.5, 2.04), (63662.0, 2.07), (79577.5, 2.095), (159155.0, 2.2), (318310.0, 2.4),
)  # fmt: skip
