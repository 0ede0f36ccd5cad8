//! The spatial index: an SQLite R*Tree filled by packing instead of by insertion.
//!
//! The virtual table keeps its tree in three plain tables, whose layout the SQLite documentation
//! describes (rtree.html, section 5.1, "Shadow tables", and the head of ext/rtree/rtree.c): `_node`
//! (nodeno, data), `_parent` (nodeno, parentnode), `_rowid` (rowid, nodeno). A node is, big-endian,
//! a depth (in the root alone), a count of cells, and the cells: a 64-bit id and min x, max x,
//! min y, max y as 32-bit floats. Boxes are sorted along a Hilbert curve and cut into full nodes,
//! level by level; node 1 is the root. `rtreecheck()` holds it to SQLite's own rules in a test.

use rayon::prelude::*;
use rusqlite::{Connection, params};

/// Cells that a node holds; SQLite's limit.
const CELLS: usize = 51;
/// Bytes of a cell: an id and four floats.
const CELL_BYTES: usize = 24;
/// Bytes of a node with all its cells; less than any page that we write.
const NODE_BYTES: usize = 4 + CELLS * CELL_BYTES;
/// Cells that a packed node is given: all but a few, so that a later insertion does not split each.
const FILL: usize = 48;

/// A box in single precision: min x, max x, min y, max y, rounded outwards.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Box32([f32; 4]);

impl Box32 {
    /// The box around west, south, east, north.
    pub fn around([west, south, east, north]: [f64; 4]) -> Box32 {
        Box32([down(west), up(east), down(south), up(north)])
    }

    fn join(self, other: Box32) -> Box32 {
        let (a, b) = (self.0, other.0);
        Box32([a[0].min(b[0]), a[1].max(b[1]), a[2].min(b[2]), a[3].max(b[3])])
    }
}

fn down(value: f64) -> f32 {
    let rounded = value as f32;
    if f64::from(rounded) > value { rounded.next_down() } else { rounded }
}

fn up(value: f64) -> f32 {
    let rounded = value as f32;
    if f64::from(rounded) < value { rounded.next_up() } else { rounded }
}

/// Fills the index of table `table`, whose records 1, 2, 3, … have these boxes.
///
/// # Errors
/// When SQLite refuses.
pub fn build(connection: &Connection, table: &str, boxes: Vec<Box32>) -> Result<(), rusqlite::Error> {
    if boxes.is_empty() {
        return Ok(());
    }
    let index = format!("rtree_{table}_geom");
    let order = hilbert_order(&boxes);
    let mut level: Vec<(i64, Box32)> = order.iter().map(|i| (i64::from(*i) + 1, boxes[*i as usize])).collect();
    drop(boxes);
    // Sizes of the levels from the leaves up decide the node numbers; the root must be 1.
    let mut sizes = vec![level.len().div_ceil(FILL)];
    while let Some(last) = sizes.last().copied().filter(|last| *last > 1) {
        sizes.push(if last <= CELLS { 1 } else { last.div_ceil(FILL) });
    }
    let depth = sizes.len() - 1;
    let mut node = connection.prepare(&format!("INSERT OR REPLACE INTO \"{index}_node\" VALUES (?1, ?2)"))?;
    let mut parent = connection.prepare(&format!("INSERT INTO \"{index}_parent\" VALUES (?1, ?2)"))?;
    let mut first = 2;
    for (height, size) in sizes.iter().enumerate() {
        let is_root = height == depth;
        let fill = if is_root { level.len() } else { FILL };
        let mut above = Vec::with_capacity(*size);
        for (i, cells) in level.chunks(fill).enumerate() {
            let number = if is_root { 1 } else { first + i as i64 };
            node.execute(params![number, encode(cells, if is_root { depth } else { 0 })])?;
            if height > 0 {
                for (child, _) in cells {
                    parent.execute(params![child, number])?;
                }
            }
            let joined = cells.iter().map(|(_, cell)| *cell).reduce(Box32::join);
            above.extend(joined.map(|joined| (number, joined)));
        }
        if height == 0 {
            write_rowids(connection, &index, &order, if is_root { None } else { Some(first) })?;
        }
        first += *size as i64;
        level = above;
    }
    Ok(())
}

/// Which leaf holds each record, in the order of the records.
fn write_rowids(connection: &Connection, index: &str, order: &[u32], first_leaf: Option<i64>) -> Result<(), rusqlite::Error> {
    let mut leaf_of = vec![0u32; order.len()];
    for (place, record) in order.iter().enumerate() {
        leaf_of[*record as usize] = (place / FILL) as u32;
    }
    let mut insert = connection.prepare(&format!("INSERT INTO \"{index}_rowid\" VALUES (?1, ?2)"))?;
    for (record, leaf) in leaf_of.into_iter().enumerate() {
        let node = first_leaf.map_or(1, |first| first + i64::from(leaf));
        insert.raw_bind_parameter(1, record as i64 + 1)?;
        insert.raw_bind_parameter(2, node)?;
        insert.raw_execute()?;
    }
    Ok(())
}

