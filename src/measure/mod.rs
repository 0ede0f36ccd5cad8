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

#[cfg(test)]
mod tests {
    use super::trial::{Field, HANDHELD};
    use super::*;

    type Rows<'a> = &'a [(&'a str, [f64; 3])];

    /// The rows of a measurement of each kind, and its first value.
    const KINDS: [(&str, &str, Rows<'static>); 8] = [
        ("height", "height_m", &[("foot", [30.0, 20.0, -2.0]), ("top", [31.0, 20.0, 18.0])]),
        ("width", "width_m", &[("left", [-3.0, 40.0, 1.0]), ("right", [3.0, 40.0, 1.0]), ("near_face", [0.0, 37.0, 1.0])]),
        ("missing_line", "slope_distance_m", &[("from", [-20.0, 40.0, 1.0]), ("to", [30.0, 50.0, 4.0])]),
        (
            "plane_sight",
            "distance_m",
            &[("sight", [2.0, 60.0, 9.0]), ("plane_1", [-10.0, 60.0, 0.0]), ("plane_2", [15.0, 62.0, 1.0])],
        ),
        ("plane", "strike_deg", &[("face", [-9.0, 40.0, 0.0]), ("face", [9.0, 42.0, 1.0]), ("face", [1.0, 48.0, 9.0])]),
        ("span", "span_m", &[("support_a", [-40.0, 30.0, 9.0]), ("support_b", [45.0, 35.0, 10.0]), ("wire", [2.5, 32.5, 7.5])]),
        (
            "volume",
            "volume_m3",
            &[("toe", [-9.0, 30.0, 0.0]), ("toe", [9.0, 31.0, 0.0]), ("toe", [0.0, 48.0, 1.0]), ("top", [0.0, 36.0, 5.0])],
        ),
        ("profile", "length_m", &[("start", [-20.0, 30.0, 0.0]), ("end", [30.0, 35.0, 1.0]), ("point", [5.0, 40.0, 0.5])]),
    ];

    fn field(rows: Rows<'_>) -> Field {
        let mut field = Field::new(HANDHELD, [0.5, 1.0]);
        rows.iter().for_each(|(role, at)| drop(field.shot(0, role, *at).clone()));
        field
    }

    #[test]
    fn every_kind_is_composed() {
        assert_eq!(KINDS.map(|(measure, ..)| measure), MEASURES);
        for (measure, value, rows) in KINDS {
            let composed = compose(&field(rows).group(measure), &MeasureSettings::default()).unwrap();
            assert_eq!(composed.values[0].name, value);
            assert!(composed.values[0].estimate.sigma > 0.0, "{measure}");
        }
        let refusal = compose(&field(KINDS[0].2).group("girth"), &MeasureSettings::default()).unwrap_err();
        assert_eq!(
            refusal,
            "measure \"girth\" is not known; it is one of height, width, missing_line, plane_sight, plane, span, volume, profile"
        );
        assert!(refusal != "measure" && refusal != unknown_kind("depth") && refusal == unknown_kind("girth"));
    }

    /// What the job says reaches each kind that asks for it.
    #[test]
    fn the_settings_reach_the_kinds() {
        let of = |kind: usize, settings: MeasureSettings<'_>| {
            let (measure, _, rows) = KINDS[kind];
            compose(&field(rows).group(measure), &settings)
        };
        let plain = MeasureSettings::default();
        let values_only = of(6, MeasureSettings { values_only: true, ..plain }).unwrap();
        assert!(values_only.values.iter().all(|value| value.estimate.sigma == 0.0), "{values_only:?}");
        assert_eq!(values_only.values[0].estimate.value, of(6, plain).unwrap().values[0].estimate.value);
        assert!(of(7, plain).unwrap().warnings.is_empty());
        assert!(of(7, MeasureSettings { offset_limit_m: 7.0, ..plain }).unwrap().warnings[0].contains("beyond the limit of 7 m"));
        let square = plane_sight::PlaneSettings { least_angle_rad: 89f64.to_radians(), ..plain.plane_sight };
        assert!(of(3, MeasureSettings { plane_sight: square, ..plain }).unwrap_err().contains("meets the surface at"));
        assert_eq!((plain.agreement_sigmas, plain.offset_limit_m), (4.0, 20.0));
        // Repeats that disagree by 0.4 m: four standard errors of a difference from the mean are 0.14 m, twenty 0.7 m.
        let mut repeated = field(KINDS[0].2);
        let [e, n, u] = [31.0, 20.0, 18.0].map(|x: f64| x * 1.02);
        repeated.shot(0, "top", [e, n, u]);
        assert!(compose(&repeated.group("height"), &plain).is_err());
        let loose = compose(&repeated.group("height"), &MeasureSettings { agreement_sigmas: 20.0, ..plain }).unwrap();
        assert!(loose.method.ends_with("; top is the mean of S2 and S3"), "{}", loose.method);
    }

    #[test]
    fn cautions_stand_beside_wires_and_heaps() {
        let of = MEASURES.map(|measure| caution_of(measure).is_some());
        assert_eq!(of, [false, false, false, false, false, true, true, false]);
        assert!(caution_of("span").unwrap().contains("wire") && caution_of("volume").unwrap().contains("heap"));
    }

    #[test]
    fn rows_by_their_role() {
        let field = field(&[("foot", [30.0, 20.0, -2.0]), ("top", [31.0, 20.0, 18.0]), ("foot", [30.0, 21.0, -2.0])]);
        let group = field.group("height");
        assert_eq!(group.with_role("foot").map(|row| row.label.as_str()).collect::<Vec<_>>(), ["S1", "S3"]);
        assert_eq!(group.only("top").unwrap().label, "S2");
        assert_eq!(group.only("foot").unwrap_err(), "height of North wall has two rows with role foot; the second is S3");
        assert_eq!(group.only("distance").unwrap_err(), "height of North wall lacks the row with role distance");
        assert_eq!(group.base(&group.sightings[0]).label, "B1");
        assert_eq!((group.said_m(1.25, 1), group.said_deg(7.04, 1)), ("1.2 m".to_owned(), "7.0\u{b0}".to_owned()));
    }
}
