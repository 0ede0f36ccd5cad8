//! Feature codes: which layer a feature goes to, what it must be like, and which attributes it has.
//!
//! [`load`] reads a catalogue file and settles it: layers in the order in which codes name them, aliases and families of
//! codes ready for look-up. Rows, layers and formats are not known here.

mod attribute;
pub(super) mod fault;
pub mod file;

use std::collections::{BTreeMap, HashMap};
use std::path::Path;

use glob::{MatchOptions, Pattern};

use crate::job::{JobError, LayerName, settings};
use crate::numeric::words::bare;
pub use attribute::{Attribute, AttributeValue, Domain, ValueProblem, Values};
pub use fault::{AttributeFault, CatalogueFault, NoLayerId};
pub use file::{AttributeKind, Geometry};
use file::{CatalogueFile, CodeSettings, UnknownAction};

/// The geometry of a layer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum GeometryKind {
    /// None: a table.
    None,
    /// Points.
    Point,
    /// Lines.
    Line,
    /// Areas.
    Area,
}

/// Families match without regard to capitals; `*` also matches dots and slashes.
const FAMILY: MatchOptions =
    MatchOptions { case_sensitive: false, require_literal_separator: false, require_literal_leading_dot: false };

/// A settled catalogue.
#[derive(Debug, Clone, PartialEq)]
pub struct Catalogue {
    /// Name of the file, for the account.
    pub name: String,
    /// The layers, in the order of writing.
    pub layers: Vec<CodedLayer>,
    /// The codes, in the order of the file.
    pub codes: Vec<Code>,
    /// Whether rows of unknown codes are held.
    pub holds_unknown: bool,
    /// The layer of rows of unknown codes; none: `features`.
    pub unknown_layer: Option<usize>,
    /// Codes and aliases in small letters.
    exact: HashMap<String, usize>,
    /// By the word without blanks, hyphens and underscores; none where several codes differ by them alone.
    loose: HashMap<String, Option<usize>>,
    /// Families of codes with the code of each.
    families: Vec<(Pattern, usize)>,
}

/// A layer of coded features.
#[derive(Debug, Clone, PartialEq)]
pub struct CodedLayer {
    /// Its name in files.
    pub id: String,
    /// A title for people.
    pub title: String,
    /// What it holds.
    pub description: String,
    /// Geometry.
    pub geometry: GeometryKind,
    /// Side in metres of the cells that its positions are moved to the middle of; none: exact.
    pub coarse_cell_m: Option<f64>,
    /// Attributes of all its codes.
    pub attributes: Vec<Attribute>,
}

/// A feature code.
#[derive(Debug, Clone, PartialEq)]
pub struct Code {
    /// As the file has it.
    pub code: String,
    /// For people.
    pub title: String,
    /// Index of its layer.
    pub layer: usize,
    /// Geometry of its features.
    pub geometry: Geometry,
    /// Height of the sighted spot over the ground point in metres.
    pub target_height_m: Option<f64>,
    /// Diameter in metres of what is shot at its near face.
    pub face_diameter_m: Option<f64>,
    /// Standard error of that diameter in metres.
    pub sigma_face_diameter_m: f64,
    /// Largest radius of the 95 % circle in metres.
    pub tolerance_horizontal95_m: Option<f64>,
    /// Largest half of the 95 % interval of the height in metres.
    pub tolerance_vertical95_m: Option<f64>,
    /// Its attributes by their index in the layer, and whether each is required.
    pub attributes: Vec<(usize, bool)>,
}

impl Catalogue {
    /// The code of a row.
    pub fn find(&self, code: &str) -> Option<&Code> {
        let code = code.trim();
        let index = self.exact.get(&code.to_lowercase()).copied().or_else(|| {
            let found = self.families.iter().find(|(family, _)| family.matches_with(code, FAMILY));
            let found = found.map(|(_, index)| *index);
            found.or_else(|| self.loose.get(&bare(code)).copied().flatten())
        })?;
        self.codes.get(index)
    }

    /// Whether any layer is written coarse.
    pub fn has_coarse(&self) -> bool {
        self.layers.iter().any(|layer| layer.coarse_cell_m.is_some())
    }

    /// The side in metres of the greatest cells of any layer; none where all are exact.
    pub fn greatest_cell_m(&self) -> Option<f64> {
        self.layers.iter().filter_map(|layer| layer.coarse_cell_m).max_by(f64::total_cmp)
    }

    /// The horizontal tolerances of its codes: radii of 95 % circles in metres.
    pub fn horizontal_tolerances95_m(&self) -> impl Iterator<Item = f64> {
        self.codes.iter().filter_map(|code| code.tolerance_horizontal95_m)
    }

    /// The catalogue with its exact places, for the crew's own use.
    #[must_use]
    pub fn exact(mut self) -> Catalogue {
        self.layers.iter_mut().for_each(|layer| layer.coarse_cell_m = None);
        self
    }
}

/// Reads a catalogue file. `name` is what messages and the account call it.
///
/// # Errors
/// What is wrong with it, with its line.
pub fn load(path: &Path, name: &str) -> Result<Catalogue, JobError> {
    let text = crate::disk::read_text(path).map_err(|source| JobError::Read { path: path.to_owned(), source })?;
    parse(&text, name)
}

