//! Behind the stream: the shots to features that were shot more than once, to one point each.
//!
//! The survey of the logs tells which names recur; their rows wait ([`super::waiting`]) and are judged together once all are known
//! ([`crate::shots::repeats`]). Readings that track a target while the trigger is held are one pull.

use std::collections::BTreeMap;
use std::ops::Range;
use std::sync::Arc;

use super::coded::RowCoding;
use super::mapped_feature::MappedFeature;
use super::records;
use super::settlement::Settlement;
use super::sizes::Sizes;
use super::stage::Stage;
use super::standing;
use crate::geodesy::crs::CrsError;
use crate::geodesy::frame::Geodetic;
use crate::geodesy::register::Origin;
use crate::numeric::signs::Signs;
use crate::output::layers::features::Feature;
use crate::records::echo::Echo;
use crate::records::ledger::{Entry, Flag, Flags, Outcome};
use crate::records::when::When;
use crate::shots::locate::Placed;
use crate::shots::located::CovarianceParts;
use crate::shots::reduce::Vector;
use crate::shots::repeats::{self, JudgedShot, Mean, Repeat, SettledRepeats, Verdict};
use crate::stations::base::HeightKind;
use crate::units::Units;

/// Longest time between two readings of one pull, where no shot id joins them, in seconds: our own choice.
const PULL_GAP_S: f64 = 5.0;

/// A shot among the others of its feature.
pub struct RepeatedShot {
    /// Its number among all rows that waited.
    pub number: usize,
    /// Index of the file, and line.
    pub place: (usize, u64),
    /// The row as it stands.
    pub row: String,
    /// Feature name, code, shot id, role and echo as the log has them.
    pub feature: Option<String>,
    /// See `feature`.
    pub code: Option<String>,
    /// See `feature`.
    pub shot: Option<String>,
    /// See `feature`.
    pub role: Option<String>,
    /// See `feature`.
    pub echo: Option<String>,
    /// Date and time.
    pub when: Option<When>,
    /// The shot, for the others.
    pub repeat: Repeat,
    /// Its own place.
    pub placed: Placed,
    /// Where it is on its base's datum.
    pub end: Geodetic,
    /// True azimuth, and declination or NaN, in radians.
    pub true_azimuth_rad: f64,
    /// See `true_azimuth_rad`.
    pub declination_rad: f64,
    /// Diameter at the near face in metres, or NaN.
    pub face_diameter_m: f64,
    /// Suspicions of the row alone.
    pub flags: Flags,
    /// Texts of all carried columns, and how their numbers are written.
    pub cells: Vec<String>,
    /// See `cells`.
    pub signs: Arc<[Signs]>,
}

/// Names that stand for several places: how many, and the first.
#[derive(Default)]
pub struct Apart {
    names: u64,
    first: String,
}

impl Apart {
    fn add(&mut self, name: &str) {
        self.join(Apart { names: 1, first: name.to_owned() });
    }

    /// Adds those that come after.
    pub fn join(&mut self, other: Apart) {
        if self.names == 0 {
            self.first = other.first;
        }
        self.names += other.names;
    }

    /// What is to be said of them.
    pub fn sentence(&self) -> Option<String> {
        (self.names > 0).then(|| {
            format!(
                "{} feature names, such as \"{}\", stand for shots to several places: each shot is mapped by itself. Where the column \
                 names kinds of things, map it as code.",
                self.names, self.first
            )
        })
    }
}

/// A shot, or the readings of one pull.
struct ShotOrPull {
    /// Indexes of its rows.
    rows: Range<usize>,
    pull: Option<Box<Pull>>,
}

/// The readings of one pull, as one.
struct Pull {
    repeat: Repeat,
    /// Scatter of the readings in metres.
    spread_m: f64,
    /// Readings that the median left aside.
    aside: usize,
}

