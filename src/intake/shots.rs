//! Rows of shot logs: readings in metres and radians, each checked on its own.

use std::collections::BTreeMap;
use std::f64::consts::{FRAC_PI_2, PI};

use jiff::Timestamp;
use jiff::civil::Date;

use super::cell::{When, WhenError, is_no_reading_number};
use super::columns::{Quantity, Unit};
use super::delimited::{Row, Rows};
use super::plan::{Claim, Plan};
use crate::crs::{FIRST_EPOCH, LAST_EPOCH};
use crate::frame::full_circle_rad;
use crate::job::{Calibration, Checks, Heights, Instrument};
use crate::ledger::{Fault, Flag, Flags, Reason};
use crate::north::NorthKind;
use crate::reduce::Triangle;
use crate::units::AngleUnit;

/// Standard errors of a hand-held instrument where the job states none (common practice, no source).
pub const ASSUMED_SIGMA_DISTANCE_M: f64 = 0.3;
/// See [`ASSUMED_SIGMA_DISTANCE_M`].
pub const ASSUMED_SIGMA_AZIMUTH_DEG: f64 = 1.0;
/// See [`ASSUMED_SIGMA_DISTANCE_M`].
pub const ASSUMED_SIGMA_INCLINATION_DEG: f64 = 0.25;

/// The role of a sight that orients its base.
pub const BACKSIGHT: &str = "backsight";
/// The role of a sight to the next base, compared with its counterpart.
pub const FORESIGHT: &str = "foresight";

/// An instrument with every value settled, in radians and metres.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Kit {
    /// Standard error of an azimuth.
    pub sigma_azimuth_rad: f64,
    /// Standard error of an inclination.
    pub sigma_inclination_rad: f64,
    sigma_distance_m: f64,
    sigma_distance_ratio: f64,
    azimuth_correction_rad: f64,
    inclination_correction_rad: f64,
    distance_correction_m: f64,
    /// Standard error of the azimuth correction: shared by all shots of one calibration.
    pub sigma_azimuth_correction_rad: f64,
    /// Standard error of the inclination correction: shared likewise.
    pub sigma_inclination_correction_rad: f64,
    /// Standard error of the distance correction: shared likewise.
    pub sigma_distance_correction_m: f64,
    /// Coefficient of refraction.
    pub refraction: f64,
    range_m: (Option<f64>, Option<f64>),
}

impl Kit {
    /// Standard error of a distance of `distance_m`.
    pub fn sigma_distance_m(&self, distance_m: f64) -> f64 {
        self.sigma_distance_m.hypot(self.sigma_distance_ratio * distance_m)
    }

    /// The kit with the corrections that a calibration gives; those that it leaves out stay.
    fn calibrated(mut self, calibration: &Calibration) -> Kit {
        if let Some(degrees) = calibration.azimuth_correction_deg {
            self.azimuth_correction_rad = degrees.to_radians();
        }
        if let Some(degrees) = calibration.inclination_correction_deg {
            self.inclination_correction_rad = degrees.to_radians();
        }
        if let Some(metres) = calibration.distance_correction_m {
            self.distance_correction_m = metres;
        }
        self.sigma_azimuth_correction_rad = calibration.sigma_azimuth_correction_deg.unwrap_or(0.0).to_radians();
        self.sigma_inclination_correction_rad = calibration.sigma_inclination_correction_deg.unwrap_or(0.0).to_radians();
        self.sigma_distance_correction_m = calibration.sigma_distance_correction_m.unwrap_or(0.0);
        self
    }
}

/// An instrument through time: its own values, and those of its calibrations.
#[derive(Debug, Clone)]
struct Kits {
    own: Kit,
    /// First day, last day and kit of each calibration; the ranges share no day and stand in their order.
    dated: Vec<(Option<Date>, Option<Date>, Kit)>,
}

impl Kits {
    /// The kit of a date. An error where it hangs on a date that is not known.
    fn at(&self, date: Option<Date>) -> Result<Kit, ()> {
        match (self.dated.as_slice(), date) {
            ([], _) => Ok(self.own),
            ([(None, None, kit)], _) => Ok(*kit),
            (_, None) => Err(()),
            (dated, Some(date)) => {
                // The last range that has begun.
                let begun = dated.partition_point(|(from, _, _)| from.is_none_or(|from| from <= date));
                Ok(match begun.checked_sub(1).map(|i| &dated[i]) {
                    Some((_, to, kit)) if to.is_none_or(|to| date <= to) => *kit,
                    _ => self.own,
                })
            }
        }
    }
}

impl From<&Instrument> for Kits {
    fn from(instrument: &Instrument) -> Kits {
        let own = Kit::from(instrument);
        let mut dated: Vec<_> = instrument
            .calibrations
            .iter()
            .map(|calibration| (calibration.from.map(|day| day.0), calibration.to.map(|day| day.0), own.calibrated(calibration)))
            .collect();
        dated.sort_by_key(|(from, _, _)| *from);
        Kits { own, dated }
    }
}

