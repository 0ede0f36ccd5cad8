//! Order statistics of long lists, without sorting them.

/// The values that given shares of a list do not exceed: for a share `p` of `n` values the one of rank ⌈p·n⌉ (at least the first),
/// the inverse of the empirical distribution function (definition 1 of Hyndman and Fan, "Sample quantiles in statistical packages",
/// The American Statistician 50, 1996). None for an empty list. Values are ordered as [`f32::total_cmp`] does.
pub fn at_shares<const N: usize>(values: &[f32], shares: [f64; N]) -> Option<[f64; N]> {
    if values.is_empty() {
        return None;
    }
    let mut values = values.to_vec();
    let last = values.len();
    // Those before the greatest rank so far are in their part: a greater one lies behind them.
    let mut sorted_until = 0;
    Some(shares.map(|share| {
        let place = ((last as f64 * share).ceil() as usize).clamp(1, last) - 1;
        let from = if place >= sorted_until { sorted_until } else { 0 };
        sorted_until = place;
        f64::from(*values[from..].select_nth_unstable_by(place - from, f32::total_cmp).1)
    }))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn ranks_of_a_list_counted_by_hand() {
        let values = [5.0, 1.0, 4.0, 2.0, 3.0, 10.0, 9.0, 8.0, 7.0, 6.0];
        assert_eq!(at_shares(&values, [0.0, 0.05, 0.5, 0.51, 0.95, 1.0]), Some([1.0, 1.0, 5.0, 6.0, 10.0, 10.0]));
        assert_eq!(at_shares(&[], [0.5]), None);
        assert_eq!(at_shares(&[7.0], [0.5, 1.0]), Some([7.0, 7.0]));
    }

    proptest! {
        #[test]
        fn as_in_the_sorted_list(values in prop::collection::vec(-1e6f32..1e6, 1..200), share in 0.0..1.0f64, other in 0.0..1.0f64) {
            let mut sorted = values.clone();
            sorted.sort_by(f32::total_cmp);
            let of = |share: f64| sorted.iter().enumerate().find(|(i, _)| (*i + 1) as f64 >= share * sorted.len() as f64).map(|(_, value)| f64::from(*value));
            let wanted = [share, other, 1.0, share, other].map(|share| of(share).unwrap());
            prop_assert_eq!(at_shares(&values, [share, other, 1.0, share, other]), Some(wanted));
        }
    }
}
