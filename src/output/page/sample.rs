//! Memory that stays bounded however many features a job has: every one is counted; a share of them is kept whole, and
//! all of them are counted in the cells of a grid.

use std::collections::BTreeMap;
use std::hash::{Hash, Hasher};

use rustc_hash::{FxHashMap, FxHasher};

/// Features that are kept whole at the most.
pub const MOST_KEPT: usize = 20_000;
/// Cells that are kept at the most.
const MOST_CELLS: usize = 3_000;

/// One of every two, four, eight … of what is offered, so that no more than [`MOST_KEPT`] are kept. Which, is told by a number that is
/// mixed from the place in the order, or from a name: a log that goes round its bases or its codes is not shown by one of them.
pub struct Share<T> {
    /// What is kept, in order.
    pub kept: Vec<T>,
    /// How many were offered.
    pub seen: u64,
    /// About one of so many is kept.
    pub stride: u64,
    keys: Vec<u64>,
    most: usize,
}

/// Beyond it what is kept has one name.
const GREATEST_STRIDE: u64 = 1 << 40;

/// A number whose bits all depend on all bits of another (the finaliser of SplitMix64: G. L. Steele, D. Lea, C. H. Flood, "Fast splittable
/// pseudorandom number generators", 2014). No more is asked of it than that a share is even, which a test holds.
fn mixed(number: u64) -> u64 {
    let mut mixed = number.wrapping_add(0x9e37_79b9_7f4a_7c15);
    mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    mixed ^ (mixed >> 31)
}

impl<T> Share<T> {
    /// An empty share.
    pub fn new(most: usize) -> Share<T> {
        Share { kept: Vec::new(), seen: 0, stride: 1, keys: Vec::new(), most }
    }

    /// Counts one, and keeps what `make` gives where it is its turn.
    pub fn offer(&mut self, make: impl FnOnce() -> T) {
        self.take(mixed(self.seen), make);
    }

    /// The same of a piece of something: all pieces of one name are kept, or none.
    pub fn offer_of(&mut self, name: &str, make: impl FnOnce() -> T) {
        let mut hasher = FxHasher::default();
        name.hash(&mut hasher);
        self.take(mixed(hasher.finish()), make);
    }

    fn take(&mut self, key: u64, make: impl FnOnce() -> T) {
        self.seen += 1;
        if !key.is_multiple_of(self.stride) {
            return;
        }
        self.kept.push(make());
        self.keys.push(key);
        while self.kept.len() > self.most && self.stride < GREATEST_STRIDE {
            self.stride *= 2;
            let mut keys = self.keys.iter();
            self.kept.retain(|_| keys.next().is_some_and(|key| key.is_multiple_of(self.stride)));
            self.keys.retain(|key| key.is_multiple_of(self.stride));
        }
    }

    /// Whether some were left out.
    pub fn is_part(&self) -> bool {
        self.stride > 1
    }
}

/// Counts of points in the cells of a grid, whose cells grow with the area.
pub struct CountGrid {
    side: f64,
    counts: FxHashMap<(i64, i64), u64>,
    /// The cell that was counted in last, and how many points it is to have more: points come in crowds.
    recent: ((i64, i64), u64),
    most: usize,
}

impl Default for CountGrid {
    fn default() -> CountGrid {
        CountGrid { side: 1.0 / 1024.0, counts: FxHashMap::default(), recent: ((0, 0), 0), most: MOST_CELLS }
    }
}

impl CountGrid {
    /// Counts a point; see [`CountGrid::settle`].
    pub fn see(&mut self, x: f64, y: f64) {
        let key = ((x / self.side).floor() as i64, (y / self.side).floor() as i64);
        if key == self.recent.0 {
            self.recent.1 += 1;
            return;
        }
        self.settle();
        let key = ((x / self.side).floor() as i64, (y / self.side).floor() as i64);
        self.recent = (key, 1);
    }

    /// Counts the points of the recent cell, and makes cells larger where they are too many.
    pub fn settle(&mut self) {
        let (key, points) = std::mem::take(&mut self.recent);
        if points == 0 {
            return;
        }
        *self.counts.entry(key).or_default() += points;
        while self.counts.len() > self.most {
            self.side *= 2.0;
            for ((x, y), count) in std::mem::take(&mut self.counts) {
                *self.counts.entry((x.div_euclid(2), y.div_euclid(2))).or_default() += count;
            }
        }
    }

    /// Once all are settled: the side of a cell in the unit of the points, and the south-western corner and count of each that is not empty, in order.
    pub fn list(&self) -> (f64, Vec<([f64; 2], u64)>) {
        let sorted: BTreeMap<_, _> = self.counts.iter().collect();
        let corner = |&(x, y): &(i64, i64)| [x as f64 * self.side, y as f64 * self.side];
        (self.side, sorted.into_iter().map(|(key, count)| (corner(key), *count)).collect())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_share_keeps_one_of_so_many_and_counts_all() {
        let mut share = Share::new(1000);
        (0..5000u64).for_each(|i| share.offer(|| i));
        assert_eq!((share.seen, share.stride, share.is_part()), (5000, 8, true));
        // One of eight: 625 ± 23 by the binomial law.
        assert!((540..710).contains(&share.kept.len()) && share.kept.is_sorted(), "{}", share.kept.len());
        // Whatever period the order has, no class of it is left out.
        let classes: std::collections::BTreeSet<u64> = share.kept.iter().map(|i| i % 8).collect();
        assert_eq!(classes.len(), 8);
        // Pieces of one name stay together.
        let mut pieces = Share::new(100);
        (0..900u64).for_each(|i| pieces.offer_of(&format!("T{}", i / 3), || i / 3));
        assert!(pieces.is_part() && pieces.kept.len() <= 100);
        assert!(pieces.kept.chunks(3).all(|three| three.len() == 3 && three[0] == three[2]), "{:?}", pieces.kept);
        let mut all = Share::new(10);
        (0..10u64).for_each(|i| all.offer(|| i));
        assert_eq!((all.kept.len(), all.is_part()), (10, false));
    }

    #[test]
    fn cells_grow_and_lose_nothing() {
        let mut cells = CountGrid { side: 1.0, most: 4, ..CountGrid::default() };
        (-8..8).for_each(|i| cells.see(f64::from(i), 0.5));
        cells.settle();
        let (side, list) = cells.list();
        assert_eq!(side, 4.0);
        assert_eq!(list, [([-8.0, 0.0], 4), ([-4.0, 0.0], 4), ([0.0, 0.0], 4), ([4.0, 0.0], 4)]);
    }
}
