//! Turns a field crew's collection logs into finished map layers.
//!
//! A crew stands at GNSS base positions and measures features that it cannot, or should not, walk
//! up to. This library joins the shots with the bases, reduces them to coordinates and heights with
//! an honest uncertainty, and writes layers for desktop GIS with an account of every input row.
//!
//! What stands at the door:
//!
//! | for | |
//! | --- | --- |
//! | a job from a file, or made in Rust | [`Job::from_path`], [`Job::builder`] |
//! | its layers, or what would become of its rows | [`map`], [`check`], [`Account`] |
//! | a shot to a point, with its covariance | [`Stand`], [`Shot::point`], [`Point`] |
//! | several shots to a measurement | [`Height::from_angles`], [`Width::from_edges`], [`MissingLine::between`], [`Face::through`], [`FaceSight::meet`], [`Span::of_wire`], [`Pile::over_toe`], [`Profile::along`] |
//! | shots that check each other | [`Network`] to [`Adjustment`] by [`network::adjust`] |
//! | settings, units | [`job`], [`units`] |
//! | every error, and what it holds | [`errors`] |
//!
//! ```
//! # #[cfg(feature = "gis")] fn main() -> Result<(), Box<dyn std::error::Error>> {
//! # let folder = tempfile::tempdir()?;
//! # let out = folder.path().join("layers");
//! let job = standoff::Job::from_path("examples/cliff-nests/job.toml")?;
//! let account = standoff::map(&job, &out)?;
//! assert_eq!((account.shots.read, account.shots.mapped, account.held_total()), (48, 25, 6));
//! # assert!(out.join("summary.json").exists());
//! # Ok(()) }
//! # #[cfg(not(feature = "gis"))] fn main() {}
//! ```
//!
//! Angles inside are in radians, lengths in
//! metres; names say so. Results are mapping grade, not a licensed survey.

#![cfg_attr(not(feature = "gis"), allow(dead_code, unused_imports))]

#[cfg(feature = "gis")]
#[doc(hidden)]
pub mod cli;
mod disk;
mod door;
pub mod errors;
#[cfg(feature = "gis")]
mod field;
mod geodesy;
#[doc(hidden)]
pub mod inside;
mod intake;
pub mod job;
mod measure;
pub mod network;
mod numeric;
#[cfg(feature = "gis")]
mod output;
mod records;
#[cfg(feature = "gis")]
mod review;
#[cfg(feature = "gis")]
mod run;
mod shots;
mod stations;
pub mod units;

pub use door::{
    Distance, Face, FaceSight, Height, MeasureError, Measured, MissingLine, Pile, Point, Profile, Shot, ShotError, Span, Stand,
    Touch, Width,
};
pub use geodesy::covariance::{Covariance, Ellipse};
pub use geodesy::frame::{EarthCentred, Ellipsoid, Geodetic, LocalFrame};
pub use geodesy::register::Estimate;
pub use job::{Job, JobError};
pub use measure::Refusal;
pub use network::{Adjustment, Network};
#[cfg(feature = "gis")]
pub use output::{WriteError, contract::Account};
pub use records::ledger::{Counts, Entry, Fault, Flag, Flags, Outcome, Reason};
#[cfg(feature = "gis")]
pub use run::RunError;

/// Maps a job: writes its layers, its account and its page to the folder `out`, whole or not at all.
///
/// # Errors
/// When a log, a CRS, a grid or the catalogue cannot be used, or `out` holds what is not ours. Rows that cannot be used are
/// no errors: they are held, and the account says why.
#[cfg(feature = "gis")]
pub fn map(job: &Job, out: impl AsRef<std::path::Path>) -> Result<Account, RunError> {
    use output::report::summary::Summary;
    let mut output = output::write::Output::new(out.as_ref(), false)?;
    let account = run::run(job, &mut output, &|_, _| {})?;
    let (_, account) = output.commit(&account, |account, extents, files| Summary::new(job, account, extents, files).to_json())?;
    Ok(account)
}

/// What [`check`] found.
#[cfg(feature = "gis")]
#[derive(Debug)]
pub struct Checked {
    /// What would become of the rows.
    pub account: Account,
    /// The held rows, each with the name of its file, in the order of the logs.
    pub held: Vec<(String, Entry)>,
}

/// Does all that [`map`] does and writes nothing; gives the held rows, too.
///
/// ```
/// let job = standoff::Job::from_path("examples/cliff-nests/job.toml")?;
/// let checked = standoff::check(&job)?;
/// let (file, first) = &checked.held[0];
/// assert_eq!((file.as_str(), checked.held.len()), ("monday.csv", 6));
/// assert!(matches!(&first.outcome, standoff::Outcome::Held(fault) if !fault.sentence.is_empty()));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
///
/// # Errors
/// As [`map`].
#[cfg(feature = "gis")]
pub fn check(job: &Job) -> Result<Checked, RunError> {
    let mut discard = output::write::Discard::default();
    let mut account = run::run(job, &mut discard, &|_, _| {})?;
    account.notes.extend(discard.note()?);
    Ok(Checked { account, held: discard.held })
}
