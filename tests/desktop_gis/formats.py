"""Formats against other readers and published schemas, in an environment of its own (tests/desktop_gis/requirements.txt): KML by the OGC's
schema (ogckml22.xsd, which fastkml carries), DXF by ezdxf's audit, JSON-FG, KML, KMZ and GPX by a current GDAL. Every fault is a line; none
gives status 0.

    target/gis-venv/bin/python formats.py OUTPUT_FOLDER ...
"""

import json
import sys
from pathlib import Path

import ezdxf
import fastkml
import pyogrio
from ezdxf.lldxf.encoding import decode_dxf_unicode
from lxml import etree

faults = []


def need(holds, *words):
    if not holds:
        faults.append(" ".join(str(word) for word in words))


def kml(path):
    schema = etree.XMLSchema(etree.parse(str(Path(fastkml.__file__).parent / "schema" / "ogckml22.xsd")))
    document = etree.parse(str(path))
    need(schema.validate(document), path.name, "is not valid:", [str(error) for error in schema.error_log][:3])
    return len(document.findall(".//{http://www.opengis.net/kml/2.2}Placemark"))


def records(path):
    return sum(pyogrio.read_info(path, layer=layer)["features"] for layer, _ in pyogrio.list_layers(path))


def dxf(path, geojson):
    drawing = ezdxf.readfile(path)
    audit = drawing.audit()
    need(not audit.errors and not audit.fixes, path.name, [error.message for error in audit.errors + audit.fixes][:3])
    name, space = path.stem, drawing.modelspace()
    on_layers = {}
    for entity in space:
        on_layers.setdefault(entity.dxf.layer, []).append(entity)
    drawn = {}
    for file in geojson.glob(f"{name}.*.geojson"):
        features = json.loads(file.read_text())["features"]
        if features and features[0]["geometry"]:
            drawn[file.name.split(".")[-2]] = features
    need(set(on_layers) == set(drawn), path.name, "has layers", sorted(on_layers), "not", sorted(drawn))
    colours = [layer.color for layer in drawing.layers if layer.dxf.name in drawn]
    need(all(1 <= colour <= 255 for colour in colours), path.name, "has colours", colours)
    heights = set()
    for layer, features in drawn.items():
        entities = on_layers.get(layer, [])
        need(len(entities) == len(features), path.name, layer, len(entities), "entities of", len(features), "records")
        if features[0]["geometry"]["type"] != "Point":
            continue
        for entity, feature in zip(entities, features):
            values = {attribute.dxf.tag: decode_dxf_unicode(attribute.dxf.text) for attribute in entity.attribs}
            properties = feature["properties"]
            label = next(properties[key] for key in properties if key in ("feature", "base", "name", "number"))
            need(values.get("NAME") == str(label), path.name, layer, values, "not", label)
            need([a.dxf.tag for a in entity.attribs if not a.is_invisible] == ["NAME"], path.name, layer, "shows more than the name")
            easting = properties.get("easting")
            if easting is not None and layer == "features":
                off = max(abs(entity.dxf.insert.x - easting), abs(entity.dxf.insert.y - properties["northing"]))
                need(off < 2e-4, path.name, layer, label, "lies off by", off)
            heights.update(attribute.dxf.height for attribute in entity.attribs)
    need(len(heights) <= 1, path.name, "has texts of several heights:", heights)
    return len(space)


for folder in map(Path, sys.argv[1:]):
    for path in sorted(folder.glob("kml/*.kml")):
        placemarks, found = kml(path), records(path)
        need(placemarks == found > 0, path.name, placemarks, "placemarks,", found, "read by GDAL")
        need(records(folder / "kmz" / f"{path.stem}.kmz") == found, path.stem, "differs in the archive")
        print("kml", path.name, placemarks)
    for path in sorted(folder.glob("gpx/*.gpx")):
        points = pyogrio.read_info(path, layer="waypoints", force_feature_count=True)["features"]
        need(points > 0, path.name, "has no waypoints")
        print("gpx", path.name, points)
    for path in sorted(folder.glob("jsonfg/*.json")):
        told, info = json.loads(path.read_text()), pyogrio.read_info(path)
        need(info["features"] == len(told["features"]), path.name, info["features"], "read by GDAL of", len(told["features"]))
        code = told["coordRefSys"].rsplit("/", 1)[-1]
        need(info["crs"] is None or info["crs"].endswith(code), path.name, "is in", info["crs"], "not", code)
        print("jsonfg", path.name, info["features"])
    for path in sorted(folder.glob("dxf/*.dxf")):
        print("dxf", path.name, dxf(path, folder / "geojson"))
for fault in faults:
    print("FAULT", fault)
sys.exit(1 if faults else 0)
