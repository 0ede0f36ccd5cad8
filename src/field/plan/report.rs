//! A whole plan: what is asked, and everything that follows from it, ready to show or to write as
//! JSON. Angles here are in degrees, as they are asked for.

use serde::Serialize;

use super::dominance::{ErrorPart, Stretch, stretches};
use super::errors::PlanErrors;
use super::height::{HeightPlan, SightedObject};
use super::{Axis, Farthest, REACH_M};
use crate::units::{Shown, Units};

/// What is said at the end of every plan.
pub const CAUTIONS: [&str; 3] = [
    "Mapping grade: not for a boundary, right-of-way or certified survey. A compass near steel, a vehicle or a power line is \
     wrong by more than its standard error.",
    "Choose the standing point first, then the shot: no gain in accuracy justifies an edge, a road or an energised line.",
    "Lasers: follow the label; do not aim at people, vehicles, aircraft or into optics.",
];

/// What is asked.
#[derive(Debug, Clone, PartialEq)]
pub struct PlanRequest {
    /// What the plan is for, for people.
    pub title: Option<String>,
    /// The standard errors.
    pub errors: PlanErrors,
    /// Slope distances of the table in metres, above 0 and at most [`REACH_M`], each once.
    pub distances_m: Vec<f64>,
    /// Inclinations of the table in degrees, within ±90, each once.
    pub inclinations_deg: Vec<f64>,
    /// Tolerance of the position, 95 %, in metres.
    pub tolerance_m: Option<f64>,
    /// Tolerance of a height, 95 %, in metres.
    pub height_tolerance_m: Option<f64>,
    /// The object of a height measurement.
    pub object: Option<SightedObject>,
}

/// A cell of the table.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct PlanCell {
    /// Slope distance in metres.
    pub slope_distance_m: f64,
    /// Inclination in degrees.
    pub inclination_deg: f64,
    /// Radius of the circle that holds the point with 95 % probability, in metres.
    pub radius95_m: f64,
    /// Half of the 95 % interval of the height, in metres.
    pub height95_m: f64,
    /// Shares in the variance of the position.
    pub horizontal_shares: VarianceShares,
    /// Shares in the variance of the height.
    pub vertical_shares: VarianceShares,
}

/// Shares of the parts in a variance; they add up to 1, or are all 0 where it is 0.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct VarianceShares {
    /// Of the base.
    pub base: f64,
    /// Of azimuth, orientation and inclination.
    pub direction: f64,
    /// Of the distance.
    pub distance: f64,
}

impl From<[f64; 3]> for VarianceShares {
    fn from([base, direction, distance]: [f64; 3]) -> VarianceShares {
        VarianceShares { base, direction, distance }
    }
}

/// The farthest standoff within a tolerance at one inclination.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Standoff {
    /// What the tolerance is of.
    pub axis: Axis,
    /// The tolerance, 95 %, in metres.
    pub tolerance_m: f64,
    /// Inclination in degrees.
    pub inclination_deg: f64,
    /// How it came out.
    pub outcome: StandoffSearch,
    /// The farthest slope distance in metres; none where the tolerance is met up to [`REACH_M`] or nowhere.
    pub farthest_m: Option<f64>,
    /// The 95 % uncertainty at a distance of zero in metres, where the tolerance is met nowhere.
    pub least95_m: Option<f64>,
    /// That of the base alone.
    pub base95_m: Option<f64>,
}

/// How the search for a farthest standoff came out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum StandoffSearch {
    /// Found.
    Found,
    /// The tolerance is met at every distance up to [`REACH_M`].
    BeyondReach,
    /// It is met at no distance.
    Never,
}

/// What dominates over a stretch of distances.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Dominance {
    /// Of what.
    pub axis: Axis,
    /// Inclination in degrees.
    pub inclination_deg: f64,
    /// Where and what.
    #[serde(flatten)]
    pub stretch: Stretch,
    /// What to improve.
    pub advice: &'static str,
}

/// A plan.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PlanReport {
    /// What the plan is for.
    pub title: Option<String>,
    /// The standard errors.
    pub errors: PlanErrors,
    /// What to know about them, in metres and degrees.
    pub notes: Vec<String>,
    /// The table, by distance and then by inclination.
    pub table: Vec<PlanCell>,
    /// The farthest standoff for each tolerance and inclination.
    pub farthest: Vec<Standoff>,
    /// The height measurement.
    pub height_measurement: Option<HeightPlan>,
    /// What dominates at the first inclination.
    pub dominance: Vec<Dominance>,
    /// Cautions.
    pub cautions: [&'static str; 3],
}

