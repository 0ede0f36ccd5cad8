//! Behind the stream: the rows that belong together, once all of them are known, to measurements
//! ([`measured`]), lines and areas.
//!
//! Memory: about 600 bytes for each row with a `measure` or a `string`.

pub mod arms;
pub mod joined;
mod level;
mod measured;
pub mod row;
mod strung;

use std::collections::{BTreeMap, HashMap};

use super::coded::attribute_columns;
use super::described;
use super::raw_arms::RawArms;
use super::settlement::Settlement;
use super::stage::{Stage, position};
use crate::geodesy::covariance::INTERVAL95;
use crate::geodesy::crs::CrsError;
use crate::geodesy::frame::{EarthCentred, Geodetic};
use crate::geodesy::register::Origin;
use crate::job::catalogue::GeometryKind;
use crate::job::catalogue::{AttributeValue, Code};
use crate::job::{Job, LayerName};
use crate::measure::strings::Strung;
use crate::measure::strings::ring;
use crate::numeric::signs::Signs;
use crate::output::asked::Asked;
use crate::output::columns::{Batch, Column, Geometries, LayerKey, Position};
use crate::output::layers;
use crate::output::layers::strings::StringRecord;
use crate::output::layers::values::Thing;
use crate::records::ledger::{Counts, Entry, Flag, Flags, Outcome};
use crate::shots::locate::Placed;
use crate::stations::base::{Base, HeightKind};
use joined::Joinable;
use row::CollectedRow;

/// What the rows gave together.
#[derive(Default)]
pub struct Finished {
    /// Records of each layer.
    pub batches: Vec<(LayerKey, Batch)>,
    /// Rows that serve no measurement after all.
    pub held: Vec<Entry>,
    /// Rows that are features of their own, of measurements that were refused.
    pub flagged: Vec<Entry>,
    /// Their flags, by file.
    pub flags: BTreeMap<usize, Counts>,
    /// Rows that are no feature of their own and serve a measurement, by file.
    pub composed: BTreeMap<usize, u64>,
    /// Measurements asked for and composed.
    pub measurements: Asked,
    /// Strings asked for and drawn.
    pub strings: Asked,
    /// Measured things.
    pub things: Vec<Thing>,
    /// What the values err by together with others.
    pub arms: RawArms,
    /// For the person.
    pub notes: Vec<String>,
}

/// The measurements of a run: composed before the features that they are of are written, and before the strings that may join
/// these.
pub struct ComposedSoFar<'s, 'j> {
    drawing: LinesAndAreas<'s, 'j>,
    finished: Finished,
}

/// Composes the measurements of all collected rows.
///
/// # Errors
/// When PROJ fails as a whole.
pub fn measure<'s, 'j>(
    stage: &'s Stage<'j>,
    bases: &'s [Origin],
    collected: &[CollectedRow],
    job: &Job,
) -> Result<ComposedSoFar<'s, 'j>, CrsError> {
    let mut measured = ComposedSoFar {
        drawing: LinesAndAreas {
            stage,
            bases,
            lines: Vec::new(),
            areas: Vec::new(),
            coded: BTreeMap::new(),
            cells: HashMap::new(),
            things: Vec::new(),
        },
        finished: Finished::default(),
    };
    if !collected.is_empty() {
        measured::compose_all(&mut measured.drawing, collected, job, &mut measured.finished)?;
    }
    Ok(measured)
}

impl ComposedSoFar<'_, '_> {
    /// What was measured.
    pub fn things(&self) -> &[Thing] {
        &self.finished.things
    }

    /// Assembles the strings of the collected rows, and gives all that came of them.
    ///
    /// # Errors
    /// When PROJ fails as a whole.
    pub fn settle(mut self, collected: Vec<CollectedRow>, joinable: Vec<Joinable>, job: &Job) -> Result<Settlement, CrsError> {
        if !collected.is_empty() {
            self.assemble(collected, joinable, job)?;
        }
        let Finished {
            batches,
            held: mut entries,
            flagged,
            flags: mut counts,
            composed,
            measurements,
            strings,
            things,
            arms,
            notes,
        } = self.finished;
        entries.extend(flagged);
        for entry in &entries {
            if let Outcome::Held(fault) = &entry.outcome {
                counts.entry(entry.file).or_default().hold(fault.reason);
            }
        }
        for (file, rows) in &composed {
            counts.entry(*file).or_default().composed += rows;
        }
        Ok(Settlement { batches, entries, counts, measurements, strings, things, arms, notes, ..Settlement::default() })
    }

