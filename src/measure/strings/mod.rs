//! Strings: shots in order make a line or an area, with its length, area and perimeter and their standard errors.
//!
//! The `string` column names the string, `role` says `start`, `end`, `close` (the last vertex of an area) or
//! `join` (the vertex is the point of that feature name, shot elsewhere). Several strings may be open at once, across bases and
//! files. Vertices stand in the order of an explicit number, else of time, else of rows.
//!
//! Lengths and areas are computed twice, and both are named: on the ellipsoid (geodesics, by the method of C. F. F. Karney,
//! "Algorithms for geodesics", Journal of Geodesy 87, 2013, through GeographicLib) and in the grid of the layers' CRS.
//! Their standard errors come from the vertices' joint covariance by the gradient in the local plane.

pub mod measure;
pub mod ring;

use std::collections::BTreeMap;

use jiff::Timestamp;

use crate::geodesy::register::Located;
use crate::numeric::words::of_all;
use crate::shots::reduce::Vector;

/// The role of the first vertex.
pub const START: &str = "start";
/// The role of the last vertex of a line.
pub const END: &str = "end";
/// The role of the last vertex of an area.
pub const CLOSE: &str = "close";

/// A row that belongs to a string.
#[derive(Debug, Clone)]
pub struct Vertex {
    /// Name of the string.
    pub string: String,
    /// Feature code.
    pub code: Option<String>,
    /// Role.
    pub role: String,
    /// The explicit number.
    pub order: Option<f64>,
    /// When.
    pub instant: Option<Timestamp>,
    /// Index of the input file, and line.
    pub place: (usize, u64),
    /// The shot for people.
    pub label: String,
    /// Its shot id, as the log has it.
    pub shot: Option<String>,
    /// Feature name: of a joined vertex, the point that is meant.
    pub feature: Option<String>,
    /// Index of the base.
    pub base: usize,
    /// The vector from the base.
    pub vector: Vector,
    /// The point with all that it errs by, where that is not the vector's: of several shots, or placed by a network.
    pub joined: Option<Box<Located>>,
}

/// An ordered run of vertices.
#[derive(Debug, Clone)]
pub struct Strung {
    /// Name: that of the string, with a number where the name was started again.
    pub name: String,
    /// Feature code of the first vertex that has one.
    pub code: Option<String>,
    /// Whether it closes on its first vertex.
    pub closed: bool,
    /// The vertices, in order.
    pub vertices: Vec<Vertex>,
}

/// Puts vertices in order and cuts them into strings. What is wrong with a string is told beside; its
/// sound vertices are kept.
pub fn strings(vertices: Vec<Vertex>) -> (Vec<Strung>, Vec<String>) {
    let mut by_name: BTreeMap<String, Vec<Vertex>> = BTreeMap::new();
    for vertex in vertices {
        by_name.entry(vertex.string.clone()).or_default().push(vertex);
    }
    let (mut strings, mut notes) = (Vec::new(), Vec::new());
    for (name, mut vertices) in by_name {
        sort(&mut vertices, &name, &mut notes);
        let mut open: Vec<Vertex> = Vec::new();
        let mut number = 0;
        let mut finish = |vertices: &mut Vec<Vertex>, closed: bool| {
            if vertices.is_empty() {
                return;
            }
            number += 1;
            let code = vertices.iter().find_map(|vertex| vertex.code.clone());
            let name = if number == 1 { name.clone() } else { format!("{name} ({number})") };
            strings.push(Strung { name, code, closed, vertices: std::mem::take(vertices) });
        };
        for vertex in vertices {
            if vertex.role == START {
                finish(&mut open, false);
            }
            let role = vertex.role.clone();
            open.push(vertex);
            match role.as_str() {
                END => finish(&mut open, false),
                CLOSE => finish(&mut open, true),
                _ => {}
            }
        }
        finish(&mut open, false);
    }
    strings.retain(|string: &Strung| {
        let least = if string.closed { 3 } else { 2 };
        if string.vertices.len() < least {
            let what = if string.closed { "an area" } else { "a line" };
            let count = string.vertices.len();
            let vertices = if count == 1 { "vertex" } else { "vertices" };
            notes.push(format!(
                "String {} has {count} {vertices} ({}); {what} needs {least}: nothing is drawn of it.",
                string.name, string.vertices[0].label
            ));
        }
        string.vertices.len() >= least
    });
    (strings, notes)
}

