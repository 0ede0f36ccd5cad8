//! One block of shots to records: sighted, located, and the batches of each layer.

use std::collections::BTreeMap;

use rustc_hash::{FxHashMap, FxHashSet};

use super::block::Parsed;
use super::computed::{Computed, entry};
use super::mapped_feature::MappedFeature;
use super::records;
use super::sighting::Sighted;
use super::sizes::Sizes;
use super::stage::{Stage, not_projected};
use crate::geodesy::crs::CrsError;
use crate::geodesy::register::{Shares, SourceShares};
use crate::intake::shot_block::ShotBlock;
use crate::output::layers::features::Feature;
use crate::records::ledger::{Fault, Flag, Outcome, Reason};
use crate::records::shot::ShotRecord;
use crate::shots::locate::Placed;
use crate::stations::base::HeightKind;

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
            shots_of_base: FxHashMap::default(),
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
            if self.has_no_bases {
                match source.words.measure {
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
            mapped.push(MappedFeature {
                record: self.record(shot, placed, file_name),
                base: shot.sighting.base,
                end: shot.end,
                class: shot.class,
                values: Vec::new(),
            });
            kept.push(source);
            if let Some(feature) = mapped.last_mut() {
                self.account(block, shot, feature, &mut computed);
            }
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
}

/// The fault of a shot that belongs to no measurement, in a job without bases.
fn without_place() -> Fault {
    let say = "the job has no bases, so that a shot on its own has no place; name the base logs under [bases], or the measurement that it \
               belongs to in the columns measure, feature and role";
    Fault::new(Reason::NoBase, "", "", say)
}
