"""Prints what may stand in the elements of the documents of metadata, in order, as the published schemas have it: ISO/TS 19139:2007
(gmd) as pycsw carries it, the Content Standard for Digital Geospatial Metadata (FGDC-STD-001-1998) as ckanext-spatial carries its
document type, and GPX 1.1 as the repository of gpxpy prints its schema. A name with ? may be missing, with + comes once or more, with *
any number of times; names with | between them are a choice.

    pip download --no-deps pycsw==2.6.2 ckanext-spatial==2.3.2 && unzip '*.whl'
    python metadata_order.py . gpx1.1.txt > metadata_order.csv
"""

import re
import sys
from pathlib import Path

from lxml import etree

folder, gpx = Path(sys.argv[1]), Path(sys.argv[2])
XS = "{http://www.w3.org/2001/XMLSchema}"
ISO = """MD_Metadata MD_ReferenceSystem RS_Identifier MD_DataIdentification CI_Citation CI_Date MD_Constraints EX_Extent
EX_GeographicBoundingBox DQ_DataQuality DQ_Scope DQ_AbsoluteExternalPositionalAccuracy DQ_QuantitativeResult LI_Lineage LI_ProcessStep
LI_Source""".split()
FGDC = """metadata idinfo citation citeinfo descript timeperd timeinfo sngdate status spdom bounding keywords theme dataqual posacc
horizpa vertacc lineage procstep eainfo detailed enttyp attr attrdomv edom rdom metainfo metc cntinfo cntorgp cntaddr""".split()
rows = []


def iso():
    types = {}
    schemas = folder / "pycsw/plugins/profiles/apiso/schemas/ogc/iso/19139/20070417/gmd"
    for path in sorted(schemas.glob("*.xsd")):
        for kind in etree.parse(str(path)).iter(XS + "complexType"):
            types[kind.get("name")] = kind

    def children(name):
        kind = types.get(name.split(":")[-1])
        if kind is None:
            return []
        extension = kind.find(f"{XS}complexContent/{XS}extension")
        base = children(extension.get("base")) if extension is not None else []
        sequence = (extension if extension is not None else kind).find(XS + "sequence")
        for one in sequence if sequence is not None else []:
            assert one.tag == XS + "element", (name, one.tag)
            may_miss, is_one = one.get("minOccurs", "1") == "0", one.get("maxOccurs", "1") == "1"
            often = {(False, True): "", (True, True): "?", (True, False): "*", (False, False): "+"}[may_miss, is_one]
            base.append("gmd:" + (one.get("name") or one.get("ref").split(":")[-1]) + often)
        return base

    for name in ISO:
        rows.append((f"gmd:{name}", " ".join(children(f"{name}_Type")), "pycsw 2.6.2 (PyPI), ISO 19139 schemas of 2007-04-17"))


def fgdc():
    text = (folder / "ckanext/spatial/validation/xml/fgdc/fgdc-std-001-1998.dtd").read_text()
    for name in FGDC:
        model = re.search(rf"<!ELEMENT\s+{name}\s+\(([^>]*)\)\s*>", text).group(1)
        names = re.sub(r"\(([^()]*)\)(?=\s*[,)]|$)", r"\1", re.sub(r"\s+", "", model))
        names = names.replace("(begdatea,enddatea?)*", "begdatea*,enddatea*")
        rows.append((name, " ".join(names.split(",")), "ckanext-spatial 2.3.2 (PyPI), fgdc-std-001-1998.dtd"))


def waypoints():
    depth_of = lambda line: len(line) - len(line.lstrip())
    lines = [line for line in gpx.read_text().splitlines() if line.strip() and "- attr" not in line]
    for name in ("gpx", "metadata", "wpt"):
        start = next(i for i, line in enumerate(lines) if line.strip().startswith(name + " "))
        inside = []
        for line in lines[start + 1 :]:
            if depth_of(line) <= depth_of(lines[start]):
                break
            if depth_of(line) == depth_of(lines[start]) + 4:
                inside.append(line.split()[0] + "*")
        # The print tells the order, not how often.
        rows.append((name if name != "metadata" else "gpx/metadata", " ".join(inside), "gpxpy 1.6.2 (repository), xsd/gpx1.1.txt"))


iso()
fgdc()
waypoints()
print("element,children,source")
for element, children, source in rows:
    print(f'{element},{children},"{source}"')
