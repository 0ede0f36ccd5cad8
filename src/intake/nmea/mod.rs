//! NMEA 0183 logs of a GNSS receiver: one fix for each epoch.
//!
//! Positions come from GGA, GNS and RMC, days from RMC and ZDA, standard errors from GST, dilutions from GSA, speeds from RMC
//! and VTG, of any talker. Every line is counted once: as a fix's position sentence, as held, or among the other lines.
//!
//! A sentence without a checksum is held: its loss is the very sign of a cut or damaged line, and receivers write one.
//! The general crate `nmea` (0.8) gives a position for minutes of 60 and more, latitudes above 90 and longitudes above 180
//! degrees, takes a fix with an empty position, 31 February and negative standard errors, keeps heights in single precision
//! and refuses leap seconds and sentences above 102 characters; a measured log needs these otherwise, so the parser stands here.

mod content;
mod days;
mod epoch;
mod sentence;
#[cfg(test)]
mod tests;

use jiff::civil::Date;

use crate::records::fix::FixLog;
use epoch::{Epochs, NmeaLine};

/// Lines that [`looks_like`] judges by.
const JUDGED_LINES: usize = 20;

/// What the job knows of a log.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Clues {
    /// Day in UTC of the log's first epoch, for a log that tells times of day alone.
    pub date: Option<Date>,
}

/// Reads a log. `file` is its index, for the fixes.
///
/// Heights are above mean sea level, as GGA and GNS give them, and the receiver's geoid separation stands beside. The day of
/// an epoch is that of the last dated sentence, carried on over midnights; epochs before the first dated sentence count
/// back from it; [`Clues::date`] serves where there is none at all. A date that lies whole rounds of 1024 weeks behind
/// [`Clues::date`] or behind another date of the log is not mended: its epochs are held. 23:59:60 is put at the last
/// nanosecond of its day. GSA and VTG, which have no time, belong to the epoch whose time was told last. HDOP is that of the
/// position sentence, else the least of the epoch's GSA sentences, as PDOP is.
pub fn read(text: &str, file: usize, clues: &Clues) -> FixLog {
    let mut epochs = Epochs::default();
    for (number, text) in (1..).zip(text.lines()) {
        let line = NmeaLine { number, text };
        let trimmed = text.trim();
        if trimmed.is_empty() || trimmed.starts_with('#') {
            epochs.pass();
            continue;
        }
        let says = sentence::cut(text).and_then(|sentence| match sentence {
            Some(sentence) => content::read(&sentence),
            None => Ok(None),
        });
        match says {
            Err(fault) => epochs.hold(line, fault),
            Ok(None) => epochs.pass(),
            Ok(Some((time, says))) => epochs.take(line, time, says),
        }
    }
    epochs.finish(file, clues.date)
}

/// Whether a text is an NMEA 0183 log: most of its first lines that are not blank or comments look like sentences.
pub fn looks_like(text: &str) -> bool {
    let lines = text.lines().map(str::trim).filter(|line| !line.is_empty() && !line.starts_with('#')).take(JUDGED_LINES);
    let (mut judged, mut sentences) = (0, 0);
    for line in lines {
        judged += 1;
        sentences += usize::from(is_sentence_like(line));
    }
    sentences * 2 > judged
}

/// A start sign, an address of three characters or more, and a comma.
fn is_sentence_like(line: &str) -> bool {
    line.strip_prefix(['$', '!'])
        .and_then(|rest| rest.split_once(','))
        .is_some_and(|(address, _)| address.len() >= 3 && address.bytes().all(|byte| byte.is_ascii_alphanumeric()))
}
