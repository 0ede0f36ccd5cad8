"""Opens GeoPackages as a person would in the desktop GIS QGIS (Debian's python3-qgis, offscreen): each layer by itself
with its default style, then the project that the file carries. Every fault is a line; none gives status 0.

    /usr/bin/python3 open.py FOLDER_OF_PICTURES FILE.gpkg ...
"""

import os
import sys

from desktop import MM_A_DOT, colours, drawn, end, in_package, label_places, labels, need
from qgis.core import (
    QgsExpression,
    QgsExpressionContext,
    QgsExpressionContextUtils,
    QgsGeometry,
    QgsLabelingEngineSettings,
    QgsLayerTreeLayer,
    QgsPalLayerSettings,
    QgsProject,
    QgsRectangle,
    QgsUnitTypes,
    QgsVectorLayer,
    QgsWkbTypes,
)


def one_by_one(path):
    for name, layer in in_package(path).items():
        if name in ("layer_styles", "qgis_projects"):
            continue
        need(layer.isValid(), path, name, "does not open")
        message, loaded = layer.loadDefaultStyle()
        need(loaded, path, name, "takes no style:", message)
        titles = [layer.attributeAlias(i) for i in range(1, layer.fields().count())]
        need(titles and all(titles), path, name, "has fields without a title:", titles)
        if not layer.isSpatial():
            continue
        need(layer.labelsEnabled() == (layer.labeling() is not None), path, name, "labels are on without a field, or off")
        symbol = layer.renderer().symbol() if layer.renderer().type() == "singleSymbol" else None
        need(symbol is not None, path, name, "is drawn by", layer.renderer().type())
        if layer.featureCount() == 0:
            continue
        if layer.labelsEnabled() and {"feature", "measure", "role"} <= set(layer.fields().names()):
            labelled(layer, path, name)
        if name == "parts":
            parts_labelled(layer, path)
        if layer.labelsEnabled() and layer.geometryType() == QgsWkbTypes.PointGeometry:
            beside_its_mark(layer, path, name)
        extent = QgsRectangle(layer.extent())
        extent.grow(max(extent.width(), extent.height(), 1.0 if not layer.crs().isGeographic() else 1e-5) * 0.2)
        need(colours(drawn([layer], extent, layer.crs())) > 1, path, name, "draws nothing")
        context = QgsExpressionContext()
        context.appendScope(QgsExpressionContextUtils.layerScope(layer))
        context.setFields(layer.fields())
        record = next(layer.getFeatures())
        context.setFeature(record)
        if layer.mapTipTemplate():
            tip = QgsExpression.replaceExpressionText(layer.mapTipTemplate(), context)
            need("[%" not in tip, path, name, "has a tip that is no expression:", tip)


def with_labels(layer, path, name):
    """Each record with its label."""
    settings = layer.labeling().settings()
    context = QgsExpressionContext(QgsExpressionContextUtils.globalProjectLayerScopes(layer))
    expression = QgsExpression(settings.fieldName if settings.isExpression else QgsExpression.quotedColumnRef(settings.fieldName))
    need(not expression.hasParserError() and expression.prepare(context), path, name, expression.parserErrorString())
    for record in layer.getFeatures():
        context.setFeature(record)
        label = expression.evaluate(context)
        need(not expression.hasEvalError(), path, name, expression.evalErrorString())
        yield record, label


def parts_labelled(layer, path):
    """A point of a measurement tells what it is, of what; of many of a kind one is labelled. Their names in lists are the same."""
    written = {}
    for record, label in with_labels(layer, path, "parts"):
        of_one = (record["role"], record["name"], record["base"])
        written.setdefault(of_one, []).append(label)
    for (role, name, _), labels in written.items():
        found = [label for label in labels if label]
        need(found == [f"{role} {name}"], path, "parts", role, "of", name, "is labelled", labels)
    need(layer.displayExpression() and not QgsExpression(layer.displayExpression()).hasParserError(), path, "parts: no name in lists")
    print("parts", os.path.basename(path), layer.featureCount(), "of", len(written), "kinds")


def labelled(layer, path, name):
    """The name of a measurement stands once for each base, however many rows it has; sights to a base have no name of their own, and the name
    of a line or area is not written again at its corners."""
    written = {}
    for record, label in with_labels(layer, path, name):
        if record["role"] in ("backsight", "foresight"):
            need(not label, path, name, "labels a sight to a base:", label)
        elif record["string"] and record["string"].lower() == record["feature"].lower():
            need(not label, path, name, "labels a corner by the name of its line:", label)
        elif record["measure"]:
            of_one = (record["feature"], record["base"])
            written[of_one] = written.get(of_one, 0) + (1 if label else 0)
        else:
            need(label == record["feature"], path, name, "labels", record["feature"], "by", label)
    need(all(count == 1 for count in written.values()), path, name, "writes names so often:", written)


def beside_its_mark(layer, path, name):
    """The label of a point stands less than a millimetre off its mark, whatever ellipse is drawn round it."""
    settings = layer.labeling().settings()
    marks = [one for one in layer.renderer().symbol().symbolLayers() if one.layerType() == "SimpleMarker"]
    need(settings.offsetType == QgsPalLayerSettings.FromPoint, path, name, "has labels off the whole symbol")
    need(marks and 0 < settings.dist - marks[0].size() / 2 < 1, path, name, "has labels", settings.dist, "mm from the point")


def thickness(layer):
    """Half of the mark of a layer of points, in millimetres on the map."""
    return next(one.size() for one in layer.renderer().symbol().symbolLayers() if one.layerType() == "SimpleMarker") / 2


