//! From rows of strings to lines and areas, their records and those of their vertices.
//!
//! Whether an area crosses itself is seen in the horizontal plane at its first vertex, whatever the CRS of the layers does to it. An area that
//! crosses itself only because a corner was shot twice is mended: vertices that follow each other within their joint error are one corner.

use std::collections::{BTreeSet, HashMap};

use super::arms::ValueArms;
use super::joined::{Joinable, JoinableFeatures};
use super::row::CollectedRow;
use super::{Finished, LinesAndAreas, close};
use crate::geodesy::covariance::Covariance;
use crate::geodesy::crs::CrsError;
use crate::geodesy::frame::{EarthCentred, Ellipsoid, Geodetic, LocalFrame};
use crate::geodesy::register::{CorrelatedPoints, Estimate, Located};
use crate::job::LayerName;
use crate::job::catalogue::{Code, Geometry};
use crate::measure::strings::ring;
use crate::measure::strings::{self, Strung, Vertex, measure};
use crate::output::columns::{Geometries, Position};
use crate::output::layers::strings::StringRecord;
use crate::output::layers::values::{self, Thing};
use crate::output::layers::vertices::VertexRecord;
use crate::output::layers::{self, Times, vertices};
use crate::records::ledger::Flags;
use crate::records::roles::JOIN;
use crate::records::when::When;
use crate::review::assess::honesty::square_horizontal;
use crate::run::stage::position;
use crate::shots::locate::Placed;
use crate::shots::reduce::Vector;
use crate::stations::base::HeightKind;
use crate::units::Units;

/// Vertices nearer than this are one point, whatever their errors.
const ONE_POINT_M: f64 = 0.001;

/// The square of a difference over its joint covariance up to which two vertices may be one corner: 99 % of such (χ² with two degrees of
/// freedom, −2 ln 0.01).
const ONE_CORNER: f64 = 9.210_340_371_976_182;

/// Vertices by string, in order, joined to the features that they name, and drawn.
///
/// # Errors
/// When PROJ fails as a whole.
pub fn assemble_all(
    drawing: &mut LinesAndAreas,
    collected: Vec<CollectedRow>,
    joinable: Vec<Joinable>,
    repair: bool,
    finished: &mut Finished,
) -> Result<(), CrsError> {
    let stage = drawing.stage;
    let named = JoinableFeatures::gather(joinable, &collected);
    let mut rows = Vec::new();
    let mut whens: HashMap<(usize, u64), When> = HashMap::new();
    for row in collected {
        if row.string.is_none() {
            continue;
        }
        let joined = row.is_part && row.sighting.role == JOIN;
        let (base, vector, joined) = match (joined, row.sighting.vector) {
            (false, Some(vector)) => (row.sighting.base, vector, None),
            (false, None) => continue,
            (true, _) => match named.find(row.feature.as_deref()) {
                Ok(found) => {
                    *finished.composed.entry(row.sighting.place.0).or_default() += 1;
                    (found.base, found.vector, found.located.clone())
                }
                Err(why) => {
                    let sentence = format!("string {} cannot be joined here: {why}", row.string.as_deref().unwrap_or_default());
                    let (file, line) = row.sighting.place;
                    finished.notes.push(format!("{}:{line}: {sentence}.", stage.logs.files[file].info.name));
                    finished.held.push(row.held(row.feature.as_deref().unwrap_or_default(), &sentence));
                    continue;
                }
            },
        };
        let place = row.sighting.place;
        whens.extend(row.when.map(|when| (place, when)));
        if !row.cells.is_empty() {
            drawing.cells.insert(place, row.cells);
        }
        rows.push(Vertex {
            string: row.string.unwrap_or_default(),
            code: row.code,
            role: row.sighting.role,
            order: row.order,
            instant: row.sighting.instant,
            place,
            label: row.sighting.label,
            shot: row.sighting.shot,
            feature: row.feature,
            base,
            vector,
            joined,
        });
    }
    let asked: BTreeSet<&str> = rows.iter().map(|vertex| vertex.string.as_str()).collect();
    finished.strings.asked = asked.len() as u64;
    let (strung, notes) = strings::strings(rows);
    finished.strings.made = strung.len() as u64;
    finished.strings.asked = finished.strings.asked.max(finished.strings.made);
    finished.notes.extend(notes);
    let (mut records, mut positions) = (Vec::new(), Vec::new());
    for string in strung {
        let times = Times::from_rows(string.vertices.iter().map(|vertex| whens.get(&vertex.place).copied()));
        let drawn = draw(drawing, string, times, repair, finished)?;
        records.extend(drawn.0);
        positions.extend(drawn.1);
    }
    let columns = layers::columns(&vertices::definitions(), &records);
    finished.push(stage, LayerName::Vertices, records.len(), Geometries::Points(positions), columns);
    Ok(())
}

