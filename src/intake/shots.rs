//! Rows of shot logs: readings in metres and radians, each checked on its own.

use std::collections::BTreeMap;
use std::f64::consts::{FRAC_PI_2, PI};
use std::sync::Arc;

use super::cell::is_no_reading_number;
use super::columns::{Quantity, Unit};
use super::delimited::{Row, Rows};
use super::plan::{Claim, Plan};
use super::reader::{Reader, looks_damaged};
use crate::geodesy::frame::full_circle_rad;
use crate::geodesy::north::NorthKind;
use crate::job::catalogue::{Catalogue, Code};
use crate::job::{Checks, Heights, Instrument};
use crate::records::kit::{Kit, Kits};
use crate::records::ledger::{Fault, Flag, Flags, Reason};
use crate::records::roles::{BACKSIGHT, FORESIGHT};
use crate::records::triangle::Triangle;
use crate::records::when::When;
use crate::units::AngleUnit;

/// What the reading of shots needs from the job.
#[derive(Debug, Clone)]
pub struct ShotRules {
    kits: BTreeMap<String, Kits>,
    /// The kits of rows that name none.
    only: Option<Kits>,
    target_height_m: Option<f64>,
    catalogue: Option<Arc<Catalogue>>,
    steep_rad: f64,
    agreement_sigmas: f64,
}

impl ShotRules {
    /// Settles the instruments and limits of a job.
    pub fn new(
        instrument: Option<&Instrument>,
        instruments: &BTreeMap<String, Instrument>,
        heights: &Heights,
        checks: &Checks,
    ) -> ShotRules {
        let only = match (instrument, instruments.len()) {
            (Some(one), _) => Some(Kits::from(one)),
            (None, 0) => Some(Kits::from(&Instrument { refraction: crate::geodesy::REFRACTION, ..Instrument::default() })),
            (None, 1) => instruments.values().next().map(Kits::from),
            _ => None,
        };
        ShotRules {
            kits: instruments.iter().map(|(name, instrument)| (name.clone(), Kits::from(instrument))).collect(),
            only,
            target_height_m: heights.target_height_m,
            catalogue: None,
            steep_rad: checks.steep_deg.to_radians(),
            agreement_sigmas: checks.agreement_sigmas,
        }
    }

    /// With what a catalogue says of codes: target heights and near faces.
    #[must_use]
    pub fn with_catalogue(mut self, catalogue: Option<Arc<Catalogue>>) -> ShotRules {
        self.catalogue = catalogue;
        self
    }
}

/// A shot as it was read: its text stays in the rows it came from.
#[derive(Debug, Clone, Copy)]
pub struct Shot {
    /// Which north the azimuth is counted from.
    pub north: NorthKind,
    /// Azimuth in radians, the instrument's correction included, 0 ≤ azimuth < 2π.
    pub azimuth_rad: f64,
    /// The azimuth as it was read, to see repeats.
    pub azimuth_read: f64,
    /// The triangle, the instrument's corrections included.
    pub triangle: Triangle,
    /// Instrument height; none where the row gives none.
    pub instrument_height_m: Option<f64>,
    /// Target height; none where neither row, catalogue nor job gives one.
    pub target_height_m: Option<f64>,
    /// Diameter in metres of what was shot at its near face, with its standard error.
    pub face_diameter_m: Option<(f64, f64)>,
    /// Date and time.
    pub when: Option<When>,
    /// The instrument.
    pub kit: Kit,
    /// Suspicions so far.
    pub flags: Flags,
}

/// The direction of a sight alone.
#[derive(Debug, Clone, Copy)]
pub struct Direction {
    /// Which north the azimuth is counted from.
    pub north: NorthKind,
    /// Azimuth in radians, the instrument's correction included, 0 ≤ azimuth < 2π.
    pub azimuth_rad: f64,
    /// Date and time.
    pub when: Option<When>,
    /// The instrument.
    pub kit: Kit,
}

/// What a row gives a composed measurement that has no point of its own: some of distance, inclination and azimuth.
#[derive(Debug, Clone, Copy)]
pub struct Part {
    /// Azimuth in radians, the instrument's correction included, and the north it is counted from.
    pub azimuth: Option<(NorthKind, f64)>,
    /// Inclination, up positive.
    pub inclination_rad: Option<f64>,
    /// Slope distance.
    pub slope_m: Option<f64>,
    /// Horizontal distance.
    pub horizontal_m: Option<f64>,
    /// Instrument height; none where neither log nor job gives one.
    pub instrument_height_m: Option<f64>,
    /// Target height.
    pub target_height_m: f64,
    /// Date and time.
    pub when: Option<When>,
    /// The instrument.
    pub kit: Kit,
}

