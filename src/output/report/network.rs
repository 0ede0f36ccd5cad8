//! What came of a network: numbers for `summary.json`, the worst first and the rest counted, and a few lines for the
//! terminal.

use crate::units::Units;
use schemars::JsonSchema;
use serde::Serialize;

use crate::numeric::words::{counted, grouped};

/// Records of one kind that the summary holds; the rest is counted, and the layers have them all.
pub const RECORDS: usize = 100;

/// Records of one kind that the terminal shows.
const SHOWN: usize = 5;

/// A network after its adjustment.
#[derive(Debug, Clone, Default, PartialEq, Serialize, JsonSchema)]
pub struct NetworkSummary {
    /// Stations that were adjusted: bases and features.
    pub stations: u64,
    /// Readings that were adjusted.
    pub readings: u64,
    /// Unknowns.
    pub unknowns: u64,
    /// Degrees of freedom: readings and positions beyond the unknowns.
    pub freedom: u64,
    /// The parts that no reading joins, those first whose variance factor is farthest from 1 for its freedom.
    pub components: Ranked<ComponentSummary>,
    /// Observations that failed their test and were kept: the worst of each component, the worst of them first.
    pub failing: Ranked<TestSummary>,
    /// Observations that failed their test and were taken out, the worst first.
    pub rejected: Ranked<TestSummary>,
    /// Traverses before adjustment, the worst ratio first.
    pub traverses: Ranked<TraverseSummary>,
    /// Scales and constants of instruments, and errors that readings share, as the network found them; by component.
    pub corrections: Ranked<CorrectionSummary>,
    /// How much each kind of reading scatters against its standard error in the job.
    pub scatter: Vec<ScatterSummary>,
    /// What was left out and what is weak, in sentences.
    pub warnings: Ranked<String>,
}

/// Records in order, the first of them.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
#[schemars(rename = "Ranked{T}")]
pub struct Ranked<T> {
    /// How many there are in all.
    pub count: u64,
    /// The first of them.
    pub records: Vec<T>,
}

impl<T> Default for Ranked<T> {
    fn default() -> Ranked<T> {
        Ranked { count: 0, records: Vec::new() }
    }
}

impl<T> Ranked<T> {
    /// The first of records that are in order.
    pub fn keep_first(mut records: Vec<T>) -> Ranked<T> {
        let count = records.len() as u64;
        records.truncate(RECORDS);
        Ranked { count, records }
    }

    /// The count alone.
    fn counted(&self) -> Ranked<T> {
        Ranked { count: self.count, records: Vec::new() }
    }
}

/// A part of a network that no reading joins to the others.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct ComponentSummary {
    /// Its number, as in the layers.
    pub network: u64,
    /// Stations.
    pub stations: u64,
    /// Names of the first of them.
    pub names: Vec<String>,
    /// Stations that no reading checks.
    pub unchecked: u64,
    /// Readings.
    pub readings: u64,
    /// Unknowns.
    pub unknowns: u64,
    /// Degrees of freedom.
    pub freedom: u64,
    /// Sum of squared residuals over variances, divided by the degrees of freedom; null without any.
    pub variance_factor: Option<f64>,
    /// The range in which the global test expects it; null without freedom.
    pub expected: Option<[f64; 2]>,
    /// What the global test says.
    pub outcome: GlobalOutcome,
}

/// What the global test says of residuals and standard errors.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum GlobalOutcome {
    /// They fit.
    Fits,
    /// The residuals are larger than the standard errors allow.
    TooLarge,
    /// They are smaller.
    TooSmall,
    /// Nothing is redundant.
    Untested,
}

/// An observation that failed its test.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct TestSummary {
    /// Number of its component.
    pub network: u64,
    /// The observation in words.
    pub observation: String,
    /// Input file; null for a position or a prior.
    pub file: Option<String>,
    /// Line in it, from 1.
    pub line: Option<u64>,
    /// Normalised residual.
    pub normalised: f64,
    /// The size from which it fails.
    pub critical: f64,
    /// Its error, if it alone is wrong.
    pub blunder: f64,
    /// The unit of that: m, deg or ppm.
    pub unit: String,
    /// Whether another observation fits the blunder as well, so that nothing tells which is wrong.
    pub undecided: bool,
}

