//! Every error that the library gives, and what it holds: whatever a program may want to match on has a name here.
//!
//! [`JobError`] holds a [`JobFault`], [`RunError`] what a step of a run found wrong, down to the line of a log. The sentence of each is that of
//! its `Display`; the values in it are fields. What is wrong with one row is no error: see [`crate::Fault`].
//!
//! ```
//! use standoff::errors::{JobError, JobFault, NetworkFault, ValueFault};
//! use standoff::job::NetworkSettings;
//!
//! let job = standoff::Job::builder("skerrow")
//!     .folder("examples/cliff-nests")
//!     .crs("EPSG:32630")
//!     .bases(["bases-west.csv", "bases-east.csv"], "EPSG:4979")
//!     .shots(["monday.csv"])
//!     .with(|job| job.network = Some(NetworkSettings { alpha: 2.0, ..NetworkSettings::default() }));
//! let error = job.build().unwrap_err();
//! assert_eq!(error.to_string(), "alpha is 2; a probability lies between 0 and 1");
//! let JobError::Setting { key, problem } = error else { panic!("{error}") };
//! assert_eq!(key, ["network", "alpha"]);
//! assert!(matches!(*problem, JobFault::Value(ValueFault::Network(NetworkFault::Probability("alpha", 2.0)))));
//! ```

pub use crate::door::{MeasureError, ShotError};
#[cfg(feature = "gis")]
pub use crate::geodesy::crs::CrsError;
#[cfg(feature = "gis")]
pub use crate::geodesy::geoid::{GeoidError, NoGrid, NoLattice, NoUndulations};
pub use crate::intake::cell::NoTimeZone;
pub use crate::intake::gpx::GpxError;
pub use crate::intake::kind::NoLog;
pub use crate::intake::kml::KmlError;
pub use crate::intake::log_layout::{Alike, HeadersFound, LayoutError, NoZone, SettingError};
#[cfg(feature = "gis")]
pub use crate::intake::vector::{FileKind, Holds, LayersThere, VectorError};
pub use crate::intake::workbook::{ReaderError, SheetFlaw, WorkbookError};
pub use crate::intake::xml::{XmlError, XmlFlaw};
pub use crate::intake::{FileError, IntakeError, NameError, NoSheet, TextError, TooLarge};
pub use crate::job::catalogue::{AttributeFault, CatalogueFault, NoLayerId};
pub use crate::job::{
    CalibrationFault, FilesError, InstrumentFault, JobError, JobFault, LeapSecondsFile, LevelFault, MeasuresFault, NetworkFault,
    NoPattern, SignFault, TextFault, ValueFault,
};
pub use crate::measure::Refusal;
pub use crate::network::{BadNetwork, Flaw, ReadingFlaw};
#[cfg(feature = "gis")]
pub use crate::output::disclosure::PlaceInJob;
#[cfg(feature = "gis")]
pub use crate::output::page::background::BackgroundError;
#[cfg(feature = "gis")]
pub use crate::output::{FormatError, WriteError};
#[cfg(feature = "gis")]
pub use crate::run::{FitError, NoBase, OutsideClue, RunError};
pub use crate::units::gps_time::LeapSecondsError;
