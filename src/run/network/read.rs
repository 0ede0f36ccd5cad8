//! The shots of a job that may check each other: a pass over the logs of its own.

use std::collections::HashSet;
use std::sync::Arc;

use rayon::prelude::*;

use crate::geodesy::frame::full_circle_rad;
use crate::geodesy::north::NorthKind;
use crate::intake::IntakeError;
use crate::intake::block::cut;
use crate::intake::columns::Quantity;
use crate::intake::delimited::{Row, Rows};
use crate::intake::plan::Plan;
use crate::intake::shot_logs::ShotLogs;
use crate::intake::shots::{self, ShotRules};
use crate::job::catalogue::Catalogue;
use crate::numeric::signs::Signs;
use crate::records::echo::Echo;
use crate::records::kit::Kit;
use crate::records::ledger::{Counts, Fault, Flags, Reason};
use crate::records::names::label;
use crate::records::names::name_print;
use crate::records::roles::{BACKSIGHT, FORESIGHT};
use crate::records::triangle::Triangle;
use crate::records::when::When;
use crate::run::RunError;
use crate::shots::audit::row_print;
use crate::shots::locate::Declinations;
use crate::stations::base::{Base, BaseTable, Named};
use crate::stations::join::Joiner;

/// A base by its index, or by a name that no base log has.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Place {
    /// In the table of bases.
    Base(usize),
    /// Known by its shots alone.
    Unknown(String),
}

/// What a shot is to.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Target {
    /// A base or known point.
    Place(Place),
    /// A feature, by its code and name.
    Feature(Option<String>, String),
}

/// A shot that may take part, in metres and radians.
pub struct NetShot {
    /// Index of the file, and line.
    pub place: (usize, u64),
    /// The row as it stands.
    pub row: String,
    /// Where it was taken.
    pub from: Place,
    /// What it is to.
    pub to: Target,
    /// True azimuth, declination included; the reading of a free circle as it stands.
    pub azimuth_rad: Option<f64>,
    /// The declination in it; NaN for none.
    pub declination_rad: f64,
    /// Standard error of the orientation that it shares with the azimuths of its base alone.
    pub sigma_orientation_rad: f64,
    /// Standard error of the declination in it, which all of the network share.
    pub sigma_declination_rad: f64,
    /// Inclination, up positive.
    pub inclination_rad: Option<f64>,
    /// Slope distance.
    pub slope_m: Option<f64>,
    /// Horizontal distance.
    pub horizontal_m: Option<f64>,
    /// Vertical distance, up positive.
    pub vertical_m: Option<f64>,
    /// Instrument and target heights.
    pub instrument_height_m: f64,
    /// See `instrument_height_m`.
    pub target_height_m: f64,
    /// The instrument.
    pub kit: Kit,
    /// Its name, where the row names one.
    pub instrument: Option<String>,
    /// Role, shot id and echo as the log has them.
    pub role: Option<String>,
    /// See `role`.
    pub shot: Option<String>,
    /// See `role`.
    pub echo: Option<String>,
    /// Date and time.
    pub when: Option<When>,
    /// Suspicions of the row alone.
    pub flags: Flags,
    /// Diameter in metres of what was shot at its near face, with its standard error; the distances lead to its centre.
    pub face_diameter_m: Option<(f64, f64)>,
    /// Texts of all carried columns, and how their numbers are written.
    pub cells: Vec<String>,
    /// See `cells`.
    pub signs: Arc<[Signs]>,
}

/// What the reading needs.
pub struct Reading<'j> {
    pub logs: &'j ShotLogs,
    pub table: &'j BaseTable,
    pub joiner: &'j Joiner<'j>,
    pub rules: &'j ShotRules,
    pub declinations: &'j Declinations,
    /// The catalogue: rows that it holds take no part.
    pub catalogue: Option<&'j Catalogue>,
    /// Of the job: instrument height, and standard error of the orientation beside the declination's.
    pub instrument_height_m: Option<f64>,
    /// See `instrument_height_m`.
    pub sigma_orientation_rad: f64,
    /// Whether azimuths are readings of circles whose zeros point anywhere.
    pub free_circles: bool,
}

/// All shots that may take part, in the order of the logs.
///
/// # Errors
/// When a header stands in a file again with its columns in another order.
pub fn shots(reading: &Reading) -> Result<Vec<NetShot>, RunError> {
    let found = reading.logs.chunks().into_par_iter().map(|chunk| {
        let log = &reading.logs.files[chunk.file];
        let (rows, faults) = cut(&chunk, &log.plan, &log.text.path, &mut Counts::default())?;
        let read = rows.rows().iter().zip(faults).filter(|(_, fault)| fault.is_none());
        Ok(read.filter_map(|(row, _)| reading.shot(chunk.file, &log.plan, &rows, row)).collect::<Vec<_>>())
    });
    let found = found.collect::<Result<Vec<_>, IntakeError>>()?;
    // One row twice is one shot where an id or a time tells that it is one row; the audit holds the second.
    let mut seen = HashSet::new();
    let is_first = |shot: &NetShot| {
        let tells = shot.shot.is_some() || shot.when.is_some_and(|when| when.instant.is_some());
        !tells || seen.insert(row_print(shot.row.trim()))
    };
    Ok(found.into_iter().flatten().filter(is_first).collect())
}