/// A traverse and how it closes, before adjustment.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct TraverseSummary {
    /// Number of its component.
    pub network: u64,
    /// Its stations in order.
    pub stations: Vec<String>,
    /// Length in metres.
    pub length_m: f64,
    /// Horizontal misclosure in metres.
    pub misclosure_m: f64,
    /// Carried less known position: east, in metres.
    pub east_m: f64,
    /// North.
    pub north_m: f64,
    /// Up; null where a leg has no height.
    pub up_m: Option<f64>,
    /// N of the ratio 1 : N; null for a misclosure of nothing.
    pub ratio: Option<f64>,
    /// Misclosure of the angles in degrees; null where the bearings carry none.
    pub angular_deg: Option<f64>,
}

/// What the network found of an instrument, or of an error that readings share.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct CorrectionSummary {
    /// Number of the component.
    pub network: u64,
    /// scale, distance constant, or the name of the shared error.
    pub kind: String,
    /// The instrument; null for what is none's.
    pub instrument: Option<String>,
    /// A scale or constant is in the readings: reading = (1 + scale) · distance + constant. A shared error is what has to be
    /// added to the readings.
    pub value: f64,
    /// Its standard error.
    pub sigma: f64,
    /// Its standard error before the adjustment; null for one that was open.
    pub prior_sigma: Option<f64>,
    /// Their unit: m, deg or ppm.
    pub unit: String,
    /// Readings that it is in.
    pub readings: u64,
}

/// How much a kind of reading scatters.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct ScatterSummary {
    /// azimuth, inclination, distance or height difference.
    pub readings_of: String,
    /// The instrument; null where the network tells none apart.
    pub instrument: Option<String>,
    /// What the job's standard errors have to be multiplied by.
    pub factor: f64,
    /// Standard error of that.
    pub sigma_factor: f64,
    /// The standard error of a reading after that.
    pub sigma: f64,
    /// Its unit: m or deg.
    pub unit: String,
    /// Readings.
    pub readings: u64,
}

impl NetworkSummary {
    /// Without what would show where the crew stood: counts, freedom and the outcome of the global tests alone.
    pub fn withheld(&self) -> NetworkSummary {
        let component =
            |component: &ComponentSummary| ComponentSummary { names: Vec::new(), variance_factor: None, ..component.clone() };
        NetworkSummary {
            components: Ranked { count: self.components.count, records: self.components.records.iter().map(component).collect() },
            failing: self.failing.counted(),
            rejected: self.rejected.counted(),
            traverses: self.traverses.counted(),
            corrections: self.corrections.counted(),
            warnings: self.warnings.counted(),
            // How readings scatter follows from where they were taken.
            scatter: Vec::new(),
            ..self.clone()
        }
    }

    /// The lines for people, in their units.
    pub fn lines(&self, units: &Units) -> Vec<String> {
        if self.components.count == 0 {
            let why = match self.warnings.count {
                0 => {
                    "no shots check each other. Shoot a feature from two bases or more, or one base from another, or leave [network] out."
                }
                _ => "what keeps it from that follows.",
            };
            let mut lines = vec![format!("Nothing is adjusted: {why}")];
            add(&mut lines, &self.warnings, "warnings", &String::clone);
            return lines;
        }
        let parts = match self.components.count {
            1 => "Network".to_owned(),
            count => format!("{} networks", grouped(count)),
        };
        let mut lines = vec![format!(
            "{parts} of {}, {}, {}, {} redundant.",
            counted(self.stations, "station", "stations"),
            counted(self.readings, "reading", "readings"),
            counted(self.unknowns, "unknown", "unknowns"),
            grouped(self.freedom)
        )];
        add(&mut lines, &self.components, "networks", &|component: &ComponentSummary| component.line(self.components.count > 1));
        add(&mut lines, &self.failing, "readings that fail their test", &|test: &TestSummary| test.line("Fails its test", units));
        add(&mut lines, &self.rejected, "readings rejected by test", &|test: &TestSummary| test.line("Rejected by test", units));
        add(&mut lines, &self.warnings, "warnings", &String::clone);
        let by_kind = |correction: &CorrectionSummary| correction.line(self.components.count > 1, units);
        add(&mut lines, &self.corrections, "corrections", &by_kind);
        add(&mut lines, &self.traverses, "traverses", &|traverse: &TraverseSummary| traverse.line(units));
        lines.extend(self.scatter.iter().map(|scatter| scatter.line(units)));
        lines
    }
}

