//! What a sentence says: position, day, standard errors, dilutions, speed; each field checked for its range.
//!
//! The order of the fields, the quality digits of GGA and the mode letters of GNS and RMC are those of NMEA 0183 version 4.1.

use jiff::civil::Date;

use super::sentence::{Sentence, SentenceKind, digits};
use crate::job::FixKind;
use crate::records::ledger::{Fault, Reason};

/// Metres an hour in a knot: one international nautical mile.
const KNOT_M_H: f64 = 1852.0;
const KILOMETRE_AN_HOUR_M_H: f64 = 1000.0;
const SECONDS_AN_HOUR: f64 = 3600.0;
/// The positioning satellites' time begins in 1980; an earlier year is a clock that was never set.
const FIRST_YEAR: i16 = 1980;

/// Time of day in UTC, in nanoseconds since midnight. A leap second, 23:59:60, lies behind the end of the day, so that its
/// epochs stay apart from those of 23:59:59.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct TimeOfDay(pub(super) u64);

/// A position sentence.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct PositionSentence {
    pub(super) by: SentenceKind,
    pub(super) lat_deg: f64,
    pub(super) lon_deg: f64,
    /// Above mean sea level.
    pub(super) height_m: Option<f64>,
    pub(super) separation_m: Option<f64>,
    pub(super) kind: FixKind,
    pub(super) satellites: Option<u32>,
    pub(super) hdop: Option<f64>,
}

/// What a sentence says, besides its time.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Says {
    Position { position: PositionSentence, date: Option<Date>, speed_m_s: Option<f64> },
    NoFix(Fault),
    Day(Date),
    Sigmas(Option<[f64; 3]>),
    Dilution { pdop: Option<f64>, hdop: Option<f64> },
    Speed(Option<f64>),
}

/// A sentence's time, where it has one, and what it says; `None` where it has nothing to say.
pub(super) fn read(sentence: &Sentence) -> Result<Option<(Option<TimeOfDay>, Says)>, Fault> {
    if sentence.is_empty() {
        return Ok(None);
    }
    let says = match sentence.kind {
        SentenceKind::Gga => gga(sentence)?,
        SentenceKind::Gns => gns(sentence)?,
        SentenceKind::Rmc => rmc(sentence)?,
        SentenceKind::Zda if (1..4).all(|field| sentence.text(field).is_empty()) => return Ok(None),
        SentenceKind::Zda => Says::Day(day(sentence, [1, 2, 3])?),
        SentenceKind::Gst => gst(sentence)?,
        SentenceKind::Gsa => return Ok(Some((None, gsa(sentence)?))),
        SentenceKind::Vtg => return Ok(Some((None, vtg(sentence)?))),
    };
    let time = match says {
        // Before its first fix a receiver's time may be empty or odd; the line is held in any case.
        Says::NoFix(_) => time_of_day(sentence).ok(),
        Says::Sigmas(_) if sentence.text(0).is_empty() => return Ok(None),
        _ => Some(time_of_day(sentence)?),
    };
    Ok(Some((time, says)))
}

fn gga(sentence: &Sentence) -> Result<Says, Fault> {
    let kind = match sentence.text(5) {
        "0" => return Ok(no_fix(sentence, 5, "quality")),
        // 3 is the precise service of the satellites' owner: stand-alone all the same.
        "1" | "3" => FixKind::Single,
        "2" => FixKind::Differential,
        "4" => FixKind::Fixed,
        "5" => FixKind::Float,
        "6" => FixKind::Estimated,
        "7" => FixKind::Manual,
        "8" => FixKind::Simulated,
        _ => return Err(sentence.fault(5, "quality", "is none of the digits 0 to 8")),
    };
    let position = PositionSentence {
        height_m: metres(sentence, 8, "height", "unit of the height")?,
        separation_m: metres(sentence, 10, "geoid separation", "unit of the geoid separation")?,
        satellites: sentence.count(6, "satellites")?,
        hdop: sentence.amount(7, "HDOP")?,
        ..place(sentence, 1, kind)?
    };
    Ok(Says::Position { position, date: None, speed_m_s: None })
}

fn gns(sentence: &Sentence) -> Result<Says, Fault> {
    // A letter for each satellite system; the best of them is the solution's.
    let mut best = None;
    for letter in sentence.text(5).chars() {
        best = best.max(mode(letter).ok_or_else(|| sentence.fault(5, "mode", "has an unknown letter"))?);
    }
    if sentence.text(5).is_empty() {
        return Err(sentence.fault(5, "mode", "whether there was a fix is not told"));
    }
    let Some(kind) = best else { return Ok(no_fix(sentence, 5, "mode")) };
    let position = PositionSentence {
        height_m: sentence.number(8, "height")?,
        separation_m: sentence.number(9, "geoid separation")?,
        satellites: sentence.count(6, "satellites")?,
        hdop: sentence.amount(7, "HDOP")?,
        ..place(sentence, 1, kind)?
    };
    Ok(Says::Position { position, date: None, speed_m_s: None })
}

