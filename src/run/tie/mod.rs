//! `[local.fit]`: a local frame moved to a CRS by points that are known in both.
//!
//! The logs are read twice. The first time the frame is computed as it is, as far as its known points want it, and the fit
//! (`geodesy::similarity`) finds the turn, the shift and the shift in height. The second time the bases lie where the fit puts them and
//! their azimuths are turned, and everything goes its usual way. The parameters err by known sums of the errors of the points, so that
//! bases and azimuths get arms on the same entries of the register: what a base and the fit err by together (a shot to the
//! known point, the base's own place in the frame) cancels or adds as it should.

pub mod error;
mod errors;
mod points;
pub mod tied;

use std::collections::BTreeMap;
use std::sync::Arc;

use error::FitError;
use tied::{Tie, TiedBase};

use super::adjust::Oriented;
use super::prepare::{self, Prepared};
use super::{RunError, datums, geoids, local};
use crate::geodesy::LOCAL_RADIUS_M;
use crate::geodesy::crs::Crs;
use crate::geodesy::frame::{Ellipsoid, Geodetic, LocalFrame, full_circle_rad};
use crate::geodesy::register::{Arm, Cause, ErrorId, add_arm};
use crate::geodesy::similarity::Fitted;
use crate::intake::base_logs::BaseLogs;
use crate::job::{Format, Job, LocalFit};
use crate::records::base_row::{Coordinates, Height};
use crate::stations::base::{Base, BaseSettings, BaseTable, HeightKind, Tied};
use crate::stations::errors as of_bases;

/// What moves the frame.
struct MovedFrame<'k> {
    fitted: Fitted,
    /// East, north, up at the middle of the frame's points, in the frame.
    middle: LocalFrame,
    /// The same at the middle of the known points.
    known_middle: LocalFrame,
    ellipsoid: &'k Ellipsoid,
    /// What is added to heights, and whether they are above the ellipsoid or the geoid.
    height: Option<(f64, HeightKind)>,
    /// By parameter (east, north, turn, height): entries of the register, by one standard error of each.
    by_entry: BTreeMap<ErrorId, [f64; 4]>,
    /// Entries of the fit by names that mean the same in other runs.
    names: Arc<BTreeMap<ErrorId, String>>,
}

/// The job as it is computed with its frame on the Earth, and what ties it.
///
/// # Errors
/// When the logs cannot be used, fewer than two known points are in the frame, or they disagree beyond what their errors explain.
pub fn settled(job: &Job, fit: &LocalFit) -> Result<(Job, Tie), RunError> {
    let in_frame = Job { local: None, formats: vec![Format::Csv], ..job.clone() };
    let in_frame = local::settled(&in_frame)?.into_owned();
    let output = Crs::new(&fit.crs).map_err(RunError::crs("local.fit.crs"))?;
    let mut on_earth = Job { crs: fit.crs.clone(), north: in_frame.north.clone(), ..job.clone() };
    on_earth.bases.crs = Some(fit.crs.clone());
    if let Some(known) = &mut on_earth.known {
        known.crs = Some(fit.crs.clone());
    }
    let known = known_points(&on_earth, fit, &output)?;
    let (prepared, mut table) = prepare::prepare(&in_frame, None)?;
    table.number_neighbours();
    let oriented = Oriented::by_sights(&prepared, &table);
    let by_name: BTreeMap<String, usize> =
        known.bases.iter().enumerate().map(|(index, base)| (base.label.clone(), index)).collect();
    let points = points::find_common(&prepared, &table, &oriented, &by_name);
    let (moved, mut summary) = errors::fit(&points, &known, &job.units)?;
    summary.crs = output.label();
    let datum = known.datums[known.bases[points[0].known].datum].crs.definition().to_owned();
    let bases = table.bases.iter().enumerate().map(|(index, base)| {
        ((base.row.file, base.row.line), moved.base(base, &of_bases::position(&table, index), index, &prepared))
    });
    Ok((on_earth, Tie { summary, bases: bases.collect(), datum }))
}

