//! Behind the stream: the rows that belong together, once all of them are known, to measurements
//! ([`measured`]), lines and areas.
//!
//! Memory: about 600 bytes for each row with a `measure` or a `string`.

mod level;
mod measured;

use std::collections::{BTreeMap, HashMap};

use super::coded::attribute_columns;
use super::compute::{Stage, position};
use super::tally::Settlement;
use crate::geodesy::correlated::Origin;
use crate::geodesy::covariance::{Covariance, INTERVAL95};
use crate::geodesy::crs::CrsError;
use crate::geodesy::frame::{EarthCentred, Geodetic};
use crate::intake::cell::When;
use crate::intake::numbers::Signs;
use crate::job::catalogue::GeometryKind;
use crate::job::catalogue::{Code, Geometry, Value};
use crate::job::{Job, LayerName};
use crate::measure::Sighting;
use crate::measure::span::conditions::Conditions;
use crate::measure::strings::ring;
use crate::measure::strings::{self, JOIN, Strung, Vertex, measure};
use crate::output::columns::{Batch, Column, Geometries, LayerKey, Position};
use crate::output::layers::strings::StringRecord;
use crate::output::layers::vertices::VertexRecord;
use crate::output::layers::{self, Times, vertices};
use crate::output::outcome::Asked;
use crate::records::ledger::{Counts, Entry, Flag, Flags, Outcome};
use crate::shots::locate::Placed;
use crate::stations::base::{Base, HeightKind};

/// A row that belongs to a measurement or a string.
#[derive(Debug, Clone)]
pub struct Collected {
    /// What was read of it.
    pub sighting: Sighting,
    /// Kind of measurement.
    pub measure: Option<String>,
    /// Name of the feature.
    pub feature: Option<String>,
    /// Name of the string.
    pub string: Option<String>,
    /// Number in the string.
    pub order: Option<f64>,
    /// Feature code.
    pub code: Option<String>,
    /// The fields of its code's attributes: index of the carried column, and the text.
    pub cells: Vec<(usize, String, Signs)>,
    /// Date and time.
    pub when: Option<When>,
    /// Name of the level surface that it is sighted on.
    pub level: Option<String>,
    /// Conditions of the day.
    pub conditions: Conditions,
    /// The row as it stands, for one that is no feature of its own.
    pub row: Option<String>,
}

/// What the rows gave together.
#[derive(Default)]
pub struct Finished {
    /// Records of each layer.
    pub batches: Vec<(LayerKey, Batch)>,
    /// Rows that serve no measurement after all.
    pub held: Vec<Entry>,
    /// Rows that are no feature of their own and serve a measurement, by file.
    pub composed: BTreeMap<usize, u64>,
    /// Measurements asked for and composed.
    pub measurements: Asked,
    /// Strings asked for and drawn.
    pub strings: Asked,
    /// For the person.
    pub notes: Vec<String>,
}

/// Composes and assembles all collected rows, for the tally.
///
/// # Errors
/// When PROJ fails as a whole.
pub fn settle(stage: &Stage, collected: Vec<Collected>, job: &Job) -> Result<Settlement, CrsError> {
    let Finished { batches, held, composed, measurements, strings, notes } = finish(stage, collected, job)?;
    let mut counts: BTreeMap<usize, Counts> = BTreeMap::new();
    for entry in &held {
        if let Outcome::Held(fault) = &entry.outcome {
            counts.entry(entry.file).or_default().hold(fault.reason);
        }
    }
    for (file, rows) in &composed {
        counts.entry(*file).or_default().composed += rows;
    }
    Ok(Settlement { batches, entries: held, counts, measurements, strings, notes, ..Settlement::default() })
}

/// Composes and assembles all collected rows.
///
/// # Errors
/// When PROJ fails as a whole.
fn finish(stage: &Stage, collected: Vec<Collected>, job: &Job) -> Result<Finished, CrsError> {
    let mut finished = Finished::default();
    if collected.is_empty() {
        return Ok(finished);
    }
    let bases = stage.table.origins();
    let mut drawing =
        Drawing { stage, bases: &bases, lines: Vec::new(), areas: Vec::new(), coded: BTreeMap::new(), cells: HashMap::new() };
    measured::compose_all(&mut drawing, &collected, job, &mut finished)?;
    assemble_all(&mut drawing, collected, job.checks.repair_areas, &mut finished)?;
    let Drawing { lines, areas, coded, .. } = drawing;
    finished.push_coded(stage, coded);
    for (layer, records) in [(LayerName::Lines, lines), (LayerName::Areas, areas)] {
        let is_area = layer == LayerName::Areas;
        let (records, geometries): (Vec<StringRecord>, Vec<Vec<Position>>) = records.into_iter().unzip();
        let columns = layers::strings::definitions(is_area).iter().map(|field| field.column(&records)).collect();
        let geometries = if is_area { Geometries::Areas(geometries) } else { Geometries::Lines(geometries) };
        finished.push(stage, layer, records.len(), geometries, columns);
    }
    Ok(finished)
}

