//! Checks that need more than one row: repeats, frozen compasses, clocks that go back.
//!
//! Rows come in the order of the logs, a window at a time; the outcome does not depend on where
//! windows end.

use std::collections::hash_map::Entry;
use std::collections::{HashMap, HashSet};
use std::hash::{Hash, Hasher};

use jiff::Timestamp;
use jiff::civil::Date;
use rustc_hash::{FxBuildHasher, FxHasher};

use crate::geodesy::north::NorthKind;
use crate::records::ledger::{Fault, Flag, Flags, Reason};
use crate::records::shot::Azimuth;

/// What the audit looks at in a row that was read.
#[derive(Debug, Clone, Copy)]
pub struct Audited {
    /// Index of the input file.
    pub file: usize,
    /// Index of the base.
    pub base: usize,
    /// Fingerprint of the whole row.
    pub row_print: u64,
    /// Where its text lies in that of its file, without blanks at its ends: its first byte, and how many.
    pub row_at: (usize, usize),
    /// Fingerprint of file, day, base and shot id; none without an id.
    pub id_print: Option<u64>,
    /// Whether it is a reading of a target that was tracked while the trigger was held.
    pub is_tracking: bool,
    /// The azimuth.
    pub azimuth: Azimuth,
    /// The distance in metres, whichever of the two was measured.
    pub distance_m: f64,
    /// When.
    pub instant: Option<Timestamp>,
    /// Suspicions so far.
    pub flags: Flags,
}

/// A row in the audit: read, or held already.
pub type Audit = Result<Audited, Fault>;

/// Fingerprint of a whole row: a quick one, since rows of one fingerprint are compared.
pub fn row_print(row: &str) -> u64 {
    let mut hasher = FxHasher::default();
    row.hash(&mut hasher);
    hasher.finish()
}

/// Fingerprint of a shot id, which counts within one file, one day and one base: counters start
/// again each day and, on some instruments, at each setup.
pub fn id_print(file: usize, date: Option<Date>, base: usize, id: &str) -> u64 {
    let mut hasher = FxHasher::default();
    (file, date.map(|date| (date.year(), date.day_of_year())), base, id).hash(&mut hasher);
    hasher.finish()
}

/// The audit's memory: a print, a place and, where it has an id, that id's print of each row (docs/performance.md).
pub struct Auditor<'t> {
    /// The texts of the files, where the rows lie.
    texts: Vec<&'t str>,
    /// How many bytes the texts before each have.
    before: Vec<u64>,
    /// By fingerprint: the first byte of the first row that has it, counted through all texts.
    rows: HashMap<u64, u64, FxBuildHasher>,
    /// Rows whose fingerprint an earlier one of another text has.
    same_print: Vec<(u32, usize, usize)>,
    ids: HashSet<u64, FxBuildHasher>,
    /// Shot id of the row before, where that is a reading of a tracked target.
    pull: Option<u64>,
    run: Run,
    azimuth_repeats: usize,
    last_time: Option<(usize, Timestamp)>,
}

/// A run of equal azimuths from one base.
#[derive(Debug, Clone, Copy, Default)]
struct Run {
    key: Option<(usize, usize, NorthKind, u64)>,
    length: usize,
    first_distance: u64,
    distances_differ: bool,
}

impl Run {
    /// Takes a row in; false where it begins a new run.
    fn take(&mut self, row: &Audited) -> bool {
        let key = (row.file, row.base, row.azimuth.north, row.azimuth.as_read.to_bits());
        let distance = row.distance_m.to_bits();
        if self.key == Some(key) {
            self.length += 1;
            self.distances_differ |= distance != self.first_distance;
            true
        } else {
            *self = Run { key: Some(key), length: 1, first_distance: distance, distances_differ: false };
            false
        }
    }

    fn is_frozen(&self, limit: usize) -> bool {
        limit > 0 && self.length >= limit && self.distances_differ
    }
}

impl<'t> Auditor<'t> {
    /// An auditor that flags azimuths that repeat over `azimuth_repeats` shots; 0 for never.
    /// `texts` are the texts of the files, by index; `rows` are about as many as there are.
    pub fn new(azimuth_repeats: u32, texts: Vec<&'t str>, rows: usize) -> Auditor<'t> {
        Auditor {
            before: texts.iter().scan(0, |before, text| Some(std::mem::replace(before, *before + text.len() as u64))).collect(),
            texts,
            rows: HashMap::with_capacity_and_hasher(rows, FxBuildHasher),
            same_print: Vec::new(),
            ids: HashSet::with_capacity_and_hasher(rows, FxBuildHasher),
            pull: None,
            run: Run::default(),
            azimuth_repeats: azimuth_repeats as usize,
            last_time: None,
        }
    }

    /// How many rows must follow a window to tell what a run of azimuths at its end comes to.
    pub fn rows_ahead(&self) -> usize {
        self.azimuth_repeats
    }

    /// Audits a window of rows. `next` are the rows that follow, for runs that reach beyond it.
    pub fn window<'a>(&mut self, window: &mut [&mut [Audit]], next: impl Iterator<Item = &'a Audit>) {
        for rows in window.iter_mut() {
            rows.iter_mut().for_each(|row| self.repeats_and_clock(row));
        }
        self.frozen(window, next);
    }

