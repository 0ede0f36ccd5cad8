//! The part with the map.

use askama::Template;

use super::background::{Background, BackgroundDrawn};
use super::collect::Collected;
use super::groups::Groups;
use super::map::{self, MapNorths};
use super::plane::MapPlane;
use super::shell::PagePart;
use super::svg::{Svg, stroke};
use super::table::{clean, rendered};
use crate::numeric::words::grouped;
use crate::output::contract::Account;
use crate::output::numbers::fixed;
use crate::output::style::Look;

#[derive(Template)]
#[template(path = "map.html")]
struct MapPart {
    norths: String,
    drawing: String,
    legend: Vec<LegendEntry>,
    notes: Vec<String>,
}

struct LegendEntry {
    layer: String,
    key: String,
    title: String,
}

/// The part; none where nothing has a place.
pub fn part(
    collected: &Collected,
    account: &Account,
    groups: &Groups,
    plane: &MapPlane,
    norths: &MapNorths,
    factor: Option<f64>,
    background: Option<&Background>,
) -> Option<PagePart> {
    collected.bounds?;
    let name = format!("Map of {} in {}", clean(&collected.title), clean(&account.crs));
    let part = MapPart {
        norths: map::norths_drawing(norths, collected.projected),
        drawing: map::draw(collected, groups, plane, norths, factor, background, &name),
        legend: legend(collected, groups, factor, background),
        notes: notes(collected, account, norths, factor, background),
    };
    Some(PagePart { id: "map", title: "Map", html: rendered(&part) })
}

fn legend(collected: &Collected, groups: &Groups, factor: Option<f64>, background: Option<&Background>) -> Vec<LegendEntry> {
    let mut entries: Vec<LegendEntry> = groups
        .groups
        .iter()
        .enumerate()
        .map(|(i, group)| {
            let count = if collected.features.is_part() { String::new() } else { format!(" ({})", grouped(group.kept)) };
            LegendEntry {
                layer: format!("group-{i}"),
                key: point_key(&group.look),
                title: format!("{}{count}", clean(&group.title)),
            }
        })
        .collect();
    let mut add = |layer: &str, id: &str, title: String, key: fn(&Look) -> String| {
        if let Some(look) = Look::standard(id) {
            entries.push(LegendEntry { layer: layer.to_owned(), key: key(&look), title });
        }
    };
    if collected.bases.seen > 0 {
        add("bases", "bases", format!("bases ({})", grouped(collected.bases.seen)), point_key);
    }
    if !collected.lines.kept.is_empty() {
        add("lines", "lines", "lines".into(), line_key);
    }
    if !collected.areas.kept.is_empty() {
        add("areas", "areas", "areas".into(), area_key);
    }
    if collected.sights {
        add("sights", "sight_lines", "sight lines".into(), line_key);
    }
    if let Some(factor) = factor {
        let size = if factor == 1.0 { "true size".to_owned() } else { format!("enlarged × {}", fixed(factor, 0)) };
        add("ellipses", "ellipses", format!("95 % error ellipses, {size}"), area_key);
    }
    if let Some(background) = background {
        add("background", "sight_lines", clean(&background.name), area_key);
    }
    if collected.features.is_part() {
        add("cells", "sight_lines", "all features, counted in cells".into(), area_key);
    }
    entries
}

fn point_key(look: &Look) -> String {
    let mut svg = Svg::new(18.0, 18.0);
    svg.mark(None, [9.0, 9.0], look.mark, look.size_px.min(13.0), &look.colour.to_string(), stroke("#ffffff", 0.0));
    hidden(svg.finish(""))
}

fn line_key(look: &Look) -> String {
    let mut svg = Svg::new(24.0, 18.0);
    svg.line([1.0, 9.0], [23.0, 9.0], stroke(&look.colour.to_string(), look.line_width_px.max(1.0)));
    hidden(svg.finish(""))
}

fn area_key(look: &Look) -> String {
    let mut svg = Svg::new(24.0, 18.0);
    let colour = look.colour.to_string();
    svg.polygon(
        &[[2.0, 3.0], [22.0, 3.0], [22.0, 15.0], [2.0, 15.0]],
        (&colour, look.fill_opacity.max(0.2)),
        stroke(&colour, 1.0),
    );
    hidden(svg.finish(""))
}

/// A picture that says no more than the words beside it.
fn hidden(svg: String) -> String {
    svg.replacen("role=\"img\"", "aria-hidden=\"true\"", 1).replacen("<title></title>", "", 1)
}

fn notes(
    collected: &Collected,
    account: &Account,
    norths: &MapNorths,
    factor: Option<f64>,
    background: Option<&Background>,
) -> Vec<String> {
    let features = &collected.features;
    let mut notes = Vec::new();
    if features.is_part() {
        notes.push(format!(
            "The map and the tables show about one of {} features, {} of {}; the grey cells count all of them, and the layers have them all.",
            features.stride,
            grouped(features.kept.len() as u64),
            grouped(features.seen)
        ));
    }
    if features.seen as usize > map::MANY && (collected.sights || factor.is_some()) {
        notes.push("Sight lines and ellipses are off at first, and left out in print: there are too many of them.".to_owned());
    }
    if let Some(factor) = factor.filter(|factor| *factor > 1.0) {
        notes.push(format!(
            "Ellipses are drawn {} times their size; in truth they hold their features with 95 % probability.",
            fixed(factor, 0)
        ));
    }
    if let Some(Background { name, drawn: BackgroundDrawn::Outlines(_, true) }) = background {
        notes.push(format!("{} has more lines than this page holds; the rest of them is left out.", clean(name)));
    }
    notes.extend(map::norths_words(norths, collected.projected, &collected.units.angle()));
    notes.push(format!(
        "The grid is that of {}; points with a dark rim are flagged. Positions are true for the moment of measurement.",
        clean(&account.crs)
    ));
    notes
}
