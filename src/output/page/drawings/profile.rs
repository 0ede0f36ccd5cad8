//! The section of a profile: its shots by chainage and height.

use super::super::chart::Plot;
use super::super::items::Profiled;
use super::super::svg::{Anchor, INK, LABEL, cut, stroke};
use super::super::table::clean;
use super::section::{Labels, exaggeration, height_title, widened};
use super::{Figure, Ground, WIDTH};
use crate::geodesy::covariance::INTERVAL95;
use crate::output::style::{Look, Mark};

/// The sections of all profiles.
pub fn figures(ground: &Ground) -> Vec<Figure> {
    let mut names: Vec<&str> = Vec::new();
    for shot in &ground.collected.profiles.kept {
        if names.last() != Some(&shot.profile.as_str()) && !names.contains(&shot.profile.as_str()) {
            names.push(&shot.profile);
        }
    }
    names.into_iter().filter_map(|name| figure(ground, name)).collect()
}

fn figure(ground: &Ground, name: &str) -> Option<Figure> {
    let known = |shot: &&Profiled| shot.profile == name && shot.height_m.is_finite() && shot.chainage_m.is_finite();
    let mut shots: Vec<&Profiled> = ground.collected.profiles.kept.iter().filter(known).collect();
    shots.sort_by(|a, b| a.chainage_m.total_cmp(&b.chainage_m));
    if shots.len() < 2 {
        return None;
    }
    let fold = |of: &dyn Fn(&Profiled) -> f64| {
        shots.iter().map(|shot| of(shot)).fold([f64::MAX, f64::MIN], |[a, b], v| [a.min(v), b.max(v)])
    };
    let half = |shot: &Profiled| if shot.sigma_height_m.is_finite() { INTERVAL95 * shot.sigma_height_m } else { 0.0 };
    let x = fold(&|shot| shot.chainage_m);
    let y = [fold(&|shot| shot.height_m - half(shot))[0], fold(&|shot| shot.height_m + half(shot))[1]];
    let factor = exaggeration(x[1] - x[0], (y[1] - y[0]).max(0.1), 0.4);
    let kind = &shots[0].height_kind;
    let unit = ground.length();
    let titles = [format!("chainage, {}", unit.sign), height_title(factor, &format!("{} height", clean(kind)), unit.sign)];
    let mut plot = Plot::in_unit(unit, WIDTH, widened(x), y, factor, [&titles[0], &titles[1]]);
    let colour = Look::standard("profiles").map_or_else(|| INK.to_owned(), |look| look.colour.to_string());
    let line: Vec<[f64; 2]> = shots.iter().map(|shot| plot.at(shot.chainage_m, shot.height_m)).collect();
    plot.svg.polyline(&line, stroke(&colour, 1.5));
    let mut labels = Labels::within(&plot.svg);
    line.iter().for_each(|[x, y]| labels.take([x - 5.0, y - 5.0, x + 5.0, y + 5.0]));
    for (shot, at) in shots.iter().zip(&line) {
        let half = INTERVAL95 * shot.sigma_height_m;
        if half.is_finite() {
            let [low, high] = [-half, half].map(|off| plot.at(shot.chainage_m, shot.height_m + off));
            plot.svg.line(low, high, stroke(&colour, 1.0));
        }
        plot.svg.mark(None, *at, Mark::Square, 7.0, &colour, stroke("#ffffff", 0.8));
        let text = if shot.code.is_empty() { &shot.shot } else { &shot.code };
        let places = [
            ([at[0] + 7.0, at[1] - 7.0], Anchor::Start),
            ([at[0] - 7.0, at[1] - 7.0], Anchor::End),
            ([at[0] + 7.0, at[1] + 16.0], Anchor::Start),
        ];
        labels.place(&mut plot.svg, &places, LABEL, &cut(&clean(text), 20));
    }
    let title = format!("Profile {}", clean(name));
    let mut caption = "Shots by chainage along the line, with the 95 % interval of their heights.".to_owned();
    if factor > 1.0 {
        caption.push_str(&format!(" Heights are drawn {factor} times their size."));
    }
    Some(Figure::new(format!("profile-{name}"), title, plot.svg, caption))
}
