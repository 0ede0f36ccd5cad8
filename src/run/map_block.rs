//! One block of shots to records: sighted, located, and the batches of each layer.

use std::collections::{BTreeMap, HashMap};

use rustc_hash::FxHashSet;

use super::block::Parsed;
use super::carried::carried_column;
use super::coded::{self, Class, Coded};
use super::composed::{CollectedRow, Joinable};
use super::records::{self, MappedFeature};
use super::sighting::Sighted;
use super::standing::{Sizes, Standing};
use super::waiting::Waiting;
use crate::geodesy::covariance::Covariance;
use crate::geodesy::crs::CrsError;
use crate::geodesy::frame::Geodetic;
use crate::geodesy::geoid;
use crate::geodesy::register::{Origin, Shares, SourceShares};
use crate::intake::base_logs::BaseLogs;
use crate::intake::shot_block::ShotBlock;
use crate::intake::shot_logs::ShotLogs;
use crate::job::LayerName;
use crate::job::catalogue::Geometry;
use crate::numeric::signs::Signs;
use crate::output::columns::{Batch, Column, Geometries, LayerKey, NO_HEIGHT, Position};
use crate::output::layers::bases::PlacedBase;
use crate::output::layers::features::Feature;
use crate::output::layers::{bases, ledger};
use crate::records::ledger::{Counts, Entry, Fault, Flag, Flags, Outcome, Reason};
use crate::records::shot::{RowPlace, ShotRecord, Words};
use crate::shots::locate::{Locator, Placed};
use crate::shots::located::Parts;
use crate::shots::north::Norths;
use crate::shots::reduce::Vector;
use crate::stations::base::{Base, BaseTable, HeightKind};
use crate::stations::join::Joiner;
use crate::stations::orientation::Orientation;
use crate::units::Units;

/// What the computation of a block needs.
pub struct Stage<'j> {
    pub joiner: &'j Joiner<'j>,
    /// What is added to each base's azimuths.
    pub orientations: &'j [Option<Orientation>],
    pub table: &'j BaseTable,
    pub logs: &'j ShotLogs,
    pub locator: &'j Locator<'j>,
    /// What brings azimuths to true north.
    pub norths: Norths<'j>,
    /// Instrument height in metres where neither the row nor its base gives one.
    pub instrument_height_m: Option<f64>,
    /// Where each base lies in the CRS of the layers.
    pub placed_bases: Vec<Placed>,
    /// Whether the CRS of the layers has eastings and northings.
    pub projected: bool,
    /// Metres in the unit of its eastings and northings.
    pub grid_unit_m: f64,
    /// The bases with what they err by.
    pub origins: &'j [Origin],
    /// Places of the rows that a network accounts for.
    pub network_rows: &'j FxHashSet<(usize, u64)>,
    /// Prints of the names of features that were shot more than once.
    pub repeated: &'j FxHashSet<u64>,
    /// The catalogue.
    pub coded: Option<&'j Coded>,
    /// Whether nothing has a place: rows serve the measurements of their stand, or nothing.
    pub has_no_bases: bool,
    /// The layers to make.
    pub wanted: &'j [LayerName],
    /// The units of what is said.
    pub units: Units,
}

/// A computed block.
pub struct Computed<'t> {
    pub file: usize,
    pub counts: Counts,
    pub entries: Vec<Entry>,
    pub batches: Vec<(LayerKey, Batch)>,
    /// Shots mapped, by base.
    pub shots_of_base: HashMap<usize, u64>,
    /// Rows that belong to measurements and strings.
    pub collected: Vec<CollectedRow>,
    /// Features that strings join to.
    pub joinable: Vec<Joinable>,
    /// What the audit found of rows that a network accounts for.
    pub network_flags: Vec<((usize, u64), Flags)>,
    /// What the shots of a base share with others, each once.
    pub shares: Vec<(usize, Shares)>,
    /// Shots that wait for the others of their feature.
    pub waiting: Vec<Waiting<'t>>,
    /// Features of the catalogue's layers that wait for what is measured of them.
    pub standing: Vec<Standing>,
    /// Rows by codes that the catalogue does not have.
    pub unknown_codes: BTreeMap<String, u64>,
    /// What the uncertainty of the shots mapped comes from.
    pub sources: SourceShares,
}

