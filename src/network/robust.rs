//! Robust estimation by weights that fall with the residual, renewed at each iteration.
//!
//! With t = |v| / σ (for a position √(vᵀ Σ⁻¹ v / rows)):
//! Huber: weight 1 up to t = 1.5, then 1.5 / t. P. J. Huber, "Robust estimation of a location parameter", Annals of
//! Mathematical Statistics 35 (1964); 1.5 common practice, no source.
//! Danish method: weight 1 up to t = 2, then exp(1 − (t/2)²), after three iterations of Huber's, since it can settle on
//! the wrong readings from a bad start. T. Krarup, J. Juhl, K. Kubik, "Götterdämmerung over least squares adjustment",
//! ISP congress, Hamburg 1980 (from memory; in this smooth form).
//!
//! Standard errors of a robust solution are those of the weights it ended with.

use super::equations::Equations;
use super::types::Robust;

/// Residual in standard errors from which Huber's weight falls.
const HUBER: f64 = 1.5;

/// The same of the Danish method.
const DANISH: f64 = 2.0;

/// Iterations of Huber's before the Danish weights.
const SETTLE: usize = 3;

/// Least weight, so that no unknown is lost.
const LEAST: f64 = 1e-6;

/// Renews the weights of all that is not taken out; returns the greatest change of a weight.
pub(crate) fn reweight(equations: &mut Equations, robust: Robust, iteration: usize) -> f64 {
    let Equations { items, rows, .. } = equations;
    if robust == Robust::None {
        items.iter_mut().filter(|item| item.weight > 0.0).for_each(|item| item.weight = 1.0);
        return 0.0;
    }
    let mut change: f64 = 0.0;
    for item in items.iter_mut().filter(|item| item.weight > 0.0) {
        let own = &rows[item.first as usize..item.first as usize + item.rows as usize];
        let t = (own.iter().map(|r| r.misclosure * r.misclosure).sum::<f64>() / own.len().max(1) as f64).sqrt();
        let weight = match robust {
            Robust::Danish if iteration > SETTLE => danish(t),
            _ => huber(t),
        };
        change = change.max((weight - item.weight).abs());
        item.weight = weight;
    }
    change
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

    #[test]
    fn weights() {
        assert_eq!(huber(1.5), 1.0);
        assert_eq!(huber(3.0), 0.5);
        assert_eq!(danish(2.0), 1.0);
        // exp(1 − 4)
        assert!((danish(4.0) - 0.049_787_068).abs() < 1e-9);
        assert_eq!(danish(100.0), LEAST);
    }
}
