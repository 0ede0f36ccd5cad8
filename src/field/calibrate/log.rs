//! Calibration shots read from delimited logs: rows whose `measure` is a kind of calibration. A log without such a column is of one kind: the
//! roles of its rows tell which, and rows without a role are over a known line.

use std::path::Path;

use super::shot::{CalibrationShot, HeldRow};
use super::{CalibrateError, CalibrationRole, Measure};
use crate::disk::STANDARD_INPUT;
use crate::intake::calibration_log::{self, BareLog, BareShot};
use crate::intake::sheets;
use crate::intake::text::{self, Text};
use crate::job::LogFormat;
use crate::records::ledger::{Fault, Reason};

/// No log of calibration shots is longer, in bytes.
const MOST_BYTES: u64 = 256 << 20;

/// The rows of all logs of a calibration.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct CalibrationRows {
    /// The calibration shots.
    pub shots: Vec<CalibrationShot>,
    /// Rows of other measures, or of other instruments.
    pub others: u64,
    /// Rows that could not be read.
    pub held: Vec<HeldRow>,
}

impl CalibrationRows {
    /// Reads the calibration shots of a log and adds them; `-` stands for standard input.
    ///
    /// # Errors
    /// When the file cannot be used as a whole.
    pub fn read(&mut self, path: &Path, format: &LogFormat) -> Result<(), CalibrateError> {
        if path.as_os_str() == STANDARD_INPUT {
            let text = text::read_standard_input(format.encoding.as_deref(), MOST_BYTES)?;
            return self.read_text(&text, format);
        }
        for (text, format) in sheets::calibration_logs(path, &path.display().to_string(), format)? {
            self.read_text(&text, &format)?;
        }
        Ok(())
    }

    fn read_text(&mut self, text: &Text, format: &LogFormat) -> Result<(), CalibrateError> {
        let mut log = calibration_log::read(text, format)?;
        let file = text.path.display().to_string();
        for (line, row) in std::mem::take(&mut log.rows) {
            match row.and_then(|row| shot(row, &log, &file, line)) {
                Ok(Some(shot)) => self.shots.push(shot),
                Ok(None) => self.others += 1,
                Err(fault) => self.held.push(HeldRow { file: file.clone(), line, sentence: fault.sentence }),
            }
        }
        Ok(())
    }

    /// Keeps the shots of one instrument.
    ///
    /// # Errors
    /// When none is named and the log has several, or the named one has no shot.
    pub fn choose_instrument(mut self, name: Option<&str>) -> Result<CalibrationRows, CalibrateError> {
        let mut names: Vec<&str> = self.shots.iter().map(|shot| shot.instrument.as_str()).collect();
        names.sort_unstable();
        names.dedup();
        match name {
            Some(wanted) => {
                // A log without the column is of the instrument that the command names.
                if names.iter().any(|name| !name.is_empty()) && !names.contains(&wanted) {
                    let has = names.iter().map(|name| (*name).to_owned()).collect();
                    return Err(CalibrateError::OtherInstruments { wanted: wanted.to_owned(), has });
                }
                let before = self.shots.len();
                self.shots.retain(|shot| shot.instrument == wanted || shot.instrument.is_empty());
                self.others += (before - self.shots.len()) as u64;
                Ok(self)
            }
            None if names.len() > 1 => {
                let named = |name: &&str| if name.is_empty() { "none named".to_owned() } else { (*name).to_owned() };
                Err(CalibrateError::SeveralInstruments(names.iter().map(named).collect()))
            }
            None => Ok(self),
        }
    }
}

/// A row as a calibration shot; none where its measure is another.
fn shot(row: BareShot, log: &BareLog, file: &str, line: u64) -> Result<Option<CalibrationShot>, Fault> {
    if !log.has_measures {
        let measure = by_role(&row.role);
        return measured(row, log, file, line, measure).map(Some);
    }
    let said = row.measure.as_str();
    let Some(measure) = Measure::ALL.into_iter().find(|measure| measure.word().eq_ignore_ascii_case(said)) else {
        let near = Measure::ALL.into_iter().find(|measure| strsim::levenshtein(&letters(said), &letters(measure.word())) <= 1);
        return match near {
            Some(near) => {
                let (near, header) = (near.word(), &log.measure_header);
                Err(Fault::new(Reason::NotANumber, header, said, format!("{header} \"{said}\": did you mean {near}?")))
            }
            None => Ok(None),
        };
    };
    measured(row, log, file, line, measure).map(Some)
}

/// The kind that a role is of: a known line where it is of none.
fn by_role(said: &str) -> Measure {
    let is_of = |measure: &Measure| measure.roles().iter().any(|role| letters(role.word()) == letters(said));
    Measure::ALL.into_iter().find(is_of).unwrap_or(Measure::KnownLine)
}

fn measured(row: BareShot, log: &BareLog, file: &str, line: u64, measure: Measure) -> Result<CalibrationShot, Fault> {
    let role = role(&log.role_header, measure, &row.role)?;
    let BareShot { base, feature, instrument, readings, .. } = row;
    Ok(CalibrationShot { file: file.to_owned(), line, measure, role, base, feature, instrument, readings: readings? })
}

/// The letters of a word, small: `Two-way` and `two_way` differ by the way of writing alone.
fn letters(word: &str) -> String {
    word.chars().filter(|c| c.is_alphanumeric()).flat_map(char::to_lowercase).collect()
}

fn role(header: &str, measure: Measure, said: &str) -> Result<Option<CalibrationRole>, Fault> {
    let roles = measure.roles();
    if roles.is_empty() {
        return Ok(None);
    }
    if let Some(role) = roles.iter().find(|role| role.word().eq_ignore_ascii_case(said)) {
        return Ok(Some(*role));
    }
    let header = match header {
        "" => "role",
        header => header,
    };
    let known = roles.iter().map(|role| role.word()).collect::<Vec<_>>().join(", ");
    let sentence = if said.is_empty() {
        format!("{header} is empty; the role of a {} shot is one of: {known}", measure.word())
    } else {
        format!("{header} \"{said}\" is no part of {}; write one of: {known}", measure.word())
    };
    Err(Fault::new(Reason::NotANumber, header, said, sentence))
}
