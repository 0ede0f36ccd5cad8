//! `summary.json`: counts, settings, models and transformations of a run, in a form that programs
//! read. It holds no times of its own, so that the same input gives the same bytes.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::local_fit::LocalFitSummary;
use super::network::NetworkSummary;
use super::shared::{SharedArms, SharedOfBase};
use super::sources::UncertaintySources;
use super::used::{GeoidSummary, OperationUse};
use crate::geodesy::crs::proj_version;
use crate::intake::written::{WrittenDates, WrittenNumbers};
use crate::job::{DateOrder, Job};
use crate::output::asked::Asked;
use crate::output::contract::Account;
use crate::output::write::extent::Extent;
use crate::output::write::seal::{self, OutputFile};
use crate::records::ledger::Counts;
use crate::records::shown::visible_json;

/// The summary of a run.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Summary {
    /// Name of the job.
    pub name: String,
    /// Title of the job.
    pub title: Option<String>,
    /// Shots: read = mapped + held.
    pub shots: CountSummary,
    /// Bases: read = mapped (used) + held + outside_occupations.
    pub bases: CountSummary,
    /// Composed measurements: asked for by the logs, and made.
    pub measurements: Asked,
    /// Lines and areas likewise.
    pub strings: Asked,
    /// Why nothing at all was mapped, composed or adjusted; null where something was.
    pub nothing_mapped: Option<String>,
    /// Assumptions and warnings, in sentences.
    pub notes: Vec<String>,
    /// What came of the network; null without one.
    pub network: Option<NetworkSummary>,
    /// What the fit of a local frame to a CRS says; null without one.
    pub local_fit: Option<LocalFitSummary>,
    /// The CRS of the layers.
    pub crs: String,
    /// What the layers' third coordinate is.
    pub third_coordinate: String,
    /// Magnetic models used.
    pub magnetic_models: Vec<String>,
    /// The geoids used, and their standard errors.
    pub geoids: Vec<GeoidSummary>,
    /// Transformations between datums and of heights, with their accuracies and the bases that they serve.
    pub operations: Vec<OperationUse>,
    /// What the uncertainty of the points mapped comes from, by source; without points where places are kept coarse.
    pub uncertainty_sources: UncertaintySources,
    /// What the features of each base err by together with those of others, and of other mappings; empty where places are kept coarse, and above 5,000 bases.
    pub shared_errors: Vec<SharedOfBase>,
    /// The same of points that several bases or a network placed, and of measured values; empty where places are kept coarse, and above 20,000 of either.
    pub shared_arms: SharedArms,
    /// The layers that have records; others are not written.
    pub layers: Vec<LayerSummary>,
    /// Input files.
    pub inputs: Vec<InputSummary>,
    /// The settings, as read from the job file.
    pub parameters: Job,
    /// Versions of the program and of the libraries inside.
    pub software: BTreeMap<String, String>,
    /// Files of this folder and of those within, beside the summary, as they were written.
    pub files: Vec<OutputFile>,
    /// What the results are not.
    pub caution: String,
    /// SHA-256 of this file with 64 zeros in place of the seal, in hexadecimal: by it the program knows a summary as its own.
    pub seal: String,
}

/// Counts of rows.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CountSummary {
    /// Data rows read.
    pub read: u64,
    /// Rows mapped (bases: used).
    pub mapped: u64,
    /// Rows held.
    pub held: u64,
    /// Rows held, by reason code.
    pub held_by_reason: BTreeMap<String, u64>,
    /// Rows mapped with at least one flag.
    pub flagged: u64,
    /// Flags, by code.
    pub flags: BTreeMap<String, u64>,
    /// Rows mapped without a height.
    pub without_height: u64,
    /// Further shots to a feature that is mapped: joined in its point, or left out of it by a test.
    pub repeats: u64,
    /// Rows that are no points of their own and serve a composed measurement.
    pub composed: u64,
    /// Fixes of a receiver outside every occupation: `read` = `mapped` + `repeats` + `held` + `composed` + these.
    pub outside_occupations: u64,
}

