//! Times the adjustment of a random network. Arguments: bases across, points, a file that is to hold the network for
//! the comparison script (or "-"), and slips to be planted and taken out again. Prints readings, unknowns, seconds and the outcome of the global test.

#[path = "../tests/networks/mod.rs"]
mod networks;

use standoff::network::{Reject, Settings, adjust};
use std::time::Instant;

fn main() {
    let arguments: Vec<String> = std::env::args().collect();
    let number = |k: usize, otherwise: usize| arguments.get(k).and_then(|a| a.parse().ok()).unwrap_or(otherwise);
    let (across, points) = (number(1, 14), number(2, 1900));
    let mut site = networks::random(1, across, points, 1.0);
    let slips = number(4, 0);
    let count = site.network.observations.len();
    for k in 0..slips {
        let o = &mut site.network.observations[(k * 7919 + 31) % count];
        o.value += 30.0 * o.sigma;
    }
    let settings = Settings { reject: if slips > 0 { Reject::Auto } else { Reject::Propose }, ..Settings::default() };
    if let Some(path) = arguments.get(3).filter(|path| *path != "-")
        && let Err(error) = std::fs::write(path, networks::listing(&site))
    {
        eprintln!("{path}: {error}");
    }
    let begin = Instant::now();
    match adjust(&site.network, &settings) {
        Ok(adjustment) => {
            let seconds = begin.elapsed().as_secs_f64();
            for solved in &adjustment.solved {
                println!(
                    "{} residuals, {} unknowns, {} iterations, {} taken out, {seconds:.2} s, sum of squares {:.6}; {}",
                    solved.residuals.len(),
                    solved.unknowns,
                    solved.iterations,
                    solved.rejected.len(),
                    solved.global.statistic,
                    solved.global.sentence()
                );
            }
            for note in adjustment.notes.iter().take(5) {
                println!("{note}");
            }
        }
        Err(bad) => println!("{bad}"),
    }
}