impl Finished {
    fn push(&mut self, stage: &Stage, layer: LayerName, len: usize, geometries: Geometries, columns: Vec<Column>) {
        if len > 0 && stage.wanted.contains(&layer) {
            self.batches.push((layer.into(), Batch { len, geometries, columns }));
        }
    }

    /// The lines and areas of the catalogue's layers.
    fn push_coded(&mut self, stage: &Stage, strings: BTreeMap<usize, Vec<CodedString>>) {
        let Some(coded) = stage.coded.filter(|_| stage.wanted.contains(&LayerName::Features)) else { return };
        for (layer, found) in strings {
            let described = &coded.catalogue.layers[layer];
            let is_area = described.geometry == GeometryKind::Area;
            let (mut records, mut geometries, mut values) = (Vec::new(), Vec::new(), Vec::new());
            for (record, positions, of_record) in found {
                records.push(record);
                geometries.push(positions);
                values.push(of_record);
            }
            let mut columns: Vec<Column> =
                layers::strings::definitions(is_area).iter().map(|field| field.column(&records)).collect();
            columns.extend(attribute_columns(described, records.len(), |i| &values[i]));
            let geometries = if is_area { Geometries::Areas(geometries) } else { Geometries::Lines(geometries) };
            self.batches.push((LayerKey::Coded(layer), Batch { len: records.len(), geometries, columns }));
        }
    }
}

/// A string of a catalogue's layer: its record, its geometry, the values of its attributes.
type CodedString = (StringRecord, Vec<Position>, Vec<Value>);

/// Fields of a row: index of the carried column, its text, and how its numbers are written.
type Cells = Vec<(usize, String, Signs)>;

/// Lines and areas as they come up.
struct Drawing<'s, 'j> {
    stage: &'s Stage<'j>,
    bases: &'s [Origin],
    lines: Vec<(StringRecord, Vec<Position>)>,
    areas: Vec<(StringRecord, Vec<Position>)>,
    /// By layer of the catalogue, with the values of their attributes.
    coded: BTreeMap<usize, Vec<CodedString>>,
    /// Fields of attributes, by file and line.
    cells: HashMap<(usize, u64), Cells>,
}

impl Drawing<'_, '_> {
    /// Points of a base's datum in the CRS of the layers.
    fn place(&self, base: usize, points: &[EarthCentred], has_height: bool) -> Result<Vec<Placed>, CrsError> {
        let known: &Base = &self.stage.table.bases[base];
        let ellipsoid = &self.bases[base].ellipsoid;
        let has_height = has_height && known.heights.kind != HeightKind::None;
        let at: Vec<(Geodetic, bool, &Base)> =
            points.iter().map(|point| (Geodetic::from_earth_centred(*point, ellipsoid), has_height, known)).collect();
        self.stage.locator.place(known.datum, &at)
    }

    fn positions(&self, base: usize, placed: &[Placed]) -> Vec<Position> {
        placed.iter().map(|point| position(point, &self.stage.placed_bases[base])).collect()
    }

