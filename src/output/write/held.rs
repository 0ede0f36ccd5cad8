//! `held.csv`: every row that was held, as it was, with file, line and reason.

use std::fs::File;
use std::io::BufWriter;
use std::path::{Path, PathBuf};

use super::WriteError;
use crate::records::ledger::{Entry, Outcome};

/// The file of held rows.
pub struct HeldRows {
    writer: csv::Writer<BufWriter<File>>,
    path: PathBuf,
}

impl HeldRows {
    /// Creates the file with its header.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn create(folder: &Path) -> Result<HeldRows, WriteError> {
        let path = folder.join("held.csv");
        let file = File::create(&path).map_err(WriteError::file(&path, "creating"))?;
        let mut writer = csv::Writer::from_writer(BufWriter::new(file));
        writer
            .write_record(["source_file", "source_line", "reason", "log_column", "value", "sentence", "row"])
            .map_err(WriteError::format(&path, "writing"))?;
        Ok(HeldRows { writer, path })
    }

    /// Adds a row.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn write(&mut self, file: &str, entry: &Entry) -> Result<(), WriteError> {
        let Outcome::Held(fault) = &entry.outcome else { return Ok(()) };
        let line = entry.line.to_string();
        self.writer
            .write_record([file, &line, fault.reason.code(), &fault.column, &fault.value, &fault.sentence, &entry.row])
            .map_err(WriteError::format(&self.path, "writing"))
    }

    /// Ends the file.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn finish(mut self) -> Result<(), WriteError> {
        self.writer.flush().map_err(WriteError::file(&self.path, "writing"))
    }
}