impl ShotOrPull {
    /// As one shot.
    fn repeat(&self, rows: &[RepeatedShot]) -> Repeat {
        self.pull.as_ref().map_or_else(|| rows[self.rows.start].repeat, |pull| pull.repeat)
    }
}

/// A point to be: of some items, with the rows that a test left out.
struct PointToBe {
    items: Vec<usize>,
    aside: Vec<(usize, JudgedShot)>,
    mean: Option<Box<Mean>>,
    flags: Flags,
}

/// Makes one point of each feature's shots.
///
/// # Errors
/// When PROJ fails as a whole.
pub fn settle(stage: &Stage, rows: &[RepeatedShot], combine: bool, sizes: &Sizes) -> Result<(Settlement, Apart), CrsError> {
    let mut settlement = Settlement::default();
    let items = pulls(stage.origins, rows);
    let (points, apart) = points(stage, stage.origins, rows, &items, combine);
    let mut details: BTreeMap<usize, String> = BTreeMap::new();
    let mut flags_of: Vec<Flags> = rows.iter().map(|row| row.flags).collect();
    let (mut mapped, mut first_rows) = (Vec::with_capacity(points.len()), Vec::with_capacity(points.len()));
    for point in &points {
        let first = items[point.items[0]].rows.start;
        for (item, finding) in &point.aside {
            for row in items[*item].rows.clone() {
                flags_of[row].raise(flag_of(finding.verdict));
                details.insert(row, words_of(finding, &stage.units));
            }
        }
        let (placed, end, base, vector, parts) = place(stage, rows, &items, point)?;
        let members: Vec<usize> = point.items.iter().flat_map(|item| items[*item].rows.clone()).collect();
        let cell = |index: usize| {
            let of_row = |row: &usize| (rows[*row].cells[index].as_str(), rows[*row].signs[index]);
            members.iter().map(of_row).find(|(text, _)| !text.trim().is_empty()).unwrap_or(("", Signs::POINT))
        };
        let row = &rows[first];
        let class = stage.class_of(row.code.as_deref(), row.role.as_deref());
        let located = || point.mean.as_ref().map(|mean| mean.located(stage.origins));
        settlement.joinable.extend(stage.joinable(row.feature.as_deref(), row.place, (base, &vector), located));
        let mut flags = point.flags;
        members.iter().for_each(|member| flags.join(flags_of[*member]));
        let mut feature = MappedFeature {
            record: record(stage, row, point, &items, (placed, base, vector, parts), class, flags),
            base,
            end,
            class,
            values: Vec::new(),
        };
        let detail = stage.judge(&mut feature, cell);
        // What is wrong with the point is told at its first row; what is wrong with a row, at that row.
        flags_of[first].join(feature.record.flags);
        if !detail.is_empty() {
            details.insert(first, detail);
        }
        let is_of_several = members.iter().any(|member| !is_of_one(&rows[first], &rows[*member]));
        settlement.arms.points.extend(located().filter(|_| is_of_several).map(|located| (row.place, located.arms)));
        let by_source = match &point.mean {
            Some(mean) => mean.by_source,
            None => vector.by_source(&stage.origins[base]),
        };
        settlement.sources.add(&by_source, feature.record.height_kind != HeightKind::None);
        let counts = settlement.counts.entry(row.place.0).or_default();
        counts.mapped += 1;
        counts.without_height += u64::from(feature.record.height_kind == HeightKind::None);
        if feature.record.flags.has(Flag::UnknownCode) {
            *settlement.unknown_codes.entry(row.code.clone().unwrap_or_default()).or_default() += members.len() as u64;
        }
        for other in members.iter().copied().skip(1).chain(point.aside.iter().flat_map(|(item, _)| items[*item].rows.clone())) {
            settlement.counts.entry(rows[other].place.0).or_default().repeats += 1;
        }
        mapped.push(feature);
        first_rows.push(members);
    }
    for row in rows {
        *settlement.shots_of_base.entry(row.repeat.base).or_default() += 1;
    }
    let cell = |point: usize, index: usize| {
        let of_row = |row: &usize| (rows[*row].cells[index].as_str(), rows[*row].signs[index]);
        first_rows[point].iter().map(of_row).find(|(text, _)| !text.trim().is_empty()).unwrap_or(("", Signs::POINT))
    };
    settlement.batches = records::batches(stage, &mapped, sizes, &cell)?;
    settlement.standing = standing::places(&mapped);
    let sights: Vec<(usize, Feature)> = rows.iter().zip(&flags_of).map(|(row, flags)| sight(stage, row, *flags)).collect();
    settlement.batches.extend(records::sight_line_batch(stage, sights.iter().map(|(base, record)| (*base, record))));
    for (index, (row, flags)) in rows.iter().zip(&flags_of).enumerate() {
        if !flags.is_empty() {
            settlement.counts.entry(row.place.0).or_default().flag(*flags);
            let detail = details.remove(&index).unwrap_or_default();
            let outcome = Outcome::Flagged(*flags, detail);
            settlement.entries.push(Entry { file: row.place.0, line: row.place.1, row: row.row.clone(), outcome });
        }
    }
    Ok((settlement, apart))
}

