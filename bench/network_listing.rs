//! Prints a random network as lines, as tests/reference/network_scipy.py reads them. Arguments: seed, bases across, points.

#[path = "../tests/networks/mod.rs"]
mod networks;

fn main() {
    let number: Vec<u64> = std::env::args().skip(1).filter_map(|a| a.parse().ok()).collect();
    if let [seed, across, points] = number.as_slice() {
        print!("{}", networks::listing(&networks::random(*seed, *across as usize, *points as usize, 1.0)));
    } else {
        eprintln!("Give a seed, the bases across and the points.");
    }
}
