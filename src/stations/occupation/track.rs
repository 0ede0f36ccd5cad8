//! A receiver that moves: its position at the time of a shot, between two fixes.
//!
//! p(t) = (1 − f) pₐ + f p_b, f = (t − tₐ)/(t_b − tₐ). The errors of two fixes close in time are nearly
//! one, so that they do not average out: σ = (1 − f) σₐ + f σ_b. A receiver that turns or brakes
//! between them leaves the straight line by a (t − tₐ)(t_b − t)/2 for an acceleration a; that grows
//! with the square of the gap and is added for [`SIGMA_ACCELERATION_M_S2`].

use jiff::Timestamp;
use jiff::tz::Offset;

use super::average::{LocalPlane, sigma_of};
use super::{BasesFromFixes, OccupationRules, held, poor, seconds};
use crate::records::base_row::{BaseRow, FixQuality, Height, Occupation};
use crate::records::fix::Epoch;
use crate::records::fix::Fix;
use crate::records::ledger::Flags;
use crate::records::when::When;

/// Standard error of the acceleration of a person on foot, a boat or a vehicle that maps, in metres a
/// second squared (common practice, no source).
pub const SIGMA_ACCELERATION_M_S2: f64 = 0.5;

/// The name of the base at an instant.
pub fn name_at(instant: Timestamp) -> String {
    format!("at {instant}")
}

/// A base for each instant, each once, between fixes at most `gap_s` apart; of several receivers the
/// one with the least error. `files` is the number of input files.
pub fn at_instants(
    epochs: Vec<Epoch>,
    instants: &[Timestamp],
    rules: &OccupationRules,
    gap_s: f64,
    files: usize,
) -> BasesFromFixes {
    let mut gathered = BasesFromFixes { used: vec![0; files], outside: vec![0; files], ..BasesFromFixes::default() };
    let mut tracks: Vec<Vec<&Epoch>> = vec![Vec::new(); files];
    for epoch in &epochs {
        match poor(&epoch.fix, rules.quality) {
            Some(fault) => gathered.held.push(held(epoch, None, fault)),
            None => tracks[epoch.fix.file].push(epoch),
        }
    }
    tracks.iter_mut().for_each(|track| track.sort_by_key(|epoch| (epoch.fix.instant, epoch.fix.line)));
    let mut used: Vec<Vec<bool>> = tracks.iter().map(|track| vec![false; track.len()]).collect();
    let mut wanted = instants.to_vec();
    wanted.sort_unstable();
    wanted.dedup();
    for instant in wanted {
        let mut best: Option<(f64, usize, [usize; 2])> = None;
        for (file, track) in tracks.iter().enumerate() {
            let Some(pair) = around(track, instant) else { continue };
            if seconds(track[pair[0]].fix.instant, track[pair[1]].fix.instant) > gap_s {
                continue;
            }
            let sigma = errors(&track[pair[0]].fix, &track[pair[1]].fix, instant)[0];
            if best.is_none_or(|(least, _, _)| sigma < least) {
                best = Some((sigma, file, pair));
            }
        }
        match best {
            Some((_, file, pair)) => {
                pair.iter().for_each(|index| used[file][*index] = true);
                gathered.rows.push(between(tracks[file][pair[0]], tracks[file][pair[1]], instant, rules));
            }
            None => gathered
                .absent
                .push((name_at(instant), format!("no two fixes within {gap_s} s of each other lie around {instant}"))),
        }
    }
    for (file, used) in used.iter().enumerate() {
        gathered.used[file] = used.iter().filter(|used| **used).count() as u64;
        gathered.outside[file] = used.len() as u64 - gathered.used[file];
    }
    gathered
}

/// The fixes at or next before and behind an instant.
fn around(track: &[&Epoch], instant: Timestamp) -> Option<[usize; 2]> {
    let behind = track.partition_point(|epoch| epoch.fix.instant < instant);
    let after = track.get(behind)?;
    if after.fix.instant == instant {
        return Some([behind, behind]);
    }
    Some([behind.checked_sub(1)?, behind])
}

