//! Robust estimation by weights that fall with the residual, renewed at each iteration.
//!
//! With t = |v| / σ (for a position √(vᵀ Σ⁻¹ v / rows)):
//! Huber: weight 1 up to t = 1.5, then 1.5 / t. P. J. Huber, "Robust estimation of a location parameter", Annals of
//! Mathematical Statistics 35 (1964); 1.5 common practice, no source.
//! Danish method: weight 1 up to t = 2, then exp(1 − (t/2)²), after three iterations of Huber's, since it can settle on
//! the wrong readings from a bad start. T. Krarup, J. Juhl, K. Kubik, "Götterdämmerung over least squares adjustment",
//! ISP congress, Hamburg 1980 (from memory; in this smooth form).
//!
//! The weights are w(t) = ρ'(t) / t of a loss ρ, and both fall with t, so that a weighted solution never raises Σ ρ of
//! linear equations (P. W. Holland, R. E. Welsch, "Robust regression using iteratively reweighted least-squares", Communications in
//! Statistics A6, 1977, from memory); the step control of the iteration watches Σ 2ρ. With w = 1, 2ρ = t²; Huber, beyond
//! h = 1.5: 2ρ = 2ht − h²; Danish, beyond d = 2: 2ρ = d² + d²(1 − exp(1 − (t/d)²)), the integrals of 2tw.
//!
//! Standard errors of a robust solution are those of the weights it ended with.

use super::equations::{EquationRow, Equations, WeightedRows};
use crate::job::Robust;

/// Residual in standard errors from which Huber's weight falls.
const HUBER: f64 = 1.5;

/// The same of the Danish method.
const DANISH: f64 = 2.0;

/// Iterations of Huber's before the Danish weights.
const SETTLE: usize = 3;

/// Least weight, so that no unknown is lost.
const LEAST: f64 = 1e-6;

/// The function that holds at an iteration: the Danish method begins with Huber's.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Law(Robust);

impl Law {
    /// The law of an iteration, counted from 1.
    pub fn at(robust: Robust, iteration: usize) -> Law {
        match robust {
            Robust::Danish if iteration <= SETTLE => Law(Robust::Huber),
            other => Law(other),
        }
    }

    /// The weight of an observation that is off by t.
    fn weight(self, t: f64) -> f64 {
        match self.0 {
            Robust::None => 1.0,
            Robust::Huber => huber(t),
            Robust::Danish => danish(t),
        }
    }

    /// Twice its loss.
    fn loss(self, t: f64) -> f64 {
        match self.0 {
            Robust::Huber if t > HUBER => HUBER * (2.0 * t - HUBER),
            Robust::Danish if t > DANISH => {
                let square = DANISH * DANISH;
                // From here the least weight holds.
                let floor = square * (1.0 - LEAST.ln());
                let curved = (t * t).min(floor);
                square * (2.0 - (1.0 - curved / square).exp()) + LEAST * (t * t - curved)
            }
            _ => t * t,
        }
    }
}

/// Renews the weights of all that is not taken out; returns the greatest change of a weight.
pub(crate) fn reweight(equations: &mut Equations, law: Law) -> f64 {
    let Equations { items, rows, .. } = equations;
    let mut change: f64 = 0.0;
    for item in items.iter_mut().filter(|item| item.weight > 0.0) {
        let weight = if law.0 == Robust::None { 1.0 } else { law.weight(off(item, rows)) };
        change = change.max((weight - item.weight).abs());
        item.weight = weight;
    }
    if law.0 == Robust::None { 0.0 } else { change }
}

/// Σ 2ρ of all that is not taken out; of least squares Σ v².
pub(crate) fn objective(equations: &Equations, law: Law) -> f64 {
    let used = equations.items.iter().filter(|item| item.weight > 0.0);
    used.map(|item| f64::from(item.rows) * law.loss(off(item, &equations.rows))).sum()
}

/// t of an observation.
fn off(item: &WeightedRows, rows: &[EquationRow]) -> f64 {
    let own = &rows[item.first as usize..item.first as usize + item.rows as usize];
    (own.iter().map(|r| r.misclosure * r.misclosure).sum::<f64>() / own.len().max(1) as f64).sqrt()
}

fn huber(t: f64) -> f64 {
    if t <= HUBER { 1.0 } else { HUBER / t }
}