impl From<&Instrument> for Kit {
    fn from(instrument: &Instrument) -> Kit {
        Kit {
            sigma_azimuth_rad: instrument.sigma_azimuth_deg.unwrap_or(ASSUMED_SIGMA_AZIMUTH_DEG).to_radians(),
            sigma_inclination_rad: instrument.sigma_inclination_deg.unwrap_or(ASSUMED_SIGMA_INCLINATION_DEG).to_radians(),
            sigma_distance_m: instrument.sigma_distance_m.unwrap_or(ASSUMED_SIGMA_DISTANCE_M),
            sigma_distance_ratio: instrument.sigma_distance_ppm * 1e-6,
            azimuth_correction_rad: instrument.azimuth_correction_deg.to_radians(),
            inclination_correction_rad: instrument.inclination_correction_deg.to_radians(),
            distance_correction_m: instrument.distance_correction_m,
            sigma_azimuth_correction_rad: 0.0,
            sigma_inclination_correction_rad: 0.0,
            sigma_distance_correction_m: 0.0,
            refraction: instrument.refraction,
            range_m: (instrument.least_distance_m, instrument.greatest_distance_m),
        }
    }
}

/// What the reading of shots needs from the job.
#[derive(Debug, Clone)]
pub struct ShotRules {
    kits: BTreeMap<String, Kits>,
    /// The kits of rows that name none.
    only: Option<Kits>,
    target_height_m: f64,
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
            (None, 0) => Some(Kits::from(&Instrument { refraction: crate::reduce::REFRACTION, ..Instrument::default() })),
            (None, 1) => instruments.values().next().map(Kits::from),
            _ => None,
        };
        ShotRules {
            kits: instruments.iter().map(|(name, instrument)| (name.clone(), Kits::from(instrument))).collect(),
            only,
            target_height_m: heights.target_height_m.unwrap_or(0.0),
            steep_rad: checks.steep_deg.to_radians(),
            agreement_sigmas: checks.agreement_sigmas,
        }
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
    /// Target height.
    pub target_height_m: f64,
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

/// Reads what a row gives a composed measurement.
///
/// # Errors
/// When a value that is there cannot be understood.
pub fn read_part(plan: &Plan, rules: &ShotRules, rows: &Rows, row: &Row) -> Result<Part, Fault> {
    let reader = Reader { plan, rows, row };
    let kits = reader.kits(rules)?;
    let when = reader.when()?;
    let kit = kits.at(when.map(|when| when.date)).map_err(|()| reader.no_date_for_corrections())?;
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
        target_height_m: reader.measured(Quantity::TargetHeight)?.unwrap_or(rules.target_height_m),
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
    let when = reader.when()?;
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
    let when = reader.when()?;
    let kit = kits.at(when.map(|when| when.date)).map_err(|()| reader.no_date_for_corrections())?;
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
        target_height_m: reader.measured(Quantity::TargetHeight)?.unwrap_or(rules.target_height_m),
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
        when: reader.when()?,
    })
}

/// The reading of one row's quantities; shared with base logs.
pub(super) struct Reader<'r, 't> {
    pub plan: &'r Plan,
    pub rows: &'r Rows<'t>,
    pub row: &'r Row<'t>,
}

