//! One row to a sighting: its code, north, heights and reduction.

use jiff::civil::Date;

use super::block::Parsed;
use super::coded::{Class, Words};
use super::compute::Stage;
use crate::geodesy::frame::{Geodetic, full_circle_rad};
use crate::geodesy::north::{Declination, NorthError, NorthKind, WeakField};
use crate::intake::columns::Quantity;
use crate::intake::delimited::Row;
use crate::intake::shots;
use crate::intake::shots::Shot;
use crate::measure::width;
use crate::records::kit::Kit;
use crate::records::ledger::{Fault, Flag, Flags, Reason};
use crate::records::triangle::Triangle;
use crate::records::when::When;
use crate::shots::audit::Audited;
use crate::shots::locate::end_point;
use crate::shots::reduce::{Sight, SightSigmas, Vector, reduce};
use crate::stations::base::{Base, HeightKind};
use crate::stations::orientation::Orientation;

/// The base and date of a declination, and the declination.
pub(super) type Recent = ((usize, Option<Date>), Declination);

/// From a reading to true north.
pub(super) struct North {
    /// What is added to the reading, in radians.
    pub(super) turn_rad: f64,
    /// The declination in it; NaN for true and grid azimuths.
    pub(super) declination_rad: f64,
    /// Standard error that all shots of the base share.
    pub(super) sigma_rad: f64,
}

/// A shot on its way through the stages.
pub(super) struct Sighted<'r, 't> {
    pub(super) row: &'r Row<'t>,
    pub(super) read: Audited,
    pub(super) declination_rad: f64,
    pub(super) true_azimuth_rad: f64,
    pub(super) sigma_orientation_rad: f64,
    pub(super) vector: Vector,
    pub(super) end: Geodetic,
    pub(super) has_height: bool,
    /// Instrument height less target height, in metres.
    pub(super) rise_m: f64,
    pub(super) class: Class<'r>,
}