/// Whether two rows are of one base, and err by the same declination and calibration.
fn is_of_one(one: &RepeatedShot, other: &RepeatedShot) -> bool {
    one.repeat.base == other.repeat.base && one.repeat.vector.shares.are_of(&other.repeat.vector.shares)
}

/// A row's own line of sight, with the base that it starts from.
fn sight<'r>(stage: &'r Stage, row: &'r RepeatedShot, flags: Flags) -> (usize, Feature<'r>) {
    let class = stage.class_of(row.code.as_deref(), row.role.as_deref());
    let alone = PointToBe { items: Vec::new(), aside: Vec::new(), mean: None, flags };
    let (base, vector) = (row.repeat.base, row.repeat.vector);
    let of_row = (row.placed, base, vector, vector.parts(&stage.origins[base]));
    (base, record(stage, row, &alone, &[], of_row, class, flags))
}

/// Joins the readings of each pull.
fn pulls(bases: &[Origin], rows: &[RepeatedShot]) -> Vec<ShotOrPull> {
    let mut items: Vec<ShotOrPull> = Vec::new();
    let is_tracking = |row: &RepeatedShot| row.repeat.echo == Some(Echo::Tracking);
    for run in (0..rows.len()).collect::<Vec<_>>().chunk_by(|a, b| {
        let (a, b) = (&rows[*a], &rows[*b]);
        a.number + 1 == b.number && is_tracking(a) && is_tracking(b) && same_pull(a, b)
    }) {
        let readings: Vec<Repeat> = run.iter().map(|row| rows[*row].repeat).collect();
        let made = if run.len() > 1 { repeats::pull(bases, &readings).ok() } else { None };
        match made.as_ref().and_then(|mean| Some((mean, mean.one?))) {
            Some((mean, vector)) => {
                let repeat = Repeat { vector, ..readings[0] };
                let pull = Pull { repeat, spread_m: mean.spread.horizontal_rms_m, aside: mean.set_aside };
                items.push(ShotOrPull { rows: run[0]..run[0] + run.len(), pull: Some(Box::new(pull)) });
            }
            None => items.extend(run.iter().map(|row| ShotOrPull { rows: *row..row + 1, pull: None })),
        }
    }
    items
}

fn same_pull(a: &RepeatedShot, b: &RepeatedShot) -> bool {
    let instant = |row: &RepeatedShot| row.when.and_then(|when| when.instant).map(|(instant, _)| instant);
    let joined = match (&a.shot, &b.shot, instant(a), instant(b)) {
        (Some(a), Some(b), _, _) if a == b => true,
        (_, _, Some(a), Some(b)) => (0.0..=PULL_GAP_S).contains(&b.duration_since(a).as_secs_f64()),
        (None, None, None, None) => true,
        _ => false,
    };
    // A target that was moved up or down between two readings is another pull.
    let joined = joined && a.repeat.rise_m == b.repeat.rise_m;
    joined && a.place.0 == b.place.0 && a.repeat.base == b.repeat.base && a.feature == b.feature && a.code == b.code
}

