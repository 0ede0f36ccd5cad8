//! Rows of shot logs: readings in metres and radians, each checked on its own.

use std::f64::consts::{FRAC_PI_2, PI};

use super::cell::is_no_reading_number;
use super::columns::{ColumnUnit, Quantity};
use super::delimited::{Row, Rows};
use super::log_layout::{Claim, LogLayout};
use super::reader::{Reader, looks_damaged};
use super::shot_rules::ShotRules;
use crate::geodesy::frame::full_circle_rad;
use crate::geodesy::north::NorthKind;
use crate::job::Instrument;
use crate::job::catalogue::Code;
use crate::records::kit::{Kit, Kits};
use crate::records::ledger::{Fault, Flag, Flags, Reason};
use crate::records::roles::{BACKSIGHT, FORESIGHT};
use crate::records::shot::{Azimuth, ReadRow, Readings};
use crate::units::{AngleUnit, Units};

/// Reads a row: all that a full shot has, or whatever of it is there, with what is wrong.
///
/// # Errors
/// When it names no instrument that is known, or no day for the instrument's corrections.
pub(super) fn read_row(layout: &LogLayout, rules: &ShotRules, rows: &Rows, row: &Row) -> Result<ReadRow, Fault> {
    let reader = Reader { layout, rows, row };
    let kits = reader.kits(rules)?;
    let (when, is_unread) = reader.when_if_read();
    let kit = kits.at(when.map(|when| when.date)).map_err(|()| reader.no_date_for_corrections())?;
    let echo = layout.echo(rows, row);
    let kit = kit.for_echo(echo);
    match reader.full_shot(rules, &kit) {
        Ok(mut readings) => {
            (readings.when, readings.echo) = (when, echo);
            let flags = reader.flags(&readings, rules, is_unread);
            Ok(ReadRow { readings, kit, flags, fault: None, unreadable: None })
        }
        Err(fault) => {
            let (mut readings, unreadable) = reader.whatever_is_there(rules, &kit);
            (readings.when, readings.echo) = (when, echo);
            let (fault, unreadable) = (Some(Box::new(fault)), unreadable.map(Box::new));
            let mut flags = Flags::default();
            if row.is_joined {
                flags.raise(Flag::RemarkJoined);
            }
            Ok(ReadRow { readings, kit, flags, fault, unreadable })
        }
    }
}

/// Reads what a row gives on its own, with no correction of an instrument: for calibrations.
///
/// # Errors
/// When a value that is there cannot be understood.
pub(super) fn bare_readings(layout: &LogLayout, rows: &Rows, row: &Row) -> Result<Readings, Fault> {
    let reader = Reader { layout, rows, row };
    let bare = Kit::from(&Instrument::default());
    Ok(Readings {
        azimuth: reader.azimuth_if_there(&bare)?,
        inclination_rad: reader.inclination(&bare)?,
        slope_m: reader.distance_if_there(Quantity::SlopeDistance, &bare, &Units::default())?,
        horizontal_m: reader.distance_if_there(Quantity::HorizontalDistance, &bare, &Units::default())?,
        instrument_height_m: reader.measured(Quantity::InstrumentHeight)?,
        target_height_m: reader.measured(Quantity::TargetHeight)?,
        when: reader.when_if_read().0,
        ..Readings::default()
    })
}

/// An inclination up to the plumb line, where nothing tells what side of it is meant.
fn within_quarter(inclination_rad: f64) -> f64 {
    inclination_rad.clamp(-FRAC_PI_2, FRAC_PI_2)
}

/// A value that is there; the first fault of several is kept.
fn noted<T>(read: Result<Option<T>, Fault>, first: &mut Option<Fault>) -> Option<T> {
    read.unwrap_or_else(|fault| {
        first.get_or_insert(fault);
        None
    })
}

