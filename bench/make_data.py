"""Write an invented job of any size: bases.csv, shots.csv and two job files.

The same rows, bases and seed give the same bytes. job.toml is the job that is timed; job-fixed.toml
has a fixed declination and no refraction, so that its coordinates can be compared with the script's.
"""

import argparse
from pathlib import Path

import numpy as np

CHUNK = 500_000
CODES = np.array(["tree", "pole", "wall", "rock", "shrub", "gate"])
START = np.datetime64("2026-05-04T08:00:00")

JOB = """\
title = "Benchmark: every place and value is invented"
name = "bench"
crs = "EPSG:32632"
formats = ["gpkg"]

[bases]
files = ["bases.csv"]
crs = "EPSG:4979"

[shots]
files = ["shots.csv"]

[instrument]
sigma_distance_m = 0.1
sigma_azimuth_deg = 0.5
sigma_inclination_deg = 0.2
refraction = {refraction}

[north]
declination = {declination}

[heights]
instrument_height_m = 1.5
target_height_m = 0
"""

# The declination of job-fixed.toml and of script_baseline.py, in degrees, east positive.
DECLINATION_DEG = 3.2


def write_bases(path, bases, rng):
    """Positions over a square of 20 km near 46.2 N 8.9 E, heights above the ellipsoid."""
    lat = 46.2 + rng.uniform(-0.09, 0.09, bases)
    lon = 8.9 + rng.uniform(-0.13, 0.13, bases)
    height = rng.uniform(300.0, 900.0, bases)
    sigma_horizontal = rng.uniform(0.3, 1.2, bases)
    rows = zip(range(1, bases + 1), lat, lon, height, sigma_horizontal, 1.5 * sigma_horizontal)
    with open(path, "w", newline="\n") as out:
        out.write("base,lat_deg,lon_deg,ellipsoid_height_m,sigma_horizontal_m,sigma_vertical_m\n")
        out.writelines("B%04d,%.8f,%.8f,%.3f,%.2f,%.2f\n" % row for row in rows)


def write_repeats(path, rows, bases, each, rng):
    """Shots of features, each shot `each` times from one base: readings that agree within the instrument's standard errors."""
    features = rows // each
    base = np.arange(features) * bases // features
    azimuth, inclination, distance = rng.uniform(0, 360, features), rng.uniform(-15, 15, features), rng.uniform(5, 200, features)
    row = np.arange(features * each)
    of = row // each
    columns = (
        base[of] + 1,
        row + 1,
        np.datetime_as_string(START + row + 1),
        of + 1,
        (azimuth[of] + rng.normal(0, 0.5, len(row))) % 360,
        inclination[of] + rng.normal(0, 0.2, len(row)),
        distance[of] + rng.normal(0, 0.1, len(row)),
    )
    line = "B%04d,%d,%sZ,tree,F%06d,%.1f,%.1f,%.2f\n".__mod__
    with open(path, "w", newline="\n") as out:
        out.write("base,shot,time,code,feature,magnetic_azimuth_deg,inclination_deg,slope_distance_m\n")
        out.writelines(map(line, zip(*(column.tolist() for column in columns))))


def write_shots(path, rows, bases, rng):
    """Shots in equal runs, base after base, one a second; written in chunks of bounded size."""
    line = "B%04d,%d,%sZ,%s,%.1f,%.1f,%.2f\n".__mod__
    with open(path, "w", newline="\n") as out:
        out.write("base,shot,time,code,magnetic_azimuth_deg,inclination_deg,slope_distance_m\n")
        for first in range(0, rows, CHUNK):
            row = np.arange(first, min(first + CHUNK, rows))
            size = len(row)
            base = row * bases // rows
            first_of_base = -(-base * rows // bases)
            columns = (
                base + 1,
                row - first_of_base + 1,
                np.datetime_as_string(START + row + 1),
                rng.choice(CODES, size),
                rng.integers(0, 3600, size) / 10,
                rng.integers(-150, 151, size) / 10,
                rng.integers(500, 20_000, size) / 100,
            )
            out.writelines(map(line, zip(*(column.tolist() for column in columns))))


def make(rows, bases, folder, seed, each=1):
    folder.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng(seed)
    write_bases(folder / "bases.csv", bases, rng)
    if each > 1:
        write_repeats(folder / "shots.csv", rows, bases, each, rng)
    else:
        write_shots(folder / "shots.csv", rows, bases, rng)
    (folder / "job.toml").write_text(JOB.format(declination='"model"', refraction=0.13))
    (folder / "job-fixed.toml").write_text(JOB.format(declination=DECLINATION_DEG, refraction=0.0))


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("rows", type=int, metavar="ROWS")
    parser.add_argument("bases", type=int, metavar="BASES")
    parser.add_argument("outdir", type=Path, metavar="OUTDIR")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--each", type=int, default=1, metavar="N", help="shots of each feature, all from one base")
    arguments = parser.parse_args()
    if not 1 <= arguments.bases <= arguments.rows:
        parser.error("BASES must be at least 1 and at most ROWS")
    make(arguments.rows, arguments.bases, arguments.outdir, arguments.seed, arguments.each)
