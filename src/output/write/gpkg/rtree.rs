//! The spatial index: an SQLite R*Tree filled by packing instead of by insertion.
//!
//! The virtual table keeps its tree in three plain tables, whose layout the SQLite documentation
//! describes (rtree.html, section 5.1, "Shadow tables", and the head of ext/rtree/rtree.c): `_node`
//! (nodeno, data), `_parent` (nodeno, parentnode), `_rowid` (rowid, nodeno). A node is, big-endian,
//! a depth (in the root alone), a count of cells, and the cells: a 64-bit id and min x, max x,
//! min y, max y as 32-bit floats. Boxes are sorted along a Hilbert curve and cut into full nodes,
//! level by level; node 1 is the root. `rtreecheck()` holds it to SQLite's own rules in a test.

use std::io;

use rayon::prelude::*;
use rusqlite::Connection;

use super::pack::{LeafPages, PackedTable, Pager, Root};
use super::record::PackedRecord;
use super::schema::root_page;

/// Cells that a node holds; SQLite's limit.
const CELLS: usize = 51;
/// Bytes of a cell: an id and four floats.
const CELL_BYTES: usize = 24;
/// Bytes of a node with all its cells; less than any page that we write.
const NODE_BYTES: usize = 4 + CELLS * CELL_BYTES;
/// Cells that a packed node is given: all but a few, so that a later insertion does not split each.
const FILL: usize = 48;
/// Nodes whose pages are made together.
const NODES_AT_ONCE: usize = 1024;
/// Records whose nodes are told on pages that are made together.
const RECORDS_AT_ONCE: usize = 1 << 16;

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

/// Root pages of the tables behind an index.
pub struct IndexRoots {
    node: u32,
    parent: u32,
    rowid: u32,
}

impl IndexRoots {
    /// Those of the index of a layer's table.
    ///
    /// # Errors
    /// When there is no such index.
    pub fn read(connection: &Connection, table: &str) -> Result<IndexRoots, rusqlite::Error> {
        let root = |part: &str| root_page(connection, &format!("rtree_{table}_geom_{part}"));
        Ok(IndexRoots { node: root("node")?, parent: root("parent")?, rowid: root("rowid")? })
    }
}

/// Packs the index of records 1, 2, 3, … with these boxes.
///
/// # Errors
/// When the file cannot be written.
pub fn build(pager: &mut Pager, roots: IndexRoots, boxes: Vec<Box32>) -> io::Result<Vec<Root>> {
    if boxes.is_empty() {
        return Ok(Vec::new());
    }
    let order = hilbert_order(&boxes);
    let cells: Vec<(i64, Box32)> = order.par_iter().map(|record| (i64::from(*record) + 1, boxes[*record as usize])).collect();
    let above = |cells: &[(i64, Box32)], first: i64| -> Vec<(i64, Box32)> {
        let joined = |cells: &[(i64, Box32)]| cells.iter().map(|(_, edges)| *edges).reduce(Box32::join);
        let of_node = |(node, cells)| Some((first + node as i64, joined(cells)?));
        cells.par_chunks(FILL).enumerate().filter_map(of_node).collect()
    };
    // The cells of each level from the leaf nodes up, until the root node holds them. The root is node 1; the leaf nodes
    // follow, then each level above them: the cells of a level have the numbers of the nodes below.
    let mut levels = vec![cells];
    let mut next_node = 2;
    while let Some(below) = levels.last().filter(|below| below.len() > CELLS) {
        let level = above(below, next_node);
        next_node += level.len() as i64;
        levels.push(level);
    }
    let page_size = pager.page_size();
    let height = levels.len() - 1;
    let mut nodes = PackedTable::new(roots.node);
    nodes.append(pager, node_pages(page_size, [(1, encode(&levels[height], height))]))?;
    let (mut parents, mut rowids) = (PackedTable::new(roots.parent), PackedTable::new(roots.rowid));
    // The pages of the table of records are made while those of the nodes are written.
    let (written, of_records) = rayon::join(
        || -> io::Result<()> {
            for (level, cells) in levels[..height].iter().enumerate() {
                let of_nodes = &levels[level + 1];
                let numbered = of_nodes.par_chunks(NODES_AT_ONCE).zip(cells.par_chunks(NODES_AT_ONCE * FILL));
                let made = numbered.with_max_len(1).map(|(numbered, cells)| {
                    let numbers = numbered.iter().map(|(number, _)| *number);
                    node_pages(page_size, numbers.zip(cells.chunks(FILL).map(|cells| encode(cells, 0))))
                });
                for pages in made.collect::<Vec<_>>() {
                    nodes.append(pager, pages)?;
                }
                let mut pages = LeafPages::new(page_size);
                for (node, (number, _)) in of_nodes.iter().enumerate() {
                    pages.push_integer(*number, levels.get(level + 2).map_or(1, |parents| parents[node / FILL].0));
                }
                parents.append(pager, pages)?;
            }
            Ok(())
        },
        || record_pages(page_size, &order, levels.get(1)),
    );
    written?;
    for pages in of_records {
        rowids.append(pager, pages)?;
    }
    let mut finished = Vec::new();
    for table in [nodes, parents, rowids] {
        finished.extend(table.finish(pager)?);
    }
    Ok(finished)
}

