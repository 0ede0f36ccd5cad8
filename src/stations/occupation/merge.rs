//! Several occupations of one base: one position where they agree within their uncertainty, else apart.
//!
//! Two agree where their horizontal distance and the difference of their heights are within three
//! standard errors of the difference. What agrees becomes the mean weighted by 1/σ²; what does not is
//! never averaged: each stays, is flagged, and is told of.

use std::collections::BTreeMap;

use jiff::Timestamp;
use jiff::tz::Offset;

use super::average::{LocalPlane, PlaceMean};
use super::{OccupationRules, seconds};
use crate::job::FixKind;
use crate::job::{Occupations, Several};
use crate::records::base_row::{BaseRow, Fading, FixQuality, Height, Occupation, Window};
use crate::records::fix::Epoch;
use crate::records::ledger::{Flag, Flags};
use crate::records::when::When;
use crate::units::Units;

/// Standard errors of the difference that two occupations of one base may be apart.
pub const AGREEMENT_SIGMAS: f64 = 3.0;

/// One receiver's occupation of a base.
pub struct OccupationPart {
    /// As a base.
    pub row: BaseRow,
}

impl OccupationPart {
    /// The mean of a group of epochs as a base: the antenna height is taken off.
    pub fn new(window: &Window, members: &[&Epoch], mean: &PlaceMean, rules: &OccupationRules) -> OccupationPart {
        let used: Vec<&Epoch> =
            members.iter().zip(&mean.aside).filter(|(_, aside)| aside.is_none()).map(|(epoch, _)| *epoch).collect();
        let instants = || used.iter().map(|epoch| epoch.fix.instant);
        let from = instants().min().unwrap_or(window.from);
        let to = instants().max().unwrap_or(window.to);
        let first = used.first().unwrap_or(&members[0]);
        let mut kinds: BTreeMap<FixKind, usize> = BTreeMap::new();
        used.iter().for_each(|epoch| *kinds.entry(epoch.fix.kind).or_default() += 1);
        let kinds: Vec<String> = kinds.iter().rev().map(|(kind, count)| format!("{} {count}", kind.word())).collect();
        let worst = |get: fn(&Epoch) -> Option<f64>| used.iter().filter_map(|epoch| get(epoch)).max_by(f64::total_cmp);
        let antenna_m = match first.beside.is_of_ground {
            true => 0.0,
            false => window.antenna_height_m.unwrap_or(rules.antenna_height_m),
        };
        // The window that shots are joined by: a list's own, else what was logged.
        let span = if window.from == window.to { (from, to) } else { (window.from.min(from), window.to.max(to)) };
        OccupationPart {
            row: BaseRow {
                name: window.name.clone(),
                name_header: String::new(),
                file: first.fix.file,
                line: first.fix.line,
                raw: first.raw.to_string(),
                coordinates: mean.coordinates,
                height: mean.height.map(|height| height.raised(-antenna_m)),
                crs: first.beside.crs.as_deref().map(str::to_owned),
                crs_value: None,
                sigma_horizontal_m: Some(mean.sigma_horizontal_m),
                sigma_vertical_m: mean.height.map(|_| mean.sigma_vertical_m),
                instrument_height_m: window.instrument_height_m.or(first.beside.instrument_height_m),
                when: Some(When { date: Offset::UTC.to_datetime(from).date(), instant: Some((from, Offset::UTC)) }),
                windows: vec![span],
                separation_m: mean.separation_m,
                coordinate_epoch: first.beside.coordinate_epoch,
                is_known: false,
                quality: FixQuality {
                    kinds: Some(kinds.join(", ")),
                    worst_hdop: worst(|epoch| epoch.fix.hdop),
                    worst_pdop: worst(|epoch| epoch.fix.pdop),
                },
                origins: used.iter().map(|epoch| epoch.origin()).collect(),
                occupation: Some(Occupation {
                    epochs: used.len() as u64,
                    aside: (members.len() - used.len()) as u64,
                    duration_s: seconds(from, to),
                    spread_m: mean.spread_m,
                    occupations: 1,
                    fading: mean.fading,
                }),
                extras: Vec::new(),
                flags: Flags::default(),
            },
        }
    }

    fn begins(&self) -> Timestamp {
        self.row.windows.first().map_or(Timestamp::UNIX_EPOCH, |window| window.0)
    }

    fn overlaps(&self, other: &OccupationPart) -> bool {
        self.row.windows.iter().any(|a| other.row.windows.iter().any(|b| a.0 <= b.1 && b.0 <= a.1))
    }
}

