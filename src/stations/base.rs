//! Bases settled: each recorded position on the datum where it is computed, with its height, its
//! covariance, its local frame and its grid, and what is suspicious about it.
//!
//! A base is computed on the datum of its own CRS where that datum's ellipsoid lies about the
//! earth's centre as WGS 84's does, with degrees from Greenwich. On other datums heights above the ellipsoid are not what GNSS
//! gives, so that such bases are first brought to WGS 84, by the operation that is best where they lie (`recorded`).
//!
//! A height above the ellipsoid stands on the ellipsoid of its own frame, and so does a geoid: what lies between the two is added
//! ([`crate::geodesy::height_frame`]).

use std::collections::{BTreeMap, HashMap, HashSet};
use std::sync::Arc;

use super::errors::InNetwork;
use super::heights::{self, NamedFrames};
use super::recorded::{FarBases, Located, Source};
use crate::geodesy::covariance::Covariance;
use crate::geodesy::crs::{AreaOfUse, Crs, CrsError, GridFactors, Kind, Operation, Rules};
use crate::geodesy::frame::{Geodetic, LocalFrame};
use crate::geodesy::geoid::{self, GeoidSteps, Undulation};
use crate::geodesy::height_frame::{GeoidFrames, HeightFrame};
use crate::intake::bases::definition_of;
use crate::job::{Bases, Checks, Several};
use crate::records::base_row::HeldBase;
use crate::records::base_row::{BaseRow, Height, Provenance};
use crate::records::ledger::{Fault, Flag, Flags, Reason};
use crate::records::names::label;
use crate::stations::occupation::EmptyWindow;

/// Standard error of a base's horizontal axes where neither log nor job states it, in metres: a
/// hand-held receiver under open sky (common practice, no source).
pub const ASSUMED_SIGMA_HORIZONTAL_M: f64 = 2.5;
/// Standard error of a base's height likewise.
pub const ASSUMED_SIGMA_VERTICAL_M: f64 = 5.0;
/// Bases so near each other share the error of a declination, in metres: crustal fields, which make most of a model's error, extend over tens to
/// hundreds of kilometres (our own choice).
const NEAR_M: f64 = 100_000.0;
/// Standard errors of the difference that two positions of one name may be apart.
const SAME_PLACE_SIGMAS: f64 = 3.0;

/// A base ready to shoot from.
#[derive(Debug, Clone)]
pub struct Base {
    /// Name for people.
    pub label: String,
    /// The row it came from.
    pub row: BaseRow,
    /// Index of its datum in [`BaseTable::datums`].
    pub datum: usize,
    /// Position on the datum; the height is 0 where none is known.
    pub at: Geodetic,
    /// Heights of the ground point.
    pub heights: BaseHeights,
    /// Covariance of the position, shared by all its shots.
    pub covariance: Covariance,
    /// The unknowns of a network that its place is, where one moved it.
    pub in_network: Option<InNetwork>,
    /// Standard error in metres of each axis that the steps between datums add.
    pub sigma_datum_m: f64,
    /// The same by step, with the number of each in the run: shared by all bases that go the same way.
    pub datum_errors: Vec<(usize, f64)>,
    /// Number of the group of bases near each other that it belongs to: they share the error of a declination.
    pub neighbours: u32,
    /// The operation that brought it to the datum, as an index into [`BaseTable::operations`]; none where it was there, or where the
    /// conversion is exact.
    pub step: Option<usize>,
    /// Longitude and latitude from Greenwich in degrees on the datum that it was recorded on, where that is the datum of the layers.
    pub recorded_deg: Option<[f64; 2]>,
    /// What is added to the undulations of the geoids, so that they are counted from the ellipsoid of the datum.
    pub geoid_steps: GeoidSteps,
    /// Epoch of the coordinates as a year with its fraction, where it is known.
    pub epoch: Option<f64>,
    /// East, north, up at the base.
    pub frame: LocalFrame,
    /// Mean radius of the earth at the base, in metres.
    pub earth_radius_m: f64,
    /// The grid that grid azimuths mean.
    pub grid: Option<GridFactors>,
    /// Whether a network of shots made its position better.
    pub adjusted: bool,
    /// Whether it has no position but what the network gave it.
    pub from_network: bool,
    /// Suspicions.
    pub flags: Flags,
}

