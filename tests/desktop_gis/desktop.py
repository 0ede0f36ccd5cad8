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
    QgsExpressionContext,
    QgsExpressionContextUtils,
    QgsGeometry,
    QgsMapRendererParallelJob,
    QgsMapSettings,
    QgsProject,
    QgsSymbolLayer,
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


# The ends of the long axis are corners of the area; the scale of Web Mercator changes by 1 in 2 000 over a kilometre at 58° N.
ELLIPSE_SHARE = 0.005


def ellipses_to_scale(layer, areas, name):
    """The long axis of the ellipse that the style draws at a point is that of the same ellipse as an area, in the CRS of the areas and in Web
    Mercator, which is stretched. Gives how many were held to it."""
    marks = [one for one in layer.renderer().symbol().symbolLayers() if one.layerType() == "EllipseMarker"]
    need(len(marks) == 1, name, "draws", len(marks), "ellipses at a point")
    if not marks:
        return 0
    shapes, seen = [area.geometry() for area in areas.getFeatures()], 0
    for crs in (areas.crs(), QgsCoordinateReferenceSystem("EPSG:3857")):
        settings = QgsMapSettings()
        settings.setDestinationCrs(crs)
        settings.setOutputSize(QSize(1200, 900))
        to_map = QgsCoordinateTransform(layer.crs(), crs, QgsProject.instance())
        settings.setExtent(to_map.transformBoundingBox(layer.extent()))
        context = of_map(settings)
        context.appendScope(QgsExpressionContextUtils.layerScope(layer))
        context.setFields(layer.fields())
        for record in layer.getFeatures():
            at = record.geometry()
            at.transform(QgsCoordinateTransform(layer.crs(), areas.crs(), QgsProject.instance()))
            # Of several shots in one place it is not known which is which.
            near = [shape for shape in shapes if shape.centroid().distance(at) < 0.01]
            if len(near) != 1:
                continue
            shape = QgsGeometry(near[0])
            shape.transform(QgsCoordinateTransform(areas.crs(), crs, QgsProject.instance()))
            context.setFeature(record)
            drawn_axis, _ = marks[0].dataDefinedProperties().valueAsDouble(QgsSymbolLayer.PropertyHeight, context, 0.0)
            axis = farthest(list(shape.vertices()))
            need(abs(drawn_axis / axis - 1) < ELLIPSE_SHARE, name, "draws an ellipse of", drawn_axis, "for", axis, "in", crs.authid())
            seen += 1
    return seen


# Texts that stand on the last picture.
labels = []


def drawn(layers, extent, crs):
    """A picture of some layers."""
    settings = QgsMapSettings()
    settings.setLayers(layers)
    settings.setExtent(extent)
    settings.setOutputSize(QSize(1200, 900))
    settings.setBackgroundColor(QColor("white"))
    settings.setDestinationCrs(crs)
    settings.setExpressionContext(of_map(settings))
    job = QgsMapRendererParallelJob(settings)
    job.start()
    job.waitForFinished()
    need(not job.errors(), "drawing:", [error.message for error in job.errors()])
    labels.clear()
    labels.extend(label.labelText for label in job.takeLabelingResults().allLabels())
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