impl Stage<'_> {
    /// Computes a block.
    ///
    /// # Errors
    /// When PROJ fails as a whole.
    pub fn map_block<'t>(&self, parsed: &Parsed<'t>) -> Result<Computed<'t>, CrsError> {
        let mut computed = Computed {
            file: parsed.block.file,
            counts: parsed.block.counts.clone(),
            entries: Vec::new(),
            batches: Vec::new(),
            shots_of_base: HashMap::new(),
            collected: Vec::new(),
            joinable: Vec::new(),
            network_flags: Vec::new(),
            shares: Vec::new(),
            waiting: Vec::new(),
            standing: Vec::new(),
            unknown_codes: BTreeMap::new(),
            sources: SourceShares::default(),
        };
        let block = &parsed.block;
        let sighted = self.sight_all(parsed, &mut computed);
        let placed = self.place(sighted.iter())?;
        let file_name = self.logs.files[block.file].info.name.as_str();
        let mut mapped: Vec<MappedFeature> = Vec::with_capacity(sighted.len());
        let mut kept: Vec<&ShotRecord> = Vec::with_capacity(sighted.len());
        for (shot, placed) in sighted.iter().zip(&placed) {
            let (source, place) = (&shot.sighting.record, &shot.sighting.record.place);
            if !placed.is_there() {
                computed.hold(place, not_projected());
                continue;
            }
            let record = self.record(shot, placed, file_name);
            if self.has_no_bases {
                match record.measure {
                    Some(_) => {
                        let mut collected = self.collected(block, shot);
                        collected.is_part = true;
                        computed.collected.push(collected);
                    }
                    None => computed.hold(place, without_place()),
                }
                continue;
            }
            if self.waits(source, block, shot.class.layer) {
                computed.waiting.push(self.waiting(shot, block));
                continue;
            }
            let mut feature =
                MappedFeature { record, base: shot.sighting.base, end: shot.end, class: shot.class, values: Vec::new() };
            self.account(block, shot, &mut feature, &mut computed);
            mapped.push(feature);
            kept.push(source);
        }
        if block.has_readings() {
            computed.one_account_a_row(&kept.iter().map(|record| record.place.line).collect::<Vec<_>>());
        }
        computed.tell_of_remarks(block);
        computed.entries.sort_by_key(|entry| entry.line);
        if mapped.is_empty() {
            return Ok(computed);
        }
        computed.batches = records::batches(self, &mapped, &Sizes::default(), &|i, column| kept[i].cell(column))?;
        computed.standing = records::standing(self, &mapped, &|i, column| kept[i].cell(column));
        computed.batches.extend(records::sight_line_batch(self, mapped.iter().map(|feature| (feature.base, &feature.record))));
        Ok(computed)
    }

    /// Sights the rows of a block that are mapped at once; those that a network accounts for, joins and parts are kept apart, and
    /// what cannot be sighted is held.
    fn sight_all<'p>(&'p self, parsed: &'p Parsed, computed: &mut Computed) -> Vec<Sighted<'p>> {
        let block = &parsed.block;
        let mut sighted = Vec::with_capacity(parsed.audits.len());
        let mut recent = None;
        let mut told: FxHashSet<(usize, u32, u32)> = FxHashSet::default();
        let mut parts = parsed.parts.iter().peekable();
        let mut joins = parsed.joins.iter().peekable();
        for (index, audit) in parsed.audits.iter().enumerate() {
            let place = block.place(index);
            if self.network_rows.contains(&(place.file, place.line)) {
                parts.next_if(|(at, _)| *at == index);
                match audit {
                    Err(fault) if fault.reason == Reason::RepeatedRow => computed.hold(&place, fault.clone()),
                    Ok(audited) => computed.network_flags.push(((place.file, place.line), audited.flags)),
                    Err(_) => {}
                }
                continue;
            }
            if joins.next_if(|at| **at == index).is_some() {
                computed.collected.push(self.joining(block, index));
                continue;
            }
            if let (Some((_, base)), Some(record)) = (parts.next_if(|(at, _)| *at == index), block.record(index)) {
                match self.part(block, record, *base, &mut recent) {
                    Ok(part) => computed.collected.push(part),
                    Err(fault) => computed.hold(&place, fault),
                }
                continue;
            }
            match audit
                .as_ref()
                .map_err(Fault::clone)
                .and_then(|audited| self.sight(block, index, (audited.base, audited.flags), &mut recent))
            {
                Ok(shot) => {
                    let (base, shares) = (shot.sighting.base, shot.vector.shares);
                    let is_the_last = |(of, known): &(usize, Shares)| *of == base && known.are_of(&shares);
                    if !computed.shares.last().is_some_and(is_the_last)
                        && told.insert((base, shares.declination, shares.calibration))
                    {
                        computed.shares.push((base, shares));
                    }
                    sighted.push(shot);
                }
                Err(fault) => computed.hold(&place, fault),
            }
        }
        sighted
    }

    /// Accounts for a row that is mapped, and keeps what of it serves measurements and strings.
    fn account(&self, block: &ShotBlock, shot: &Sighted, feature: &mut MappedFeature, computed: &mut Computed) {
        let (source, base) = (&shot.sighting.record, shot.sighting.base);
        let place = &source.place;
        let detail = self.judge(feature, |column| source.cell(column));
        computed.counts.mapped += 1;
        computed.counts.without_height += u64::from(feature.record.height_kind == HeightKind::None);
        *computed.shots_of_base.entry(base).or_default() += 1;
        computed.sources.add(&shot.vector.by_source(&self.origins[base]), feature.record.height_kind != HeightKind::None);
        let flags = feature.record.flags;
        if !flags.is_empty() {
            computed.counts.flag(flags);
            let unread = flags.has(Flag::TimeUnread).then(|| block.unread_time(source.row())).flatten();
            let details: Vec<String> = unread.into_iter().chain(Some(detail).filter(|detail| !detail.is_empty())).collect();
            computed.entries.push(entry(place, Outcome::Flagged(flags, details.join("; "))));
        }
        if flags.has(Flag::UnknownCode) {
            *computed.unknown_codes.entry(feature.record.code.unwrap_or_default().to_owned()).or_default() += 1;
        }
        if feature.record.measure.is_some() || feature.record.string.is_some() {
            let mut collected = self.collected(block, shot);
            collected.is_flagged = !flags.is_empty();
            computed.collected.push(collected);
        } else if !self.logs.joins.is_empty() {
            let point = (base, &shot.vector);
            computed.joinable.extend(self.joinable(feature.record.feature, source.file_and_line(), point, || None));
        }
    }

    /// What the catalogue says of a row that belongs to no measurement and no string.
    pub fn class_of(&self, code: Option<&str>, role: Option<&str>) -> Class<'_> {
        let words = Words { code, role, ..Words::default() };
        self.coded.and_then(|coded| coded.class(&words, "").ok()).unwrap_or_default()
    }

    /// What the catalogue has to say of a feature: attributes, tolerance. Gives the ledger's words.
    pub fn judge<'t>(&self, feature: &mut MappedFeature, cell: impl Fn(usize) -> (&'t str, Signs)) -> String {
        feature.record.flags.join(feature.class.flags);
        let (Some(coded), Some(code)) = (self.coded, feature.class.code) else { return String::new() };
        let read = if matches!(feature.class.layer, LayerKey::Coded(_)) { coded.values(code, cell) } else { Default::default() };
        feature.record.flags.join(read.flags);
        feature.values = read.values;
        if code.geometry == Geometry::Point && coded::misses(code, &feature.record) {
            feature.record.flags.raise(Flag::MissesTolerance);
        }
        read.detail
    }

    /// The side of the cells of a feature's layer, where that is coarse.
    pub fn coarse_cell_m(&self, class: &Class) -> Option<f64> {
        let LayerKey::Coded(layer) = class.layer else { return None };
        self.coded.and_then(|coded| coded.catalogue.layers[layer].coarse_cell_m)
    }

    /// Places shots, runs of one datum at a time.
    pub(super) fn place<'s>(&self, sighted: impl Iterator<Item = &'s Sighted<'s>>) -> Result<Vec<Placed>, CrsError> {
        let sighted: Vec<&Sighted> = sighted.collect();
        let mut placed = Vec::with_capacity(sighted.len());
        let datum_of = |shot: &Sighted| self.table.bases[shot.sighting.base].datum;
        for run in sighted.chunk_by(|a, b| datum_of(a) == datum_of(b)) {
            let points: Vec<(Geodetic, bool, &Base)> =
                run.iter().map(|shot| (shot.end, shot.has_height, &self.table.bases[shot.sighting.base])).collect();
            placed.extend(self.locator.place(datum_of(run[0]), &points)?);
        }
        Ok(placed)
    }

    fn record<'r>(&'r self, shot: &'r Sighted<'r>, placed: &Placed, source_file: &'r str) -> Feature<'r> {
        let (sighting, source) = (&shot.sighting, &shot.sighting.record);
        let (words, readings) = (&source.words, source.readings());
        let parts = shot.vector.parts(&self.origins[sighting.base]);
        Feature {
            feature: words.feature.as_deref(),
            shot: words.shot.as_deref(),
            code: words.code,
            string: words.string,
            measure: words.measure,
            role: words.role,
            echo: words.echo,
            when: readings.when,
            true_azimuth_rad: shot.azimuth.azimuth_rad,
            declination_rad: shot.azimuth.declination_rad,
            face_diameter_m: readings.face_diameter_m.map_or(f64::NAN, |(diameter_m, _)| diameter_m),
            flags: sighting.flags,
            source_file,
            source_line: source.place.line,
            ..self.feature(placed, sighting.base, &shot.vector, &parts, shot.class)
        }
    }

    /// The record of a point by the vector from a base and its covariance by cause; names, time and lineage are the caller's to
    /// fill in.
    pub fn feature<'r>(&'r self, placed: &Placed, index: usize, vector: &Vector, parts: &Parts, class: Class<'r>) -> Feature<'r> {
        let base = &self.table.bases[index];
        let covariance = parts.total();
        let whole = covariance.horizontal_variance();
        let share = |part: &Covariance| part.horizontal_variance() / whole;
        let height_kind = if vector.up_m.is_some() { base.heights.kind } else { HeightKind::None };
        Feature {
            feature: None,
            code: None,
            code_title: class.code.map(|code| code.title.as_str()),
            shot: None,
            base: &base.label,
            string: None,
            measure: None,
            role: None,
            echo: None,
            when: None,
            placed: *placed,
            projected: self.projected,
            horizontal_m: vector.horizontal_m,
            true_azimuth_rad: f64::NAN,
            declination_rad: f64::NAN,
            height_kind,
            sigma_geoid_m: placed.undulation.map_or(f64::NAN, |undulation| undulation.sigma_m.unwrap_or(geoid::SIGMA_M)),
            covariance,
            ellipse: covariance.ellipse95(),
            shares: [share(&parts.base), share(&parts.direction), share(&parts.distance)],
            face_diameter_m: f64::NAN,
            coarse_cell_m: self.coarse_cell_m(&class).unwrap_or(f64::NAN),
            shots_used: 1,
            shots_aside: 0,
            spread_m: f64::NAN,
            flags: Flags::default(),
            source_file: "",
            source_line: 0,
        }
    }
}

