//! Guesses at what a log's headers mean, for a starter job. Nothing here is used in a run: a person
//! reads the guesses, and decides what is marked with [`UNDECIDED`].

use std::fmt::Write;
use std::path::{Path, PathBuf};

use super::IntakeError;
use super::cell::{CellFormat, WhenError};
use super::columns::{self, LogKind};
use super::dates::Style;
use super::delimited::{Lines, Rows, guess_separator};
use super::numbers::{Evidence, Signs};
use super::{gpx, nmea, text, vector};
use crate::job::UNDECIDED;
use crate::units::{Hemispheres, parse_angle_deg};

/// What a receiver's own log is.
const RECEIVER: &str = "a receiver's NMEA sentences: the places where it stood become the bases";
/// Rows that are looked at.
const ROWS: usize = 200;

/// A log as far as it was looked at.
struct Sample {
    name: String,
    separator: u8,
    decimal_comma: bool,
    encoding: &'static str,
    headers: Vec<String>,
    rows: Vec<Vec<String>>,
    kind: LogKind,
    /// What a log that has no headers to guess at is, for people.
    whole: Option<&'static str>,
}

/// A guess at one column: its canonical name, perhaps undecided, and why.
#[derive(Debug, PartialEq)]
struct Guess {
    canonical: String,
    header: String,
    reason: String,
}

/// The text of a starter job for some logs.
///
/// # Errors
/// When a log cannot be read, or is empty.
pub fn starter_job(paths: &[PathBuf]) -> Result<String, IntakeError> {
    let samples = paths.iter().map(|path| sample(path)).collect::<Result<Vec<_>, _>>()?;
    let mut job = String::new();
    // Writing to a String does not fail.
    let _ = write_job(&mut job, &samples);
    Ok(job)
}

/// A log of bases that needs no column map.
fn whole(path: &Path, encoding: &'static str, whole: &'static str) -> Sample {
    Sample {
        name: path.display().to_string(),
        separator: b',',
        decimal_comma: false,
        encoding,
        headers: Vec::new(),
        rows: Vec::new(),
        kind: LogKind::Bases,
        whole: Some(whole),
    }
}

fn sample(path: &Path) -> Result<Sample, IntakeError> {
    if vector::is_vector(path) {
        return Ok(whole(path, "", "a layer of points; its fields go by their names under [bases.columns]"));
    }
    let text = text::read(path, None)?;
    if nmea::looks_like(&text.text) {
        return Ok(whole(path, text.encoding, RECEIVER));
    }
    if gpx::looks_like(&text.text) {
        return Ok(whole(path, text.encoding, "GPX: waypoints are bases by their names; tracks are fixes of a receiver"));
    }
    let empty = || IntakeError::Columns {
        path: path.to_owned(),
        line: 1,
        problem: "the file is empty; a log needs a header line and rows".into(),
    };
    let is_text = |line: &str| !line.trim().is_empty() && !line.starts_with('#');
    let header = Lines::new(&text.text, b'\0', 1).find(|line| is_text(line.text)).ok_or_else(empty)?;
    let separator = guess_separator(header.text).unwrap_or(b',');
    let mut rows = Rows::default();
    let lines = Lines::new(&text.text, separator, 1).filter(|line| is_text(line.text) && line.number >= header.number);
    lines.take(ROWS + 1).for_each(|line| rows.push(line, separator));
    let mut cut = rows.rows().iter().map(|row| (0..row.fields()).map(|i| rows.cell(row, i).to_owned()).collect::<Vec<_>>());
    let headers = cut.next().ok_or_else(empty)?;
    let rows: Vec<Vec<String>> = cut.filter(|row| row.len() == headers.len() && *row != headers).collect();
    let mut seen = Evidence::default();
    rows.iter().flatten().for_each(|cell| seen.take(cell, 0));
    let decimal_comma = seen.decimal_comma().unwrap_or(false);
    let kind = kind_of(&headers);
    Ok(Sample {
        name: path.display().to_string(),
        separator,
        decimal_comma,
        encoding: text.encoding,
        headers,
        rows,
        kind,
        whole: None,
    })
}