/// Pages of nodes, each with its number.
fn node_pages(page_size: usize, nodes: impl IntoIterator<Item = (i64, Vec<u8>)>) -> LeafPages {
    let (mut pages, mut record) = (LeafPages::new(page_size), PackedRecord::default());
    for (number, data) in nodes {
        record.clear();
        record.push_null();
        record.push_blob(&data);
        pages.push(number, &record);
    }
    pages
}

/// Pages that tell the leaf node of each record: `order` are the records along the curve, `leaves` the leaf nodes; without these the
/// root is the only one.
fn record_pages(page_size: usize, order: &[u32], leaves: Option<&Vec<(i64, Box32)>>) -> Vec<LeafPages> {
    let mut leaf_of = vec![0u32; order.len()];
    for (place, record) in order.iter().enumerate() {
        leaf_of[*record as usize] = (place / FILL) as u32;
    }
    let of_part = |(part, leaves_of): (usize, &[u32])| {
        let mut pages = LeafPages::new(page_size);
        for (row, leaf) in (part * RECORDS_AT_ONCE + 1..).zip(leaves_of) {
            pages.push_integer(row as i64, leaves.map_or(1, |leaves| leaves[*leaf as usize].0));
        }
        pages
    };
    leaf_of.par_chunks(RECORDS_AT_ONCE).enumerate().with_max_len(1).map(of_part).collect()
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
    // The place along the curve before the index: numbers are sorted faster than pairs.
    let curve = Curve::new();
    let mut keyed: Vec<u64> = boxes
        .par_iter()
        .enumerate()
        .map(|(i, Box32([min_x, max_x, min_y, max_y]))| {
            let x = (f64::from(*min_x) / 2.0 + f64::from(*max_x) / 2.0 - west) * by_x;
            let y = (f64::from(*min_y) / 2.0 + f64::from(*max_y) / 2.0 - south) * by_y;
            u64::from(curve.place(x as u32, y as u32)) << 32 | i as u64
        })
        .collect();
    keyed.par_sort_unstable();
    keyed.into_iter().map(|key| key as u32).collect()
}

/// A Hilbert curve of order 16 (J. K. Lawder, "Calculation of mappings between one and n-dimensional values using the Hilbert
/// space-filling curve", 2000; the two-dimensional case) in steps of four levels. The curve within a square is that of the whole,
/// turned or mirrored: in one of four ways.
struct Curve {
    /// By way and four bits of each coordinate: eight bits of the place, and the way in which the curve goes on.
    steps: Vec<(u8, u8)>,
}

