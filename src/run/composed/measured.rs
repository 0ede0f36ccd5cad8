//! From collected rows to composed measurements and their records: one group for each measure and feature.

use std::collections::{BTreeMap, HashMap};

use super::arms::{self, ValueArms};
use super::row::CollectedRow;
use super::{Finished, LinesAndAreas, close, level};
use crate::geodesy::crs::CrsError;
use crate::geodesy::register::Estimate;
use crate::job::{Job, LayerName};
use crate::measure::span::against_threshold;
use crate::measure::span::conditions::{self, Conditions};
use crate::measure::{
    self, Composed, Detail, FoundPoint, Group, MeasureSettings, NamedValue, Refusal, Shape, caution_of, plane_sight, profile,
};
use crate::numeric::words::counted;
use crate::output::columns::{Geometries, Position};
use crate::output::layers::measurements::MeasurementRecord;
use crate::output::layers::parts::PartRecord;
use crate::output::layers::profiles::ProfileRecord;
use crate::output::layers::strings::StringRecord;
use crate::output::layers::values::Thing;
use crate::output::layers::{self, Times, measurements, parts, profiles};
use crate::records::ledger::Flags;
use crate::records::roles::MEASURES;
use crate::run::stage::position;

/// Difference of undulations in metres that is followed from the base to the point.
const FOLLOWED_M: f64 = 1e-4;

/// The records of measurements as they come up.
#[derive(Default)]
struct Records {
    values: Vec<MeasurementRecord>,
    things: Vec<Thing>,
    parts: Vec<PartRecord>,
    part_positions: Vec<Position>,
    stations: Vec<ProfileRecord>,
    station_positions: Vec<Position>,
}

/// Composes all groups of rows.
///
/// # Errors
/// When PROJ fails as a whole.
pub fn compose_all(
    drawing: &mut LinesAndAreas,
    collected: &[CollectedRow],
    job: &Job,
    finished: &mut Finished,
) -> Result<(), CrsError> {
    let mut groups: BTreeMap<(String, String), Vec<&CollectedRow>> = BTreeMap::new();
    for row in collected {
        if let Some(measure) = &row.measure {
            groups.entry((measure.clone(), row.feature.clone().unwrap_or_default())).or_default().push(row);
        }
    }
    let mut unknown: BTreeMap<String, u64> = BTreeMap::new();
    let mut records = Records::default();
    finished.measurements.asked = groups.len() as u64;
    for ((measure, name), rows) in groups {
        if !MEASURES.contains(&measure.as_str()) {
            *unknown.entry(measure.clone()).or_default() += rows.len() as u64;
            let refusal = measure::unknown_kind(&measure);
            rows.iter().for_each(|row| finished.refuse(row, &refusal));
            continue;
        }
        if let Some(apart) = stands_apart(drawing, &measure, &name, &rows) {
            rows.iter().for_each(|row| finished.refuse(row, &apart));
            continue;
        }
        let sightings = rows.iter().map(|row| row.sighting.clone()).collect();
        let group = Group { measure, name, sightings, bases: drawing.bases, units: job.units };
        match computed(drawing, &group, &rows, job)? {
            Err(refusal) => {
                rows.iter().for_each(|row| finished.refuse(row, &refusal));
                let (file, line) = group.sightings[0].place;
                finished.notes.push(format!("{}:{line}: {refusal}.", drawing.stage.logs.files[file].info.name));
            }
            Ok(made) => {
                finished.measurements.made += 1;
                finished.arms.add_values(|| arms_of(&group, &made, job));
                for row in rows.iter().filter(|row| row.is_part && !row.is_told) {
                    *finished.composed.entry(row.sighting.place.0).or_default() += 1;
                }
                record(drawing, &group, &rows, made, job, &mut records)?;
            }
        }
    }
    for (measure, rows) in unknown {
        finished.notes.push(format!("{}: {}; mapped as points.", counted(rows, "row", "rows"), measure::unknown_kind(&measure)));
    }
    let (stage, Records { values, things, parts, part_positions, stations, station_positions }) = (drawing.stage, records);
    finished.things = things;
    let columns = layers::columns(&measurements::definitions(), &values);
    finished.push(stage, LayerName::Measurements, values.len(), Geometries::None, columns);
    let columns = layers::columns(&parts::definitions(), &parts);
    finished.push(stage, LayerName::Parts, parts.len(), Geometries::Points(part_positions), columns);
    let columns = layers::columns(&profiles::definitions(), &stations);
    finished.push(stage, LayerName::Profiles, stations.len(), Geometries::Points(station_positions), columns);
    Ok(())
}