/// The words of a header, in small letters, numbers apart.
fn words(header: &str) -> Vec<String> {
    let mut parts: Vec<String> = vec![String::new()];
    let mut before: Option<char> = None;
    for c in header.chars() {
        let turns = before.is_some_and(|b| (b.is_lowercase() && c.is_uppercase()) || b.is_alphabetic() != c.is_alphabetic());
        if !c.is_alphanumeric() && c != '°' && c != '%' {
            parts.push(String::new());
        } else {
            if turns {
                parts.push(String::new());
            }
            if let Some(last) = parts.last_mut() {
                last.extend(c.to_lowercase());
            }
        }
        before = Some(c);
    }
    parts.retain(|part| !part.is_empty());
    parts
}

fn has(words: &[String], any: &[&str]) -> bool {
    words.iter().any(|word| any.contains(&word.as_str()))
}

const AZIMUTH: [&str; 8] = ["azimuth", "azi", "az", "azm", "azmag", "bearing", "brg", "compass"];
const DISTANCE: [&str; 10] = ["distance", "dist", "sd", "hd", "vd", "range", "slopedist", "horizdist", "slope", "horizontal"];

fn kind_of(headers: &[String]) -> LogKind {
    let any = |list: &[&str]| headers.iter().any(|header| has(&words(header), list));
    let canonical = |kind| headers.iter().filter(|header| columns::parse(&header.to_lowercase(), kind).is_some()).count();
    if any(&AZIMUTH) || canonical(LogKind::Shots) > canonical(LogKind::Bases) { LogKind::Shots } else { LogKind::Bases }
}

/// The unit suffix that a header names, if any.
fn length_unit(words: &[String]) -> Option<&'static str> {
    if has(words, &["usft", "ftus", "sft"]) {
        Some("usft")
    } else if has(words, &["ft", "feet", "foot"]) {
        // Which foot cannot be told from "ft"; for a shot the two are the same within 2 ppm.
        Some("ft")
    } else if has(words, &["m", "metre", "metres", "meter", "meters"]) {
        Some("m")
    } else if has(words, &["yd", "yard", "yards"]) {
        Some("yd")
    } else {
        None
    }
}

fn angle_unit(words: &[String]) -> Option<&'static str> {
    if has(words, &["gon", "grad"]) {
        Some("gon")
    } else if has(words, &["mil", "mils"]) {
        Some("mil")
    } else if has(words, &["deg", "degree", "degrees", "°"]) {
        Some("deg")
    } else {
        None
    }
}

impl Sample {
    fn numbers(&self, column: usize) -> Vec<f64> {
        let mut seen = Evidence::default();
        self.rows.iter().for_each(|row| seen.take(&row[column], 0));
        let decimal_comma = seen.decimal_comma().unwrap_or(self.decimal_comma);
        let signs = Signs { decimal_comma, ..seen.settle(&Default::default(), Some(decimal_comma), self.separator).signs };
        self.rows.iter().filter_map(|row| signs.number(&row[column])).filter(|value| value.abs() < 9999.0).collect()
    }

    fn greatest(&self, column: usize) -> Option<f64> {
        self.numbers(column).into_iter().map(f64::abs).reduce(f64::max)
    }

    /// Guesses, in the order of the columns; none for what is carried through.
    fn guesses(&self) -> Vec<Guess> {
        let mut found: Vec<Guess> = Vec::new();
        for (column, header) in self.headers.iter().enumerate() {
            if columns::parse(&header.to_lowercase(), self.kind).is_some() {
                // Claimed by its own name; nothing to write.
                continue;
            }
            let guess = match self.kind {
                LogKind::Shots => self.guess_shot(column, &words(header)),
                LogKind::Bases | LogKind::Occupations => self.guess_base(column, &words(header)),
            };
            if let Some((canonical, reason)) = guess
                && !found.iter().any(|other| other.canonical == canonical)
            {
                found.push(Guess { canonical, header: header.clone(), reason });
            }
        }
        found
    }