/// How far two bases are apart: horizontally, by height, and whether within their uncertainty.
pub fn apart(one: &BaseRow, other: &BaseRow) -> (f64, f64, bool) {
    let plane = LocalPlane::at(one.coordinates);
    let [e, n] = plane.flat(other.coordinates);
    let [e0, n0] = plane.flat(one.coordinates);
    let distance = (e - e0).hypot(n - n0);
    let sigma = |get: fn(&BaseRow) -> Option<f64>| get(one).unwrap_or(0.0).hypot(get(other).unwrap_or(0.0));
    let height = match (one.height, other.height) {
        (Some(Height::Ellipsoid(a)), Some(Height::Ellipsoid(b)))
        | (Some(Height::Orthometric(a)), Some(Height::Orthometric(b))) => (a - b).abs(),
        _ => 0.0,
    };
    let agrees = distance <= AGREEMENT_SIGMAS * sigma(|row| row.sigma_horizontal_m)
        && height <= AGREEMENT_SIGMAS * sigma(|row| row.sigma_vertical_m);
    (distance, height, agrees)
}

/// Joins the occupations of each base by the job's rules; the bases come in order of time, and the
/// disagreements in sentences.
pub fn merge(parts: Vec<OccupationPart>, rules: &Occupations, units: &Units) -> (Vec<BaseRow>, Vec<String>) {
    let mut by_name: BTreeMap<String, Vec<OccupationPart>> = BTreeMap::new();
    for part in parts {
        by_name.entry(part.row.name.clone()).or_default().push(part);
    }
    let mut rows = Vec::new();
    let mut notes = Vec::new();
    for (name, mut parts) in by_name {
        parts.sort_by_key(|part| (part.begins(), part.row.file));
        // Positions in two systems are compared when both are on their datum.
        let at_one_time =
            |a: &OccupationPart, b: &OccupationPart| a.row.file != b.row.file && a.row.crs == b.row.crs && a.overlaps(b);
        let parts = join(parts, (&name, units), rules.receivers, "two receivers at one time", at_one_time, &mut notes);
        let again = rules.reoccupied.unwrap_or(Several::Merge);
        let another = |a: &OccupationPart, b: &OccupationPart| a.row.crs == b.row.crs && !a.overlaps(b);
        let parts = join(parts, (&name, units), again, "two occupations", another, &mut notes);
        rows.extend(parts.into_iter().map(|part| part.row));
    }
    rows.sort_by(|a, b| a.windows.first().cmp(&b.windows.first()).then((a.file, a.line).cmp(&(b.file, b.line))));
    (rows, notes)
}

/// Joins pairs that `belong` together, or tells why not.
fn join(
    parts: Vec<OccupationPart>,
    (name, units): (&str, &Units),
    rule: Several,
    what: &str,
    belong: impl Fn(&OccupationPart, &OccupationPart) -> bool,
    notes: &mut Vec<String>,
) -> Vec<OccupationPart> {
    let mut joined: Vec<OccupationPart> = Vec::new();
    let (mut pairs, mut farthest) = (0u64, (0.0f64, 0.0f64));
    for mut part in parts {
        let mut home = None;
        for (i, other) in joined.iter_mut().enumerate() {
            if !belong(other, &part) {
                continue;
            }
            let (distance, height, agrees) = apart(&other.row, &part.row);
            if !agrees {
                pairs += 1;
                if distance.hypot(height) > farthest.0.hypot(farthest.1) || pairs == 1 {
                    farthest = (distance, height);
                }
                part.row.flags.raise(Flag::OccupationsDisagree);
                other.row.flags.raise(Flag::OccupationsDisagree);
            } else if rule == Several::Merge && home.is_none() {
                home = Some(i);
            }
        }
        match home {
            Some(i) => joined[i].row = weighted(&joined[i].row, &part.row),
            None => joined.push(part),
        }
    }
    if pairs > 0 {
        let (distance, height) = farthest;
        let most = if pairs > 1 { format!(" (the farthest of {pairs} such pairs)") } else { String::new() };
        notes.push(format!(
            "Base {}: {what} lie {} apart, {} in height, more than {AGREEMENT_SIGMAS} standard \
             errors{most}: they are kept apart, and the time of a shot tells which is meant. Was the mark the same?",
            crate::records::names::label(name),
            units.length().said(distance, 2),
            units.length().said(height, 2)
        ));
    }
    joined
}

/// Two occupations in order of time, and the covariances of their errors horizontally and in height; none where they overlap (two receivers), or
/// are not of epochs.
pub fn in_common(one: &BaseRow, other: &BaseRow) -> Option<(Fading, Fading, [f64; 2])> {
    let fading = |row: &BaseRow| row.occupation.as_ref().and_then(|occupation| occupation.fading);
    let (a, b) = (fading(one)?, fading(other)?);
    let (earlier, later) = if a.span.0 <= b.span.0 { (a, b) } else { (b, a) };
    (earlier.span.1 <= later.span.0).then(|| (earlier, later, earlier.covariance_with(&later)))
}

