//! Longitudes at ±180°: lines and rings cut there (RFC 7946, section 3.1.9), and the bbox that is
//! narrow across it (section 5.2). Points are longitude, latitude in degrees, and height.

/// A point of a geometry.
pub type Point = [f64; 3];

/// Whether a line or ring goes across: two neighbours more than half a turn apart.
pub fn crosses(points: &[Point]) -> bool {
    points.windows(2).any(|pair| (pair[0][0] - pair[1][0]).abs() > 180.0)
}

/// A line cut at ±180°; one part where it does not cross.
pub fn cut_line(points: &[Point]) -> Vec<Vec<Point>> {
    if !crosses(points) {
        return vec![points.to_vec()];
    }
    let mut parts: Vec<Vec<Point>> = vec![Vec::new()];
    for (i, point) in points.iter().enumerate() {
        if let Some(before) = i.checked_sub(1).map(|before| points[before])
            && (before[0] - point[0]).abs() > 180.0
        {
            let side = 180f64.copysign(before[0]);
            let meeting = meet(&before, &[point[0] + 2.0 * side, point[1], point[2]], side);
            if let Some(part) = parts.last_mut() {
                part.push(meeting);
            }
            parts.push(vec![[-side, meeting[1], meeting[2]]]);
        }
        if let Some(part) = parts.last_mut() {
            part.push(*point);
        }
    }
    parts
}

/// A convex ring cut at ±180°; one part where it does not cross.
pub fn cut_ring(points: &[Point]) -> Vec<Vec<Point>> {
    if !crosses(points) {
        return vec![points.to_vec()];
    }
    // Unrolled to 0..360 the ring is whole; each half is clipped off (Sutherland and Hodgman 1974).
    let unrolled: Vec<Point> = points.iter().map(|p| [if p[0] < 0.0 { p[0] + 360.0 } else { p[0] }, p[1], p[2]]).collect();
    let half = |keep: fn(f64) -> bool, shift: f64| {
        let mut kept: Vec<Point> = Vec::new();
        for pair in unrolled.windows(2) {
            if keep(pair[0][0]) {
                kept.push(pair[0]);
            }
            if keep(pair[0][0]) != keep(pair[1][0]) {
                kept.push(meet(&pair[0], &pair[1], 180.0));
            }
        }
        kept.extend(kept.first().copied());
        kept.iter_mut().for_each(|p| p[0] -= shift);
        kept
    };
    vec![half(|lon| lon <= 180.0, 0.0), half(|lon| lon > 180.0, 360.0)]
}

/// Where the line between two points has a longitude.
fn meet(a: &Point, b: &Point, lon: f64) -> Point {
    let t = (lon - a[0]) / (b[0] - a[0]);
    [lon, a[1] + t * (b[1] - a[1]), a[2] + t * (b[2] - a[2])]
}

/// West and east edge of longitudes as they come.
#[derive(Debug, Clone, Copy, Default)]
pub struct Longitudes {
    /// Least and greatest of those from 0 to 180.
    eastern: Option<(f64, f64)>,
    /// Least and greatest of those below 0.
    western: Option<(f64, f64)>,
}

impl Longitudes {
    /// Takes a longitude in.
    pub fn see(&mut self, lon: f64) {
        let half = if lon < 0.0 { &mut self.western } else { &mut self.eastern };
        let (least, greatest) = half.get_or_insert((lon, lon));
        *least = least.min(lon);
        *greatest = greatest.max(lon);
    }

    /// West and east edge; west is greater than east where it is narrower across ±180°.
    pub fn edges(&self) -> Option<(f64, f64)> {
        match (self.western, self.eastern) {
            (None, half) | (half, None) => half,
            (Some(west), Some(east)) if east.1 - west.0 <= west.1 + 360.0 - east.0 => Some((west.0, east.1)),
            (Some(west), Some(east)) => Some((east.0, west.1)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_and_rings_are_cut_where_they_cross() {
        let line = [[179.0, 0.0, 10.0], [-179.0, 2.0, 20.0]];
        assert_eq!(
            cut_line(&line),
            [vec![[179.0, 0.0, 10.0], [180.0, 1.0, 15.0]], vec![[-180.0, 1.0, 15.0], [-179.0, 2.0, 20.0]]]
        );
        let back = [[-179.0, 2.0, 20.0], [179.0, 0.0, 10.0]];
        assert_eq!(cut_line(&back)[1][0], [180.0, 1.0, 15.0]);
        assert_eq!(cut_line(&[[10.0, 0.0, 0.0], [-10.0, 0.0, 0.0]]).len(), 1);
        let square = [[179.0, 0.0, 0.0], [-179.0, 0.0, 0.0], [-179.0, 1.0, 0.0], [179.0, 1.0, 0.0], [179.0, 0.0, 0.0]];
        let parts = cut_ring(&square);
        assert_eq!(parts[0], [[179.0, 0.0, 0.0], [180.0, 0.0, 0.0], [180.0, 1.0, 0.0], [179.0, 1.0, 0.0], [179.0, 0.0, 0.0]]);
        assert_eq!(
            parts[1],
            [[-180.0, 0.0, 0.0], [-179.0, 0.0, 0.0], [-179.0, 1.0, 0.0], [-180.0, 1.0, 0.0], [-180.0, 0.0, 0.0]]
        );
    }

    #[test]
    fn the_narrow_bbox() {
        let edges = |list: &[f64]| {
            let mut longitudes = Longitudes::default();
            list.iter().for_each(|lon| longitudes.see(*lon));
            longitudes.edges()
        };
        assert_eq!(edges(&[179.5, -179.5]), Some((179.5, -179.5)));
        assert_eq!(edges(&[-3.0, 4.0]), Some((-3.0, 4.0)));
        assert_eq!(edges(&[-3.0, -4.0]), Some((-4.0, -3.0)));
        assert_eq!(edges(&[]), None);
    }
}