impl<'r> Reader<'r, '_> {
    /// The readings of a full shot: a direction and a triangle, all that is there in agreement.
    fn full_shot(&self, rules: &ShotRules, kit: &Kit) -> Result<Readings, Fault> {
        let slope_m = self.distance(Quantity::SlopeDistance, kit, &rules.units)?;
        let horizontal_m = self.distance(Quantity::HorizontalDistance, kit, &rules.units)?;
        let vertical_m = self.measured(Quantity::VerticalDistance)?;
        let beyond_rad = self.inclination(kit)?;
        let inclination_rad = beyond_rad.map(within_quarter);
        if slope_m.is_none() && horizontal_m.is_none() {
            return Err(self.direction_only().unwrap_or_else(|| self.no_distance()));
        }
        let azimuth = Some(self.azimuth(kit)?);
        if horizontal_m.is_none() && vertical_m.is_none() && inclination_rad.is_none() {
            return Err(self.no_inclination());
        }
        self.check_agreement(rules, kit, slope_m, horizontal_m, vertical_m, inclination_rad)?;
        // With its azimuth a slope distance comes down on the other side of the zenith.
        Ok(Readings {
            azimuth,
            inclination_rad: if slope_m.is_some() { beyond_rad } else { inclination_rad },
            slope_m,
            horizontal_m,
            vertical_m,
            instrument_height_m: self.measured(Quantity::InstrumentHeight)?,
            target_height_m: self.target_height_m(rules)?,
            face_diameter_m: self.face_diameter_m(rules)?,
            ..Readings::default()
        })
    }

    /// The readings of a row that is no full shot, and the first of them that cannot be understood.
    fn whatever_is_there(&self, rules: &ShotRules, kit: &Kit) -> (Readings, Option<Fault>) {
        let mut unreadable = None;
        let readings = Readings {
            azimuth: noted(self.azimuth_if_there(kit), &mut unreadable),
            inclination_rad: noted(self.inclination(kit), &mut unreadable).map(within_quarter),
            slope_m: noted(self.distance_if_there(Quantity::SlopeDistance, kit, &rules.units), &mut unreadable),
            horizontal_m: noted(self.distance_if_there(Quantity::HorizontalDistance, kit, &rules.units), &mut unreadable),
            instrument_height_m: noted(self.measured(Quantity::InstrumentHeight), &mut unreadable),
            target_height_m: noted(self.target_height_m(rules), &mut unreadable),
            ..Readings::default()
        };
        (readings, unreadable)
    }

    /// What is suspicious about a full shot by itself.
    fn flags(&self, readings: &Readings, rules: &ShotRules, is_unread: bool) -> Flags {
        let mut flags = Flags::default();
        if is_unread {
            flags.raise(Flag::TimeUnread);
        }
        if self.row.is_joined {
            flags.raise(Flag::RemarkJoined);
        }
        let inclination = readings.triangle().and_then(|triangle| triangle.inclination_rad());
        if inclination.is_some_and(|inclination| inclination.abs() > rules.steep_rad) {
            flags.raise(Flag::Steep);
        }
        for quantity in [Quantity::Shot, Quantity::Feature] {
            if self.layout.text(quantity, self.rows, self.row).is_some_and(looks_damaged) {
                flags.raise(Flag::DamagedId);
            }
        }
        if !self.row.line.ended {
            flags.raise(Flag::NoLineEnd);
        }
        flags
    }

    /// The fault of a slope distance that nothing levels.
    fn no_inclination(&self) -> Fault {
        let (header, value) = self.first_claimed(&[Quantity::Inclination, Quantity::Zenith]);
        let say = "the slope distance has neither an inclination nor a vertical distance beside it";
        Fault::new(Reason::NoInclination, header, value, say)
    }

    /// The header of the first of some quantities that the log has, and what stands there.
    fn first_claimed(&self, quantities: &[Quantity]) -> (&'r str, &'r str) {
        let column = quantities.iter().find(|quantity| self.layout.claim_of(**quantity).is_some());
        column.map_or(("", ""), |quantity| (self.layout.header(*quantity), self.layout.raw(*quantity, self.rows, self.row)))
    }

    /// A distance; none where there is no echo.
    fn distance_if_there(&self, quantity: Quantity, kit: &Kit, units: &Units) -> Result<Option<f64>, Fault> {
        match self.distance(quantity, kit, units) {
            Err(fault) if fault.reason == Reason::NoDistance => Ok(None),
            read => read,
        }
    }

    /// An azimuth; none where there is none.
    fn azimuth_if_there(&self, kit: &Kit) -> Result<Option<Azimuth>, Fault> {
        match self.azimuth(kit) {
            Err(fault) if fault.reason == Reason::NoAzimuth => Ok(None),
            read => read.map(Some),
        }
    }

    /// The fault of a row without a date where the instrument's corrections hang on one.
    fn no_date_for_corrections(&self) -> Fault {
        let (header, value) = self.first_claimed(&[Quantity::Date, Quantity::Time]);
        self.for_want_of_time(Fault::new(
            Reason::NoDate,
            header,
            value,
            "the instrument has corrections by date (calibrations), and the row has no date to choose them by; map a date or \
             time column, or write date under [shots.values]",
        ))
    }

    fn kits<'k>(&self, rules: &'k ShotRules) -> Result<&'k Kits, Fault> {
        let Some((claim, name)) = self.claimed(Quantity::Instrument) else {
            return rules.only.as_ref().ok_or_else(|| {
                Fault::new(
                    Reason::UnknownInstrument,
                    self.layout.header(Quantity::Instrument),
                    "",
                    "the row names no instrument, and the job has several; map an instrument column",
                )
            });
        };
        match rules.kits.get(name) {
            Some(kits) => Ok(kits),
            // One instrument for all: the column is a remark.
            None if rules.kits.is_empty() => rules.only.as_ref().ok_or_else(|| self.unknown_instrument(claim, name, rules)),
            None => Err(self.unknown_instrument(claim, name, rules)),
        }
    }

    fn unknown_instrument(&self, claim: &Claim, name: &str, rules: &ShotRules) -> Fault {
        let known: Vec<&str> = rules.kits.keys().map(String::as_str).collect();
        Fault::new(
            Reason::UnknownInstrument,
            &claim.header,
            name,
            format!("the job has no [instruments.{name}]; it has: {}", known.join(", ")),
        )
    }

    /// The row's code in the catalogue.
    fn code<'c>(&self, rules: &'c ShotRules) -> Option<&'c Code> {
        rules.catalogue.as_ref()?.find(self.layout.text(Quantity::Code, self.rows, self.row)?)
    }

    /// The target height: the row's, else its code's, else the job's.
    fn target_height_m(&self, rules: &ShotRules) -> Result<Option<f64>, Fault> {
        let of_code = || self.code(rules).and_then(|code| code.target_height_m);
        Ok(self.measured(Quantity::TargetHeight)?.or_else(of_code).or(rules.target_height_m))
    }

    /// The diameter of what was shot at its near face, the row's or its code's, and its standard error. The rows of a
    /// measurement keep the face that they were shot at.
    fn face_diameter_m(&self, rules: &ShotRules) -> Result<Option<(f64, f64)>, Fault> {
        let code = self.code(rules);
        let measured = self.measured(Quantity::FaceDiameter)?;
        if let Some(diameter_m) = measured.filter(|diameter_m| *diameter_m < 0.0) {
            let (header, raw) =
                (self.layout.header(Quantity::FaceDiameter), self.layout.raw(Quantity::FaceDiameter, self.rows, self.row));
            let say = format!("{header} {raw} is {}; a diameter is above zero", rules.units.length().said(diameter_m, 2));
            return Err(Fault::new(Reason::DistanceNotPositive, header, raw, say));
        }
        let diameter_m = measured.or_else(|| code.and_then(|code| code.face_diameter_m));
        let is_part = self.layout.text(Quantity::Measure, self.rows, self.row).is_some();
        Ok(diameter_m.filter(|_| !is_part).map(|diameter_m| (diameter_m, code.map_or(0.0, |code| code.sigma_face_diameter_m))))
    }

    fn no_distance(&self) -> Fault {
        self.no_reading(Reason::NoDistance, &[Quantity::SlopeDistance, Quantity::HorizontalDistance], "no echo came back")
    }

    /// The fault of a sight to a known point for which no distance was wanted.
    fn direction_only(&self) -> Option<Fault> {
        let role = self.layout.text(Quantity::Role, self.rows, self.row)?;
        (role == BACKSIGHT || role == FORESIGHT).then(|| {
            let say = format!("the {role} has no distance: it serves the orientation of its base alone");
            Fault::new(Reason::DirectionOnly, self.layout.header(Quantity::Role), role, say)
        })
    }

    /// A distance above zero and in the instrument's range, its correction included.
    fn distance(&self, quantity: Quantity, kit: &Kit, units: &Units) -> Result<Option<f64>, Fault> {
        let Some((claim, cell)) = self.claimed(quantity) else { return Ok(None) };
        let fault = |reason, say: String| Fault::new(reason, &claim.header, cell, say);
        let number = self.number(claim, cell)?;
        if number == 0.0 || is_no_reading_number(number) {
            return Err(self.no_reading(Reason::NoDistance, &[quantity], "no echo came back"));
        }
        let ColumnUnit::Length(unit) = claim.unit else { return Ok(None) };
        let metres = unit.to_metres(number) + kit.distance_correction_m;
        if metres <= 0.0 {
            return Err(fault(
                Reason::DistanceNotPositive,
                format!("{} {cell} is not above zero; a sign never means \"behind\"", claim.header),
            ));
        }
        let (least, greatest) = kit.range_m;
        let length = units.length();
        if least.is_some_and(|least| metres < least) || greatest.is_some_and(|greatest| metres > greatest) {
            let limits = match (least, greatest) {
                (Some(least), Some(greatest)) => format!("{} to {}", length.given(least), length.told(greatest)),
                (Some(least), None) => format!("{} and more", length.told(least)),
                (None, Some(greatest)) => format!("up to {}", length.told(greatest)),
                (None, None) => String::new(),
            };
            return Err(fault(
                Reason::DistanceRange,
                format!("{} {cell} is {}; the instrument measures {limits}", claim.header, length.said(metres, 2)),
            ));
        }
        Ok(Some(metres))
    }

    /// The azimuth, with the instrument's correction.
    fn azimuth(&self, kit: &Kit) -> Result<Azimuth, Fault> {
        let azimuths = [Quantity::TrueAzimuth, Quantity::GridAzimuth, Quantity::MagneticAzimuth, Quantity::Azimuth];
        for quantity in azimuths {
            let Some((claim, cell)) = self.claimed(quantity) else { continue };
            let north = quantity.north().map_or_else(|| self.north_of_row(), Ok)?;
            let ColumnUnit::Angle(unit) = claim.unit else { continue };
            let number = self.angle(claim, cell, true)?;
            if is_no_reading_number(number) {
                break;
            }
            if !(0.0..=unit.per_turn()).contains(&number) {
                return Err(Fault::new(
                    Reason::AzimuthRange,
                    &claim.header,
                    cell,
                    format!("{} {cell} is outside 0 to {} {unit}s", claim.header, unit.per_turn()),
                ));
            }
            let azimuth_rad = full_circle_rad(unit.to_radians(number) + kit.azimuth_correction_rad);
            return Ok(Azimuth { north, azimuth_rad, as_read: number });
        }
        let azimuths = [Quantity::MagneticAzimuth, Quantity::TrueAzimuth, Quantity::GridAzimuth, Quantity::Azimuth];
        Err(self.no_reading(Reason::NoAzimuth, &azimuths, "the shot has no direction"))
    }

    /// The north that the row itself names.
    fn north_of_row(&self) -> Result<NorthKind, Fault> {
        let Some((claim, cell)) = self.claimed(Quantity::AzimuthNorth) else {
            return Err(self.no_reading(
                Reason::NoAzimuth,
                &[Quantity::AzimuthNorth],
                "which north the azimuth means is not said",
            ));
        };
        match cell.to_ascii_lowercase().as_str() {
            "magnetic" | "m" => Ok(NorthKind::Magnetic),
            "true" | "t" => Ok(NorthKind::True),
            "grid" | "g" => Ok(NorthKind::Grid),
            _ => Err(Fault::new(
                Reason::NoAzimuth,
                &claim.header,
                cell,
                format!("{} \"{cell}\" is no north; write magnetic, true or grid", claim.header),
            )),
        }
    }

    fn inclination(&self, kit: &Kit) -> Result<Option<f64>, Fault> {
        let (quantity, claimed) = match self.claimed(Quantity::Inclination) {
            Some(claimed) => (Quantity::Inclination, claimed),
            None => match self.claimed(Quantity::Zenith) {
                Some(claimed) => (Quantity::Zenith, claimed),
                None => return Ok(None),
            },
        };
        let (claim, cell) = claimed;
        let number = self.angle(claim, cell, false)?;
        if is_no_reading_number(number) {
            return Ok(None);
        }
        if let (Quantity::Zenith, ColumnUnit::Angle(unit)) = (quantity, claim.unit)
            && !(0.0..=unit.per_turn()).contains(&number)
        {
            let say = format!("{} {cell} is outside 0 to {} {unit}s", claim.header, unit.per_turn());
            return Err(Fault::new(Reason::InclinationRange, &claim.header, cell, say));
        }
        let mut angle = match claim.unit {
            ColumnUnit::Percent => (number / 100.0).atan(),
            ColumnUnit::Angle(unit) => unit.to_radians(number),
            _ => return Ok(None),
        };
        if quantity == Quantity::Zenith {
            // The second face of a circle counts on past 180°.
            angle = FRAC_PI_2 - if angle > PI { 2.0 * PI - angle } else { angle };
        }
        // A reading of exactly 90 may round a little above π/2.
        if angle.abs() > FRAC_PI_2 + 1e-12 {
            let quarter = match claim.unit {
                ColumnUnit::Angle(unit) => unit,
                _ => AngleUnit::Degree,
            };
            let limit = quarter.per_turn() / 4.0;
            let hint = if quantity == Quantity::Inclination && number > 0.0 && number <= 2.0 * limit {
                "; a zenith angle is read as zenith_deg, a slope in percent as inclination_pct"
            } else {
                ""
            };
            return Err(Fault::new(
                Reason::InclinationRange,
                &claim.header,
                cell,
                format!("{} {cell} is outside -{limit} to {limit} {quarter}s{hint}", claim.header),
            ));
        }
        // A correction may take it past the zenith.
        Ok(Some(angle + kit.inclination_correction_rad))
    }

    /// Redundant distances must agree within `agreement_sigmas` standard errors.
    fn check_agreement(
        &self,
        rules: &ShotRules,
        kit: &Kit,
        slope: Option<f64>,
        horizontal: Option<f64>,
        vertical: Option<f64>,
        inclination: Option<f64>,
    ) -> Result<(), Fault> {
        let said = |metres: f64| rules.units.length().said(metres, 2);
        let disagree = |quantity: Quantity, read: f64, follows: f64, from: &str| {
            let ratio = if read > follows { read / follows } else { follows / read };
            let hint = if (ratio - 1.0 / 0.3048).abs() < 0.05 { "; is one of them in feet?" } else { "" };
            let header = self.layout.header(quantity);
            let cell = self.layout.text(quantity, self.rows, self.row).unwrap_or_default();
            Fault::new(
                Reason::DistancesDisagree,
                header,
                cell,
                format!("{header} is {}, but {} follow from {from}{hint}", said(read), said(follows)),
            )
        };
        let allowed = |d: f64, arm: f64| {
            rules.agreement_sigmas * (std::f64::consts::SQRT_2 * kit.sigma_distance_m(d)).hypot(arm * kit.sigma_inclination_rad)
        };
        if let (Some(s), Some(h), Some(i)) = (slope, horizontal, inclination) {
            let follows = s * i.cos();
            if (h - follows).abs() > allowed(s, s * i.sin()) {
                return Err(disagree(Quantity::HorizontalDistance, h, follows, "the slope distance and the inclination"));
            }
        }
        if let (Some(v), Some(i)) = (vertical, inclination) {
            let (follows, from, d) = match (slope, horizontal) {
                (Some(s), _) => (s * i.sin(), "the slope distance and the inclination", s),
                (None, Some(h)) => (h * i.tan(), "the horizontal distance and the inclination", h),
                (None, None) => return Ok(()),
            };
            if (v - follows).abs() > allowed(d, d / i.cos().max(0.05)) {
                return Err(disagree(Quantity::VerticalDistance, v, follows, from));
            }
        }
        if let (Some(s), Some(v)) = (slope, vertical) {
            if v.abs() >= s && horizontal.is_none() && inclination.is_none() {
                return Err(disagree(Quantity::VerticalDistance, v, s, "a slope distance that is no longer than it"));
            }
            if let (Some(h), None) = (horizontal, inclination) {
                let follows = h.hypot(v);
                if (s - follows).abs() > allowed(s, 0.0) {
                    return Err(disagree(Quantity::SlopeDistance, s, follows, "the horizontal and the vertical distance"));
                }
            }
        }
        if let (Some(s), Some(h), None, None) = (slope, horizontal, vertical, inclination)
            && h - s > allowed(s, 0.0)
        {
            return Err(disagree(Quantity::HorizontalDistance, h, s, "a slope distance that is shorter"));
        }
        Ok(())
    }
}