    fn length(&self, quantity: &str, words: &[String], why: &str) -> (String, String) {
        match length_unit(words) {
            Some(unit) => (format!("{quantity}_{unit}"), format!("{why}; the header names the unit")),
            None => (
                format!("{quantity}_{UNDECIDED}"),
                format!("{why}; which unit? put _m, _ft, _usft or _yd in place of _{UNDECIDED}"),
            ),
        }
    }

    fn guess_shot(&self, column: usize, words: &[String]) -> Option<(String, String)> {
        if has(words, &AZIMUTH) {
            let unit = angle_unit(words);
            let north = if has(words, &["mag", "magnetic", "azmag", "compass"]) {
                Some("magnetic")
            } else if has(words, &["true", "geodetic"]) {
                Some("true")
            } else if has(words, &["grid"]) {
                Some("grid")
            } else {
                None
            };
            let mut reason = "an azimuth by its header".to_owned();
            if north.is_none() {
                let _ = write!(reason, "; from which north? put magnetic, true or grid in place of {UNDECIDED}");
            }
            if unit.is_none() {
                let most = self.greatest(column).map(|most| format!(" (values up to {most})")).unwrap_or_default();
                let _ = write!(reason, "; in which unit{most}? put deg, gon or mil");
            }
            return Some((format!("{}_azimuth_{}", north.unwrap_or(UNDECIDED), unit.unwrap_or(UNDECIDED)), reason));
        }
        if has(words, &["inclination", "inc", "incl", "tilt", "vertang", "pitch"]) {
            return Some(self.inclination(column, words, "an inclination by its header"));
        }
        if has(words, &["zenith", "za"]) {
            return Some((format!("zenith_{}", angle_unit(words).unwrap_or("deg")), "a zenith angle by its header".into()));
        }
        if has(words, &["slope"]) && (has(words, &["pct", "percent", "%"])) {
            return Some(("inclination_pct".into(), "a slope in percent by its header".into()));
        }
        if has(words, &["instrument", "hi", "eye"]) && (has(words, &["height", "ht", "hi", "h"])) {
            return Some(self.length("instrument_height", words, "an instrument height by its header"));
        }
        if has(words, &["target", "ht"]) && has(words, &["height", "ht"]) {
            return Some(self.length("target_height", words, "a target height by its header"));
        }
        if has(words, &["hd", "hdist", "horizdist", "horizontal"]) {
            return Some(self.length("horizontal_distance", words, "a horizontal distance by its header"));
        }
        if has(words, &["vd", "vdist", "vertical"]) {
            return Some(self.length("vertical_distance", words, "a vertical distance by its header"));
        }
        if has(words, &["sd", "slopedist", "slope"]) {
            return Some(self.length("slope_distance", words, "a slope distance by its header"));
        }
        if has(words, &DISTANCE) {
            let unit = length_unit(words).unwrap_or(UNDECIDED);
            return Some((
                format!("{UNDECIDED}_distance_{unit}"),
                format!("a distance by its header; put slope or horizontal in place of {UNDECIDED}, and the unit behind it"),
            ));
        }
        self.guess_common(column, words)
    }

    fn inclination(&self, column: usize, words: &[String], why: &str) -> (String, String) {
        if has(words, &["pct", "percent", "%"]) {
            return ("inclination_pct".into(), format!("{why}, in percent"));
        }
        let numbers = self.numbers(column);
        let near_level = numbers.iter().filter(|value| (70.0..110.0).contains(*value)).count();
        if numbers.len() >= 5 && near_level * 5 > numbers.len() * 4 {
            return (
                format!("{UNDECIDED}_deg"),
                format!(
                    "{why}, but its values lie about 90: if 90 is level put zenith in place of {UNDECIDED}, else inclination"
                ),
            );
        }
        match angle_unit(words) {
            Some(unit) => (format!("inclination_{unit}"), format!("{why}; the header names the unit")),
            None => (
                format!("inclination_{UNDECIDED}"),
                format!("{why}; in which unit? put deg, gon, mil or pct in place of {UNDECIDED}"),
            ),
        }
    }