impl<'r> Reader<'r, '_> {
    /// The claim and the text of a quantity, where there is a reading.
    fn claimed(&self, quantity: Quantity) -> Option<(&'r Claim, &'r str)> {
        Some((self.plan.claim_of(quantity)?, self.plan.text(quantity, self.rows, self.row)?))
    }

    fn number(&self, claim: &Claim, cell: &str) -> Result<f64, Fault> {
        self.plan.format.number(cell).ok_or_else(|| {
            let hint = if self.plan.format.decimal_comma && cell.contains('.') {
                "; the file's decimal sign is a comma"
            } else if !self.plan.format.decimal_comma && cell.contains(',') {
                "; use a point, or set decimal = \",\" in the job"
            } else {
                ""
            };
            Fault::new(Reason::NotANumber, &claim.header, cell, format!("{} \"{cell}\" is not a number{hint}", claim.header))
        })
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
        let header = self.plan.header(Quantity::CoordinateEpoch);
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
        let Unit::Length(unit) = claim.unit else { return Ok(None) };
        Ok(Some((unit.to_metres(number), number)))
    }

    /// The date and time.
    pub fn when(&self) -> Result<Option<When>, Fault> {
        let date = self.claimed(Quantity::Date);
        let time = self.claimed(Quantity::Time);
        self.when_of(date, time)
    }

    /// The instant of a column beside the date column, if there is one.
    pub fn instant_of(&self, quantity: Quantity) -> Result<Timestamp, Fault> {
        let none = || self.no_reading(Reason::NoTime, &[quantity], "the occupation has no such time");
        let claimed = self.claimed(quantity).ok_or_else(none)?;
        let when = self.when_of(self.claimed(Quantity::Date), Some(claimed))?;
        when.and_then(|when| when.instant).map(|(instant, _)| instant).ok_or_else(none)
    }

    fn when_of(&self, date: Option<(&'r Claim, &'r str)>, time: Option<(&'r Claim, &'r str)>) -> Result<Option<When>, Fault> {
        let text = |part: Option<(&'r Claim, &'r str)>| part.map(|(_, cell)| cell);
        self.plan.format.when(text(date), text(time)).map_err(|error| {
            let (claim, cell) = match (date, time) {
                (Some(date), Some(time)) => (time.0, format!("{} {}", date.1, time.1)),
                (Some(one), None) | (None, Some(one)) => (one.0, one.1.to_owned()),
                (None, None) => return Fault::new(Reason::NotATime, "", "", "no time"),
            };
            let (reason, say) = match error {
                WhenError::NotATime => {
                    (Reason::NotATime, "is no date or time in a form that means one thing; write 2026-05-04T08:00:01+02:00")
                }
                WhenError::NoZone => (Reason::TimeWithoutZone, "names no zone; write time_zone in the job"),
                WhenError::Ambiguous => {
                    (Reason::AmbiguousTime, "came twice or not at all when the clocks were changed; write the offset from UTC")
                }
            };
            Fault::new(reason, &claim.header, &cell, format!("{} \"{cell}\" {say}", claim.header))
        })
    }

    /// The fault of a row without a date where the instrument's corrections hang on one.
    fn no_date_for_corrections(&self) -> Fault {
        let column = [Quantity::Date, Quantity::Time].into_iter().find(|quantity| self.plan.claim_of(*quantity).is_some());
        let (header, value) =
            column.map_or(("", ""), |quantity| (self.plan.header(quantity), self.plan.raw(quantity, self.rows, self.row)));
        Fault::new(
            Reason::NoDate,
            header,
            value,
            "the instrument has corrections by date (calibrations), and the row has no date to choose them by; map a date or \
             time column, or write date under [shots.values]",
        )
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

    /// See [`Plan::no_reading`].
    pub fn no_reading(&self, reason: Reason, quantities: &[Quantity], what: &str) -> Fault {
        self.plan.no_reading(self.rows, self.row, reason, quantities, what)
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
    use crate::job::Day;

    #[test]
    fn the_kit_is_that_of_the_date() {
        let date = |text: &str| text.parse::<Date>().unwrap();
        let calibration = |from: Option<&str>, to: Option<&str>, azimuth_correction_deg| Calibration {
            from: from.map(date).map(Day),
            to: to.map(date).map(Day),
            azimuth_correction_deg: Some(azimuth_correction_deg),
            sigma_azimuth_correction_deg: Some(0.2),
            ..Calibration::default()
        };
        let mut instrument = Instrument { azimuth_correction_deg: 9.0, inclination_correction_deg: 0.5, ..Instrument::default() };
        let at = |instrument: &Instrument, day: &str| {
            let kit = Kits::from(instrument).at(Some(date(day))).unwrap();
            (kit.azimuth_correction_rad.to_degrees().round(), kit.sigma_azimuth_correction_rad > 0.0)
        };
        assert_eq!(at(&instrument, "2026-05-04"), (9.0, false));
        assert!(Kits::from(&instrument).at(None).is_ok());
        instrument.calibrations = vec![
            calibration(Some("2026-08-01"), None, 3.0),
            calibration(None, Some("2026-03-31"), 1.0),
            calibration(Some("2026-04-01"), Some("2026-06-30"), 2.0),
        ];
        for (day, correction) in [
            ("1999-01-01", 1.0),
            ("2026-03-31", 1.0),
            ("2026-04-01", 2.0),
            ("2026-06-30", 2.0),
            ("2026-08-01", 3.0),
            ("2099-01-01", 3.0),
        ] {
            assert_eq!(at(&instrument, day), (correction, true), "{day}");
        }
        // In no range: the instrument's own.
        assert_eq!(at(&instrument, "2026-07-01"), (9.0, false));
        assert_eq!(at(&instrument, "2026-07-31"), (9.0, false));
        let kits = Kits::from(&instrument);
        assert!(kits.at(None).is_err());
        // What a calibration leaves out is the instrument's own.
        assert_eq!(kits.at(Some(date("2026-05-01"))).unwrap().inclination_correction_rad, 0.5f64.to_radians());
        // One for every date needs none.
        instrument.calibrations = vec![calibration(None, None, 4.0)];
        assert_eq!(Kits::from(&instrument).at(None).unwrap().azimuth_correction_rad, 4f64.to_radians());
    }

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
