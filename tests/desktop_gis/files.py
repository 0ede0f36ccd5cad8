"""Opens files of the other formats as a person would who drags them into the desktop GIS QGIS (Debian's python3-qgis, offscreen): FlatGeobuf,
GeoJSON, JSON-FG, Shapefile and delimited text, tables too, with the style that lies beside them, delimited text by its .csvt and .prj, DXF by
kinds of geometry. Each is held to the layer of the GeoPackage beside it. Every fault is a line; none gives status 0.

    /usr/bin/python3 files.py FOLDER_OF_PICTURES OUTPUT_FOLDER ...
"""

import os
import sys
from pathlib import Path

from desktop import colours, drawn, ellipses_to_scale, end, in_package, need
from qgis.core import (
    QgsCoordinateReferenceSystem,
    QgsExpression,
    QgsExpressionContext,
    QgsExpressionContextUtils,
    QgsRectangle,
    QgsVectorLayer,
    QgsWkbTypes,
)
from qgis.PyQt.QtCore import QVariant


def drawn_whole(layers, crs):
    """A picture of layers over all of them."""
    extent = QgsRectangle()
    for layer in layers:
        extent.combineExtentWith(layer.extent())
    extent.grow(max(extent.width(), extent.height(), 1e-5 if crs.isGeographic() else 1.0) * 0.2)
    return drawn(layers, extent, crs)


def ring(layer):
    """The extent as numbers."""
    extent = layer.extent()
    return [extent.xMinimum(), extent.yMinimum(), extent.xMaximum(), extent.yMaximum()]


def plane(layer):
    """The parameters of the CRS: beside delimited text it has no code."""
    return layer.crs().toProj().replace("+type=crs", "").split()


def own_fields(layer):
    """Numbers of the fields that the program wrote: not the key of the GeoPackage, nor the geometry of delimited text."""
    return [i for i, field in enumerate(layer.fields()) if field.name() not in ("fid", "WKT")]


def titled(layer, known, name):
    """Titles, widgets with their choices, what the table keeps back and the tabs of the form are those of the GeoPackage, in its order."""
    ours, theirs = own_fields(layer), own_fields(known)
    need(len(ours) == len(theirs), name, "has", len(ours), "fields of", len(theirs))

    def told(of, i):
        widget, field = of.editorWidgetSetup(i), of.fields().at(i).name()
        column = next((column for column in of.attributeTableConfig().columns() if column.name == field), None)
        return of.attributeAlias(i), widget.type(), widget.config(), column is not None and column.hidden

    for i, j in zip(ours, theirs):
        need(layer.attributeAlias(i), name, layer.fields().at(i).name(), "has no title")
        need(told(layer, i) == told(known, j), name, layer.fields().at(i).name(), "is", told(layer, i), "not", told(known, j))
    # Without tabs a form has the fields themselves.
    tabs = [[(tab.name(), len(getattr(tab, "children", list)())) for tab in of.editFormConfig().tabs()] for of in (layer, known)]
    need(tabs[0] and tabs[0] == tabs[1], name, "has a form of", tabs[0], "not", tabs[1])


def beside(path, known):
    """A file with one layer, held to that of the GeoPackage."""
    layer = QgsVectorLayer(str(path), path.stem, "ogr")
    name = f"{path.parent.name}/{path.name}"
    need(layer.isValid(), name, "does not open")
    need(layer.featureCount() == known.featureCount(), name, "has", layer.featureCount(), "records of", known.featureCount())
    need(layer.isSpatial() == known.isSpatial(), name, "is drawn or not as the layer of the GeoPackage is not")
    titled(layer, known, name)
    if not known.isSpatial():
        return None
    need(layer.geometryType() == known.geometryType(), name, "is of", layer.geometryType())
    is_wgs84 = path.suffix in (".geojson", ".json")
    need(layer.crs().isValid(), name, "has no CRS")
    if not is_wgs84:
        need(layer.crs() == known.crs() or plane(layer) == plane(known), name, "is in", layer.crs().authid(), plane(layer))
        off = max(abs(a - b) for a, b in zip(ring(layer), ring(known)))
        need(off < 1e-3, name, "lies off by", off)
    need(layer.labelsEnabled() == known.labelsEnabled(), name, "has labels on or off as the GeoPackage has not")
    need(layer.renderer().dump() == known.renderer().dump() or path.suffix == ".shp", name, "is drawn by another style")
    need(colours(drawn_whole([layer], layer.crs())) > 1, name, "draws nothing")
    return layer


# Roles whose rows have the name of a measurement in the style that other GIS load: once in each, and in one place.
NAMED_ROLES = ("foot", "distance", "left")


