//! Many comparisons at once: S. Holm's correction.
//!
//! Of 100 features that did not move, five would be called moved at 5 % each. Holm's step-down keeps the chance of even one false call
//! among all of them at 5 %: the i-th smallest of m probabilities (i from 1) becomes the greatest of (m − j + 1) p_j for j ≤ i, 1 at most.
//! It holds however the comparisons hang together, and never finds less than Bonferroni's m p.
//! S. Holm, "A simple sequentially rejective multiple test procedure", Scandinavian Journal of Statistics 6 (1979) (from memory).

/// Chance of a false call in the whole family.
pub const LEVEL: f64 = 0.05;

/// Probabilities corrected for their number, in their order. What was not tested (none) counts for nothing.
pub fn holm(probabilities: &[Option<f64>]) -> Vec<Option<f64>> {
    let mut tested: Vec<(f64, usize)> = probabilities.iter().enumerate().filter_map(|(i, p)| p.map(|p| (p, i))).collect();
    tested.sort_unstable_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    let mut corrected = vec![None; probabilities.len()];
    let (count, mut greatest) = (tested.len(), 0.0f64);
    for (rank, (probability, index)) in tested.into_iter().enumerate() {
        greatest = greatest.max((count - rank) as f64 * probability).min(1.0);
        if let Some(place) = corrected.get_mut(index) {
            *place = Some(greatest);
        }
    }
    corrected
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numeric::monte_carlo::Normal;
    use crate::review::assess::probability::normal_two_sided;
    use proptest::prelude::*;

    #[test]
    fn by_hand() {
        // Sorted 0.01, 0.02, 0.03, 0.04: times 4, 3, 2, 1 = 0.04, 0.06, 0.06, 0.04 → never falling: 0.04, 0.06, 0.06, 0.06.
        let corrected = holm(&[Some(0.04), Some(0.01), None, Some(0.03), Some(0.02)]);
        let want = [Some(0.06), Some(0.04), None, Some(0.06), Some(0.06)];
        for (got, want) in corrected.iter().zip(want) {
            assert_eq!(got.is_some(), want.is_some());
            assert!((got.unwrap_or(0.0) - want.unwrap_or(0.0)).abs() < 1e-12, "{corrected:?}");
        }
        assert_eq!(holm(&[Some(0.9), Some(0.8)]), [Some(1.0), Some(1.0)]);
        assert!(holm(&[]).is_empty());
    }

    #[test]
    fn among_features_that_did_not_move_one_family_in_20_has_a_false_call() {
        let mut normal = Normal::seeded(1979);
        let (families, features) = (4000, 30);
        let mut with_false_call = 0;
        for _ in 0..families {
            let probabilities: Vec<Option<f64>> = (0..features).map(|_| Some(normal_two_sided(normal.next()))).collect();
            with_false_call += usize::from(holm(&probabilities).into_iter().flatten().any(|p| p <= LEVEL));
        }
        let share = with_false_call as f64 / f64::from(families);
        // 1 − (1 − 0.05/30)³⁰ = 0.0488 for independent ones; four standard errors are 0.0136.
        assert!((share - 0.0488).abs() < 0.0136, "{share}");
    }

    proptest! {
        /// Between the bare probability and Bonferroni's, and in the same order.
        #[test]
        fn between_nothing_and_bonferroni(probabilities in prop::collection::vec(0.0f64..1.0, 1..40)) {
            let m = probabilities.len() as f64;
            let corrected: Vec<f64> = holm(&probabilities.iter().map(|p| Some(*p)).collect::<Vec<_>>()).into_iter().flatten().collect();
            for (p, c) in probabilities.iter().zip(&corrected) {
                prop_assert!(*p <= *c && *c <= (m * p).min(1.0) + 1e-12);
                for (other, d) in probabilities.iter().zip(&corrected) {
                    prop_assert!(p > other || c <= d);
                }
            }
        }
    }
}