/// The readings of a row, whatever of them is there.
struct Sides {
    azimuth: Option<(NorthKind, f64)>,
    inclination_rad: Option<f64>,
    slope_m: Option<f64>,
    horizontal_m: Option<f64>,
    vertical_m: Option<f64>,
    instrument_height_m: Option<f64>,
    target_height_m: Option<f64>,
    when: Option<When>,
    kit: Kit,
    flags: Flags,
    face_diameter_m: Option<(f64, f64)>,
}

impl Sides {
    /// With the distance to the centre of what was shot at its near face: half the diameter on, at the same height.
    fn at_centre(mut self) -> Sides {
        let Some((diameter_m, _)) = self.face_diameter_m else { return self };
        let half_m = diameter_m / 2.0;
        self.horizontal_m = self.horizontal_m.map(|horizontal_m| horizontal_m + half_m);
        if let Some(slope_m) = self.slope_m {
            let rise_m = self.vertical_m.or(self.inclination_rad.map(|inclination| slope_m * inclination.sin())).unwrap_or(0.0);
            let run_m = (slope_m * slope_m - rise_m * rise_m).max(0.0).sqrt() + half_m;
            self.slope_m = Some(run_m.hypot(rise_m));
            self.inclination_rad = self.inclination_rad.map(|_| rise_m.atan2(run_m));
        } else if let (Some(inclination), Some(run_m)) = (self.inclination_rad, self.horizontal_m) {
            self.inclination_rad = Some(((run_m - half_m) * inclination.tan()).atan2(run_m));
        }
        self
    }
}