impl Stage<'_> {
    /// North and reduction of one shot. `recent` is as for [`Stage::north`].
    pub(super) fn sight<'r, 't>(
        &'r self,
        parsed: &Parsed,
        row: &'r Row<'t>,
        mut read: Audited,
        recent: &mut Option<Recent>,
    ) -> Result<Sighted<'r, 't>, Fault> {
        let class = self.class(parsed, row)?;
        let base = &self.table.bases[read.base];
        let shot = &mut read.shot;
        let north = self.north(parsed, row, read.base, shot.north, shot.when, &shot.kit, &mut shot.flags, recent)?;
        let North { turn_rad, declination_rad, sigma_rad: sigma_orientation_rad } = north;
        let true_azimuth_rad = full_circle_rad(shot.azimuth_rad + turn_rad);
        let length_m = match shot.triangle {
            Triangle::Slope { slope_m, .. } | Triangle::SlopeVertical { slope_m, .. } => slope_m,
            Triangle::Horizontal { horizontal_m, .. }
            | Triangle::HorizontalVertical { horizontal_m, .. }
            | Triangle::Level { horizontal_m } => horizontal_m,
        };
        let sight = Sight {
            true_azimuth_rad,
            triangle: shot.triangle,
            instrument_height_m: self.instrument_height_m(shot, base)?,
            target_height_m: self.target_height_m(shot, base)?,
            refraction: shot.kit.refraction,
        };
        let sigmas = SightSigmas {
            azimuth_rad: shot.kit.sigma_azimuth_rad,
            orientation_rad: sigma_orientation_rad,
            inclination_rad: shot.kit.sigma_inclination_rad.hypot(shot.kit.sigma_inclination_correction_rad),
            distance_m: shot.kit.sigma_distance_m(length_m).hypot(shot.kit.sigma_distance_correction_m),
        };
        let vector = reduce(&sight, &sigmas, base.earth_radius_m);
        let vector = match shot.face_diameter_m {
            Some((diameter_m, sigma_m)) => width::to_centre(&vector, diameter_m / 2.0, sigma_m / 2.0),
            None => vector,
        };
        let (end, has_height) = end_point(base, self.table, &vector);
        let rise_m = sight.instrument_height_m - sight.target_height_m;
        Ok(Sighted {
            row,
            read,
            declination_rad,
            true_azimuth_rad,
            sigma_orientation_rad,
            vector,
            end,
            has_height,
            rise_m,
            class,
        })
    }

    /// What the catalogue says of a row.
    pub(super) fn class(&self, parsed: &Parsed, row: &Row) -> Result<Class<'_>, Fault> {
        let Some(coded) = self.coded else { return Ok(Class::default()) };
        let plan = &self.logs.files[parsed.file].plan;
        let text = |quantity| plan.text(quantity, &parsed.rows, row);
        let words = Words {
            code: text(Quantity::Code),
            measure: text(Quantity::Measure),
            role: text(Quantity::Role),
            string: text(Quantity::String),
        };
        coded.class(&words, plan.header(Quantity::Code))
    }

    /// What brings a reading of a base's shot to true north. `recent` is the declination of the shot before.
    #[allow(clippy::too_many_arguments)]
    pub(super) fn north(
        &self,
        parsed: &Parsed,
        row: &Row,
        index: usize,
        north: NorthKind,
        when: Option<When>,
        kit: &Kit,
        flags: &mut Flags,
        recent: &mut Option<Recent>,
    ) -> Result<North, Fault> {
        let base = &self.table.bases[index];
        if self.free_circles {
            // Whatever north the column names: the reading counts from the circle's own zero.
            let Orientation { correction_rad, sigma_rad, .. } = self.orientations[index].ok_or_else(|| no_orientation(base))?;
            return Ok(North { turn_rad: correction_rad, declination_rad: f64::NAN, sigma_rad });
        }
        // The error of a correction is shared by the shots of its calibration, and so by those of a base.
        let shared_rad = self.sigma_orientation_rad.hypot(kit.sigma_azimuth_correction_rad);
        let (turn_rad, declination_rad, sigma_orientation_rad) = match north {
            NorthKind::True => (0.0, f64::NAN, shared_rad),
            NorthKind::Grid => {
                let grid = base.grid.ok_or_else(|| {
                    Fault::new(
                        Reason::NoConvergence,
                        "",
                        "",
                        format!("the azimuth is from grid north, but base {} has no grid: name a projected CRS as grid_crs under [north]", base.label),
                    )
                })?;
                (grid.convergence_rad, f64::NAN, shared_rad)
            }
            NorthKind::Magnetic => {
                let key = (index, when.map(|when| when.date));
                let declination = match recent {
                    Some((known, declination)) if *known == key => *declination,
                    _ => {
                        let declination = self.declination(parsed, row, index, base, key.1)?;
                        *recent = Some((key, declination));
                        declination
                    }
                };
                match declination.zone {
                    Some(WeakField::Caution) => flags.raise(Flag::WeakField),
                    Some(WeakField::Blackout) => flags.raise(Flag::NoField),
                    None => {}
                }
                (declination.declination_rad, declination.declination_rad, declination.sigma_rad.hypot(shared_rad))
            }
        };
        // A backsight tells all that is wrong with the base's north together.
        let (turn_rad, sigma_orientation_rad) = match self.orientations[index] {
            Some(orientation) => (turn_rad + orientation.correction_rad, orientation.sigma_rad),
            None => (turn_rad, sigma_orientation_rad),
        };
        Ok(North { turn_rad, declination_rad, sigma_rad: sigma_orientation_rad })
    }

    /// The instrument height of a shot; where nothing vertical comes of it, none is needed.
    pub(super) fn instrument_height_m(&self, shot: &Shot, base: &Base) -> Result<f64, Fault> {
        let known = shot.instrument_height_m.or(base.row.instrument_height_m).or(self.instrument_height_m);
        known.or(is_flat(shot, base).then_some(0.0)).ok_or_else(|| {
            let say = "the instrument height is not known; write it in the row, or instrument_height_m under [heights] (0 where the \
                       base's height is that of the instrument's axis)";
            Fault::new(Reason::NoInstrumentHeight, "", "", say)
        })
    }

    /// The target height of a shot, likewise.
    pub(super) fn target_height_m(&self, shot: &Shot, base: &Base) -> Result<f64, Fault> {
        shot.target_height_m.or(is_flat(shot, base).then_some(0.0)).ok_or_else(|| {
            let say = "the target height is not known; write it in the row, or target_height_m under [heights] (0 where heights are to be \
                       those of the sighted spot)";
            Fault::new(Reason::NoTargetHeight, "", "", say)
        })
    }

    pub(super) fn declination(
        &self,
        parsed: &Parsed,
        row: &Row,
        index: usize,
        base: &Base,
        date: Option<Date>,
    ) -> Result<Declination, Fault> {
        let plan = &self.logs.files[parsed.file].plan;
        let column = [Quantity::Date, Quantity::Time].into_iter().find(|quantity| plan.claim_of(*quantity).is_some());
        let (header, value) = column.map_or(("", ""), |quantity| {
            (plan.header(quantity), plan.text(quantity, &parsed.rows, row).unwrap_or(plan.raw(quantity, &parsed.rows, row)))
        });
        match self.declinations.of(index, base, date) {
            Ok(Some(declination)) => Ok(declination),
            Ok(None) => {
                let fault = Fault::new(
                    Reason::NoDate,
                    header,
                    value,
                    "a magnetic azimuth needs the date for its declination; map a date or time column, write date under \
                     [shots.values], or the declination under [north]",
                );
                Err(shots::for_want_of_time(plan, &parsed.rows, row, fault))
            }
            Err(error @ NorthError::Date { .. }) => Err(Fault::new(Reason::NoDeclination, header, value, error.to_string())),
            Err(error @ NorthError::Place { .. }) => Err(Fault::new(Reason::NoDeclination, "", "", error.to_string())),
        }
    }
}

/// The fault of an azimuth that is a circle's reading, where nothing tells where the circle's zero points.
fn no_orientation(base: &Base) -> Fault {
    let say = format!(
        "the azimuth is a circle reading (orientation = \"free\"), and nothing orients the circle of base {}: sight a base or known \
         point from it (role = backsight), or two features that an oriented base has shot too",
        base.label
    );
    Fault::new(Reason::NoOrientation, "", "", say)
}

/// Whether nothing vertical comes of a shot.
pub(super) fn is_flat(shot: &Shot, base: &Base) -> bool {
    matches!(shot.triangle, Triangle::Level { .. }) || base.heights.kind == HeightKind::None
}