fn rmc(sentence: &Sentence) -> Result<Says, Fault> {
    match sentence.text(1) {
        "A" => {}
        "V" => return Ok(no_fix(sentence, 1, "status")),
        _ => return Err(sentence.fault(1, "status", "is neither A (valid) nor V (void)")),
    }
    let mut letters = sentence.text(11).chars();
    let kind = match (letters.next(), letters.next()) {
        (None, _) => FixKind::Unknown,
        (Some(letter), None) => match mode(letter) {
            Some(Some(kind)) => kind,
            Some(None) => return Ok(no_fix(sentence, 11, "mode")),
            None => return Err(sentence.fault(11, "mode", "is an unknown letter")),
        },
        _ => return Err(sentence.fault(11, "mode", "is not one letter")),
    };
    let position = place(sentence, 2, kind)?;
    let date = if sentence.text(8).is_empty() { None } else { Some(short_date(sentence)?) };
    let speed_m_s = sentence.amount(6, "speed")?.map(|knots| knots * KNOT_M_H / SECONDS_AN_HOUR);
    Ok(Says::Position { position, date, speed_m_s })
}

/// Kind of fix of a mode letter: `Some(None)` is the letter for no fix, `None` an unknown letter.
fn mode(letter: char) -> Option<Option<FixKind>> {
    match letter {
        'N' => Some(None),
        'A' | 'P' => Some(Some(FixKind::Single)),
        'D' => Some(Some(FixKind::Differential)),
        'R' => Some(Some(FixKind::Fixed)),
        'F' => Some(Some(FixKind::Float)),
        'E' => Some(Some(FixKind::Estimated)),
        'M' => Some(Some(FixKind::Manual)),
        'S' => Some(Some(FixKind::Simulated)),
        _ => None,
    }
}

fn no_fix(sentence: &Sentence, field: usize, name: &str) -> Says {
    let value = sentence.text(field);
    let say = format!("{}: {name} \"{value}\" says that the receiver had no fix", sentence.kind.word());
    Says::NoFix(Fault::new(Reason::NoFix, name, value, say))
}

/// Standard errors: latitude is that of north, longitude that of east.
fn gst(sentence: &Sentence) -> Result<Says, Fault> {
    for (field, name) in [(1, "RMS"), (2, "semi-major axis"), (3, "semi-minor axis")] {
        sentence.amount(field, name)?;
    }
    sentence.number(4, "orientation of the ellipse")?;
    let north = sentence.amount(5, "sigma of the latitude")?;
    let east = sentence.amount(6, "sigma of the longitude")?;
    let height = sentence.amount(7, "sigma of the height")?;
    Ok(Says::Sigmas(match (east, north, height) {
        (Some(east), Some(north), Some(height)) => Some([east, north, height]),
        _ => None,
    }))
}

fn gsa(sentence: &Sentence) -> Result<Says, Fault> {
    if !matches!(sentence.text(0), "A" | "M") {
        return Err(sentence.fault(0, "selection", "is neither A (automatic) nor M (manual)"));
    }
    let (pdop, hdop) = (sentence.amount(14, "PDOP")?, sentence.amount(15, "HDOP")?);
    match sentence.text(1) {
        "1" => Ok(Says::Dilution { pdop: None, hdop: None }),
        "2" | "3" => Ok(Says::Dilution { pdop, hdop }),
        _ => Err(sentence.fault(1, "mode", "is none of the digits 1 to 3")),
    }
}

/// Speed over ground in knots, else in kilometres an hour. The oldest form names no units and is passed over.
fn vtg(sentence: &Sentence) -> Result<Says, Fault> {
    let in_unit = |field: usize, unit: &str, unit_m_h: f64| match sentence.text(field + 1) {
        found if found == unit => Ok(sentence.amount(field, "speed")?.map(|speed| speed * unit_m_h / SECONDS_AN_HOUR)),
        _ => Ok(None),
    };
    let knots = in_unit(4, "N", KNOT_M_H)?;
    Ok(Says::Speed(if knots.is_some() { knots } else { in_unit(6, "K", KILOMETRE_AN_HOUR_M_H)? }))
}

/// A length whose unit stands in the next field.
fn metres(sentence: &Sentence, field: usize, name: &str, unit_name: &str) -> Result<Option<f64>, Fault> {
    let length = sentence.number(field, name)?;
    if length.is_some() && sentence.text(field + 1) != "M" {
        return Err(sentence.fault(field + 1, unit_name, "M for metres belongs there"));
    }
    Ok(length)
}

