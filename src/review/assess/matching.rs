//! Which points of one set belong to which of another: by name, or by distance. What is ambiguous is told, not guessed.
//!
//! By distance, two points belong together where each is the only one of its set within the limit of the other. The nearest of several
//! is not taken: it would make errors look smaller than they are, since a wrong neighbour that lies near passes as a good match.
//! Distances are of earth-centred points put on the ellipsoid, that is horizontal; candidates are found in a grid of cells as
//! wide as the limit, so that the work grows with the number of points.

use std::collections::HashMap;

/// How many of several candidates by distance are kept.
const NAMED: usize = 3;

/// What was found for one point.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Fate {
    /// The index of the point that it belongs to.
    Matched(usize),
    /// Several would do, or one that another point claims too.
    Ambiguous {
        /// Indices of the candidates: by name all, by distance the nearest.
        candidates: Vec<usize>,
        /// How many there are.
        count: usize,
    },
    /// None.
    Unmatched,
}

/// Matches names with those of other points. `fields` are the other points' names by one field after another: a name is looked
/// up in the first field that has it at all. A name that occurs twice, on either side, is ambiguous.
pub fn by_name(names: &[&str], fields: &[Vec<Option<&str>>]) -> Vec<Fate> {
    let indexes: Vec<HashMap<&str, Vec<usize>>> = fields.iter().map(|field| index(field.iter().copied().enumerate())).collect();
    let mut claims = vec![0usize; fields.iter().map(Vec::len).max().unwrap_or(0)];
    let mut fates = Vec::with_capacity(names.len());
    for name in names {
        let candidates = indexes.iter().find_map(|index| index.get(name.trim())).map_or(&[][..], Vec::as_slice);
        if let [only] = candidates {
            claims[*only] += 1;
        }
        fates.push(fate(candidates, usize::MAX));
    }
    one_to_one(fates, &claims)
}

fn index<'n>(names: impl Iterator<Item = (usize, Option<&'n str>)>) -> HashMap<&'n str, Vec<usize>> {
    let mut index: HashMap<&str, Vec<usize>> = HashMap::new();
    for (i, name) in names {
        if let Some(name) = name.map(str::trim).filter(|name| !name.is_empty()) {
            index.entry(name).or_default().push(i);
        }
    }
    index
}

fn fate(candidates: &[usize], named: usize) -> Fate {
    match candidates {
        [] => Fate::Unmatched,
        [only] => Fate::Matched(*only),
        several => Fate::Ambiguous { candidates: several.iter().take(named).copied().collect(), count: several.len() },
    }
}

/// Two that claim one point are both ambiguous; `claims` says how many claim each.
fn one_to_one(mut fates: Vec<Fate>, claims: &[usize]) -> Vec<Fate> {
    for fate in &mut fates {
        if let Fate::Matched(index) = *fate
            && claims[index] > 1
        {
            *fate = Fate::Ambiguous { candidates: vec![index], count: 1 };
        }
    }
    fates
}

/// Matches points with others no farther away than `within_m`, which is above 0. Points in one frame, in metres.
pub fn by_distance(points: &[[f64; 3]], others: &[[f64; 3]], within_m: f64) -> Vec<Fate> {
    // Casting saturates: points that are no numbers share a cell and are near nothing.
    let cell = |point: &[f64; 3]| point.map(|x| (x / within_m).floor() as i64);
    let mut cells: HashMap<[i64; 3], Vec<usize>> = HashMap::new();
    for (i, other) in others.iter().enumerate() {
        cells.entry(cell(other)).or_default().push(i);
    }
    let mut claims = vec![0usize; others.len()];
    let mut fates = Vec::with_capacity(points.len());
    for point in points {
        let mut near: Vec<(f64, usize)> = Vec::new();
        let [x, y, z] = cell(point);
        for key in neighbours(x)
            .into_iter()
            .flat_map(|x| neighbours(y).into_iter().flat_map(move |y| neighbours(z).into_iter().map(move |z| [x, y, z])))
        {
            for i in cells.get(&key).into_iter().flatten() {
                let distance_m = point.iter().zip(&others[*i]).map(|(a, b)| (a - b).powi(2)).sum::<f64>().sqrt();
                if distance_m <= within_m {
                    near.push((distance_m, *i));
                }
            }
        }
        near.iter().for_each(|(_, i)| claims[*i] += 1);
        near.sort_unstable_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        fates.push(fate(&near.iter().map(|(_, i)| *i).collect::<Vec<usize>>(), NAMED));
    }
    one_to_one(fates, &claims)
}

