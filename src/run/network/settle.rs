//! What the network gives the layers: points of features, adjusted stations, residuals, and an entry of the ledger for
//! each row that took part.

use std::collections::BTreeMap;

use super::read::Target;
use super::unit::ReadingUnit;
use super::{AdjustedNetwork, account};
use crate::geodesy::covariance::Covariance;
use crate::geodesy::crs::CrsError;
use crate::geodesy::frame::{Geodetic, full_circle_rad};
use crate::geodesy::register::{Arm, BySource, Cause, ErrorId, ErrorSource as OfError, Located};
use crate::job::LayerName;
use crate::network::{Residual, Solved, Source};
use crate::numeric::signs::Signs;
use crate::output::columns::{Batch, Geometries, LayerKey};
use crate::output::layers::adjusted::AdjustedRecord;
use crate::output::layers::features::Feature;
use crate::output::layers::residuals::ResidualRecord;
use crate::output::layers::{self, adjusted, corrections, residuals};
use crate::records::ledger::{Entry, Flag, Flags, Outcome};
use crate::run::coded::RowCoding;
use crate::run::mapped_feature::MappedFeature;
use crate::run::settlement::Settlement;
use crate::run::sizes::Sizes;
use crate::run::stage::{Stage, position};
use crate::run::{records, standing};
use crate::shots::locate::Placed;
use crate::shots::located::CovarianceParts;
use crate::shots::reduce::Vector;
use crate::stations::base::HeightKind;
use crate::units::Units;

/// What the readings of one row came to.
#[derive(Default)]
struct RowResult {
    words: Vec<String>,
    used: usize,
    rejected: usize,
}

/// Makes the records. `audited` has the flags that the stream's audit found for rows of the network.
///
/// # Errors
/// When PROJ fails as a whole.
pub fn settle(
    stage: &Stage,
    adjusted: &AdjustedNetwork,
    audited: &BTreeMap<(usize, u64), Flags>,
    sizes: &Sizes,
) -> Result<Settlement, CrsError> {
    let mut settled = Settlement::default();
    let rows = adjusted.results(&stage.units);
    // A row is claimed where both its ends are placed: where it was taken is a base by then.
    let is_claimed =
        |index: &usize| adjusted.rows.contains(&adjusted.shots[*index].record.place) && adjusted.base_of_shot(*index).is_some();
    let claimed: Vec<usize> = (0..adjusted.shots.len()).filter(is_claimed).collect();
    // What is suspicious about each row, and what there is to say of its feature at the first of its rows.
    let mut flags_of: BTreeMap<usize, Flags> = BTreeMap::new();
    let mut details: BTreeMap<usize, String> = BTreeMap::new();
    let mut by_feature: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
    for index in &claimed {
        let shot = &adjusted.shots[*index];
        let mut flags = shot.record.read.flags;
        flags.join(audited.get(&shot.record.place).copied().unwrap_or_default());
        flags_of.insert(*index, flags);
        match &shot.to {
            Target::Stand(_) => settled.counts.entry(shot.record.place.0).or_default().composed += 1,
            feature => by_feature.entry(adjusted.built.station_of[feature]).or_default().push(*index),
        }
        if let Some(base) = adjusted.base_of_shot(*index) {
            *settled.shots_of_base.entry(base).or_default() += 1;
        }
    }
    let mut groups: Vec<(usize, Vec<usize>)> = by_feature.into_iter().collect();
    groups.sort_by_key(|(_, shots)| adjusted.shots[shots[0]].record.place);
    let mut mapped = Vec::with_capacity(groups.len());
    for (station, shots) in &groups {
        let Some(base) = adjusted.base_of_shot(shots[0]) else { continue };
        let (feature, detail) = point(stage, adjusted, (*station, base), shots, &rows, &flags_of, &mut settled)?;
        flags_of.entry(shots[0]).or_default().join(feature.record.flags);
        details.insert(shots[0], detail);
        mapped.push(feature);
    }
    for index in &claimed {
        let shot = &adjusted.shots[*index];
        let result = rows.get(index);
        let flags = flags_of.entry(*index).or_default();
        if result.is_some_and(|result| result.rejected > 0) {
            flags.raise(Flag::RejectedByTest);
        }
        settled.counts.entry(shot.record.place.0).or_default().flag(*flags);
        let detail = details.remove(index).filter(|detail| !detail.is_empty());
        let words: Vec<String> = detail.into_iter().chain(result.into_iter().flat_map(|result| result.words.clone())).collect();
        let outcome = match result {
            Some(result) if result.used == 0 => Outcome::Rejected(*flags, words.join("; ")),
            _ => Outcome::Used(*flags, words.join("; ")),
        };
        settled.entries.push(Entry {
            file: shot.record.place.0,
            line: shot.record.place.1,
            row: shot.record.row.clone(),
            outcome,
        });
    }
    settled.entries.sort_by_key(|entry| (entry.file, entry.line));
    let cell = |point: usize, index: usize| first_cell(adjusted, &groups[point].1, index);
    settled.batches = records::batches(stage, &mapped, sizes, &cell)?;
    settled.standing = standing::places(&mapped);
    let mut sights = Vec::with_capacity(claimed.len());
    for index in &claimed {
        let Some(base) = adjusted.base_of_shot(*index) else { continue };
        sights.push((base, sight(stage, adjusted, *index, base, flags_of.get(index).copied().unwrap_or_default())?));
    }
    settled.batches.extend(records::sight_line_batch(stage, sights.iter().map(|(base, record)| (*base, record))));
    settled.batches.extend(adjusted_batch(stage, adjusted)?);
    settled.batches.extend(residual_batch(stage, adjusted));
    settled.batches.extend(correction_batch(stage, adjusted));
    Ok(settled)
}