fn danish(t: f64) -> f64 {
    if t <= DANISH { 1.0 } else { (1.0 - (t / DANISH).powi(2)).exp().max(LEAST) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::network::components::split;
    use crate::network::equations::tests::every_kind;
    use crate::network::layout::Layout;
    use crate::network::start::start;
    use crate::network::state::State;

    #[test]
    fn weights() {
        assert_eq!(huber(1.5), 1.0);
        assert_eq!(huber(3.0), 0.5);
        assert_eq!(danish(2.0), 1.0);
        // exp(1 − 4)
        assert!((danish(4.0) - 0.049_787_068).abs() < 1e-9);
        assert_eq!(danish(100.0), LEAST);
    }

    #[test]
    fn the_danish_method_begins_with_hubers() {
        for (robust, laws) in [
            (Robust::None, [Robust::None; 3]),
            (Robust::Huber, [Robust::Huber; 3]),
            (Robust::Danish, [Robust::Huber, Robust::Huber, Robust::Danish]),
        ] {
            assert_eq!([1, 3, 4].map(|iteration| Law::at(robust, iteration)), laws.map(Law));
        }
        // Beyond both limits each has its own weight.
        assert_eq!((Law(Robust::None).weight(3.0), Law(Robust::Huber).weight(3.0)), (1.0, 0.5));
        assert!((Law(Robust::Danish).weight(3.0) - (1.0f64 - 2.25).exp()).abs() < 1e-12);
    }

    #[test]
    fn far_off_the_loss_grows_by_the_least_weight() {
        // Least from t = 2 √(1 − ln 1e-6), 7.698, on: there 2ρ = 4 + 4 − 4e-6.
        let law = Law(Robust::Danish);
        let from = 4.0 * (1.0 - 1e-6f64.ln());
        assert!((from.sqrt() - 7.698).abs() < 1e-3 && law.weight(7.69) > LEAST && law.weight(7.71) == LEAST);
        for t in [7.7, 100.0, 1e4, 1e6] {
            let want = 8.0 - 4e-6 + 1e-6 * (t * t - from);
            assert!((law.loss(t) / want - 1.0).abs() < 1e-12, "{t}: {} {want}", law.loss(t));
        }
        assert_eq!((law.loss(2.0), Law(Robust::Huber).loss(1.5), Law(Robust::Huber).loss(3.0)), (4.0, 2.25, 6.75));
    }

    #[test]
    fn weights_are_renewed_for_what_is_not_taken_out() {
        let network = every_kind();
        let component = split(&network, &vec![true; network.observations.len()]).remove(0);
        let local: Vec<u32> = (0..network.stations.len() as u32).collect();
        let layout = Layout::number(&network, &component, &local, &vec![false; network.stations.len()]);
        let starts = start(&network, &vec![true; network.observations.len()]);
        let state = State::start(&network, &component, &layout, &starts);
        let mut equations = Equations::list(&network, &component, &layout, &local, &state);
        // Of a position three rows: t is the root of their mean square, 3; readings are off by 3, by 1 and by 2, which is taken out.
        let position = *equations.items.iter().find(|item| item.rows == 3).unwrap();
        let reading = |first: u32| WeightedRows { first, rows: 1, ..position };
        let out = WeightedRows { weight: 0.0, ..reading(5) };
        equations.items = vec![WeightedRows { first: 0, ..position }, reading(3), reading(4), out];
        for (row, misclosure) in equations.rows.iter_mut().zip([1.0, -5.0, 1.0, -3.0, 1.0, 2.0]) {
            row.misclosure = misclosure;
        }
        let weights = |equations: &Equations| equations.items.iter().map(|item| item.weight).collect::<Vec<f64>>();
        let huber = Law(Robust::Huber);
        // 2ρ of t = 3 is 6.75, once for each row.
        assert!((objective(&equations, huber) - (3.0 * 6.75 + 6.75 + 1.0)).abs() < 1e-12);
        assert!((objective(&equations, Law(Robust::None)) - (27.0 + 9.0 + 1.0)).abs() < 1e-12);
        assert_eq!((reweight(&mut equations, huber), weights(&equations)), (0.5, vec![0.5, 0.5, 1.0, 0.0]));
        equations.rows[3].misclosure = 2.0;
        assert_eq!((reweight(&mut equations, huber), weights(&equations)), (0.25, vec![0.5, 0.75, 1.0, 0.0]));
        // Least squares put all back, which is no change to wait for.
        assert_eq!((reweight(&mut equations, Law(Robust::None)), weights(&equations)), (0.0, vec![1.0, 1.0, 1.0, 0.0]));
    }

    #[test]
    fn the_loss_is_the_integral_of_the_weights() {
        for law in [Law(Robust::None), Law(Robust::Huber), Law(Robust::Danish)] {
            // ∫ 2 t w dt by the trapezium rule; its error over 30,000 steps of 0.001 is below 1e-4.
            let (step, mut sum) = (1e-3, 0.0);
            for k in 0..30_000 {
                let slope = |t: f64| 2.0 * t * law.weight(t);
                let t = f64::from(k) * step;
                sum += 0.5 * step * (slope(t) + slope(t + step));
                if k % 500 == 0 {
                    let loss = law.loss(t + step);
                    assert!((loss - sum).abs() < 1e-4 * (1.0 + sum), "{law:?} at {t}: {loss} {sum}");
                }
            }
        }
    }
}