fn fraction(one: &Fix, other: &Fix, instant: Timestamp) -> f64 {
    let whole = seconds(one.instant, other.instant);
    if whole > 0.0 { seconds(one.instant, instant) / whole } else { 0.0 }
}

/// Standard errors of a horizontal axis and of the height.
fn errors(one: &Fix, other: &Fix, instant: Timestamp) -> [f64; 2] {
    let f = fraction(one, other, instant);
    let bend = 0.5 * SIGMA_ACCELERATION_M_S2 * seconds(one.instant, instant) * seconds(instant, other.instant);
    let ([ea, na, ua], [eb, nb, ub]) = (sigma_of(one), sigma_of(other));
    let flat = |e: f64, n: f64| (0.5 * (e * e + n * n)).sqrt();
    [((1.0 - f) * flat(ea, na) + f * flat(eb, nb)).hypot(bend), ((1.0 - f) * ua + f * ub).hypot(bend)]
}

fn between(one: &Epoch, other: &Epoch, instant: Timestamp, rules: &OccupationRules) -> BaseRow {
    let (a, b) = (&one.fix, &other.fix);
    let f = fraction(a, b, instant);
    let plane = LocalPlane::at(a.coordinates);
    let (from, to) = (plane.flat(a.coordinates), plane.flat(b.coordinates));
    let mix = |a: f64, b: f64| (1.0 - f) * a + f * b;
    let height = |fix: &Fix| match (fix.height?, fix.separation_m) {
        (Height::Orthometric(metres), Some(separation)) => Some(Height::Ellipsoid(metres + separation)),
        (height, _) => Some(height),
    };
    let height = match (height(a), height(b)) {
        (Some(Height::Ellipsoid(a)), Some(Height::Ellipsoid(b))) => Some(Height::Ellipsoid(mix(a, b))),
        (Some(Height::Orthometric(a)), Some(Height::Orthometric(b))) => Some(Height::Orthometric(mix(a, b))),
        _ => None,
    };
    let [sigma_horizontal_m, sigma_vertical_m] = errors(a, b, instant);
    let worst = |a: Option<f64>, b: Option<f64>| [a, b].into_iter().flatten().max_by(f64::total_cmp);
    let epochs = if std::ptr::eq(one, other) { 1 } else { 2 };
    BaseRow {
        name: name_at(instant),
        name_header: String::new(),
        file: a.file,
        line: a.line,
        raw: one.raw.to_string(),
        coordinates: plane.back([mix(from[0], to[0]), mix(from[1], to[1])]),
        height: height.map(|height| if one.beside.is_of_ground { height } else { height.raised(-rules.antenna_height_m) }),
        crs: one.beside.crs.as_deref().map(str::to_owned),
        crs_value: None,
        sigma_horizontal_m: Some(sigma_horizontal_m),
        sigma_vertical_m: height.map(|_| sigma_vertical_m),
        instrument_height_m: one.beside.instrument_height_m,
        when: Some(When { date: Offset::UTC.to_datetime(instant).date(), instant: Some((instant, Offset::UTC)) }),
        windows: vec![(instant, instant)],
        separation_m: match (a.separation_m, b.separation_m) {
            (Some(a), Some(b)) => Some(mix(a, b)),
            _ => None,
        },
        coordinate_epoch: one.beside.coordinate_epoch,
        is_known: false,
        quality: FixQuality {
            kinds: Some(a.kind.min(b.kind).word().to_owned()),
            worst_hdop: worst(a.hdop, b.hdop),
            worst_pdop: worst(a.pdop, b.pdop),
        },
        origins: if epochs == 1 { vec![one.origin()] } else { vec![one.origin(), other.origin()] },
        occupation: Some(Occupation {
            fading: None,
            epochs,
            aside: 0,
            duration_s: seconds(a.instant, b.instant),
            spread_m: 0.0,
            occupations: 1,
        }),
        extras: Vec::new(),
        flags: Flags::default(),
    }
}

