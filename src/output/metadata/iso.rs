//! Metadata by ISO 19115:2003, in the XML of ISO/TS 19139:2007: elements and their order are those of its schemas (gmd of 2007-04-17:
//! tests/reference/metadata_order.csv). Who made it is not known to the program, and is said to be unknown.

use super::Metadata;
use crate::output::xml::Document;

const CODE_LISTS: &str = "http://www.isotc211.org/2005/resources/Codelist/gmxCodelists.xml";
const NAMESPACES: [(&str, &str); 3] = [
    ("xmlns:gmd", "http://www.isotc211.org/2005/gmd"),
    ("xmlns:gco", "http://www.isotc211.org/2005/gco"),
    ("xmlns:xlink", "http://www.w3.org/1999/xlink"),
];

/// What is filled in under an element.
trait Elements {
    fn string(&mut self, name: &str, value: &str);
    fn code(&mut self, name: &str, list: &str, value: &str);
    fn date(&mut self, name: &str, day: &str);
    fn nested(&mut self, outer: &str, inner: &str, inside: impl FnOnce(&mut Document));
    fn decimal(&mut self, name: &str, value: f64);
}

impl Elements for Document {
    fn string(&mut self, name: &str, value: &str) {
        self.within(name, &[], |document| document.leaf("gco:CharacterString", value));
    }

    fn code(&mut self, name: &str, list: &str, value: &str) {
        let attributes = [("codeList", &*format!("{CODE_LISTS}#{list}")), ("codeListValue", value)];
        self.within(name, &[], |document| document.text_within(&format!("gmd:{list}"), &attributes, value));
    }

    fn date(&mut self, name: &str, day: &str) {
        self.within(name, &[], |document| document.leaf("gco:Date", day));
    }

    fn nested(&mut self, outer: &str, inner: &str, inside: impl FnOnce(&mut Document)) {
        self.within(outer, &[], |document| document.within(inner, &[], inside));
    }

    fn decimal(&mut self, name: &str, value: f64) {
        self.within(name, &[], |document| document.leaf("gco:Decimal", &value.to_string()));
    }
}

/// The document of a data set.
pub fn document(metadata: &Metadata) -> String {
    let mut document = Document::declared();
    document.within("gmd:MD_Metadata", &NAMESPACES, |document| {
        document.string("gmd:fileIdentifier", &metadata.subject.name);
        document.string("gmd:language", "eng");
        document.code("gmd:characterSet", "MD_CharacterSetCode", "utf8");
        document.code("gmd:hierarchyLevel", "MD_ScopeCode", "dataset");
        document.empty("gmd:contact", &[("gco:nilReason", "unknown")]);
        document.date("gmd:dateStamp", &metadata.day());
        document.string("gmd:metadataStandardName", "ISO 19115:2003");
        if let Some((authority, code)) = &metadata.subject.id {
            document.nested("gmd:referenceSystemInfo", "gmd:MD_ReferenceSystem", |document| {
                document.nested("gmd:referenceSystemIdentifier", "gmd:RS_Identifier", |document| {
                    document.string("gmd:code", code);
                    document.string("gmd:codeSpace", authority);
                });
            });
        }
        document.nested("gmd:identificationInfo", "gmd:MD_DataIdentification", |document| identification(document, metadata));
        document.nested("gmd:dataQualityInfo", "gmd:DQ_DataQuality", |document| quality(document, metadata));
    });
    document.text()
}

fn identification(document: &mut Document, metadata: &Metadata) {
    document.nested("gmd:citation", "gmd:CI_Citation", |document| {
        document.string("gmd:title", &metadata.subject.title);
        document.nested("gmd:date", "gmd:CI_Date", |document| {
            document.date("gmd:date", &metadata.day());
            document.code("gmd:dateType", "CI_DateTypeCode", "creation");
        });
    });
    document.string("gmd:abstract", &metadata.summary());
    document.nested("gmd:resourceConstraints", "gmd:MD_Constraints", |document| {
        document.string("gmd:useLimitation", crate::output::report::summary::CAUTION);
    });
    document.code("gmd:spatialRepresentationType", "MD_SpatialRepresentationTypeCode", "vector");
    document.string("gmd:language", "eng");
    document.within("gmd:topicCategory", &[], |document| document.leaf("gmd:MD_TopicCategoryCode", "location"));
    if let Some([west, south, east, north]) = metadata.bounds_deg {
        document.nested("gmd:extent", "gmd:EX_Extent", |document| {
            document.nested("gmd:geographicElement", "gmd:EX_GeographicBoundingBox", |document| {
                document.decimal("gmd:westBoundLongitude", west);
                document.decimal("gmd:eastBoundLongitude", east);
                document.decimal("gmd:southBoundLatitude", south);
                document.decimal("gmd:northBoundLatitude", north);
            });
        });
    }
}

fn quality(document: &mut Document, metadata: &Metadata) {
    document.nested("gmd:scope", "gmd:DQ_Scope", |document| document.code("gmd:level", "MD_ScopeCode", "dataset"));
    let sure = metadata.all_sure;
    for (half, name) in [
        (sure.radius_m, "Radius of the circle that holds a point with 95 % probability"),
        (sure.height_m, "Half of the 95 % interval of the height"),
    ] {
        let Some([middle, greatest]) = half else { continue };
        document.nested("gmd:report", "gmd:DQ_AbsoluteExternalPositionalAccuracy", |document| {
            document.string("gmd:nameOfMeasure", name);
            document.string(
                "gmd:measureDescription",
                "Propagated from the standard errors of bases, directions and distances: the median and the greatest of all points, metres.",
            );
            document.nested("gmd:result", "gmd:DQ_QuantitativeResult", |document| {
                document.within("gmd:valueUnit", &[("xlink:href", "urn:ogc:def:uom:EPSG::9001")], |_| {});
                for value in [middle, greatest] {
                    document.within("gmd:value", &[], |document| document.leaf("gco:Record", &format!("{value:.3}")));
                }
            });
        });
    }
    document.nested("gmd:lineage", "gmd:LI_Lineage", |document| {
        document.string("gmd:statement", &metadata.lineage());
        for step in metadata.steps() {
            document.nested("gmd:processStep", "gmd:LI_ProcessStep", |document| document.string("gmd:description", &step));
        }
        for file in metadata.inputs() {
            document.nested("gmd:source", "gmd:LI_Source", |document| document.string("gmd:description", &file.name));
        }
    });
}