/// The line of sight of a shot, from its base to where the network has its target.
fn sight<'r>(
    stage: &'r Stage,
    adjusted: &'r AdjustedNetwork,
    index: usize,
    base: usize,
    flags: Flags,
) -> Result<Feature<'r>, CrsError> {
    let shot = &adjusted.shots[index];
    let station = adjusted.built.station_of[&shot.to];
    let (placed, _, vector, covariance) = place(stage, adjusted, station, base)?;
    let parts = CovarianceParts { base: covariance, ..CovarianceParts::default() };
    let mut record = stage.feature(&placed, base, &vector, &parts, RowCoding::default());
    record.feature = Some(adjusted.built.network.stations[station].label.as_str());
    record.shot = shot.record.shot.as_deref();
    record.true_azimuth_rad = full_circle_rad(vector.east_m.atan2(vector.north_m));
    record.flags = flags;
    record.source_file = &stage.logs.files[shot.record.place.0].info.name;
    record.source_line = shot.record.place.1;
    Ok(record)
}

fn first_cell<'a>(adjusted: &'a AdjustedNetwork, shots: &[usize], index: usize) -> (&'a str, Signs) {
    let of_shot = |shot: &usize| (adjusted.shots[*shot].record.cells[index].as_str(), adjusted.shots[*shot].record.signs[index]);
    shots.iter().map(of_shot).find(|(text, _)| !text.trim().is_empty()).unwrap_or(("", Signs::POINT))
}