/// The known points on their datum.
fn known_points(job: &Job, fit: &LocalFit, output: &Crs) -> Result<BaseTable, RunError> {
    let logs = BaseLogs::read(&fit.known, None, None)?;
    let geoid = geoids::open(job, &logs.rows)?;
    let geoid_frames = geoids::frames(job, output).map_err(RunError::crs("heights"))?;
    let settings = BaseSettings {
        bases: &fit.known,
        known: None,
        checks: &job.checks,
        output,
        grid: None,
        rules: datums::rules(job, None),
        geoid: &geoid,
        geoid_frames: &geoid_frames,
        allow_outside_area: job.allow_outside_area,
        units: job.units,
    };
    let table = BaseTable::settle(logs.rows, logs.held, &settings).map_err(RunError::crs("local.fit.known.crs"))?;
    if let Some(held) = table.held.first() {
        let name = held.name.as_deref().unwrap_or("without a name");
        return Err(FitError::PointHeld { name: name.to_owned(), sentence: held.fault.sentence.clone() }.into());
    }
    Ok(table)
}

impl MovedFrame<'_> {
    /// Where a place of the frame comes to lie, on the datum; its height is the frame's, less what the levels curve.
    fn place(&self, at: [f64; 3]) -> Geodetic {
        let [e, n, up] = self.middle.from_earth_centred(at);
        let [e, n] = self.fitted.at([e, n]);
        Geodetic::from_earth_centred(self.known_middle.to_earth_centred([e, n, up]), self.ellipsoid)
    }

    /// What azimuths at a base are turned by: the frame's north there, seen from true north.
    fn turn_rad(&self, base: &Base, placed: &LocalFrame) -> f64 {
        let north =
            |frame: &LocalFrame, by: &[f64; 3]| frame.axes().map(|axis| axis[0] * by[0] + axis[1] * by[1] + axis[2] * by[2]);
        let [e, n, up] = north(&self.middle, &base.frame.axes()[1]);
        let (sin, cos) = self.fitted.turn_rad.sin_cos();
        let (e, n) = (e * cos + n * sin, n * cos - e * sin);
        let axes = self.known_middle.axes();
        let on_earth: [f64; 3] = std::array::from_fn(|i| axes[0][i] * e + axes[1][i] * n + axes[2][i] * up);
        let [e, n, _] = north(placed, &on_earth);
        full_circle_rad(e.atan2(n))
    }

    /// A base of the frame on the Earth, with what it errs by.
    fn base(&self, base: &Base, position: &[Arm], index: usize, prepared: &Prepared) -> TiedBase {
        let ellipsoid = Ellipsoid { semi_major_m: LOCAL_RADIUS_M, flattening: 0.0 };
        let at = base.at.to_earth_centred(&ellipsoid);
        let placed = self.place(at);
        let frame = LocalFrame::at(&placed, self.ellipsoid);
        let correction_rad = self.turn_rad(base, &frame);
        let (sin, cos) = correction_rad.sin_cos();
        let mut arms: Vec<Arm> = Vec::new();
        for (id, [e, n, up]) in position {
            add_arm(&mut arms, *id, [e * cos + n * sin, n * cos - e * sin, *up]);
        }
        let [e, n, _] = self.middle.from_earth_centred(at);
        let by = self.fitted.by_parameters([e, n]);
        for (id, [shift_e, shift_n, turn, height]) in &self.by_entry {
            let of = |row: [f64; 3]| row[0] * shift_e + row[1] * shift_n + row[2] * turn;
            add_arm(&mut arms, *id, [of(by[0]), of(by[1]), *height]);
        }
        let mut turning: Vec<(ErrorId, f64)> =
            self.by_entry.iter().map(|(id, [_, _, turn, _])| (*id, *turn)).filter(|(_, turn)| *turn != 0.0).collect();
        let setup_rad = prepared.job.north.sigma_orientation_deg.to_radians();
        if setup_rad > 0.0 {
            let id = ErrorId::new(Cause::Setup, index, 0);
            match turning.iter_mut().find(|(known, _)| *known == id) {
                Some((_, radians)) => *radians += setup_rad,
                None => turning.push((id, setup_rad)),
            }
        }
        let height = self.height.filter(|_| base.heights.kind != HeightKind::None).map(|(shift, kind)| {
            let metres = base.at.ellipsoid_height_m + shift;
            if kind == HeightKind::Orthometric { Height::Orthometric(metres) } else { Height::Ellipsoid(metres) }
        });
        TiedBase {
            coordinates: Coordinates::Geographic { lat_deg: placed.lat_rad.to_degrees(), lon_deg: placed.lon_rad.to_degrees() },
            height,
            tied: Tied { arms, correction_rad, turning, names: Arc::clone(&self.names) },
        }
    }
}
