"""Compare two finished `features` layers: same CRS, same shots, same coordinates and heights.

Features are matched by base and shot. Exit status 1 where they do not agree.
"""

import sys

import numpy as np
from pyogrio import read_dataframe, read_info

TOLERANCE_M = 0.001


def read(path):
    columns = ["base", "shot", "ellipsoid_height_m"]
    table = read_dataframe(path, layer="features", columns=columns)
    table["shot"] = table["shot"].astype("int64")
    table = table.sort_values(["base", "shot"], ignore_index=True)
    points = table.geometry.get_coordinates()
    points["height"] = table["ellipsoid_height_m"]
    return table[["base", "shot"]], points.to_numpy(), table.crs


def main(one, other):
    count = {path: read_info(path, layer="features")["features"] for path in (one, other)}
    if count[one] != count[other]:
        sys.exit(f"the number of features differs: {count[one]} and {count[other]}")
    keys, points, crs = read(one)
    other_keys, other_points, other_crs = read(other)
    if crs != other_crs:
        sys.exit(f"the CRS differs: {crs} and {other_crs}")
    if (keys.to_numpy() != other_keys.to_numpy()).any():
        sys.exit("the shots differ")
    worst = np.abs(points - other_points).max(axis=0)
    east, north, height = (f"{each:.1e}" for each in worst)
    print(f"{len(points):,} features; greatest difference east {east}, north {north}, height {height} m")
    if not (worst <= TOLERANCE_M).all():  # also where a value is missing
        sys.exit(f"not within {TOLERANCE_M} m")


if __name__ == "__main__":
    if len(sys.argv) != 3:
        sys.exit("usage: agree.py ONE.gpkg OTHER.gpkg")
    main(sys.argv[1], sys.argv[2])