/// The position that begins at a field, with nothing known of its height.
fn place(sentence: &Sentence, first: usize, kind: FixKind) -> Result<PositionSentence, Fault> {
    let lat_deg = angle(sentence, first, "latitude", 2, 90.0, ["N", "S"])?;
    let lon_deg = angle(sentence, first + 2, "longitude", 3, 180.0, ["E", "W"])?;
    let by = sentence.kind;
    Ok(PositionSentence { by, lat_deg, lon_deg, height_m: None, separation_m: None, kind, satellites: None, hdop: None })
}

/// Degrees of two or three digits and minutes of two, with a fraction, in one field; the letter of the hemisphere in the next.
fn angle(
    sentence: &Sentence,
    field: usize,
    name: &str,
    degree_digits: usize,
    limit_deg: f64,
    [positive, negative]: [&str; 2],
) -> Result<f64, Fault> {
    let text = sentence.text(field);
    let (whole, part) = text.split_once('.').unwrap_or((text, "0"));
    if !digits(whole) || whole.len() != degree_digits + 2 || !(part.is_empty() || digits(part)) {
        let say = format!("{degree_digits} digits of degrees and 2 of minutes belong there");
        return Err(sentence.fault(field, name, &say));
    }
    let unreadable = || sentence.fault(field, name, "is not an angle");
    let degrees: f64 = text[..degree_digits].parse().map_err(|_| unreadable())?;
    let minutes: f64 = text[degree_digits..].parse().map_err(|_| unreadable())?;
    if minutes >= 60.0 {
        return Err(sentence.fault(field, name, "has 60 minutes or more"));
    }
    let deg = degrees + minutes / 60.0;
    if deg > limit_deg {
        return Err(sentence.fault(field, name, &format!("is above {limit_deg} degrees")));
    }
    match sentence.text(field + 1) {
        letter if letter == positive => Ok(deg),
        // Zero stays zero without a sign.
        letter if letter == negative => Ok(0.0 - deg),
        _ => {
            let say = format!("{positive} or {negative} belongs there");
            Err(sentence.fault(field + 1, &format!("hemisphere of the {name}"), &say))
        }
    }
}

/// The time in a sentence's first field: two digits each of hours, minutes and seconds, and a fraction, of which
/// nanoseconds are kept. A leap second stands at the end of a day of UTC.
fn time_of_day(sentence: &Sentence) -> Result<TimeOfDay, Fault> {
    let text = sentence.text(0);
    let (whole, part) = text.split_once('.').unwrap_or((text, ""));
    if whole.len() != 6 || !digits(whole) || !(part.is_empty() || digits(part)) {
        return Err(sentence.fault(0, "time", "two digits each of hours, minutes and seconds belong there"));
    }
    let two = |from: usize| whole[from..from + 2].parse().unwrap_or(u64::MAX);
    let (hour, minute, second) = (two(0), two(2), two(4));
    let leap = (hour, minute, second) == (23, 59, 60);
    if hour > 23 || minute > 59 || second > 59 && !leap {
        return Err(sentence.fault(0, "time", "is no time of day"));
    }
    let nanoseconds = part.bytes().chain(std::iter::repeat(b'0')).take(9).fold(0, |sum, byte| sum * 10 + u64::from(byte - b'0'));
    Ok(TimeOfDay((hour * 3600 + minute * 60 + second) * 1_000_000_000 + nanoseconds))
}

/// The date of RMC: day, month and year of two digits each; 80 to 99 are of the last century.
fn short_date(sentence: &Sentence) -> Result<Date, Fault> {
    let text = sentence.text(8);
    let fault = || sentence.fault(8, "date", "is no date; day, month and year of two digits each belong there");
    if text.len() != 6 || !digits(text) {
        return Err(fault());
    }
    let two = |from: usize| text[from..from + 2].parse::<i8>().map_err(|_| fault());
    let year = i16::from(two(4)?);
    Date::new(year + if year >= 80 { 1900 } else { 2000 }, two(2)?, two(0)?).map_err(|_| fault())
}

/// The date of ZDA: day, month, and year of four digits.
fn day(sentence: &Sentence, [day, month, year]: [usize; 3]) -> Result<Date, Fault> {
    let written = [year, month, day].map(|field| sentence.text(field)).join("-");
    let fault = |say: &str| Fault::new(Reason::Sentence, "date", &written, format!("ZDA: date \"{written}\" {say}"));
    let part = |field: usize, length: usize| match sentence.text(field) {
        text if digits(text) && text.len() <= length => text.parse::<i16>().map_err(|_| fault("is no date")),
        _ => Err(fault("is no date")),
    };
    let (year_digits, year) = (sentence.text(year).len(), part(year, 4)?);
    let (month, day) = (part(month, 2)? as i8, part(day, 2)? as i8);
    let date = Date::new(year, month, day).map_err(|_| fault("is no date"))?;
    if year_digits < 4 || year < FIRST_YEAR {
        return Err(fault("lies before the satellites' time: was the receiver's clock set?"));
    }
    Ok(date)
}
