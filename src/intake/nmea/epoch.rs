//! Epochs: the sentences of one time of day put together.
//!
//! The position is GGA's, else GNS's, else RMC's. A position sentence that another one outranks is merged: it gives its date
//! and speed, and counts among the other lines.

use jiff::civil::Date;

use super::content::{PositionSentence, Says, TimeOfDay};
use super::days::{Clock, DateTold, Days, EpochDay, instant};
use super::sentence::SentenceKind;
use crate::records::base_row::{Coordinates, Height};
use crate::records::fix::{Fix, FixLog, HeldLine};
use crate::records::ledger::{Fault, Reason};

/// How many epochs back a late sentence may still find its own.
const LOOK_BACK: usize = 4;

/// A line of the log.
#[derive(Debug, Clone, Copy)]
pub(super) struct NmeaLine<'a> {
    pub(super) number: u64,
    pub(super) text: &'a str,
}

/// The position of an epoch and the line it stands in.
#[derive(Debug)]
struct FixPlace<'a> {
    line: NmeaLine<'a>,
    position: PositionSentence,
}

/// What sentences without a time of their own add to the epoch that they stand in.
#[derive(Debug, Default, Clone, Copy)]
struct UntimedSentences {
    pdop: Option<f64>,
    hdop: Option<f64>,
    vtg_m_s: Option<f64>,
}

#[derive(Debug)]
struct OpenEpoch<'a> {
    clock: Clock,
    place: Option<FixPlace<'a>>,
    sigma_m: Option<[f64; 3]>,
    rmc_m_s: Option<f64>,
    beside: UntimedSentences,
}

/// The epochs of a log in the making.
#[derive(Debug, Default)]
pub(super) struct Epochs<'a> {
    epochs: Vec<OpenEpoch<'a>>,
    /// The epoch whose time was last told.
    current: usize,
    /// What stands before the first time of the log.
    early: UntimedSentences,
    has_fix: bool,
    log: FixLog,
}

/// GGA before GNS before RMC.
fn rank(kind: SentenceKind) -> u8 {
    match kind {
        SentenceKind::Gga => 2,
        SentenceKind::Gns => 1,
        _ => 0,
    }
}

/// A solution with more satellites never has the larger dilution: of the several sentences of a receiver of several systems,
/// the least value bounds the solution's.
fn lesser(a: Option<f64>, b: Option<f64>) -> Option<f64> {
    match (a, b) {
        (Some(a), Some(b)) => Some(a.min(b)),
        (a, b) => a.or(b),
    }
}

impl Clock {
    fn tell(&mut self, date: Date, by: SentenceKind) {
        let told = DateTold { date, by };
        match self.told {
            None => self.told = Some(told),
            Some(first) if first.date != date => self.denied = self.denied.or(Some(told)),
            Some(_) => {}
        }
    }
}

impl<'a> Epochs<'a> {
    /// Counts a line that is sound and gives no position.
    pub(super) fn pass(&mut self) {
        self.log.other_lines += 1;
    }

    /// Holds a line.
    pub(super) fn hold(&mut self, line: NmeaLine, fault: Fault) {
        self.log.held.push(HeldLine { line: line.number, raw: line.text.to_owned(), fault });
    }

    /// Takes what a line says.
    pub(super) fn take(&mut self, line: NmeaLine<'a>, time: Option<TimeOfDay>, says: Says) {
        match says {
            Says::NoFix(fault) => {
                // Until its first fix a receiver's clock may not be set; later it tells of midnights without reception.
                if let Some(time) = time.filter(|_| self.has_fix) {
                    self.at(time);
                }
                self.hold(line, fault);
            }
            Says::Position { position, date, speed_m_s } => {
                if let Some(time) = time {
                    self.place(line, time, position, date, speed_m_s);
                }
            }
            Says::Day(date) => {
                if let Some(time) = time {
                    self.at(time).clock.tell(date, SentenceKind::Zda);
                }
                self.pass();
            }
            Says::Sigmas(sigma_m) => {
                if let Some(time) = time {
                    let epoch = self.at(time);
                    epoch.sigma_m = epoch.sigma_m.or(sigma_m);
                }
                self.pass();
            }
            Says::Dilution { pdop, hdop } => {
                let beside = self.beside();
                beside.pdop = lesser(beside.pdop, pdop);
                beside.hdop = lesser(beside.hdop, hdop);
                self.pass();
            }
            Says::Speed(speed_m_s) => {
                let beside = self.beside();
                beside.vtg_m_s = beside.vtg_m_s.or(speed_m_s);
                self.pass();
            }
        }
    }