/// The weighted mean of two bases that agree. Two occupations a few minutes apart have most of their errors in common.
pub fn weighted(one: &BaseRow, other: &BaseRow) -> BaseRow {
    let plane = LocalPlane::at(one.coordinates);
    let weight = |sigma: Option<f64>| sigma.filter(|sigma| *sigma > 0.0).map_or(1.0, |sigma| sigma.powi(-2));
    let mean = |a: f64, b: f64, wa: f64, wb: f64| (wa * a + wb * b) / (wa + wb);
    let (wa, wb) = (weight(one.sigma_horizontal_m), weight(other.sigma_horizontal_m));
    let (a, b) = (plane.flat(one.coordinates), plane.flat(other.coordinates));
    let (va, vb) = (weight(one.sigma_vertical_m), weight(other.sigma_vertical_m));
    let height = match (one.height, other.height) {
        (Some(Height::Ellipsoid(a)), Some(Height::Ellipsoid(b))) => Some(Height::Ellipsoid(mean(a, b, va, vb))),
        (Some(Height::Orthometric(a)), Some(Height::Orthometric(b))) => Some(Height::Orthometric(mean(a, b, va, vb))),
        (one, other) => one.or(other),
    };
    let both = |a: Option<f64>, b: Option<f64>| [a, b].into_iter().flatten().max_by(f64::total_cmp);
    let common = in_common(one, other);
    // The mean weighted by 1/σ², and what the two have in common: σ² = (wa² σa² + wb² σb² + 2 wa wb cov)/(wa + wb)².
    let combined = |a: Option<f64>, b: Option<f64>, wa: f64, wb: f64, covariance: f64| match (a, b) {
        (Some(a), Some(b)) => {
            let square = (wa * a).powi(2) + (wb * b).powi(2) + 2.0 * wa * wb * covariance;
            Some(square.max(0.0).sqrt() / (wa + wb))
        }
        (a, b) => a.or(b),
    };
    let covariances = common.map_or([0.0; 2], |(_, _, covariances)| covariances);
    let kinds = [&one.quality.kinds, &other.quality.kinds].into_iter().flatten().cloned().collect::<Vec<_>>();
    let mut flags = one.flags;
    other.flags.iter().for_each(|flag| flags.raise(flag));
    let mut windows = [one.windows.clone(), other.windows.clone()].concat();
    windows.sort_unstable();
    let occupation = match (&one.occupation, &other.occupation) {
        (Some(a), Some(b)) => Some(Occupation {
            epochs: a.epochs + b.epochs,
            aside: a.aside + b.aside,
            duration_s: a.duration_s + b.duration_s,
            spread_m: a.spread_m.max(b.spread_m),
            occupations: a.occupations + b.occupations,
            fading: common.map(|(earlier, later, _)| {
                let share = |a: f64, b: f64| [a / (a + b), b / (a + b)];
                let shares = [share(wa, wb), share(va, vb)];
                let in_time = if earlier.span == a.fading.map_or(earlier.span, |fading| fading.span) {
                    shares
                } else {
                    shares.map(|[x, y]| [y, x])
                };
                earlier.joined(&later, in_time)
            }),
        }),
        (a, b) => a.clone().or(b.clone()),
    };
    BaseRow {
        coordinates: plane.back([mean(a[0], b[0], wa, wb), mean(a[1], b[1], wa, wb)]),
        height,
        sigma_horizontal_m: combined(one.sigma_horizontal_m, other.sigma_horizontal_m, wa, wb, covariances[0]),
        sigma_vertical_m: combined(one.sigma_vertical_m, other.sigma_vertical_m, va, vb, covariances[1]),
        instrument_height_m: one.instrument_height_m.or(other.instrument_height_m),
        separation_m: match (one.separation_m, other.separation_m) {
            (Some(a), Some(b)) => Some(mean(a, b, va, vb)),
            (a, b) => a.or(b),
        },
        windows,
        quality: FixQuality {
            kinds: (!kinds.is_empty()).then(|| kinds.join("; ")),
            worst_hdop: both(one.quality.worst_hdop, other.quality.worst_hdop),
            worst_pdop: both(one.quality.worst_pdop, other.quality.worst_pdop),
        },
        origins: [one.all_origins(), other.all_origins()].concat(),
        occupation,
        flags,
        ..one.clone()
    }
}

#[cfg(test)]
mod tests {
    use super::super::average::average;
    use super::super::invented::*;
    use super::*;
    use crate::job::Quality;
    use crate::records::base_row::Coordinates;
    use crate::records::fix::Fix;

