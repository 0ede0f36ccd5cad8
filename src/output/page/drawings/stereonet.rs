//! Planes on a stereonet: the lower half of the sphere in the equal-area projection of Lambert (any text on structural geology).
//! A line of trend t and plunge p stands at the distance R √2 sin((90° − p) / 2) from the middle, in the direction t.

use super::super::items::Measurement;
use super::super::svg::{Anchor, FAINT, GREY, LABEL, PLAIN, SMALL, Svg, cut, stroke};
use super::super::table::clean;
use super::section::Labels;
use super::{Figure, Ground};
use crate::output::numbers::plus_minus;
use crate::output::style::Look;

const RADIUS: f64 = 200.0;
const MIDDLE: [f64; 2] = [260.0, 240.0];
/// Planes that are drawn.
const MOST_PLANES: usize = 12;

/// Where a line stands on the net, in pixels.
fn on_net(trend_rad: f64, plunge_rad: f64) -> [f64; 2] {
    let r = RADIUS * std::f64::consts::SQRT_2 * ((std::f64::consts::FRAC_PI_2 - plunge_rad) / 2.0).sin();
    [MIDDLE[0] + r * trend_rad.sin(), MIDDLE[1] - r * trend_rad.cos()]
}

/// The great circle of a plane: lines in it from one end of the strike to the other.
fn great_circle(strike_rad: f64, dip_rad: f64) -> Vec<[f64; 2]> {
    (0..=60)
        .map(|i| {
            let rake = std::f64::consts::PI * f64::from(i) / 60.0;
            // Along the strike and down the dip, which lies a quarter turn to the right of it.
            let (along, down) = (rake.cos(), rake.sin());
            let across = down * dip_rad.cos();
            let (north, east) =
                (along * strike_rad.cos() - across * strike_rad.sin(), along * strike_rad.sin() + across * strike_rad.cos());
            on_net(east.atan2(north), (down * dip_rad.sin()).clamp(-1.0, 1.0).asin())
        })
        .collect()
}

/// The net with all planes; none without planes.
pub fn figure(ground: &Ground) -> Option<Figure> {
    let planes: Vec<(&str, f64, f64, String)> = ground
        .names("plane")
        .into_iter()
        .filter_map(|name| {
            let strike = ground.value("plane", name, "strike_deg")?;
            let dip = ground.value("plane", name, "dip_deg")?;
            let angle = ground.collected.units.angle();
            let sure = |of: &Measurement| angle.with_sign(&plus_minus(angle.value(of.value), angle.value(of.half95)));
            let said = format!("strike {}, dip {}", sure(strike), sure(dip));
            Some((name, strike.value.to_radians(), dip.value.to_radians(), said))
        })
        .collect();
    if planes.is_empty() {
        return None;
    }
    let mut svg = Svg::new(760.0, 490.0);
    svg.circle(MIDDLE, RADIUS, "#ffffff", stroke(GREY, 1.2));
    for dip in [30.0f64, 60.0] {
        for strike in [0.0f64, 90.0, 180.0, 270.0] {
            svg.polyline(&great_circle(strike.to_radians(), dip.to_radians()), stroke(FAINT, 1.0));
        }
    }
    svg.line([MIDDLE[0] - RADIUS, MIDDLE[1]], [MIDDLE[0] + RADIUS, MIDDLE[1]], stroke(FAINT, 1.0));
    svg.line([MIDDLE[0], MIDDLE[1] - RADIUS], [MIDDLE[0], MIDDLE[1] + RADIUS], stroke(FAINT, 1.0));
    for (i, letter) in ["N", "E", "S", "W"].into_iter().enumerate() {
        let turn = std::f64::consts::FRAC_PI_2 * i as f64;
        let at = [MIDDLE[0] + (RADIUS + 16.0) * turn.sin(), MIDDLE[1] - (RADIUS + 16.0) * turn.cos() + 4.0];
        svg.text(at, Anchor::Middle, PLAIN, letter);
    }
    let mut labels = Labels::within(&svg);
    for (i, (name, strike, dip, said)) in planes.iter().enumerate().take(MOST_PLANES) {
        let look = Look::other(i);
        let (colour, dashes) = (look.colour.to_string(), ["", "7 3", "2 3"][i % 3]);
        svg.polyline(&great_circle(*strike, *dip), super::super::svg::Stroke { colour: &colour, width: 2.0, dashes });
        let pole = on_net(strike - std::f64::consts::FRAC_PI_2, std::f64::consts::FRAC_PI_2 - dip);
        svg.mark(None, pole, look.mark, 10.0, &colour, stroke("#ffffff", 0.8));
        let places = [([pole[0] + 9.0, pole[1] + 4.0], Anchor::Start), ([pole[0] - 9.0, pole[1] + 4.0], Anchor::End)];
        labels.place(&mut svg, &places, LABEL, &cut(&clean(name), 16));
        let y = 60.0 + 30.0 * i as f64;
        svg.line([500.0, y], [526.0, y], super::super::svg::Stroke { colour: &colour, width: 2.0, dashes });
        svg.text([534.0, y], Anchor::Start, PLAIN, &cut(&clean(name), 30));
        svg.text([534.0, y + 14.0], Anchor::Start, SMALL, said);
    }
    let title = "Planes on a stereonet".to_owned();
    let more = if planes.len() > MOST_PLANES { format!(" The first {MOST_PLANES} of {}.", planes.len()) } else { String::new() };
    let caption = format!(
        "Equal-area projection of the lower half of the sphere, from true north: great circles of the planes, and marks for their poles.{more}"
    );
    Some(Figure::new("planes".to_owned(), title, svg, caption))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The equal-area net: a vertical line at the middle, a level one on the rim, and 45 degrees at √2 sin 22.5° = 0.541 of the radius
    /// (from the formula above, worked by hand).
    #[test]
    fn lines_on_the_net() {
        let close = |a: [f64; 2], b: [f64; 2]| (a[0] - b[0]).abs() < 0.1 && (a[1] - b[1]).abs() < 0.1;
        assert!(close(on_net(0.0, 90f64.to_radians()), MIDDLE));
        assert!(close(on_net(90f64.to_radians(), 0.0), [MIDDLE[0] + RADIUS, MIDDLE[1]]));
        assert!(close(on_net(0.0, 45f64.to_radians()), [MIDDLE[0], MIDDLE[1] - 0.541_196 * RADIUS]));
        // A plane that strikes north and dips 45 degrees east: its steepest line points east.
        let circle = great_circle(0.0, 45f64.to_radians());
        assert!(close(circle[30], [MIDDLE[0] + 0.541_196 * RADIUS, MIDDLE[1]]), "{:?}", circle[30]);
        assert!(close(circle[0], [MIDDLE[0], MIDDLE[1] - RADIUS]) && close(circle[60], [MIDDLE[0], MIDDLE[1] + RADIUS]));
    }
}