    fn place(
        &mut self,
        line: NmeaLine<'a>,
        time: TimeOfDay,
        position: PositionSentence,
        date: Option<Date>,
        speed_m_s: Option<f64>,
    ) {
        self.has_fix = true;
        let epoch = self.at(time);
        let by = position.by;
        let here = |place: &FixPlace| {
            let (a, b) = (&place.position, &position);
            (a.lat_deg, a.lon_deg, a.height_m) == (b.lat_deg, b.lon_deg, b.height_m)
        };
        let merged = match &epoch.place {
            Some(place) if place.position.by == by && !here(place) => {
                let say = format!(
                    "{} of line {} has the same time of day and another position: did the receiver's clock stand still?",
                    by.word(),
                    place.line.number
                );
                let fault = Fault::new(Reason::Sentence, "time", time_text(line.text), say);
                return self.hold(line, fault);
            }
            Some(place) if rank(place.position.by) >= rank(by) => true,
            outranked => {
                let merged = outranked.is_some();
                epoch.place = Some(FixPlace { line, position });
                merged
            }
        };
        if let Some(date) = date {
            epoch.clock.tell(date, by);
        }
        epoch.rmc_m_s = epoch.rmc_m_s.or(speed_m_s);
        if merged {
            self.pass();
        }
    }

    /// The epoch of a time of day: a recent one, or a new one.
    fn at(&mut self, time: TimeOfDay) -> &mut OpenEpoch<'a> {
        let recent = self.epochs.len().saturating_sub(LOOK_BACK);
        let found = self.epochs[recent..].iter().rposition(|epoch| epoch.clock.time == time);
        self.current = match found {
            Some(found) => recent + found,
            None => {
                let beside = std::mem::take(&mut self.early);
                let clock = Clock { time, told: None, denied: None };
                self.epochs.push(OpenEpoch { clock, place: None, sigma_m: None, rmc_m_s: None, beside });
                self.epochs.len() - 1
            }
        };
        &mut self.epochs[self.current]
    }

    fn beside(&mut self) -> &mut UntimedSentences {
        match self.epochs.get_mut(self.current) {
            Some(epoch) => &mut epoch.beside,
            None => &mut self.early,
        }
    }

    /// Dates the epochs and makes fixes of them.
    pub(super) fn finish(self, file: usize, clue: Option<Date>) -> FixLog {
        let mut log = self.log;
        let mut days = Days::new(self.epochs.iter().map(|epoch| epoch.clock), clue);
        for epoch in self.epochs {
            let day = days.next(&epoch.clock);
            let Some(FixPlace { line, position }) = epoch.place else { continue };
            let instant = match day {
                EpochDay::Known(date) => instant(date, epoch.clock.time).ok_or_else(|| {
                    let say = format!("the date {date} is beyond what time can be told for");
                    Fault::new(Reason::Sentence, "date", &date.to_string(), say)
                }),
                EpochDay::Unknown => {
                    let say = "no RMC or ZDA sentence tells the day; write the date of the log's first fix under [bases]";
                    Err(Fault::new(Reason::FixWithoutDate, "time", time_text(line.text), say))
                }
                EpochDay::Wrong(fault) => Err(fault),
            };
            match instant {
                Err(fault) => log.held.push(HeldLine { line: line.number, raw: line.text.to_owned(), fault }),
                Ok(instant) => log.fixes.push(Fix {
                    file,
                    line: line.number,
                    instant,
                    coordinates: Coordinates::Geographic { lat_deg: position.lat_deg, lon_deg: position.lon_deg },
                    height: position.height_m.map(Height::Orthometric),
                    separation_m: position.separation_m,
                    kind: position.kind,
                    satellites: position.satellites,
                    hdop: position.hdop.or(epoch.beside.hdop),
                    pdop: epoch.beside.pdop,
                    sigma_m: epoch.sigma_m,
                    speed_m_s: epoch.rmc_m_s.or(epoch.beside.vtg_m_s),
                }),
            }
        }
        log.fixes.sort_by_key(|fix| fix.line);
        log.held.sort_by_key(|held| held.line);
        log
    }
}

/// The time field of a position sentence as it stands: the first after the address.
fn time_text(line: &str) -> &str {
    line.split(',').nth(1).unwrap_or("").trim()
}
