"""Networks of 20,000, 100,000 and 400,000 readings over many bases: the adjustment alone and the whole program, beside SciPy's
plain sparse solution of the same network, in one run and in turns.

    cargo build --release --example network_time && cargo build --release
    target/bench-venv/bin/python bench/network.py            # three rounds of each size
    target/bench-venv/bin/python bench/network.py --rounds 1 --sizes 20000

Needs numpy and scipy. Seconds are wall time and processor time (user and system of the whole process). The solution alone is
what each program times in itself: the adjustment with starts, misclosures, residuals, redundancy numbers and tests; SciPy's
iterations from the true places, without any of these, and without the reading of its file.
"""

import argparse
import math
import re
import resource
import statistics
import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
# Readings: bases across, points. A point has about nine readings, a line between two neighbouring bases six.
SIZES = {20_000: (20, 1_720), 100_000: (45, 8_480), 400_000: (90, 33_800)}
A, F = 6378137.0, 1 / 298.257223563
E2 = F * (2 - F)

JOB = """name = "network"
crs = "EPSG:32632"
formats = ["csv"]
layers = ["features", "bases", "adjusted", "residuals"]
[bases]
files = ["bases.csv"]
crs = "EPSG:4979"
sigma_horizontal_m = 0.021
sigma_vertical_m = 0.03
[shots]
files = ["shots.csv"]
[instrument]
sigma_azimuth_deg = 0.28648
sigma_inclination_deg = 0.17189
sigma_distance_m = 0.15
refraction = 0.13
[north]
sigma_orientation_deg = 0.34377
[heights]
instrument_height_m = 1.5
target_height_m = 0.4
[network]
"""


def geodetic(x, y, z):
    """Latitude, longitude and height by Bowring's closed form, one pass."""
    r, b = math.hypot(x, y), A * (1 - F)
    beta = math.atan2(A * z, b * r)
    lat = math.atan2(z + E2 / (1 - E2) * b * math.sin(beta) ** 3, r - E2 * A * math.cos(beta) ** 3)
    n = A / math.sqrt(1 - E2 * math.sin(lat) ** 2)
    return math.degrees(lat), math.degrees(math.atan2(y, x)), r * math.cos(lat) + z * math.sin(lat) - A * A / n


def logs(listing, folder):
    """The logs of a crew that make the network of a listing."""
    bases, shots = ["base,lat_deg,lon_deg,ellipsoid_height_m"], []
    readings = [line.split(",") for line in listing.read_text().splitlines() if line.startswith("reading")]
    shooters = {f[2] for f in readings}
    name = lambda s: f"B{s}" if s in shooters else f"P{s}"
    for line in listing.read_text().splitlines():
        f = line.split(",")
        if f[0] == "station" and len(f) > 6:
            lat, lon, height = geodetic(*(float(v) for v in f[6:9]))
            bases.append(f"{name(f[1])},{lat:.11f},{lon:.11f},{height:.5f}")
    shots.append("shot,base,feature,role,true_azimuth_deg,inclination_deg,slope_distance_m,instrument_height_m")
    for k in range(0, len(readings), 3):
        a, i, s = readings[k : k + 3]
        assert (a[1], i[1], s[1]) == ("Azimuth", "Inclination", "Slope"), (a, i, s)
        role = "foresight" if a[3] in shooters else ""
        angles = f"{math.degrees(float(a[4])) % 360:.9f},{math.degrees(float(i[4])):.9f}"
        shots.append(f"{k // 3 + 1},{name(a[2])},{name(a[3])},{role},{angles},{float(s[4]):.5f},1.5")
    folder.mkdir(parents=True, exist_ok=True)
    for file, text in (("bases.csv", bases), ("shots.csv", shots)):
        (folder / file).write_text("\n".join(text) + "\n")
    (folder / "job.toml").write_text(JOB)


def run(command):
    before, begin = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    done = subprocess.run(command, capture_output=True, text=True, cwd=ROOT)
    wall, after = time.perf_counter() - begin, resource.getrusage(resource.RUSAGE_CHILDREN)
    if done.returncode != 0:
        sys.exit(f"{command}\n{done.stdout}{done.stderr}")
    processor = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    alone = re.search(r"([0-9.]+) s, sum of squares ([0-9.]+)", done.stdout)
    return wall, processor, float(alone[1]) if alone else None, float(alone[2]) if alone else None


def main():
    arguments = argparse.ArgumentParser()
    arguments.add_argument("--rounds", type=int, default=3)
    arguments.add_argument("--sizes", type=int, nargs="+", default=list(SIZES))
    arguments.add_argument("--programs", type=Path, default=ROOT / "target/release", help="folder of standoff")
    arguments.add_argument("--adjustment-only", action="store_true", help="leave out the whole program")
    options = arguments.parse_args()
    data = ROOT / "target/bench-data/networks"
    data.mkdir(parents=True, exist_ok=True)
    print("| readings | bases | program | wall s | processor s | solution alone s |\n| --: | --: | --- | --: | --: | --: |")
    for size in options.sizes:
        across, points = SIZES[size]
        listing, folder = data / f"{size}.csv", data / str(size)
        timer = [str(options.programs / "examples/network_time"), str(across), str(points), str(listing)]
        run(timer)
        logs(listing, folder)
        count = sum(line.startswith("reading") for line in listing.read_text().splitlines())
        tasks = {
            "adjustment alone": timer[:3] + ["-"],
            "standoff map, whole run": [str(options.programs / "standoff"), "map", str(folder / "job.toml"), "--out", str(folder / "out"), "--quiet"],
            "SciPy": [sys.executable, str(ROOT / "bench/network_scipy_time.py"), str(listing), "--plain"],
        }
        if options.adjustment_only:
            del tasks["standoff map, whole run"]
        measured = {name: [] for name in tasks}
        for _ in range(options.rounds):
            for name, command in tasks.items():
                measured[name].append(run(command))
        sums = {round(times[0][3], 3) for times in measured.values() if times[0][3] is not None}
        assert len(sums) == 1 or max(sums) - min(sums) < 1e-3 * max(sums), sums
        for name, times in measured.items():
            wall, processor = (statistics.median(t[k] for t in times) for k in (0, 1))
            alone = [t[2] for t in times if t[2] is not None]
            alone = f"{statistics.median(alone):.2f} ({min(alone):.2f} to {max(alone):.2f})" if alone else ""
            print(f"| {count:,} | {across * across:,} | {name} | {wall:.2f} | {processor:.2f} | {alone} |", flush=True)


main()
