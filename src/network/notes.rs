//! What the adjustment tells the crew: sentences that name the stations, and a kind that a program can branch on.

use std::fmt;

/// What a note is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum NoteKind {
    /// No closed form gives the station a position: what is missing is named. It is left out.
    NotStarted,
    /// The station's lines or circles cross too flatly: it is left out.
    GeometryRefused,
    /// The station's lines or circles cross flatly: its position is weak.
    GeometryPoor,
    /// Nothing ties the group to the datum, or turns it.
    DatumDefect,
    /// The normal equations are singular at the station.
    Singular,
    /// The iterations did not come to rest.
    NotConverged,
    /// No reading tells the height: it is held.
    NoHeight,
    /// A slope distance without any height was taken as level.
    SlopeTakenLevel,
    /// A chain of bases that ends in nothing: no check on it.
    HangingTraverse,
    /// An azimuth of a sight with no horizontal length, left out.
    AzimuthOfPlumbSight,
    /// Robust estimation did not come to rest, and least squares stand in its place.
    NotRobust,
    /// A failed test where two readings fit the blunder equally: neither is taken out.
    Undecided,
}

impl NoteKind {
    /// Whether the stations named have no solution because of it.
    pub fn refuses(self) -> bool {
        matches!(
            self,
            NoteKind::NotStarted
                | NoteKind::GeometryRefused
                | NoteKind::DatumDefect
                | NoteKind::Singular
                | NoteKind::NotConverged
        )
    }
}

/// A sentence for the crew.
#[derive(Debug, Clone, PartialEq)]
pub struct Note {
    /// What it is about.
    pub kind: NoteKind,
    /// The stations that it is about, by index.
    pub stations: Vec<usize>,
    /// The sentence.
    pub text: String,
}

impl Note {
    pub(crate) fn new(kind: NoteKind, stations: Vec<usize>, text: String) -> Note {
        Note { kind, stations, text }
    }
}

impl fmt::Display for Note {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.text)
    }
}

/// Labels in a list for a sentence, the first few of many.
pub(crate) fn listed<'a>(labels: impl Iterator<Item = &'a str>) -> String {
    const SHOWN: usize = 6;
    let all: Vec<&str> = labels.collect();
    match all.as_slice() {
        [] => String::new(),
        [one] => (*one).to_string(),
        [rest @ .., last] if all.len() <= SHOWN => format!("{} and {last}", rest.join(", ")),
        many => format!("{} and {} more", many[..SHOWN].join(", "), many.len() - SHOWN),
    }
}