/// Why rows of several stands give nothing together, where no place is known.
fn stands_apart(drawing: &LinesAndAreas, measure: &str, name: &str, rows: &[&CollectedRow]) -> Option<String> {
    let first = rows.first()?.sighting.base;
    let other = rows.iter().map(|row| row.sighting.base).find(|base| *base != first).filter(|_| drawing.stage.has_no_bases)?;
    let label = |base: usize| &drawing.bases[base].label;
    Some(format!(
        "{measure} of {name} was measured from the stands {} and {}, and how they lie to each other is not known; name their positions \
         under [bases]",
        label(first),
        label(other)
    ))
}

/// The settings of the job.
fn settings(job: &Job) -> MeasureSettings<'static> {
    MeasureSettings {
        agreement_sigmas: job.checks.agreement_sigmas,
        plane_sight: plane_sight::PlaneSettings::default(),
        offset_limit_m: job.measures.profile_offset_limit_m.unwrap_or(profile::OFFSET_LIMIT_M),
        values_only: false,
    }
}

/// What each value errs by. Of sights onto a level surface nothing is told: it has errors of its own.
fn arms_of(group: &Group, made: &Composed, job: &Job) -> Vec<([String; 3], ValueArms)> {
    if group.measure == "plane_sight" && group.sightings.iter().all(|row| row.role == "sight") {
        return Vec::new();
    }
    let names = made.values.iter().chain(made.details.iter().flat_map(|detail| &detail.values)).map(|value| value.name);
    let key = |name: &str| [group.measure.clone(), group.name.clone(), name.to_owned()];
    let arms = arms::of_group(group, made, &settings(job)).unwrap_or_default();
    names.zip(arms).map(|(name, arms)| (key(name), arms)).collect()
}

/// A group computed with the settings of the job.
fn computed(
    drawing: &LinesAndAreas,
    group: &Group,
    rows: &[&CollectedRow],
    job: &Job,
) -> Result<Result<Composed, Refusal>, CrsError> {
    let settings = settings(job);
    let seen = match level_of(drawing, group, rows, job) {
        Ok(seen) => seen,
        Err(why) => return Ok(Err(format!("{} of {}: {why}", group.measure, group.name).into())),
    };
    let Some(seen) = seen else { return Ok(measure::compose(group, &settings)) };
    let onto = |raised_m: f64| {
        let plane_sight = plane_sight::PlaneSettings { level: Some(seen.level(raised_m)), ..settings.plane_sight };
        measure::compose(group, &MeasureSettings { plane_sight, ..settings })
    };
    let first = onto(0.0);
    // The geoid where the sight meets the level is not quite the geoid at the base.
    let Some((base, at)) = first.as_ref().ok().and_then(|made| made.parts.first()).map(|part| (part.base, part.at)) else {
        return Ok(first);
    };
    let there = drawing.place(base, &[at], true)?[0].undulation;
    match (drawing.stage.table.bases[base].heights.undulation, there) {
        (Some(here), Some(there)) if seen.follows_geoid && here.source == there.source => {
            let raised_m = there.metres - here.metres;
            Ok(if raised_m.abs() > FOLLOWED_M { onto(raised_m) } else { first })
        }
        _ => Ok(first),
    }
}

/// The level surface of the job that a sight onto a plane without shots of it meets.
fn level_of(
    drawing: &LinesAndAreas,
    group: &Group,
    rows: &[&CollectedRow],
    job: &Job,
) -> Result<Option<level::LevelSeen>, level::NotSeen> {
    if group.measure != "plane_sight" || rows.iter().any(|row| row.sighting.role != "sight") {
        return Ok(None);
    }
    let named = rows.iter().find_map(|row| row.level.as_deref());
    let Some((name, level)) = job.measures.level(named, &group.name)? else { return Ok(None) };
    let base = &drawing.stage.table.bases[group.sightings[0].base];
    level::seen(name, level, base, &job.units).map(Some)
}

