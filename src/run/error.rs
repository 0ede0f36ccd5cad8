//! Why a job cannot be run.

use std::path::PathBuf;

use super::tie::error::FitError;
use crate::geodesy::crs::CrsError;
use crate::geodesy::geoid::GeoidError;
use crate::intake::IntakeError;
use crate::job::{JobError, ValueFault};
use crate::network::BadNetwork;
use crate::numeric::words::of_all;
use crate::output::WriteError;
use crate::output::disclosure::PlaceInJob;

/// The job cannot be run.
#[derive(Debug, thiserror::Error)]
pub enum RunError {
    /// A log cannot be used.
    #[error(transparent)]
    Intake(#[from] IntakeError),
    /// A CRS cannot be used.
    #[error("{what}: {source}")]
    Crs {
        /// The key of the job.
        what: &'static str,
        /// Why.
        source: CrsError,
    },
    /// The output cannot be written.
    #[error(transparent)]
    Write(#[from] WriteError),
    /// The catalogue cannot be used.
    #[error(transparent)]
    Catalogue(#[from] JobError),
    /// A value of the job cannot be, for what is known now.
    #[error(transparent)]
    Value(#[from] ValueFault),
    /// The geoid grid cannot be used.
    #[error(transparent)]
    Geoid(#[from] GeoidError),
    /// The geoid grid reaches no base.
    #[error(
        "{}: the grid covers none of the bases; the first, {base}, lies at latitude {lat_deg:.3}, longitude {lon_deg:.3}. Name the grid of \
         their region", path.display()
    )]
    GridElsewhere {
        /// The grid.
        path: PathBuf,
        /// A base.
        base: String,
        /// Its latitude in degrees.
        lat_deg: f64,
        /// Its longitude in degrees.
        lon_deg: f64,
    },
    /// No base lies where the CRS is meant for.
    #[error(
        "crs: no base lies in the area that the job or {crs} is meant for; the first, {base}, lies at latitude {lat_deg:.3}, longitude \
         {lon_deg:.3}: {}", clue.words()
    )]
    AllOutside {
        /// The CRS of the layers.
        crs: String,
        /// A base.
        base: String,
        /// Its latitude in degrees.
        lat_deg: f64,
        /// Its longitude in degrees.
        lon_deg: f64,
        /// What it may come from.
        clue: OutsideClue,
    },
    /// Positions of an antenna of which the height is not known.
    #[error(
        "the fixes of a receiver are of its antenna, and nothing says how high it stood over the ground point; write antenna_height_m = 2.0 \
         under [heights] (0 where the heights are of the ground already), or give antenna_height_m in the list of occupations"
    )]
    NoAntennaHeight,
    /// Occupations from a list that is none.
    #[error("occupations come from a list, and the job names none; write files = [\"…\"] under [bases.occupations.list]")]
    NoList,
    /// No base.
    #[error(transparent)]
    NoBase(Box<NoBase>),
    /// The readings give no network.
    #[error(transparent)]
    Network(#[from] BadNetwork),
    /// The local frame is not tied to its CRS.
    #[error(transparent)]
    Fit(#[from] FitError),
    /// The job's text tells a place that is kept coarse.
    #[error(transparent)]
    Disclosure(#[from] PlaceInJob),
    /// Cells of a grid in degrees.
    #[error(
        "{catalogue} has a layer with coarse_cell_m, whose cells are squares of a grid, and {crs} has degrees: name a projected CRS as crs"
    )]
    CellsInDegrees {
        /// The catalogue's name.
        catalogue: String,
        /// The CRS of the layers.
        crs: String,
    },
}

impl RunError {
    /// A CRS that the job names under `what` cannot be used.
    pub(super) fn crs(what: &'static str) -> impl Fn(CrsError) -> RunError {
        move |source| RunError::Crs { what, source }
    }
}

/// What bases outside the area of their CRS may come from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OutsideClue {
    /// Latitude and longitude swapped.
    Swapped,
    /// A sign lost.
    SignLost,
    /// Nothing tells.
    None,
}

impl OutsideClue {
    fn words(self) -> &'static str {
        match self {
            OutsideClue::Swapped => "with latitude and longitude swapped it would lie inside",
            OutsideClue::SignLost => "with the other sign it would lie inside",
            OutsideClue::None => "is the CRS right, and are latitude and longitude?",
        }
    }
}

/// What became of the rows of bases where none is a base.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("no base can be used: {}{}{}{}", rows(*held, *read), outside_words(*outside), why(first.as_deref()), sentences(notes))]
pub struct NoBase {
    /// Rows held.
    pub held: u64,
    /// Rows read.
    pub read: u64,
    /// Fixes outside every occupation.
    pub outside: u64,
    /// Why the first is none.
    pub first: Option<String>,
    /// What else there is to say.
    pub notes: Vec<String>,
}

fn rows(held: u64, read: u64) -> String {
    match read {
        0 => "the logs of bases have no rows".to_owned(),
        _ => of_all(held, read, ["row", "rows"], ["was held", "were held"]),
    }
}

fn outside_words(outside: u64) -> String {
    if outside > 0 { format!(", {outside} lie outside every occupation") } else { String::new() }
}

fn why(first: Option<&str>) -> String {
    first.map(|why| format!("; the first: {why}")).unwrap_or_default()
}

fn sentences(notes: &[String]) -> String {
    notes.iter().map(|note| format!(". {note}")).collect()
}