/// The whole covariance of a vertex.
pub fn covariance(drawing: &LinesAndAreas, vertex: &Vertex) -> Covariance {
    let base = &drawing.bases[vertex.base];
    match &vertex.joined {
        Some(located) => located.covariance(base.errors.register()),
        None => vertex.vector.covariance(base),
    }
}

/// A vertex with all that it errs by.
fn located(drawing: &LinesAndAreas, vertex: &Vertex) -> Located {
    vertex.joined.as_deref().cloned().unwrap_or_else(|| vertex.vector.located(&drawing.bases[vertex.base]))
}

/// One string as a line or an area, and its vertices.
fn draw(
    drawing: &mut LinesAndAreas,
    mut string: Strung,
    times: Times,
    repair: bool,
    finished: &mut Finished,
) -> Result<(Vec<VertexRecord>, Vec<Position>), CrsError> {
    let stage = drawing.stage;
    let code = stage.coded.and_then(|coded| coded.catalogue.find(string.code.as_deref()?));
    let mut warnings = Vec::new();
    // What the catalogue says that it is goes before the roles of its shots.
    if code.is_some_and(|code| code.geometry == Geometry::Area) && string.vertices.len() > 2 {
        string.closed = true;
    }
    let mut is_area = string.closed && code.is_none_or(|code| code.geometry != Geometry::Line);
    if is_area {
        is_area = sound(drawing, &mut string, repair, &mut warnings);
        finished.notes.extend(warnings.iter().cloned());
    }
    let mut placed = Vec::with_capacity(string.vertices.len());
    for vertex in &string.vertices {
        placed.extend(drawing.place(vertex.base, &[end(drawing, vertex)], vertex.vector.up_m.is_some())?);
    }
    let points: Vec<Located> = string.vertices.iter().map(|vertex| located(drawing, vertex)).collect();
    let has_heights = string.vertices.iter().all(|vertex| vertex.vector.up_m.is_some());
    let first = &drawing.bases[string.vertices[0].base];
    let unit = stage.grid_unit_m;
    let grid: Option<Vec<[f64; 2]>> =
        stage.projected.then(|| placed.iter().map(|point| [point.x * unit, point.y * unit]).collect());
    let measures = measure::measures(first, &points, has_heights, grid.as_deref(), string.closed);
    let origins: Vec<usize> = string.vertices.iter().map(|vertex| vertex.base).collect();
    let vertex_positions: Vec<Position> =
        placed.iter().zip(&origins).map(|(point, base)| position(point, &stage.placed_bases[*base])).collect();
    let mut positions = vertex_positions.clone();
    // A line is of one kind: where one vertex has no height, none has.
    if positions.iter().any(|position| position.z.is_nan()) {
        for position in &mut positions {
            position.z = f64::NAN;
            position.ellipsoid_height_m = f64::NAN;
        }
    }
    let (mut flags, mut values) = (Flags::default(), Vec::new());
    if let Some(code) = code {
        values = drawing.attributes(code, &string, &mut flags, &mut warnings);
    }
    let record = StringRecord {
        name: string.name.clone(),
        code: string.code.clone(),
        flags,
        origin: "string".into(),
        vertices: string.vertices.len() as u64,
        measures,
        bases: drawing.labels(origins.iter().copied()),
        warnings: warnings.join(" "),
        times,
        conditions: None,
        caution: None,
    };
    finished.arms.add_values(|| arms_of(&first.ellipsoid, &points, &string, is_area));
    let measured = thing(drawing, &record, &string, is_area);
    drawing.things.extend(measured);
    if is_area {
        close(&mut positions);
    } else if string.closed {
        positions.extend(positions.first().copied());
    }
    let geometry = if is_area { Geometry::Area } else { Geometry::Line };
    match code.filter(|code: &&Code| code.geometry == geometry) {
        Some(code) => drawing.coded.entry(code.layer).or_default().push((record, positions, values)),
        None if is_area => drawing.areas.push((record, positions)),
        None => drawing.lines.push((record, positions)),
    }
    Ok((vertex_records(drawing, &string, &placed), vertex_positions))
}

