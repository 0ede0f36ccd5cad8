//! The part that says how good it is: what the uncertainty is made of over distance, its spread, each base, the network, repeats.

use super::chart::Plot;
use super::collect::Collected;
use super::items::{PageBase, PageFeature};
use super::shell::PagePart;
use super::svg::{Anchor, INK, PLAIN, Stroke, escaped, stroke};
use super::table::{Table, TableCell};
use crate::geodesy::covariance::INTERVAL95;
use crate::geodesy::register::ErrorSource;
use crate::numeric::quantiles::at_shares;
use crate::numeric::words::grouped;
use crate::output::contract::Account;
use crate::output::numbers::{fixed, plus_minus, round_step, step_decimals, two_digits};
use crate::output::report::network::NetworkSummary;
use crate::output::report::sources::{SharesOfSources, UncertaintySources};
use crate::output::style::{Look, Mark};
use crate::units::{Shown, Units};

/// Features that the plot of the error budget shows.
const MOST_PLOTTED: usize = 250;
/// Readings of the network that the table lists.
const MOST_READINGS: usize = 60;
/// Bases that the table lists.
const MOST_BASES: usize = 300;
/// Features of several shots that the table lists.
const MOST_REPEATED: usize = 200;

/// The part; none where nothing is known of it.
pub fn part(collected: &Collected, account: &Account) -> Option<PagePart> {
    let length = collected.units.length();
    let mut html = String::new();
    html.push_str(&sources_told(account).unwrap_or_default());
    html.push_str(&budget(collected, length).unwrap_or_default());
    html.push_str(&heights(collected, length).unwrap_or_default());
    html.push_str(&spread(collected, length).unwrap_or_default());
    html.push_str(&bases(collected).map(|table| table.html()).unwrap_or_default());
    html.push_str(&network(collected, account).unwrap_or_default());
    html.push_str(&repeats_table(collected, length).map(|table| table.html()).unwrap_or_default());
    (!html.is_empty()).then_some(PagePart { id: "good", title: "How good it is", html })
}

/// A figure with its words.
pub fn figure(svg: &str, caption: &str) -> String {
    format!("<figure>{}<figcaption>{}</figcaption></figure>", drawn(svg), escaped(caption))
}

/// A drawing that a narrow window scrolls, by the keyboard as by a finger.
pub fn drawn(svg: &str) -> String {
    format!("<div class=\"drawn\" tabindex=\"0\">{svg}</div>")
}

/// What the uncertainty of all points comes from, by source; none where nothing is known of it.
fn sources_told(account: &Account) -> Option<String> {
    let UncertaintySources { horizontal, vertical } = &account.uncertainty_sources;
    let lines = account.uncertainty_sources.lines();
    if lines.is_empty() {
        return None;
    }
    let sentences: Vec<String> = lines.iter().map(|line| format!("<li>{}</li>", escaped(line))).collect();
    let mut table = Table::new("sources", "Shares in the variance, mean of all points")
        .text("source")
        .number("place", "%")
        .number("height", "%");
    let share = |of: &SharesOfSources, source: ErrorSource| match of.points {
        0 => String::new(),
        _ => fixed(100.0 * of.share(source), 1),
    };
    for source in ErrorSource::ALL.into_iter().filter(|source| horizontal.share(*source) + vertical.share(*source) > 0.0) {
        table.row(vec![source.words().into(), share(horizontal, source).into(), share(vertical, source).into()]);
    }
    Some(format!(
        "<h3>Where the uncertainty comes from</h3><ul class=\"plain\">{}</ul>{}",
        sentences.concat(),
        table.without_empty_columns().html()
    ))
}