impl Curve {
    fn new() -> Curve {
        let mut steps = Vec::with_capacity(4 * 256);
        for way in 0..4 {
            for (x, y) in (0..16).flat_map(|x| (0..16).map(move |y| (x, y))) {
                let (mut place, mut on) = (0, way);
                for level in (0..4).rev() {
                    let [swapped, turned] = [on & 1, on >> 1 & 1];
                    let bits = [x >> level & 1 ^ turned, y >> level & 1 ^ turned];
                    let (right, top) = if swapped == 1 { (bits[1], bits[0]) } else { (bits[0], bits[1]) };
                    place = place << 2 | (3 * right) ^ top;
                    if top == 0 {
                        on ^= 1 | right << 1;
                    }
                }
                steps.push((place, on));
            }
        }
        Curve { steps }
    }

    /// The place of a cell along the curve.
    fn place(&self, x: u32, y: u32) -> u32 {
        let (mut place, mut way) = (0, 0);
        for shift in [12, 8, 4, 0] {
            let (bits, on) = self.steps[usize::from(way) << 8 | ((x >> shift & 15) << 4 | y >> shift & 15) as usize];
            (place, way) = (place << 8 | u32::from(bits), on);
        }
        place
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use rusqlite::params;

    /// A file with an index of these boxes, opened.
    fn indexed(folder: &std::path::Path, boxes: Vec<Box32>) -> Connection {
        let path = folder.join("t.sqlite");
        let connection = Connection::open(&path).unwrap();
        connection.execute_batch("CREATE VIRTUAL TABLE rtree_t_geom USING rtree(id, minx, maxx, miny, maxy)").unwrap();
        let roots = IndexRoots::read(&connection, "t").unwrap();
        connection.close().unwrap();
        let mut pager = Pager::open(&path).unwrap();
        let roots = build(&mut pager, roots, boxes).unwrap();
        pager.finish(&roots).unwrap().0.finish().unwrap();
        let connection = Connection::open(&path).unwrap();
        let verdict: String = connection.query_row("PRAGMA integrity_check", [], |row| row.get(0)).unwrap();
        assert_eq!(verdict, "ok");
        connection
    }

    fn check(points: &[(f64, f64)]) {
        let folder = tempfile::tempdir().unwrap();
        let connection = indexed(folder.path(), points.iter().map(|(x, y)| Box32::around([*x, *y, *x, *y])).collect());
        let verdict: String = connection.query_row("SELECT rtreecheck('rtree_t_geom')", [], |row| row.get(0)).unwrap();
        assert_eq!(verdict, "ok", "{} points", points.len());
        let count: i64 = connection.query_row("SELECT count(*) FROM rtree_t_geom", [], |row| row.get(0)).unwrap();
        assert_eq!(count as usize, points.len());
        // A window query finds what a walk over all points finds.
        let window = (20.0, 60.0);
        let inside = |value: &f64| (window.0..=window.1).contains(value);
        let want = points.iter().filter(|(x, y)| inside(x) && inside(y)).count();
        let got: i64 = connection
            .query_row(
                "SELECT count(*) FROM rtree_t_geom WHERE maxx >= ?1 AND minx <= ?2 AND maxy >= ?1 AND miny <= ?2",
                params![window.0, window.1],
                |row| row.get(0),
            )
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
        let folder = tempfile::tempdir().unwrap();
        let boxes = (0..500)
            .map(|i| {
                let v = f64::from(i);
                Box32::around([v, v, v, v])
            })
            .collect();
        let connection = indexed(folder.path(), boxes);
        connection
            .execute_batch("DELETE FROM rtree_t_geom WHERE id < 100; INSERT INTO rtree_t_geom VALUES (9000, 1, 2, 1, 2)")
            .unwrap();
        let verdict: String = connection.query_row("SELECT rtreecheck('rtree_t_geom')", [], |row| row.get(0)).unwrap();
        assert_eq!(verdict, "ok");
    }

    /// The same level by level.
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

    proptest! {
        #[test]
        fn the_curve_in_steps_is_the_curve_level_by_level(x in 0u32..65_536, y in 0u32..65_536) {
            prop_assert_eq!(Curve::new().place(x, y), hilbert(x, y));
        }

        #[test]
        fn boxes_are_rounded_outwards(value in -1e8f64..1e8) {
            prop_assert!(f64::from(down(value)) <= value && value <= f64::from(up(value)));
        }
    }
}