/// What is known of a base's heights, in metres.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct BaseHeights {
    /// Kind of the height that was recorded.
    pub kind: HeightKind,
    /// Above the ellipsoid.
    pub ellipsoid_m: Option<f64>,
    /// Above the geoid.
    pub orthometric_m: Option<f64>,
    /// Height of the geoid above the ellipsoid, where a geoid is used.
    pub undulation: Option<Undulation>,
}

/// What a height is measured from.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum HeightKind {
    /// No height is known.
    #[default]
    None,
    /// The ellipsoid.
    Ellipsoid,
    /// The geoid or a vertical datum.
    Orthometric,
}

impl HeightKind {
    /// The word in files.
    pub fn word(self) -> &'static str {
        match self {
            HeightKind::None => "none",
            HeightKind::Ellipsoid => "ellipsoidal",
            HeightKind::Orthometric => "orthometric",
        }
    }
}

/// A datum on which bases are computed.
pub struct Datum {
    /// Its geographic CRS with ellipsoidal height.
    pub crs: Crs,
    /// The frame of heights on it.
    pub frame: Arc<HeightFrame>,
}

/// All bases of a job.
pub struct BaseTable {
    /// The bases in the order of the logs.
    pub bases: Vec<Base>,
    /// Rows held.
    pub held: Vec<HeldBase>,
    /// Datums.
    pub datums: Vec<Datum>,
    /// Operations used to reach the datums; each base has an index into it.
    pub operations: Vec<Operation>,
    /// What a name stands for.
    pub by_name: HashMap<String, Named>,
    /// Occupations without a usable fix.
    pub empty_windows: Vec<EmptyWindow>,
    /// Bases that cannot be used, until their rows and fixes are held.
    unmade: Vec<(BaseRow, Fault)>,
    /// Whether a standard error had to be assumed (horizontal, vertical).
    pub assumed: (bool, bool),
}

/// What a base name stands for.
#[derive(Debug, Clone, PartialEq)]
pub enum Named {
    /// A usable base, by index.
    Base(usize),
    /// Several positions, by index; the time tells which is meant.
    Several(Vec<usize>),
    /// A row that was held, with the sentence of its fault.
    Held(String),
    /// No position at all, and why.
    Absent(String),
    /// Positions far apart: the greatest separation in metres.
    Ambiguous(f64),
}

/// What the settling of bases needs from the job.
pub struct Settings<'j> {
    /// The `[bases]` table.
    pub bases: &'j Bases,
    /// The `[known]` table.
    pub known: Option<&'j Bases>,
    /// The `[checks]` table.
    pub checks: &'j Checks,
    /// The CRS of the layers.
    pub output: &'j Crs,
    /// The CRS that grid azimuths mean, where the job names one.
    pub grid: Option<&'j Crs>,
    /// What may be used between datums.
    pub rules: Rules,
    /// The geoids.
    pub geoid: &'j geoid::Geoid,
    /// The frames that they belong to.
    pub geoid_frames: &'j GeoidFrames,
    /// Whether bases may lie far outside the area of their CRS.
    pub allow_outside_area: bool,
}