    fn part(name: &str, file: usize, second: f64, east_m: f64) -> OccupationPart {
        let epochs: Vec<Epoch> = (0..10)
            .map(|i| {
                let mut fix = fix(second + f64::from(i), east_m, 0.0);
                fix.file = file;
                epoch(fix)
            })
            .collect();
        let members: Vec<&Epoch> = epochs.iter().collect();
        let fixes: Vec<&Fix> = epochs.iter().map(|epoch| &epoch.fix).collect();
        let (occupations, quality) = (Occupations::default(), Quality::default());
        let rules =
            OccupationRules { occupations: &occupations, quality: &quality, antenna_height_m: 2.0, units: Units::default() };
        let window = Window { name: name.into(), ..Window::default() };
        OccupationPart::new(&Window { from: at(second), to: at(second), ..window }, &members, &average(&fixes, 120.0), &rules)
    }

    #[test]
    fn the_antenna_height_is_taken_off() {
        // 20 m above sea level, 12 m separation, 2 m antenna.
        let Some(Height::Ellipsoid(height)) = part("A", 0, 0.0, 0.0).row.height else { panic!("no height") };
        assert!((height - 30.0).abs() < 1e-9, "{height}");
    }

    #[test]
    fn occupations_that_agree_become_one() {
        let (rows, notes) =
            merge(vec![part("A", 0, 0.0, 0.0), part("A", 0, 5000.0, 1.0)], &Occupations::default(), &Units::default());
        assert_eq!((rows.len(), notes.len()), (1, 0));
        let row = &rows[0];
        let [e, _] = LocalPlane::at(fix(0.0, 0.0, 0.0).coordinates).flat(row.coordinates);
        assert!((e - 0.5).abs() < 1e-3, "{e}");
        assert_eq!(row.windows.len(), 2);
        assert_eq!(row.occupation.as_ref().unwrap().epochs, 20);
        let one = part("A", 0, 0.0, 0.0).row.sigma_horizontal_m.unwrap();
        assert!((row.sigma_horizontal_m.unwrap() - one / 2f64.sqrt()).abs() < 1e-9);
    }

    /// Two stands of a minute, a minute apart, under T = 120 s: independent they would be worth 1/√2 of one.
    #[test]
    fn two_occupations_close_in_time_have_most_of_their_error_in_common() {
        let stand = |second: f64| {
            let epochs: Vec<Epoch> = (0..60).map(|i| epoch(fix(second + f64::from(i), 0.0, 0.0))).collect();
            let fixes: Vec<&Fix> = epochs.iter().map(|epoch| &epoch.fix).collect();
            let (occupations, quality) = (Occupations::default(), Quality::default());
            let rules =
                OccupationRules { occupations: &occupations, quality: &quality, antenna_height_m: 2.0, units: Units::default() };
            let window = Window { name: "A".into(), from: at(second), to: at(second), ..Window::default() };
            OccupationPart::new(&window, &epochs.iter().collect::<Vec<_>>(), &average(&fixes, 120.0), &rules)
        };
        let (rows, _) = merge(vec![stand(0.0), stand(120.0), stand(240.0)], &Occupations::default(), &Units::default());
        // The oracle: all epochs at once, with the covariance matrix of the process.
        let times: Vec<f64> = (0..180).map(|i| f64::from(i % 60 + i / 60 * 120)).collect();
        let sum: f64 = times.iter().flat_map(|a| times.iter().map(move |b| (-(a - b).abs() / 120.0).exp())).sum();
        let want = 2.0 * sum.sqrt() / 180.0;
        let got = rows[0].sigma_horizontal_m.unwrap();
        assert!((got / want - 1.0).abs() < 0.02, "{got} {want}");
        let one = stand(0.0).row.sigma_horizontal_m.unwrap();
        assert!(want / one > 0.75, "{want} {one}");
        // An hour later nothing is in common any more.
        let (rows, _) = merge(vec![stand(0.0), stand(3600.0)], &Occupations::default(), &Units::default());
        assert!((rows[0].sigma_horizontal_m.unwrap() / one - 0.5f64.sqrt()).abs() < 1e-6);
    }

    #[test]
    fn occupations_that_disagree_stay_apart_and_are_told() {
        let (rows, notes) =
            merge(vec![part("A", 0, 0.0, 0.0), part("A", 0, 5000.0, 30.0)], &Occupations::default(), &Units::default());
        assert_eq!(rows.len(), 2);
        assert!(rows.iter().all(|row| row.flags.has(Flag::OccupationsDisagree)));
        assert!(notes[0].starts_with("Base A: two occupations lie 30.0"), "{notes:?}");
    }

    #[test]
    fn receivers_at_one_time_by_rule() {
        let both = || vec![part("A", 0, 0.0, 0.0), part("A", 1, 2.0, 1.0)];
        assert_eq!(merge(both(), &Occupations::default(), &Units::default()).0.len(), 1);
        let apart = Occupations { receivers: Several::Apart, ..Occupations::default() };
        assert_eq!(merge(both(), &apart, &Units::default()).0.len(), 2);
        let again = Occupations { reoccupied: Some(Several::Apart), ..Occupations::default() };
        assert_eq!(merge(vec![part("A", 0, 0.0, 0.0), part("A", 0, 5000.0, 1.0)], &again, &Units::default()).0.len(), 2);
    }

