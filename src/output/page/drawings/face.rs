//! The elevation of a face: its shots as seen square on to the plane through them, along the strike and up the dip.

use super::super::chart::Plot;
use super::super::items::{MeasuredPoint, Measurement};
use super::super::svg::{Anchor, INK, LABEL, stroke};
use super::super::table::clean;
use super::section::Labels;
use super::{Figure, Ground, WIDTH};
use crate::output::numbers::fixed;
use crate::output::style::{Look, Mark};

/// The elevations of all planes.
pub fn figures(ground: &Ground) -> Vec<Figure> {
    ground.names("plane").into_iter().filter_map(|name| figure(ground, name)).collect()
}

/// To the right and up, east, north and up each, as one looks on to a plane from its open side, which it dips to. It dips to the
/// right of who looks along the strike, so that the strike points to the right of who looks at the plane.
fn axes(strike_rad: f64, dip_rad: f64) -> [[f64; 3]; 2] {
    let ((sin, cos), (sin_dip, cos_dip)) = (strike_rad.sin_cos(), dip_rad.sin_cos());
    // Down the dip is (cos, -sin) by cos_dip, and down by sin_dip.
    [[sin, cos, 0.0], [-cos * cos_dip, sin * cos_dip, sin_dip]]
}

fn figure(ground: &Ground, name: &str) -> Option<Figure> {
    let strike = (ground.value("plane", name, "strike_deg")?.value - ground.convergence_deg()).to_radians();
    let dip = ground.value("plane", name, "dip_deg")?.value.to_radians();
    let of_plane = |shot: &&MeasuredPoint| shot.measure == "plane" && shot.name == name && shot.at[2].is_finite();
    let shots: Vec<(&MeasuredPoint, [f64; 3])> =
        ground.collected.measured.kept.iter().filter(of_plane).map(|shot| (shot, ground.at(shot.at))).collect();
    if shots.len() < 3 {
        return None;
    }
    let middle: [f64; 3] = std::array::from_fn(|axis| shots.iter().map(|(_, at)| at[axis]).sum::<f64>() / shots.len() as f64);
    let [right, up] = axes(strike, dip);
    let on = |at: [f64; 3], axis: [f64; 3]| (0..3).map(|i| (at[i] - middle[i]) * axis[i]).sum::<f64>();
    let spots: Vec<(&MeasuredPoint, [f64; 2])> = shots.iter().map(|(shot, at)| (*shot, [on(*at, right), on(*at, up)])).collect();
    let fold = |axis: usize| spots.iter().fold([f64::MAX, f64::MIN], |[a, b], (_, p)| [a.min(p[axis]), b.max(p[axis])]);
    let (x, y) = (fold(0), fold(1));
    let width = WIDTH.min((WIDTH * (x[1] - x[0]) / (y[1] - y[0]).max(0.1)).max(420.0));
    let unit = ground.length();
    let titles = [format!("along the strike, {}", unit.sign), format!("up the dip, {}", unit.sign)];
    let mut plot = Plot::in_unit(unit, width, x, y, 1.0, [&titles[0], &titles[1]]);
    let colour = Look::standard("areas").map_or_else(|| INK.to_owned(), |look| look.colour.to_string());
    if let Some(hull) = ground.collected.areas.kept.iter().find(|area| area.origin == "plane" && area.name == name) {
        let ring: Vec<[f64; 2]> = hull
            .corners
            .iter()
            .map(|corner| ground.at(*corner))
            .filter(|at| at[2].is_finite())
            .map(|at| plot.at(on(at, right), on(at, up)))
            .collect();
        plot.svg.polygon(&ring, (&colour, 0.12), stroke(&colour, 1.5));
    }
    let residual = |shot: &MeasuredPoint| {
        let of_shot = |value: &&Measurement| {
            value.measure == "plane"
                && value.name == name
                && value.quantity == "residual_m"
                && value.target.strip_prefix("plane to ").is_some_and(|label| {
                    let label = label.split(", ").next().unwrap_or(label);
                    label == shot.shot || label.strip_prefix("shot ") == Some(&shot.shot)
                })
        };
        ground.collected.measurements.kept.iter().find(of_shot).map(|value| value.value)
    };
    let mut labels = Labels::within(&plot.svg);
    for (shot, spot) in &spots {
        let at = plot.at(spot[0], spot[1]);
        plot.svg.mark(None, at, Mark::Circle, 8.0, INK, stroke("#ffffff", 0.8));
        let off = residual(shot)
            .map(|metres| format!(" {}{} {}", if metres < 0.0 { "" } else { "+" }, fixed(unit.value(metres), 2), unit.sign))
            .unwrap_or_default();
        let text = format!("{}{off}", clean(&shot.shot));
        let places = [
            ([at[0] + 8.0, at[1] + 4.0], Anchor::Start),
            ([at[0] - 8.0, at[1] + 4.0], Anchor::End),
            ([at[0], at[1] - 10.0], Anchor::Middle),
            ([at[0], at[1] + 20.0], Anchor::Middle),
        ];
        labels.place(&mut plot.svg, &places, LABEL, text.trim());
    }
    let title = format!("Elevation of face {}", clean(name));
    let caption = format!(
        "{} Seen square on to the fitted plane, from its open side; numbers are each shot's distance from the plane, positive over it.",
        ground.said("plane", name)
    );
    Some(Figure::new(format!("face-{name}"), title, plot.svg, caption))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A face that strikes west and dips steeply north is seen from the north: west is on the right, and right × up points north, to the eye.
    #[test]
    fn a_face_is_seen_from_its_open_side() {
        let [right, up] = axes(270f64.to_radians(), 80f64.to_radians());
        assert!((right[0] + 1.0).abs() < 1e-12 && right[1].abs() < 1e-12);
        let eye = right[2] * up[0] - right[0] * up[2];
        assert!(eye > 0.98, "{eye}");
        assert!(up[2] > 0.98 && up[1] < 0.0, "up the dip leans away from the eye");
    }
}
