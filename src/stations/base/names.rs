//! What the names of bases stand for: one base, several that the time tells apart, a row that was held.

use std::collections::{BTreeMap, HashMap, HashSet};

use super::{Base, BaseTable, Named};
use crate::job::Several;
use crate::records::base_row::{HeldBase, Provenance};
use crate::records::ledger::{Fault, Flag, Reason};
use crate::units::Units;

/// Standard errors of the difference that two positions of one name may be apart.
const SAME_PLACE_SIGMAS: f64 = 3.0;

impl BaseTable {
    /// Flags bases of different names with exactly the same coordinates.
    pub(super) fn flag_same_positions(&mut self) {
        let key = |base: &Base| [base.at.lat_rad.to_bits(), base.at.lon_rad.to_bits(), base.at.ellipsoid_height_m.to_bits()];
        let mut names: HashMap<[u64; 3], (&str, bool)> = HashMap::new();
        for base in &self.bases {
            let seen = names.entry(key(base)).or_insert((&base.row.name, false));
            seen.1 |= seen.0 != base.row.name;
        }
        let shared: Vec<bool> = self.bases.iter().map(|base| names[&key(base)].1).collect();
        for (base, shared) in self.bases.iter_mut().zip(shared) {
            if shared {
                base.flags.raise(Flag::SamePosition);
            }
        }
    }

    /// Fills `by_name`. Where a name stands for places far apart the time of a shot tells which is meant;
    /// bases without times are held.
    pub(super) fn name_all(&mut self, reoccupied: Option<Several>, units: &Units) {
        let mut by_name: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
        for (index, base) in self.bases.iter().enumerate() {
            by_name.entry(&base.row.name).or_default().push(index);
        }
        let mut apart: HashMap<usize, f64> = HashMap::new();
        let mut repeated: Vec<usize> = Vec::new();
        let mut several: HashMap<usize, bool> = HashMap::new();
        for indexes in by_name.values().filter(|indexes| indexes.len() > 1) {
            let first = &self.bases[indexes[0]];
            let separation = |other: &Base| {
                let [e, n, _] =
                    first.frame.from_earth_centred(other.at.to_earth_centred(self.datums[other.datum].crs.ellipsoid()));
                e.hypot(n)
            };
            let greatest = indexes.iter().map(|i| separation(&self.bases[*i])).fold(0.0, f64::max);
            let sigma = indexes.iter().map(|i| self.bases[*i].covariance.ee.sqrt()).fold(0.0, f64::max);
            let disagree = greatest > SAME_PLACE_SIGMAS * std::f64::consts::SQRT_2 * sigma;
            let timed = indexes.iter().all(|i| !self.bases[*i].row.windows.is_empty());
            let kept_apart =
                reoccupied == Some(Several::Apart) || indexes.iter().all(|i| self.bases[*i].row.occupation.is_some());
            if timed && (disagree || kept_apart) {
                several.extend(indexes.iter().map(|i| (*i, disagree)));
            } else if disagree {
                indexes.iter().for_each(|i| {
                    apart.insert(*i, greatest);
                });
            } else {
                repeated.extend(&indexes[1..]);
            }
        }
        for index in repeated {
            self.bases[index].flags.raise(Flag::RepeatedBase);
        }
        for (index, disagree) in &several {
            if *disagree {
                self.bases[*index].flags.raise(Flag::OccupationsDisagree);
            }
        }
        for held in &self.held {
            if let Some(name) = &held.name {
                self.by_name.insert(name.clone(), Named::Held(held.fault.sentence.clone()));
            }
        }
        for (row, fault) in &self.unmade {
            self.by_name.insert(row.name.clone(), Named::Held(fault.sentence.clone()));
        }
        let mut kept = Vec::with_capacity(self.bases.len());
        for (index, base) in std::mem::take(&mut self.bases).into_iter().enumerate() {
            match apart.get(&index) {
                Some(greatest) => {
                    let greatest = units.length().said(*greatest, 1);
                    self.by_name.insert(base.row.name.clone(), Named::Ambiguous(greatest.clone()));
                    let say = format!("positions {greatest} apart bear the name {}; rename one", base.label);
                    let fault = Fault::new(Reason::AmbiguousBase, &base.row.name_header, &base.label, say);
                    self.unmade.push((base.row, fault));
                }
                None => {
                    let here = kept.len();
                    let entry = self.by_name.entry(base.row.name.clone());
                    entry
                        .and_modify(|named| match named {
                            Named::Several(indexes) => indexes.push(here),
                            Named::Base(first) if several.contains_key(&index) => *named = Named::Several(vec![*first, here]),
                            Named::Base(_) => {}
                            _ => *named = Named::Base(here),
                        })
                        .or_insert(Named::Base(here));
                    kept.push(base);
                }
            }
        }
        self.bases = kept;
    }

    /// Holds every row and fix of the bases that cannot be used, but those that another base is made of too.
    pub(super) fn hold_unmade(&mut self) {
        let unmade = std::mem::take(&mut self.unmade);
        let mut taken: HashSet<*const u8> = HashSet::new();
        if !unmade.is_empty() {
            taken.extend(self.bases.iter().flat_map(|base| &base.row.origins).map(|origin| origin.raw.as_ptr()));
        }
        for (row, fault) in unmade {
            for Provenance { file, line, raw } in row.all_origins() {
                if row.origins.is_empty() || taken.insert(raw.as_ptr()) {
                    let place = (file, line, raw.to_string());
                    self.held.push(HeldBase { name: Some(row.name.clone()), place, fault: fault.clone() });
                }
            }
        }
        self.held.sort_by_key(|held| (held.place.0, held.place.1));
    }

    /// Holds the bases for which `judge`, by index, finds a fault: their names then stand for that.
    pub fn hold_where(&mut self, judge: impl Fn(usize) -> Option<Fault>) {
        let mut moved = Vec::with_capacity(self.bases.len());
        let mut kept = Vec::with_capacity(self.bases.len());
        for (index, base) in std::mem::take(&mut self.bases).into_iter().enumerate() {
            match judge(index) {
                None => {
                    moved.push(Ok(kept.len()));
                    kept.push(base);
                }
                Some(fault) => {
                    moved.push(Err(fault.sentence.clone()));
                    self.unmade.push((base.row, fault));
                }
            }
        }
        self.bases = kept;
        self.hold_unmade();
        for named in self.by_name.values_mut() {
            let indexes = match named {
                Named::Base(index) => vec![*index],
                Named::Several(indexes) => std::mem::take(indexes),
                _ => continue,
            };
            let (found, lost): (Vec<_>, Vec<_>) = indexes.into_iter().map(|index| moved[index].clone()).partition(Result::is_ok);
            let mut found: Vec<usize> = found.into_iter().flatten().collect();
            *named = match (found.len(), lost.into_iter().find_map(Result::err)) {
                (0, sentence) => Named::Held(sentence.unwrap_or_default()),
                (1, _) => Named::Base(found.remove(0)),
                _ => Named::Several(found),
            };
        }
    }

    /// Remembers names that have no position, and why.
    pub fn note_absent(&mut self, absent: &[(String, String)]) {
        for (name, why) in absent {
            self.by_name.entry(name.clone()).or_insert_with(|| Named::Absent(why.clone()));
        }
    }
}
