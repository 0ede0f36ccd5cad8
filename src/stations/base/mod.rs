//! Bases settled: each recorded position on the datum where it is computed, with its height, its
//! covariance, its local frame and its grid, and what is suspicious about it.
//!
//! A base is computed on the datum of its own CRS where that datum's ellipsoid lies about the
//! earth's centre as WGS 84's does, with degrees from Greenwich. On other datums heights above the ellipsoid are not what GNSS
//! gives, so that such bases are first brought to WGS 84, by the operation that is best where they lie (`recorded`).
//!
//! A height above the ellipsoid stands on the ellipsoid of its own frame, and so does a geoid: what lies between the two is added
//! ([`crate::geodesy::height_frame`]).

mod names;
mod neighbours;
mod settings;
mod settle;

use std::collections::{BTreeMap, HashMap};
use std::sync::Arc;

use crate::geodesy::covariance::Covariance;
use crate::geodesy::crs::{Crs, GridFactors, Operation};
use crate::geodesy::frame::{Geodetic, LocalFrame};
use crate::geodesy::geoid::{self, GeoidSteps, Undulation};
use crate::geodesy::height_frame::HeightFrame;
use crate::geodesy::register::{Arm, ErrorId};
use crate::records::base_row::{BaseRow, FixQuality, HeldBase};
use crate::records::ledger::{Fault, Flags};
use crate::records::names::label;
use crate::stations::occupation::EmptyWindow;

pub use self::settings::BaseSettings;

/// Standard error of a base's horizontal axes where neither log nor job states it, in metres: a
/// hand-held receiver under open sky (common practice, no source).
pub const ASSUMED_SIGMA_HORIZONTAL_M: f64 = 2.5;
/// Standard error of a base's height likewise.
pub const ASSUMED_SIGMA_VERTICAL_M: f64 = 5.0;

/// A base ready to shoot from.
#[derive(Debug, Clone)]
pub struct Base {
    /// Name for people.
    pub label: String,
    /// The row it came from.
    pub row: BaseRow,
    /// Index of its datum in [`BaseTable::datums`].
    pub datum: usize,
    /// Position on the datum; the height is 0 where none is known.
    pub at: Geodetic,
    /// Heights of the ground point.
    pub heights: BaseHeights,
    /// Covariance of the position, shared by all its shots.
    pub covariance: Covariance,
    /// The unknowns of a network that its place is, where one moved it.
    pub in_network: Option<InNetwork>,
    /// What the fit of a local frame says of it, where one moved it.
    pub tied: Option<Arc<Tied>>,
    /// Standard error in metres of each axis that the steps between datums add.
    pub sigma_datum_m: f64,
    /// The same by step, with the number of each in the run: shared by all bases that go the same way.
    pub datum_errors: Vec<(usize, f64)>,
    /// Number of the group of bases near each other that it belongs to: they share the error of a declination.
    pub neighbours: u32,
    /// The operation that brought it to the datum, as an index into [`BaseTable::operations`]; none where it was there, or where the
    /// conversion is exact.
    pub step: Option<usize>,
    /// Longitude and latitude from Greenwich in degrees on the datum that it was recorded on, where that is the datum of the layers.
    pub recorded_deg: Option<[f64; 2]>,
    /// What is added to the undulations of the geoids, so that they are counted from the ellipsoid of the datum.
    pub geoid_steps: GeoidSteps,
    /// Epoch of the coordinates as a year with its fraction, where it is known.
    pub epoch: Option<f64>,
    /// East, north, up at the base.
    pub frame: LocalFrame,
    /// Mean radius of the earth at the base, in metres.
    pub earth_radius_m: f64,
    /// The grid that grid azimuths mean.
    pub grid: Option<GridFactors>,
    /// Whether a network of shots made its position better.
    pub adjusted: bool,
    /// Whether it has no position but what the network gave it.
    pub from_network: bool,
    /// Suspicions.
    pub flags: Flags,
}