impl BaseTable {
    /// Settles base rows.
    ///
    /// # Errors
    /// When a CRS or a transformation cannot be used. Rows that cannot be used are held.
    pub fn settle(rows: Vec<BaseRow>, held: Vec<HeldBase>, settings: &Settings) -> Result<BaseTable, CrsError> {
        let mut sources: BTreeMap<String, Source> = BTreeMap::new();
        let mut table = BaseTable {
            bases: Vec::with_capacity(rows.len()),
            held: Vec::new(),
            datums: Vec::new(),
            operations: Vec::new(),
            by_name: HashMap::new(),
            empty_windows: Vec::new(),
            unmade: Vec::new(),
            assumed: (false, false),
        };
        let frames = NamedFrames::of(settings)?;
        let mut far = FarBases::default();
        let count = rows.len();
        for row in rows {
            let definition = match definition_of(&row, settings.bases) {
                Ok(definition) => definition,
                Err(fault) => {
                    table.unmade.push((row, fault));
                    continue;
                }
            };
            if !sources.contains_key(&definition) {
                let source = Source::open(&definition, &mut table.datums, settings)?;
                sources.insert(definition.clone(), source);
            }
            let source = &sources[&definition];
            let recorded = source.coordinates(&row)?;
            let height = heights::recorded(&row, settings.geoid);
            // A height on a frame that the job names goes a way of its own.
            let height_in = match height {
                Some(Height::Ellipsoid(metres)) if source.takes_height && frames.of_row(&row).is_none() => metres,
                _ => 0.0,
            };
            let located = match source.locate(recorded, height_in).map_err(|error| error.at_base(&label(&row.name)))? {
                Ok(located) => located,
                Err(fault) => {
                    table.unmade.push((row, fault));
                    continue;
                }
            };
            if let Some(km) = source.far_km(&located).filter(|_| !settings.allow_outside_area) {
                far.take(&label(&row.name), &row, source, recorded, &located, km);
                continue;
            }
            let settled = table.settle_one(&row, source, &located, height, &frames, settings);
            match settled.map_err(|error| error.at_base(&label(&row.name)))? {
                Ok(base) => table.bases.push(base),
                Err(fault) => table.unmade.push((row, fault)),
            }
        }
        if let Some(error) = far.error(count) {
            return Err(error);
        }
        table.held = held;
        table.flag_same_positions();
        table.name_all(settings.bases.occupations.reoccupied);
        table.hold_unmade();
        Ok(table)
    }

    fn settle_one(
        &mut self,
        row: &BaseRow,
        source: &Source,
        located: &Located,
        height: Option<Height>,
        frames: &NamedFrames,
        settings: &Settings,
    ) -> Result<Result<Base, Fault>, CrsError> {
        let epoch = row.coordinate_epoch.or(settings.bases.epoch);
        let on_datum = match source.onto_datum(located, epoch)? {
            Ok(on_datum) => on_datum,
            Err(fault) => return Ok(Err(fault)),
        };
        let (lon_deg, lat_deg) = (on_datum.lon_deg, on_datum.lat_deg);
        let step = on_datum.step.as_ref().map(|transform| transform.operation());
        let datum = &self.datums[source.datum];
        let mut at = Geodetic { lat_rad: lat_deg.to_radians(), lon_rad: lon_deg.to_radians(), ellipsoid_height_m: 0.0 };
        let ellipsoid_m = match height {
            Some(Height::Ellipsoid(recorded)) => {
                let near = Geodetic { ellipsoid_height_m: recorded, ..at };
                Some(heights::on_datum_m(row, &near, epoch, (source, &on_datum), datum, frames)?)
            }
            _ => None,
        };
        at.ellipsoid_height_m = ellipsoid_m.unwrap_or(0.0);
        let geoid_steps = heights::geoid_steps(row, &at, epoch, datum, settings)?;
        let undulation = settings.geoid.undulation_m(&at, row.separation_m, &geoid_steps);
        let heights = heights::both(height, ellipsoid_m, undulation);
        // Without a geoid the orthometric height stands in for the ellipsoidal one; the undulation of
        // at most 110 m shortens a 100 m shot by 2 mm. It is never written as an ellipsoidal height.
        at.ellipsoid_height_m = heights.ellipsoid_m.or(heights.orthometric_m).unwrap_or(0.0);
        let sigma_horizontal = row.sigma_horizontal_m.or(settings.bases.sigma_horizontal_m);
        let sigma_vertical = row.sigma_vertical_m.or(settings.bases.sigma_vertical_m);
        self.assumed.0 |= sigma_horizontal.is_none();
        self.assumed.1 |= sigma_vertical.is_none() && row.height.is_some();
        let grid_crs = settings.grid.or((source.crs.kind() == Kind::Projected).then_some(&source.crs)).unwrap_or(settings.output);
        let mut flags = row.flags;
        flag_area(&mut flags, lon_deg, lat_deg, settings);
        let ellipsoid = datum.crs.ellipsoid();
        let base = Base {
            label: label(&row.name),
            datum: source.datum,
            frame: LocalFrame::at(&at, ellipsoid),
            earth_radius_m: ellipsoid.mean_radius_m(at.lat_rad),
            at,
            heights,
            covariance: Covariance::of_axes(
                sigma_horizontal.unwrap_or(ASSUMED_SIGMA_HORIZONTAL_M),
                sigma_vertical.unwrap_or(ASSUMED_SIGMA_VERTICAL_M),
            ),
            sigma_datum_m: step.and_then(|step| step.accuracy_m).unwrap_or(0.0),
            step: step.and_then(|step| step_index(&mut self.operations, step)),
            recorded_deg: source.is_layers_datum.then_some(located.own_deg),
            geoid_steps,
            epoch,
            grid: grid_crs.grid_factors(at.lon_rad - grid_crs.meridian_rad(), at.lat_rad),
            adjusted: false,
            from_network: false,
            in_network: None,
            datum_errors: Vec::new(),
            neighbours: 0,
            flags,
            row: row.clone(),
        };
        Ok(Ok(base))
    }

