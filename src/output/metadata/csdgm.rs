//! Metadata by the Content Standard for Digital Geospatial Metadata (FGDC-STD-001-1998), the form that is read from `.shp.xml`: its short
//! element names, their order and which of them must be there are those of its document type (tests/reference/metadata_order.csv). The
//! short field names of the Shapefile stand with their titles and meanings under entity and attribute information. What the standard
//! demands and the program cannot know, such as whom to ask, is said to be unknown; `spdom` alone is left out where no place may be told.

use super::Metadata;
use crate::job::catalogue::Values;
use crate::numeric::words::{counted, grouped};
use crate::output::columns::{Field, FieldKind, Layer};
use crate::output::style::title_of;
use crate::output::xml::Document;

/// What the program cannot know.
const UNKNOWN: &str = "Unknown";

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
                        document.within("attrdomv", &[], |document| values(document, field));
                    });
                }
            });
        });
        document.within("metainfo", &[], |document| {
            document.leaf("metd", &day);
            document.within("metc", &[], |document| document.within("cntinfo", &[], contact));
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
                document.leaf("origin", UNKNOWN);
                document.leaf("pubdate", day);
                document.leaf("title", &format!("{}: {}", metadata.subject.title, layer.title));
            });
        });
        document.within("descript", &[], |document| {
            document.leaf("abstract", &metadata.of_layer(index, layer));
            document.leaf("purpose", "Mapping of features that cannot, or should not, be walked up to.");
        });
        document.within("timeperd", &[], |document| {
            document.within("timeinfo", &[], |document| {
                document.within("sngdate", &[], |document| document.leaf("caldate", day));
            });
            document.leaf("current", "ground condition on the last day of the logs");
        });
        document.within("status", &[], |document| {
            document.leaf("progress", "Complete");
            document.leaf("update", "Unknown");
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
        document.within("keywords", &[], |document| {
            document.within("theme", &[], |document| {
                document.leaf("themekt", "ISO 19115 Topic Category");
                document.leaf("themekey", "location");
            });
        });
        document.leaf("accconst", UNKNOWN);
        document.leaf("useconst", crate::output::report::summary::CAUTION);
    });
}

/// What values a field may have.
fn values(document: &mut Document, field: &Field) {
    match field.domain.as_ref().map(|domain| &domain.values) {
        Some(Values::List(list)) => {
            for (value, meaning) in list {
                document.within("edom", &[], |document| {
                    document.leaf("edomv", value);
                    document.leaf("edomvd", meaning);
                    document.leaf("edomvds", "the catalogue of the job");
                });
            }
        }
        Some(Values::Range { least: Some(least), greatest: Some(greatest) }) => document.within("rdom", &[], |document| {
            document.leaf("rdommin", &least.to_string());
            document.leaf("rdommax", &greatest.to_string());
        }),
        Some(Values::Range { least: Some(least), .. }) => document.leaf("udom", &format!("numbers from {least}")),
        Some(Values::Range { greatest: Some(greatest), .. }) => document.leaf("udom", &format!("numbers up to {greatest}")),
        Some(Values::Range { .. }) | None => document.leaf(
            "udom",
            match field.kind {
                FieldKind::Real => "numbers",
                FieldKind::Integer => "whole numbers",
                FieldKind::Text => "text",
                FieldKind::Time => "dates and times",
            },
        ),
    }
}

/// Whom to ask: the program does not know.
fn contact(document: &mut Document) {
    document.within("cntorgp", &[], |document| document.leaf("cntorg", UNKNOWN));
    document.within("cntaddr", &[], |document| {
        for name in ["addrtype", "city", "state", "postal"] {
            document.leaf(name, UNKNOWN);
        }
    });
    document.leaf("cntvoice", UNKNOWN);
}

fn quality(document: &mut Document, metadata: &Metadata, index: usize, day: &str) {
    document.within("dataqual", &[], |document| {
        let shots = &metadata.account.shots;
        document
            .leaf("logic", "Every row of the logs is mapped, part of a mapped feature or measurement, or held with a reason.");
        document.leaf(
            "complete",
            &format!(
                "{} of {} mapped, {} held with a reason.",
                grouped(shots.mapped),
                counted(shots.read, "shot", "shots"),
                grouped(shots.held_total())
            ),
        );
        let sure = &metadata.sure[index];
        if let Some(sentence) = sure.sentence() {
            document.within("posacc", &[], |document| {
                document.within("horizpa", &[], |document| document.leaf("horizpar", &sentence));
                if sure.height_m.is_some() {
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