def names_off_marks(layers, extent, crs, path):
    """No name of a point lies on a mark of another, its own layer's or not, and no name of a measurement stands twice. Those of bases, lines,
    areas and points of measurements are written in any case. Gives how many names of points there are."""
    drawn(layers, extent, crs)
    dot = extent.width() / 1200
    points = {layer.id(): layer for layer in layers if layer.geometryType() == QgsWkbTypes.PointGeometry}
    marks = []
    for layer in points.values():
        radius = thickness(layer) / MM_A_DOT * dot
        marks += [(layer.id(), record.id(), record.geometry(), radius) for record in layer.getFeatures(extent)]
    checked = 0
    for label in label_places:
        if label.layerID not in points:
            continue
        checked += 1
        if points[label.layerID].source().endswith(("layername=bases", "layername=parts")):
            continue
        box = QgsGeometry.fromRect(label.labelRect)
        covered = [mark for mark in marks if mark[:2] != (label.layerID, label.featureId) and mark[2].distance(box) < 0.8 * mark[3]]
        need(not covered, path, label.labelText, "of", label.layerID, "lies on", [mark[:2] for mark in covered])
    measured = set()
    for layer in points.values():
        if {"feature", "measure"} <= set(layer.fields().names()):
            measured |= {record["feature"] for record in layer.getFeatures() if record["measure"]}
    twice = {text for text in labels if text in measured and labels.count(text) > 1}
    need(not twice, path, "writes twice:", sorted(twice))
    return checked


def names_at_scales(path, leaves, project):
    """Pictures about each base, of what is shown at first, of all layers, and of all as they are dragged into a project, at the scales at which
    bases, features and points of measurements are labelled first."""
    spatial = [leaf for leaf in leaves if leaf.layer().isSpatial()]
    bases = next((leaf.layer() for leaf in spatial if leaf.layer().id() == "standoff_bases"), None)
    checked, lost = 0, set()
    if bases is None or bases.crs() != project.crs():
        return checked
    # The CRS of an example has feet.
    metre = QgsUnitTypes.fromUnitToUnitFactor(QgsUnitTypes.DistanceMeters, project.crs().mapUnits())
    for shown in ([leaf.layer() for leaf in spatial if leaf.isVisible()], [leaf.layer() for leaf in spatial], dragged(path, project)):
        for scale in (9_990, 2_490, 990):
            width = scale * 1200 * MM_A_DOT / 1000 * metre
            for base in bases.getFeatures():
                middle = base.geometry().asPoint()
                extent = QgsRectangle.fromCenterAndSize(middle, width, width * 0.75)
                checked += names_off_marks(shown, extent, project.crs(), path)
                lost |= parts_without_name(shown, extent) if scale < 1_000 else set()
    print("unnamed parts", os.path.basename(path), sorted(lost))
    return checked


def parts_without_name(layers, extent):
    """Points of measurements well within the last picture that it names nowhere."""
    within = QgsRectangle(extent)
    within.scale(0.8)
    shown = [layer for layer in layers if "layername=parts" in layer.source()]
    return {f"{one['role']} {one['name']}" for layer in shown for one in layer.getFeatures(within)} - set(labels)


def dragged(path, project):
    """The layers with geometry under identities of that program's own, points first."""
    found = [layer for layer in in_package(path).values() if layer.isSpatial()]
    for layer in found:
        layer.loadDefaultStyle()
        need(project.addMapLayer(layer, False), path, layer.name(), "is not taken")
    return sorted(found, key=lambda layer: layer.geometryType())


def as_project(path, pictures):
    name = os.path.basename(path)[: -len(".gpkg")]
    project = QgsProject.instance()
    project.clear()
    need(project.read(f"geopackage:{path}?projectName={name}"), path, "has a project that does not open:", project.error())
    need(project.crs().isValid(), path, "has a project without a CRS")
    leaves = project.layerTreeRoot().findLayers()
    need(leaves, path, "has a project without layers")
    shown = []
    for leaf in leaves:
        layer = leaf.layer()
        need(isinstance(leaf, QgsLayerTreeLayer) and layer is not None and layer.isValid(), path, leaf.name(), "is not found")
        if layer is not None and layer.isSpatial() and leaf.isVisible():
            # Longitudes and latitudes across ±180° or round a pole are looked at in a plane.
            in_plane = layer.crs().isGeographic() and not project.crs().isGeographic()
            need(layer.crs() == project.crs() or in_plane, path, leaf.name(), "is in", layer.crs().authid(), "not", project.crs().authid())
            shown.append(layer)
    extent = QgsRectangle(project.viewSettings().defaultViewExtent())
    need(not extent.isEmpty(), path, "has a project without an extent")
    image = drawn(shown, extent, project.crs())
    need(colours(image) > 2, path, "has a project that draws nothing")
    print("labels", name, sorted(set(labels)))
    image.save(os.path.join(pictures, f"{name}.png"))
    need(project.labelingEngineSettings().placementVersion() == QgsLabelingEngineSettings.PlacementEngineVersion2, path, "is labelled of old")
    related = project.relationManager().relations()
    tied = set()
    for relation in related.values():
        need(relation.isValid(), path, relation.name(), "is no relation")
        if any(next(relation.getRelatedFeatures(record), None) for record in relation.referencedLayer().getFeatures()):
            tied.add(relation.referencingLayerId())
    tables = {f"standoff_{table}" for table in ("measurements", "residuals")} & set(project.mapLayers())
    need(tables <= tied, path, "has tables that belong to no feature:", tables - tied)
    print("names", name, names_at_scales(path, leaves, project))
    size = max(extent.width(), extent.height())
    print(name, len(leaves), "layers", len(shown), "shown", len(related), "relations", project.crs().authid(), f"{size:.0f}")


for path in sys.argv[2:]:
    one_by_one(path)
    as_project(path, sys.argv[1])
end()