impl Computed<'_> {
    /// Rows of several readings have one account each: mapped where any reading is, else collected, else held for the first
    /// fault; a reading that is held beside others is a suspicion of its row. `mapped` are the lines of readings that were mapped.
    fn one_account_a_row(&mut self, mapped: &[u64]) {
        let mut lines: BTreeMap<u64, u64> = BTreeMap::new();
        mapped.iter().for_each(|line| *lines.entry(*line).or_default() += 1);
        self.counts.mapped -= lines.values().map(|readings| readings - 1).sum::<u64>();
        let mut collected: FxHashSet<u64> = FxHashSet::default();
        for part in &mut self.collected {
            let line = part.sighting.place.1;
            // The row is told once.
            let is_mapped = part.is_part && lines.contains_key(&line);
            part.is_told = !collected.insert(line) || is_mapped;
        }
        let mut held: FxHashSet<u64> = FxHashSet::default();
        let mut entries = Vec::with_capacity(self.entries.len());
        for mut entry in std::mem::take(&mut self.entries) {
            if let Outcome::Held(fault) = &entry.outcome {
                let is_used = lines.contains_key(&entry.line) || collected.contains(&entry.line);
                if !held.insert(entry.line) || is_used {
                    let of_reason = self.counts.held.entry(fault.reason).or_default();
                    *of_reason -= 1;
                    if *of_reason == 0 {
                        self.counts.held.remove(&fault.reason);
                    }
                    if !is_used {
                        continue;
                    }
                    let mut flags = Flags::default();
                    flags.raise(Flag::ReadingHeld);
                    self.counts.flag(flags);
                    entry.outcome = Outcome::Flagged(flags, fault.sentence.clone());
                }
            }
            entries.push(entry);
        }
        self.entries = entries;
    }

    /// Rows of which only parts are used have no flags of their own: that a remark was joined is told here.
    fn tell_of_remarks(&mut self, block: &ShotBlock) {
        let told: FxHashSet<u64> = self.entries.iter().map(|entry| entry.line).collect();
        let parts = self.collected.iter().filter(|part| part.is_part).map(|part| part.sighting.place.1);
        let mut parts: FxHashSet<u64> = parts.filter(|line| !told.contains(line)).collect();
        if parts.is_empty() {
            return;
        }
        for record in (0..block.rows_read().len()).filter_map(|index| block.record(index)) {
            if record.read.flags.has(Flag::RemarkJoined) && parts.remove(&record.place.line) {
                let mut flags = Flags::default();
                flags.raise(Flag::RemarkJoined);
                self.counts.flag(flags);
                self.entries.push(entry(&record.place, Outcome::Flagged(flags, String::new())));
            }
        }
    }

    fn hold(&mut self, place: &RowPlace, fault: Fault) {
        self.counts.hold(fault.reason);
        self.entries.push(entry(place, Outcome::Held(fault)));
    }
}