fn neighbours(i: i64) -> [i64; 3] {
    [i.saturating_sub(1), i, i.saturating_add(1)]
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn names_by_one_field_then_the_next() {
        let features = vec![Some("N1"), Some("N2"), Some("N2"), Some(" N4 "), None];
        let shots = vec![Some("1"), Some("2"), Some("3"), Some("4"), Some("N9")];
        let fates = by_name(&["N4", "N2", "N9", "2", "", "N7"], &[features, shots]);
        assert_eq!(
            fates,
            [
                Fate::Matched(3),
                Fate::Ambiguous { candidates: vec![1, 2], count: 2 },
                Fate::Matched(4),
                Fate::Matched(1),
                Fate::Unmatched,
                Fate::Unmatched
            ]
        );
    }

    #[test]
    fn two_of_one_name_are_both_ambiguous() {
        let fates = by_name(&["A", "B", "A"], &[vec![Some("A"), Some("B")]]);
        let twice = Fate::Ambiguous { candidates: vec![0], count: 1 };
        assert_eq!(fates, [twice.clone(), Fate::Matched(1), twice]);
        // Through two fields as well.
        let fates = by_name(&["A", "7"], &[vec![Some("A")], vec![Some("7")]]);
        assert!(fates.iter().all(|fate| matches!(fate, Fate::Ambiguous { .. })), "{fates:?}");
    }

    #[test]
    fn by_distance_only_what_is_alone() {
        let points = [[0.0, 0.0, 0.0], [10.0, 0.0, 0.0], [20.0, 0.0, 0.0], [30.0, 0.0, 0.0], [30.5, 0.0, 0.0]];
        let others = [[0.9, 0.0, 0.0], [10.2, 0.0, 0.0], [9.5, 0.0, 0.0], [30.2, 0.0, 0.0], [22.0, 0.0, 0.0]];
        let fates = by_distance(&points, &others, 1.0);
        let shared = Fate::Ambiguous { candidates: vec![3], count: 1 };
        assert_eq!(
            fates,
            [Fate::Matched(0), Fate::Ambiguous { candidates: vec![1, 2], count: 2 }, Fate::Unmatched, shared.clone(), shared]
        );
        assert_eq!(by_distance(&[[f64::NAN; 3]], &[[0.0; 3]], 1.0), [Fate::Unmatched]);
    }

    /// 3, 4 and 12 m are 13 m: just inside, just outside. Of more than three the nearest three are kept, in order.
    #[test]
    fn how_far_and_how_many() {
        let found = |within_m: f64| by_distance(&[[1.0, 2.0, 3.0]], &[[4.0, 6.0, 15.0]], within_m);
        assert_eq!((found(13.0), found(12.999)), (vec![Fate::Matched(0)], vec![Fate::Unmatched]));
        let others = [0.4, 0.1, 0.3, -0.2, 0.1].map(|x| [x, 0.0, 0.0]);
        assert_eq!(by_distance(&[[0.0; 3]], &others, 0.4), [Fate::Ambiguous { candidates: vec![1, 4, 3], count: 5 }]);
        // One that two are near belongs to neither, though the one of them has another, too.
        let fates = by_distance(&[[0.0; 3], [1.0, 0.0, 0.0]], &[[-0.5, 0.0, 0.0], [0.5, 0.0, 0.0]], 0.6);
        assert_eq!(
            fates,
            [Fate::Ambiguous { candidates: vec![0, 1], count: 2 }, Fate::Ambiguous { candidates: vec![1], count: 1 }]
        );
    }

    #[test]
    fn names_without_letters_are_none_and_fields_may_differ_in_length() {
        let fates = by_name(&["", " ", "C"], &[vec![Some("")], vec![Some(" "), Some("B"), Some("C ")]]);
        assert_eq!(fates, [Fate::Unmatched, Fate::Unmatched, Fate::Matched(2)]);
        assert_eq!(by_name(&["A"], &[]), [Fate::Unmatched]);
    }

    proptest! {
        /// The grid finds what looking at every pair finds.
        #[test]
        fn cells_lose_no_neighbour(
            points in prop::collection::vec(prop::array::uniform3(-20.0f64..20.0), 0..25),
            others in prop::collection::vec(prop::array::uniform3(-20.0f64..20.0), 0..25),
            within_m in 0.5f64..12.0,
        ) {
            let is_near = |a: &[f64; 3], b: &[f64; 3]| a.iter().zip(b).map(|(a, b)| (a - b).powi(2)).sum::<f64>().sqrt() <= within_m;
            for (i, fate) in by_distance(&points, &others, within_m).into_iter().enumerate() {
                let near: Vec<usize> = (0..others.len()).filter(|j| is_near(&points[i], &others[*j])).collect();
                let claimed = |j: usize| points.iter().filter(|point| is_near(point, &others[j])).count();
                match fate {
                    Fate::Unmatched => prop_assert!(near.is_empty()),
                    Fate::Matched(j) => prop_assert!(near == [j] && claimed(j) == 1),
                    Fate::Ambiguous { count, .. } => prop_assert!(count == near.len() && (count > 1 || claimed(near[0]) > 1)),
                }
            }
        }
    }
}