    fn guess_base(&self, column: usize, words: &[String]) -> Option<(String, String)> {
        if has(words, &["lat", "latitude"]) {
            return Some(("lat_deg".into(), "a latitude by its header".into()));
        }
        if has(words, &["lon", "long", "lng", "longitude"]) {
            return Some(("lon_deg".into(), "a longitude by its header".into()));
        }
        if has(words, &["easting", "east", "x"]) {
            return Some(self.length("east", words, "an easting by its header"));
        }
        if has(words, &["northing", "north", "y"]) {
            return Some(self.length("north", words, "a northing by its header"));
        }
        if has(words, &["antenna"]) {
            return Some(self.length("antenna_height", words, "an antenna height by its header"));
        }
        if has(words, &["height", "elevation", "elev", "alt", "altitude", "z", "ht"]) {
            let kind = if has(words, &["ellipsoid", "ellipsoidal", "ell", "hae"]) {
                Some("ellipsoid")
            } else if has(words, &["orthometric", "ortho", "msl"]) {
                Some("orthometric")
            } else {
                None
            };
            let (name, mut reason) =
                self.length(&format!("{}_height", kind.unwrap_or(UNDECIDED)), words, "a height by its header");
            if kind.is_none() {
                let _ = write!(reason, "; above what? put ellipsoid or orthometric in place of the first {UNDECIDED}");
            }
            return Some((name, reason));
        }
        if has(words, &["sigma", "rms", "sd", "std", "accuracy", "uncertainty", "hrms", "vrms"]) {
            if has(words, &["h", "horizontal", "hor", "hz", "hrms"]) {
                return Some(self.length("sigma_horizontal", words, "a horizontal standard error by its header"));
            }
            if has(words, &["v", "vertical", "ver", "vert", "vrms"]) {
                return Some(self.length("sigma_vertical", words, "a vertical standard error by its header"));
            }
        }
        for (canonical, letters, sides) in
            [("lat_deg", Hemispheres::Latitude, ['N', 'S']), ("lon_deg", Hemispheres::Longitude, ['E', 'W'])]
        {
            // A zone such as 32N is no latitude: an angle in parts has more to it.
            let is_angle = |cell: &str| cell.len() > 5 && cell.contains(sides) && parse_angle_deg(cell, letters).is_ok();
            if self.rows.iter().any(|row| is_angle(&row[column])) {
                return Some((canonical.into(), format!("its values are angles with {} or {}", sides[0], sides[1])));
            }
        }
        let named = self.guess_common(column, words);
        if named.is_none() && column == 0 {
            return Some(("base".into(), "the first column, and nothing else is a name".into()));
        }
        named
    }

    fn guess_common(&self, column: usize, words: &[String]) -> Option<(String, String)> {
        let simple: [(&str, &[&str]); 8] = [
            ("base", &["base", "station", "stn", "setup", "occupied"]),
            ("shot", &["shot", "shotid", "no", "id", "num", "number", "uid"]),
            ("date", &["date", "day"]),
            ("time", &["time", "timestamp", "datetime", "utc", "clock"]),
            ("code", &["code", "type", "class"]),
            ("feature", &["feature", "target", "name"]),
            ("instrument", &["instrument", "device"]),
            ("return", &["return", "echo"]),
        ];
        let (canonical, _) =
            simple.into_iter().find(|(name, list)| has(words, list) && columns::parse(name, self.kind).is_some())?;
        let mut reason = format!("{canonical} by its header");
        if canonical == "time" {
            let format = CellFormat::default();
            let first = self.rows.iter().map(|row| row[column].as_str()).find(|cell| !cell.is_empty());
            if first.is_some_and(|cell| format.when(None, Some((cell, Style::default()))) == Err(WhenError::NoZone)) {
                reason.push_str("; its times have no zone: see time_zone below");
            }
        }
        Some((canonical.to_owned(), reason))
    }

