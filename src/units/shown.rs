//! The units in which people read results: `[units]` of a job.
//!
//! Everything is computed in metres and degrees; what people read goes through [`Units`] on its way out. A quantity's name ends with
//! its unit (`height_m`), and so does the name that it is shown by (`height_usft`). Factors are exact by definition: the international
//! foot 0.3048 m and the US survey foot 1200/3937 m (NIST Special Publication 811, 2008 edition, appendix B.6; the survey foot was
//! withdrawn on 1 January 2023 and stays in use with older State Plane coordinates), the acre of 43,560 square feet and the cubic yard
//! of 27 cubic feet (NIST Handbook 44, appendix C; the foot is the international one), the hectare of 10,000 m² (BIPM, The International
//! System of Units, 9th edition, table 8), the gon of π/200 rad (SP 811, appendix B.8).

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A unit of length.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema, clap::ValueEnum)]
#[serde(rename_all = "snake_case")]
pub enum LengthShown {
    /// Metre.
    #[default]
    M,
    /// International foot, 0.3048 m.
    Ft,
    /// US survey foot, 1200/3937 m.
    Usft,
}

/// A unit of area.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum AreaShown {
    /// Square metre.
    M2,
    /// Square international foot.
    Ft2,
    /// Square US survey foot.
    Usft2,
    /// Hectare.
    Ha,
    /// Acre of 43,560 square international feet.
    Acre,
}

/// A unit of volume.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum VolumeShown {
    /// Cubic metre.
    M3,
    /// Cubic international foot.
    Ft3,
    /// Cubic US survey foot.
    Usft3,
    /// Cubic yard of 27 cubic international feet.
    Yd3,
}

/// A unit of angle.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema, clap::ValueEnum)]
#[serde(rename_all = "snake_case")]
pub enum AngleShown {
    /// Degree.
    #[default]
    Deg,
    /// Gon: 400 make a circle.
    Gon,
}

/// The units of everything that a person reads: attributes, standard errors, measurements, values, the terminal, the page. The
/// geometry of the layers stays in the unit of their CRS, eastings, northings, latitudes and longitudes with it; the numbers of
/// `summary.json` stay in metres and degrees, and a key of the job is in the unit that its name ends with.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Units {
    /// Of lengths, heights and their standard errors: `m`, `ft` (international, 0.3048 m) or `usft` (US survey, 1200/3937 m).
    /// Default: `m`.
    #[serde(default)]
    pub length: LengthShown,
    /// Of areas: `m2`, `ft2`, `usft2`, `ha` or `acre`. Default: the square of the length.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub area: Option<AreaShown>,
    /// Of volumes: `m3`, `ft3`, `usft3` or `yd3`. Default: the cube of the length.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub volume: Option<VolumeShown>,
    /// Of angles: `deg` or `gon`. Default: `deg`.
    #[serde(default)]
    pub angle: AngleShown,
}

/// How values of one unit are shown in another: times `times`, through `by`, which keeps factors exact that are quotients.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shown {
    /// The unit behind a field's name.
    pub suffix: &'static str,
    /// The unit as people write it.
    pub sign: &'static str,
    /// The unit in full.
    pub words: &'static str,
    times: f64,
    by: f64,
}

/// Metres in an international foot.
const FOOT_M: f64 = 0.3048;
/// US survey feet in 1,200 metres, and those.
const SURVEY_FEET: f64 = 3937.0;
const OF_METRES: f64 = 1200.0;

impl Shown {
    const fn new(suffix: &'static str, sign: &'static str, words: &'static str, times: f64, by: f64) -> Shown {
        Shown { suffix, sign, words, times, by }
    }

    /// A value in metres, square metres, cubic metres or degrees in this unit.
    pub fn value(&self, value: f64) -> f64 {
        value * self.times / self.by
    }

    /// A value with some decimals, and its unit: `12.3 ft`, `4.5°`.
    pub fn said(&self, value: f64, decimals: usize) -> String {
        self.with_sign(&format!("{:.decimals$}", self.value(value)))
    }