/// Code and name of a feature, and the datum of the base that it was shot from.
type FeatureName<'r> = (Option<&'r str>, &'r str, usize);

/// Those of one name together, in the order of the first of each; each without a name by itself.
fn by_name<'r>(names: impl Iterator<Item = Option<FeatureName<'r>>>) -> Vec<Vec<usize>> {
    let (mut groups, mut known): (Vec<Vec<usize>>, BTreeMap<FeatureName, usize>) = Default::default();
    for (index, name) in names.enumerate() {
        let next = groups.len();
        let group = name.map_or(next, |name| *known.entry(name).or_insert(next));
        match groups.get_mut(group) {
            Some(group) => group.push(index),
            None => groups.push(vec![index]),
        }
    }
    groups
}

/// Which items make one point.
fn points(
    stage: &Stage,
    bases: &[Origin],
    rows: &[RepeatedShot],
    items: &[ShotOrPull],
    combine: bool,
) -> (Vec<PointToBe>, Apart) {
    let alone = |item: usize, flags: Flags| PointToBe { items: vec![item], aside: Vec::new(), mean: None, flags };
    let name = |item: &ShotOrPull| {
        let row = &rows[item.rows.start];
        let feature = row.feature.as_deref().filter(|_| combine)?;
        // Positions on two datums do not go together.
        Some((row.code.as_deref(), feature, stage.table.bases[row.repeat.base].datum))
    };
    let groups = by_name(items.iter().map(name));
    let mut made = Vec::with_capacity(groups.len());
    let mut apart = Apart::default();
    for group in groups {
        if group.len() == 1 {
            made.push(alone(group[0], Flags::default()));
            continue;
        }
        let shots: Vec<Repeat> = group.iter().map(|item| items[*item].repeat(rows)).collect();
        let mut flags = Flags::default();
        match repeats::settle(bases, &shots) {
            Ok(SettledRepeats::Point { mean, findings }) => {
                let with = |kept: bool| {
                    let findings = group.iter().zip(&findings);
                    findings.filter(move |(_, finding)| (finding.verdict == Verdict::Kept) == kept)
                };
                let kept: Vec<usize> = with(true).map(|(item, _)| *item).collect();
                let aside = with(false).map(|(item, finding)| (*item, *finding)).collect();
                made.push(PointToBe { items: kept, aside, mean: Some(mean), flags });
                continue;
            }
            Ok(SettledRepeats::Disagreeing { .. }) => flags.raise(Flag::RepeatsDisagree),
            Ok(SettledRepeats::NotOneFeature { .. }) | Err(_) => flags.raise(Flag::NotOneFeature),
        }
        if flags.has(Flag::NotOneFeature) {
            apart.add(rows[items[group[0]].rows.start].feature.as_deref().unwrap_or_default());
        }
        made.extend(group.into_iter().map(|item| alone(item, flags)));
    }
    (made, apart)
}

/// Where a point is, its first base, the vector from it, and its covariance by cause.
fn place(
    stage: &Stage,
    rows: &[RepeatedShot],
    items: &[ShotOrPull],
    point: &PointToBe,
) -> Result<(Placed, Geodetic, usize, Vector, CovarianceParts), CrsError> {
    let first = &items[point.items[0]];
    let (row, repeat) = (&rows[first.rows.start], first.repeat(rows));
    let index = point.mean.as_ref().map_or(repeat.base, |mean| mean.base);
    let base = &stage.table.bases[index];
    let (vector, parts) = match &point.mean {
        None => (repeat.vector, repeat.vector.parts(&stage.origins[index])),
        Some(mean) => (Vector::exact(mean.east_m, mean.north_m, mean.up_m), mean.parts),
    };
    if point.mean.is_none() && first.rows.len() == 1 {
        return Ok((row.placed, row.end, index, vector, parts));
    }
    let (end, has_height) = crate::shots::locate::end_point(base, stage.table, &vector);
    let placed = stage.locator.place(base.datum, &[(end, has_height, base)])?[0];
    Ok((placed, end, index, vector, parts))
}