/// What length and area err by, by the names that they have in the layers.
fn arms_of(ellipsoid: &Ellipsoid, points: &[Located], string: &Strung, is_area: bool) -> Vec<([String; 3], ValueArms)> {
    let arms = measure::arms(ellipsoid, points, string.closed);
    let measure = if is_area { values::AREA } else { values::LINE };
    let of = |quantity: &str, which: usize| {
        let key = [measure.to_owned(), string.name.clone(), quantity.to_owned()];
        (key, arms.iter().map(|(id, by)| (*id, by[which])).filter(|(_, by)| *by != 0.0).collect())
    };
    let area = is_area.then(|| of("area_ellipsoid_m2", 1));
    [of("length_ellipsoid_m", 0)].into_iter().chain(area).collect()
}

/// A line or an area as a measured thing.
fn thing(drawing: &LinesAndAreas, record: &StringRecord, string: &Strung, is_area: bool) -> Option<Thing> {
    let measures = record.measures?;
    let length = Estimate { value: measures.length_ellipsoid_m, sigma: measures.sigma_length_m };
    let area = measures.area_ellipsoid_m2.zip(measures.sigma_area_m2).map(|(value, sigma)| Estimate { value, sigma });
    let (measure, values) = match area.filter(|_| is_area) {
        Some(area) => (values::AREA, vec![("area_ellipsoid_m2", area), ("perimeter_ellipsoid_m", length)]),
        None => (values::LINE, vec![("length_ellipsoid_m", length)]),
    };
    let (file, line) = string.vertices.first()?.place;
    Some(Thing {
        measure: measure.to_owned(),
        name: record.name.clone(),
        code: record.code.clone(),
        values,
        least_to: None,
        threshold: None,
        bases: record.bases.clone(),
        times: record.times,
        warnings: record.warnings.clone(),
        conditions: None,
        caution: None,
        source_file: drawing.stage.logs.files[file].info.name.clone(),
        source_line: line,
    })
}

fn end(drawing: &LinesAndAreas, vertex: &Vertex) -> EarthCentred {
    let Vector { east_m, north_m, up_m, .. } = vertex.vector;
    drawing.bases[vertex.base].frame.to_earth_centred([east_m, north_m, up_m.unwrap_or(0.0)])
}

fn vertex_records(drawing: &LinesAndAreas, string: &Strung, placed: &[Placed]) -> Vec<VertexRecord> {
    let stage = drawing.stage;
    let vertices = string.vertices.iter().zip(placed).enumerate();
    vertices
        .map(|(i, (vertex, placed))| {
            let base = &stage.table.bases[vertex.base];
            VertexRecord {
                string: string.name.clone(),
                number: i as u64 + 1,
                shot: vertex.shot.clone(),
                feature: vertex.feature.clone(),
                base: base.label.clone(),
                placed: *placed,
                projected: stage.projected,
                has_height: vertex.vector.up_m.is_some() && base.heights.kind != HeightKind::None,
                covariance: covariance(drawing, vertex),
                source_file: stage.logs.files[vertex.place.0].info.name.clone(),
                source_line: vertex.place.1,
            }
        })
        .collect()
}

/// Whether the vertices make an area, after what may be mended is mended; what there is to say is added.
fn sound(drawing: &LinesAndAreas, string: &mut Strung, repair: bool, warnings: &mut Vec<String>) -> bool {
    let plane = plane(drawing, string);
    let units = &drawing.stage.units;
    let once = apart(units, string, &plane, |_, _, metres| metres < ONE_POINT_M, &mut Vec::new());
    let (mut order, mut said) = (once, Vec::new());
    let points = |order: &[usize]| order.iter().map(|i| plane[*i]).collect::<Vec<[f64; 2]>>();
    let Some((i, j)) = ring::crossing(&points(&order)) else {
        warnings.extend(closing(drawing, string, &order, &plane));
        *string = kept(string, &order);
        return string.vertices.len() > 2;
    };
    let crossing = {
        let name = |k: usize| string.vertices[order[k % order.len()]].label.as_str();
        let edge = |k: usize| format!("{} to {}", name(k), name(k + 1));
        format!("Area {}: the edge from {} crosses that from {}", string.name, edge(i), edge(j))
    };
    // A corner that was shot again.
    let is_same = |a, b, metres| metres < ONE_POINT_M || is_one_corner(drawing, a, b, &plane, string);
    let corners = apart(units, string, &plane, is_same, &mut said);
    let corners = corners.into_iter().filter(|i| order.contains(i)).collect::<Vec<_>>();
    if corners.len() > 2 && ring::crossing(&points(&corners)).is_none() {
        warnings.push(format!("Area {}: {}.", string.name, said.join("; ")));
        *string = kept(string, &corners);
        return true;
    }
    match ring::untangled(&points(&order)).filter(|_| repair) {
        Some(turned) => {
            order = turned.into_iter().map(|k| order[k]).collect();
            warnings.push(format!("{crossing}; its vertices were put in another order, as the job allows."));
            *string = kept(string, &order);
            true
        }
        None => {
            warnings.push(format!(
                "{crossing}: it is drawn as a line. Mend the order of its shots, or write repair_areas = true under [checks]."
            ));
            false
        }
    }
}

