//! Numbers as people write them: a value with half of its 95 % interval, rounded by two digits of that.

/// Decimals that a value with this half interval is worth: two digits of the half interval. Negative for
/// tens and hundreds; none where the half interval is not known.
fn decimals(half: f64) -> Option<i32> {
    if !(half.is_finite() && half > 0.0) {
        return None;
    }
    // 0.0996 is 0.10 with two digits, not 0.100.
    let of = |half: f64| 1 - half.log10().floor() as i32;
    let first = of(half).clamp(-6, MOST_DECIMALS);
    Some(of(round(half, first)).clamp(-6, MOST_DECIMALS))
}

/// A tenth of a millimetre: finer than anything measured.
const MOST_DECIMALS: i32 = 4;
/// Decimals where no uncertainty is known.
const PLAIN_DECIMALS: i32 = 2;

fn round(value: f64, decimals: i32) -> f64 {
    let factor = 10f64.powi(decimals.abs());
    if decimals >= 0 { (value * factor).round() / factor } else { (value / factor).round() * factor }
}

/// A number with some decimals, never a negative zero.
pub fn fixed(value: f64, decimals: i32) -> String {
    let text = format!("{:.*}", decimals.max(0) as usize, round(value, decimals));
    match text.strip_prefix('-') {
        Some(rest) if rest.bytes().all(|byte| matches!(byte, b'0' | b'.')) => rest.to_owned(),
        _ => text,
    }
}

/// `7.42 ± 0.31`; the value alone where its uncertainty is not known.
pub fn plus_minus(value: f64, half: f64) -> String {
    match decimals(half) {
        Some(decimals) => format!("{} ± {}", fixed(value, decimals), fixed(half, decimals)),
        None => fixed(value, PLAIN_DECIMALS),
    }
}

/// The value alone, with the digits that its half interval leaves.
pub fn by_interval(value: f64, half: f64) -> String {
    fixed(value, decimals(half).unwrap_or(PLAIN_DECIMALS))
}

/// An uncertainty by itself: two digits.
pub fn two_digits(half: f64) -> String {
    match decimals(half) {
        Some(decimals) => fixed(half, decimals),
        None => "0".to_owned(),
    }
}

/// The step of 1, 2 or 5 times a power of ten that is not less than a value.
pub fn round_step(least: f64) -> f64 {
    let power = 10f64.powf(least.log10().floor());
    [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .map(|digit| digit * power)
        .find(|step| *step >= least * (1.0 - 1e-9))
        .unwrap_or(10.0 * power)
}

/// Decimals that tell the multiples of a step apart.
pub fn step_decimals(step: f64) -> i32 {
    (-step.log10().floor()).max(0.0) as i32
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_digits_of_the_interval() {
        assert_eq!(plus_minus(7.4183, 0.3136), "7.42 ± 0.31");
        assert_eq!(plus_minus(7.4183, 0.0996), "7.42 ± 0.10");
        assert_eq!(plus_minus(7.4183, 0.0094), "7.4183 ± 0.0094");
        assert_eq!(plus_minus(7.4183, 0.000_094), "7.4183 ± 0.0001");
        assert_eq!(plus_minus(1234.6, 123.4), "1230 ± 120");
        assert_eq!(plus_minus(1234.6, 996.0), "1200 ± 1000");
        assert_eq!(plus_minus(-0.001, 0.31), "0.00 ± 0.31");
        assert_eq!(plus_minus(7.4183, f64::NAN), "7.42");
        assert_eq!(by_interval(512_345.678, 1.4), "512345.7");
    }

    #[test]
    fn steps() {
        assert_eq!([0.3, 1.0, 1.2, 7.0, 20.0].map(round_step), [0.5, 1.0, 2.0, 10.0, 20.0]);
        assert_eq!([0.5, 0.02, 10.0].map(step_decimals), [1, 2, 0]);
    }
}
