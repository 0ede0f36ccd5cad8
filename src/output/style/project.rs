//! A project of QGIS over the layers of one GeoPackage: grouped, in drawing order, in the layers' CRS, with the tables
//! related to the features. What only helps to read an uncertainty, or crowds the map, is there and switched off.

use super::ground::Ground;
use super::labels::has_any;
use super::look::Look;
use super::qml::{VERSION, style_of};
use super::{Beside, Naming, coded_points};
use crate::job::catalogue::GeometryKind;
use crate::output::columns::{Layer, LayerKey};
use crate::output::xml::Document;

/// What a project is told beside the layers.
pub struct Project<'p> {
    /// Its title.
    pub title: &'p str,
    /// The GeoPackage's file name, in whose folder the project stands.
    pub file: &'p str,
    /// Authority and code of the CRS, as `EPSG:32630`; none where it has none.
    pub authority: Option<&'p str>,
    /// WKT 2 of the CRS, for one without a code.
    pub wkt: Option<&'p str>,
    /// A metre in the CRS, where it is projected.
    pub ground: Option<&'p Ground>,
    /// Authority and code of the CRS that all is drawn in, where it is not that of the layers.
    pub plane: Option<&'p str>,
    /// Least x and y, greatest x and y of what is drawn, in that.
    pub bounds: Option<[f64; 4]>,
}

impl<'p> Project<'p> {
    /// Authority and code, and WKT of the CRS that all is drawn in.
    fn drawn_in(&self) -> (Option<&'p str>, Option<&'p str>) {
        (self.plane.or(self.authority), self.wkt)
    }
}

/// Room around what is drawn, as a share of its size.
const MARGIN: f64 = 0.1;
/// Tables whose records are of features, and the fields that say of which.
const RELATED: [(&str, &[&str]); 4] =
    [("measurements", &["name"]), ("values", &["name"]), ("residuals", &["to"]), ("ledger", &["source_file", "source_line"])];

/// The groups of the tree from the top, and which layers stand in each, in drawing order.
fn group_of(layer: &Layer) -> (usize, &'static str) {
    match (layer.id.as_str(), layer.geometry) {
        ("bases" | "sight_lines", _) => (0, "Where the crew stood"),
        // The features of a coarse layer, as a table behind its squares.
        (_, GeometryKind::None) => (3, "Tables"),
        ("ellipses" | "parts" | "vertices" | "profiles" | "adjusted", _) => (2, "How it was measured"),
        _ => (1, "What was mapped"),
    }
}

/// Whether a layer is drawn when the project opens.
pub fn is_shown(layer: &Layer, is_projected: bool) -> bool {
    match layer.id.as_str() {
        "sight_lines" | "parts" | "vertices" | "profiles" | "adjusted" => false,
        // Elsewhere the ellipses are drawn from the fields of the points.
        "ellipses" => !is_projected,
        _ => true,
    }
}

/// The project's document.
pub fn project(layers: &[(&Layer, Look)], project: &Project) -> String {
    let mut document = Document::typed("qgis PUBLIC 'http://mrcc.com/qgis.dtd' 'SYSTEM'");
    document.within("qgis", &[("version", VERSION), ("projectname", project.title)], |document| {
        document.leaf("title", project.title);
        document.within("projectCrs", &[], |document| reference_system(document, project.drawn_in()));
        let alone: Vec<&Layer> = layers.iter().map(|(layer, _)| *layer).collect();
        tree(document, &alone, project);
        canvas(document, project);
        let coded_points = coded_points(alone.iter().copied());
        let beside = Beside { naming: Naming::Full, ground: project.ground, coded_points: &coded_points };
        document.within("projectlayers", &[], |document| {
            for (layer, look) in layers {
                map_layer(document, layer, look, (project, &beside));
            }
        });
        relations(document, &alone);
        document.within("properties", &[], |document| {
            document.within("SpatialRefSys", &[], |document| {
                document.text_within("ProjectionsEnabled", &[("type", "int")], "1");
            });
            // The second engine, in which a mark in the way keeps a label off; they count from 0.
            document.within("PAL", &[], |document| document.text_within("PlacementEngineVersion", &[("type", "int")], "1"));
            document.within("Paths", &[], |document| document.text_within("Absolute", &[("type", "bool")], "false"));
        });
    });
    document.text()
}

fn reference_system(document: &mut Document, (authority, wkt): (Option<&str>, Option<&str>)) {
    document.within("spatialrefsys", &[], |document| {
        match (authority, wkt) {
            (Some(authority), _) => {
                // A number in its own list makes it look the authority's code up; which number does not count.
                document.leaf("srsid", "1");
                document.leaf("authid", authority);
            }
            (None, Some(wkt)) => document.leaf("wkt", wkt),
            (None, None) => {}
        }
    });
}

fn tree(document: &mut Document, layers: &[&Layer], project: &Project) {
    document.within("layer-tree-group", &[], |document| {
        let mut groups: Vec<(usize, &str)> = layers.iter().map(|layer| group_of(layer)).collect();
        groups.sort_unstable();
        groups.dedup();
        for group in groups {
            let root = [("name", group.1), ("expanded", "1"), ("checked", "Qt::Checked")];
            document.within("layer-tree-group", &root, |document| {
                let mut inside: Vec<&Layer> = layers.iter().copied().filter(|layer| group_of(layer) == group).collect();
                // Points lie over lines, and lines over areas.
                inside.sort_by_key(|layer| match layer.geometry {
                    GeometryKind::Point => 0,
                    GeometryKind::Line => 1,
                    GeometryKind::Area => 2,
                    GeometryKind::None => 3,
                });
                for layer in inside {
                    let checked = if is_shown(layer, project.ground.is_some()) { "Qt::Checked" } else { "Qt::Unchecked" };
                    let (id, source) = (identity(layer), source(layer, project));
                    let leaf = [
                        ("id", id.as_str()),
                        ("name", &layer.title),
                        ("providerKey", "ogr"),
                        ("source", &source),
                        ("checked", checked),
                        ("expanded", "0"),
                    ];
                    document.empty("layer-tree-layer", &leaf);
                }
            });
        }
    });
}