/// Whether a row that is no shot by a fault may still serve a composed measurement.
pub fn may_be_part(fault: &Fault, plan: &Plan, rows: &Rows, row: &Row) -> bool {
    matches!(fault.reason, Reason::NoDistance | Reason::NoAzimuth | Reason::NoInclination)
        && plan.text(Quantity::Measure, rows, row).is_some()
}

/// What a fault for want of a date or time says: where the row has one that cannot be read, that.
pub fn for_want_of_time(plan: &Plan, rows: &Rows, row: &Row, fault: Fault) -> Fault {
    Reader { plan, rows, row }.for_want_of_time(fault)
}

/// Why the date or time of a row cannot be read, in a sentence.
pub fn unread_time(plan: &Plan, rows: &Rows, row: &Row) -> Option<String> {
    Reader { plan, rows, row }.when().err().map(|fault| fault.sentence)
}

/// Reads what a row gives a composed measurement.
///
/// # Errors
/// When a value that is there cannot be understood.
pub fn read_part(plan: &Plan, rules: &ShotRules, rows: &Rows, row: &Row) -> Result<Part, Fault> {
    let reader = Reader { plan, rows, row };
    let kits = reader.kits(rules)?;
    let (when, _) = reader.when_if_read();
    let kit = kits.at(when.map(|when| when.date)).map_err(|()| reader.no_date_for_corrections())?;
    let kit = kit.for_echo(plan.echo(rows, row));
    let distance = |quantity| match reader.distance(quantity, &kit) {
        Err(fault) if fault.reason == Reason::NoDistance => Ok(None),
        read => read,
    };
    let azimuth = match reader.azimuth(&kit) {
        Err(fault) if fault.reason == Reason::NoAzimuth => None,
        read => read.map(|(north, _, azimuth_rad)| Some((north, azimuth_rad)))?,
    };
    Ok(Part {
        azimuth,
        inclination_rad: reader.inclination(&kit)?,
        slope_m: distance(Quantity::SlopeDistance)?,
        horizontal_m: distance(Quantity::HorizontalDistance)?,
        instrument_height_m: reader.measured(Quantity::InstrumentHeight)?,
        target_height_m: reader.target_height_m(rules)?.unwrap_or(0.0),
        when,
        kit,
    })
}

/// Reads the direction of a row.
///
/// # Errors
/// The first thing that makes it unusable.
pub fn read_direction(plan: &Plan, rules: &ShotRules, rows: &Rows, row: &Row) -> Result<Direction, Fault> {
    let reader = Reader { plan, rows, row };
    let kits = reader.kits(rules)?;
    let (when, _) = reader.when_if_read();
    let kit = kits.at(when.map(|when| when.date)).map_err(|()| reader.no_date_for_corrections())?;
    let (north, _, azimuth_rad) = reader.azimuth(&kit)?;
    Ok(Direction { north, azimuth_rad, when, kit })
}

/// Reads a row.
///
/// # Errors
/// The first thing that makes the row unusable.
pub fn read(plan: &Plan, rules: &ShotRules, rows: &Rows, row: &Row) -> Result<Shot, Fault> {
    let reader = Reader { plan, rows, row };
    let kits = reader.kits(rules)?;
    let (when, is_unread) = reader.when_if_read();
    let kit = kits.at(when.map(|when| when.date)).map_err(|()| reader.no_date_for_corrections())?;
    let kit = kit.for_echo(plan.echo(rows, row));
    let slope = reader.distance(Quantity::SlopeDistance, &kit)?;
    let horizontal = reader.distance(Quantity::HorizontalDistance, &kit)?;
    let vertical = reader.measured(Quantity::VerticalDistance)?;
    let inclination = reader.inclination(&kit)?;
    if slope.is_none() && horizontal.is_none() {
        return Err(reader.direction_only().unwrap_or_else(|| reader.no_distance()));
    }
    let (north, azimuth_read, azimuth_rad) = reader.azimuth(&kit)?;
    let triangle = match (slope, horizontal, vertical, inclination) {
        (Some(slope_m), _, _, Some(inclination_rad)) => Triangle::Slope { slope_m, inclination_rad },
        (None, Some(horizontal_m), _, Some(inclination_rad)) => Triangle::Horizontal { horizontal_m, inclination_rad },
        (_, Some(horizontal_m), Some(vertical_m), None) => Triangle::HorizontalVertical { horizontal_m, vertical_m },
        (Some(slope_m), None, Some(vertical_m), None) => Triangle::SlopeVertical { slope_m, vertical_m },
        (_, Some(horizontal_m), None, None) => Triangle::Level { horizontal_m },
        (_, None, None, None) => {
            let column =
                [Quantity::Inclination, Quantity::Zenith].into_iter().find(|quantity| plan.claim_of(*quantity).is_some());
            return Err(Fault::new(
                Reason::NoInclination,
                column.map_or("", |quantity| plan.header(quantity)),
                column.map_or("", |quantity| plan.raw(quantity, rows, row)),
                "the slope distance has neither an inclination nor a vertical distance beside it",
            ));
        }
        (None, None, _, _) => return Err(reader.no_distance()),
    };
    reader.check_agreement(rules, &kit, slope, horizontal, vertical, inclination)?;
    let mut flags = Flags::default();
    if is_unread {
        flags.raise(Flag::TimeUnread);
    }
    if triangle.inclination_rad().is_some_and(|inclination| inclination.abs() > rules.steep_rad) {
        flags.raise(Flag::Steep);
    }
    for quantity in [Quantity::Shot, Quantity::Feature] {
        if plan.text(quantity, rows, row).is_some_and(looks_damaged) {
            flags.raise(Flag::DamagedId);
        }
    }
    Ok(Shot {
        north,
        azimuth_rad,
        azimuth_read,
        triangle,
        instrument_height_m: reader.measured(Quantity::InstrumentHeight)?,
        target_height_m: reader.target_height_m(rules)?,
        face_diameter_m: reader.face_diameter_m(rules)?,
        when,
        kit,
        flags,
    })
}

