//! The standard errors of a plan, each with where it comes from: given, a job's, or assumed as the
//! main job assumes it.

use serde::Serialize;

use super::PlannedSight;
use crate::geodesy::REFRACTION;
use crate::geodesy::covariance::Covariance;
use crate::geodesy::frame::Ellipsoid;
use crate::intake::columns::LogKind;
use crate::intake::log::Log;
use crate::intake::{IntakeError, sheets};
use crate::job::{Instrument, Job};
use crate::records::kit::{ASSUMED_SIGMA_AZIMUTH_DEG, ASSUMED_SIGMA_DISTANCE_M, ASSUMED_SIGMA_INCLINATION_DEG, Kit};
use crate::shots::locate::ASSUMED_SIGMA_DECLINATION_DEG;
use crate::stations::base::{ASSUMED_SIGMA_HORIZONTAL_M, ASSUMED_SIGMA_VERTICAL_M};
use crate::units::Units;

/// Standard errors of a declination from the magnetic model away from its poles, in degrees: the least and the greatest.
const MODEL_SIGMA_DEG: [f64; 2] = [0.3, 0.45];

/// A standard error and where it comes from.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Sigma {
    /// The value, in the unit of its name.
    pub value: f64,
    /// Where it comes from.
    pub origin: ValueOrigin,
}

/// Where a value comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum ValueOrigin {
    /// Given for this plan.
    Given,
    /// The job's.
    Job,
    /// Nobody stated it.
    Assumed,
}

impl Sigma {
    /// A value given for this plan.
    pub fn given(value: f64) -> Sigma {
        Sigma { value, origin: ValueOrigin::Given }
    }

    fn job_or(stated: Option<f64>, assumed: f64) -> Sigma {
        match stated {
            Some(value) => Sigma { value, origin: ValueOrigin::Job },
            None => Sigma { value: assumed, origin: ValueOrigin::Assumed },
        }
    }
}

/// The standard errors of a plan.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PlanErrors {
    /// Of a distance, in metres.
    pub sigma_distance_m: Sigma,
    /// Part of it that grows with distance, in parts per million.
    pub sigma_distance_ppm: Sigma,
    /// Of one azimuth reading, in degrees.
    pub sigma_azimuth_deg: Sigma,
    /// Of one inclination reading, in degrees.
    pub sigma_inclination_deg: Sigma,
    /// Of the declination, in degrees; 0 for azimuths from true or grid north.
    pub sigma_declination_deg: Sigma,
    /// Of an orientation error beside it that the shots of one base share (a compass bias), in degrees.
    pub sigma_orientation_deg: Sigma,
    /// Of each horizontal axis of the base, in metres.
    pub sigma_base_horizontal_m: Sigma,
    /// Of the base's height, in metres.
    pub sigma_base_height_m: Sigma,
    /// Coefficient of refraction.
    pub refraction: f64,
    /// The shortest distance that the instrument measures, in metres, where the job states it.
    pub least_distance_m: Option<f64>,
    /// The longest distance that the instrument measures, in metres, where the job states it.
    pub greatest_distance_m: Option<f64>,
    /// Whether the job's base logs carry standard errors of their own (horizontal, vertical).
    #[serde(skip)]
    pub in_base_logs: (bool, bool),
    /// Whether the job's azimuths are all from true or grid north.
    #[serde(skip)]
    pub no_compass: bool,
    /// What the reader of the notes calls the standard errors of a base (each axis, height).
    #[serde(skip)]
    pub names_for_base: [&'static str; 2],
}

/// A job that does not tell which errors to plan with.
#[derive(Debug, thiserror::Error)]
pub enum ErrorsOfJob {
    /// Several instruments, none chosen.
    #[error("the job has several instruments: {}; choose one", .0.join(", "))]
    Several(Vec<String>),
    /// No instrument of that name.
    #[error("the job has no instrument \"{name}\"; it has: {}", has.join(", "))]
    Unknown {
        /// The name asked for.
        name: String,
        /// Those that there are.
        has: Vec<String>,
    },
    /// An instrument is asked for by name, and none has one.
    #[error("the job has no instrument \"{0}\"; its instruments have no names: leave it out")]
    Unnamed(String),
    /// A log cannot be read or understood.
    #[error(transparent)]
    Intake(#[from] IntakeError),
}

impl PlanErrors {
    /// What the main job assumes where nothing is stated.
    pub fn assumed() -> PlanErrors {
        PlanErrors::from_instrument(&Instrument { refraction: REFRACTION, ..Instrument::default() })
    }