/// The point of a feature, and what the catalogue has to say of it.
fn point<'r>(
    stage: &'r Stage,
    adjusted: &'r AdjustedNetwork,
    (station, index): (usize, usize),
    shots: &[usize],
    rows: &BTreeMap<usize, RowResult>,
    flags_of: &BTreeMap<usize, Flags>,
    settled: &mut Settlement,
) -> Result<(MappedFeature<'r>, String), CrsError> {
    let first = &adjusted.shots[shots[0]];
    let base = &stage.table.bases[index];
    let (placed, end, vector, covariance) = place(stage, adjusted, station, index)?;
    let (code, name) = match &adjusted.built.places[station] {
        Target::Feature(code, name) => (code.as_deref(), name.as_str()),
        Target::Stand(_) => (None, ""),
    };
    let class = stage.class_of(code, None);
    settled
        .joinable
        .extend(stage.joinable(Some(name), first.record.place, (index, &vector), || adjusted.located(stage, station, index)));
    let datum = Covariance::from_sigmas(base.sigma_datum_m, base.sigma_datum_m);
    let parts = CovarianceParts { base: covariance + datum, ..CovarianceParts::default() };
    let mut record: Feature = stage.feature(&placed, index, &vector, &parts, class);
    // The parts of one solution are not told apart.
    record.shares = [f64::NAN; 3];
    record.feature = Some(name);
    record.code = code;
    record.shot = first.record.shot.as_deref();
    record.role = first.record.role.as_deref();
    record.echo = first.record.echo.as_deref();
    record.when = first.record.read.readings.when;
    record.true_azimuth_rad = full_circle_rad(vector.east_m.atan2(vector.north_m));
    record.declination_rad = first.declination_rad;
    let aside = shots.iter().filter(|shot| rows.get(shot).is_some_and(|result| result.used == 0)).count();
    record.shots_used = u32::try_from(shots.len() - aside).unwrap_or(u32::MAX);
    record.shots_aside = u32::try_from(aside).unwrap_or(u32::MAX);
    shots.iter().filter_map(|shot| flags_of.get(shot)).for_each(|flags| record.flags.join(*flags));
    record.face_diameter_m = first.record.read.readings.face_diameter_m.map_or(f64::NAN, |(diameter_m, _)| diameter_m);
    record.source_file = &stage.logs.files[first.record.place.0].info.name;
    record.source_line = first.record.place.1;
    let mut feature = MappedFeature { record, base: index, end, class, values: Vec::new() };
    let detail = stage.judge(&mut feature, |index| first_cell(adjusted, shots, index));
    let mut by_source = BySource::default();
    match adjusted.located(stage, station, index) {
        Some(located) => {
            by_source.add_arms(&located.arms, stage.origins[index].errors.register());
            settled.arms.points.push((first.record.place, located.arms));
        }
        None => by_source.add_covariance(OfError::BasePositions, &(covariance + datum)),
    }
    settled.sources.add(&by_source, feature.record.height_kind != HeightKind::None);
    let counts = settled.counts.entry(first.record.place.0).or_default();
    counts.mapped += 1;
    counts.without_height += u64::from(feature.record.height_kind == HeightKind::None);
    for other in &shots[1..] {
        settled.counts.entry(adjusted.shots[*other].record.place.0).or_default().repeats += 1;
    }
    if feature.record.flags.has(Flag::UnknownCode) {
        *settled.unknown_codes.entry(code.unwrap_or_default().to_owned()).or_default() += shots.len() as u64;
    }
    Ok((feature, detail))
}

/// Where a solved station is: in the CRS of the layers, on the datum, by the vector from a base, with its covariance.
fn place(
    stage: &Stage,
    adjusted: &AdjustedNetwork,
    station: usize,
    index: usize,
) -> Result<(Placed, Geodetic, Vector, Covariance), CrsError> {
    let base = &stage.table.bases[index];
    let ellipsoid = adjusted.built.network.ellipsoid;
    let Some(solved) = adjusted.adjustment.station(station) else {
        let nothing = Vector::exact(0.0, 0.0, None);
        return Ok((stage.placed_bases[index], base.at, nothing, base.covariance));
    };
    let end = Geodetic::from_earth_centred(solved.position, &ellipsoid);
    let [east_m, north_m, up_m] = base.frame.from_earth_centred(solved.position);
    let has_height = solved.has_height && base.heights.kind != HeightKind::None;
    let vector = Vector::exact(east_m, north_m, has_height.then_some(up_m));
    let placed = stage.locator.place(base.datum, &[(end, has_height, base)])?[0];
    Ok((placed, end, vector, solved.covariance))
}