def by_other_style(path, known):
    """The style that other GIS load, in this one: it is taken, has labels where the other has, to the same scale, and names neither sights to
    bases nor each row of a measurement. Gives how many records it names."""
    layer = QgsVectorLayer(str(path), path.stem, "ogr")
    said, taken = layer.loadSldStyle(str(path.with_suffix(".sld")))
    need(taken, path.name, "does not take its SLD:", said)
    writes = known.labelsEnabled() and known.labeling().settings().drawLabels
    need(layer.labelsEnabled() == writes, path.name, "has labels by its SLD, or lacks them")
    need(colours(drawn_whole([layer], layer.crs())) > 1, path.name, "draws nothing by its SLD")
    if not layer.labelsEnabled():
        return 0
    rules, named = layer.labeling().rootRule().children(), 0
    need(len(rules) == 1 and rules[0].minimumScale() > 0, path.name, "has so many kinds of labels by its SLD:", len(rules))
    context = QgsExpressionContext(QgsExpressionContextUtils.globalProjectLayerScopes(layer))
    for record in layer.getFeatures():
        context.setFeature(record)
        expression = QgsExpression(rules[0].filterExpression() or "TRUE")
        if not expression.evaluate(context):
            continue
        named += 1
        values = {field.name().lower(): record[field.name()] or None for field in layer.fields()}
        need(values.get("role") not in ("backsight", "foresight"), path.name, "names a sight to a base by its SLD:", values)
        if "feature" in values and values.get("measure"):
            need(values["role"] in NAMED_ROLES, path.name, "names a row of a measurement by its SLD:", values["role"])
    return named


def typed(layer, known, name):
    """Numbers are numbers, and times are times."""
    for field in known.fields():
        at = layer.fields().indexOf(field.name())
        if field.name() == "fid":
            continue
        need(at >= 0, name, "has no field", field.name())
        kinds = {QVariant.Double: {QVariant.Double}, QVariant.LongLong: {QVariant.LongLong, QVariant.Int}, QVariant.DateTime: {QVariant.DateTime}}
        if at >= 0:
            found = layer.fields().at(at).type()
            need(found in kinds.get(field.type(), {found}), name, field.name(), "is of the type", layer.fields().at(at).typeName())


def opened(folder):
    """The files of a format that a person opens, one a layer: a table among Shapefiles is a .dbf alone."""
    ending = {"jsonfg": "json"}.get(folder.name, folder.name)
    files = [path for path in folder.glob(f"*.{ending}") if path.name != "datapackage.json"]
    if ending == "shp":
        files += [path for path in folder.glob("*.dbf") if not path.with_suffix(".shp").exists()]
    return sorted(files)


def rounded(geometry):
    """A point in millimetres."""
    point = geometry.constGet()
    return round(point.x() * 1000), round(point.y() * 1000)


def near(place, places):
    """Whether there is a place, give or take a millimetre of rounding."""
    x, y = place
    return any((x + i, y + j) in places for i in (-1, 0, 1) for j in (-1, 0, 1))


def drawing(path, pictures, known):
    """Each kind of geometry of a drawing is a layer of its own where it is dragged in. Texts are points there: they lie on the points of the
    GeoPackage's layers, so that no marker is beside what was mapped."""
    places = set()
    for of in known.values():
        if of.isSpatial() and of.geometryType() == QgsWkbTypes.PointGeometry:
            places.update(rounded(record.geometry()) for record in of.getFeatures())
    layers = []
    for kind in ("Point", "LineString", "Polygon"):
        layer = QgsVectorLayer(f"{path}|layername=entities|geometrytype={kind}", f"{path.stem} {kind}", "ogr")
        need(layer.isValid(), path.name, kind, "does not open")
        if layer.isValid() and layer.featureCount() > 0:
            layers.append(layer)
        if kind == "Point":
            off = [record["Text"] for record in layer.getFeatures() if not near(rounded(record.geometry()), places)]
            need(not off, path.name, "has points that were not mapped:", off[:5])
    whole = QgsVectorLayer(f"{path}|layername=entities", path.stem, "ogr")
    found = sum(layer.featureCount() for layer in layers)
    need(layers and found == whole.featureCount(), path.name, found, "entities by kind of", whole.featureCount())
    image = drawn_whole(layers, QgsCoordinateReferenceSystem())
    need(colours(image) > 2, path.name, "draws in so many colours:", colours(image))
    image.save(os.path.join(pictures, f"{path.stem}.dxf.png"))
    return found


# Tables of the GeoPackage that hold no records of the run.
NOT_LAYERS = {"layer_styles", "qgis_projects"}

for folder in map(Path, sys.argv[2:]):
    package = next(folder.glob("*.gpkg"))
    known = in_package(package)
    for ending in ("fgb", "geojson", "jsonfg", "shp", "csv"):
        shown, seen, held, named = [], 0, 0, 0
        for path in opened(folder / ending):
            of = known.get(path.name.split(".")[-2])
            need(of is not None, path.name, "is of no layer")
            if of is None:
                continue
            layer, seen = beside(path, of), seen + 1
            if ending in ("csv", "fgb") and of is not None:
                typed(layer or QgsVectorLayer(str(path), path.stem, "ogr"), of, path.name)
            if layer is not None and of.name() == "features" and "ellipses" in known:
                held += ellipses_to_scale(layer, known["ellipses"], path.name)
            if layer is not None and ending in ("geojson", "shp"):
                named += by_other_style(path, of)
            if layer is not None and of.name() in ("features", "bases", "lines", "areas"):
                shown.append(layer)
        if shown:
            shown.sort(key=lambda layer: layer.geometryType())
            drawn_whole(shown, shown[0].crs()).save(os.path.join(sys.argv[1], f"{package.stem}.{ending}.png"))
        need(seen == len(known) - len(NOT_LAYERS), package.stem, ending, "has", seen, "files for", len(known) - len(NOT_LAYERS), "layers")
        print(ending, package.stem, seen, "ellipses", held, "named", named)
    for path in sorted((folder / "dxf").glob("*.dxf")):
        print("dxf", path.stem, drawing(path, sys.argv[1], known))
end()