    fn from_instrument(instrument: &Instrument) -> PlanErrors {
        let zero_or = |value: f64| Sigma::job_or((value != 0.0).then_some(value), 0.0);
        PlanErrors {
            sigma_distance_m: Sigma::job_or(instrument.sigma_distance_m, ASSUMED_SIGMA_DISTANCE_M),
            sigma_distance_ppm: zero_or(instrument.sigma_distance_ppm),
            sigma_azimuth_deg: Sigma::job_or(instrument.sigma_azimuth_deg, ASSUMED_SIGMA_AZIMUTH_DEG),
            sigma_inclination_deg: Sigma::job_or(instrument.sigma_inclination_deg, ASSUMED_SIGMA_INCLINATION_DEG),
            sigma_declination_deg: Sigma::job_or(None, ASSUMED_SIGMA_DECLINATION_DEG),
            sigma_orientation_deg: Sigma::job_or(None, 0.0),
            sigma_base_horizontal_m: Sigma::job_or(None, ASSUMED_SIGMA_HORIZONTAL_M),
            sigma_base_height_m: Sigma::job_or(None, ASSUMED_SIGMA_VERTICAL_M),
            refraction: instrument.refraction,
            least_distance_m: instrument.least_distance_m,
            greatest_distance_m: instrument.greatest_distance_m,
            in_base_logs: (false, false),
            no_compass: false,
            names_for_base: ["sigma_base_horizontal_m", "sigma_base_height_m"],
        }
    }

    /// What a job states of its instrument, its bases and its north. The headers of its logs tell
    /// whether azimuths are magnetic, and whether bases carry standard errors of their own.
    ///
    /// # Errors
    /// When the instrument is not settled, or a log cannot be read.
    pub fn from_job(job: &Job, instrument: Option<&str>) -> Result<PlanErrors, ErrorsOfJob> {
        let known = || job.instruments.keys().cloned().collect();
        let chosen = match (instrument, &job.instrument, job.instruments.len()) {
            (None, Some(one), _) => Some(one),
            (None, None, 0) => None,
            (None, None, 1) => job.instruments.values().next(),
            (None, None, _) => return Err(ErrorsOfJob::Several(known())),
            (Some(name), _, 0) => return Err(ErrorsOfJob::Unnamed(name.to_owned())),
            (Some(name), _, _) => match job.instruments.get(name) {
                Some(found) => Some(found),
                None => return Err(ErrorsOfJob::Unknown { name: name.to_owned(), has: known() }),
            },
        };
        let mut errors = chosen.map_or_else(PlanErrors::assumed, PlanErrors::from_instrument);
        errors.sigma_base_horizontal_m = Sigma::job_or(job.bases.sigma_horizontal_m, ASSUMED_SIGMA_HORIZONTAL_M);
        errors.sigma_base_height_m = Sigma::job_or(job.bases.sigma_vertical_m, ASSUMED_SIGMA_VERTICAL_M);
        let orientation = job.north.sigma_orientation_deg;
        errors.sigma_orientation_deg = Sigma::job_or((orientation != 0.0).then_some(orientation), 0.0);
        // The standard error in the job is that of a declination in degrees; the model has its own.
        let fixed = matches!(job.north.declination, crate::job::Declination::Degrees(_));
        let stated = job.north.sigma_declination_deg.filter(|_| fixed);
        errors.sigma_declination_deg = Sigma::job_or(stated, ASSUMED_SIGMA_DECLINATION_DEG);
        let mut magnetic = false;
        for (path, name) in &job.shots.resolved {
            for (log, format) in sheets::logs(path, name, LogKind::Shots, job.shots.format_of(name))? {
                magnetic |= Log::read_shots(log, name, &format)?.has_magnetic_azimuths();
            }
            if magnetic {
                break;
            }
        }
        if !magnetic {
            errors.sigma_declination_deg = Sigma { value: 0.0, origin: ValueOrigin::Job };
            errors.no_compass = true;
        }
        if let Some((path, name)) = job.bases.resolved.first()
            && let Some((log, format)) = sheets::logs(path, name, LogKind::Bases, job.bases.format_of(name))?.into_iter().next()
        {
            errors.in_base_logs = Log::read_bases(log, name, &format)?.gives_sigmas();
        }
        Ok(errors)
    }

    /// The standard errors, to change them.
    #[cfg(test)]
    pub fn all_mut(&mut self) -> [&mut Sigma; 8] {
        [
            &mut self.sigma_distance_m,
            &mut self.sigma_distance_ppm,
            &mut self.sigma_azimuth_deg,
            &mut self.sigma_inclination_deg,
            &mut self.sigma_declination_deg,
            &mut self.sigma_orientation_deg,
            &mut self.sigma_base_horizontal_m,
            &mut self.sigma_base_height_m,
        ]
    }

