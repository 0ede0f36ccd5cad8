//! JCGM 100:2008 (GUM), example H.2, and JCGM 101:2008 (supplement 1), 9.4.3: correlated inputs. Readings and values of H.2 as the GUM Tree Calculator
//! of the Measurement Standards Laboratory of New Zealand has them (package GTC 1.5.1 of the Python registry, `type_a.multi_estimate_real`, whose
//! documentation prints "From Appendix H2 in the GUM"); 9.4.3 by hand from its formulas, which stand beside it.

use standoff::inside::geodesy::frame::{Ellipsoid, Geodetic, LocalFrame};
use standoff::inside::geodesy::register::CorrelatedPoints;
use standoff::inside::numeric::monte_carlo::{Normal, deviation};

fn frame() -> LocalFrame {
    LocalFrame::at(&Geodetic { lat_rad: 0.8, lon_rad: 0.2, ellipsoid_height_m: 0.0 }, &Ellipsoid::WGS84)
}

/// Table H.2: five sets of simultaneous readings of a voltage (V), a current (mA) and a phase (rad).
const SETS: [[f64; 3]; 5] =
    [[5.007, 19.663, 1.0456], [4.994, 19.639, 1.0438], [5.005, 19.640, 1.0468], [4.990, 19.685, 1.0428], [4.999, 19.678, 1.0433]];

#[test]
fn simultaneous_resistance_and_reactance() {
    let mean: [f64; 3] = std::array::from_fn(|k| SETS.iter().map(|set| set[k]).sum::<f64>() / 5.0);
    let mut covariance = [0.0; 9];
    for set in SETS {
        for (k, sum) in covariance.iter_mut().enumerate() {
            *sum += (set[k / 3] - mean[k / 3]) * (set[k % 3] - mean[k % 3]) / 20.0;
        }
    }
    // By GTC, rounded to nine digits.
    let r = |i: usize, j: usize| covariance[3 * i + j] / (covariance[4 * i] * covariance[4 * j]).sqrt();
    for (got, want) in [
        (covariance[0].sqrt(), 0.003_209_361_31),
        (covariance[4].sqrt(), 0.009_471_008_39),
        (covariance[8].sqrt(), 0.000_752_063_827),
        (r(0, 1), -0.355_311_220),
        (r(0, 2), 0.857_624_211),
        (r(1, 2), -0.645_111_218),
    ] {
        assert!((got / want - 1.0).abs() < 1e-8, "{got} {want}");
    }
    let correlated = CorrelatedPoints::from_covariance(frame(), vec![mean], &covariance).unwrap();
    let of = |p: &[[f64; 3]]| {
        let [volts, milliamperes, phase] = p[0];
        let impedance = volts / milliamperes * 1000.0;
        let (resistance, reactance) = (impedance * phase.cos(), impedance * phase.sin());
        [resistance, reactance, impedance, resistance + reactance, resistance + impedance, reactance + impedance]
    };
    let [resistance, reactance, impedance, rx, rz, xz] = correlated.estimates(of);
    // By GTC; the document prints 127.732 ± 0.071, 219.847 ± 0.295 (with rounded correlations) and 254.260 ± 0.236.
    for (got, value, sigma) in [
        (resistance, 127.732_169_93, 0.071_071_407_4),
        (reactance, 219.846_511_91, 0.295_581_677),
        (impedance, 254.259_701_95, 0.236_336_130),
    ] {
        assert!((got.value - value).abs() < 1e-7 && (got.sigma / sigma - 1.0).abs() < 1e-6, "{got:?} {value} {sigma}");
    }
    for (both, one, other, want) in [
        (rx, resistance, reactance, -0.588_429_784),
        (rz, resistance, impedance, -0.485_259_224),
        (xz, reactance, impedance, 0.992_511_649),
    ] {
        let got = 0.5 * (both.sigma.powi(2) - one.sigma.powi(2) - other.sigma.powi(2)) / (one.sigma * other.sigma);
        assert!((got - want).abs() < 1e-6, "{got} {want}");
    }
}

/// Y = X₁² + X₂² about (0.010, 0), u 0.005 each, correlation 0.9: the law of propagation gives 100 · 10⁻⁶ ± 100 · 10⁻⁶, draws 150 · 10⁻⁶ ± 121 · 10⁻⁶
/// (supplement 1, table of 9.4.3; by hand E = x₁² + 2u², var = 4x₁²u² + 4u⁴(1 + r²)).
#[test]
fn draws_of_correlated_inputs() {
    let u2 = 0.005f64.powi(2);
    let covariance = [u2, 0.9 * u2, 0.0, 0.9 * u2, u2, 0.0, 0.0, 0.0, 0.0];
    let correlated = CorrelatedPoints::from_covariance(frame(), vec![[0.010, 0.0, 0.0]], &covariance).unwrap();
    let of = |p: &[[f64; 3]]| p[0][0].powi(2) + p[0][1].powi(2);
    let first_order = correlated.estimate(of);
    assert!((first_order.value - 100e-6).abs() < 1e-9 && (first_order.sigma - 100e-6).abs() < 1e-9, "{first_order:?}");
    let (roots, mut normal) = (correlated.roots(), Normal::seeded(101));
    let drawn: Vec<f64> = (0..200_000).map(|_| of(&correlated.drawn(&roots, &mut normal))).collect();
    let mean = drawn.iter().sum::<f64>() / drawn.len() as f64;
    // The standard error of the mean is 121/√200 000 = 0.27, of the deviation below 1 (heavy upper tail).
    assert!((mean - 150e-6).abs() < 1.1e-6 && (deviation(&drawn) - 120.5e-6).abs() < 1.5e-6, "{mean} {}", deviation(&drawn));
}