fn encode(cells: &[(i64, Box32)], depth: usize) -> Vec<u8> {
    let mut data = Vec::with_capacity(NODE_BYTES);
    data.extend_from_slice(&(depth as u16).to_be_bytes());
    data.extend_from_slice(&(cells.len() as u16).to_be_bytes());
    for (id, Box32(edges)) in cells {
        data.extend_from_slice(&id.to_be_bytes());
        for edge in edges {
            data.extend_from_slice(&edge.to_be_bytes());
        }
    }
    data.resize(NODE_BYTES, 0);
    data
}

/// The boxes' indexes along a Hilbert curve over their extent.
fn hilbert_order(boxes: &[Box32]) -> Vec<u32> {
    let Some(extent) = boxes.iter().copied().reduce(Box32::join) else { return Vec::new() };
    let [west, east, south, north] = extent.0.map(f64::from);
    let scale = |width: f64| if width > 0.0 { 65_535.0 / width } else { 0.0 };
    let (by_x, by_y) = (scale(east - west), scale(north - south));
    let mut keyed: Vec<(u32, u32)> = boxes
        .par_iter()
        .enumerate()
        .map(|(i, Box32([min_x, max_x, min_y, max_y]))| {
            let x = (f64::from(*min_x) / 2.0 + f64::from(*max_x) / 2.0 - west) * by_x;
            let y = (f64::from(*min_y) / 2.0 + f64::from(*max_y) / 2.0 - south) * by_y;
            (hilbert(x as u32, y as u32), i as u32)
        })
        .collect();
    keyed.par_sort_unstable();
    keyed.into_iter().map(|(_, i)| i).collect()
}

/// Place along a Hilbert curve of order 16 (J. K. Lawder, "Calculation of mappings between one and
/// n-dimensional values using the Hilbert space-filling curve", 2000; the two-dimensional case).
fn hilbert(mut x: u32, mut y: u32) -> u32 {
    let mut place = 0u32;
    for level in (0..16).rev() {
        let side = 1 << level;
        let (right, top) = (u32::from(x & side > 0), u32::from(y & side > 0));
        place = (place << 2) | ((3 * right) ^ top);
        if top == 0 {
            if right == 1 {
                x = 65_535 - x;
                y = 65_535 - y;
            }
            std::mem::swap(&mut x, &mut y);
        }
    }
    place
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn check(points: &[(f64, f64)]) {
        let connection = Connection::open_in_memory().unwrap();
        connection.execute_batch("CREATE VIRTUAL TABLE rtree_t_geom USING rtree(id, minx, maxx, miny, maxy)").unwrap();
        build(&connection, "t", points.iter().map(|(x, y)| Box32::around([*x, *y, *x, *y])).collect()).unwrap();
        let verdict: String = connection.query_row("SELECT rtreecheck('rtree_t_geom')", [], |row| row.get(0)).unwrap();
        assert_eq!(verdict, "ok", "{} points", points.len());
        let count: i64 = connection.query_row("SELECT count(*) FROM rtree_t_geom", [], |row| row.get(0)).unwrap();
        assert_eq!(count as usize, points.len());
        // A window query finds what a walk over all points finds.
        let window = (20.0, 60.0);
        let inside = |value: &f64| (window.0..=window.1).contains(value);
        let want = points.iter().filter(|(x, y)| inside(x) && inside(y)).count();
        let got: i64 = connection
            .query_row("SELECT count(*) FROM rtree_t_geom WHERE maxx >= ?1 AND minx <= ?2 AND maxy >= ?1 AND miny <= ?2", params![window.0, window.1], |row| row.get(0))
            .unwrap();
        assert_eq!(got as usize, want, "{} points", points.len());
    }

    #[test]
    fn every_size_of_tree_is_sound() {
        for count in [1, 2, 47, 48, 49, 51, 52, 96, 97, 2400, 2449, 2500] {
            let points: Vec<(f64, f64)> = (0..count).map(|i| (f64::from(i * 37 % 101), f64::from(i * 53 % 89))).collect();
            check(&points);
        }
    }

    #[test]
    fn rows_can_be_added_and_removed_later() {
        let connection = Connection::open_in_memory().unwrap();
        connection.execute_batch("CREATE VIRTUAL TABLE rtree_t_geom USING rtree(id, minx, maxx, miny, maxy)").unwrap();
        let boxes = (0..500).map(|i| { let v = f64::from(i); Box32::around([v, v, v, v]) }).collect();
        build(&connection, "t", boxes).unwrap();
        connection.execute_batch("DELETE FROM rtree_t_geom WHERE id < 100; INSERT INTO rtree_t_geom VALUES (9000, 1, 2, 1, 2)").unwrap();
        let verdict: String = connection.query_row("SELECT rtreecheck('rtree_t_geom')", [], |row| row.get(0)).unwrap();
        assert_eq!(verdict, "ok");
    }

    proptest! {
        #[test]
        fn boxes_are_rounded_outwards(value in -1e8f64..1e8) {
            prop_assert!(f64::from(down(value)) <= value && value <= f64::from(up(value)));
        }
    }
}