    /// The column that names the base, where neither a header nor a guess says it: the one whose values
    /// are names in a base log, else undecided.
    fn guess_base_name(&self, guesses: &[Guess], samples: &[Sample]) -> Option<Guess> {
        let is_said = |header: &String| header.eq_ignore_ascii_case("base");
        if self.headers.iter().any(is_said) || guesses.iter().any(|guess| guess.canonical == "base") {
            return None;
        }
        let names: Vec<&String> = samples
            .iter()
            .filter(|log| log.kind == LogKind::Bases && log.whole.is_none())
            .flat_map(|log| {
                let column = log.headers.iter().position(is_said).unwrap_or(0);
                log.rows.iter().map(move |row| &row[column])
            })
            .collect();
        let known = |column: usize| self.rows.iter().filter(|row| names.contains(&&row[column])).count();
        let found = (0..self.headers.len()).max_by_key(|column| known(*column)).filter(|column| known(*column) > 0);
        let is_receiver = samples.iter().any(|log| log.whole == Some(RECEIVER));
        if found.is_none() && self.kind == LogKind::Shots && is_receiver {
            // The time tells the base.
            return None;
        }
        Some(match found {
            Some(column) => Guess {
                canonical: "base".into(),
                header: self.headers[column].clone(),
                reason: "its values are names in a base log; several columns together are written [\"plot\", \"point\"]".into(),
            },
            None => Guess {
                canonical: "base".into(),
                header: UNDECIDED.into(),
                reason: "which column names the base? several together are written [\"plot\", \"point\"]".into(),
            },
        })
    }

    /// Whether the log has times with no zone of their own.
    fn wants_zone(&self) -> bool {
        let format = CellFormat::default();
        let is_time = |header: &String| has(&words(header), &["time", "timestamp", "datetime", "utc", "clock"]);
        self.headers.iter().enumerate().filter(|(_, header)| is_time(header)).any(|(column, _)| {
            let with_day = |cell: &str| if cell.len() <= 8 { format!("2000-01-01T{cell}") } else { cell.to_owned() };
            self.rows
                .iter()
                .any(|row| format.when(None, Some((&with_day(&row[column]), Style::default()))) == Err(WhenError::NoZone))
        })
    }
}