    /// The values of a string's attributes, each of the first vertex that has one, and how it stands to its code.
    fn attributes(&self, code: &Code, string: &Strung, flags: &mut Flags, warnings: &mut Vec<String>) -> Vec<Value> {
        let Some(coded) = self.stage.coded else { return Vec::new() };
        let cells: Vec<&Cells> = string.vertices.iter().filter_map(|vertex| self.cells.get(&vertex.place)).collect();
        let cell = |index: usize| {
            let mut written = cells.iter().flat_map(|cells| cells.iter().map(|(column, text, signs)| (column, text, *signs)));
            written.find(|(column, _, _)| **column == index).map_or(("", Signs::POINT), |(_, text, signs)| (text.as_str(), signs))
        };
        let read = coded.values(code, cell);
        flags.join(read.flags);
        warnings.extend((!read.detail.is_empty()).then_some(format!("{}.", read.detail)));
        let worst = string.vertices.iter().filter_map(|vertex| {
            let vector = vertex.vector?;
            let own = vector.direction + vector.distance + Covariance::of_arm(vector.orientation_arm_m);
            let whole = own + self.bases[vertex.base].covariance + datum(self.stage, vertex.base);
            let height95_m = vector.up_m.map_or(f64::NAN, |_| INTERVAL95 * whole.uu.sqrt());
            Some((whole.radius95_m(), height95_m))
        });
        let beyond = |tolerance_m: Option<f64>, reached_m: f64| tolerance_m.is_some_and(|tolerance_m| reached_m > tolerance_m);
        let missed = worst.filter(|(radius95_m, height95_m)| {
            beyond(code.tolerance_horizontal95_m, *radius95_m) || beyond(code.tolerance_vertical95_m, *height95_m)
        });
        let missed = missed.count();
        if missed > 0 {
            flags.raise(Flag::MissesTolerance);
            warnings.push(format!("{missed} of its vertices are beyond the tolerance of {}.", code.code));
        }
        read.values
    }

    fn labels(&self, bases: impl Iterator<Item = usize>) -> String {
        let mut seen: Vec<&str> = Vec::new();
        for base in bases {
            let label = self.bases[base].label.as_str();
            if !seen.contains(&label) {
                seen.push(label);
            }
        }
        seen.join(", ")
    }
}

fn datum(stage: &Stage, base: usize) -> Covariance {
    let sigma_m = stage.table.bases[base].sigma_datum_m;
    Covariance::of_axes(sigma_m, sigma_m)
}

/// Repeats the first position at the end, the ring against the clock.
fn close(ring: &mut Vec<Position>) {
    let plane: Vec<[f64; 2]> = ring.iter().map(|position| [position.x, position.y]).collect();
    if ring::twice_area(&plane) < 0.0 {
        ring.reverse();
    }
    if let Some(first) = ring.first().copied() {
        ring.push(first);
    }
}

fn assemble_all(drawing: &mut Drawing, collected: Vec<Collected>, repair: bool, finished: &mut Finished) -> Result<(), CrsError> {
    let stage = drawing.stage;
    // Points that a string may join to: the first of each name.
    let mut named: BTreeMap<String, (usize, crate::shots::reduce::Vector)> = BTreeMap::new();
    for row in &collected {
        if let (Some(feature), Some(vector), true) = (&row.feature, row.sighting.vector, row.sighting.role != JOIN) {
            named.entry(feature.clone()).or_insert((row.sighting.base, vector));
        }
    }
    let mut rows = Vec::new();
    let mut whens: BTreeMap<String, Vec<Option<When>>> = BTreeMap::new();
    for row in collected {
        let Some(string) = row.string else { continue };
        if !row.cells.is_empty() {
            drawing.cells.insert(row.sighting.place, row.cells);
        }
        whens.entry(string.clone()).or_default().push(row.when);
        let mut vertex = Vertex {
            string,
            code: row.code,
            role: row.sighting.role,
            order: row.order,
            instant: row.sighting.instant,
            place: row.sighting.place,
            label: row.sighting.label,
            feature: row.feature,
            base: row.sighting.base,
            vector: row.sighting.vector,
        };
        if vertex.role == JOIN
            && let Some((base, vector)) = vertex.feature.as_ref().and_then(|feature| named.get(feature))
        {
            (vertex.base, vertex.vector) = (*base, Some(*vector));
        }
        match vertex.vector {
            Some(_) => rows.push(vertex),
            None => finished.notes.push(format!(
                "{}:{}: string {} cannot join to {}: no row with a string or a measure has a point of that name.",
                stage.logs.files[vertex.place.0].info.name,
                vertex.place.1,
                vertex.string,
                vertex.feature.as_deref().unwrap_or("nothing that is named")
            )),
        }
    }
    finished.strings.asked = whens.len() as u64;
    let (strung, notes) = strings::strings(rows);
    finished.strings.made = strung.len() as u64;
    finished.strings.asked = finished.strings.asked.max(finished.strings.made);
    finished.notes.extend(notes);
    let (mut records, mut record_positions) = (Vec::new(), Vec::new());
    for string in strung {
        let times = Times::of(whens.get(&string.name).into_iter().flatten().copied());
        let (vertices, positions) = draw(drawing, string, times, repair, finished)?;
        records.extend(vertices);
        record_positions.extend(positions);
    }
    let columns = vertices::definitions().iter().map(|field| field.column(&records)).collect();
    finished.push(stage, LayerName::Vertices, records.len(), Geometries::Points(record_positions), columns);
    Ok(())
}