/// Reads a catalogue from its text.
///
/// # Errors
/// As [`load`].
pub fn parse(text: &str, name: &str) -> Result<Catalogue, JobError> {
    let (file, document): (CatalogueFile, _) = settings::read(text, name, "the catalogue")?;
    settle(file, name).map_err(|(path, problem)| {
        let path: Vec<&str> = path.iter().map(String::as_str).collect();
        document.wrong(document.offset_of(&path), problem.into())
    })
}

/// The path of keys to what is wrong, and the sentence.
type Wrong = (Vec<String>, CatalogueFault);

fn settle(file: CatalogueFile, name: &str) -> Result<Catalogue, Wrong> {
    if file.codes.is_empty() {
        return Err((vec!["codes".into()], CatalogueFault::NoCode));
    }
    for (name, attribute) in &file.attributes {
        attribute::check(name, attribute)
            .map_err(|(key, problem)| (vec!["attributes".into(), name.clone(), key.into()], problem.into()))?;
    }
    let mut catalogue = Catalogue {
        name: name.to_owned(),
        layers: Vec::new(),
        codes: Vec::new(),
        holds_unknown: file.unknown.action == UnknownAction::Hold,
        unknown_layer: None,
        exact: HashMap::new(),
        loose: HashMap::new(),
        families: Vec::new(),
    };
    for (index, settings) in file.codes.iter().enumerate() {
        check_code(settings)
            .and_then(|()| catalogue.add_code(&file, settings))
            .map_err(|(key, problem)| (vec!["codes".into(), index.to_string(), key.into()], problem))?;
    }
    // Last, so that a layer of its own stands behind those of the codes.
    if let Some(id) = file.unknown.layer.as_deref().filter(|id| *id != "features") {
        let at = |problem| (vec!["unknown".into(), "layer".into()], problem);
        if catalogue.holds_unknown {
            return Err(at(CatalogueFault::LayerOfHeld));
        }
        let layer = catalogue.layer_of(&file, id, Geometry::Point, None).map_err(|(_, problem)| at(problem))?;
        catalogue.unknown_layer = Some(layer);
    }
    check_layers(&file, &catalogue)?;
    Ok(catalogue)
}

impl Catalogue {
    /// Adds a code with its layer and attributes. A fault names its key.
    fn add_code(&mut self, file: &CatalogueFile, settings: &CodeSettings) -> Result<(), (&'static str, CatalogueFault)> {
        let layer = self.layer_of(file, &settings.layer, settings.geometry, Some(&settings.code))?;
        let mut attributes = Vec::with_capacity(settings.attributes.len());
        for name in &settings.attributes {
            let Some(described) = file.attributes.get(name) else {
                let known = file.attributes.keys().cloned().collect();
                return Err(("attributes", CatalogueFault::NoAttribute { name: name.clone(), known }));
            };
            attributes.push((self.layers[layer].attribute(name, described), settings.required.contains(name)));
        }
        if let Some(name) = settings.required.iter().find(|name| !settings.attributes.contains(name)) {
            return Err(("required", CatalogueFault::RequiredOfOthers { name: name.clone(), code: settings.code.clone() }));
        }
        let known = self.codes.len();
        self.codes.push(Code {
            code: settings.code.clone(),
            title: settings.title.clone(),
            layer,
            geometry: settings.geometry,
            target_height_m: settings.target_height_m,
            face_diameter_m: settings.face_diameter_m,
            sigma_face_diameter_m: settings.sigma_face_diameter_m.unwrap_or(0.0),
            tolerance_horizontal95_m: settings.tolerance_horizontal95_m,
            tolerance_vertical95_m: settings.tolerance_vertical95_m,
            attributes,
        });
        self.add_words(settings, known)
    }

    /// Adds the words that stand for a code: its own, and its aliases.
    fn add_words(&mut self, settings: &CodeSettings, known: usize) -> Result<(), (&'static str, CatalogueFault)> {
        for word in std::iter::once(&settings.code).chain(&settings.aliases) {
            let key = if *word == settings.code { "code" } else { "aliases" };
            if word.contains(['*', '?']) {
                let family = Pattern::new(&word.replace('[', "[[]"))
                    .map_err(|problem| (key, CatalogueFault::NoFamily { word: word.clone(), problem }))?;
                self.families.push((family, known));
            } else if let Some(other) = self.exact.insert(word.trim().to_lowercase(), known) {
                let other = self.codes[other].code.clone();
                return Err((key, CatalogueFault::WordOfTwoCodes { word: word.clone(), other }));
            } else {
                let same = self.loose.entry(bare(word)).or_insert(Some(known));
                *same = same.filter(|other| *other == known);
            }
        }
        Ok(())
    }
}