    /// The same with its sign, plus or minus.
    pub fn signed(&self, value: f64, decimals: usize) -> String {
        self.with_sign(&format!("{:+.decimals$}", self.value(value)))
    }

    /// A number and the unit.
    pub fn with_sign(&self, number: &str) -> String {
        let space = if self.sign == "°" { "" } else { " " };
        format!("{number}{space}{}", self.sign)
    }

    /// The unit in a line of text, where degrees are a word.
    pub fn word(&self) -> &'static str {
        if self.sign == "°" { self.suffix } else { self.sign }
    }

    /// A number that somebody gave in metres or degrees: as it was given, and with four digits in another unit.
    pub fn given(&self, value: f64) -> String {
        if self.is_same() {
            return value.to_string();
        }
        let shown = self.value(value);
        let decimals = if shown == 0.0 { 0.0 } else { 3.0 - shown.abs().log10().floor() };
        let text = format!("{shown:.*}", decimals.clamp(0.0, 9.0) as usize);
        match text.contains('.') {
            true => text.trim_end_matches('0').trim_end_matches('.').to_owned(),
            false => text,
        }
    }

    /// What somebody gave, and its unit.
    pub fn told(&self, value: f64) -> String {
        self.with_sign(&self.given(value))
    }

    /// A far distance of so many metres: in kilometres, or the unit itself where that is no metre.
    pub fn far(&self, metres: f64) -> String {
        if self.is_same() { format!("{:.0} km", metres / 1000.0) } else { self.said(metres, 0) }
    }

    /// Whether values are shown as they are.
    pub fn is_same(&self) -> bool {
        self.times == self.by
    }
}

/// A quantity whose name ends with a unit of [`Units`] as it is computed: its metric name, and what its values are to be multiplied by.
pub fn computed(name: &str) -> Option<(String, f64)> {
    let (stem, unit) = name.rsplit_once('_')?;
    let lengths = [LengthShown::Ft, LengthShown::Usft];
    let areas = [AreaShown::Ft2, AreaShown::Usft2, AreaShown::Ha, AreaShown::Acre];
    let volumes = [VolumeShown::Ft3, VolumeShown::Usft3, VolumeShown::Yd3];
    let own = Units::default();
    let shown = lengths
        .map(|length| (Units { length, ..own }.length(), "m"))
        .into_iter()
        .chain(areas.map(|area| (Units { area: Some(area), ..own }.area(), "m2")))
        .chain(volumes.map(|volume| (Units { volume: Some(volume), ..own }.volume(), "m3")))
        .chain([(Units { angle: AngleShown::Gon, ..own }.angle(), "deg")]);
    let mut found = shown.filter(|(shown, _)| shown.suffix == unit);
    found.next().map(|(shown, metric)| (format!("{stem}_{metric}"), shown.by / shown.times))
}

/// Fields that end with a unit and are places: they stay with the CRS.
const PLACES: [&str; 2] = ["lat_deg", "lon_deg"];

impl Units {
    /// Whether everything is shown as it is computed.
    pub fn are_metric(&self) -> bool {
        let own = [self.length(), self.area(), self.volume(), self.angle()];
        own.iter().all(Shown::is_same)
    }

    /// Lengths.
    pub const fn length(&self) -> Shown {
        match self.length {
            LengthShown::M => Shown::new("m", "m", "metres", 1.0, 1.0),
            LengthShown::Ft => Shown::new("ft", "ft", "international feet (0.3048 m)", 1.0, FOOT_M),
            LengthShown::Usft => Shown::new("usft", "US ft", "US survey feet (1200/3937 m)", SURVEY_FEET, OF_METRES),
        }
    }

    /// Areas.
    pub fn area(&self) -> Shown {
        let of_length = match self.length {
            LengthShown::M => AreaShown::M2,
            LengthShown::Ft => AreaShown::Ft2,
            LengthShown::Usft => AreaShown::Usft2,
        };
        match self.area.unwrap_or(of_length) {
            AreaShown::M2 => Shown::new("m2", "m²", "square metres", 1.0, 1.0),
            AreaShown::Ft2 => Shown::new("ft2", "ft²", "square international feet", 1.0, FOOT_M * FOOT_M),
            AreaShown::Usft2 => {
                Shown::new("usft2", "US ft²", "square US survey feet", SURVEY_FEET * SURVEY_FEET, OF_METRES * OF_METRES)
            }
            AreaShown::Ha => Shown::new("ha", "ha", "hectares", 1.0, 10_000.0),
            AreaShown::Acre => Shown::new("acre", "acres", "acres of 43,560 square feet", 1.0, 43_560.0 * FOOT_M * FOOT_M),
        }
    }

