//! The geoids of a job: the grid that it names, the separations of the logs, the model inside the program; and the frames from whose
//! ellipsoids they are counted.

use std::collections::BTreeSet;
use std::sync::Arc;

use super::RunError;
use crate::geodesy::crs::{Crs, CrsError};
use crate::geodesy::geoid::{GeoidGrid, Geoids, GlobalGeoid, LOG_SIGMA_M, SIGMA_M, UndulationSource};
use crate::geodesy::height_frame::{GeoidFrames, HeightFrame};
use crate::job::{self, Job};
use crate::numeric::words::of_all;
use crate::output::report::used::GeoidSummary;
use crate::records::base_row::{BaseRow, Coordinates};
use crate::stations::base::{Base, BaseTable, HeightKind};

/// Standard error of a grid's undulations where the job states none, in metres: regional geoids are
/// commonly good to a few centimetres, older ones to a decimetre (common practice, no source).
const ASSUMED_SIGMA_GRID_M: f64 = 0.1;
/// What is read around the bases, in degrees: more than any sight reaches.
const MARGIN_DEG: f64 = 0.5;

/// The geoids in the order in which they are asked.
///
/// # Errors
/// When the grid file cannot be used.
pub fn open(job: &Job, rows: &[BaseRow]) -> Result<Geoids, RunError> {
    let heights = &job.heights;
    let mut geoid = Geoids::new();
    if let Some(path) = &heights.geoid_grid {
        let sigma_m = Some(heights.sigma_geoid_grid_m.unwrap_or(ASSUMED_SIGMA_GRID_M));
        let grid = match area_deg(rows) {
            Some(area) => GeoidGrid::open_for(path, sigma_m, area),
            None => GeoidGrid::open(path, sigma_m),
        };
        geoid = geoid.with_grid(grid?);
    }
    if heights.geoid == job::Geoid::Global {
        geoid = geoid.with_log(Some(heights.sigma_separation_m.unwrap_or(LOG_SIGMA_M))).with_global(GlobalGeoid::default());
    }
    Ok(geoid)
}

/// Computes the global model around all bases side by side, where nothing else says how high the geoid is there.
pub fn look_ahead(geoid: &Geoids, rows: &[BaseRow]) {
    if geoid.grid().is_some() {
        return;
    }
    let place = |row: &BaseRow| match row.coordinates {
        Coordinates::Geographic { lat_deg, lon_deg } if row.separation_m.is_none() => Some((lat_deg, lon_deg)),
        _ => None,
    };
    geoid.look_ahead(rows.iter().filter_map(place));
}

/// The frames that the geoids belong to, as the job says; for a grid that it says nothing of, the one of the model that PROJ's
/// database ties the vertical part of the layers' CRS to.
///
/// # Errors
/// When a CRS that the job names cannot be used.
pub fn frames(job: &Job, output: &Crs) -> Result<GeoidFrames, CrsError> {
    let named = |definition: &Option<String>| {
        definition.as_deref().map(|definition| HeightFrame::from_crs(&Crs::new(definition)?).map(Arc::new)).transpose()
    };
    let heights = &job.heights;
    let grid = match (named(&heights.geoid_grid_crs)?, output.vertical()) {
        (Some(frame), _) => Some(frame),
        (None, Some(_)) if heights.geoid_grid.is_some() => {
            let frame = match output.frame_of_vertical()? {
                Some(frame) => frame,
                None => output.geographic_3d()?,
            };
            Some(Arc::new(HeightFrame::from_crs(&frame)?))
        }
        (None, _) => None,
    };
    Ok(GeoidFrames { grid, separations: named(&heights.separation_crs)? })
}

/// West, south, east, north around the bases; none where any is given in a projection, or across the antimeridian.
fn area_deg(rows: &[BaseRow]) -> Option<[f64; 4]> {
    let mut area: Option<[f64; 4]> = None;
    for row in rows {
        let Coordinates::Geographic { lat_deg, lon_deg } = row.coordinates else { return None };
        let [w, s, e, n] = area.unwrap_or([lon_deg, lat_deg, lon_deg, lat_deg]);
        area = Some([w.min(lon_deg), s.min(lat_deg), e.max(lon_deg), n.max(lat_deg)]);
    }
    let [w, s, e, n] = area?;
    (e - w < 180.0).then_some([w - MARGIN_DEG, (s - MARGIN_DEG).max(-90.0), e + MARGIN_DEG, (n + MARGIN_DEG).min(90.0)])
}

/// A note on bases with heights that lie outside the job's grid, whose geoid is another.
///
/// # Errors
/// When the grid serves none of them.
pub fn outside_grid(job: &Job, table: &BaseTable) -> Result<Option<String>, RunError> {
    let Some(path) = &job.heights.geoid_grid else { return Ok(None) };
    let with_heights = table.bases.iter().filter(|base| base.heights.kind != HeightKind::None);
    let is_outside = |base: &Base| base.heights.undulation.is_none_or(|undulation| undulation.source != UndulationSource::Grid);
    let (outside, inside): (Vec<&Base>, Vec<&Base>) = with_heights.partition(|base| is_outside(base));
    let Some(first) = outside.first() else { return Ok(None) };
    if inside.is_empty() {
        return Err(RunError::GridElsewhere {
            path: path.clone(),
            base: first.label.clone(),
            lat_deg: first.at.lat_rad.to_degrees(),
            lon_deg: first.at.lon_rad.to_degrees(),
        });
    }
    let sources: BTreeSet<&str> = outside
        .iter()
        .map(|base| match base.heights.undulation.map(|undulation| undulation.source) {
            None => "no geoid",
            Some(UndulationSource::Log) => "the log's separation",
            Some(_) => "the built-in global geoid",
        })
        .collect();
    let sources: Vec<&str> = sources.into_iter().collect();
    Ok(Some(format!(
        "WARNING: {} outside the geoid grid {}, the first {}; {} {} in its place.",
        of_all(
            outside.len() as u64,
            (outside.len() + inside.len()) as u64,
            ["base with a height", "bases with heights"],
            ["lies", "lie"]
        ),
        path.display(),
        first.label,
        if outside.len() == 1 { "it has" } else { "they have" },
        sources.join(" or ")
    )))
}

/// The geoids that bases got their undulations from.
pub fn used(geoid: &Geoids, table: &BaseTable) -> Vec<GeoidSummary> {
    let is_used = |source| table.bases.iter().filter_map(|base| base.heights.undulation).find(|found| found.source == source);
    [UndulationSource::Grid, UndulationSource::Log, UndulationSource::Global]
        .into_iter()
        .filter_map(|source| {
            let undulation = is_used(source)?;
            Some(GeoidSummary {
                name: geoid.name(source)?,
                source: source.word().to_owned(),
                sigma_m: undulation.sigma_m.unwrap_or(SIGMA_M),
                sha256: geoid.grid().filter(|_| source == UndulationSource::Grid).map(|grid| grid.sha256().to_owned()),
            })
        })
        .collect()
}