    fn assemble(&mut self, collected: Vec<CollectedRow>, joinable: Vec<Joinable>, job: &Job) -> Result<(), CrsError> {
        let ComposedSoFar { drawing, finished } = self;
        strung::assemble_all(drawing, collected, joinable, job.checks.repair_areas, finished)?;
        let stage = drawing.stage;
        finished.things.append(&mut drawing.things);
        finished.push_coded(stage, std::mem::take(&mut drawing.coded));
        let drawn = [(LayerName::Lines, &mut drawing.lines), (LayerName::Areas, &mut drawing.areas)];
        for (layer, records) in drawn {
            let is_area = layer == LayerName::Areas;
            let (records, geometries): (Vec<StringRecord>, Vec<Vec<Position>>) = std::mem::take(records).into_iter().unzip();
            let columns = layers::columns(&layers::strings::definitions(is_area), &records);
            let geometries = if is_area { Geometries::Areas(geometries) } else { Geometries::Lines(geometries) };
            finished.push(stage, layer, records.len(), geometries, columns);
        }
        let columns = layers::values::columns(&described::quantities(stage.logs), &finished.things);
        finished.push(stage, LayerName::Values, finished.things.len(), Geometries::None, columns);
        Ok(())
    }
}

impl Finished {
    /// Sets a row aside whose measurement was refused: one that is a feature of its own stays that, and is flagged.
    fn refuse(&mut self, row: &CollectedRow, refusal: &str) {
        if row.is_told {
            return;
        }
        if row.is_part {
            self.held.push(row.held(row.measure.as_deref().unwrap_or_default(), refusal));
            return;
        }
        let (file, line) = row.sighting.place;
        let mut flags = Flags::default();
        flags.raise(Flag::NotComposed);
        let counts = self.flags.entry(file).or_default();
        *counts.flags.entry(Flag::NotComposed).or_default() += 1;
        counts.flagged += u64::from(!row.is_flagged);
        let outcome = Outcome::Flagged(flags, refusal.to_owned());
        self.flagged.push(Entry { file, line, row: row.row.clone(), outcome });
    }

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
            let mut columns: Vec<Column> = layers::columns(&layers::strings::definitions(is_area), &records);
            columns.extend(attribute_columns(described, records.len(), |i| &values[i]));
            let geometries = if is_area { Geometries::Areas(geometries) } else { Geometries::Lines(geometries) };
            self.batches.push((LayerKey::Coded(layer), Batch { len: records.len(), geometries, columns }));
        }
    }
}

/// A string of a catalogue's layer: its record, its geometry, the values of its attributes.
type CodedString = (StringRecord, Vec<Position>, Vec<AttributeValue>);

/// Fields of a row: index of the carried column, its text, and how its numbers are written.
type CarriedFields = Vec<(usize, String, Signs)>;

/// Lines and areas as they come up.
struct LinesAndAreas<'s, 'j> {
    stage: &'s Stage<'j>,
    bases: &'s [Origin],
    lines: Vec<(StringRecord, Vec<Position>)>,
    areas: Vec<(StringRecord, Vec<Position>)>,
    /// By layer of the catalogue, with the values of their attributes.
    coded: BTreeMap<usize, Vec<CodedString>>,
    /// Fields of attributes, by file and line.
    cells: HashMap<(usize, u64), CarriedFields>,
    /// Lines and areas that are measured.
    things: Vec<Thing>,
}

impl LinesAndAreas<'_, '_> {
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
    fn attributes(&self, code: &Code, string: &Strung, flags: &mut Flags, warnings: &mut Vec<String>) -> Vec<AttributeValue> {
        let Some(coded) = self.stage.coded else { return Vec::new() };
        let cells: Vec<&CarriedFields> = string.vertices.iter().filter_map(|vertex| self.cells.get(&vertex.place)).collect();
        let cell = |index: usize| {
            let mut written = cells.iter().flat_map(|cells| cells.iter().map(|(column, text, signs)| (column, text, *signs)));
            written.find(|(column, _, _)| **column == index).map_or(("", Signs::POINT), |(_, text, signs)| (text.as_str(), signs))
        };
        let read = coded.values(code, cell);
        flags.join(read.flags);
        warnings.extend((!read.detail.is_empty()).then_some(format!("{}.", read.detail)));
        let worst = string.vertices.iter().map(|vertex| {
            let whole = strung::covariance(self, vertex);
            let height95_m = vertex.vector.up_m.map_or(f64::NAN, |_| INTERVAL95 * whole.uu.sqrt());
            (whole.radius95_m(), height95_m)
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
