//! Metadata by the Content Standard for Digital Geospatial Metadata (FGDC-STD-001-1998), the form that is read from `.shp.xml`: its short
//! element names and their order are those of the standard (from memory). The short field names of the Shapefile stand with their titles
//! and meanings under entity and attribute information.

use super::Metadata;
use crate::output::columns::Layer;
use crate::output::style::title_of;
use crate::output::xml::Document;

/// The document of a layer.
pub fn document(metadata: &Metadata, index: usize, layer: &Layer) -> String {
    let mut document = Document::declared();
    let day = metadata.day().replace('-', "");
    document.within("metadata", &[], |document| {
        identification(document, metadata, index, layer, &day);
        quality(document, metadata, index, &day);
        document.within("eainfo", &[], |document| {
            document.within("detailed", &[], |document| {
                document.within("enttyp", &[], |document| {
                    document.leaf("enttypl", &layer.id);
                    document.leaf("enttypd", &layer.description);
                    document.leaf("enttypds", "standoff");
                });
                for field in &layer.fields {
                    document.within("attr", &[], |document| {
                        document.leaf("attrlabl", &field.short);
                        document.leaf("attrdef", &format!("{}: {}", title_of(&field.name), field.description));
                        document.leaf("attrdefs", "standoff");
                    });
                }
            });
        });
        document.within("metainfo", &[], |document| {
            document.leaf("metd", &day);
            document.leaf("metstdn", "FGDC Content Standard for Digital Geospatial Metadata");
            document.leaf("metstdv", "FGDC-STD-001-1998");
        });
    });
    document.text()
}

fn identification(document: &mut Document, metadata: &Metadata, index: usize, layer: &Layer, day: &str) {
    document.within("idinfo", &[], |document| {
        document.within("citation", &[], |document| {
            document.within("citeinfo", &[], |document| {
                document.leaf("origin", "Unknown");
                document.leaf("pubdate", day);
                document.leaf("title", &format!("{}: {}", metadata.subject.title, layer.title));
            });
        });
        document.within("descript", &[], |document| {
            document.leaf("abstract", &metadata.of_layer(index, layer));
            document.leaf("purpose", "Mapping of features that cannot, or should not, be walked up to.");
        });
        if let Some([west, south, east, north]) = metadata.bounds_deg {
            document.within("spdom", &[], |document| {
                document.within("bounding", &[], |document| {
                    document.leaf("westbc", &west.to_string());
                    document.leaf("eastbc", &east.to_string());
                    document.leaf("northbc", &north.to_string());
                    document.leaf("southbc", &south.to_string());
                });
            });
        }
        document.leaf("useconst", crate::output::report::summary::CAUTION);
    });
}

fn quality(document: &mut Document, metadata: &Metadata, index: usize, day: &str) {
    document.within("dataqual", &[], |document| {
        let sure = &metadata.sure[index];
        if let Some(sentence) = sure.sentence() {
            document.within("posacc", &[], |document| {
                document.within("horizpa", &[], |document| document.leaf("horizpar", &sentence));
                if sure.height.middle_and_greatest().is_some() {
                    document.within("vertacc", &[], |document| document.leaf("vertaccr", &sentence));
                }
            });
        }
        document.within("lineage", &[], |document| {
            for step in metadata.steps() {
                document.within("procstep", &[], |document| {
                    document.leaf("procdesc", &step);
                    document.leaf("procdate", day);
                });
            }
        });
    });
}
