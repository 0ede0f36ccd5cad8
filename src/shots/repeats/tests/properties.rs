//! What must hold always: the order of shots and the direction of north change nothing.

use proptest::prelude::*;

use super::*;
use crate::shots::repeats::{SettledRepeats, pull, settle};

/// A nanometre: 6.4e6 m has no finer digits.
const ORDER_M: f64 = 1e-9;

fn scene() -> impl Strategy<Value = (Site, Vec<Repeat>)> {
    let shot =
        (0usize..3, proptest::array::uniform3(-2.0f64..2.0), prop_oneof![6 => Just(0.0), 1 => -30.0f64..30.0], any::<bool>());
    (proptest::collection::vec(shot, 1..12), -200.0f64..200.0, 30.0f64..200.0, -20.0f64..20.0).prop_map(|(shots, e, n, u)| {
        let site = Site::new(&[[0.0; 3], [140.0, -60.0, 8.0], [-30.0, -80.0, -3.0]], [0.4, 0.7], HANDHELD);
        let shots = shots.into_iter().enumerate().map(|(i, (base, off, wrong, has_height))| {
            // The first is from the first base, with a height.
            let base = if i == 0 { 0 } else { base };
            let shot = site.off(base, [e, n, u], [off[0], off[1], off[2] + wrong / HANDHELD.distance_m]);
            if has_height || i == 0 { shot } else { level(shot) }
        });
        let shots = shots.collect();
        (site, shots)
    })
}

fn turned(shot: &Repeat, angle: f64) -> Repeat {
    let (sin, cos) = angle.sin_cos();
    let turn = |[e, n, u]: [f64; 3]| [e * cos + n * sin, n * cos - e * sin, u];
    let covariance = |c: Covariance| Covariance {
        ee: c.ee * cos * cos + 2.0 * c.en * sin * cos + c.nn * sin * sin,
        nn: c.nn * cos * cos - 2.0 * c.en * sin * cos + c.ee * sin * sin,
        en: c.en * (cos * cos - sin * sin) + (c.nn - c.ee) * sin * cos,
        eu: c.eu * cos + c.nu * sin,
        nu: c.nu * cos - c.eu * sin,
        uu: c.uu,
    };
    let mut out = *shot;
    let v = &mut out.vector;
    [v.east_m, v.north_m, _] = turn([v.east_m, v.north_m, 0.0]);
    (v.direction, v.distance) = (covariance(v.direction), covariance(v.distance));
    (v.by_inclination_m, v.by_distance_m) = (turn(v.by_inclination_m), turn(v.by_distance_m));
    out
}

proptest! {
    #[test]
    fn the_order_of_shots_does_not_matter((site, shots) in scene(), by in 0usize..12, back in any::<bool>()) {
        let mut order: Vec<usize> = (0..shots.len()).collect();
        order.rotate_left(by % shots.len());
        if back {
            order.reverse();
        }
        let moved: Vec<Repeat> = order.iter().map(|i| shots[*i]).collect();
        match (settle(&site.bases, &shots).unwrap(), settle(&site.bases, &moved).unwrap()) {
            (SettledRepeats::Point { mean, findings }, SettledRepeats::Point { mean: again, findings: others }) => {
                for (place, i) in order.iter().enumerate() {
                    prop_assert_eq!(findings[*i].verdict, others[place].verdict);
                    prop_assert!((findings[*i].along.metres - others[place].along.metres).abs() < ORDER_M);
                }
                for k in 0..3 {
                    prop_assert!((mean.at[k] - again.at[k]).abs() <= 2.0 * ORDER_M, "{:?} {:?}", mean.at, again.at);
                }
                let (one, two) = (mean.parts.total(), again.parts.total());
                prop_assert!((one.uu + one.horizontal_variance() - two.uu - two.horizontal_variance()).abs() < ORDER_M);
                if mean.base == again.base {
                    for (one, two) in [(mean.east_m, again.east_m), (mean.north_m, again.north_m), (one.en, two.en)] {
                        prop_assert!((one - two).abs() < ORDER_M, "{one} {two}");
                    }
                }
            }
            (SettledRepeats::Disagreeing { apart, .. }, SettledRepeats::Disagreeing { apart: again, .. })
            | (SettledRepeats::NotOneFeature { apart, .. }, SettledRepeats::NotOneFeature { apart: again, .. }) => {
                prop_assert!((apart.horizontal_m - again.horizontal_m).abs() < ORDER_M);
            }
            (one, two) => prop_assert!(false, "{one:?} {two:?}"),
        }
    }

    #[test]
    fn turning_all_azimuths_turns_the_result((site, shots) in scene(), angle in -3.1f64..3.1) {
        // Of one base; rounding of 300 m and of sines.
        const TURNED_M: f64 = 1e-8;
        let shots: Vec<Repeat> = shots.into_iter().filter(|shot| shot.base == 0).collect();
        let others: Vec<Repeat> = shots.iter().map(|shot| turned(shot, angle)).collect();
        match (settle(&site.bases, &shots).unwrap(), settle(&site.bases, &others).unwrap()) {
            (SettledRepeats::Point { mean, findings }, SettledRepeats::Point { mean: again, findings: found }) => {
                let (sin, cos) = angle.sin_cos();
                prop_assert!((mean.east_m * cos + mean.north_m * sin - again.east_m).abs() < TURNED_M);
                prop_assert!((mean.north_m * cos - mean.east_m * sin - again.north_m).abs() < TURNED_M);
                prop_assert!(mean.up_m.is_some() == again.up_m.is_some());
                prop_assert!((mean.up_m.unwrap_or(0.0) - again.up_m.unwrap_or(0.0)).abs() < TURNED_M);
                for (one, two) in findings.iter().zip(&found) {
                    prop_assert_eq!(one.verdict, two.verdict);
                }
                let as_shot = Repeat { base: 0, vector: mean.one.unwrap(), echo: None, rise_m: 0.0 };
                let (want, got) = (turned(&as_shot, angle).vector, again.one.unwrap());
                for (want, got) in [(want.direction, got.direction), (want.distance, got.distance)] {
                    prop_assert!((want.ee - got.ee).abs() < TURNED_M && (want.en - got.en).abs() < TURNED_M && (want.nu - got.nu).abs() < TURNED_M);
                }
            }
            (SettledRepeats::Disagreeing { .. }, SettledRepeats::Disagreeing { .. }) | (SettledRepeats::NotOneFeature { .. }, SettledRepeats::NotOneFeature { .. }) => {}
            (one, two) => prop_assert!(false, "{one:?} {two:?}"),
        }
    }

    #[test]
    fn the_order_of_readings_of_a_pull_does_not_matter((site, shots) in scene(), by in 0usize..12) {
        let shots: Vec<Repeat> = shots.into_iter().map(|shot| Repeat { base: 0, ..shot }).collect();
        let mut moved = shots.clone();
        moved.rotate_left(by % shots.len());
        let (one, two) = (pull(&site.bases, &shots).unwrap(), pull(&site.bases, &moved).unwrap());
        prop_assert!((one.east_m - two.east_m).abs() < ORDER_M && (one.north_m - two.north_m).abs() < ORDER_M);
        prop_assert!((one.parts.total().uu - two.parts.total().uu).abs() < ORDER_M);
        prop_assert_eq!((one.used, one.set_aside), (two.used, two.set_aside));
    }
}