fn record<'r>(
    stage: &'r Stage,
    row: &'r RepeatedShot,
    point: &PointToBe,
    items: &[ShotOrPull],
    (placed, base, vector, parts): (Placed, usize, Vector, CovarianceParts),
    class: RowCoding<'r>,
    flags: Flags,
) -> Feature<'r> {
    let single = point.mean.is_none();
    let used: usize = point.items.iter().map(|item| items[*item].rows.len()).sum();
    let pulls = point.items.iter().filter_map(|item| items[*item].pull.as_deref());
    let aside = point.aside.iter().map(|(item, _)| items[*item].rows.len()).sum::<usize>();
    let aside = aside + pulls.clone().map(|pull| pull.aside).sum::<usize>();
    let spread_m = match &point.mean {
        Some(mean) => mean.spread.horizontal_rms_m,
        None => pulls.map(|pull| pull.spread_m).next().unwrap_or(f64::NAN),
    };
    let mut feature = stage.feature(&placed, base, &vector, &parts, class);
    feature.feature = row.feature.as_deref();
    feature.code = row.code.as_deref();
    feature.shot = row.shot.as_deref();
    feature.role = row.role.as_deref();
    feature.echo = row.echo.as_deref();
    feature.when = row.when;
    feature.true_azimuth_rad = if single && used <= 1 {
        row.true_azimuth_rad
    } else {
        crate::geodesy::frame::full_circle_rad(vector.east_m.atan2(vector.north_m))
    };
    feature.declination_rad = row.declination_rad;
    feature.face_diameter_m = row.face_diameter_m;
    feature.shots_used = u32::try_from(used.max(1)).unwrap_or(u32::MAX);
    feature.shots_aside = u32::try_from(aside).unwrap_or(u32::MAX);
    feature.spread_m = spread_m;
    feature.flags = flags;
    feature.source_file = &stage.logs.files[row.place.0].info.name;
    feature.source_line = row.place.1;
    feature
}

fn flag_of(verdict: Verdict) -> Flag {
    match verdict {
        Verdict::Foreground => Flag::ForegroundHit,
        Verdict::Background => Flag::BackgroundHit,
        Verdict::Kept | Verdict::Outlying => Flag::OutlyingShot,
        Verdict::Disagreeing => Flag::RepeatsDisagree,
    }
}

/// The figures of a shot that was left out.
fn words_of(finding: &JudgedShot, units: &Units) -> String {
    let along = finding.along;
    let said = |metres: f64| units.length().said(metres, 2);
    let side = if along.metres < 0.0 { "nearer" } else { "farther" };
    let mut words = format!(
        "{} {side} along the sight than the others ({:.1} standard errors), {} across it",
        said(along.metres.abs()),
        along.sigmas.abs(),
        said(finding.across.metres.abs())
    );
    if let Some(normal) = finding.normal {
        words.push_str(&format!(", {} {} it", said(normal.metres.abs()), if normal.metres < 0.0 { "below" } else { "above" }));
    }
    words
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rows that wait are found by prints of their names, and rows of several names are settled together: the names keep them apart, whatever
    /// their prints are.
    #[test]
    fn rows_read_together_are_told_apart_by_their_names() {
        let oak = Some((Some("tree"), "7", 0));
        let names = [oak, Some((Some("post"), "7", 0)), None, oak, Some((None, "7", 0)), Some((Some("tree"), "7", 1)), None, oak];
        assert_eq!(by_name(names.into_iter()), vec![vec![0, 3, 7], vec![1], vec![2], vec![4], vec![5], vec![6]]);
    }
}