    /// Whether a row of the same text came before; else it is kept. A fingerprint alone proves nothing: the texts are compared.
    fn stands_earlier(&mut self, row: &Audited) -> bool {
        let (file, (at, length)) = (row.file as u32, row.row_at);
        let text = |file: u32, at: usize| self.texts.get(file as usize).and_then(|text| text.get(at..)).unwrap_or_default();
        let (Some(own), Some(before)) = (text(file, at).get(..length), self.before.get(row.file)) else { return false };
        let (first, first_at) = match self.rows.entry(row.row_print) {
            Entry::Vacant(free) => {
                free.insert(before + at as u64);
                return false;
            }
            Entry::Occupied(taken) => {
                let byte = *taken.get();
                let file = self.before.partition_point(|before| *before <= byte).saturating_sub(1);
                (file as u32, (byte - self.before[file]) as usize)
            }
        };
        // The earlier row ends where its line does, but for blanks.
        let ends = |rest: &str| rest.split(['\n', '\r']).next().is_none_or(|rest| rest.trim().is_empty());
        if text(first, first_at).strip_prefix(own).is_some_and(ends) {
            return true;
        }
        if self.same_print.iter().any(|(file, at, length)| text(*file, *at).get(..*length) == Some(own)) {
            return true;
        }
        self.same_print.push((file, at, length));
        false
    }

    fn repeats_and_clock(&mut self, row: &mut Audit) {
        let Ok(read) = row else { return };
        let instant = read.instant;
        if self.stands_earlier(read) {
            if read.id_print.is_some() || instant.is_some() {
                *row = Err(Fault::new(Reason::RepeatedRow, "", "", "the same row stands earlier in the logs; it is mapped once"));
                return;
            }
            read.flags.raise(Flag::RepeatedReading);
        }
        // The readings of one pull of the trigger follow each other under one id.
        let is_of_pull = read.is_tracking && read.id_print.is_some() && read.id_print == self.pull;
        if let Some(print) = read.id_print
            && !self.ids.insert(print)
            && !is_of_pull
        {
            read.flags.raise(Flag::RepeatedShotId);
        }
        self.pull = read.id_print.filter(|_| read.is_tracking);
        if let Some(instant) = instant {
            if self.last_time.is_some_and(|(file, last)| file == read.file && instant < last) {
                read.flags.raise(Flag::TimeGoesBack);
            }
            self.last_time = Some((read.file, instant));
        }
    }