    /// Volumes.
    pub fn volume(&self) -> Shown {
        let of_length = match self.length {
            LengthShown::M => VolumeShown::M3,
            LengthShown::Ft => VolumeShown::Ft3,
            LengthShown::Usft => VolumeShown::Usft3,
        };
        let cube = |edge: f64| edge * edge * edge;
        match self.volume.unwrap_or(of_length) {
            VolumeShown::M3 => Shown::new("m3", "m³", "cubic metres", 1.0, 1.0),
            VolumeShown::Ft3 => Shown::new("ft3", "ft³", "cubic international feet", 1.0, cube(FOOT_M)),
            VolumeShown::Usft3 => Shown::new("usft3", "US ft³", "cubic US survey feet", cube(SURVEY_FEET), cube(OF_METRES)),
            VolumeShown::Yd3 => Shown::new("yd3", "yd³", "cubic yards of 27 cubic feet", 1.0, 27.0 * cube(FOOT_M)),
        }
    }

    /// Angles.
    pub fn angle(&self) -> Shown {
        match self.angle {
            AngleShown::Deg => Shown::new("deg", "°", "degrees", 1.0, 1.0),
            AngleShown::Gon => Shown::new("gon", "gon", "gons", 10.0, 9.0),
        }
    }

    /// How the unit of that name is shown: `m`, `m2`, `m3`, `deg`; none of a name that is no such unit.
    pub fn of_unit(&self, unit: &str) -> Option<Shown> {
        match unit {
            "m" => Some(self.length()),
            "m2" => Some(self.area()),
            "m3" => Some(self.volume()),
            "deg" => Some(self.angle()),
            _ => None,
        }
    }

