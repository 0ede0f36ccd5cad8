"""GeoJSON across ±180° held to a second way: GDAL brings the whole shapes of the GeoPackage, which are in a projected CRS, to longitudes from 0
to 360, and GEOS intersects them with either half of the globe. Every fault is a line; none gives status 0.

    /usr/bin/python3 antimeridian.py FOLDER_OF_PICTURES OUTPUT_FOLDER ...
"""

import sys
from pathlib import Path

from desktop import end, need
from osgeo import ogr, osr

ogr.UseExceptions()
osr.UseExceptions()
# GEOS cuts along a straight line of longitudes and latitudes, from which a geodesic of length L bends by L² tan φ / (8 R): 2.4 mm for 206 m,
# the longest edge here, at 71° of latitude. GeoJSON prints a tenth of a millimetre. A degree of latitude has 111 km.
NEAR_DEG = 2.5e-3 / 111e3
HALVES = [ogr.CreateGeometryFromWkt(f"POLYGON (({w} -90, {w + 180} -90, {w + 180} 90, {w} 90, {w} -90))") for w in (0, 180)]


def parts(geometry):
    """Simple geometries of one."""
    if geometry.GetGeometryCount() == 0 or geometry.GetGeometryName() == "POLYGON":
        return [geometry]
    return [part for i in range(geometry.GetGeometryCount()) for part in parts(geometry.GetGeometryRef(i))]


def moved(geometry, by):
    """A geometry with its longitudes moved."""
    for part in parts(geometry):
        for line in [part.GetGeometryRef(i) for i in range(part.GetGeometryCount())] or [part]:
            for i in range(line.GetPointCount()):
                line.SetPoint_2D(i, by(line.GetX(i)), line.GetY(i))
    return geometry


def cut(geometry, way):
    """The parts of a geometry of the plane, each by what it spans, from west to east."""
    whole = geometry.Clone()
    whole.FlattenTo2D()
    whole.Transform(way)
    moved(whole, lambda lon: lon % 360)
    east, west = [whole.Intersection(half) for half in HALVES]
    found = parts(east) + parts(moved(west, lambda lon: lon - 360))
    return sorted(part.GetEnvelope() for part in found if not part.IsEmpty() and part.GetGeometryName() != "POINT")


def compared(package, name, path):
    theirs = ogr.Open(str(package))
    layer, globe = theirs.GetLayerByName(name), osr.SpatialReference()
    globe.ImportFromEPSG(4326)
    globe.SetAxisMappingStrategy(osr.OAMS_TRADITIONAL_GIS_ORDER)
    way, ours = osr.CoordinateTransformation(layer.GetSpatialRef(), globe), ogr.Open(str(path))
    wanted = [cut(record.GetGeometryRef(), way) for record in layer]
    records = [record.GetGeometryRef().Clone() for record in ours.GetLayer(0)]
    need(len(wanted) == len(records) > 0, path.name, "has", len(records), "records, not", len(wanted))
    several = 0
    for i, (record, boxes) in enumerate(zip(records, wanted)):
        found = sorted(part.GetEnvelope() for part in parts(record))
        several += len(found) > 1
        need(len(found) == len(boxes), path.name, i, "is of", len(found), "parts, not", len(boxes))
        for one, two in zip(found, boxes):
            off = max(abs(a - b) for a, b in zip(one, two))
            need(off < NEAR_DEG, path.name, i, "is off by", off, "degrees:", one, two)
    return several


for folder in map(Path, sys.argv[2:]):
    package = next(folder.glob("*.gpkg"))
    counts = {}
    for name in ("sight_lines", "ellipses", "lines", "areas"):
        path = folder / "geojson" / f"{package.stem}.{name}.geojson"
        counts[name] = compared(package, name, path)
    print("cut", package.stem, counts["lines"], "lines", counts["areas"], "areas", counts["sight_lines"], "sight lines")
end()