/// What one row gives on its own, whatever of it is there, with no correction of an instrument: for
/// calibrations. Metres and radians.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Readings {
    /// Azimuth, and the north it is counted from.
    pub azimuth: Option<(NorthKind, f64)>,
    /// Inclination, up positive.
    pub inclination_rad: Option<f64>,
    /// Slope distance.
    pub slope_m: Option<f64>,
    /// Horizontal distance.
    pub horizontal_m: Option<f64>,
    /// Instrument height.
    pub instrument_height_m: Option<f64>,
    /// Target height.
    pub target_height_m: Option<f64>,
    /// Date and time.
    pub when: Option<When>,
}

/// Reads what a row gives on its own.
///
/// # Errors
/// When a value that is there cannot be understood.
pub fn readings(plan: &Plan, rows: &Rows, row: &Row) -> Result<Readings, Fault> {
    let reader = Reader { plan, rows, row };
    let bare = Kit::from(&Instrument::default());
    let distance = |quantity| match reader.distance(quantity, &bare) {
        Err(fault) if fault.reason == Reason::NoDistance => Ok(None),
        read => read,
    };
    let azimuth = match reader.azimuth(&bare) {
        Err(fault) if fault.reason == Reason::NoAzimuth => None,
        read => read.map(|(north, _, azimuth_rad)| Some((north, azimuth_rad)))?,
    };
    Ok(Readings {
        azimuth,
        inclination_rad: reader.inclination(&bare)?,
        slope_m: distance(Quantity::SlopeDistance)?,
        horizontal_m: distance(Quantity::HorizontalDistance)?,
        instrument_height_m: reader.measured(Quantity::InstrumentHeight)?,
        target_height_m: reader.measured(Quantity::TargetHeight)?,
        when: reader.when_if_read().0,
    })
}

