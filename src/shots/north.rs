//! From the north that an azimuth is counted from to true north: the one place where that is settled.
//!
//! true azimuth = magnetic azimuth + declination (of the place and day), or grid azimuth + convergence of the meridians at the base; a
//! base's orientation, by backsights or by a network, is added to either. A reading of a free circle is turned by the orientation
//! alone. Radians, east positive.

use jiff::civil::Date;

use super::locate::Declinations;
use crate::geodesy::north::{ModelDeclination, NorthError, NorthKind, WeakField};
use crate::intake::shot_block::ShotBlock;
use crate::records::ledger::{Fault, Flag, Flags, Reason};
use crate::stations::base::BaseTable;
use crate::stations::orientation::Orientation;

/// The base and date of a declination, and the declination.
pub type Recent = ((usize, Option<Date>), ModelDeclination);

/// What brings azimuths of bases to true north.
pub struct Norths<'j> {
    /// The bases.
    pub table: &'j BaseTable,
    /// Declinations by base and date.
    pub declinations: &'j Declinations,
    /// Whether azimuths are readings of circles whose zeros point anywhere.
    pub free_circles: bool,
    /// Standard error of the orientation shared by a base's shots, beside the declination's.
    pub sigma_orientation_rad: f64,
}

/// From a reading to true north, without any orientation of its base.
#[derive(Debug, Clone, Copy)]
pub struct Unoriented {
    /// What is added to the reading.
    pub turn_rad: f64,
    /// The declination in it; NaN for true and grid azimuths.
    pub declination_rad: f64,
    /// Standard error of that declination, 0 without one.
    pub sigma_declination_rad: f64,
    /// Which entry of the register that error is.
    pub entry: u32,
    weak_field: Option<WeakField>,
}

/// From a reading to true north, all that is known of its base included.
#[derive(Debug, Clone, Copy)]
pub struct Turn {
    /// What is added to the reading.
    pub turn_rad: f64,
    /// The declination in it; NaN for true and grid azimuths.
    pub declination_rad: f64,
    /// The error of that declination: which entry, and its standard error; 0 without one.
    pub declination_error: (u32, f64),
}

/// Why an azimuth cannot be brought to true north.
#[derive(Debug, Clone, PartialEq)]
#[allow(clippy::enum_variant_names, reason = "each says what there is none of")]
pub enum NoNorth {
    /// The azimuth is from grid north, and the base, of this label, has no grid.
    NoGrid(String),
    /// The declination needs a date.
    NoDate,
    /// The model of the field gives none.
    NoDeclination(NorthError),
    /// The azimuth is a circle's reading, and nothing orients the circle of the base of this label.
    NoOrientation(String),
}

impl Norths<'_> {
    /// What brings a reading of a base's shot to true north; the orientation of a free circle is left to
    /// [`Norths::oriented`]. `recent` is the declination of the shot before.
    ///
    /// # Errors
    /// Where the base has no grid, or no declination is to be had.
    pub fn resolve_north(
        &self,
        index: usize,
        kind: NorthKind,
        date: Option<Date>,
        recent: &mut Option<Recent>,
    ) -> Result<Unoriented, NoNorth> {
        let base = &self.table.bases[index];
        let plain = |turn_rad: f64| Unoriented {
            turn_rad,
            declination_rad: f64::NAN,
            sigma_declination_rad: 0.0,
            entry: 0,
            weak_field: None,
        };
        match kind {
            // Whatever north the column names: the reading counts from the circle's own zero.
            _ if self.free_circles => Ok(plain(0.0)),
            NorthKind::True => Ok(plain(0.0)),
            NorthKind::Grid => {
                base.grid.map(|grid| plain(grid.convergence_rad)).ok_or_else(|| NoNorth::NoGrid(base.label.clone()))
            }
            NorthKind::Magnetic => {
                let key = (index, date);
                let declination = match recent {
                    Some((known, declination)) if *known == key => *declination,
                    _ => {
                        let found = self.declinations.resolve(index, base, date).map_err(NoNorth::NoDeclination)?;
                        let declination = found.ok_or(NoNorth::NoDate)?;
                        *recent = Some((key, declination));
                        declination
                    }
                };
                Ok(Unoriented {
                    turn_rad: declination.declination_rad,
                    declination_rad: declination.declination_rad,
                    sigma_declination_rad: declination.sigma_rad,
                    entry: self.declinations.entry(base, date),
                    weak_field: declination.zone,
                })
            }
        }
    }

    /// The same with the orientation of the base, where it has one: a backsight tells all that is wrong with the base's north
    /// together.
    ///
    /// # Errors
    /// Where nothing orients a free circle.
    pub fn oriented(&self, north: &Unoriented, index: usize, orientation: Option<Orientation>) -> Result<Turn, NoNorth> {
        let declination_rad = north.declination_rad;
        let declination_error = (north.entry, north.sigma_declination_rad);
        match orientation {
            Some(Orientation { correction_rad, .. }) if self.free_circles => {
                Ok(Turn { turn_rad: correction_rad, declination_rad, declination_error })
            }
            Some(Orientation { correction_rad, .. }) => {
                Ok(Turn { turn_rad: north.turn_rad + correction_rad, declination_rad, declination_error })
            }
            None if self.free_circles => Err(NoNorth::NoOrientation(self.table.bases[index].label.clone())),
            None => Ok(Turn { turn_rad: north.turn_rad, declination_rad, declination_error }),
        }
    }
}

impl Unoriented {
    /// Raises what is suspicious about the place.
    pub fn flag(&self, flags: &mut Flags) {
        match self.weak_field {
            Some(WeakField::Caution) => flags.raise(Flag::WeakField),
            Some(WeakField::Blackout) => flags.raise(Flag::NoField),
            None => {}
        }
    }
}

impl NoNorth {
    /// The fault of a row of a block.
    pub fn fault(self, block: &ShotBlock, row: usize) -> Fault {
        let (header, value) = block.date_or_time(row);
        match self {
            NoNorth::NoOrientation(label) => {
                let say = format!(
                    "the azimuth is a circle reading (orientation = \"free\"), and nothing orients the circle of base {label}: sight a base \
                     or known point from it (role = backsight), or two features that an oriented base has shot too"
                );
                Fault::new(Reason::NoOrientation, "", "", say)
            }
            NoNorth::NoGrid(label) => {
                let say = format!(
                    "the azimuth is from grid north, but base {label} has no grid: name a projected CRS as grid_crs under [north]"
                );
                Fault::new(Reason::NoConvergence, "", "", say)
            }
            NoNorth::NoDate => {
                let say = "a magnetic azimuth needs the date for its declination; map a date or time column, write date under \
                           [shots.values], or the declination under [north]";
                block.for_want_of_time(row, Fault::new(Reason::NoDate, header, value, say))
            }
            NoNorth::NoDeclination(error @ NorthError::Date { .. }) => {
                Fault::new(Reason::NoDeclination, header, value, error.to_string())
            }
            NoNorth::NoDeclination(error @ NorthError::Place { .. }) => {
                Fault::new(Reason::NoDeclination, "", "", error.to_string())
            }
        }
    }
}