/// Makes the records of a measurement.
fn record(
    drawing: &mut LinesAndAreas,
    group: &Group,
    rows: &[&CollectedRow],
    made: Composed,
    job: &Job,
    records: &mut Records,
) -> Result<(), CrsError> {
    let stage = drawing.stage;
    let Composed { method, values, parts, shape, warnings, details, stations } = made;
    let (measure, name) = (&group.measure, &group.name);
    let is_span = measure == "span";
    let times = Times::from_rows(rows.iter().map(|row| row.when));
    let conditions = is_span.then(|| conditions::told(&rows.iter().map(|row| &row.conditions).collect::<Vec<&Conditions>>()));
    let caution = caution_of(measure);
    let threshold_m = job.measures.threshold_m(name).filter(|_| is_span);
    let (warnings, bases) = (told(&warnings), drawing.labels(group.sightings.iter().map(|sighting| sighting.base)));
    let (base, place) = (group.sightings[0].base, group.sightings[0].place);
    let codes: HashMap<(usize, u64), &String> =
        rows.iter().filter_map(|row| Some((row.sighting.place, row.code.as_ref()?))).collect();
    let code_of = |place| codes.get(&place).map(|code| (*code).clone());
    let (least_values, least_to) = least_of(&values, &details, &code_of);
    let mut thing = Thing {
        measure: measure.clone(),
        name: name.clone(),
        code: rows.iter().find_map(|row| row.code.clone()),
        values: least_values,
        least_to,
        threshold: None,
        bases: bases.clone(),
        times,
        warnings: warnings.clone(),
        conditions: conditions.clone(),
        caution,
        source_file: stage.logs.files[place.0].info.name.clone(),
        source_line: place.1,
    };
    let nearest = ["least_vertical_distance_m", "least_straight_distance_m"].into_iter().find_map(|name| thing.value(name));
    thing.threshold = threshold_m.zip(nearest).map(|(metres, value)| (metres, against_threshold(&value, metres).words()));
    records.things.push(thing);
    let mut push = |target: Option<String>, (file, line): (usize, u64), value: NamedValue, warnings: &str| {
        let is_clearance = target.is_some() && value.name.ends_with("_distance_m");
        let threshold = threshold_m.filter(|_| is_clearance);
        records.values.push(MeasurementRecord {
            measure: measure.clone(),
            name: name.clone(),
            quantity: value.name.to_owned(),
            target,
            estimate: value.estimate,
            method: method.clone(),
            warnings: warnings.to_owned(),
            times,
            conditions: conditions.clone(),
            threshold: threshold.map(|metres| (metres, against_threshold(&value.estimate, metres).words())),
            caution,
            bases: bases.clone(),
            source_file: stage.logs.files[file].info.name.clone(),
            source_line: line,
        });
    };
    for (target, place, value, warnings) in pieces(values, place, details, &warnings, &code_of) {
        push(target, place, value, &warnings);
    }
    record_parts(drawing, group, parts, records)?;
    record_stations(drawing, name, stations, &code_of, records)?;
    let record = StringRecord {
        name: name.clone(),
        code: None,
        flags: Flags::default(),
        origin: measure.clone(),
        vertices: 0,
        measures: None,
        bases,
        warnings,
        times,
        conditions,
        caution,
    };
    draw(drawing, base, shape, record)
}

/// A value with what it is to, its row and its warnings.
type PieceValue = (Option<String>, (usize, u64), NamedValue, String);

/// The values of the whole, and those of its pieces.
fn pieces(
    values: Vec<NamedValue>,
    place: (usize, u64),
    details: Vec<Detail>,
    warnings: &str,
    code_of: &impl Fn((usize, u64)) -> Option<String>,
) -> Vec<PieceValue> {
    let mut pieces: Vec<PieceValue> = values.into_iter().map(|value| (None, place, value, warnings.to_owned())).collect();
    for Detail { target, place, values, warnings: own } in details {
        let target = match code_of(place) {
            Some(code) => format!("{target}, {code}"),
            None => target,
        };
        let warnings = own.map_or_else(|| warnings.to_owned(), |own| told(&own));
        pieces.extend(values.into_iter().map(|value| (Some(target.clone()), place, value, warnings.clone())));
    }
    pieces
}

