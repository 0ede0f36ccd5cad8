//! Rings cut at ±180° and closed along a pole.
//!
//! Unrolled, a ring comes back to its first longitude, or a whole turn beside it: then it goes round a pole, and is closed along that pole's
//! latitude, from ±180° to ±180°. The closed ring is cut at each meridian of ±180° that it crosses: sorted along the meridian, the crossings of
//! a ring that does not cross itself bound its inside by pairs, so that a piece that ends at one of a pair goes on from the other.

use super::{Corner, Globe, push_apart, sides};

/// The rings of an area.
pub fn cut<C: Corner>(globe: Globe, points: &[C]) -> Vec<Vec<C>> {
    let Some((_, open)) = points.split_last() else { return Vec::new() };
    // From a point that is no pole, whose longitude would mean nothing.
    let Some(from) = open.iter().position(|point| !globe.is_pole(point.at()[1])) else { return Vec::new() };
    let around: Vec<C> = (0..=open.len()).map(|k| open[(from + k) % open.len()]).collect();
    // Unrolled with its first point again at the end.
    let unrolled = globe.unrolled(&around);
    let (Some(first), Some(last)) = (unrolled.first(), unrolled.last()) else { return Vec::new() };
    let turns = ((last.at()[0] - first.at()[0]) / (2.0 * globe.half_turn)).round();
    let ring = if turns == 0.0 { unrolled[..unrolled.len() - 1].to_vec() } else { round_a_pole(globe, &unrolled, turns) };
    let mut rings = Vec::new();
    let mut left = vec![ring];
    for edge in globe.edges_between(&left[0]) {
        let mut behind = Vec::new();
        for ring in left {
            let [west, east] = split(globe, ring, edge);
            rings.extend(west);
            behind.extend(east);
        }
        left = behind;
    }
    rings.extend(left);
    rings.retain(|ring| ring.len() > 2 && doubled_area(ring) != 0.0);
    rings.into_iter().map(|ring| closed(globe.rolled(ring))).collect()
}

/// A ring round a pole, from where it crosses ±180° nearest to the pole, by the whole turn to the same place, along the pole and back.
fn round_a_pole<C: Corner>(globe: Globe, unrolled: &[C], turns: f64) -> Vec<C> {
    let open = &unrolled[..unrolled.len() - 1];
    let north = open.iter().map(|point| point.at()[1]).sum::<f64>().signum();
    let pole = north * 0.5 * globe.half_turn;
    let turn = 2.0 * globe.half_turn;
    // Each crossing of an edge over ±180°: the index behind it, and the point there.
    let mut highest: Option<(usize, C)> = None;
    for (i, pair) in unrolled.windows(2).enumerate() {
        let (from, to) = (pair[0].at()[0], pair[1].at()[0]);
        let nearest = ((0.5 * (from + to) - globe.half_turn) / turn).round() * turn + globe.half_turn;
        if (from.min(to)..=from.max(to)).contains(&nearest) && from != to {
            let meeting = globe.at_meridian(&pair[0], &pair[1], nearest);
            if highest.is_none_or(|(_, known)| north * meeting.at()[1] > north * known.at()[1]) {
                highest = Some((i + 1, meeting));
            }
        }
    }
    // A whole turn crosses it somewhere.
    let Some((behind, start)) = highest else { return open.to_vec() };
    let on = |point: &C, shift: f64| point.moved([point.at()[0] + shift, point.at()[1]]);
    let mut ring = vec![start];
    open[behind.min(open.len())..].iter().for_each(|point| push_apart(&mut ring, *point));
    open[..behind.min(open.len())].iter().for_each(|point| push_apart(&mut ring, on(point, turns * turn)));
    let end = on(&start, turns * turn);
    push_apart(&mut ring, end);
    ring.push(end.moved([end.at()[0], pole]));
    ring.push(start.moved([start.at()[0], pole]));
    ring
}

/// A run of a ring's points on one side of a meridian, with the crossings that it begins and ends at.
struct RingRun<C> {
    is_east: bool,
    points: Vec<C>,
    begins: usize,
    ends: usize,
}

/// A ring cut at a meridian: the rings west and east of it.
fn split<C: Corner>(globe: Globe, ring: Vec<C>, edge: f64) -> [Vec<Vec<C>>; 2] {
    let n = ring.len();
    let mut side = sides(&ring, edge);
    // Points on the meridian before any other lie where the last of the ring does.
    for i in 0..n {
        if ring[i].at()[0] != edge {
            break;
        }
        side[i] = side[n - 1];
    }
    let Some(start) = (0..n).find(|i| side[*i] != side[(i + n - 1) % n]) else {
        return if side.first() == Some(&true) { [Vec::new(), vec![ring]] } else { [vec![ring], Vec::new()] };
    };
    let mut crossings: Vec<C> = Vec::new();
    let mut chains: Vec<RingRun<C>> = Vec::new();
    for k in 0..n {
        let i = (start + k) % n;
        let before = (i + n - 1) % n;
        if side[i] != side[before] {
            let meeting = globe.at_meridian(&ring[before], &ring[i], edge);
            let crossing = crossings.len();
            crossings.push(meeting);
            if let Some(last) = chains.last_mut() {
                push_apart(&mut last.points, meeting);
                last.ends = crossing;
            }
            chains.push(RingRun { is_east: side[i], points: vec![meeting], begins: crossing, ends: 0 });
        }
        if let Some(chain) = chains.last_mut() {
            push_apart(&mut chain.points, ring[i]);
        }
    }
    if let Some(last) = chains.last_mut() {
        push_apart(&mut last.points, crossings[0]);
    }
    // Its neighbour along the meridian, by pairs from the south.
    let mut order: Vec<usize> = (0..crossings.len()).collect();
    order.sort_by(|a, b| crossings[*a].at()[1].total_cmp(&crossings[*b].at()[1]));
    let mut partner = vec![0; crossings.len()];
    for pair in order.chunks(2) {
        let other = *pair.last().unwrap_or(&pair[0]);
        (partner[pair[0]], partner[other]) = (other, pair[0]);
    }
    joined(chains, &partner)
}

/// Chains of each side put together to rings.
fn joined<C: Corner>(chains: Vec<RingRun<C>>, partner: &[usize]) -> [Vec<Vec<C>>; 2] {
    let mut rings = [Vec::new(), Vec::new()];
    let mut used = vec![false; chains.len()];
    for first in 0..chains.len() {
        if used[first] {
            continue;
        }
        let (mut ring, mut at, is_east) = (Vec::new(), first, chains[first].is_east);
        loop {
            used[at] = true;
            chains[at].points.iter().for_each(|point| push_apart(&mut ring, *point));
            let next = (0..chains.len())
                .find(|k| !used[*k] && chains[*k].is_east == is_east && chains[*k].begins == partner[chains[at].ends]);
            match next {
                Some(next) => at = next,
                None => break,
            }
        }
        while ring.len() > 1 && ring[0].at() == ring[ring.len() - 1].at() {
            ring.pop();
        }
        rings[usize::from(is_east)].push(ring);
    }
    rings
}

fn doubled_area<C: Corner>(ring: &[C]) -> f64 {
    let ring: Vec<[f64; 2]> = ring.iter().map(Corner::at).collect();
    crate::measure::strings::ring::twice_area(&ring)
}

/// Against the clock, the first point again at the end.
fn closed<C: Corner>(mut ring: Vec<C>) -> Vec<C> {
    if doubled_area(&ring) < 0.0 {
        ring.reverse();
    }
    ring.extend(ring.first().copied());
    ring
}