/// The stations that other readings check or that the network placed.
fn adjusted_batch(stage: &Stage, network: &AdjustedNetwork) -> Result<Option<(LayerKey, Batch)>, CrsError> {
    if !stage.wanted.contains(&LayerName::Adjusted) {
        return Ok(None);
    }
    let (mut records, mut positions) = (Vec::new(), Vec::new());
    let (beside, readings) = (network.bases_beside(), network.readings());
    for (component, solved) in network.adjustment.solved.iter().enumerate() {
        for station in &solved.stations {
            let Some(index) = network.base_of[station.station].or(beside[station.station]) else { continue };
            let (placed, _, vector, covariance) = place(stage, network, station.station, index)?;
            let base = &stage.table.bases[index];
            positions.push(position(&placed, &stage.placed_bases[index]));
            records.push(AdjustedRecord {
                name: network.built.network.stations[station.station].label.clone(),
                kind: network.kind_of(station.station, stage),
                network: component as i64 + 1,
                placed,
                projected: stage.projected,
                has_height: vector.up_m.is_some(),
                covariance: covariance + Covariance::from_sigmas(base.sigma_datum_m, base.sigma_datum_m),
                checked: station.checked,
                readings: readings[station.station],
                orientation: station.orientation.or(station.direction_orientation),
            });
        }
    }
    let columns = layers::columns(&adjusted::definitions(), &records);
    let batch = Batch { len: records.len(), geometries: Geometries::Points(positions), columns };
    Ok((batch.len > 0).then(|| (LayerName::Adjusted.into(), batch)))
}

fn residual_batch(stage: &Stage, network: &AdjustedNetwork) -> Option<(LayerKey, Batch)> {
    if !stage.wanted.contains(&LayerName::Residuals) {
        return None;
    }
    let mut records: Vec<ResidualRecord> = Vec::new();
    for (component, solved) in network.adjustment.solved.iter().enumerate() {
        for residual in &solved.residuals {
            records.extend(network.residual_record(stage, component, solved, residual));
        }
    }
    let columns = layers::columns(&residuals::definitions(), &records);
    let batch = Batch { len: records.len(), geometries: Geometries::None, columns };
    (batch.len > 0).then(|| (LayerName::Residuals.into(), batch))
}

/// What the network found of instruments and of errors that readings share.
fn correction_batch(stage: &Stage, network: &AdjustedNetwork) -> Option<(LayerKey, Batch)> {
    let records = account::corrections(network);
    if !stage.wanted.contains(&LayerName::Corrections) || records.is_empty() {
        return None;
    }
    let columns = layers::columns(&corrections::definitions(), &records);
    let batch = Batch { len: records.len(), geometries: Geometries::None, columns };
    Some((LayerName::Corrections.into(), batch))
}

impl AdjustedNetwork {
    /// The base that a shot was taken from; none where that has no place.
    fn base_of_shot(&self, shot: usize) -> Option<usize> {
        let from = Target::Stand(self.shots[shot].from.clone());
        self.built.station_of.get(&from).and_then(|station| self.base_of[*station])
    }

    /// A solved station with all that it errs by; `base` is the index of one that it hangs on, for the steps between datums.
    fn located(&self, stage: &Stage, station: usize, base: usize) -> Option<Located> {
        let (network, solved) =
            self.adjustment.solved.iter().enumerate().find(|(_, solved)| solved.station(station).is_some())?;
        let (place, frame) = (solved.unknowns_of(station)?.place, solved.frame_of(station)?);
        let unit = |axis: usize| std::array::from_fn(|k| if k == axis { 1.0 } else { 0.0 });
        let unknowns = place.iter().enumerate();
        let mut arms: Vec<Arm> =
            unknowns.map(|(axis, unknown)| (ErrorId::new(Cause::Network, network, *unknown), unit(axis))).collect();
        let datum = stage.origins[base].errors.position().iter().filter(|(id, _)| id.cause() == Cause::Datum);
        arms.extend(datum.copied());
        Some(Located { at: solved.station(station)?.position, frame, own: Covariance::default(), arms })
    }

    /// By station: the first base that a shot to it was taken from.
    fn bases_beside(&self) -> Vec<Option<usize>> {
        let mut beside = vec![None; self.built.places.len()];
        for observation in &self.built.network.observations {
            beside[observation.to] = beside[observation.to].or(self.base_of[observation.from]);
        }
        beside
    }