fn kept(string: &Strung, order: &[usize]) -> Strung {
    Strung { vertices: order.iter().map(|i| string.vertices[*i].clone()).collect(), ..string.clone() }
}

/// Vertices in the horizontal plane at the first.
fn plane(drawing: &LinesAndAreas, string: &Strung) -> Vec<[f64; 2]> {
    let ends: Vec<EarthCentred> = string.vertices.iter().map(|vertex| end(drawing, vertex)).collect();
    let ellipsoid = &drawing.bases[string.vertices[0].base].ellipsoid;
    let frame = LocalFrame::at(&Geodetic::from_earth_centred(ends[0], ellipsoid), ellipsoid);
    ends.into_iter().map(|end| frame.from_earth_centred(end)).map(|[e, n, _]| [e, n]).collect()
}

/// The vertices that are not the one before them again, nor the last the first. What is left out is told.
fn apart(
    units: &Units,
    string: &Strung,
    plane: &[[f64; 2]],
    is_same: impl Fn(usize, usize, f64) -> bool,
    said: &mut Vec<String>,
) -> Vec<usize> {
    let vertices = &string.vertices;
    let metres = |a: usize, b: usize| (plane[a][0] - plane[b][0]).hypot(plane[a][1] - plane[b][1]);
    let label = |i: usize| vertices[i].label.as_str();
    let mut told = |a: usize, b: usize| {
        said.push(format!(
            "{} lies {} from {}, within their joint error, and is taken as the same corner",
            label(b),
            units.length().said(metres(a, b), 2),
            label(a)
        ));
    };
    let mut kept: Vec<usize> = Vec::with_capacity(vertices.len());
    for i in 0..vertices.len() {
        match kept.last() {
            Some(before) if is_same(*before, i, metres(*before, i)) => told(*before, i),
            _ => kept.push(i),
        }
    }
    while let [first, .., last] = kept[..]
        && is_same(first, last, metres(first, last))
    {
        told(first, last);
        kept.pop();
    }
    kept
}

/// Whether two vertices of a string may be one corner: their difference is within their joint error, in which what both share cancels.
fn is_one_corner(drawing: &LinesAndAreas, a: usize, b: usize, plane: &[[f64; 2]], string: &Strung) -> bool {
    let (one, other) = (&string.vertices[a], &string.vertices[b]);
    let base = &drawing.bases[one.base];
    let both = [located(drawing, one), located(drawing, other)];
    let correlated = CorrelatedPoints::in_frame(base.frame, &both, base.errors.register());
    let across = correlated.covariance_between(0, 1);
    let common =
        Covariance { ee: 2.0 * across[0][0], en: across[0][1] + across[1][0], nn: 2.0 * across[1][1], ..Covariance::default() };
    let apart = (correlated.covariance_of(0) + correlated.covariance_of(1)).less(&common);
    let difference = [plane[b][0] - plane[a][0], plane[b][1] - plane[a][1]];
    square_horizontal(difference, &apart).is_some_and(|square| square <= ONE_CORNER)
}

/// A word where the last vertex of a sound area is probably the first again.
fn closing(drawing: &LinesAndAreas, string: &Strung, order: &[usize], plane: &[[f64; 2]]) -> Option<String> {
    let [first, .., last] = order[..] else { return None };
    let metres = |a: usize, b: usize| (plane[a][0] - plane[b][0]).hypot(plane[a][1] - plane[b][1]);
    let around: f64 = order.windows(2).map(|pair| metres(pair[0], pair[1])).sum();
    // Of an area as small as its errors every vertex would be another's.
    let is_short = metres(first, last) < 0.25 * around / order.len() as f64;
    let name = |i: usize| string.vertices[i].label.as_str();
    (is_short && is_one_corner(drawing, first, last, plane, string)).then(|| {
        format!(
            "Area {}: {} and {} lie {} apart, within their correlated error: two vertices at one place. An area closes by itself; the \
             first corner need not be shot again.",
            string.name,
            name(first),
            name(last),
            drawing.stage.units.length().said(metres(first, last), 2)
        )
    })
}