impl Base {
    /// A base that no log has, placed from elsewhere: on the datum of a base beside it, with its geoid and its kind of height, and nothing of what
    /// that one was recorded with.
    pub fn without_log(name: &str, beside: &Base) -> Base {
        let row = BaseRow {
            name: name.to_owned(),
            name_header: String::new(),
            file: beside.row.file,
            line: 0,
            raw: String::new(),
            coordinates: beside.row.coordinates,
            height: beside.row.height,
            crs: None,
            crs_value: None,
            sigma_horizontal_m: None,
            sigma_vertical_m: None,
            instrument_height_m: None,
            when: None,
            windows: Vec::new(),
            separation_m: None,
            coordinate_epoch: beside.row.coordinate_epoch,
            is_known: false,
            quality: FixQuality::default(),
            origins: Vec::new(),
            occupation: None,
            extras: vec![String::new(); beside.row.extras.len()],
            flags: Flags::default(),
        };
        Base { label: label(name), row, recorded_deg: None, from_network: true, flags: Flags::default(), ..beside.clone() }
    }
}

/// What is known of a base's heights, in metres.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct BaseHeights {
    /// Kind of the height that was recorded.
    pub kind: HeightKind,
    /// Above the ellipsoid.
    pub ellipsoid_m: Option<f64>,
    /// Above the geoid.
    pub orthometric_m: Option<f64>,
    /// Height of the geoid above the ellipsoid, where a geoid is used.
    pub undulation: Option<Undulation>,
}

/// What a height is measured from.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum HeightKind {
    /// No height is known.
    #[default]
    None,
    /// The ellipsoid.
    Ellipsoid,
    /// The geoid or a vertical datum.
    Orthometric,
}

impl HeightKind {
    /// The word in files.
    pub fn word(self) -> &'static str {
        match self {
            HeightKind::None => "none",
            HeightKind::Ellipsoid => "ellipsoidal",
            HeightKind::Orthometric => "orthometric",
        }
    }
}

/// A datum on which bases are computed.
pub struct Datum {
    /// Its geographic CRS with ellipsoidal height.
    pub crs: Crs,
    /// The frame of heights on it.
    pub frame: Arc<HeightFrame>,
}

/// A base of a local frame that was moved to the Earth.
#[derive(Debug, Clone, PartialEq)]
pub struct Tied {
    /// Arms of its position: its own in the frame, and those of the fit.
    pub arms: Vec<Arm>,
    /// What its azimuths are turned by, in radians, east positive.
    pub correction_rad: f64,
    /// The entries of the error of that.
    pub turning: Turning,
    /// Entries of the fit by names that mean the same in other runs.
    pub names: Arc<BTreeMap<ErrorId, String>>,
}

/// All bases of a job.
pub struct BaseTable {
    /// The bases in the order of the logs.
    pub bases: Vec<Base>,
    /// Rows held.
    pub held: Vec<HeldBase>,
    /// Datums.
    pub datums: Vec<Datum>,
    /// Operations used to reach the datums; each base has an index into it.
    pub operations: Vec<Operation>,
    /// What a name stands for.
    pub by_name: HashMap<String, Named>,
    /// Occupations without a usable fix.
    pub empty_windows: Vec<EmptyWindow>,
    /// Bases that cannot be used, until their rows and fixes are held.
    unmade: Vec<(BaseRow, Fault)>,
    /// Whether a standard error had to be assumed (horizontal, vertical).
    pub assumed: (bool, bool),
}

/// What a base name stands for.
#[derive(Debug, Clone, PartialEq)]
pub enum Named {
    /// A usable base, by index.
    Base(usize),
    /// Several positions, by index; the time tells which is meant.
    Several(Vec<usize>),
    /// A row that was held, with the sentence of its fault.
    Held(String),
    /// No position at all, and why.
    Absent(String),
    /// Positions far apart: the greatest separation, as people read it.
    Ambiguous(String),
}

/// The standard error that a geoid adds to a height of the kind that was not recorded, in metres.
pub fn sigma_geoid_m(heights: &BaseHeights) -> Option<f64> {
    heights.undulation.map(|undulation| undulation.sigma_m.unwrap_or(geoid::SIGMA_M))
}

/// The entries of the error of a base's azimuths, with radians by one standard error of each.
pub type Turning = Vec<(ErrorId, f64)>;

/// Unknowns of a network that a base's place is.
#[derive(Debug, Clone, PartialEq)]
pub struct InNetwork {
    /// Number of the network in the register.
    pub network: usize,
    /// Its unknowns east, north and up; none for a point held fixed, two where the height is not known.
    pub unknowns: Vec<usize>,
}