/// The fault of a shot that belongs to no measurement, in a job without bases.
fn without_place() -> Fault {
    let say = "the job has no bases, so that a shot on its own has no place; name the base logs under [bases], or the measurement that it \
               belongs to in the columns measure, feature and role";
    Fault::new(Reason::NoBase, "", "", say)
}

/// The fault of a position that the CRS of the layers cannot express.
pub fn not_projected() -> Fault {
    Fault::new(Reason::NotProjected, "", "", "the position has no image in the CRS of the layers")
}

fn entry(place: &RowPlace, outcome: Outcome) -> Entry {
    Entry { file: place.file, line: place.line, row: place.text.to_owned(), outcome }
}

/// The position of a geometry; `base` stands in for a height that is not known.
pub fn position(placed: &Placed, base: &Placed) -> Position {
    Position {
        x: placed.x,
        y: placed.y,
        z: placed.z.unwrap_or(f64::NAN),
        ellipsoid_height_m: placed.ellipsoid_height_m.unwrap_or(f64::NAN),
        stand_in_z: placed.z.or(base.z).unwrap_or(NO_HEIGHT),
    }
}

/// Where each base lies in the CRS of the layers.
///
/// # Errors
/// When PROJ fails as a whole.
pub fn place_bases(table: &BaseTable, locator: &Locator) -> Result<Vec<Placed>, CrsError> {
    let mut placed = Vec::with_capacity(table.bases.len());
    for base in &table.bases {
        placed.extend(locator.place(base.datum, &[(base.at, base.heights.kind != HeightKind::None, base)])?);
    }
    Ok(placed)
}