    /// Flags bases of different names with exactly the same coordinates.
    fn flag_same_positions(&mut self) {
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
    fn name_all(&mut self, reoccupied: Option<Several>) {
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
                    self.by_name.insert(base.row.name.clone(), Named::Ambiguous(*greatest));
                    let say = format!("positions {greatest:.1} m apart bear the name {}; rename one", base.label);
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
    fn hold_unmade(&mut self) {
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
}

impl BaseTable {
    /// Numbers the groups of bases that are near each other: in one cube of some 100 km or in cubes that touch, and so on from base to base.
    pub fn number_neighbours(&mut self) {
        let cell = |base: &Base| {
            let place = base.at.to_earth_centred(self.datums[base.datum].crs.ellipsoid());
            place.map(|metres| (metres / NEAR_M).floor() as i64)
        };
        let cells: Vec<[i64; 3]> = self.bases.iter().map(cell).collect();
        let mut group_of: BTreeMap<[i64; 3], Option<u32>> = cells.iter().map(|cell| (*cell, None)).collect();
        let mut groups = 0;
        for first in &cells {
            let mut open = vec![*first];
            while let Some(cell) = open.pop() {
                let Some(group @ None) = group_of.get_mut(&cell) else { continue };
                *group = Some(groups);
                let around = (0..27).map(|k| [cell[0] + k / 9 - 1, cell[1] + k / 3 % 3 - 1, cell[2] + k % 3 - 1]);
                open.extend(around.filter(|cell| group_of.get(cell) == Some(&None)));
            }
            groups += 1;
        }
        for (base, cell) in self.bases.iter_mut().zip(&cells) {
            base.neighbours = group_of[cell].unwrap_or_default();
        }
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

/// The index of an operation in a list, which grows where it is new; none for an exact conversion.
fn step_index(operations: &mut Vec<Operation>, step: &Operation) -> Option<usize> {
    if step.accuracy_m == Some(0.0) && !step.ballpark {
        return None;
    }
    Some(operations.iter().position(|known| known == step).unwrap_or_else(|| {
        operations.push(step.clone());
        operations.len() - 1
    }))
}

fn flag_area(flags: &mut Flags, lon_deg: f64, lat_deg: f64, settings: &Settings) {
    let given = settings.checks.area_deg.map(|edges_deg| AreaOfUse { edges_deg, name: String::new() });
    let Some(area) = given.as_ref().or(settings.output.area_of_use()) else { return };
    if area.contains(lon_deg, lat_deg) {
        return;
    }
    flags.raise(Flag::OutsideArea);
    if area.contains(lat_deg, lon_deg) {
        flags.raise(Flag::MaybeSwapped);
    } else if area.contains(-lon_deg, lat_deg) || area.contains(lon_deg, -lat_deg) {
        flags.raise(Flag::MaybeSignLost);
    }
}

/// The standard error that a geoid adds to a height of the kind that was not recorded, in metres.
pub fn sigma_geoid_m(heights: &BaseHeights) -> Option<f64> {
    heights.undulation.map(|undulation| undulation.sigma_m.unwrap_or(geoid::SIGMA_M))
}