/// The first records, and how many more there are.
fn add<T>(lines: &mut Vec<String>, ranked: &Ranked<T>, what: &str, line: &dyn Fn(&T) -> String) {
    lines.extend(ranked.records.iter().take(SHOWN).map(line));
    let shown = ranked.records.len().min(SHOWN) as u64;
    let more = ranked.count - shown;
    match (shown, more) {
        (_, 0) => {}
        (0, _) => lines.push(format!("{} {what}", grouped(more))),
        _ => lines.push(format!("and {} more {what}", grouped(more))),
    }
}

/// Values of a unit as they are shown, and the unit in a line of text.
fn in_units<'u, const N: usize>(units: &Units, unit: &'u str, values: [f64; N]) -> (&'u str, [f64; N]) {
    match units.of_unit(unit) {
        Some(shown) => (shown.word(), values.map(|value| shown.value(value))),
        None => (unit, values),
    }
}

impl ComponentSummary {
    fn line(&self, is_one_of_several: bool) -> String {
        let rest = if (self.names.len() as u64) < self.stations { " …" } else { "" };
        let which = match (is_one_of_several, self.names.as_slice()) {
            (false, _) => String::new(),
            (true, []) => format!("Network {} of {}: ", self.network, counted(self.stations, "station", "stations")),
            (true, names) => {
                format!(
                    "Network {} of {} ({}{rest}): ",
                    self.network,
                    counted(self.stations, "station", "stations"),
                    names.join(", ")
                )
            }
        };
        let (Some(factor), Some([least, greatest])) = (self.variance_factor, self.expected) else {
            return format!("{which}There is no redundant reading: nothing can be tested.");
        };
        let range =
            format!("variance factor {factor:.2}, expected {least:.2} to {greatest:.2}, {} redundant", grouped(self.freedom));
        let says = match self.outcome {
            GlobalOutcome::TooLarge => {
                return format!(
                    "{which}The residuals are larger than the standard errors given allow ({range}): look for a wrong reading, or the \
                     standard errors are too small."
                );
            }
            GlobalOutcome::TooSmall => ": the standard errors may be too large",
            GlobalOutcome::Fits | GlobalOutcome::Untested => "",
        };
        let verb = if says.is_empty() { "fit" } else { "are smaller than" };
        format!("{which}The residuals {verb} the standard errors given ({range}){says}.")
    }
}

impl TestSummary {
    fn line(&self, what: &str, units: &Units) -> String {
        let row = match (&self.file, self.line) {
            (Some(file), Some(line)) => format!("{file}:{line}: "),
            _ => String::new(),
        };
        let decimals = if self.unit == "ppm" { 0 } else { 2 };
        let (unit, [blunder]) = in_units(units, &self.unit, [self.blunder]);
        let undecided = if self.undecided { " Another reading fits the blunder as well." } else { "" };
        let mut letters = self.observation.chars();
        let observation: String = letters.next().iter().flat_map(|first| first.to_uppercase()).chain(letters).collect();
        format!(
            "{what}: {row}{observation} seems off by {blunder:.decimals$} {unit} (normalised residual {:.1}, limit {:.1}).{undecided}",
            self.normalised, self.critical
        )
    }
}

impl TraverseSummary {
    fn line(&self, units: &Units) -> String {
        let (length, angle) = (units.length(), units.angle());
        let ends = match self.stations.as_slice() {
            [first, .., last] if self.stations.len() > 8 => format!("{first} - … - {last} ({} stations)", self.stations.len()),
            names => names.join(" - "),
        };
        let ratio = self.ratio.map_or(String::new(), |ratio| format!(", 1 : {ratio:.0}"));
        let up = self.up_m.map_or(String::new(), |up| format!(", height {}", length.signed(up, 2)));
        let angles =
            self.angular_deg.map_or(String::new(), |degrees| format!(", angles {:+.2} {}", angle.value(degrees), angle.word()));
        format!(
            "Traverse {ends}: {} long, closes within {} (east {:+.2}, north {:+.2}){ratio}{up}{angles}; before adjustment.",
            length.said(self.length_m, 1),
            length.said(self.misclosure_m, 2),
            length.value(self.east_m),
            length.value(self.north_m)
        )
    }
}