    /// How a quantity is shown whose name ends with its unit, and what of its name stands before that.
    pub fn of_quantity<'n>(&self, name: &'n str) -> Option<(&'n str, Shown)> {
        if PLACES.contains(&name) {
            return None;
        }
        let (stem, unit) = name.rsplit_once('_')?;
        Some((stem, self.of_unit(unit)?))
    }

    /// The name of a quantity in the unit that it is shown in.
    pub fn name(&self, name: &str) -> String {
        match self.of_quantity(name) {
            Some((stem, shown)) => format!("{stem}_{}", shown.suffix),
            None => name.to_owned(),
        }
    }

    /// A value of a quantity whose name ends with its unit.
    pub fn value(&self, name: &str, value: f64) -> f64 {
        self.of_quantity(name).map_or(value, |(_, shown)| shown.value(value))
    }

    /// A quantity as people say it, and its unit as they write it: `vertical_distance_m` is `vertical distance` in `m`.
    pub fn title(&self, name: &str) -> (String, &'static str) {
        if let Some((stem, shown)) = self.of_quantity(name) {
            return (stem.replace('_', " "), shown.sign);
        }
        match name.strip_suffix("_pct") {
            Some(stem) => (stem.replace('_', " "), "%"),
            None => (name.replace('_', " "), ""),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn usft() -> Units {
        Units { length: LengthShown::Usft, angle: AngleShown::Gon, ..Units::default() }
    }

    /// NIST SP 811, appendix B.8: one foot 3.048 E−01 m, one US survey foot 3.048 006 E−01 m, one square foot 9.290 304 E−02 m², one cubic
    /// foot 2.831 685 E−02 m³, one cubic yard 7.645 549 E−01 m³, one hectare 1.0 E+04 m²; a gon 9.0 E−01 degree.
    #[test]
    fn factors_as_published() {
        let one = |units: Units, unit: &str, of: f64| units.of_unit(unit).unwrap().value(of);
        let feet =
            Units { length: LengthShown::Ft, volume: Some(VolumeShown::Yd3), area: Some(AreaShown::Ha), angle: AngleShown::Gon };
        let cases = [
            (one(feet, "m", 0.3048), 1.0, 1e-15),
            (one(usft(), "m", 0.304_800_6), 1.0, 5e-8 / 0.3048),
            (one(usft(), "m", 1200.0), 3937.0, 0.0),
            (one(Units { area: None, ..feet }, "m2", 9.290_304e-2), 1.0, 1e-12),
            (one(Units { volume: None, ..feet }, "m3", 2.831_685e-2), 1.0, 5e-9 / 2.8e-2),
            (one(feet, "m3", 7.645_549e-1), 1.0, 5e-8 / 0.76),
            (one(feet, "m2", 10_000.0), 1.0, 0.0),
            // 43,560 times the square foot above.
            (one(Units { area: Some(AreaShown::Acre), ..feet }, "m2", 43_560.0 * 9.290_304e-2), 1.0, 1e-12),
            (one(feet, "deg", 0.9), 1.0, 1e-15),
            (one(feet, "deg", 90.0), 100.0, 0.0),
        ];
        for (i, (got, want, within)) in cases.into_iter().enumerate() {
            assert!((got - want).abs() <= within, "{i}: {got} is not {want}");
        }
        // The two feet are told apart: by their definitions (0.3048 m and 1200/3937 m) one foot is 0.999 998 US survey foot.
        let (a, b) = (one(feet, "m", 1e6), one(usft(), "m", 1e6));
        assert!((b / a - 0.999_998).abs() < 1e-12, "{a} {b}");
    }

    #[test]
    fn what_was_given_keeps_its_digits_or_four() {
        let (m, ft) = (Units::default().length(), Units { length: LengthShown::Ft, ..Units::default() }.length());
        assert_eq!([0.3, 500.0, 12.3456789].map(|value| m.given(value)), ["0.3", "500", "12.3456789"]);
        // 0.3, 30.48, 500 and 10,000 m over 0.3048 m.
        assert_eq!([0.0, 0.3, 30.48, 500.0, 1e4].map(|value| ft.given(value)), ["0", "0.9843", "100", "1640", "32808"]);
        assert_eq!((ft.said(3.048, 2).as_str(), ft.signed(3.048, 1).as_str()), ("10.00 ft", "+10.0 ft"));
        assert_eq!(Units::default().angle().said(4.5, 1), "4.5°");
    }

    #[test]
    fn what_is_shown_is_read_back() {
        for units in [usft(), Units { length: LengthShown::Ft, ..Units::default() }] {
            for name in ["height_m", "area_m2", "volume_m3", "lean_deg"] {
                let shown = units.name(name);
                match computed(&shown) {
                    Some((metric, factor)) => {
                        assert_eq!(metric, name);
                        assert!((units.value(name, 12.5) * factor - 12.5).abs() < 1e-12, "{shown}");
                    }
                    None => assert_eq!(shown, name),
                }
            }
        }
        assert_eq!(computed("crown_in"), None);
    }

    #[test]
    fn names_tell_the_unit_and_places_stay() {
        let units = usft();
        for (name, shown) in [
            ("height_m", "height_usft"),
            ("height_sigma_m", "height_sigma_usft"),
            ("area_ellipsoid_m2", "area_ellipsoid_usft2"),
            ("volume_m3", "volume_usft3"),
            ("true_azimuth_deg", "true_azimuth_gon"),
            ("lat_deg", "lat_deg"),
            ("easting", "easting"),
            ("grade_pct", "grade_pct"),
            ("time_local", "time_local"),
        ] {
            assert_eq!(units.name(name), shown);
            assert_eq!(Units::default().name(name), name);
        }
        assert_eq!(units.title("vertical_distance_m"), ("vertical distance".to_owned(), "US ft"));
        assert_eq!(units.title("grade_pct"), ("grade".to_owned(), "%"));
        assert_eq!(units.title("wires"), ("wires".to_owned(), ""));
        assert!(Units::default().are_metric() && !units.are_metric());
    }
}