    /// Flags runs of equal azimuths. A run's rows in this window are kept until it is long enough or
    /// ends; at the end of the window the rows that follow decide.
    fn frozen<'a>(&mut self, window: &mut [&mut [Audit]], next: impl Iterator<Item = &'a Audit>) {
        let mut pending: Vec<(usize, usize)> = Vec::new();
        let limit = self.azimuth_repeats;
        let raise = |window: &mut [&mut [Audit]], pending: &mut Vec<(usize, usize)>| {
            for (block, index) in pending.drain(..) {
                if let Ok(read) = &mut window[block][index] {
                    read.flags.raise(Flag::AzimuthRepeats);
                }
            }
        };
        for block in 0..window.len() {
            for index in 0..window[block].len() {
                let Ok(read) = &window[block][index] else { continue };
                if !self.run.take(read) {
                    pending.clear();
                }
                pending.push((block, index));
                if self.run.is_frozen(limit) {
                    raise(window, &mut pending);
                }
            }
        }
        let mut ahead = self.run;
        for read in next.filter_map(|row| row.as_ref().ok()) {
            if pending.is_empty() || !ahead.take(read) {
                break;
            }
            if ahead.is_frozen(limit) {
                raise(window, &mut pending);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(azimuth: f64, distance: f64) -> Audit {
        Ok(Audited {
            file: 0,
            base: 0,
            row_print: 0,
            row_at: (0, 0),
            id_print: None,
            is_tracking: false,
            azimuth: Azimuth { north: NorthKind::True, azimuth_rad: azimuth.to_radians(), as_read: azimuth },
            distance_m: distance,
            instant: None,
            flags: Flags::default(),
        })
    }

    /// The text of a log of readings, one a line, each row told where it lies.
    fn log(rows: &mut [Audit], print: impl Fn(&str) -> u64) -> String {
        let mut text = String::from("azimuth,distance\n");
        for row in rows.iter_mut().flatten() {
            let line = format!("{},{}", row.azimuth.as_read, row.distance_m);
            (row.row_print, row.row_at) = (print(&line), (text.len() + 1, line.len()));
            text.push_str(&format!(" {line} \r\n"));
        }
        text
    }

    fn flagged(rows: &mut [Audit], window: usize) -> Vec<usize> {
        let text = log(rows, row_print);
        let mut auditor = Auditor::new(4, vec![&text], 0);
        let count = rows.len();
        for start in (0..count).step_by(window) {
            let (now, next) = rows[start..].split_at_mut(window.min(count - start));
            auditor.window(&mut [now], next.iter());
        }
        (0..count).filter(|i| rows[*i].as_ref().is_ok_and(|row| row.flags.has(Flag::AzimuthRepeats))).collect()
    }

    /// Rows that only their fingerprints have in common are no repeats, and repeats are found among them all the same. One row is the
    /// beginning of another.
    #[test]
    fn rows_of_one_fingerprint_are_told_apart_by_their_text() {
        let readings = [(10.0, 1.0), (10.0, 15.0), (10.0, 1.5), (10.0, 15.0), (10.0, 1.0), (10.0, 1.5), (10.0, 2.0)];
        for print in [(|_| 7) as fn(&str) -> u64, row_print] {
            let mut rows: Vec<Audit> = readings.iter().map(|(azimuth, distance)| row(*azimuth, *distance)).collect();
            let text = log(&mut rows, print);
            Auditor::new(0, vec![&text], 0).window(&mut [&mut rows], [].iter());
            let repeated =
                (0..readings.len()).filter(|i| rows[*i].as_ref().is_ok_and(|row| row.flags.has(Flag::RepeatedReading)));
            assert_eq!(repeated.collect::<Vec<_>>(), [3, 4, 5]);
        }
    }

    /// Of a row that stands in two logs the second is the repeat, whatever lies between them, and with any fingerprint.
    #[test]
    fn a_row_of_an_earlier_log_is_found_there() {
        for print in [(|_| 7) as fn(&str) -> u64, row_print] {
            let mut logs = [[(10.0, 1.0), (11.0, 2.0)], [(12.0, 3.0), (11.0, 2.0)], [(13.0, 4.0), (12.0, 3.0)]]
                .map(|log| log.map(|(azimuth, distance)| row(azimuth, distance)));
            let texts: Vec<String> = logs.iter_mut().map(|rows| log(rows, print)).collect();
            // An empty log stands before and behind the second.
            for (rows, file) in logs.iter_mut().zip([0, 2, 4]) {
                rows.iter_mut().flatten().for_each(|row| row.file = file);
            }
            let mut auditor = Auditor::new(0, vec![&texts[0], "", &texts[1], "", &texts[2]], 0);
            for rows in &mut logs {
                auditor.window(&mut [rows], [].iter());
            }
            let repeats = logs.iter().flatten().map(|row| row.as_ref().is_ok_and(|row| row.flags.has(Flag::RepeatedReading)));
            assert_eq!(repeats.collect::<Vec<_>>(), [false, false, false, true, false, true]);
        }
    }

    #[test]
    fn a_frozen_compass_is_seen_wherever_windows_end() {
        let readings = [(10.0, 1.0), (20.0, 2.0), (20.0, 3.0), (20.0, 4.0), (20.0, 5.0), (20.0, 6.0), (30.0, 7.0)];
        for window in 1..=readings.len() {
            let mut rows: Vec<Audit> = readings.iter().map(|(azimuth, distance)| row(*azimuth, *distance)).collect();
            assert_eq!(flagged(&mut rows, window), [1, 2, 3, 4, 5], "windows of {window}");
        }
    }

    /// Three readings of a pull under one id; the same id later; and two rows of one id that are no pull.
    #[test]
    fn the_readings_of_a_pull_have_one_id() {
        let told = |tracking: [bool; 5]| {
            let mut rows: Vec<Audit> = (0..5).map(|i| row(f64::from(i), 5.0)).collect();
            for ((row, id), is_tracking) in rows.iter_mut().zip([7, 7, 7, 8, 7]).zip(tracking) {
                let row = row.as_mut().unwrap();
                (row.id_print, row.is_tracking) = (Some(id), is_tracking);
            }
            let text = log(&mut rows, row_print);
            Auditor::new(0, vec![&text], 0).window(&mut [&mut rows], [].iter());
            (0..5).filter(|i| rows[*i].as_ref().unwrap().flags.has(Flag::RepeatedShotId)).collect::<Vec<_>>()
        };
        assert_eq!(told([true; 5]), [4]);
        assert_eq!(told([true, true, true, false, false]), [4]);
        assert_eq!(told([false; 5]), [1, 2, 4]);
    }

    #[test]
    fn one_shot_said_again_and_again_is_no_frozen_compass() {
        let mut rows: Vec<Audit> = (0..6).map(|_| row(20.0, 5.0)).collect();
        assert!(flagged(&mut rows, 6).is_empty());
        assert!(rows[1..].iter().all(|row| row.as_ref().is_ok_and(|row| row.flags.has(Flag::RepeatedReading))));
    }
}