#[cfg(test)]
mod tests {
    use super::super::invented::*;
    use super::*;
    use crate::job::{Occupations, Quality};

    fn bases(epochs: Vec<Epoch>, instants: &[f64], gap_s: f64) -> BasesFromFixes {
        let (occupations, quality) = (Occupations::default(), Quality::default());
        let units = crate::units::Units::default();
        let rules = OccupationRules { occupations: &occupations, quality: &quality, antenna_height_m: 2.0, units };
        let instants: Vec<Timestamp> = instants.iter().map(|second| at(*second)).collect();
        at_instants(epochs, &instants, &rules, gap_s, 2)
    }

    /// 3 m/s east, a fix each 4 s.
    fn boat() -> Vec<Epoch> {
        (0..10).map(|i| epoch(fix(4.0 * f64::from(i), 12.0 * f64::from(i), 0.0))).collect()
    }

    #[test]
    fn between_two_fixes() {
        let gathered = bases(boat(), &[5.0, 8.0], 10.0);
        let plane = LocalPlane::at(fix(0.0, 0.0, 0.0).coordinates);
        let [e, _] = plane.flat(gathered.rows[0].coordinates);
        assert!((e - 15.0).abs() < 1e-3, "{e}");
        // At a fix its own error, between them more: 2 m, and 0.5 · 1 s · 3 s / 2 = 0.75 m.
        assert_eq!(gathered.rows[1].sigma_horizontal_m, Some(2.0));
        assert!((gathered.rows[0].sigma_horizontal_m.unwrap() - 2f64.hypot(0.75)).abs() < 1e-12);
        assert_eq!(gathered.rows[0].name, "at 2026-05-04T08:00:05Z");
        assert_eq!((gathered.used.as_slice(), gathered.outside.as_slice()), ([2, 0].as_slice(), [8, 0].as_slice()));
    }

    #[test]
    fn gaps_and_ends_have_no_base() {
        let mut with_gap = boat();
        with_gap.drain(3..6);
        let gathered = bases(with_gap, &[10.0, -1.0, 37.0, 6.0], 10.0);
        assert_eq!(gathered.rows.len(), 1);
        let absent: Vec<&str> = gathered.absent.iter().map(|(name, _)| name.as_str()).collect();
        assert_eq!(absent, ["at 2026-05-04T07:59:59Z", "at 2026-05-04T08:00:10Z", "at 2026-05-04T08:00:37Z"]);
    }

    #[test]
    fn the_better_receiver_is_used() {
        let mut epochs = boat();
        epochs.extend(boat().into_iter().map(|mut epoch| {
            epoch.fix.file = 1;
            epoch.fix.sigma_m = Some([0.1, 0.1, 0.2]);
            epoch
        }));
        assert_eq!(bases(epochs.clone(), &[5.0], 10.0).rows[0].file, 1);
        // Of equal ones the first, and the other where that one has a gap.
        epochs.iter_mut().for_each(|epoch| epoch.fix.sigma_m = None);
        assert_eq!(bases(epochs.clone(), &[5.0], 10.0).rows[0].file, 0);
        epochs.retain(|epoch| epoch.fix.file == 1 || epoch.fix.instant > at(9.0));
        let gathered = bases(epochs, &[5.0], 10.0);
        assert_eq!((gathered.rows[0].file, gathered.used, gathered.outside), (1, vec![0, 2], vec![7, 8]));
    }

