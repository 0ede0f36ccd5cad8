//! Composed measurements: values that several rows give together, each with its standard error.
//!
//! A group is the rows of one `measure` and one `feature`; the `role` of each says what part it plays.
//! Each kind of measurement has a file of its own, which states its formula and source, says in a
//! sentence what is missing when a row of it is, and gives the values, their standard errors and the
//! geometry. What is common to a base's shots (its position, its orientation) is carried by
//! [`crate::geodesy::register`], so that it cancels where it should. No CRS and no file is known here.

#[cfg(test)]
mod fixture;
pub mod height;
mod located;
mod merged;
pub mod missing_line;
pub mod plane_fit;
pub mod plane_sight;
pub mod profile;
mod reading;
mod roles;
mod rows;
pub mod span;
pub mod strings;
#[cfg(test)]
pub(crate) mod trial;
pub mod volume;
pub mod width;

use jiff::Timestamp;

use crate::geodesy::covariance::Covariance;
use crate::geodesy::frame::EarthCentred;
use crate::geodesy::register::{Estimate, Origin, Shares};
use crate::records::roles::MEASURES;
use crate::shots::reduce::Vector;
use crate::units::Units;

/// A row that takes part in a composed measurement: what was read of it, in radians and metres, the
/// instrument's corrections included.
#[derive(Debug, Clone, PartialEq)]
pub struct RoleShot {
    /// The part that it plays.
    pub role: String,
    /// The row for people: its shot id, or its place in the log.
    pub label: String,
    /// Its shot id, as the log has it.
    pub shot: Option<String>,
    /// Index of the input file, and line.
    pub place: (usize, u64),
    /// Index of the base.
    pub base: usize,
    /// Date and time.
    pub instant: Option<Timestamp>,
    /// True azimuth, corrections and declination included.
    pub true_azimuth_rad: Option<f64>,
    /// Apparent inclination, up positive.
    pub inclination_rad: Option<f64>,
    /// Slope distance.
    pub slope_m: Option<f64>,
    /// Horizontal distance.
    pub horizontal_m: Option<f64>,
    /// Standard error of the azimuth reading alone.
    pub sigma_azimuth_rad: f64,
    /// Standard error of the inclination reading alone.
    pub sigma_inclination_rad: f64,
    /// Standard error of the distance that was measured, the reading's alone.
    pub sigma_distance_m: f64,
    /// What its readings share with others beside their base.
    pub shares: Shares,
    /// Height of the instrument's axis over the base's ground point, where it is known.
    pub instrument_height_m: Option<f64>,
    /// Height of the sighted spot over the ground point of what was sighted.
    pub target_height_m: f64,
    /// Coefficient of refraction.
    pub refraction: f64,
    /// The vector from the base's ground point, where the row has an azimuth and a distance.
    pub vector: Option<Vector>,
}

/// The rows of one composed measurement.
#[derive(Clone)]
pub struct Group<'t> {
    /// Kind of measurement, as the log's `measure` column has it.
    pub measure: String,
    /// Name of what was measured: the log's `feature`.
    pub name: String,
    /// The rows, in the order of the logs.
    pub sightings: Vec<RoleShot>,
    /// The bases.
    pub bases: &'t [Origin],
    /// The units of what is said of it. Values are in metres and degrees.
    pub units: Units,
}

/// A value with its name and unit.
#[derive(Debug, Clone, PartialEq)]
pub struct NamedValue {
    /// Name, with the unit behind it as field names have it: `height_m`, `lean_deg`.
    pub name: &'static str,
    /// The value and its standard error, in that unit.
    pub estimate: Estimate,
}

/// A point that a measurement gives.
#[derive(Debug, Clone, PartialEq)]
pub struct FoundPoint {
    /// What it is: `foot`, `top`, `lowest`.
    pub role: &'static str,
    /// Where it is.
    pub at: EarthCentred,
    /// Index of the base whose frame its covariance is of.
    pub base: usize,
    /// Its whole covariance, the base's included.
    pub covariance: Covariance,
}

/// Values of a piece of a measurement: a leg of a chain, a shot and its distance from a wire or a plane.
#[derive(Debug, Clone, PartialEq)]
pub struct Detail {
    /// What they are of, in words: `shot 4 to shot 5`, `wire to shot 12 (object)`.
    pub target: String,
    /// Index of the input file, and line, of the row that it is known by.
    pub place: (usize, u64),
    /// The values.
    pub values: Vec<NamedValue>,
    /// What is to be said of this piece alone; none where what is said of the whole is said of it.
    pub warnings: Option<Vec<String>>,
}

/// The geometry of a measurement, earth-centred.
#[derive(Debug, Clone, Default, PartialEq)]
pub enum Shape {
    /// None: nothing is known of where it is.
    #[default]
    None,
    /// A point.
    Point(EarthCentred),
    /// A line.
    Line(Vec<EarthCentred>),
    /// A ring, its first point not repeated.
    Area(Vec<EarthCentred>),
}