impl PlanReport {
    /// Computes a plan.
    pub fn new(request: &PlanRequest) -> PlanReport {
        let setup = request.errors.setup();
        let cell = |slope_m: f64, inclination_deg: f64| {
            let expected = setup.sighting(slope_m, inclination_deg.to_radians());
            let covariance = expected.covariance();
            PlanCell {
                slope_distance_m: slope_m,
                inclination_deg,
                radius95_m: Axis::Horizontal.uncertainty95_m(&covariance),
                height95_m: Axis::Vertical.uncertainty95_m(&covariance),
                horizontal_shares: expected.shares(Axis::Horizontal).into(),
                vertical_shares: expected.shares(Axis::Vertical).into(),
            }
        };
        let standoff = |axis: Axis, tolerance_m: f64, inclination_deg: f64| {
            let blank = Standoff {
                axis,
                tolerance_m,
                inclination_deg,
                outcome: StandoffSearch::BeyondReach,
                farthest_m: None,
                least95_m: None,
                base95_m: None,
            };
            match setup.farthest(axis, inclination_deg.to_radians(), tolerance_m) {
                Farthest::At(slope_m) => Standoff { outcome: StandoffSearch::Found, farthest_m: Some(slope_m), ..blank },
                Farthest::Beyond => blank,
                Farthest::Never { base95_m, least95_m } => {
                    Standoff { outcome: StandoffSearch::Never, least95_m: Some(least95_m), base95_m: Some(base95_m), ..blank }
                }
            }
        };
        let tolerances = [(Axis::Horizontal, request.tolerance_m), (Axis::Vertical, request.height_tolerance_m)];
        let inclinations = &request.inclinations_deg;
        let farthest = tolerances
            .iter()
            .filter_map(|(axis, tolerance)| Some((*axis, (*tolerance)?)))
            .flat_map(|(axis, tolerance)| inclinations.iter().map(move |inclination| (axis, tolerance, *inclination)))
            .map(|(axis, tolerance, inclination)| standoff(axis, tolerance, inclination))
            .collect();
        let first_deg = inclinations.first().copied().unwrap_or(0.0);
        let dominance = Axis::ALL
            .into_iter()
            .flat_map(|axis| {
                stretches(&setup, axis, first_deg.to_radians()).into_iter().map(move |stretch| Dominance {
                    axis,
                    inclination_deg: first_deg,
                    stretch,
                    advice: stretch.source.advice(axis),
                })
            })
            .collect();
        let range_m = (request.errors.least_distance_m, request.errors.greatest_distance_m);
        PlanReport {
            title: request.title.clone(),
            notes: request.errors.notes(&Units::default()),
            table: request.distances_m.iter().flat_map(|slope| inclinations.iter().map(|i| cell(*slope, *i))).collect(),
            farthest,
            height_measurement: request.object.map(|object| object.plan(&setup, range_m, request.height_tolerance_m)),
            dominance,
            errors: request.errors.clone(),
            cautions: CAUTIONS,
        }
    }

    /// The plan as JSON, with a line end.
    ///
    /// # Errors
    /// When a number is not finite, which the checks on what is asked do not let through.
    pub fn to_json(&self) -> Result<String, serde_json::Error> {
        Ok(serde_json::to_string_pretty(self)? + "\n")
    }
}

impl Standoff {
    /// The outcome in words.
    pub fn words(&self, greatest_distance_m: Option<f64>, length: &Shown) -> String {
        let tolerance_m = self.tolerance_m;
        match (self.outcome, self.farthest_m, self.least95_m, self.base95_m) {
            (StandoffSearch::Found, Some(slope_m), ..) => {
                let range = match greatest_distance_m {
                    Some(greatest_m) if greatest_m < slope_m => {
                        format!(", but the instrument measures to {} {}", length.given(greatest_m), length.sign)
                    }
                    _ => String::new(),
                };
                format!("up to {} {}{range}", floor(length.value(slope_m)), length.sign)
            }
            (StandoffSearch::Never, _, Some(_), Some(base95_m)) if base95_m > tolerance_m => {
                format!("not even at the base: the receiver alone has {}", length.said(base95_m, 2))
            }
            (StandoffSearch::Never, _, Some(least95_m), _) => {
                format!("at no distance: the receiver and the distance reading alone have {}", length.said(least95_m, 2))
            }
            _ if length.is_same() => format!("met at every distance up to {:.0} km", REACH_M / 1000.0),
            _ => format!("met at every distance up to {} {}", length.given(REACH_M), length.sign),
        }
    }
}

