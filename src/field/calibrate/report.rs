//! What a calibration found: as text for a person, as the lines of a job, and as JSON.

use std::fmt::Write;

use serde_json::{Value, json};

use super::averaged::OUTLIER_SIGMAS;
use super::{CalibrationReading, CalibrationResult, Corrected, FoundCorrection, NoInstrument};
use crate::job::Job;
use crate::numeric::words::counted;
use crate::output::write::number::rounded;
use crate::units::Units;

/// Decimals of degrees and metres in what is shown.
const SHOWN: usize = 3;
/// Decimals of the job's lines: 0.0001° is 0.2 mm at 100 m.
const JOB_DECIMALS: u8 = 4;

/// A value of a quantity in the reader's unit, with its sign where that matters.
struct ValueSaid<'u> {
    units: &'u Units,
    keeps_all: &'u str,
}

impl ValueSaid<'_> {
    fn signed(&self, quantity: Corrected, value: f64) -> String {
        signed(quantity, value, self.units)
    }

    fn unsigned(&self, quantity: Corrected, value: f64) -> String {
        let shown = quantity.unit_for(self.units);
        format!("{:.SHOWN$} {}", shown.value(quantity.shown(value)), shown.word())
    }
}

/// A correction with its sign and unit.
pub fn signed(quantity: Corrected, value: f64, units: &Units) -> String {
    let shown = quantity.unit_for(units);
    format!("{:+.SHOWN$} {}", shown.value(quantity.shown(value)), shown.word())
}

/// The name of the job's table for the lines: that of the job's one instrument, or of `instrument`
/// among several.
///
/// # Errors
/// When the job has several instruments and none is named, or not the named one.
pub fn table_name(job: Option<&Job>, instrument: Option<&str>) -> Result<String, NoInstrument> {
    let quoted = |name: &str| {
        let is_bare = !name.is_empty() && name.chars().all(|c| c.is_ascii_alphanumeric() || c == '-' || c == '_');
        // JSON's escapes of a string are TOML's too.
        let key = if is_bare { name.to_owned() } else { Value::from(name).to_string() };
        format!("instruments.{key}.calibrations")
    };
    match (job, instrument) {
        (Some(job), Some(name)) if !job.instruments.is_empty() => {
            if !job.instruments.contains_key(name) {
                let has = job.instruments.keys().cloned().collect();
                return Err(NoInstrument::Unknown { name: name.to_owned(), has });
            }
            Ok(quoted(name))
        }
        (Some(job), None) if job.instruments.len() > 1 => Err(NoInstrument::Several(job.instruments.keys().cloned().collect())),
        (Some(job), None) if !job.instruments.is_empty() => Ok(job.instruments.keys().map(|name| quoted(name)).collect()),
        (None, Some(name)) => Ok(quoted(name)),
        _ => Ok("instrument.calibrations".to_owned()),
    }
}

/// The lines to paste into a job.
pub fn job_lines(calibration: &CalibrationResult, table: &str) -> String {
    let mut text = format!("[[{table}]]\n");
    if let Some((first, _)) = calibration.dates {
        text += &format!("from = \"{first}\"\n");
    }
    for correction in &calibration.corrections {
        let quantity = correction.quantity;
        let (word, unit) = (quantity.word(), quantity.unit());
        let figure = |value: f64| {
            let value = rounded(quantity.shown(value), Some(JOB_DECIMALS));
            // No minus before a nought; and a float, as the job has it.
            format!("{:?}", if value == 0.0 { 0.0 } else { value })
        };
        text += &format!("{word}_correction_{unit} = {}\n", figure(correction.value));
        text += &format!("sigma_{word}_correction_{unit} = {}\n", figure(correction.sigma));
    }
    text
}

/// All of it for a person; the lines of the job stand last. `keeps_all` is what the reader calls the setting that uses outlying repeats too.
///
/// # Errors
/// Never; writing to a string cannot fail.
pub fn text(calibration: &CalibrationResult, table: &str, units: &Units, keeps_all: &str) -> Result<String, std::fmt::Error> {
    let said = ValueSaid { units, keeps_all };
    let mut text = String::new();
    for correction in &calibration.corrections {
        let quantity = correction.quantity;
        let name = format!("{} correction", quantity.word());
        writeln!(
            text,
            "{name:<23} {}, standard error {}",
            said.signed(quantity, correction.value),
            said.unsigned(quantity, correction.sigma)
        )?;
        for note in &correction.notes {
            writeln!(text, "  caution  {note}")?;
        }
        for finding in calibration.findings.iter().filter(|finding| finding.quantity == quantity) {
            write_finding(&mut text, finding, &said)?;
        }
    }
    if let Some(check) = &calibration.azimuth_check {
        writeln!(
            text,
            "{:<23} {}, standard error {} (back minus forth, less {})",
            "two-way azimuths",
            said.signed(Corrected::Azimuth, check.misfit_rad),
            said.unsigned(Corrected::Azimuth, check.sigma_rad),
            units.angle().given(180.0)
        )?;
        for note in &check.notes {
            writeln!(text, "  {note}")?;
        }
    }
    let shots = calibration.shots;
    writeln!(
        text,
        "{}; {} of other measures; {} held",
        counted(shots as u64, "calibration shot", "calibration shots"),
        counted(calibration.others, "row", "rows"),
        counted(calibration.held.len() as u64, "row", "rows")
    )?;
    for held in &calibration.held {
        writeln!(text, "  held  {}:{}  {}", held.file, held.line, held.sentence)?;
    }
    match calibration.dates {
        None => writeln!(
            text,
            "The shots have no date: the lines below hold for every date. Add from = \"2026-05-04\" with the day of the shots."
        )?,
        Some((first, last)) if first != last => {
            writeln!(text, "The shots are of several days, {first} to {last}: the lines begin with the first.")?;
        }
        Some(_) => {}
    }
    writeln!(
        text,
        "\nPaste these lines below the instrument's own in the job; they take the place of its corrections, and end the range\n\
         before with to = the day before:\n"
    )?;
    text += &job_lines(calibration, table);
    Ok(text)
}

