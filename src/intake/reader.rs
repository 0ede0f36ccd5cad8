//! The reading of one row's quantities, each checked on its own: what logs of bases and of shots share.

use jiff::Timestamp;

use super::cell::{WhenError, is_no_reading_number};
use super::columns::{ColumnUnit, Quantity};
use super::delimited::{Row, Rows};
use super::log_layout::{Claim, LogLayout};
use crate::geodesy::{FIRST_EPOCH, LAST_EPOCH};
use crate::numeric::signs::Signs;
use crate::records::ledger::{Fault, Reason};
use crate::records::when::When;
use crate::units::{AngleError, AngleUnit, Hemispheres, parse_angle_deg, parse_direction_deg};

/// The reading of one row.
pub(super) struct Reader<'r, 't> {
    pub layout: &'r LogLayout,
    pub rows: &'r Rows<'t>,
    pub row: &'r Row<'t>,
}

impl<'r> Reader<'r, '_> {
    /// The claim and the text of a quantity, where there is a reading.
    pub fn claimed(&self, quantity: Quantity) -> Option<(&'r Claim, &'r str)> {
        Some((self.layout.claim_at(quantity, self.row)?, self.layout.text(quantity, self.rows, self.row)?))
    }

    pub fn number(&self, claim: &Claim, cell: &str) -> Result<f64, Fault> {
        claim.signs.number(cell).ok_or_else(|| {
            let hint = wrong_sign(claim.signs, cell);
            Fault::new(Reason::NotANumber, &claim.header, cell, format!("{} \"{cell}\" is not a number{hint}", claim.header))
        })
    }

    /// An angle in the unit of its column: a number, or, in degrees, an angle in parts such as `188°16'`; a direction may be a bearing in
    /// a quadrant, such as `N 45 W`.
    pub fn angle(&self, claim: &Claim, cell: &str, is_direction: bool) -> Result<f64, Fault> {
        if let Some(number) = claim.signs.number(cell) {
            return Ok(number);
        }
        // A number whose decimal sign is not the column's is no angle in parts.
        let amount = cell.strip_prefix(['+', '-']).unwrap_or(cell);
        if amount.bytes().all(|byte| byte.is_ascii_digit() || b"+.,".contains(&byte)) {
            return self.number(claim, cell);
        }
        let in_parts = || {
            let point = if claim.signs.decimal_comma || !cell.contains('.') { cell.replace(',', ".") } else { cell.to_owned() };
            match is_direction {
                true => parse_direction_deg(&point),
                false => parse_angle_deg(&point, Hemispheres::None),
            }
        };
        match (claim.unit, in_parts()) {
            (ColumnUnit::Angle(AngleUnit::Degree), Ok(degrees)) => Ok(degrees),
            (ColumnUnit::Angle(AngleUnit::Degree), Err(error @ (AngleError::Parts | AngleError::Quadrant))) => {
                Err(Fault::new(Reason::NotAnAngle, &claim.header, cell, format!("{} \"{cell}\": {error}", claim.header)))
            }
            _ => self.number(claim, cell),
        }
    }

    /// A length in metres.
    pub fn length(&self, quantity: Quantity) -> Result<Option<f64>, Fault> {
        Ok(self.length_and_number(quantity)?.map(|(metres, _)| metres))
    }

    /// A number without a unit.
    pub fn plain(&self, quantity: Quantity) -> Result<Option<f64>, Fault> {
        let number = self.claimed(quantity).map(|(claim, cell)| self.number(claim, cell)).transpose()?;
        Ok(number.filter(|number| !is_no_reading_number(*number)))
    }

    /// The epoch of coordinates: a year with its fraction.
    pub fn coordinate_epoch(&self) -> Result<Option<f64>, Fault> {
        let Some(year) = self.plain(Quantity::CoordinateEpoch)? else { return Ok(None) };
        if (FIRST_EPOCH..=LAST_EPOCH).contains(&year) {
            return Ok(Some(year));
        }
        let header = self.layout.header(Quantity::CoordinateEpoch);
        let say = format!("{header} {year} is no year with its fraction, such as 2026.4");
        Err(Fault::new(Reason::NotANumber, header, &year.to_string(), say))
    }

    /// A measured length in metres: none for a number that stands for "no reading".
    pub fn measured(&self, quantity: Quantity) -> Result<Option<f64>, Fault> {
        Ok(self.length_and_number(quantity)?.filter(|(_, number)| !is_no_reading_number(*number)).map(|(metres, _)| metres))
    }

    fn length_and_number(&self, quantity: Quantity) -> Result<Option<(f64, f64)>, Fault> {
        let Some((claim, cell)) = self.claimed(quantity) else { return Ok(None) };
        let number = self.number(claim, cell)?;
        let ColumnUnit::Length(unit) = claim.unit else { return Ok(None) };
        Ok(Some((unit.to_metres(number), number)))
    }

    /// The date and time.
    pub fn when(&self) -> Result<Option<When>, Fault> {
        let date = self.claimed(Quantity::Date);
        let time = self.claimed(Quantity::Time);
        self.when_of(date, time)
    }

    /// The date and time where they can be read, and whether they cannot.
    pub fn when_if_read(&self) -> (Option<When>, bool) {
        match self.when() {
            Ok(when) => (when, false),
            Err(fault) => {
                let styled = |quantity| self.claimed(quantity).map(|(claim, cell)| (cell, claim.style));
                let day = self.layout.format.day_of(styled(Quantity::Date), styled(Quantity::Time));
                // Where the log has no zone at all it is said once, for the file.
                let is_said = fault.reason == Reason::TimeWithoutZone && self.layout.without_zone.is_some();
                (day.map(|date| When { date, instant: None }), !is_said)
            }
        }
    }

    /// What a fault for want of a date or time says where the row has one that cannot be read.
    pub fn for_want_of_time(&self, fault: Fault) -> Fault {
        match self.when() {
            Err(unread) if matches!(fault.reason, Reason::NoDate | Reason::NoTime | Reason::AmbiguousBase) => unread,
            _ => fault,
        }
    }

    /// The instant of a column beside the date column, if there is one.
    pub fn instant_of(&self, quantity: Quantity) -> Result<Timestamp, Fault> {
        let none = || self.no_reading(Reason::NoTime, &[quantity], "the occupation has no such time");
        let claimed = self.claimed(quantity).ok_or_else(none)?;
        let when = self.when_of(self.claimed(Quantity::Date), Some(claimed))?;
        when.and_then(|when| when.instant).map(|(instant, _)| instant).ok_or_else(none)
    }

    fn when_of(&self, date: Option<(&'r Claim, &'r str)>, time: Option<(&'r Claim, &'r str)>) -> Result<Option<When>, Fault> {
        let styled = |part: Option<(&'r Claim, &'r str)>| part.map(|(claim, cell)| (cell, claim.style));
        self.layout.format.when(styled(date), styled(time)).map_err(|error| {
            let (claim, cell) = match (date, time) {
                (Some(date), Some(time)) => (time.0, format!("{} {}", date.1, time.1)),
                (Some(one), None) | (None, Some(one)) => (one.0, one.1.to_owned()),
                (None, None) => return Fault::new(Reason::NotATime, "", "", "no time"),
            };
            let (reason, say) = unread(error, self.layout.kind.table());
            Fault::new(reason, &claim.header, &cell, format!("{} \"{cell}\" {say}", claim.header))
        })
    }

    /// See [`LogLayout::no_reading`].
    pub fn no_reading(&self, reason: Reason, quantities: &[Quantity], what: &str) -> Fault {
        self.layout.no_reading(self.rows, self.row, reason, quantities, what)
    }
}