impl Dominance {
    /// One sentence: where, what, and what to improve.
    pub fn sentence(&self, length: &Shown) -> String {
        let Stretch { from_m, to_m, part, source } = self.stretch;
        let about = |metres: f64| about(metres, length);
        let whereabouts = match (from_m > 0.0, to_m) {
            (false, None) => "at every distance".to_owned(),
            (false, Some(to_m)) => format!("up to about {}", about(to_m)),
            (true, None) => format!("from about {} on", about(from_m)),
            (true, Some(to_m)) => format!("from about {} to {}", about(from_m), about(to_m)),
        };
        let what = match (part, self.axis) {
            (ErrorPart::Base, Axis::Horizontal) => "the base's position dominates".to_owned(),
            (ErrorPart::Base, Axis::Vertical) => "the base's height dominates".to_owned(),
            // Nothing else of the direction moves a height.
            (ErrorPart::Direction, Axis::Horizontal) => format!("the direction dominates, most of it {}", source.words()),
            _ => format!("{} dominates", source.words()),
        };
        format!("{whereabouts} {what}: {}", self.advice)
    }
}

/// A farthest distance as it is shown, rounded down, so that it stays within its tolerance.
pub fn floor(shown: f64) -> String {
    if shown < 100.0 { format!("{:.1}", (shown * 10.0).floor() / 10.0) } else { format!("{:.0}", shown.floor()) }
}

/// A nearest distance as it is shown, rounded up likewise.
pub fn ceiling(shown: f64) -> String {
    if shown < 100.0 { format!("{:.1}", (shown * 10.0).ceil() / 10.0) } else { format!("{:.0}", shown.ceil()) }
}

/// A distance for people, with about two digits after the first.
pub fn about(metres: f64, length: &Shown) -> String {
    length.said(metres, if length.value(metres) < 10.0 { 1 } else { 0 })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::field::plan::errors::Sigma;
    use crate::units::{AngleShown, LengthShown};

    /// As it is computed.
    const METRES: Shown = Units { length: LengthShown::M, area: None, volume: None, angle: AngleShown::Deg }.length();

    fn request() -> PlanRequest {
        PlanRequest {
            title: None,
            errors: PlanErrors::assumed(),
            distances_m: vec![50.0, 200.0],
            inclinations_deg: vec![0.0, 30.0],
            tolerance_m: Some(8.0),
            height_tolerance_m: Some(1.0),
            object: None,
        }
    }

    #[test]
    fn the_table_runs_by_distance_then_by_inclination() {
        let report = PlanReport::new(&request());
        let order: Vec<(f64, f64)> = report.table.iter().map(|cell| (cell.slope_distance_m, cell.inclination_deg)).collect();
        assert_eq!(order, [(50.0, 0.0), (50.0, 30.0), (200.0, 0.0), (200.0, 30.0)]);
        assert!(report.table[2].radius95_m > report.table[0].radius95_m);
        assert_eq!(report.farthest.len(), 4);
    }

    #[test]
    fn a_standoff_is_rounded_down_and_says_what_stops_it() {
        let report = PlanReport::new(&request());
        let found = &report.farthest[0];
        let slope_m = found.farthest_m.unwrap();
        assert_eq!(found.words(None, &METRES), format!("up to {:.0} m", slope_m.floor()));
        assert_eq!(
            found.words(Some(90.0), &METRES),
            format!("up to {:.0} m, but the instrument measures to 90 m", slope_m.floor())
        );
        // 1.96 × 5 m.
        assert_eq!(report.farthest[2].words(None, &METRES), "not even at the base: the receiver alone has 9.80 m");
        let mut finer = request();
        finer.errors.sigma_base_horizontal_m = Sigma::given(0.02);
        finer.tolerance_m = Some(0.3);
        let report = PlanReport::new(&finer);
        assert!(
            report.farthest[0]
                .words(None, &METRES)
                .starts_with("at no distance: the receiver and the distance reading alone have 0.5")
        );
        assert_eq!((floor(34.99), ceiling(34.91)), ("34.9".to_owned(), "35.0".to_owned()));
        assert_eq!((floor(134.9), ceiling(134.1)), ("134".to_owned(), "135".to_owned()));
    }

    #[test]
    fn sentences_say_where_what_and_the_remedy() {
        let mut request = request();
        request.errors.sigma_base_horizontal_m = Sigma::given(0.4);
        request.errors.sigma_declination_deg = Sigma::given(0.0);
        let report = PlanReport::new(&request);
        let sentences: Vec<String> =
            report.dominance.iter().filter(|d| d.axis == Axis::Horizontal).map(|of| of.sentence(&METRES)).collect();
        assert_eq!(
            sentences,
            [
                "up to about 32 m the base's position dominates: a better receiver or a longer occupation helps, a better compass \
                 does not",
                "from about 32 m on the direction dominates, most of it the azimuth reading: a better compass, repeated readings or \
                 angles turned from a backsight help, a better receiver does not",
            ]
        );
    }
}
