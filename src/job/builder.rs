//! A job made in Rust, without a file.

use std::path::PathBuf;

use super::{
    Bases, Checks, Format, Heights, Instrument, Job, JobError, Join, LayerName, LogFormat, Measures, North, Report, Shots,
};
use crate::units::Units;

/// Makes a [`Job`]: logs, CRS, and whatever else the job file has a key for.
///
/// ```
/// use standoff::job::{Format, Instrument};
///
/// let job = standoff::Job::builder("skerrow")
///     .folder("examples/cliff-nests")
///     .crs("EPSG:32630")
///     .bases(["bases-west.csv", "bases-east.csv"], "EPSG:4979")
///     .shots(["monday.csv", "tuesday/*.csv"])
///     .formats([Format::Gpkg, Format::Geojson])
///     .instrument(Instrument { sigma_distance_m: Some(0.2), ..Instrument::default() })
///     .with(|job| job.north.fore_back_limit_deg = 1.0)
///     .build()?;
/// assert_eq!(job.shots.resolved.len(), 3);
/// # Ok::<(), standoff::job::JobError>(())
/// ```
#[derive(Debug, Clone)]
#[must_use = "a job is made by build()"]
pub struct JobBuilder {
    job: Job,
    folder: PathBuf,
}

impl Job {
    /// Begins a job of a name that its files are named after: letters, digits, `-` and `_`. All else is as a job file has it that leaves its
    /// keys out.
    pub fn builder(name: impl Into<String>) -> JobBuilder {
        let job = Job {
            title: None,
            name: name.into(),
            crs: String::new(),
            out: None,
            formats: vec![Format::Gpkg],
            layers: LayerName::ALL.to_vec(),
            allow_ballpark: false,
            allow_missing_grids: false,
            allow_outside_area: false,
            bases: Bases::default(),
            shots: Shots { files: Vec::new(), log: LogFormat::default(), per_file: Default::default(), resolved: Vec::new() },
            join: Join::default(),
            known: None,
            catalogue: None,
            exact_places: false,
            leap_seconds: None,
            instrument: None,
            instruments: Default::default(),
            north: North::default(),
            heights: Heights::default(),
            measures: Measures::default(),
            report: Report::default(),
            units: Units::default(),
            checks: Checks::default(),
            local: None,
            network: None,
        };
        JobBuilder { job, folder: PathBuf::new() }
    }
}

fn names<I: IntoIterator<Item = S>, S: Into<String>>(files: I) -> Vec<String> {
    files.into_iter().map(Into::into).collect()
}

impl JobBuilder {
    /// The folder that relative paths begin at. Default: the one that the program runs in.
    pub fn folder(self, folder: impl Into<PathBuf>) -> JobBuilder {
        JobBuilder { folder: folder.into(), ..self }
    }

    /// The CRS of the layers in any form that PROJ reads. Default: that of the bases.
    pub fn crs(self, crs: impl Into<String>) -> JobBuilder {
        let crs = crs.into();
        self.with(|job| job.crs = crs)
    }

    /// The logs of bases, files or patterns, and the CRS of their positions.
    pub fn bases<S: Into<String>>(self, files: impl IntoIterator<Item = S>, crs: impl Into<String>) -> JobBuilder {
        let (files, crs) = (names(files), crs.into());
        self.with(|job| (job.bases.files, job.bases.crs) = (files, Some(crs)))
    }

    /// The logs of shots, files or patterns.
    pub fn shots<S: Into<String>>(self, files: impl IntoIterator<Item = S>) -> JobBuilder {
        let files = names(files);
        self.with(|job| job.shots.files = files)
    }

    /// The one instrument of the job.
    pub fn instrument(self, instrument: Instrument) -> JobBuilder {
        self.with(|job| job.instrument = Some(instrument))
    }

    /// The formats to write.
    pub fn formats(self, formats: impl IntoIterator<Item = Format>) -> JobBuilder {
        let formats = formats.into_iter().collect();
        self.with(|job| job.formats = formats)
    }

    /// Changes any other setting.
    pub fn with(mut self, change: impl FnOnce(&mut Job)) -> JobBuilder {
        change(&mut self.job);
        self
    }

    /// Checks the job and finds its files.
    ///
    /// # Errors
    /// As [`Job::from_path`].
    pub fn build(mut self) -> Result<Job, JobError> {
        self.job.settle(&self.folder).map_err(|(key, problem)| JobError::Setting { key, problem: Box::new(problem) })?;
        Ok(self.job)
    }
}