/// The bases layer's records.
pub fn bases_batch(stage: &Stage, shots: &[u64], logs: &BaseLogs) -> Batch {
    let (placed, bases) = (&stage.placed_bases, &stage.table.bases);
    // A point that no shot is from, such as where the car stood, tells of a place that is kept coarse and serves nothing.
    let has_coarse = stage.coded.is_some_and(|coded| coded.catalogue.has_coarse());
    let is_told = |index: &usize| !has_coarse || shots[*index] > 0;
    let records: Vec<PlacedBase> = bases
        .iter()
        .enumerate()
        .filter(|(index, _)| is_told(index))
        .map(|(index, base)| PlacedBase {
            base,
            placed: placed[index],
            projected: stage.projected,
            orientation: stage.orientations[index],
            shots: shots[index],
            source_file: &logs.files[base.row.file].info.name,
        })
        .collect();
    let mut columns: Vec<Column> = bases::definitions().iter().map(|field| field.column(&records)).collect();
    columns.extend(logs.carried.iter().map(|carried| {
        carried_column(carried, records.len(), |i| {
            let row = &records[i].base.row;
            let extra = carried.index_by_file[row.file];
            let cell = extra.and_then(|index| row.extras.get(index)).map_or("", String::as_str);
            let signs = extra.and_then(|index| logs.files[row.file].extra_signs().get(index).copied());
            (cell, signs.unwrap_or_default())
        })
    }));
    Batch {
        len: records.len(),
        geometries: Geometries::Points(records.iter().map(|base| position(&base.placed, &base.placed)).collect()),
        columns,
    }
}

/// The ledger layer's records.
pub fn ledger_batch(records: &[ledger::Record]) -> Batch {
    Batch {
        len: records.len(),
        geometries: Geometries::None,
        columns: ledger::definitions().iter().map(|field| field.column(records)).collect(),
    }
}