impl<'r> Reader<'r, '_> {
    /// The fault of a row without a date where the instrument's corrections hang on one.
    fn no_date_for_corrections(&self) -> Fault {
        let column = [Quantity::Date, Quantity::Time].into_iter().find(|quantity| self.plan.claim_of(*quantity).is_some());
        let (header, value) =
            column.map_or(("", ""), |quantity| (self.plan.header(quantity), self.plan.raw(quantity, self.rows, self.row)));
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
                    self.plan.header(Quantity::Instrument),
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
        rules.catalogue.as_ref()?.find(self.plan.text(Quantity::Code, self.rows, self.row)?)
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
                (self.plan.header(Quantity::FaceDiameter), self.plan.raw(Quantity::FaceDiameter, self.rows, self.row));
            let say = format!("{header} {raw} is {diameter_m:.2} m; a diameter is above zero");
            return Err(Fault::new(Reason::DistanceNotPositive, header, raw, say));
        }
        let diameter_m = measured.or_else(|| code.and_then(|code| code.face_diameter_m));
        let is_part = self.plan.text(Quantity::Measure, self.rows, self.row).is_some();
        Ok(diameter_m.filter(|_| !is_part).map(|diameter_m| (diameter_m, code.map_or(0.0, |code| code.sigma_face_diameter_m))))
    }

    fn no_distance(&self) -> Fault {
        self.no_reading(Reason::NoDistance, &[Quantity::SlopeDistance, Quantity::HorizontalDistance], "no echo came back")
    }

    /// The fault of a sight to a known point for which no distance was wanted.
    fn direction_only(&self) -> Option<Fault> {
        let role = self.plan.text(Quantity::Role, self.rows, self.row)?;
        (role == BACKSIGHT || role == FORESIGHT).then(|| {
            let say = format!("the {role} has no distance: it serves the orientation of its base alone");
            Fault::new(Reason::DirectionOnly, self.plan.header(Quantity::Role), role, say)
        })
    }

    /// A distance above zero and in the instrument's range, its correction included.
    fn distance(&self, quantity: Quantity, kit: &Kit) -> Result<Option<f64>, Fault> {
        let Some((claim, cell)) = self.claimed(quantity) else { return Ok(None) };
        let fault = |reason, say: String| Fault::new(reason, &claim.header, cell, say);
        let number = self.number(claim, cell)?;
        if number == 0.0 || is_no_reading_number(number) {
            return Err(self.no_reading(Reason::NoDistance, &[quantity], "no echo came back"));
        }
        let Unit::Length(unit) = claim.unit else { return Ok(None) };
        let metres = unit.to_metres(number) + kit.distance_correction_m;
        if metres <= 0.0 {
            return Err(fault(
                Reason::DistanceNotPositive,
                format!("{} {cell} is not above zero; a sign never means \"behind\"", claim.header),
            ));
        }
        let (least, greatest) = kit.range_m;
        if least.is_some_and(|least| metres < least) || greatest.is_some_and(|greatest| metres > greatest) {
            let limits = match (least, greatest) {
                (Some(least), Some(greatest)) => format!("{least} to {greatest} m"),
                (Some(least), None) => format!("{least} m and more"),
                (None, Some(greatest)) => format!("up to {greatest} m"),
                (None, None) => String::new(),
            };
            return Err(fault(
                Reason::DistanceRange,
                format!("{} {cell} is {metres:.2} m; the instrument measures {limits}", claim.header),
            ));
        }
        Ok(Some(metres))
    }

    /// The north, the number as it was read, and the azimuth with the instrument's correction.
    fn azimuth(&self, kit: &Kit) -> Result<(NorthKind, f64, f64), Fault> {
        let azimuths = [Quantity::TrueAzimuth, Quantity::GridAzimuth, Quantity::MagneticAzimuth, Quantity::Azimuth];
        for quantity in azimuths {
            let Some((claim, cell)) = self.claimed(quantity) else { continue };
            let north = quantity.north().map_or_else(|| self.north_of_row(), Ok)?;
            let Unit::Angle(unit) = claim.unit else { continue };
            let number = self.number(claim, cell)?;
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
            return Ok((north, number, full_circle_rad(unit.to_radians(number) + kit.azimuth_correction_rad)));
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
        let number = self.number(claim, cell)?;
        if is_no_reading_number(number) {
            return Ok(None);
        }
        if let (Quantity::Zenith, Unit::Angle(unit)) = (quantity, claim.unit)
            && !(0.0..=unit.per_turn()).contains(&number)
        {
            let say = format!("{} {cell} is outside 0 to {} {unit}s", claim.header, unit.per_turn());
            return Err(Fault::new(Reason::InclinationRange, &claim.header, cell, say));
        }
        let mut angle = match claim.unit {
            Unit::Percent => (number / 100.0).atan(),
            Unit::Angle(unit) => unit.to_radians(number),
            _ => return Ok(None),
        };
        if quantity == Quantity::Zenith {
            // The second face of a circle counts on past 180°.
            angle = FRAC_PI_2 - if angle > PI { 2.0 * PI - angle } else { angle };
        }
        // A reading of exactly 90 may round a little above π/2.
        if angle.abs() > FRAC_PI_2 + 1e-12 {
            let quarter = match claim.unit {
                Unit::Angle(unit) => unit,
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
        Ok(Some((angle + kit.inclination_correction_rad).clamp(-FRAC_PI_2, FRAC_PI_2)))
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
        let disagree = |quantity: Quantity, read: f64, follows: f64, from: &str| {
            let ratio = if read > follows { read / follows } else { follows / read };
            let hint = if (ratio - 1.0 / 0.3048).abs() < 0.05 { "; is one of them in feet?" } else { "" };
            let header = self.plan.header(quantity);
            let cell = self.plan.text(quantity, self.rows, self.row).unwrap_or_default();
            Fault::new(
                Reason::DistancesDisagree,
                header,
                cell,
                format!("{header} is {read:.2} m, but {follows:.2} m follow from {from}{hint}"),
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