    /// Name for people, standard error and unit of each.
    pub fn listed(&self) -> [(&'static str, Sigma, &'static str); 8] {
        [
            ("distance", self.sigma_distance_m, "m"),
            ("distance, growing", self.sigma_distance_ppm, "ppm"),
            ("azimuth", self.sigma_azimuth_deg, "deg"),
            ("inclination", self.sigma_inclination_deg, "deg"),
            ("declination", self.sigma_declination_deg, "deg"),
            ("compass bias", self.sigma_orientation_deg, "deg"),
            ("base, each axis", self.sigma_base_horizontal_m, "m"),
            ("base, height", self.sigma_base_height_m, "m"),
        ]
    }

    /// What a reader must know about them, in the reader's units.
    pub fn notes(&self, units: &Units) -> Vec<String> {
        let mut notes = Vec::new();
        let (length, angle) = (units.length(), units.angle());
        if self.sigma_declination_deg.origin == ValueOrigin::Assumed {
            notes.push(format!(
                "declination: {} {unit} is what a model is commonly good for; standoff north prints the model's own standard \
                 error, {} to {} {unit} away from the magnetic poles. Give 0 for azimuths from true or grid north.",
                angle.given(ASSUMED_SIGMA_DECLINATION_DEG),
                angle.given(MODEL_SIGMA_DEG[0]),
                angle.given(MODEL_SIGMA_DEG[1]),
                unit = angle.suffix
            ));
        }
        if self.no_compass && self.sigma_declination_deg.origin == ValueOrigin::Job {
            notes.push("declination: the job's azimuths are from true or grid north; it does not count.".into());
        }
        let [axes, height] = self.names_for_base;
        let own = [
            (self.in_base_logs.0, self.sigma_base_horizontal_m, "sigma_horizontal_m", axes),
            (self.in_base_logs.1, self.sigma_base_height_m, "sigma_vertical_m", height),
        ];
        for (in_logs, sigma, column, name) in own {
            if in_logs && sigma.origin != ValueOrigin::Given {
                notes.push(format!(
                    "the base log carries {column} of its own, row by row; the plan takes {} {}: give {name} to plan with another.",
                    length.given(sigma.value),
                    length.sign
                ));
            }
        }
        notes
    }

    /// Ready to plan with.
    pub fn setup(&self) -> PlannedSight {
        let instrument = Instrument {
            sigma_distance_m: Some(self.sigma_distance_m.value),
            sigma_distance_ppm: self.sigma_distance_ppm.value,
            sigma_azimuth_deg: Some(self.sigma_azimuth_deg.value),
            sigma_inclination_deg: Some(self.sigma_inclination_deg.value),
            refraction: self.refraction,
            ..Instrument::default()
        };
        PlannedSight {
            kit: Kit::from(&instrument),
            sigma_orientation_rad: self
                .sigma_declination_deg
                .value
                .to_radians()
                .hypot(self.sigma_orientation_deg.value.to_radians()),
            base: Covariance::from_sigmas(self.sigma_base_horizontal_m.value, self.sigma_base_height_m.value),
            // Refraction bends a sight of 1 km by 10⁻⁵; the latitude changes that by a thousandth.
            earth_radius_m: Ellipsoid::WGS84.mean_radius_m(std::f64::consts::FRAC_PI_4),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_assumed_is_what_the_main_job_assumes() {
        let setup = PlanErrors::assumed().setup();
        let kit = Kit::from(&Instrument { refraction: REFRACTION, ..Instrument::default() });
        assert_eq!(setup.kit, kit);
        assert_eq!(setup.base, Covariance::from_sigmas(ASSUMED_SIGMA_HORIZONTAL_M, ASSUMED_SIGMA_VERTICAL_M));
        assert!(PlanErrors::assumed().listed().iter().all(|(_, sigma, _)| sigma.origin == ValueOrigin::Assumed));
    }

    #[test]
    fn declination_and_compass_bias_add_as_squares() {
        let mut errors = PlanErrors::assumed();
        errors.sigma_declination_deg = Sigma::given(0.3);
        errors.sigma_orientation_deg = Sigma::given(0.4);
        assert!((errors.setup().sigma_orientation_rad.to_degrees() - 0.5).abs() < 1e-12);
    }

    #[test]
    fn a_note_about_the_base_log_goes_once_the_value_is_given() {
        let mut errors = PlanErrors::assumed();
        errors.in_base_logs = (true, false);
        let notes = |errors: &PlanErrors| errors.notes(&Units::default());
        assert!(notes(&errors).iter().any(|note| note.contains("sigma_base_horizontal_m ")), "{:?}", notes(&errors));
        errors.sigma_base_horizontal_m = Sigma::given(1.0);
        assert!(!notes(&errors).iter().any(|note| note.contains("sigma_base_horizontal_m ")), "{:?}", notes(&errors));
    }
}