    /// Two occupations on a grid agree within three standard errors of their difference, in place and in height.
    #[test]
    fn three_standard_errors_between_two_occupations() {
        let on_grid = |east_m: f64, north_m: f64, up_m: f64| {
            let mut row = part("A", 0, 0.0, 0.0).row;
            row.coordinates = Coordinates::Projected { east_m: 500_000.0 + east_m, north_m: 5_000_000.0 + north_m };
            row.height = Some(Height::Ellipsoid(up_m));
            (row.sigma_horizontal_m, row.sigma_vertical_m) = (Some(0.3), Some(0.6));
            row
        };
        let zero = on_grid(0.0, 0.0, 100.0);
        // 3 · 0.3 · √2 = 1.2728 m, and 3 · 0.6 · √2 = 2.5456 m.
        for (east_m, north_m, up_m, agrees) in [
            (1.272, 0.0, 100.0, true),
            (1.274, 0.0, 100.0, false),
            (0.0, -1.272, 100.0, true),
            (0.0, -1.274, 100.0, false),
            (0.0, 0.0, 102.545, true),
            (0.0, 0.0, 102.546, false),
            (0.0, 0.0, 97.454, false),
        ] {
            let (distance_m, height_m, said) = apart(&zero, &on_grid(east_m, north_m, up_m));
            assert!((distance_m - f64::hypot(east_m, north_m)).abs() < 1e-9 && (height_m - (up_m - 100.0).abs()).abs() < 1e-9);
            assert_eq!(said, agrees, "{east_m} {north_m} {up_m}");
        }
    }

    /// Two occupations on a grid with everything that they carry, an hour apart or at one time.
    fn occupied(k: usize) -> BaseRow {
        let k = k as f64;
        let mut row = part("A", 0, 4000.0 * k, 0.0).row;
        row.coordinates = Coordinates::Projected { east_m: 500_000.0 + 0.3 * k, north_m: 5_000_000.0 - 0.2 * k };
        row.height = Some(Height::Ellipsoid(100.0 + 0.5 * k));
        (row.sigma_horizontal_m, row.sigma_vertical_m) = (Some(0.3 + 0.1 * k), Some(0.5 + 0.5 * k));
        row.separation_m = Some(47.0 + k);
        (row.quality.worst_hdop, row.quality.worst_pdop) = (Some(1.0 + k), Some(3.0 - k));
        let occupation = row.occupation.as_mut().unwrap();
        (occupation.aside, occupation.spread_m) = (2 + k as u64, 1.5 - k);
        row
    }

    /// The weighted mean by its definition, Σ x/σ² / Σ 1/σ², and 1/√Σ 1/σ², of which nothing is in common after an hour.
    #[test]
    fn a_mean_weighs_by_the_squares_of_standard_errors() {
        let mean = weighted(&occupied(0), &occupied(1));
        let of = |a: f64, b: f64, sa: f64, sb: f64| (a / (sa * sa) + b / (sb * sb)) / (1.0 / (sa * sa) + 1.0 / (sb * sb));
        let near = |got: f64, want: f64| assert!((got - want).abs() < 1e-6, "{got} {want}");
        let Coordinates::Projected { east_m, north_m } = mean.coordinates else { panic!("{:?}", mean.coordinates) };
        near(east_m, 500_000.0 + of(0.0, 0.3, 0.3, 0.4));
        near(north_m, 5_000_000.0 - of(0.0, 0.2, 0.3, 0.4));
        let Some(Height::Ellipsoid(height)) = mean.height else { panic!("{:?}", mean.height) };
        near(height, 100.0 + of(0.0, 0.5, 0.5, 1.0));
        near(mean.separation_m.unwrap(), 47.0 + of(0.0, 1.0, 0.5, 1.0));
        near(mean.sigma_horizontal_m.unwrap(), 0.3 * 0.4 / 0.3f64.hypot(0.4));
        near(mean.sigma_vertical_m.unwrap(), 0.5 / 0.5f64.hypot(1.0));
        assert_eq!((mean.quality.worst_hdop, mean.quality.worst_pdop), (Some(2.0), Some(3.0)));
        let made = mean.occupation.unwrap();
        assert_eq!((made.epochs, made.aside, made.occupations), (20, 5, 2));
        assert!((made.duration_s - 18.0).abs() < 1e-9 && made.spread_m == 1.5);
        assert_eq!(mean.windows, [occupied(0).windows[0], occupied(1).windows[0]]);
        // What one lacks is that of the other; without a standard error both count alike.
        let bare =
            |row: BaseRow| BaseRow { separation_m: None, height: None, sigma_vertical_m: None, sigma_horizontal_m: None, ..row };
        let mean = weighted(&bare(occupied(0)), &occupied(1));
        assert_eq!(
            (mean.height, mean.separation_m, mean.sigma_vertical_m),
            (occupied(1).height, occupied(1).separation_m, Some(1.0))
        );
        let mean = weighted(&bare(occupied(0)), &bare(occupied(1)));
        let Coordinates::Projected { east_m, .. } = mean.coordinates else { panic!("{:?}", mean.coordinates) };
        near(east_m, 500_000.15);
        assert_eq!(mean.sigma_horizontal_m, None);
    }