/// Why a date or time was not read, and what to do.
fn unread(error: WhenError, table: &str) -> (Reason, String) {
    match error {
        WhenError::NotATime => {
            (Reason::NotATime, "is no date or time in a form that is known; write 2026-05-04T08:00:01+02:00".into())
        }
        WhenError::NoDay => (
            Reason::NotATime,
            format!(
                "is a time of day without its day; map the column of dates as date, or write date = \"2026-05-04\" under [{table}.values]"
            ),
        ),
        WhenError::OtherOrder => (
            Reason::NotATime,
            format!("is no date in the order that date_order under [{table}] names; mend the date, or the key"),
        ),
        WhenError::NoZone => (Reason::TimeWithoutZone, "names no zone; write time_zone in the job".into()),
        WhenError::Ambiguous => {
            (Reason::AmbiguousTime, "came twice or not at all when the clocks were changed; write the offset from UTC".into())
        }
    }
}

/// What is wrong with the signs of a number, for a sentence that ends with it.
fn wrong_sign(signs: Signs, cell: &str) -> String {
    let (other, own, name) = if signs.decimal_comma { ('.', ',', "a comma") } else { (',', '.', "a point") };
    if !cell.contains(other) {
        return String::new();
    }
    let other_way = Signs { decimal_comma: !signs.decimal_comma, thousands: None };
    match other_way.number(cell) {
        Some(_) => format!("; the decimal sign of the column is {name}: write {}", cell.replace(other, &own.to_string())),
        None => {
            format!("; the decimal sign of the column is {name}, and a sign between thousands stands before three digits each")
        }
    }
}

/// Whether a name looks as if a spreadsheet had rewritten it: `3-Dec`, `Mar-12`, `1.2E+15`.
pub fn looks_damaged(name: &str) -> bool {
    const MONTHS: [&str; 12] = ["jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec"];
    let is_digits = |text: &str| !text.is_empty() && text.len() <= 4 && text.bytes().all(|byte| byte.is_ascii_digit());
    if !name.is_ascii() || name.len() < 5 || !name.as_bytes().iter().any(u8::is_ascii_alphabetic) {
        return false;
    }
    if let Some((a, b)) = name.split_once('-') {
        let is_month = |text: &str| MONTHS.contains(&text.to_ascii_lowercase().as_str());
        if (is_digits(a) && is_month(b)) || (is_month(a) && is_digits(b)) {
            return true;
        }
    }
    match name.split_once("E+") {
        Some((mantissa, exponent)) => mantissa.parse::<f64>().is_ok() && is_digits(exponent),
        None => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn spreadsheet_damage() {
        for name in ["3-Dec", "12-mar", "Mar-12", "1.2E+15", "1E+05"] {
            assert!(looks_damaged(name), "{name}");
        }
        for name in ["3-12", "N07", "E+", "pole-4", "DEC-LA", "may", "12-03-2026"] {
            assert!(!looks_damaged(name), "{name}");
        }
    }
}
