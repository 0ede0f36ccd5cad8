//! Measurements of very many rows: within time and memory that grow with the rows, or refused with a sentence.

use super::*;

/// Rows along a road, one each metre, from a base beside it. A log of so many shots is beyond any crew; it must not bring the program down.
fn road(rows: usize, measure: &str, role: impl Fn(usize) -> String) -> String {
    let row = |i: usize| shot(i + 1, measure, &role(i), "road", [30.0 + (i % 7) as f64 * 0.1, 20.0 + i as f64, 0.0]) + "\n";
    (0..rows).map(row).collect()
}

/// Seconds that three logs of 20,000 rows may take, not optimised and on a busy machine; some 10 are usual. With matrices of n × n one takes
/// hours and 29 GB.
const LIMIT_S: u64 = 120;

#[test]
fn twenty_thousand_rows_of_a_profile_and_of_a_chain() {
    let begun = std::time::Instant::now();
    let n = 20_000;
    let role = |i: usize| match i {
        0 => "start".to_owned(),
        1 => "end".to_owned(),
        _ => "point".to_owned(),
    };
    let mapped = |rows: String| Run::of(&Logs { rows: &rows, formats: "\"csv\"", ..LOGS });
    let run = mapped(road(n, "profile", role));
    assert_eq!(run.layer("profiles").len(), n);
    let long = mapped(road(n, "profile", |i| if i % 2 == 0 { "line".to_owned() } else { "point".to_owned() }));
    assert_eq!(long.layer("profiles").len(), n);
    let chain = mapped(road(n, "missing_line", |i| (i + 1).to_string()));
    let (length, sigma) = chain.value("road", "cumulated_horizontal_distance_m");
    // 19,999 legs of √(1 + 0.1²) m and each seventh √(1 + 0.6²).
    let want: f64 = (1..n).map(|i| if i % 7 == 0 { 1f64.hypot(0.6) } else { 1f64.hypot(0.1) }).sum();
    assert!((length / want - 1.0).abs() < 0.001 && sigma.is_finite() && sigma > 0.0, "{length} {want} {sigma}");
    assert!(begun.elapsed().as_secs() < LIMIT_S, "{:?}", begun.elapsed());
}

#[test]
fn what_is_limited_says_so() {
    let run = Run::new(&road(1200, "plane", |_| "face".to_owned()), "");
    let notes = run.summary["notes"].to_string();
    assert!(notes.contains("plane of road has 1200 shots; a plane takes 1000 at most, so leave some out"), "{notes}");
}