    #[test]
    fn what_a_mean_is_made_of_is_told_of_both() {
        let mut rows = [occupied(0), occupied(1)];
        rows[0].quality.kinds = Some("fixed 10".into());
        rows[1].quality.kinds = Some("float 4, single 6".into());
        let kinds = |rows: &[BaseRow; 2]| weighted(&rows[0], &rows[1]).quality.kinds;
        assert_eq!(kinds(&rows).as_deref(), Some("fixed 10; float 4, single 6"));
        rows[0].quality.kinds = None;
        assert_eq!(kinds(&rows).as_deref(), Some("float 4, single 6"));
        rows[1].quality.kinds = None;
        assert_eq!(kinds(&rows), None);
        // Flags, windows and origins of both, in time; the first one's own line and what the other has beside it.
        rows[0].flags.raise(Flag::OccupationsDisagree);
        rows[0].instrument_height_m = None;
        rows[1].instrument_height_m = Some(1.6);
        let mean = weighted(&rows[1], &rows[0]);
        assert!(mean.flags.has(Flag::OccupationsDisagree));
        assert_eq!((mean.windows.len(), mean.windows[0], mean.line), (2, rows[0].windows[0], rows[1].line));
        assert_eq!((mean.origins.len(), mean.instrument_height_m), (20, Some(1.6)));
        assert_eq!(weighted(&rows[0], &rows[1]).instrument_height_m, Some(1.6));
        // Heights of two kinds are not mixed, and what is of rows of a list alone has no epochs.
        rows[1].height = Some(Height::Orthometric(60.0));
        assert_eq!(weighted(&rows[0], &rows[1]).height, rows[0].height);
        rows[0].height = Some(Height::Orthometric(59.0));
        let Some(Height::Orthometric(height)) = weighted(&rows[0], &rows[1]).height else { panic!("no height") };
        // Standard errors of 0.5 and 1 m.
        assert!((height - (4.0 * 59.0 + 60.0) / 5.0).abs() < 1e-9);
        rows[0].occupation = None;
        assert_eq!(weighted(&rows[0], &rows[1]).occupation, rows[1].occupation);
        assert!(in_common(&rows[0], &rows[1]).is_none());
        // A standard error of 0 is none.
        rows[0].sigma_horizontal_m = Some(0.0);
        rows[1].sigma_horizontal_m = Some(1.0);
        let Coordinates::Projected { east_m, .. } = weighted(&rows[0], &rows[1]).coordinates else { panic!() };
        assert!((east_m - 500_000.15).abs() < 1e-6, "{east_m}");
    }