/// By the explicit number where every vertex has one, else by time where every one has one, else by rows.
fn sort(vertices: &mut [Vertex], name: &str, notes: &mut Vec<String>) {
    vertices.sort_by_key(|vertex| vertex.place);
    let numbered = vertices.iter().filter(|vertex| vertex.order.is_some()).count();
    if numbered == vertices.len() {
        vertices.sort_by(|a, b| a.order.unwrap_or(0.0).total_cmp(&b.order.unwrap_or(0.0)));
        return;
    }
    if numbered > 0 {
        notes.push(format!(
            "String {name}: {} an order number; the numbers are left aside, and time or rows decide.",
            of_all(numbered as u64, vertices.len() as u64, ["vertex", "vertices"], ["has", "have"])
        ));
    }
    if vertices.iter().all(|vertex| vertex.instant.is_some()) {
        vertices.sort_by_key(|vertex| (vertex.instant, vertex.place));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn vertex(string: &str, line: u64, role: &str) -> Vertex {
        Vertex {
            string: string.into(),
            code: None,
            role: role.into(),
            order: None,
            instant: None,
            place: (0, line),
            label: format!("shot {line}"),
            shot: None,
            feature: None,
            base: 0,
            vector: Vector::exact(0.0, 0.0, None),
            joined: None,
        }
    }

    fn shape(strings: &[Strung]) -> Vec<(&str, bool, Vec<u64>)> {
        strings.iter().map(|s| (s.name.as_str(), s.closed, s.vertices.iter().map(|v| v.place.1).collect())).collect()
    }

    #[test]
    fn several_strings_open_at_once() {
        let rows = [("bank", 1, ""), ("edge", 2, ""), ("bank", 3, ""), ("edge", 4, ""), ("bank", 5, "end"), ("edge", 6, "close")];
        let (strings, notes) = strings(rows.map(|(string, line, role)| vertex(string, line, role)).into());
        assert!(notes.is_empty());
        assert_eq!(shape(&strings), [("bank", false, vec![1, 3, 5]), ("edge", true, vec![2, 4, 6])]);
    }

    #[test]
    fn a_name_that_is_started_again() {
        let rows = [(1, "start"), (2, ""), (3, "start"), (4, "end"), (5, "")];
        let (strings, notes) = strings(rows.map(|(line, role)| vertex("wall", line, role)).into());
        assert_eq!(shape(&strings), [("wall", false, vec![1, 2]), ("wall (2)", false, vec![3, 4])]);
        assert_eq!(notes, ["String wall (3) has 1 vertex (shot 5); a line needs 2: nothing is drawn of it."]);
    }

    #[test]
    fn numbers_go_before_time_and_time_before_rows() {
        let mut rows: Vec<Vertex> = (1..=3).map(|line| vertex("wall", line, "")).collect();
        for (row, (order, second)) in rows.iter_mut().zip([(3.0, 30), (1.0, 20), (2.0, 10)]) {
            row.order = Some(order);
            row.instant = Timestamp::from_second(second).ok();
        }
        assert_eq!(shape(&strings(rows.clone()).0)[0].2, [2, 3, 1]);
        rows[0].order = None;
        let (by_time, notes) = strings(rows.clone());
        assert_eq!((shape(&by_time)[0].2.clone(), notes.len()), (vec![3, 2, 1], 1));
        rows[1].instant = None;
        rows.iter_mut().for_each(|row| row.order = None);
        assert_eq!(shape(&strings(rows).0)[0].2, [1, 2, 3]);
    }

    #[test]
    fn too_few_vertices_make_nothing() {
        let count = |lines: u64, role: &str| {
            let rows = (1..=lines).map(|line| vertex("pond", line, if line == lines { role } else { "" })).collect();
            let (strings, notes) = strings(rows);
            (strings.len(), notes)
        };
        let note = |what: &str| vec![format!("String pond has {what}: nothing is drawn of it.")];
        assert_eq!(count(1, "end"), (0, note("1 vertex (shot 1); a line needs 2")));
        assert_eq!(count(2, "end"), (1, Vec::new()));
        assert_eq!(count(1, "close"), (0, note("1 vertex (shot 1); an area needs 3")));
        assert_eq!(count(2, "close"), (0, note("2 vertices (shot 1); an area needs 3")));
        assert_eq!(count(3, "close"), (1, Vec::new()));
    }

    #[test]
    fn the_code_is_that_of_the_first_vertex_that_has_one() {
        let mut rows: Vec<Vertex> =
            [(1, ""), (2, ""), (3, "end"), (4, "start"), (5, "end")].map(|(line, role)| vertex("wall", line, role)).into();
        rows[1].code = Some("W1".into());
        rows[2].code = Some("W2".into());
        let (strings, _) = strings(rows);
        assert_eq!(strings.iter().map(|string| string.code.as_deref()).collect::<Vec<_>>(), [Some("W1"), None]);
    }

    /// Rows come in any order; of one time those that stand first go first.
    #[test]
    fn rows_of_one_time_stay_in_their_order() {
        let mut rows: Vec<Vertex> = [4, 2, 3, 1].map(|line| vertex("wall", line, "")).into();
        for (row, second) in rows.iter_mut().zip([10, 20, 10, 20]) {
            row.instant = Timestamp::from_second(second).ok();
        }
        assert_eq!(shape(&strings(rows.clone()).0)[0].2, [3, 4, 1, 2]);
        rows.iter_mut().for_each(|row| row.instant = None);
        assert_eq!(shape(&strings(rows.clone()).0)[0].2, [1, 2, 3, 4]);
        // A number on one of four vertices is left aside, and said; on all of them it rules, also below nothing.
        rows[0].order = Some(1.0);
        let (found, notes) = strings(rows.clone());
        assert_eq!(shape(&found)[0].2, [1, 2, 3, 4]);
        assert_eq!(
            notes,
            ["String wall: 1 of 4 vertices has an order number; the numbers are left aside, and time or rows decide."]
        );
        for (row, order) in rows.iter_mut().zip([2.5, -1.0, 2.0, 0.0]) {
            row.order = Some(order);
        }
        assert_eq!(shape(&strings(rows).0)[0].2, [2, 1, 3, 4]);
    }
}
