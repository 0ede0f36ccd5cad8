"""GDAL's feature-by-feature writing of a finished `features` layer, with its spatial index.

The layer is copied: GDAL reads it in columns and hands these to its own writer, which makes one
feature a row and calls CreateFeature on it (GeoPackage has no other way in). No value passes through
Python. The reading is part of the time, a small part, for the two run hand in hand.
"""

import sys
import time

from pyogrio.raw import open_arrow, write_arrow


def main(source, out):
    start = time.perf_counter()
    with open_arrow(source, layer="features", use_pyarrow=False) as (meta, columns):
        write_arrow(
            columns,
            out,
            layer="features",
            driver="GPKG",
            geometry_name=meta["geometry_name"],
            geometry_type=meta["geometry_type"],
            crs=meta["crs"],
            layer_options={"SPATIAL_INDEX": "YES"},
        )
    print(f"timed {time.perf_counter() - start:.3f}")


if __name__ == "__main__":
    if len(sys.argv) != 3:
        sys.exit("usage: gdal_baseline.py IN.gpkg OUT.gpkg")
    main(sys.argv[1], sys.argv[2])
