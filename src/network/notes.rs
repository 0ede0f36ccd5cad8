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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn six_names_are_listed_and_the_others_counted() {
        let names = ["A", "B", "C", "D", "E", "F", "G", "H"];
        let of = |count: usize| listed(names.into_iter().take(count));
        assert_eq!([of(0), of(1), of(2), of(3)], ["", "A", "A and B", "A, B and C"]);
        assert_eq!(of(6), "A, B, C, D, E and F");
        assert_eq!([of(7), of(8)], ["A, B, C, D, E, F and 1 more", "A, B, C, D, E, F and 2 more"]);
    }

    #[test]
    fn a_note_refuses_what_has_no_solution() {
        use NoteKind::*;
        let refusing = [NotStarted, GeometryRefused, DatumDefect, Singular, NotConverged];
        let others = [GeometryPoor, NoHeight, SlopeTakenLevel, HangingTraverse, AzimuthOfPlumbSight, NotRobust, Undecided];
        assert!(refusing.into_iter().all(NoteKind::refuses) && !others.into_iter().any(NoteKind::refuses));
        assert_eq!(Note::new(Singular, vec![3], "Station S3.".to_owned()).to_string(), "Station S3.");
    }
}
