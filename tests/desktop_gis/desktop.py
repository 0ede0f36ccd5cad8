"""The desktop GIS QGIS without a screen (Debian's python3-qgis), for the scripts beside this one: it starts when this is imported. Every fault
is a line; none gives status 0."""

import os
import sys

os.environ["QT_QPA_PLATFORM"] = "offscreen"
from osgeo import ogr
from qgis.core import (
    QgsApplication,
    QgsCoordinateReferenceSystem,
    QgsCoordinateTransform,
    QgsExpression,
    QgsExpressionContext,
    QgsExpressionContextScope,
    QgsExpressionContextUtils,
    QgsGeometry,
    QgsMapRendererParallelJob,
    QgsMapSettings,
    QgsProject,
    QgsVectorLayer,
)
from qgis.PyQt.QtCore import QSize
from qgis.PyQt.QtGui import QColor

QgsApplication.setPrefixPath("/usr", True)
application = QgsApplication([], False)
application.initQgis()
faults = []


def need(holds, *words):
    """Notes a fault in words where something does not hold."""
    if not holds:
        faults.append(" ".join(str(word) for word in words))


def of_map(settings):
    """What expressions know of a map, as in the map's window."""
    context = QgsExpressionContext()
    context.appendScope(QgsExpressionContextUtils.globalScope())
    context.appendScope(QgsExpressionContextUtils.mapSettingsScope(settings))
    return context


def farthest(points):
    """The greatest distance between two points."""
    return max(a.distance(b) for a in points for b in points)


# A shape of straight edges lies inside of its ellipse: by 1 - cos(π/36) where it has 36 of them; the rest is the grid's scale across a CRS.
ELLIPSE_SHARE = 0.005


def ellipses_to_scale(layer, areas, name):
    """The ellipse that the style draws at a point is the same ellipse as an area, as long and in the same place and direction, whatever the CRS
    of the layer: the map brings both to its own. Small ones are not drawn, since the mark covers them. Gives how many were held to it."""
    shapes_drawn = [one for one in layer.renderer().symbol().symbolLayers() if one.layerType() == "GeometryGenerator"]
    need(len(shapes_drawn) == 1, name, "draws", len(shapes_drawn), "ellipses at a point")
    if not shapes_drawn:
        return 0
    shapes, seen = [area.geometry() for area in areas.getFeatures()], 0
    context = QgsExpressionContext(QgsExpressionContextUtils.globalProjectLayerScopes(layer))
    context.setFields(layer.fields())
    scope = QgsExpressionContextScope()
    context.appendScope(scope)
    expression = QgsExpression(shapes_drawn[0].geometryExpression())
    need(not expression.hasParserError(), name, expression.parserErrorString())
    back = QgsCoordinateTransform(layer.crs(), areas.crs(), QgsProject.instance())
    for record in layer.getFeatures():
        at = record.geometry()
        at.transform(back)
        # Of several shots in one place it is not known which is which.
        near = [shape for shape in shapes if shape.centroid().distance(at) < 0.01]
        if len(near) != 1:
            continue
        context.setFeature(record)
        scope.setVariable("map_scale", 1e-3)
        found = expression.evaluate(context)
        need(not expression.hasEvalError() and isinstance(found, QgsGeometry), name, "draws no ellipse:", expression.evalErrorString())
        if not isinstance(found, QgsGeometry):
            continue
        found.transform(back)
        axis, of_area = farthest(list(found.vertices())), farthest(list(near[0].vertices()))
        need(abs(axis / of_area - 1) < ELLIPSE_SHARE, name, "draws an ellipse of", axis, "for", of_area)
        off = found.hausdorffDistanceDensify(near[0], 0.5)
        need(off < ELLIPSE_SHARE * of_area, name, "draws an ellipse off by", off, "of", of_area)
        scope.setVariable("map_scale", 1e9)
        need(not isinstance(expression.evaluate(context), QgsGeometry), name, "draws an ellipse that its mark covers")
        seen += 1
    return seen


# Labels on the last picture: their texts, and where they stand.
labels, label_places = [], []
# Dots of 96 to the inch, as on a screen.
MM_A_DOT = 25.4 / 96


def drawn(layers, extent, crs):
    """A picture of some layers, as the project that is open would draw them."""
    settings = QgsMapSettings()
    settings.setLayers(layers)
    settings.setExtent(extent)
    settings.setOutputSize(QSize(1200, 900))
    settings.setOutputDpi(96)
    settings.setLabelingEngineSettings(QgsProject.instance().labelingEngineSettings())
    settings.setBackgroundColor(QColor("white"))
    settings.setDestinationCrs(crs)
    settings.setExpressionContext(of_map(settings))
    job = QgsMapRendererParallelJob(settings)
    job.start()
    job.waitForFinished()
    need(not job.errors(), "drawing:", [error.message for error in job.errors()])
    labels.clear(), label_places.clear()
    label_places.extend(job.takeLabelingResults().allLabels())
    labels.extend(label.labelText for label in label_places)
    return job.renderedImage()


def colours(image):
    """How many colours a picture has."""
    return len({image.pixel(x, y) for x in range(0, image.width(), 3) for y in range(0, image.height(), 3)})


def in_package(path):
    """The layers of a GeoPackage by their names."""
    source = ogr.Open(str(path))
    names = [source.GetLayer(i).GetName() for i in range(source.GetLayerCount())]
    return {name: QgsVectorLayer(f"{path}|layername={name}", name, "ogr") for name in names}


def end(*words):
    """Tells the faults and what was done."""
    for fault in faults:
        print("FAULT", fault)
    if words:
        print(*words)
    sys.stdout.flush()
    # The application's own clean-up is not what is tested.
    os._exit(1 if faults else 0)