    /// Every number of a base between two fixes, 1 s behind the one and 3 s before the other: three quarters of the first and one of the second.
    #[test]
    fn what_lies_between_two_fixes_is_shared_by_time() {
        let pair = |first: Fix, second: Fix| bases(vec![epoch(first), epoch(second)], &[1.0], 10.0).rows.remove(0);
        let (mut a, mut b) = (fix(0.0, 0.0, 0.0), fix(4.0, 12.0, -8.0));
        (a.sigma_m, b.sigma_m) = (Some([0.3, 0.4, 0.5]), Some([0.6, 0.8, 1.5]));
        (a.height, b.height) = (Some(Height::Orthometric(20.0)), Some(Height::Orthometric(24.0)));
        (a.separation_m, b.separation_m) = (Some(12.0), Some(12.8));
        (a.hdop, b.hdop, a.pdop, b.pdop) = (Some(1.0), Some(1.4), Some(2.2), Some(1.8));
        (a.kind, b.kind) = (crate::job::FixKind::Fixed, crate::job::FixKind::Float);
        let row = pair(a.clone(), b.clone());
        let near = |got: f64, want: f64| assert!((got - want).abs() < 1e-6, "{got} {want}");
        let [e, n] = LocalPlane::at(a.coordinates).flat(row.coordinates);
        let [all_e, all_n] = LocalPlane::at(a.coordinates).flat(b.coordinates);
        near(e, 0.25 * all_e);
        near(n, 0.25 * all_n);
        let Some(Height::Ellipsoid(height)) = row.height else { panic!("{:?}", row.height) };
        near(height, 0.75 * 32.0 + 0.25 * 36.8 - 2.0);
        near(row.separation_m.unwrap(), 12.2);
        // Root mean square of the axes: 0.5/√2 and 1/√2; the bend 0.5 · 0.5 · 1 · 3 = 0.75 m.
        near(row.sigma_horizontal_m.unwrap(), ((0.75 * 0.5 + 0.25) / 2f64.sqrt()).hypot(0.75));
        near(row.sigma_vertical_m.unwrap(), (0.75f64 * 0.5 + 0.25 * 1.5).hypot(0.75));
        assert_eq!((row.quality.worst_hdop, row.quality.worst_pdop), (Some(1.4), Some(2.2)));
        assert_eq!(row.quality.kinds.as_deref(), Some("float"));
        let made = row.occupation.as_ref().unwrap();
        assert_eq!((made.epochs, made.duration_s, row.origins.len()), (2, 4.0, 2));
        // Heights of two kinds have no mean; without the separation they are as the log has them.
        b.height = None;
        let row = pair(a.clone(), b.clone());
        assert_eq!((row.height, row.sigma_vertical_m), (None, None));
        (a.separation_m, b.separation_m, b.height) = (None, None, Some(Height::Orthometric(24.0)));
        let row = pair(a.clone(), b.clone());
        assert_eq!((row.height, row.separation_m), (Some(Height::Orthometric(19.0)), None));
        b.separation_m = Some(12.8);
        assert_eq!(pair(a.clone(), b.clone()).height, None);
        let ground = |is_of_ground: bool| {
            let of = |fix: &Fix| {
                let mut epoch = epoch(fix.clone());
                epoch.beside.is_of_ground = is_of_ground;
                epoch
            };
            bases(vec![of(&a)], &[0.0], 10.0).rows[0].height
        };
        assert_eq!((ground(true), ground(false)), (Some(Height::Orthometric(20.0)), Some(Height::Orthometric(18.0))));
    }

    #[test]
    fn two_fixes_may_be_a_gap_apart() {
        let count = |gap_s: f64| bases(boat(), &[5.0], gap_s).rows.len();
        assert_eq!((count(4.0), count(3.99)), (1, 0));
        // At the first and at the last fix itself, each instant once.
        let gathered = bases(boat(), &[0.0, 36.0, 36.0], 10.0);
        assert_eq!(gathered.rows.len(), 2);
        assert!(gathered.rows.iter().all(|row| row.occupation.as_ref().unwrap().epochs == 1 && row.origins.len() == 1));
    }
}