fn write_job(job: &mut String, samples: &[Sample]) -> std::fmt::Result {
    let quoted = |text: &str| toml::Value::String(text.to_owned()).to_string();
    writeln!(
        job,
        "# A starter job. Read every line, put the answer in place of each {UNDECIDED}, then: standoff check job.toml\n"
    )?;
    writeln!(job, "title = \"\"")?;
    writeln!(job, "name  = \"job\"                # files are named after it")?;
    writeln!(job, "crs   = {}                 # CRS of the layers, such as \"EPSG:32630\"", quoted(UNDECIDED))?;
    for (table, kind) in [("bases", LogKind::Bases), ("shots", LogKind::Shots)] {
        let logs: Vec<&Sample> = samples.iter().filter(|sample| sample.kind == kind).collect();
        let files: Vec<String> =
            if logs.is_empty() { vec![quoted(UNDECIDED)] } else { logs.iter().map(|log| quoted(&log.name)).collect() };
        writeln!(job, "\n[{table}]")?;
        writeln!(job, "files = [{}]", files.join(", "))?;
        if kind == LogKind::Bases {
            let geographic = logs.iter().any(|log| log.headers.iter().any(|header| has(&words(header), &["lat", "latitude"])));
            let hint = if geographic {
                "datum of the latitudes and longitudes: \"EPSG:4979\" for WGS 84 with ellipsoidal heights"
            } else {
                "the CRS that the receiver's coordinates are in"
            };
            writeln!(job, "crs = {}                   # {hint}", quoted(UNDECIDED))?;
        }
        for log in &logs {
            if let Some(whole) = log.whole {
                writeln!(job, "# {}: {whole}", log.name)?;
                continue;
            }
            let separator = match log.separator {
                b'\t' => "tab".to_owned(),
                sign => format!("\"{}\"", sign as char),
            };
            let decimal = if log.decimal_comma { "comma" } else { "point" };
            writeln!(
                job,
                "# {}: separator {separator}, decimal {decimal}, {}, {} rows looked at; all found again on each run",
                log.name,
                log.encoding,
                log.rows.len()
            )?;
        }
        if logs.iter().any(|log| log.wants_zone()) {
            writeln!(
                job,
                "time_zone = {}              # the clock the log was kept by: \"Europe/Oslo\", \"UTC\", \"+02:00\"",
                quoted(UNDECIDED)
            )?;
        }
        let receiver = kind == LogKind::Bases && logs.iter().any(|log| log.whole == Some(RECEIVER));
        if receiver {
            writeln!(job, "\n[bases.occupations]")?;
            writeln!(
                job,
                "from = {}   # \"stops\" (where it stood still), \"shots\" (their own times), or \"list\" (base, start, end)",
                quoted(UNDECIDED)
            )?;
        }
        if !logs.is_empty() && logs.iter().all(|log| log.whole.is_some()) {
            continue;
        }
        writeln!(
            job,
            "\n[{table}.columns]                 # canonical name = the log's own header; all others become attributes"
        )?;
        if let Some(log) = logs.iter().find(|log| log.whole.is_none()) {
            let mut guesses = log.guesses();
            guesses.extend(log.guess_base_name(&guesses, samples));
            for guess in guesses {
                let key = if guess.canonical.contains(UNDECIDED) { quoted(&guess.canonical) } else { guess.canonical.clone() };
                writeln!(job, "{key} = {}  # {}", quoted(&guess.header), guess.reason)?;
            }
        }
        for log in logs.iter().skip(1).filter(|log| log.whole.is_none() && logs[0].whole.is_none()) {
            let missing: Vec<&String> = logs[0].headers.iter().filter(|header| !log.headers.contains(header)).collect();
            if !missing.is_empty() {
                writeln!(
                    job,
                    "# {} has other headers than {}: it lacks {}",
                    log.name,
                    logs[0].name,
                    missing.iter().map(|h| h.as_str()).collect::<Vec<_>>().join(", ")
                )?;
            }
        }
    }
    writeln!(job, "\n[instrument]                     # one standard error each, from the instrument's papers or a test")?;
    for key in ["sigma_distance_m", "sigma_azimuth_deg", "sigma_inclination_deg"] {
        writeln!(job, "{key} = {}", quoted(UNDECIDED))?;
    }
    writeln!(job, "\n[heights]")?;
    writeln!(job, "instrument_height_m = {}   # of the instrument's axis over the base's ground point", quoted(UNDECIDED))?;
    writeln!(
        job,
        "target_height_m = {}       # of the sighted spot over the ground point; 0: heights are those of the spot",
        quoted(UNDECIDED)
    )?;
    if samples.iter().any(|sample| sample.whole.is_some()) {
        writeln!(job, "antenna_height_m = {}      # of a receiver's antenna over the ground point", quoted(UNDECIDED))?;
    }
    writeln!(job, "\n[north]")?;
    writeln!(job, "declination = \"model\"            # for magnetic azimuths; or degrees, east positive, set by hand")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn headers_fall_into_words() {
        assert_eq!(words("HorizDist (m)"), ["horiz", "dist", "m"]);
        assert_eq!(words("AZ_mag°"), ["az", "mag", "°"]);
        assert_eq!(words("stemAzimuth"), ["stem", "azimuth"]);
    }
}