/// A composed measurement.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Composed {
    /// Which of the ways it was computed by, in words, with what was assumed.
    pub method: String,
    /// The values.
    pub values: Vec<NamedValue>,
    /// Points that it gives.
    pub parts: Vec<FoundPoint>,
    /// Its geometry.
    pub shape: Shape,
    /// Warnings in sentences: steep tops, grazing sights, hidden backs.
    pub warnings: Vec<String>,
    /// Values of its pieces, in their order.
    pub details: Vec<Detail>,
    /// The shots of a profile, in the order of chainage.
    pub stations: Vec<profile::ProfileStation>,
}

/// What the rows do not tell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeasureSettings<'s> {
    /// Standard errors by which repeated readings may differ from their mean.
    pub agreement_sigmas: f64,
    /// For sights onto a plane.
    pub plane_sight: plane_sight::PlaneSettings<'s>,
    /// Distance from the line of a profile beyond which a shot is warned of.
    pub offset_limit_m: f64,
    /// Whether the values alone are wanted, without standard errors that cost draws.
    pub values_only: bool,
}

impl Default for MeasureSettings<'_> {
    fn default() -> Self {
        MeasureSettings {
            agreement_sigmas: 4.0,
            plane_sight: plane_sight::PlaneSettings::default(),
            offset_limit_m: profile::OFFSET_LIMIT_M,
            values_only: false,
        }
    }
}

/// Why a group gives no measurement: a sentence that says what is missing or wrong, and in which row. It is the crew's to read, in the ledger
/// of held rows; the kinds of measurement write it in words of their own.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{sentence}")]
pub struct Refusal {
    sentence: String,
}

impl From<String> for Refusal {
    fn from(sentence: String) -> Refusal {
        Refusal { sentence }
    }
}

impl std::ops::Deref for Refusal {
    type Target = str;

    fn deref(&self) -> &str {
        &self.sentence
    }
}

impl PartialEq<&str> for Refusal {
    fn eq(&self, other: &&str) -> bool {
        self.sentence == *other
    }
}

impl Group<'_> {
    /// The base of a sighting.
    pub fn base(&self, sighting: &RoleShot) -> &Origin {
        &self.bases[sighting.base]
    }

    /// A length in a sentence, with so many decimals.
    pub fn said_m(&self, metres: f64, decimals: usize) -> String {
        self.units.length().said(metres, decimals)
    }

    /// An angle in a sentence, with so many decimals.
    pub fn said_deg(&self, degrees: f64, decimals: usize) -> String {
        self.units.angle().said(degrees, decimals)
    }

    /// The rows of a role, in the order of the logs.
    pub fn with_role<'g>(&'g self, role: &'g str) -> impl Iterator<Item = &'g RoleShot> {
        self.sightings.iter().filter(move |sighting| sighting.role == role)
    }

    /// The only row of a role.
    ///
    /// # Errors
    /// When there is none, or more than one; the sentence names the measurement and the role.
    pub fn only<'g>(&'g self, role: &'g str) -> Result<&'g RoleShot, Refusal> {
        let mut rows = self.with_role(role);
        match (rows.next(), rows.next()) {
            (Some(row), None) => Ok(row),
            (None, _) => Err(format!("{} of {} lacks the row with role {role}", self.measure, self.name).into()),
            (Some(_), Some(second)) => {
                Err(format!("{} of {} has two rows with role {role}; the second is {}", self.measure, self.name, second.label)
                    .into())
            }
        }
    }
}

/// The refusal of a kind that is none of [`MEASURES`].
pub fn unknown_kind(measure: &str) -> Refusal {
    format!("measure \"{measure}\" is not known; it is one of {}", MEASURES.join(", ")).into()
}

/// What must be read with the values of a kind.
pub fn caution_of(measure: &str) -> Option<&'static str> {
    match measure {
        "span" => Some(span::CAUTION),
        "volume" => Some(volume::CAUTION),
        _ => None,
    }
}

/// Computes a group by its kind; repeated shots of one spot are taken together first.
///
/// # Errors
/// When the kind is not known, or a row is missing or contradicts another.
pub fn compose(group: &Group, settings: &MeasureSettings<'_>) -> Result<Composed, Refusal> {
    let (group, said) = merged::merge(group, settings.agreement_sigmas)?;
    let group = group.as_ref();
    let mut composed = match group.measure.as_str() {
        "height" => height::compose(group),
        "width" => width::compose(group),
        "missing_line" => missing_line::compose(group),
        "plane_sight" => plane_sight::compose(group, &settings.plane_sight),
        "plane" => plane_fit::compose(group),
        "span" => span::compose(group),
        "volume" => volume::compose(group, settings.values_only),
        "profile" => profile::compose(group, settings.offset_limit_m),
        other => Err(unknown_kind(other)),
    }
    .map_err(|refusal| roles::with_known_roles(group, refusal))?;
    for said in said {
        composed.method = format!("{}; {said}", composed.method);
    }
    Ok(composed)
}
