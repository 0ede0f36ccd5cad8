//! Turns a field crew's collection logs into finished map layers.
//!
//! A crew stands at GNSS base positions and measures features that it cannot, or should not, walk
//! up to. This library joins the shots with the bases, reduces them to coordinates and heights with
//! an honest uncertainty, and writes layers for desktop GIS with an account of every input row.
//!
//! Data goes one way, and each stage can be run alone:
//!
//! | stage | module |
//! | --- | --- |
//! | settings, feature codes | [`job`] |
//! | logs → rows | [`intake`], accounted for in [`records`] |
//! | fixes → bases; shots joined with them | [`stations`] |
//! | sightings → vectors → points | [`shots`], on [`geodesy`] |
//! | shots that check each other → adjusted places | [`network`] |
//! | rows together → measurements, lines and areas | [`measure`] |
//! | points → layers, and the account | [`output`] |
//! | before the field; instrument corrections | [`field`] |
//! | after the mapping | [`review`] |
//!
//! [`map`] takes a job through all of them, [`check`] does the same and writes nothing:
//!
//! ```
//! # #[cfg(feature = "gis")] fn main() -> Result<(), Box<dyn std::error::Error>> {
//! # let folder = tempfile::tempdir()?;
//! # let out = folder.path().join("layers");
//! let job = standoff::job::load("examples/cliff-nests/job.toml".as_ref())?;
//! let account = standoff::map(&job, &out)?;
//! assert_eq!((account.shots.read, account.shots.mapped, account.held_total()), (48, 25, 6));
//! # assert!(out.join("summary.json").exists());
//! # Ok(()) }
//! # #[cfg(not(feature = "gis"))] fn main() {}
//! ```
//!
//! Angles inside are in radians, lengths in
//! metres; names say so. Results are mapping grade, not a licensed survey.

#[cfg(feature = "gis")]
pub mod cli;
pub mod disk;
#[cfg(feature = "gis")]
pub mod field;
pub mod geodesy;
pub mod intake;
pub mod job;
pub mod measure;
pub mod network;
pub mod numeric;
#[cfg(feature = "gis")]
pub mod output;
pub mod records;
#[cfg(feature = "gis")]
pub mod review;
#[cfg(feature = "gis")]
pub mod run;
pub mod shots;
pub mod stations;
pub mod units;

pub use job::Job;

/// Maps a job: writes its layers, its account and its page to the folder `out`, whole or not at all.
///
/// # Errors
/// When a log, a CRS, a grid or the catalogue cannot be used, or `out` holds what is not ours. Rows that cannot be used are
/// no errors: they are held, and the account says why.
#[cfg(feature = "gis")]
pub fn map(job: &Job, out: &std::path::Path) -> Result<output::contract::Account, run::RunError> {
    use output::report::summary::Summary;
    let mut output = output::write::Output::new(out, false)?;
    let account = run::run(job, &mut output, &|_, _| {})?;
    let (_, account) = output.commit(&account, |account, extents, files| Summary::new(job, account, extents, files).to_json())?;
    Ok(account)
}

/// Does all that [`map`] does and writes nothing; gives the held rows, too, each with its file.
///
/// # Errors
/// As [`map`].
#[cfg(feature = "gis")]
pub fn check(job: &Job) -> Result<(output::contract::Account, Vec<(String, records::ledger::Entry)>), run::RunError> {
    let mut discard = output::write::Discard::default();
    let account = run::run(job, &mut discard, &|_, _| {})?;
    Ok((account, discard.held))
}