    /// By station: readings at it or to it that took part.
    fn readings(&self) -> Vec<i64> {
        let mut readings = vec![0; self.built.places.len()];
        for residual in self.adjustment.solved.iter().flat_map(|solved| &solved.residuals).filter(|residual| residual.used) {
            if let Source::Observation(index) = residual.source {
                let observation = &self.built.network.observations[index];
                readings[observation.from] += 1;
                readings[observation.to] += 1;
            }
        }
        readings
    }

    fn kind_of(&self, station: usize, stage: &Stage) -> &'static str {
        match self.base_of[station] {
            Some(index) if stage.table.bases[index].from_network => "base without a position",
            Some(_) => "base",
            None => "feature",
        }
    }

    /// What the readings of each shot came to.
    fn results(&self, units: &Units) -> BTreeMap<usize, RowResult> {
        let mut rows: BTreeMap<usize, RowResult> = BTreeMap::new();
        for residual in self.adjustment.solved.iter().flat_map(|solved| &solved.residuals) {
            let Source::Observation(index) = residual.source else { continue };
            let observation = &self.built.network.observations[index];
            let row = rows.entry(observation.source).or_default();
            if residual.used {
                row.used += 1;
            } else {
                row.rejected += 1;
            }
            let unit = ReadingUnit::of_observation(self, index);
            let test = residual.normalised.map_or("unchecked".to_owned(), |w| format!("w {:.1}", w.abs()));
            let rejected = if residual.used { "" } else { ", rejected by test" };
            row.words.push(format!(
                "{} residual {} ({test}{rejected})",
                observation.kind.name(),
                unit.show(residual.residual, units)
            ));
        }
        rows
    }

    fn residual_record(&self, stage: &Stage, component: usize, solved: &Solved, residual: &Residual) -> Option<ResidualRecord> {
        let network = &self.built.network;
        let label = |station: usize| network.stations[station].label.clone();
        let axis = ["east", "north", "up"].get(residual.axis).copied().unwrap_or_default();
        let (kind, from, to, unit, place) = match residual.source {
            Source::Observation(index) => {
                let observation = &network.observations[index];
                let place = self.shots[observation.source].record.place;
                (
                    observation.kind.name().to_owned(),
                    label(observation.from),
                    label(observation.to),
                    ReadingUnit::of_observation(self, index),
                    Some(place),
                )
            }
            Source::Control(station) => (format!("position, {axis}"), label(station), String::new(), ReadingUnit::Metre, None),
            Source::Orientation(station) => ("orientation".into(), label(station), String::new(), ReadingUnit::Degree, None),
            Source::Scale(index) => {
                ("scale".into(), network.instruments.get(index)?.label.clone(), String::new(), ReadingUnit::PerMillion, None)
            }
            Source::Constant(index) => (
                "distance constant".into(),
                network.instruments.get(index)?.label.clone(),
                String::new(),
                ReadingUnit::Metre,
                None,
            ),
            Source::Shared(index) => {
                let label = &network.shared.get(index)?.label;
                let kind = label.strip_prefix("the ").unwrap_or(label).to_owned();
                (kind, String::new(), String::new(), ReadingUnit::of_source(network, residual.source), None)
            }
        };
        Some(ResidualRecord {
            network: component as i64 + 1,
            kind,
            from,
            to,
            unit: unit.word(),
            residual: unit.of_si(residual.residual),
            sigma: unit.of_si(residual.sigma),
            sigma_residual: unit.of_si(residual.sigma_residual),
            redundancy: residual.redundancy,
            normalised: residual.normalised.unwrap_or(f64::NAN),
            critical: solved.critical,
            detectable: residual.detectable.map_or(f64::NAN, |value| unit.of_si(value)),
            outcome: if residual.used { "used" } else { "rejected by test" },
            weight: residual.weight,
            source_file: place.map(|(file, _)| stage.logs.files[file].info.name.clone()),
            source_line: place.map(|(_, line)| line as i64),
        })
    }
}