    /// An occupation of five epochs, one of which is set aside, by a window of a list and without one.
    #[test]
    fn an_occupation_as_a_base() {
        let kinds = [FixKind::Float, FixKind::Single, FixKind::Fixed, FixKind::Single, FixKind::Single];
        let mut epochs: Vec<Epoch> = (0..5)
            .map(|i: usize| {
                let mut fix = fix(10.0 + i as f64, 0.0, 0.0);
                (fix.kind, fix.file) = (kinds[i], 3);
                (fix.hdop, fix.pdop) = (Some(1.0 + 0.1 * i as f64), Some(3.0 - 0.1 * i as f64));
                epoch(fix)
            })
            .collect();
        epochs[0].beside.instrument_height_m = Some(1.7);
        epochs[0].beside.coordinate_epoch = Some(2026.5);
        epochs[0].beside.crs = Some("EPSG:4937".into());
        let made = |epochs: &[Epoch], window: &Window| {
            let fixes: Vec<&Fix> = epochs.iter().map(|epoch| &epoch.fix).collect();
            let mut mean = average(&fixes, 120.0);
            mean.aside = vec![None, None, None, None, Some(9.0)];
            let (occupations, quality) = (Occupations::default(), Quality::default());
            let rules =
                OccupationRules { occupations: &occupations, quality: &quality, antenna_height_m: 2.0, units: Units::default() };
            OccupationPart::new(window, &epochs.iter().collect::<Vec<_>>(), &mean, &rules).row
        };
        let height = |row: &BaseRow| match row.height {
            Some(Height::Ellipsoid(metres)) => metres,
            other => panic!("{other:?}"),
        };
        let open = Window { name: "A".into(), from: at(10.0), to: at(10.0), ..Window::default() };
        let row = made(&epochs, &open);
        assert_eq!(row.quality.kinds.as_deref(), Some("fixed 1, float 1, single 2"));
        assert_eq!((row.quality.worst_hdop, row.quality.worst_pdop), (Some(1.3), Some(3.0)));
        let occupation = row.occupation.as_ref().unwrap();
        assert_eq!((occupation.epochs, occupation.aside, occupation.duration_s, occupation.occupations), (4, 1, 3.0, 1));
        assert_eq!((row.windows.as_slice(), row.file, row.line), ([(at(10.0), at(13.0))].as_slice(), 3, 11));
        assert_eq!(
            (row.instrument_height_m, row.coordinate_epoch, row.crs.as_deref()),
            (Some(1.7), Some(2026.5), Some("EPSG:4937"))
        );
        assert_eq!((row.origins.len(), row.when.as_ref().and_then(|when| when.instant).map(|of| of.0)), (4, Some(at(10.0))));
        // 20 m and 12 m of separation, less the antenna: that of the job, of the list, or none where the height is that of the ground.
        assert!((height(&row) - 30.0).abs() < 1e-9);
        let of_list =
            Window { antenna_height_m: Some(1.25), instrument_height_m: Some(1.5), from: at(5.0), to: at(12.0), ..open.clone() };
        let row = made(&epochs, &of_list);
        assert!((height(&row) - 30.75).abs() < 1e-9);
        assert_eq!((row.instrument_height_m, row.windows[0]), (Some(1.5), (at(5.0), at(13.0))));
        let longer = Window { from: at(11.0), to: at(20.0), ..open.clone() };
        assert_eq!(made(&epochs, &longer).windows[0], (at(10.0), at(20.0)));
        epochs[0].beside.is_of_ground = true;
        assert!((height(&made(&epochs, &of_list)) - 32.0).abs() < 1e-9);
        epochs.iter_mut().for_each(|epoch| epoch.fix.height = None);
        let row = made(&epochs, &open);
        assert_eq!((row.height, row.sigma_vertical_m), (None, None));
    }

    /// Windows that touch are of one time; those of a second later are not.
    #[test]
    fn occupations_of_one_time() {
        let of = |windows: &[(f64, f64)]| {
            let mut part = part("A", 0, 0.0, 0.0);
            part.row.windows = windows.iter().map(|(from, to)| (at(*from), at(*to))).collect();
            part
        };
        let overlap = |a: &[(f64, f64)], b: &[(f64, f64)]| {
            assert_eq!(of(a).overlaps(&of(b)), of(b).overlaps(&of(a)));
            of(a).overlaps(&of(b))
        };
        assert!(overlap(&[(0.0, 10.0)], &[(10.0, 20.0)]) && !overlap(&[(0.0, 10.0)], &[(11.0, 20.0)]));
        assert!(overlap(&[(0.0, 30.0)], &[(10.0, 20.0)]));
        assert!(overlap(&[(0.0, 1.0), (50.0, 60.0)], &[(10.0, 20.0), (55.0, 56.0)]));
        assert!(!overlap(&[(0.0, 1.0), (50.0, 60.0)], &[(10.0, 20.0)]));
        assert_eq!((of(&[(5.0, 6.0), (9.0, 9.5)]).begins(), of(&[]).begins()), (at(5.0), Timestamp::UNIX_EPOCH));
    }

    /// What is in two systems, or of two receivers at one time where that is asked for, stays as it is; bases come in order of time.
    #[test]
    fn only_what_belongs_together_is_joined() {
        let names = |parts: Vec<OccupationPart>| {
            let (rows, notes) = merge(parts, &Occupations::default(), &Units::default());
            let told = rows.iter().map(|row| (row.name.clone(), row.file, row.windows[0].0)).collect::<Vec<_>>();
            (told, notes.len())
        };
        let mut other = part("A", 1, 5.0, 0.0);
        other.row.crs = Some("EPSG:4937".into());
        let found = names(vec![part("B", 0, 9000.0, 0.0), part("A", 0, 0.0, 0.0), other, part("C", 0, 4000.0, 0.0)]);
        let want = [("A", 0, 0.0), ("A", 1, 5.0), ("C", 0, 4000.0), ("B", 0, 9000.0)];
        assert_eq!(found, (want.map(|(name, file, second)| (name.to_owned(), file, at(second))).to_vec(), 0));
        // Another occupation in another system stays, too.
        let mut later = part("A", 0, 5000.0, 0.0);
        later.row.crs = Some("EPSG:4937".into());
        assert_eq!(names(vec![part("A", 0, 0.0, 0.0), later]).0.len(), 2);
        // One log that overlaps itself is neither.
        assert_eq!(names(vec![part("A", 0, 0.0, 0.0), part("A", 0, 5.0, 0.0)]).0.len(), 2);
        // Two receivers that disagree at one time are told by what they are.
        let (rows, notes) =
            merge(vec![part("A", 0, 0.0, 0.0), part("A", 1, 5.0, 30.0)], &Occupations::default(), &Units::default());
        assert!(rows.len() == 2 && notes[0].starts_with("Base A: two receivers at one time lie 30."), "{notes:?}");
    }

