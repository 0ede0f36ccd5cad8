//! Shots that check each other: one least-squares adjustment of bases, remote points and known points.
//!
//! One shot can be wrong and nobody would know. Crews shoot twice, from two bases, back to known points; under canopy
//! they chain their bases. All of that is one network of raw readings with one solver: [`adjust`]. No CRS, no file and no row of a log
//! is known here: `run/network` makes the readings.
//!
//! | step | module |
//! | --- | --- |
//! | stations, readings, settings; shots as readings | `types`, `shots` |
//! | starting values by closed forms | `start` |
//! | poor geometry, defects of datum, heights | `geometry`, `datum`, `heights` |
//! | misclosures of traverses, before adjustment | `misclosure` |
//! | groups that hang together, each on its own | `components`, `component` |
//! | observation and normal equations, sparse solution | `observations`, `equations`, `normals`, `cholesky`, `inverse`, `solution` |
//! | robust weights | `reweighting` |
//! | is it right: global test, redundancy, normalised residuals, worst reading | `global`, `reliability`, `outliers`, `without` |
//! | the true standard errors of the instruments | `variance` |
//!
//! Everything is in earth-centred coordinates; each reading is computed in the horizon of the base that it was read at.
//!
//! A stake due east of a fixed base by its azimuth, its height, and two distances that differ by 0.2 m: the place is their mean, with a
//! standard error of 0.1 m / √2.
//!
//! ```
//! use standoff::network::{Control, Kind, Network, Observation, Settings, Station, adjust};
//! use standoff::{Ellipsoid, Geodetic, LocalFrame};
//!
//! let place = Geodetic { lat_rad: 0.8, lon_rad: 0.2, ellipsoid_height_m: 500.0 };
//! let position = place.to_earth_centred(&Ellipsoid::WGS84);
//! let station = |label: &str, control| Station { label: label.into(), start: None, control, sigma_orientation_rad: 0.0 };
//! let read = |kind, value: f64, sigma: f64| Observation {
//!     kind, value, sigma, from: 0, to: 1, source: 0, instrument: None, shared: [None; 2],
//!     instrument_height_m: 1.5, target_height_m: 1.5,
//! };
//! let network = Network {
//!     ellipsoid: Ellipsoid::WGS84,
//!     refraction: 0.13,
//!     stations: vec![
//!         station("B1", Some(Control { position, covariance: Default::default() })), // all zero: held fixed
//!         station("stake", None),
//!     ],
//!     instruments: vec![],
//!     shared: vec![],
//!     observations: vec![
//!         read(Kind::Azimuth, 90f64.to_radians(), 0.001),
//!         read(Kind::HeightDifference, 0.0, 0.01),
//!         read(Kind::Horizontal, 99.9, 0.1),
//!         read(Kind::Horizontal, 100.1, 0.1),
//!     ],
//! };
//! let adjustment = adjust(&network, &Settings::default())?;
//! let stake = adjustment.station(1).expect("placed");
//! let [east_m, north_m, _] = LocalFrame::at(&place, &Ellipsoid::WGS84).from_earth_centred(stake.position);
//! assert!((east_m - 100.0).abs() < 1e-3 && north_m.abs() < 1e-3);
//! assert!((stake.covariance.ee.sqrt() - 0.1 / 2f64.sqrt()).abs() < 1e-4);
//! let solved = adjustment.component_with(1).expect("solved");
//! assert_eq!((solved.residuals.len(), solved.unknowns), (4, 3));
//! # Ok::<(), standoff::network::BadNetwork>(())
//! ```

mod bad;
mod by_station;
mod check;
mod cholesky;
mod component;
mod components;
mod datum;
mod equations;
mod geometry;
mod given;
mod global;
mod heights;
mod inverse;
mod layout;
mod misclosure;
mod normals;
mod notes;
mod observations;
mod outliers;
mod parted;
pub mod quantiles;
mod reliability;
mod reweighting;
mod run;
mod shots;
mod solution;
mod solved;
mod start;
mod state;
#[cfg(test)]
mod surveyed;
mod types;
mod variance;
mod without;

pub use crate::job::{Reject, Robust};
pub use bad::{BadNetwork, Flaw, ReadingFlaw};
pub use components::{Role, components};
pub use equations::Source;
pub use global::GlobalTest;
pub use misclosure::Misclosure;
pub use notes::{Note, NoteKind};
pub use outliers::Suspect;
pub use reliability::{LEAST_REDUNDANCY, Residual, shift};
pub use run::{Adjustment, adjust};
pub use shots::{ReadingErrors, Sides, SightLine, readings};
pub use solved::{Rejection, Solved, SolvedInstrument, SolvedShared, SolvedStation};
pub use types::{Class, Control, Kind, Network, Observation, Rangefinder, Settings, SharedError, Station};
pub use variance::{ClassSigma, LEAST_REDUNDANCY as LEAST_CLASS_REDUNDANCY, variance_components, variance_components_of};
