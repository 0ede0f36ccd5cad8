"""Makes operations.csv and height_frames.csv: PROJ's own ranking of datum operations at twenty places, and heights carried between frames.

    python3 -m venv v && v/bin/pip install pyproj==3.7.2
    v/bin/python operations_pyproj.py FOLDER

pyproj 3.7.2 has PROJ 9.5.1 inside. FOLDER holds the proj.db of PROJ 9.6.2 (EPSG v12.013), which is the one inside the program, so that
both rank the same operations; no grid is installed.
"""

import csv
import sys
import warnings

import pyproj
from pyproj.aoi import AreaOfInterest
from pyproj.transformer import TransformerGroup

pyproj.datadir.set_data_dir(sys.argv[1])
pyproj.network.set_network_enabled(False)
warnings.simplefilter("ignore")
REACH_DEG = 0.03
SOURCE = "computed, pyproj {} with PROJ {} and proj.db of PROJ {}".format(
    pyproj.__version__, pyproj.proj_version_str, pyproj.database.get_database_metadata("PROJ.VERSION")
)

PLACES = [
    ("EPSG:4230", [(40.0, -4.0), (39.5, -8.0), (61.0, 8.0), (57.0, 2.0), (37.5, 22.5), (39.0, 33.0)]),
    ("EPSG:4267", [(38.5, -98.0), (64.0, -150.0), (51.0, -114.0), (20.5, -89.0), (22.0, -79.0)]),
    ("EPSG:4277", [(58.6, -2.9), (51.0, -1.0)]),
    ("EPSG:4301", [(35.5, 139.0), (37.0, 127.5)]),
    ("EPSG:4202", [(-23.7, 133.9), (-42.0, 146.5), (-35.3, 149.0)]),
    ("EPSG:4314", [(50.0, 10.0), (48.5, 9.0)]),
]


def ranking(source, target, lat, lon):
    """The first by PROJ's ranking, installed or not, and the first that is installed."""
    area = AreaOfInterest(lon - REACH_DEG, lat - REACH_DEG, lon + REACH_DEG, lat + REACH_DEG)
    group = TransformerGroup(source, target, area_of_interest=area, allow_ballpark=False)
    used = group.transformers[0]
    if group.best_available:
        best, best_accuracy, grids = used.description, used.accuracy, ""
    else:
        operation = group.unavailable_operations[0]
        best, best_accuracy = operation.name, operation.accuracy
        grids = " and ".join(grid.short_name for grid in operation.grids if not grid.available)
    return best, best_accuracy, grids, used


with open("operations.csv", "w", newline="") as file:
    rows = csv.writer(file, lineterminator="\n")
    rows.writerow(
        "from,to,lat_deg,lon_deg,best,best_accuracy_m,missing_grids,used,used_accuracy_m,to_lat_deg,to_lon_deg,source".split(",")
    )
    for datum, places in PLACES:
        for lat, lon in places:
            best, best_accuracy, grids, used = ranking(datum, "EPSG:4979", lat, lon)
            to_lat, to_lon, _ = used.transform(lat, lon, 0.0)
            rows.writerow(
                [datum, "EPSG:4979", lat, lon, best, best_accuracy, grids, used.description, used.accuracy,
                 f"{to_lat:.10f}", f"{to_lon:.10f}", SOURCE]
            )  # fmt: skip

# Test points of the agency's own program for EGM96 (NGA, F477 sample output; from memory), and frames that a height of 200 m may stand
# on there. Each height is carried to the International Terrestrial Reference Frame (ITRF2014, epoch 2010.0), or to WGS 84 where the
# database ties the frame to that alone.
HEIGHTS = [
    ("EPSG:6319", "EPSG:7912", 38.628155, -90.220845, -31.628),
    ("EPSG:4957", "EPSG:4979", 38.628155, -90.220845, -31.628),
    ("EPSG:4230", "EPSG:4979", 38.625473, -0.0005, 50.066),
    ("EPSG:4202", "EPSG:4979", -23.617446, 133.874712, 15.871),
    ("EPSG:7843", "EPSG:7912", -23.617446, 133.874712, 15.871),
    ("EPSG:4979", "EPSG:4979", 46.874319, 102.448729, -43.575),
]
with open("height_frames.csv", "w", newline="") as file:
    rows = csv.writer(file, lineterminator="\n")
    rows.writerow("frame,lat_deg,lon_deg,height_m,common_height_m,undulation_m,orthometric_height_m,source".split(","))
    for frame, target, lat, lon, undulation in HEIGHTS:
        height = common = 200.0
        if frame != target:
            _, _, _, used = ranking(pyproj.CRS(frame).to_3d(), target, lat, lon)
            common = used.transform(lat, lon, height, 2010.0)[2]
        rows.writerow(
            [frame, lat, lon, height, f"{common:.4f}", undulation, f"{common - undulation:.4f}", SOURCE + "; undulation published"]
        )