/// A layer's identity within the project, which that program wants longer than ten characters.
fn identity(layer: &Layer) -> String {
    format!("standoff_{}", layer.id)
}

/// Where a layer's records are, as seen from the project.
fn source(layer: &Layer, project: &Project) -> String {
    format!("./{}|layername={}", project.file, layer.id)
}

fn canvas(document: &mut Document, project: &Project) {
    let Some([west, south, east, north]) = project.bounds else { return };
    let margin = MARGIN * (east - west).max(north - south);
    let edges = [west - margin, south - margin, east + margin, north + margin].map(|edge| edge.to_string());
    document.within("ProjectViewSettings", &[("UseProjectScales", "0")], |document| {
        let extent = [("xmin", &*edges[0]), ("ymin", &*edges[1]), ("xmax", &*edges[2]), ("ymax", &*edges[3])];
        document.within("DefaultViewExtent", &extent, |document| reference_system(document, project.drawn_in()));
    });
    document.within("mapcanvas", &[("name", "theMapCanvas"), ("annotationsVisible", "1")], |document| {
        let is_plane = project.ground.is_some() || project.plane.is_some();
        document.leaf("units", if is_plane { "meters" } else { "degrees" });
        document.within("extent", &[], |document| {
            document.leaf("xmin", &edges[0]);
            document.leaf("ymin", &edges[1]);
            document.leaf("xmax", &edges[2]);
            document.leaf("ymax", &edges[3]);
        });
        document.leaf("rotation", "0");
        document.within("destinationsrs", &[], |document| reference_system(document, project.drawn_in()));
    });
}

fn map_layer(document: &mut Document, layer: &Layer, look: &Look, (project, beside): (&Project, &Beside)) {
    let geometry = match layer.geometry {
        GeometryKind::Point => "Point",
        GeometryKind::Line => "Line",
        GeometryKind::Area => "Polygon",
        GeometryKind::None => "No geometry",
    };
    let labelled = if has_any(layer, look) { "1" } else { "0" };
    let root = [("type", "vector"), ("geometry", geometry), ("labelsEnabled", labelled), ("readOnly", "0")];
    document.within("maplayer", &root, |document| {
        document.leaf("id", &identity(layer));
        document.leaf("datasource", &source(layer, project));
        document.leaf("layername", &layer.title);
        document.leaf("abstract", &layer.description);
        if layer.geometry != GeometryKind::None {
            document.within("srs", &[], |document| reference_system(document, (project.authority, project.wkt)));
        }
        document.text_within("provider", &[("encoding", "UTF-8")], "ogr");
        style_of(document, layer, look, beside);
    });
}

/// Each feature with what was measured of it and its residuals, by its name, and with its rows of the ledger, by file and line; each coarse cell with its features.
fn relations(document: &mut Document, layers: &[&Layer]) {
    let has = |layer: &Layer, field: &str| layer.fields.iter().any(|known| known.name == field);
    let named = |layer: &&&Layer| layer.geometry != GeometryKind::None && group_of(layer).0 == 1 && has(layer, "feature");
    document.within("relations", &[], |document| {
        for parent in layers.iter().filter(named) {
            for child in layers {
                let Some((_, fields)) = RELATED.iter().find(|(table, _)| *table == child.id) else { continue };
                // By name, or by the fields that both have.
                let pairs: Vec<(&str, &str)> = match fields {
                    [one] => vec![("feature", *one)],
                    several => several.iter().map(|field| (*field, *field)).collect(),
                };
                if pairs.iter().all(|(of_parent, of_child)| has(parent, of_parent) && has(child, of_child)) {
                    relation(document, parent, child, &pairs);
                }
            }
        }
        for cells in layers {
            let LayerKey::Cells(index) = cells.key else { continue };
            let Some(child) = layers.iter().find(|layer| layer.key == LayerKey::Coded(index)) else { continue };
            if let Some(field) = ["cell_name", "cell"].into_iter().find(|field| has(child, field)) {
                relation(document, cells, child, &[("cell", field)]);
            }
        }
    });
}

/// A relation by pairs of fields: of the parent and of the child.
fn relation(document: &mut Document, parent: &Layer, child: &Layer, pairs: &[(&str, &str)]) {
    let root = [
        ("id", format!("{}_{}", parent.id, child.id)),
        ("name", format!("{}: {}", parent.title, child.title)),
        ("referencedLayer", identity(parent)),
        ("referencingLayer", identity(child)),
        ("strength", "Association".to_owned()),
    ];
    let root: Vec<(&str, &str)> = root.iter().map(|(key, value)| (*key, value.as_str())).collect();
    document.within("relation", &root, |document| {
        for (referenced, referencing) in pairs {
            document.empty("fieldRef", &[("referencedField", *referenced), ("referencingField", *referencing)]);
        }
    });
}