impl CorrectionSummary {
    fn line(&self, is_one_of_several: bool, units: &Units) -> String {
        let of = self.instrument.as_ref().map_or(String::new(), |instrument| format!(" of {instrument}"));
        let decimals = match self.unit.as_str() {
            "ppm" => 0,
            "deg" => 2,
            _ => 3,
        };
        let (unit, [value, sigma]) = in_units(units, &self.unit, [self.value, self.sigma]);
        let network = if is_one_of_several { format!(", network {}", self.network) } else { String::new() };
        format!(
            "Found: {}{of} {value:+.decimals$} {unit} (standard error {sigma:.decimals$}, {}{network})",
            self.kind,
            counted(self.readings, "reading", "readings")
        )
    }
}

impl ScatterSummary {
    fn line(&self, units: &Units) -> String {
        let (unit, [sigma]) = in_units(units, &self.unit, [self.sigma]);
        let of = self.instrument.as_ref().map_or(String::new(), |instrument| format!(" of {instrument}"));
        format!(
            "The {} readings{of} scatter {:.2} times as much as the job says (standard error of that {:.2}): {sigma:.3} {unit}, from {}.",
            self.readings_of,
            self.factor,
            self.sigma_factor,
            counted(self.readings, "reading", "readings")
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn traverse(ratio: f64) -> TraverseSummary {
        TraverseSummary {
            network: 1,
            stations: vec!["A".into(), "T".into(), "B".into()],
            length_m: 100.0,
            misclosure_m: 100.0 / ratio,
            east_m: 100.0 / ratio,
            north_m: 0.0,
            up_m: None,
            ratio: Some(ratio),
            angular_deg: None,
        }
    }

    #[test]
    fn many_records_are_counted() {
        let traverses = Ranked::keep_first((0..2016).map(|k| traverse(100.0 + f64::from(k))).collect());
        assert_eq!((traverses.count, traverses.records.len()), (2016, RECORDS));
        assert_eq!(NetworkSummary::default().lines(&Units::default()).len(), 1);
        let said =
            NetworkSummary { warnings: Ranked::keep_first(vec!["Base A stands alone.".to_owned()]), ..NetworkSummary::default() };
        let said = said.lines(&Units::default());
        assert_eq!(said, ["Nothing is adjusted: what keeps it from that follows.", "Base A stands alone."]);
        let failing = TestSummary {
            network: 1,
            observation: "the azimuth from A to T".into(),
            file: Some("shots.csv".into()),
            line: Some(7),
            normalised: -8.25,
            critical: 3.2905,
            blunder: 4.5,
            unit: "deg".into(),
            undecided: false,
        };
        let summary = NetworkSummary {
            components: Ranked { count: 1, records: Vec::new() },
            failing: Ranked::keep_first(vec![failing]),
            traverses,
            ..NetworkSummary::default()
        };
        let lines = summary.lines(&Units::default());
        // The failed test stands before all traverses, and a few lines say all.
        assert_eq!(
            lines[2],
            "Fails its test: shots.csv:7: The azimuth from A to T seems off by 4.50 deg (normalised residual -8.2, limit 3.3)."
        );
        assert_eq!(
            lines[3],
            "Traverse A - T - B: 100.0 m long, closes within 1.00 m (east +1.00, north +0.00), 1 : 100; before adjustment."
        );
        assert_eq!((lines.len(), lines[8].as_str()), (9, "and 2 011 more traverses"));
        // Where places are withheld, counts alone.
        let withheld = summary.withheld();
        assert!(withheld.failing.records.is_empty() && withheld.traverses.count == 2016);
        assert!(!serde_json::to_string(&withheld).unwrap_or_default().contains("\"A\""));
    }
}
