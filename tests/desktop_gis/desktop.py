"""The desktop GIS QGIS without a screen (Debian's python3-qgis), for the scripts beside this one: it starts when this is imported. Every fault
is a line; none gives status 0."""

import os
import sys

os.environ["QT_QPA_PLATFORM"] = "offscreen"
from osgeo import ogr
from qgis.core import QgsApplication, QgsMapRendererParallelJob, QgsMapSettings, QgsVectorLayer
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


def drawn(layers, extent, crs):
    """A picture of some layers."""
    settings = QgsMapSettings()
    settings.setLayers(layers)
    settings.setExtent(extent)
    settings.setOutputSize(QSize(1200, 900))
    settings.setBackgroundColor(QColor("white"))
    settings.setDestinationCrs(crs)
    job = QgsMapRendererParallelJob(settings)
    job.start()
    job.waitForFinished()
    need(not job.errors(), "drawing:", [error.message for error in job.errors()])
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