/// A layer.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct LayerSummary {
    /// Name.
    pub name: String,
    /// Records.
    pub records: u64,
    /// Least x, least y, greatest x, greatest y in the CRS of the layers; null without geometry.
    pub extent: Option<[f64; 4]>,
    /// By format: the file to open for it, from this folder.
    pub files: BTreeMap<String, String>,
}

/// An input file.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct InputSummary {
    /// Name relative to the job.
    pub file: String,
    /// `bases` or `shots`.
    pub log: String,
    /// Size in bytes; null where places are kept coarse.
    pub bytes: Option<u64>,
    /// SHA-256 of its bytes, in hexadecimal; null where places are kept coarse, since those of a short log are found by trial.
    pub sha256: Option<String>,
    /// Kind of log: `delimited`, `nmea`, `gpx` or `vector`.
    pub kind: String,
    /// Encoding it was read in; empty for a file that is no text.
    pub encoding: String,
    /// Separator of a delimited log; null for others.
    pub separator: Option<String>,
    /// Decimal sign of most columns.
    pub decimal: String,
    /// Sign between thousands; null where there is none.
    pub thousands: Option<String>,
    /// Columns whose numbers are written in another way, or with parted thousands.
    pub columns: Vec<ColumnSummary>,
    /// Columns of dates whose order of day, month and year was settled, or that are counted.
    pub dates: Vec<DateSummary>,
    /// Its rows.
    pub rows: CountSummary,
    /// Blank lines.
    pub blank_lines: u64,
    /// Comment lines.
    pub comment_lines: u64,
    /// Header lines repeated inside the file.
    pub repeated_headers: u64,
    /// Units lines.
    pub units_lines: u64,
    /// Lines of a receiver's log that are no fixes of their own.
    pub other_lines: u64,
}

/// How the numbers of a column are written.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct ColumnSummary {
    /// The log's header.
    pub column: String,
    /// Decimal sign.
    pub decimal: String,
    /// Sign between thousands; null where there is none.
    pub thousands: Option<String>,
    /// Line of the value that tells; null where the job says so, or the rest of the file tells.
    pub line: Option<u64>,
}

/// How the dates of a column are written.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct DateSummary {
    /// The log's header.
    pub column: String,
    /// `day_month_year`, `month_day_year` or `year_month_day`; null where no value hangs on it.
    pub order: Option<DateOrder>,
    /// Line of the value that tells.
    pub line: Option<u64>,
    /// Line of the first day number of a spreadsheet.
    pub day_number_line: Option<u64>,
    /// Line of the first epoch seconds.
    pub epoch_line: Option<u64>,
}

impl From<&WrittenNumbers> for ColumnSummary {
    fn from(written: &WrittenNumbers) -> ColumnSummary {
        ColumnSummary {
            column: written.header.clone(),
            decimal: written.signs.decimal().to_string(),
            thousands: written.signs.thousands.map(|sign| sign.sign().to_string()),
            line: written.told_by.as_ref().map(|(line, _)| *line),
        }
    }
}

impl From<&WrittenDates> for DateSummary {
    fn from(written: &WrittenDates) -> DateSummary {
        let line = |example: &Option<(u64, String)>| example.as_ref().map(|(line, _)| *line);
        DateSummary {
            column: written.header.clone(),
            order: written.order,
            line: line(&written.told_by),
            day_number_line: line(&written.serial),
            epoch_line: line(&written.epoch),
        }
    }
}

/// What the results are not.
pub const CAUTION: &str = "Mapping grade: positions and heights with the uncertainty stated, valid at the time of \
    measurement. Not a boundary, right-of-way or certified survey; where the law asks for one, a licensed surveyor makes it. \
    Not an approach distance or clearance to energised lines.";

/// Versions of the program and of the libraries inside.
pub fn software() -> BTreeMap<String, String> {
    [
        ("standoff".to_owned(), env!("CARGO_PKG_VERSION").to_owned()),
        ("GDAL".to_owned(), gdal::version::version_info("RELEASE_NAME")),
        ("PROJ".to_owned(), proj_version()),
        ("SQLite".to_owned(), rusqlite::version().to_owned()),
    ]
    .into()
}

