"""Edits a GeoPackage as a person would in the desktop GIS QGIS (Debian's python3-qgis, offscreen): renames one feature, deletes another, and
closes. Prints what it did; every fault is a line; none gives status 0.

    /usr/bin/python3 edit.py FILE.gpkg LAYER OLD_NAME NEW_NAME DELETED_NAME
"""

import sys

from desktop import end, faults
from qgis.core import QgsVectorLayer

path, name, old, new, deleted = sys.argv[1:]
layer = QgsVectorLayer(f"{path}|layername={name}", name, "ogr")
if not layer.isValid() or not layer.startEditing():
    faults.append(f"{name} cannot be edited")
else:
    index = layer.fields().indexOf("feature")
    for feature in layer.getFeatures():
        if feature["feature"] == old and not layer.changeAttributeValue(feature.id(), index, new):
            faults.append("the name cannot be changed")
        if feature["feature"] == deleted and not layer.deleteFeature(feature.id()):
            faults.append("the feature cannot be deleted")
    if not layer.commitChanges():
        faults.extend(layer.commitErrors())
# The file is closed with its layer.
del layer
end("edited", old, new, deleted)