/// Checks what the tables of layers say.
fn check_layers(file: &CatalogueFile, catalogue: &Catalogue) -> Result<(), Wrong> {
    for (id, settings) in &file.layers {
        let in_layer = |key: &str, problem: CatalogueFault| Err((vec!["layers".into(), id.clone(), key.into()], problem));
        let Some(layer) = catalogue.layers.iter().find(|layer| layer.id == *id) else {
            return Err((vec!["layers".into(), id.clone()], CatalogueFault::UnusedLayer(id.clone())));
        };
        match settings.coarse_cell_m {
            Some(cell) if !(cell.is_finite() && cell > 0.0) => {
                return in_layer("coarse_cell_m", CatalogueFault::NoCell(cell));
            }
            Some(_) if layer.geometry != GeometryKind::Point => {
                return in_layer("coarse_cell_m", CatalogueFault::CellsOfShapes);
            }
            _ => {}
        }
    }
    Ok(())
}

impl Catalogue {
    /// The index of a layer, made where it is new.
    fn layer_of(
        &mut self,
        file: &CatalogueFile,
        id: &str,
        geometry: Geometry,
        code: Option<&str>,
    ) -> Result<usize, (&'static str, CatalogueFault)> {
        let geometry = match geometry {
            Geometry::Point => GeometryKind::Point,
            Geometry::Line => GeometryKind::Line,
            Geometry::Area => GeometryKind::Area,
        };
        if let Some(known) = self.layers.iter().position(|layer| layer.id == id) {
            if self.layers[known].geometry != geometry {
                let other = self.codes.iter().find(|code| code.layer == known).map_or("another code", |code| code.code.as_str());
                let other = other.to_owned();
                let has = self.layers[known].geometry;
                return Err(("geometry", CatalogueFault::TwoGeometries { layer: id.to_owned(), has, other, wants: geometry }));
            }
            return Ok(known);
        }
        check_layer_id(id).map_err(|problem| ("layer", problem.into()))?;
        if let Some(other) = self.layers.iter().find(|layer| layer.id.eq_ignore_ascii_case(id)) {
            return Err(("layer", CatalogueFault::Capitals { layer: id.to_owned(), other: other.id.clone() }));
        }
        let settings = file.layers.get(id).cloned().unwrap_or_default();
        let plain = match code {
            Some(_) => format!("Features of the codes whose layer is {id}."),
            None => "Features whose code is not in the catalogue.".to_owned(),
        };
        self.layers.push(CodedLayer {
            id: id.to_owned(),
            title: settings.title.unwrap_or_else(|| id.replace('_', " ")),
            description: settings.description.unwrap_or(plain),
            geometry,
            coarse_cell_m: settings.coarse_cell_m,
            attributes: Vec::new(),
        });
        Ok(self.layers.len() - 1)
    }
}

impl CodedLayer {
    /// The index of an attribute, added where it is new.
    fn attribute(&mut self, name: &str, settings: &file::AttributeSettings) -> usize {
        let found = self.attributes.iter().position(|attribute| attribute.name == name);
        found.unwrap_or_else(|| {
            self.attributes.push(Attribute::new(name, settings));
            self.attributes.len() - 1
        })
    }
}

/// Names of layers must suit every format, and not be one that the program keeps for itself.
fn check_layer_id(id: &str) -> Result<(), NoLayerId> {
    let plain = !id.is_empty()
        && id.len() <= 40
        && id.starts_with(|c: char| c.is_ascii_lowercase())
        && id.bytes().all(|byte| byte.is_ascii_lowercase() || byte.is_ascii_digit() || byte == b'_');
    if !plain {
        return Err(NoLayerId::Letters(id.to_owned()));
    }
    if ["gpkg_", "rtree_", "sqlite_"].iter().any(|kept| id.starts_with(kept)) || id == "layer_styles" {
        return Err(NoLayerId::OfGeoPackage(id.to_owned()));
    }
    let own = |name: LayerName| serde_json::to_value(name).ok().is_some_and(|value| value == id);
    if LayerName::ALL.into_iter().any(own) {
        return Err(NoLayerId::OfProgram(id.to_owned()));
    }
    Ok(())
}

fn check_code(settings: &CodeSettings) -> Result<(), (&'static str, CatalogueFault)> {
    for word in std::iter::once(&settings.code).chain(&settings.aliases) {
        if word.trim().is_empty() {
            return Err((if settings.code.trim().is_empty() { "code" } else { "aliases" }, CatalogueFault::EmptyCode));
        }
    }
    let lengths = [
        ("face_diameter_m", settings.face_diameter_m),
        ("sigma_face_diameter_m", settings.sigma_face_diameter_m),
        ("tolerance_horizontal95_m", settings.tolerance_horizontal95_m),
        ("tolerance_vertical95_m", settings.tolerance_vertical95_m),
    ];
    for (key, value) in lengths {
        if value.is_some_and(|value| !(value.is_finite() && value >= 0.0)) {
            return Err((key, CatalogueFault::NoLength(key)));
        }
    }
    if settings.target_height_m.is_some_and(|value| !value.is_finite()) {
        return Err(("target_height_m", CatalogueFault::NoTargetHeight));
    }
    let mut seen = BTreeMap::new();
    for name in &settings.attributes {
        if seen.insert(name, ()).is_some() {
            return Err(("attributes", CatalogueFault::Twice(name.clone())));
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests;