    /// Of three that are asked for apart the pairs that disagree are told all the same.
    #[test]
    fn what_is_kept_apart_by_rule_is_compared() {
        let again = Occupations { reoccupied: Some(Several::Apart), ..Occupations::default() };
        let parts = vec![part("A", 0, 0.0, 0.0), part("A", 0, 5000.0, 1.0), part("A", 0, 9000.0, 40.0)];
        let (rows, notes) = merge(parts, &again, &Units::default());
        let flagged: Vec<bool> = rows.iter().map(|row| row.flags.has(Flag::OccupationsDisagree)).collect();
        assert_eq!((flagged, notes.len()), (vec![true, true, true], 1));
        assert!(notes[0].contains("lie 40.") && notes[0].contains("the farthest of 2 such pairs"), "{notes:?}");
    }

    /// A mean of two occupations goes on as their weighted sum: its covariance with a third one is that of both, whichever comes first.
    #[test]
    fn a_mean_has_in_common_with_a_third_what_both_have() {
        let mut near = [occupied(0), occupied(1), occupied(2)];
        let span = |k: usize| (at(60.0 * k as f64), at(60.0 * k as f64 + 30.0));
        for (k, row) in near.iter_mut().enumerate() {
            let (a, b) = (0.2 + 0.1 * k as f64, 0.4 - 0.05 * k as f64);
            row.occupation.as_mut().unwrap().fading =
                Some(Fading { span: span(k), head_m: [a, 2.0 * b], tail_m: [b, 3.0 * a], correlation_s: 100.0 });
        }
        let [first, second, third] = &near;
        let shares = |a: Option<f64>, b: Option<f64>| {
            let (a, b) = (a.unwrap().powi(-2), b.unwrap().powi(-2));
            [a / (a + b), b / (a + b)]
        };
        let by = [
            shares(first.sigma_horizontal_m, second.sigma_horizontal_m),
            shares(first.sigma_vertical_m, second.sigma_vertical_m),
        ];
        let (_, _, one) = in_common(first, third).unwrap();
        let (_, _, other) = in_common(second, third).unwrap();
        for mean in [weighted(first, second), weighted(second, first)] {
            let (_, _, got) = in_common(&mean, third).unwrap();
            let (_, _, turned) = in_common(third, &mean).unwrap();
            for k in 0..2 {
                let want = by[k][0] * one[k] + by[k][1] * other[k];
                assert!((got[k] - want).abs() < 1e-12 && turned[k] == got[k], "{k}: {} {want}", got[k]);
            }
            // σ² of a weighted sum with what both have in common.
            let (_, _, both) = in_common(first, second).unwrap();
            let (a, b) = (first.sigma_horizontal_m.unwrap(), second.sigma_horizontal_m.unwrap());
            let [x, y] = by[0];
            let want = ((x * a).powi(2) + (y * b).powi(2) + 2.0 * x * y * both[0]).sqrt();
            assert!((mean.sigma_horizontal_m.unwrap() - want).abs() < 1e-12);
        }
        // Those that overlap are two receivers, whose errors are their own.
        let mut same = second.clone();
        same.occupation.as_mut().unwrap().fading.as_mut().unwrap().span = (at(29.0), at(80.0));
        assert!(in_common(first, &same).is_none());
        same.occupation.as_mut().unwrap().fading.as_mut().unwrap().span = (at(30.0), at(80.0));
        assert!(in_common(first, &same).is_some());
    }

    /// Of several pairs that disagree the farthest is told, height and place together.
    #[test]
    fn the_farthest_of_several_pairs_is_told() {
        let at = |second: f64, east_m: f64, up_m: f64| {
            let mut part = part("A", 0, second, east_m);
            part.row.height = part.row.height.map(|height| height.raised(up_m));
            part
        };
        let parts = vec![at(0.0, 0.0, 0.0), at(5000.0, 30.0, 0.0), at(10_000.0, 0.0, 60.0)];
        let (rows, notes) = merge(parts, &Occupations::default(), &Units::default());
        assert_eq!(rows.len(), 3);
        assert!(
            notes[0].starts_with("Base A: two occupations lie 30.00 m apart, 60.00 m in height, more than 3 standard errors (the farthest of 3 such pairs)"),
            "{notes:?}"
        );
        let (_, notes) = merge(vec![at(0.0, 0.0, 0.0), at(5000.0, 0.0, 40.0)], &Occupations::default(), &Units::default());
        assert!(
            notes[0]
                .starts_with("Base A: two occupations lie 0.00 m apart, 40.00 m in height, more than 3 standard errors: they"),
            "{notes:?}"
        );
    }
}
