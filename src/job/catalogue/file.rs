//! The catalogue file: what each feature code is, as TOML. Every key's meaning, unit and default stand on its field,
//! and `standoff schema catalogue` prints them as a JSON Schema. Nothing is looked up here.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A catalogue: codes, the layers that their features go to, and attributes.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct CatalogueFile {
    /// A line for people.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub title: Option<String>,
    /// What becomes of rows whose code is not here, or that have none.
    #[serde(default)]
    pub unknown: Unknown,
    /// Titles and settings of layers, by the name that codes give them.
    #[serde(default)]
    pub layers: BTreeMap<String, LayerSettings>,
    /// The codes. Layers are written in the order in which codes first name them.
    pub codes: Vec<CodeSettings>,
    /// Attributes by name; a code says which of them its features have.
    #[serde(default)]
    pub attributes: BTreeMap<String, AttributeSettings>,
}

/// What becomes of rows whose code is not in the catalogue.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Unknown {
    /// `layer`: they are mapped, flagged `unknown_code`. `hold`: they are held.
    #[serde(default)]
    pub action: UnknownAction,
    /// The layer that they go to. Default: `features`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub layer: Option<String>,
}

/// What becomes of a row with an unknown code.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum UnknownAction {
    /// It is mapped and flagged.
    #[default]
    Layer,
    /// It is held.
    Hold,
}

/// A layer of the catalogue.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct LayerSettings {
    /// A title for people. Default: the layer's name.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub title: Option<String>,
    /// What the layer holds.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub description: Option<String>,
    /// For points that must not be given away (nests, protected plants): the layer is written with every
    /// position moved to the middle of a square cell of this side in metres, says so in each record and in its
    /// description, and nothing in the output tells the exact places. Wants a projected CRS.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub coarse_cell_m: Option<f64>,
}

/// A feature code.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct CodeSettings {
    /// The code, or with `*` (any letters) and `?` (any one letter) a family of codes. A code in full goes before an
    /// alias, an alias before a family, and of families the one listed first. Capitals do not matter.
    pub code: String,
    /// What it is, for people.
    pub title: String,
    /// The layer of its features: letters, digits and `_`.
    pub layer: String,
    /// Point, line or area; the same for all codes of a layer.
    pub geometry: Geometry,
    /// Other spellings of the code.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub aliases: Vec<String>,
    /// Height of the sighted spot over the ground point in metres, for rows with no `target_height_m`; goes before
    /// that of the job.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub target_height_m: Option<f64>,
    /// Diameter in metres of what is shot at its near face (a stem, a pole), for rows with no `face_diameter`
    /// column: the point is put half of it farther, at the centre.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub face_diameter_m: Option<f64>,
    /// Standard error of that diameter, or of the column's, in metres. Default: 0.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sigma_face_diameter_m: Option<f64>,
    /// Largest radius of the 95 % circle in metres; a feature (or a vertex of a line) beyond it is flagged `misses_tolerance`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tolerance_horizontal95_m: Option<f64>,
    /// Largest half of the 95 % interval of the height in metres, likewise.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tolerance_vertical95_m: Option<f64>,
    /// Names of the attributes of its features, in the order of the layer.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub attributes: Vec<String>,
    /// Those of them that every feature must have; one without is flagged `attribute_missing`.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub required: Vec<String>,
}

/// The geometry of a code's features.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Geometry {
    /// One point a feature.
    Point,
    /// A string of shots.
    Line,
    /// A string of shots that closes, with or without the role `close`.
    Area,
}

/// An attribute.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct AttributeSettings {
    /// Its type.
    #[serde(rename = "type")]
    pub kind: AttributeKind,
    /// What it is, for people.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub title: Option<String>,
    /// Its unit, for people: "cm".
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unit: Option<String>,
    /// Headers of the logs that hold it. Default: its name. Capitals do not matter.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub columns: Vec<String>,
    /// The values it may have, of texts and whole numbers: words in a list, or a table that gives each its meaning.
    #[serde(default, skip_serializing_if = "Listed::is_empty")]
    pub list: Listed,
    /// The least value it may have; of numbers.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub least: Option<f64>,
    /// The greatest value it may have; of numbers.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub greatest: Option<f64>,
}

/// Values that an attribute may have.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(untagged)]
pub enum Listed {
    /// The values alone, in their order.
    Words(Vec<String>),
    /// Each with its meaning.
    Meanings(BTreeMap<String, String>),
}

impl Default for Listed {
    fn default() -> Self {
        Listed::Words(Vec::new())
    }
}

impl Listed {
    /// Whether there are none.
    pub fn is_empty(&self) -> bool {
        self.words().next().is_none()
    }

    /// The values.
    pub fn words(&self) -> Box<dyn Iterator<Item = &str> + '_> {
        match self {
            Listed::Words(words) => Box::new(words.iter().map(String::as_str)),
            Listed::Meanings(meanings) => Box::new(meanings.keys().map(String::as_str)),
        }
    }

    /// The values, each with its meaning or itself.
    pub fn meanings(&self) -> Vec<(String, String)> {
        match self {
            Listed::Words(words) => words.iter().map(|word| (word.clone(), word.clone())).collect(),
            Listed::Meanings(meanings) => meanings.clone().into_iter().collect(),
        }
    }
}

/// The type of an attribute.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum AttributeKind {
    /// Any text.
    Text,
    /// A whole number.
    Integer,
    /// A number.
    Real,
}