fn write_finding(text: &mut String, finding: &FoundCorrection, said: &ValueSaid) -> std::fmt::Result {
    let quantity = finding.quantity;
    let used = finding.readings.iter().filter(|reading| reading.is_used).count();
    let source = if finding.is_assumed { "the instrument's stated or usual one, no repeats to tell" } else { "from the repeats" };
    write!(
        text,
        "  {} {}, standard error {}: {used} of {}; of one reading {} ({source})",
        finding.measure.word(),
        said.signed(quantity, finding.correction),
        said.unsigned(quantity, finding.sigma),
        counted(finding.readings.len() as u64, "shot", "shots"),
        said.unsigned(quantity, finding.sigma_reading)
    )?;
    if finding.sigma_known > 0.0 {
        write!(text, "; of the known value {}", said.unsigned(quantity, finding.sigma_known))?;
    }
    writeln!(text)?;
    for note in &finding.notes {
        writeln!(text, "    {note}")?;
    }
    for reading in &finding.readings {
        let role = reading.role.map(|role| format!(" {}", role.word())).unwrap_or_default();
        writeln!(
            text,
            "    {}:{}{role}  reading {}  residual {}{}",
            reading.file,
            reading.line,
            said.unsigned(quantity, reading.reading),
            said.signed(quantity, reading.residual),
            outlier(reading, said.keeps_all)
        )?;
    }
    Ok(())
}

fn outlier(reading: &CalibrationReading, keeps_all: &str) -> String {
    match (reading.is_outlier, reading.is_used) {
        (false, _) => String::new(),
        (true, true) => format!("  beyond {OUTLIER_SIGMAS} robust standard errors; used, as {keeps_all} says"),
        (true, false) => format!("  beyond {OUTLIER_SIGMAS} robust standard errors; not used ({keeps_all} uses it)"),
    }
}

/// All of it as JSON; units stand in the names.
pub fn json(calibration: &CalibrationResult, table: &str) -> Value {
    let number = |quantity: Corrected, value: f64| rounded(quantity.shown(value), Some(6));
    let findings = |quantity: Corrected| -> Vec<Value> {
        let found = calibration.findings.iter().filter(|finding| finding.quantity == quantity);
        found
            .map(|finding| {
                let unit = quantity.unit();
                let readings: Vec<Value> = finding
                    .readings
                    .iter()
                    .map(|reading| {
                        json!({
                            "file": reading.file,
                            "line": reading.line,
                            "role": reading.role.map(|role| role.word()),
                            format!("reading_{unit}"): number(quantity, reading.reading),
                            format!("residual_{unit}"): number(quantity, reading.residual),
                            "outlier": reading.is_outlier,
                            "used": reading.is_used,
                        })
                    })
                    .collect();
                json!({
                    "measure": finding.measure.word(),
                    format!("correction_{unit}"): number(quantity, finding.correction),
                    format!("sigma_{unit}"): number(quantity, finding.sigma),
                    format!("sigma_reading_{unit}"): number(quantity, finding.sigma_reading),
                    "sigma_reading_assumed": finding.is_assumed,
                    format!("sigma_known_{unit}"): number(quantity, finding.sigma_known),
                    "notes": finding.notes,
                    "readings": readings,
                })
            })
            .collect()
    };
    let corrections: Vec<Value> = calibration
        .corrections
        .iter()
        .map(|correction| {
            let unit = correction.quantity.unit();
            json!({
                "quantity": correction.quantity.word(),
                format!("correction_{unit}"): number(correction.quantity, correction.value),
                format!("sigma_{unit}"): number(correction.quantity, correction.sigma),
                "cautions": correction.notes,
                "by": findings(correction.quantity),
            })
        })
        .collect();
    let check = calibration.azimuth_check.as_ref().map(|check| {
        json!({
            "misfit_deg": rounded(check.misfit_rad.to_degrees(), Some(6)),
            "sigma_deg": rounded(check.sigma_rad.to_degrees(), Some(6)),
            "notes": check.notes,
        })
    });
    let held: Vec<Value> =
        calibration.held.iter().map(|held| json!({ "file": held.file, "line": held.line, "sentence": held.sentence })).collect();
    json!({
        "corrections": corrections,
        "two_way_azimuths": check,
        "first_date": calibration.dates.map(|(first, _)| first.to_string()),
        "last_date": calibration.dates.map(|(_, last)| last.to_string()),
        "shots": calibration.shots,
        "other_rows": calibration.others,
        "held": held,
        "job_lines": job_lines(calibration, table),
    })
}