/// Sources of the horizontal uncertainty, in the order of a feature's shares, with their looks.
fn sources() -> [(&'static str, Look, Mark); 3] {
    let look = |index: usize| Look::other(index);
    [("base", look(1), Mark::Circle), ("direction", look(0), Mark::Triangle), ("distance", look(3), Mark::Square)]
}

/// What a source adds to the uncertainty of a place, as half of a 95 % interval along an axis.
fn part_m(feature: &PageFeature, source: usize) -> f64 {
    let variance = (feature.sigma_m[0].powi(2) + feature.sigma_m[1].powi(2)) / 2.0;
    INTERVAL95 * (variance * feature.shares[source]).sqrt()
}

fn budget(collected: &Collected, length: Shown) -> Option<String> {
    let usable = |feature: &&PageFeature| feature.distance_m.is_finite() && feature.shares.iter().all(|share| share.is_finite());
    let features: Vec<&PageFeature> = collected.features.kept.iter().filter(usable).collect();
    if features.len() < 3 {
        return None;
    }
    let greatest =
        |of: &dyn Fn(&PageFeature) -> f64| features.iter().map(|feature| length.value(of(feature))).fold(0.0, f64::max);
    let (far, most) =
        (greatest(&|feature| feature.distance_m), greatest(&|feature| (0..3).map(|i| part_m(feature, i)).fold(0.0, f64::max)));
    let mut plot = Plot::new(
        [900.0, 340.0],
        [0.0, 1.02 * far],
        [0.0, 1.05 * most],
        [&format!("horizontal distance from the base, {}", length.sign), &format!("± {} (95 %, along an axis)", length.sign)],
    );
    let every = features.len().div_ceil(MOST_PLOTTED);
    for (source, (_, look, mark)) in sources().into_iter().enumerate() {
        let points: Vec<[f64; 2]> = features
            .iter()
            .step_by(every)
            .map(|feature| plot.at(length.value(feature.distance_m), length.value(part_m(feature, source))))
            .collect();
        plot.svg.marks(points.into_iter(), mark, 7.0, &look.colour.to_string());
    }
    for (i, (name, look, mark)) in sources().into_iter().enumerate() {
        let at = [plot.frame[0] + 24.0 + 110.0 * i as f64, plot.frame[1] + 12.0];
        plot.svg.mark(None, at, mark, 9.0, &look.colour.to_string(), stroke("#ffffff", 0.0));
        plot.svg.text([at[0] + 10.0, at[1] + 4.0], Anchor::Start, PLAIN, name);
    }
    let shown = if every > 1 { format!(" One of {every} features is drawn.") } else { String::new() };
    let caption = format!(
        "What the uncertainty of a place is made of. Where direction lies on top, stand nearer or shoot back to a known point; where base does, \
         observe longer.{shown}"
    );
    let svg = plot.svg.finish("Parts of the horizontal uncertainty over distance: base, direction, distance");
    Some(format!(
        "<h3>Uncertainty over distance, by source</h3>{}{}",
        figure(&svg, &caption),
        budget_table(&features, far, length).html()
    ))
}

/// What the height of a feature is good to, over distance: what lies above the floor of the bases grows with it.
fn heights(collected: &Collected, length: Shown) -> Option<String> {
    let usable = |feature: &&PageFeature| feature.distance_m.is_finite() && feature.height95_m.is_finite();
    let features: Vec<&PageFeature> = collected.features.kept.iter().filter(usable).collect();
    if features.len() < 3 {
        return None;
    }
    let greatest =
        |of: &dyn Fn(&PageFeature) -> f64| features.iter().map(|feature| length.value(of(feature))).fold(0.0, f64::max);
    let (far, most) = (greatest(&|feature| feature.distance_m), greatest(&|feature| feature.height95_m));
    let mut plot = Plot::new(
        [900.0, 240.0],
        [0.0, 1.02 * far],
        [0.0, 1.05 * most],
        [&format!("horizontal distance from the base, {}", length.sign), &format!("height ± {} (95 %)", length.sign)],
    );
    let look = Look::other(1);
    let every = features.len().div_ceil(MOST_PLOTTED);
    let points: Vec<[f64; 2]> = features
        .iter()
        .step_by(every)
        .map(|feature| plot.at(length.value(feature.distance_m), length.value(feature.height95_m)))
        .collect();
    plot.svg.marks(points.into_iter(), Mark::Circle, 6.0, &look.colour.to_string());
    let caption = "What remains near the base is the height of the base itself; what grows with distance is the inclination, and on steep sights the distance.";
    let svg = plot.svg.finish("Half of the 95 % interval of heights over distance");
    Some(format!("<h3>Uncertainty of heights over distance</h3>{}", figure(&svg, caption)))
}

/// `far` is the greatest distance in the unit of lengths.
fn budget_table(features: &[&PageFeature], far: f64, length: Shown) -> Table {
    let step = round_step(far / 6.0);
    let mut table = Table::new("budget", "Middle value (median) by distance")
        .text("distance")
        .number("features", "")
        .number("base, ±", length.sign)
        .number("direction, ±", length.sign)
        .number("distance, ±", length.sign)
        .number("within (95 %)", length.sign)
        .number("height, ±", length.sign);
    let classes = (far / step).ceil().max(1.0) as usize;
    for class in 0..classes {
        let (from, to) = (class as f64 * step, (class + 1) as f64 * step);
        let last = class + 1 == classes;
        let of_class: Vec<&&PageFeature> = features
            .iter()
            .filter(|feature| {
                let far = length.value(feature.distance_m);
                far >= from && (far < to || last)
            })
            .collect();
        if of_class.is_empty() {
            continue;
        }
        let median = |of: &dyn Fn(&PageFeature) -> f64| {
            let mut values: Vec<f64> =
                of_class.iter().map(|feature| length.value(of(feature))).filter(|value| value.is_finite()).collect();
            values.sort_by(f64::total_cmp);
            values.get(values.len() / 2).map(|value| two_digits(*value)).unwrap_or_default()
        };
        let decimals = step_decimals(step);
        table.row(vec![
            TableCell::from(format!("{} to {} {}", fixed(from, decimals), fixed(to, decimals), length.sign)),
            TableCell::from(of_class.len().to_string()),
            TableCell::from(median(&|feature| part_m(feature, 0))),
            TableCell::from(median(&|feature| part_m(feature, 1))),
            TableCell::from(median(&|feature| part_m(feature, 2))),
            TableCell::from(median(&|feature| feature.radius95_m)),
            TableCell::from(median(&|feature| feature.height95_m)),
        ]);
    }
    table.without_empty_columns()
}

fn spread(collected: &Collected, length: Shown) -> Option<String> {
    let radii = &collected.radii_m;
    if radii.len() < 8 {
        return None;
    }
    let [half, most_of_them, most] = at_shares(radii, [0.5, 0.95, 0.99])?.map(|radius| length.value(radius));
    // Beyond `most` few are left, and a single one would press the rest together.
    let step = round_step(most / 14.0);
    let classes = (most / step).ceil().max(1.0) as usize;
    let mut counts = vec![0u64; classes + 1];
    radii.iter().for_each(|radius| counts[((length.value(f64::from(*radius)) / step) as usize).min(classes)] += 1);
    let highest = counts.iter().copied().max().unwrap_or(1);
    let mut plot = Plot::new(
        [900.0, 240.0],
        [0.0, (classes + 1) as f64 * step],
        [0.0, highest as f64],
        [&format!("within (95 %), {}", length.sign), "features"],
    );
    let colour = Look::standard("ellipses").map(|look| look.colour.to_string()).unwrap_or_else(|| INK.to_owned());
    for (class, count) in counts.iter().enumerate() {
        let ([left, top], [right, bottom]) =
            (plot.at(class as f64 * step, *count as f64), plot.at((class + 1) as f64 * step, 0.0));
        let bar = [[left + 1.0, top], [right - 1.0, top], [right - 1.0, bottom], [left + 1.0, bottom]];
        plot.svg.polygon(&bar, (&colour, 0.55), stroke(&colour, 1.0));
    }
    for (radius, name) in [(half, "half"), (most_of_them, "95 %")] {
        let x = radius.min((classes + 1) as f64 * step);
        let ([px, top], [_, bottom]) = (plot.at(x, highest as f64), plot.at(x, 0.0));
        plot.svg.line([px, top], [px, bottom], Stroke { colour: INK, width: 1.5, dashes: "5 3" });
        plot.svg.text([px + 5.0, top + 12.0], Anchor::Start, PLAIN, name);
    }
    let mut table = Table::new("spread", "Places within, at 95 % probability")
        .text("features")
        .number("horizontally", length.sign)
        .number("in height", length.sign);
    let of = |values: &[f32]| {
        at_shares(values, [0.5, 0.9, 0.95, 1.0])
            .map_or_else(Default::default, |shares| shares.map(|share| two_digits(length.value(share))))
    };
    let names = ["half of them", "90 %", "95 %", "all"];
    for (name, (radius, height)) in names.into_iter().zip(of(radii).into_iter().zip(of(&collected.heights_m))) {
        table.row(vec![name.into(), radius.into(), height.into()]);
    }
    let caption = "How many features have their place within how much; the last bar holds all beyond.";
    let svg = plot.svg.finish("Features by the radius that holds them with 95 % probability");
    Some(format!("<h3>Spread of the uncertainties</h3>{}{}", figure(&svg, caption), table.without_empty_columns().html()))
}

fn bases(collected: &Collected) -> Option<Table> {
    let (length, angle) = (collected.units.length(), collected.units.angle());
    let mut table = Table::new("bases", "Bases")
        .text("name")
        .number("features", "")
        .number("place within ±", length.sign)
        .number("height within ±", length.sign)
        .number("convergence", angle.sign)
        .number("azimuths corrected", angle.sign)
        .number("backsights", "")
        .number("fixes", "")
        .number("their spread", length.sign)
        .text("kind of fix")
        .number("worst HDOP", "")
        .text("placed by")
        .text("source")
        .text("flags");
    for base in collected.bases.kept.iter().take(MOST_BASES) {
        table.row(base_cells(base, [length, angle]));
        if let Some(row) = table.rows.last_mut() {
            row.warned = !base.flags.is_empty();
        }
    }
    if collected.bases.seen > table.rows.len() as u64 {
        table.note = format!("{} of {} bases; the bases layer has them all.", table.rows.len(), grouped(collected.bases.seen));
    }
    (!table.rows.is_empty()).then(|| table.without_empty_columns())
}

fn base_cells(base: &PageBase, [length, angle]: [Shown; 2]) -> Vec<TableCell> {
    let known = |value: f64, text: String| if value.is_finite() { text } else { String::new() };
    let count = |value: Option<i64>| value.map(|value| value.to_string()).unwrap_or_default();
    let placed_by = if base.placed_by == "log" { "" } else { base.placed_by.as_str() };
    vec![
        TableCell::from(base.name.as_str()),
        TableCell::from(grouped(base.shots.max(0) as u64)),
        TableCell::from(known(base.sigma_horizontal_m, two_digits(length.value(INTERVAL95 * base.sigma_horizontal_m)))),
        TableCell::from(known(base.sigma_vertical_m, two_digits(length.value(INTERVAL95 * base.sigma_vertical_m)))),
        TableCell::from(known(base.convergence_deg, fixed(angle.value(base.convergence_deg), 3))),
        TableCell::from(known(
            base.correction_deg,
            plus_minus(angle.value(base.correction_deg), angle.value(INTERVAL95 * base.sigma_correction_deg)),
        )),
        TableCell::from(count(base.backsights)),
        TableCell::from(count(base.epochs)),
        TableCell::from(known(base.spread_m, fixed(length.value(base.spread_m), 2))),
        TableCell::from(base.fix_kind.as_str()),
        TableCell::from(known(base.hdop, fixed(base.hdop, 1))),
        TableCell::from(placed_by),
        TableCell::from(base.line.map(|line| format!("{}:{line}", base.file)).unwrap_or_default()),
        TableCell::from(base.flags.replace(' ', ", ").replace('_', " ")),
    ]
}

fn network(collected: &Collected, account: &Account) -> Option<String> {
    let network = account.network.as_ref()?;
    let sentences: Vec<String> =
        network.lines(&collected.units).iter().map(|sentence| format!("<li>{}</li>", escaped(sentence))).collect();
    let mut html = format!("<h3>Network</h3><ul class=\"plain\">{}</ul>", sentences.concat());
    html.push_str(&traverses(network, &collected.units).map(|table| table.html()).unwrap_or_default());
    let mut table = Table::new("residuals", "Readings after adjustment, the worst first")
        .text("reading")
        .text("from")
        .text("to")
        .number("residual", "")
        .text("unit")
        .number("normalised", "")
        .number("critical value", "")
        .number("redundancy", "")
        .number("smallest blunder found", "")
        .text("outcome")
        .text("source");
    let known = |value: f64, decimals: i32| if value.is_finite() { fixed(value, decimals) } else { String::new() };
    for residual in collected.residuals.iter().take(MOST_READINGS) {
        let unit = collected.units.of_unit(&residual.unit);
        let known_in = |value: f64, decimals: i32| known(unit.map_or(value, |unit| unit.value(value)), decimals);
        table.row(vec![
            TableCell::from(residual.kind.as_str()),
            TableCell::from(residual.from.as_str()),
            TableCell::from(residual.to.as_str()),
            TableCell::from(known_in(residual.residual, 3)),
            TableCell::from(unit.map_or(residual.unit.as_str(), |unit| unit.sign)),
            TableCell::from(known(residual.normalised, 2)),
            TableCell::from(known(residual.critical, 2)),
            TableCell::from(known(residual.redundancy, 2)),
            TableCell::from(known_in(residual.smallest_blunder, 2)),
            TableCell::from(residual.outcome.as_str()),
            TableCell::from(residual.line.map(|line| format!("{}:{line}", residual.file)).unwrap_or_default()),
        ]);
        if let Some(row) = table.rows.last_mut() {
            row.warned = residual.normalised.abs() > residual.critical;
        }
    }
    table.note = "A reading whose normalised residual passes the critical value does not fit the others; redundancy is how well others check it, \
                  from 0 (not at all) to 1."
        .to_owned();
    if collected.readings > table.rows.len() as u64 {
        table.note.push_str(&format!(
            " {} of {} readings; the residuals layer has them all.",
            table.rows.len(),
            grouped(collected.readings)
        ));
    }
    if !table.rows.is_empty() {
        html.push_str(&table.without_empty_columns().html());
    }
    Some(html)
}

/// Traverses and how they close, before adjustment.
fn traverses(network: &NetworkSummary, units: &Units) -> Option<Table> {
    let (length, angle) = (units.length(), units.angle());
    let mut table = Table::new("traverses", "Traverses, before adjustment")
        .text("through")
        .number("length", length.sign)
        .number("misclosure", length.sign)
        .number("1 in", "")
        .number("up", length.sign)
        .number("of the angles", angle.sign);
    let some = |value: Option<f64>, decimals: i32| value.map(|value| fixed(value, decimals)).unwrap_or_default();
    for traverse in &network.traverses.records {
        table.row(vec![
            TableCell::from(traverse.stations.join(" – ")),
            TableCell::from(fixed(length.value(traverse.length_m), 1)),
            TableCell::from(fixed(length.value(traverse.misclosure_m), 2)),
            TableCell::from(some(traverse.ratio, 0)),
            TableCell::from(some(traverse.up_m.map(|up| length.value(up)), 2)),
            TableCell::from(some(traverse.angular_deg.map(|degrees| angle.value(degrees)), 3)),
        ]);
    }
    if network.traverses.count > table.rows.len() as u64 {
        table.note = format!("{} of {}, the worst first.", table.rows.len(), grouped(network.traverses.count));
    }
    (!table.rows.is_empty()).then(|| table.without_empty_columns())
}

fn repeats_table(collected: &Collected, length: Shown) -> Option<Table> {
    let repeated = |feature: &&PageFeature| feature.used > 1 || feature.aside > 0;
    let mut list: Vec<&PageFeature> = collected.features.kept.iter().filter(repeated).collect();
    let scatter = |feature: &PageFeature| if feature.spread_m.is_finite() { feature.spread_m } else { -1.0 };
    list.sort_by(|a, b| scatter(b).total_cmp(&scatter(a)));
    let mut table = Table::new("repeats", "Features shot more than once")
        .text("name")
        .number("shots joined", "")
        .number("left out", "")
        .number("scatter about the point", length.sign)
        .number("within (95 %)", length.sign)
        .text("base");
    let known = |value: f64, text: String| if value.is_finite() { text } else { String::new() };
    let total = list.len();
    for feature in list.into_iter().take(MOST_REPEATED) {
        table.row(vec![
            TableCell::from(feature.name.as_str()),
            TableCell::from(feature.used.to_string()),
            TableCell::from(if feature.aside > 0 { feature.aside.to_string() } else { String::new() }),
            TableCell::from(known(feature.spread_m, fixed(length.value(feature.spread_m), 2))),
            TableCell::from(known(feature.radius95_m, two_digits(length.value(feature.radius95_m)))),
            TableCell::from(&*feature.base),
        ]);
    }
    if total > table.rows.len() {
        table.note = format!("{} of {}.", table.rows.len(), grouped(total as u64));
    }
    (!table.rows.is_empty()).then(|| table.without_empty_columns())
}