/// The values of the whole and the least of those of its pieces, and what these are to.
fn least_of(
    values: &[NamedValue],
    details: &[Detail],
    code_of: &impl Fn((usize, u64)) -> Option<String>,
) -> (Vec<(&'static str, Estimate)>, Option<String>) {
    let least = |name: &str| name.starts_with("least_");
    let of_whole = values.iter().chain(details.iter().flat_map(|detail| &detail.values).filter(|value| least(value.name)));
    let least_to = details.iter().find(|detail| detail.values.iter().any(|value| least(value.name)));
    let least_to = least_to.map(|detail| match code_of(detail.place) {
        Some(code) => format!("{}, {code}", detail.target),
        None => detail.target.clone(),
    });
    (of_whole.map(|value| (value.name, value.estimate)).collect(), least_to)
}

/// The points that a measurement gives.
fn record_parts(
    drawing: &mut LinesAndAreas,
    group: &Group,
    parts: Vec<FoundPoint>,
    records: &mut Records,
) -> Result<(), CrsError> {
    let stage = drawing.stage;
    for FoundPoint { role, at, base, covariance } in parts {
        let placed = drawing.place(base, &[at], true)?[0];
        records.part_positions.push(position(&placed, &stage.placed_bases[base]));
        records.parts.push(PartRecord {
            measure: group.measure.clone(),
            name: group.name.clone(),
            role,
            base: drawing.bases[base].label.clone(),
            placed,
            projected: stage.projected,
            covariance,
        });
    }
    Ok(())
}

/// The shots of a profile.
fn record_stations(
    drawing: &mut LinesAndAreas,
    name: &str,
    stations: Vec<profile::ProfileStation>,
    code_of: &impl Fn((usize, u64)) -> Option<String>,
    records: &mut Records,
) -> Result<(), CrsError> {
    let stage = drawing.stage;
    for (i, station) in stations.into_iter().enumerate() {
        let base = station.part.base;
        let placed = drawing.place(base, &[station.part.at], true)?[0];
        records.station_positions.push(position(&placed, &stage.placed_bases[base]));
        records.stations.push(ProfileRecord {
            profile: name.to_owned(),
            number: i as u64 + 1,
            shot: station.shot,
            role: station.role,
            code: code_of(station.place),
            chainage_m: station.chainage_m,
            offset_m: station.offset_m,
            height_kind: stage.table.bases[base].heights.kind,
            base: drawing.bases[base].label.clone(),
            placed,
            projected: stage.projected,
            covariance: station.part.covariance,
            source_file: stage.logs.files[station.place.0].info.name.to_owned(),
            source_line: station.place.1,
        });
    }
    Ok(())
}

/// The line or area that a measurement gives.
fn draw(drawing: &mut LinesAndAreas, base: usize, shape: Shape, record: StringRecord) -> Result<(), CrsError> {
    let (corners, closed) = match shape {
        Shape::Line(line) => (line, false),
        Shape::Area(ring) => (ring, true),
        Shape::None | Shape::Point(_) => return Ok(()),
    };
    let placed = drawing.place(base, &corners, true)?;
    let mut positions = drawing.positions(base, &placed);
    let record = StringRecord { vertices: corners.len() as u64, ..record };
    if closed {
        close(&mut positions);
        drawing.areas.push((record, positions));
    } else {
        drawing.lines.push((record, positions));
    }
    Ok(())
}

/// Warnings that are told each; more are counted.
const TOLD: usize = 12;

/// Warnings in one text.
fn told(warnings: &[String]) -> String {
    let mut text = warnings.iter().take(TOLD).map(String::as_str).collect::<Vec<_>>().join(" ");
    if warnings.len() > TOLD {
        text.push_str(&format!(" And {} more warnings like these.", warnings.len() - TOLD));
    }
    text
}