impl From<&Counts> for CountSummary {
    fn from(counts: &Counts) -> CountSummary {
        CountSummary {
            read: counts.read,
            mapped: counts.mapped,
            held: counts.held_total(),
            held_by_reason: counts.held.iter().map(|(reason, count)| (reason.code().to_owned(), *count)).collect(),
            flagged: counts.flagged,
            flags: counts.flags.iter().map(|(flag, count)| (flag.code().to_owned(), *count)).collect(),
            without_height: counts.without_height,
            repeats: counts.repeats,
            composed: counts.composed,
            outside_occupations: counts.outside_occupations,
        }
    }
}

impl Summary {
    /// The summary of a run's account.
    pub fn new(job: &Job, account: &Account, extents: &[Extent], files: Vec<OutputFile>) -> Summary {
        // Folders are the caller's; the same job elsewhere must give the same bytes. Files stand by their names.
        let named = |path: &Option<PathBuf>| path.as_deref().and_then(Path::file_name).map(PathBuf::from);
        let (catalogue, leap_seconds) = (named(&job.catalogue), named(&job.leap_seconds));
        let mut parameters = Job { out: None, catalogue, leap_seconds, ..job.clone() };
        parameters.heights.geoid_grid = named(&job.heights.geoid_grid);
        parameters.report.background = named(&job.report.background);
        Summary {
            name: job.name.clone(),
            title: job.title.clone(),
            shots: CountSummary::from(&account.shots),
            bases: CountSummary::from(&account.bases),
            measurements: account.measurements,
            strings: account.strings,
            nothing_mapped: account.nothing_mapped(),
            notes: account.notes.clone(),
            network: account.network.clone(),
            local_fit: account.local_fit.clone(),
            crs: account.crs.clone(),
            third_coordinate: account.third.clone(),
            magnetic_models: account.magnetic_models.iter().map(|name| (*name).to_owned()).collect(),
            geoids: account.geoids.clone(),
            operations: account.operations.clone(),
            uncertainty_sources: account.uncertainty_sources.clone(),
            shared_errors: account.shared_errors.clone(),
            shared_arms: account.shared_arms.clone(),
            layers: extents
                .iter()
                .map(|extent| LayerSummary {
                    name: extent.layer.to_owned(),
                    records: extent.records,
                    extent: extent.bounds,
                    files: extent.files.iter().map(|(format, file)| ((*format).to_owned(), file.clone())).collect(),
                })
                .collect(),
            inputs: account
                .files
                .iter()
                .map(|file| InputSummary {
                    file: file.name.clone(),
                    log: if file.is_bases { "bases" } else { "shots" }.to_owned(),
                    bytes: (!file.sha256.is_empty()).then_some(file.bytes),
                    sha256: Some(file.sha256.clone()).filter(|known| !known.is_empty()),
                    encoding: file.encoding.to_owned(),
                    kind: file.kind.to_owned(),
                    separator: file.separator.map(|sign| sign.to_string()),
                    decimal: file.written.signs.decimal().to_string(),
                    thousands: file.written.signs.thousands.map(|sign| sign.sign().to_string()),
                    columns: file.written.columns.iter().map(ColumnSummary::from).collect(),
                    dates: file.written.dates.iter().map(DateSummary::from).collect(),
                    rows: CountSummary::from(&file.counts),
                    blank_lines: file.counts.blank_lines,
                    comment_lines: file.counts.comment_lines,
                    repeated_headers: file.counts.repeated_headers,
                    units_lines: file.counts.units_lines,
                    other_lines: file.counts.other_lines,
                })
                .collect(),
            parameters,
            software: software(),
            files,
            caution: CAUTION.to_owned(),
            seal: seal::zeros(),
        }
    }

    /// As text, indented and sealed; nothing in it is obeyed by a terminal.
    ///
    /// # Errors
    /// When it cannot be serialised.
    pub fn to_json(&self) -> serde_json::Result<String> {
        let text = serde_json::to_string_pretty(self)? + "\n";
        Ok(seal::sealed(&visible_json(text)))
    }
}
