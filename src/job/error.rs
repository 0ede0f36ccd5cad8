//! Why a job or a catalogue cannot be used.

use std::path::PathBuf;

use super::fault::JobFault;

/// A job file that cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum JobError {
    /// It cannot be read.
    #[error("{}: cannot be read: {source}", path.display())]
    Read {
        /// The file.
        path: PathBuf,
        /// The system's reason.
        source: std::io::Error,
    },
    /// Something in it is wrong.
    #[error("{place}: {problem}")]
    Wrong {
        /// File and, where known, line.
        place: String,
        /// What is wrong and what to write.
        problem: Box<JobFault>,
    },
    /// Something is wrong in a job that was made without a file.
    #[error("{problem}")]
    Setting {
        /// The key, from the outermost table.
        key: Vec<&'static str>,
        /// What is wrong and what to write.
        problem: Box<JobFault>,
    },
}