/// One string as a line or an area, and its vertices.
fn draw(
    drawing: &mut Drawing,
    mut string: Strung,
    times: Times,
    repair: bool,
    finished: &mut Finished,
) -> Result<(Vec<VertexRecord>, Vec<Position>), CrsError> {
    let stage = drawing.stage;
    let place = |drawing: &Drawing, string: &Strung| -> Result<Vec<Placed>, CrsError> {
        let mut placed = Vec::with_capacity(string.vertices.len());
        for vertex in &string.vertices {
            let Some(vector) = vertex.vector else { continue };
            let end =
                drawing.bases[vertex.base].frame.to_earth_centred([vector.east_m, vector.north_m, vector.up_m.unwrap_or(0.0)]);
            placed.extend(drawing.place(vertex.base, &[end], vector.up_m.is_some())?);
        }
        Ok(placed)
    };
    let mut placed = place(drawing, &string)?;
    let flat = |placed: &[Placed]| -> Vec<[f64; 2]> { placed.iter().map(|point| [point.x, point.y]).collect() };
    let code = stage.coded.and_then(|coded| coded.catalogue.find(string.code.as_deref()?));
    let mut warnings = Vec::new();
    // What the catalogue says that it is goes before the roles of its shots.
    if code.is_some_and(|code| code.geometry == Geometry::Area) && string.vertices.len() > 2 {
        string.closed = true;
    }
    let mut is_area = string.closed && code.is_none_or(|code| code.geometry != Geometry::Line);
    if is_area {
        let plane = flat(&placed);
        if let Some((i, j)) = ring::crossings(&plane).first().copied() {
            let n = string.vertices.len();
            let edge = |i: usize| format!("{} to {}", string.vertices[i].label, string.vertices[(i + 1) % n].label);
            let crossing = format!("Area {}: the edge from {} crosses that from {}", string.name, edge(i), edge(j));
            match ring::untangled(&plane).filter(|_| repair) {
                Some(order) => {
                    string.vertices = order.iter().map(|k| string.vertices[*k].clone()).collect();
                    placed = order.iter().map(|k| placed[*k]).collect();
                    warnings.push(format!("{crossing}; its vertices were put in another order, as the job allows."));
                }
                None => {
                    is_area = false;
                    warnings.push(format!(
                        "{crossing}: it is drawn as a line. Mend the order of its shots, or write repair_areas = true under [checks]."
                    ));
                }
            }
            finished.notes.extend(warnings.last().cloned());
        }
    }
    let shots: Vec<(usize, &crate::shots::reduce::Vector)> =
        string.vertices.iter().filter_map(|vertex| Some((vertex.base, vertex.vector.as_ref()?))).collect();
    let unit = stage.grid_unit_m;
    let grid: Option<Vec<[f64; 2]>> =
        stage.projected.then(|| placed.iter().map(|point| [point.x * unit, point.y * unit]).collect());
    let measures = measure::measures(drawing.bases, &shots, grid.as_deref(), string.closed);
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
    if is_area {
        close(&mut positions);
    } else if string.closed {
        positions.extend(positions.first().copied());
    }
    let geometry = if is_area { Geometry::Area } else { Geometry::Line };
    match code.filter(|code| code.geometry == geometry) {
        Some(code) => drawing.coded.entry(code.layer).or_default().push((record, positions, values)),
        None if is_area => drawing.areas.push((record, positions)),
        None => drawing.lines.push((record, positions)),
    }
    let records = string
        .vertices
        .iter()
        .zip(&placed)
        .enumerate()
        .filter_map(|(i, (vertex, placed))| {
            let vector = vertex.vector?;
            let base = &stage.table.bases[vertex.base];
            let own = vector.direction + vector.distance + Covariance::of_arm(vector.orientation_arm_m);
            Some(VertexRecord {
                string: string.name.clone(),
                number: i as u64 + 1,
                shot: vertex.label.clone(),
                base: base.label.clone(),
                placed: *placed,
                projected: stage.projected,
                has_height: vector.up_m.is_some() && base.heights.kind != HeightKind::None,
                covariance: own + base.covariance + datum(stage, vertex.base),
                source_file: stage.logs.files[vertex.place.0].info.name.clone(),
                source_line: vertex.place.1,
            })
        })
        .collect();
    Ok((records, vertex_positions))
}