impl Reading<'_> {
    fn shot(&self, file: usize, plan: &Plan, rows: &Rows, row: &Row) -> Option<NetShot> {
        let text = |quantity| plan.text(quantity, rows, row);
        if text(Quantity::Measure).is_some() || text(Quantity::String).is_some() || plan.echo(rows, row) == Some(Echo::Tracking) {
            return None;
        }
        let mut joined = String::new();
        let name = plan.name(Quantity::Feature, rows, row, &mut joined)?.to_owned();
        let role = text(Quantity::Role);
        let code = text(Quantity::Code);
        let to = if role.is_some_and(|role| role == BACKSIGHT || role == FORESIGHT) {
            Target::Place(self.named(&name)?)
        } else if self.logs.repeated.contains(&name_print(code, &label(&name))) {
            Target::Feature(code.map(str::to_owned), label(&name))
        } else {
            return None;
        };
        let holds = |catalogue: &Catalogue| catalogue.holds_unknown && code.and_then(|code| catalogue.find(code)).is_none();
        if matches!(to, Target::Feature(..)) && self.catalogue.is_some_and(holds) {
            return None;
        }
        let sides = self.sides(plan, rows, row)?;
        let from = match self.joiner.base_of(plan, rows, row, sides.when) {
            Ok(index) => Place::Base(index),
            Err(fault) => self.unknown(&fault, plan, rows, row)?,
        };
        if to == Target::Place(from.clone()) {
            return None;
        }
        // Declinations change little over the reach of a network: of a base without a position the first base's is taken.
        let (index, base) = match &from {
            Place::Base(index) => (*index, &self.table.bases[*index]),
            Place::Unknown(_) => (0, self.table.bases.first()?),
        };
        let own_height = |base: &Base| if matches!(from, Place::Base(_)) { base.row.instrument_height_m } else { None };
        let instrument_height_m = sides.instrument_height_m.or(own_height(base)).or(self.instrument_height_m);
        let has_vertical = sides.inclination_rad.is_some() || sides.vertical_m.is_some();
        let turn = sides.azimuth.map(|(north, azimuth)| Some((azimuth, self.turn(index, base, north, sides.when)?)));
        let turn = match turn {
            Some(None) => return None,
            turn => turn.flatten(),
        };
        Some(NetShot {
            place: (file, row.line.number),
            row: row.line.text.to_owned(),
            from,
            to,
            azimuth_rad: turn.map(|(azimuth, (turn, _, _))| full_circle_rad(azimuth + turn)),
            declination_rad: turn.map_or(f64::NAN, |(_, (_, declination, _))| declination),
            sigma_orientation_rad: turn.map_or(0.0, |_| self.sigma_orientation_rad),
            sigma_declination_rad: turn.map_or(0.0, |(_, (_, _, sigma))| sigma),
            inclination_rad: sides.inclination_rad,
            slope_m: sides.slope_m,
            horizontal_m: sides.horizontal_m,
            vertical_m: sides.vertical_m,
            // Without one the row is left to the main way, which says what is missing.
            instrument_height_m: instrument_height_m.or((!has_vertical).then_some(0.0))?,
            target_height_m: sides.target_height_m.or((!has_vertical).then_some(0.0))?,
            kit: sides.kit,
            instrument: text(Quantity::Instrument).map(str::to_owned),
            role: role.map(str::to_owned),
            shot: plan.name(Quantity::Shot, rows, row, &mut String::new()).map(label),
            echo: text(Quantity::Return).map(str::to_owned),
            when: sides.when,
            flags: sides.flags,
            face_diameter_m: sides.face_diameter_m,
            cells: self.cells(file, plan, rows, row),
            signs: self.logs.carried_signs[file].clone(),
        })
    }

    fn sides(&self, plan: &Plan, rows: &Rows, row: &Row) -> Option<Sides> {
        match shots::read(plan, self.rules, rows, row) {
            Ok(shot) => {
                let (slope_m, horizontal_m, vertical_m) = match shot.triangle {
                    Triangle::Slope { slope_m, .. } => (Some(slope_m), None, None),
                    Triangle::Horizontal { horizontal_m, .. } | Triangle::Level { horizontal_m } => {
                        (None, Some(horizontal_m), None)
                    }
                    Triangle::HorizontalVertical { horizontal_m, vertical_m } => (None, Some(horizontal_m), Some(vertical_m)),
                    Triangle::SlopeVertical { slope_m, vertical_m } => (Some(slope_m), None, Some(vertical_m)),
                };
                let inclination_rad = vertical_m.is_none().then(|| shot.triangle.inclination_rad()).flatten();
                Some(
                    Sides {
                        azimuth: Some((shot.north, shot.azimuth_rad)),
                        inclination_rad,
                        slope_m,
                        horizontal_m,
                        vertical_m,
                        instrument_height_m: shot.instrument_height_m,
                        target_height_m: shot.target_height_m,
                        when: shot.when,
                        kit: shot.kit,
                        flags: shot.flags,
                        face_diameter_m: shot.face_diameter_m,
                    }
                    .at_centre(),
                )
            }
            Err(fault) => {
                let partial = matches!(
                    fault.reason,
                    Reason::NoDistance | Reason::NoAzimuth | Reason::NoInclination | Reason::DirectionOnly
                );
                let part = partial.then(|| shots::read_part(plan, self.rules, rows, row).ok()).flatten()?;
                Some(Sides {
                    azimuth: part.azimuth,
                    inclination_rad: part.inclination_rad,
                    slope_m: part.slope_m,
                    horizontal_m: part.horizontal_m,
                    vertical_m: None,
                    instrument_height_m: part.instrument_height_m,
                    target_height_m: Some(part.target_height_m),
                    when: part.when,
                    kit: part.kit,
                    flags: Flags::default(),
                    face_diameter_m: None,
                })
            }
        }
    }

    /// A base or known point by name; none where the name stands for what cannot be used.
    fn named(&self, name: &str) -> Option<Place> {
        match self.table.by_name.get(name) {
            Some(Named::Base(index)) => Some(Place::Base(*index)),
            Some(_) => None,
            None => Some(Place::Unknown(name.to_owned())),
        }
    }

    /// The base of a row whose base is in no log.
    fn unknown(&self, fault: &Fault, plan: &Plan, rows: &Rows, row: &Row) -> Option<Place> {
        if fault.reason != Reason::UnknownBase {
            return None;
        }
        let mut joined = String::new();
        let name = plan.name(Quantity::Base, rows, row, &mut joined)?;
        (!self.table.by_name.contains_key(name)).then(|| Place::Unknown(name.to_owned()))
    }

    /// What brings an azimuth to true north, the declination in it, and its standard error.
    fn turn(&self, index: usize, base: &Base, north: NorthKind, when: Option<When>) -> Option<(f64, f64, f64)> {
        match north {
            _ if self.free_circles => Some((0.0, f64::NAN, 0.0)),
            NorthKind::True => Some((0.0, f64::NAN, 0.0)),
            NorthKind::Grid => base.grid.map(|grid| (grid.convergence_rad, f64::NAN, 0.0)),
            NorthKind::Magnetic => {
                let declination = self.declinations.of(index, base, when.map(|when| when.date)).ok().flatten()?;
                Some((declination.declination_rad, declination.declination_rad, declination.sigma_rad))
            }
        }
    }

    fn cells(&self, file: usize, plan: &Plan, rows: &Rows, row: &Row) -> Vec<String> {
        let of = |carried: &crate::intake::carried::Carried| {
            let extra = carried.index_by_file[file].map(|index| plan.extras[index].0);
            extra.map_or(String::new(), |column| rows.cell(row, column).to_owned())
        };
        self.logs.carried.iter().map(of).collect()
    }
}
