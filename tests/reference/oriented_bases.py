"""Area and perimeter of a string shot from two bases that were oriented by one known point, and the height of a mast whose foot and top were shot from
different bases: values, and standard errors by the sum of squares over every error that there is, by central differences. Nothing of the program is in it.

    python3 tests/reference/oriented_bases.py

tests/uncertainty/oriented.rs asserts what it prints."""

import math
import random

# Metres east, north, up: two bases, the known point; corners and the mast, each with the base that it is shot from.
P, Q, K = (0.0, 0.0, 0.0), (150.0, 40.0, 6.0), (60.0, -200.0, 0.0)
RING = [(P, (30.0, 80.0, 0.0)), (P, (90.0, 120.0, 0.0)), (Q, (140.0, 110.0, 6.0)), (Q, (120.0, 60.0, 6.0))]
MAST = [(P, (80.0, 60.0, -2.0)), (Q, (80.0, 60.0, 21.0))]
AZIMUTH, INCLINATION, DISTANCE = math.radians(0.4), math.radians(0.15), 0.15
# Both bases, the known point, the reading of each backsight, the corrections of distance and inclination, six shots.
SIGMAS = [0.6, 0.6, 0.5] * 2 + [0.3] * 2 + [AZIMUTH] * 2 + [0.4, math.radians(0.25)] + [AZIMUTH, INCLINATION, DISTANCE] * 6


def azimuth(a, b):
    return math.atan2(b[0] - a[0], b[1] - a[1])


def values(z):
    """With errors z: area, perimeter, height."""
    at = {P: tuple(P[k] + z[k] for k in range(3)), Q: tuple(Q[k] + z[3 + k] for k in range(3))}
    known = (K[0] + z[6], K[1] + z[7])
    # A backsight reads the true direction and its own error; what is added to the base's azimuths is the direction by coordinates less that. What all
    # azimuths of a base share falls out.
    turn = {base: azimuth(at[base], known) - azimuth(base, K) - z[8 + k] for k, base in enumerate((P, Q))}
    points = []
    for k, (base, target) in enumerate(RING + MAST):
        e, n, u = (target[i] - base[i] for i in range(3))
        a = math.atan2(e, n) + turn[base] + z[12 + 3 * k]
        i = math.atan2(u, math.hypot(e, n)) + z[11] + z[13 + 3 * k]
        d = math.hypot(e, n, u) + z[10] + z[14 + 3 * k]
        x, y, h = at[base]
        points.append((x + d * math.cos(i) * math.sin(a), y + d * math.cos(i) * math.cos(a), h + d * math.sin(i)))
    ring = points[:4]
    sides = list(zip(ring, ring[1:] + ring[:1]))
    area = 0.5 * abs(sum(a[0] * b[1] - a[1] * b[0] for a, b in sides))
    return area, sum(math.hypot(a[0] - b[0], a[1] - b[1]) for a, b in sides), points[5][2] - points[4][2]


def main():
    nothing = [0.0] * len(SIGMAS)
    right = values(nothing)
    square = [0.0] * 3
    for k, sigma in enumerate(SIGMAS):
        step = 1e-4 * sigma
        above, below = (values(nothing[:k] + [sign * step] + nothing[k + 1 :]) for sign in (1, -1))
        square = [s + ((a - b) / (2 * step) * sigma) ** 2 for s, a, b in zip(square, above, below)]
    print("area, perimeter, height", *(f"{value:.3f} ± {s**0.5:.4f}" for value, s in zip(right, square)))
    draw = random.Random(1).gauss
    drawn = [values([draw(0, sigma) for sigma in SIGMAS]) for _ in range(100_000)]
    for k, name in enumerate(("area", "perimeter", "height")):
        print(f"{name} by draws: {math.sqrt(sum((v[k] - right[k]) ** 2 for v in drawn) / len(drawn)):.4f}")


main()
