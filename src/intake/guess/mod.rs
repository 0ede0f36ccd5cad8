//! Guesses at what logs mean, for a starter job. Nothing here is used in a run: a person reads the guesses, and decides what is
//! marked with [`UNDECIDED`], in an editor or asked one after the other (`ask`).
//!
//! `sample` looks at the files, `words` knows the trade's words for headers in twelve languages and `roles` those of measurements,
//! `columns` takes words and values together (`shot` and `base` by the kind of log), `times` sees what dates and times leave open,
//! `wide` knows layouts with several readings in a row.

pub mod ask;
mod base;
mod columns;
mod roles;
mod sample;
mod shot;
mod times;
mod units;
mod wide;
mod words;

use std::path::PathBuf;

use self::ask::Draft;
use self::columns::{Ask, Context, Guess};
use self::sample::{Sample, Whole};
use self::wide::Wide;
use super::IntakeError;
use super::columns::LogKind;
use crate::job::{DateOrder, UNDECIDED};
use crate::numeric::signs::Signs;
use crate::records::kit::{ASSUMED_SIGMA_AZIMUTH_DEG, ASSUMED_SIGMA_DISTANCE_M, ASSUMED_SIGMA_INCLINATION_DEG};
use crate::units::{Hemispheres, parse_angle_deg};

/// The text of a starter job for some logs.
///
/// # Errors
/// When a log cannot be read, or is empty.
pub fn starter_job(paths: &[PathBuf]) -> Result<String, IntakeError> {
    Ok(draft(paths)?.text())
}

/// A starter job with its open questions.
///
/// # Errors
/// As [`starter_job`].
pub fn draft(paths: &[PathBuf]) -> Result<Draft, IntakeError> {
    let read = paths.iter().map(|path| sample::all(path)).collect::<Result<Vec<_>, _>>()?;
    let samples = with_positions_of_rows(read.into_iter().flatten().collect());
    let context = Context::of(&samples);
    let logs: Vec<Log> = samples.iter().map(|sample| Log::of(sample, &context)).collect();
    let mut draft = Draft::default();
    head(&mut draft, &logs);
    for kind in [LogKind::Bases, LogKind::Shots] {
        let of_kind: Vec<&Log> = logs.iter().filter(|log| log.sample.kind == kind).collect();
        table(&mut draft, kind, &of_kind, &logs);
    }
    tail(&mut draft, &logs);
    Ok(draft)
}

/// Where no log is of bases and a log of shots has positions in its rows, it is both: each row has the place that it was shot from.
fn with_positions_of_rows(mut samples: Vec<Sample>) -> Vec<Sample> {
    if samples.iter().any(|sample| sample.kind == LogKind::Bases) {
        return samples;
    }
    let mut bases = Vec::new();
    for sample in samples.iter_mut().filter(|sample| sample.kind == LogKind::Shots && sample.whole.is_none()) {
        let Some(pair) = sample.position_columns() else { continue };
        let is_unique = |column: &usize| {
            let (different, filled) = sample.variety(*column);
            different == filled && filled == sample.rows.len() && words::means(&sample.words(*column), "shot")
        };
        // Several shots from one place have one base between them.
        let mut places: Vec<[&String; 2]> = sample.rows.iter().map(|row| pair.map(|column| &row[column])).collect();
        places.sort_unstable();
        places.dedup();
        let is_shared = places.len() < sample.rows.len();
        let name = (0..sample.headers.len()).find(is_unique).filter(|_| !is_shared);
        let columns = name.map_or_else(|| pair.to_vec(), |name| vec![name]);
        sample.base_columns = columns.iter().map(|column| sample.headers[*column].clone()).collect();
        bases.push(Sample { kind: LogKind::Bases, ..sample.clone() });
    }
    bases.append(&mut samples);
    bases
}

/// A log with what it seems to mean.
struct Log<'s> {
    sample: &'s Sample,
    guesses: Vec<Guess>,
    wide: Option<Wide>,
}

impl<'s> Log<'s> {
    fn of(sample: &'s Sample, context: &Context) -> Log<'s> {
        if sample.whole.is_some() {
            return Log { sample, guesses: Vec::new(), wide: None };
        }
        let wide = if sample.kind == LogKind::Shots { wide::of(sample, context) } else { None };
        let mut guesses = columns::guesses(sample, context);
        if let Some(wide) = &wide {
            let taken = |header: &String| wide.columns.iter().any(|column| sample.headers[*column] == *header);
            guesses.retain(|guess| !guess.headers.iter().any(taken) && guess.canonical != "measure" && guess.canonical != "role");
        }
        Log { sample, guesses, wide }
    }

    /// Whether a canonical column is there, by its own name or a guess.
    fn has(&self, canonical: &str) -> bool {
        self.guesses.iter().any(|guess| guess.canonical.starts_with(canonical))
            || self.sample.headers.iter().any(|header| header.to_lowercase().starts_with(canonical))
    }

    /// Headers that nothing claims.
    fn carried(&self) -> Vec<&str> {
        let claimed = |header: &String| {
            self.guesses.iter().any(|guess| guess.headers.contains(header))
                || super::columns::parse(&header.to_lowercase(), self.sample.kind).is_some()
                || self
                    .wide
                    .as_ref()
                    .is_some_and(|wide| wide.columns.iter().any(|column| self.sample.headers[*column] == *header))
        };
        self.sample.headers.iter().filter(|header| !claimed(header)).map(String::as_str).collect()
    }

    /// Whether times that are read have no zone of their own.
    fn wants_zone(&self) -> bool {
        self.column_of("time").is_some_and(|column| self.sample.filled(column).any(times::wants_zone))
    }

    /// The column of a canonical name, by its own name or a guess.
    fn column_of(&self, canonical: &str) -> Option<usize> {
        let guess = self.guesses.iter().find(|guess| guess.canonical == canonical).map(|guess| guess.headers[0].as_str());
        let own = || self.sample.headers.iter().map(String::as_str).find(|header| header.eq_ignore_ascii_case(canonical));
        guess.or_else(own).and_then(|header| self.sample.column_of(header))
    }

    /// Values of a header, as evidence.
    fn evidence(&self, header: &str) -> String {
        let Some(column) = self.sample.column_of(header) else {
            return format!("the columns are: {}", self.sample.headers.join(", "));
        };
        let values: Vec<&str> = self.sample.filled(column).take(4).collect();
        let numbers = self.sample.numbers(column);
        let range = match (numbers.iter().copied().reduce(f64::min), numbers.iter().copied().reduce(f64::max)) {
            (Some(least), Some(most)) if self.sample.is_numeric(column) => {
                format!("; {} values from {least} to {most}", numbers.len())
            }
            _ => String::new(),
        };
        format!("in {} it reads {}{range}", self.sample.label(), values.join(", "))
    }
}

fn quoted(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}

/// A key as TOML has it.
fn key(name: &str) -> String {
    let is_bare = name.bytes().all(|byte| byte.is_ascii_alphanumeric() || byte == b'_' || byte == b'-');
    if is_bare { name.to_owned() } else { quoted(name) }
}

fn head(draft: &mut Draft, logs: &[Log]) {
    draft.push(format!(
        "# A starter job. Read every line, put the answer in place of each {UNDECIDED}, then: standoff check job.toml"
    ));
    draft.push("");
    draft.push("title = \"\"");
    draft.push("name  = \"job\"                # files are named after it");
    let bases: Vec<&Log> = logs.iter().filter(|log| log.sample.kind == LogKind::Bases).collect();
    if bases.is_empty() {
        draft.push("# No log of bases was named: what the rows of one stand give together is computed, and nothing has a place.");
        return;
    }
    match centre(&bases) {
        Some((lon, lat)) => {
            let zone = utm_zone(lon, lat);
            let code = if lat < 0.0 { 32700 + zone } else { 32600 + zone };
            let letter = if lat < 0.0 { 'S' } else { 'N' };
            draft.push(format!(
                "crs   = \"EPSG:{code}\"         # CRS of the layers: the UTM zone of the bases ({zone}{letter}, WGS 84); put another that you want"
            ));
        }
        None if bases.iter().all(|log| matches!(log.sample.whole, None | Some(Whole::Layer))) => {
            draft.push("# The layers are in the CRS of the bases; for another one: crs = \"EPSG:…\"");
        }
        None => {
            draft.push(format!("crs   = {}                 # CRS of the layers, such as \"EPSG:32630\"", quoted(UNDECIDED)));
            draft.ask("In which CRS shall the layers be?", "an EPSG code such as EPSG:32630", &[], false);
        }
    }
}

/// The mean longitude and latitude of all points that are given in degrees.
fn centre(bases: &[&Log]) -> Option<(f64, f64)> {
    let mut sums = (0.0, 0.0, 0.0);
    let mut add = |lon: f64, lat: f64| {
        if lat.abs() <= 84.0 && lon.abs() <= 180.0 {
            sums = (sums.0 + lon, sums.1 + lat, sums.2 + 1.0);
        }
    };
    for log in bases {
        log.sample.places.iter().for_each(|(lon, lat)| add(*lon, *lat));
        let (Some(lat), Some(lon)) = (log.column_of("lat_deg"), log.column_of("lon_deg")) else { continue };
        let (of_lat, of_lon) = (log.sample.signs(lat), log.sample.signs(lon));
        let read = |signs: Signs, cell: &str, letters| {
            signs.number(cell).or_else(|| parse_angle_deg(&cell.replace(',', "."), letters).ok())
        };
        for row in &log.sample.rows {
            let lat = read(of_lat, &row[lat], Hemispheres::Latitude);
            let lon = read(of_lon, &row[lon], Hemispheres::Longitude);
            if let (Some(lat), Some(lon)) = (lat, lon) {
                add(lon, lat);
            }
        }
    }
    (sums.2 > 0.0).then(|| (sums.0 / sums.2, sums.1 / sums.2))
}

/// The UTM zone of a place, with the exceptions of western Norway and Svalbard (NGA.SIG.0012, section 3).
fn utm_zone(lon_deg: f64, lat_deg: f64) -> i32 {
    if (56.0..64.0).contains(&lat_deg) && (3.0..12.0).contains(&lon_deg) {
        return 32;
    }
    if lat_deg >= 72.0 && (0.0..42.0).contains(&lon_deg) {
        return match lon_deg {
            _ if lon_deg < 9.0 => 31,
            _ if lon_deg < 21.0 => 33,
            _ if lon_deg < 33.0 => 35,
            _ => 37,
        };
    }
    ((lon_deg + 180.0) / 6.0).floor().clamp(0.0, 59.0) as i32 + 1
}

/// `[bases]` or `[shots]`.
fn table(draft: &mut Draft, kind: LogKind, logs: &[&Log], all: &[Log]) {
    let name = kind.table();
    if kind == LogKind::Bases && logs.is_empty() {
        return;
    }
    let mut files: Vec<String> = Vec::new();
    for log in logs {
        let file = quoted(&log.sample.name);
        if !files.contains(&file) {
            files.push(file);
        }
    }
    draft.push("");
    draft.push(format!("[{name}]"));
    if logs.is_empty() {
        draft.push(format!("files = [{}]", quoted(UNDECIDED)));
        draft.ask("Which file has the shots?", "", &[], false);
        return;
    }
    draft.push(format!("files = [{}]", files.join(", ")));
    sheets(draft, logs);
    if kind == LogKind::Bases {
        crs_of_bases(draft, logs);
    }
    logs.iter().for_each(|log| about(draft, log));
    zone(draft, logs);
    order(draft, logs);
    if kind == LogKind::Bases {
        except(draft, logs, all);
        bases_only(draft, logs);
    }
    let tables: Vec<&&Log> = logs.iter().filter(|log| log.sample.whole.is_none()).collect();
    let Some((first, others)) = tables.split_first() else { return };
    draft.push("");
    draft.push(format!("[{name}.columns]                 # canonical name = the log's own header; all others become attributes"));
    columns_of(draft, first, name);
    for other in
        others.iter().filter(|other| other.sample.headers != first.sample.headers && other.sample.name != first.sample.name)
    {
        draft.push("");
        draft.push(format!(
            "[{name}.per_file.{}.columns]     # its headers are others than those of {}",
            quoted(&other.sample.name),
            first.sample.label()
        ));
        columns_of(draft, other, &format!("{name}.per_file.{}", quoted(&other.sample.name)));
    }
}

/// Which sheets of workbooks are meant.
fn sheets(draft: &mut Draft, logs: &[&Log]) {
    let named: Vec<&str> = logs
        .iter()
        .filter_map(|log| log.sample.sheet.as_ref())
        .filter(|(_, only)| !only)
        .map(|(sheet, _)| sheet.as_str())
        .collect();
    match named.as_slice() {
        [] => {}
        [one] => draft.push(format!("sheet = {}", quoted(one))),
        several => {
            draft.push(format!("sheet = \"*\"                   # of the sheets {}; or the name of one", several.join(", ")))
        }
    }
}

fn crs_of_bases(draft: &mut Draft, logs: &[&Log]) {
    if logs.iter().all(|log| log.sample.whole == Some(Whole::Layer)) {
        return;
    }
    let receiver = logs.iter().any(|log| matches!(log.sample.whole, Some(Whole::Gpx(_) | Whole::Kml | Whole::Receiver)));
    let geographic = receiver || logs.iter().any(|log| log.has("lat_deg"));
    let exact = logs.iter().any(|log| log.has("sigma_horizontal"));
    let line = format!("crs = {}                   ", quoted(UNDECIDED));
    if geographic && !exact {
        let why = if receiver {
            "GPX, KML and a receiver's sentences are on WGS 84"
        } else {
            "WGS 84, as phones and handhelds have it; put another datum where the receiver was set to one"
        };
        draft.push(format!("crs = \"EPSG:4979\"              # {why}"));
    } else if geographic {
        draft.push(format!("{line}# datum of the latitudes and longitudes: \"EPSG:4979\" for WGS 84 with ellipsoidal heights"));
        draft.ask(
            "On which datum are the latitudes and longitudes?",
            "the positions are exact, so that the datum counts: EPSG:4979 (WGS 84), EPSG:4937 (ETRS89), EPSG:6319 (NAD83 (2011)), …",
            &[],
            false,
        );
    } else {
        draft.push(format!("{line}# the CRS that the receiver's coordinates are in, such as \"EPSG:32630\""));
        draft.ask(
            "In which CRS are the bases' coordinates?",
            "an EPSG code; crs = \"local\" for coordinates from a zero of your own",
            &[],
            false,
        );
    }
}

/// What was found about how a log is written.
fn about(draft: &mut Draft, log: &Log) {
    let sample = log.sample;
    if let Some(whole) = sample.whole {
        draft.push(format!("# {}: {}", sample.name, whole.words()));
        return;
    }
    if let Some((line, title)) = &sample.title {
        draft.push(format!(
            "# {}: the header is in line {line}, below the title \"{}\"",
            sample.label(),
            title.replace('\n', " ")
        ));
    }
    if sample.sheet.is_some() {
        draft.push(format!("# {}: {} rows looked at", sample.label(), sample.rows.len()));
        return;
    }
    let separator = match sample.separator {
        b'\t' => "tab".to_owned(),
        sign => format!("\"{}\"", sign as char),
    };
    let decimal = if sample.decimal_comma { "comma" } else { "point" };
    draft.push(format!(
        "# {}: separator {separator}, decimal {decimal}, {}, {} rows looked at; all found again on each run",
        sample.name,
        sample.encoding,
        sample.rows.len()
    ));
}

fn zone(draft: &mut Draft, logs: &[&Log]) {
    let Some(log) = logs.iter().find(|log| log.wants_zone()) else { return };
    if log.column_of("time").is_some_and(|column| times::is_utc(&log.sample.headers[column])) {
        draft.push("time_zone = \"UTC\"            # the header says so");
        return;
    }
    draft.push(format!(
        "time_zone = {}              # the clock the log was kept by: \"Europe/Oslo\", \"UTC\", \"+02:00\"",
        quoted(UNDECIDED)
    ));
    draft.ask(
        "By which clock were the times kept?",
        format!("{} has times without a zone; a place such as Europe/Oslo, UTC, or an offset such as +02:00", log.sample.label()),
        &[],
        false,
    );
}

/// Dates whose order no value tells.
fn order(draft: &mut Draft, logs: &[&Log]) {
    let column = |log: &&Log| log.column_of("date").or_else(|| log.column_of("time"));
    let open = logs.iter().find_map(|log| Some((log, times::open_order(log.sample, column(log)?)?)));
    let Some((log, (value, line, days))) = open else { return };
    let named = |order: &DateOrder| serde_json::to_value(order).ok().and_then(|name| name.as_str().map(str::to_owned));
    // Where people write in other languages than English, the day stands first, as far as the table of words goes.
    if log.sample.language().is_some() && days.iter().any(|(order, _)| *order == DateOrder::DayMonthYear) {
        let (_, day) = days.iter().find(|(order, _)| *order == DateOrder::DayMonthYear).unwrap_or(&days[0]);
        draft.push(format!(
            "date_order = \"day_month_year\"   # no value tells; logs in this language have the day first: \"{value}\" in {} line {line} is {day}",
            log.sample.label()
        ));
        return;
    }
    let each: Vec<String> = days.iter().map(|(order, day)| format!("{day} ({})", named(order).unwrap_or_default())).collect();
    draft.push(format!(
        "date_order = {}             # \"{value}\" in {} line {line} is {}",
        quoted(UNDECIDED),
        log.sample.label(),
        each.join(" or ")
    ));
    draft.ask(
        "In which order are day, month and year?",
        format!("\"{value}\" in {} line {line} is {}", log.sample.label(), each.join(" or ")),
        &[("day_month_year", "the day first"), ("month_day_year", "the month first"), ("year_month_day", "the year first")],
        false,
    );
}

/// Points that no row of the shots names are no bases: where the car stood, where lunch was.
fn except(draft: &mut Draft, logs: &[&Log], all: &[Log]) {
    let shots: Vec<&Log> = all.iter().filter(|log| log.sample.kind == LogKind::Shots).collect();
    if !shots.iter().any(|log| log.has("base")) {
        return;
    }
    let is_named = |name: &str| shots.iter().any(|log| log.sample.rows.iter().flatten().any(|cell| cell == name));
    let names: Vec<&String> = logs.iter().flat_map(|log| &log.sample.names).collect();
    let (used, unused): (Vec<&String>, Vec<&String>) = names.into_iter().partition(|name| is_named(name));
    // A pattern's signs in a name are letters there.
    let plain = |name: &&&String| !name.contains(['*', '?', '[']);
    if used.is_empty() || unused.iter().filter(plain).count() == 0 {
        return;
    }
    let listed: Vec<String> = unused.iter().filter(plain).map(|name| quoted(name)).collect();
    draft.push(format!(
        "except = [{}]  # no row of the shots names them; take out of this list what is a base",
        listed.join(", ")
    ));
}

fn bases_only(draft: &mut Draft, logs: &[&Log]) {
    if let Some(log) = logs.iter().find(|log| log.has("radius_")) {
        draft.push(format!(
            "radius_share = {}           # the share of positions within the accuracy's radius: 0.68 on most phones, 0.95, or 0.5 (CEP)",
            quoted(UNDECIDED)
        ));
        let header =
            log.guesses.iter().find(|guess| guess.canonical.starts_with("radius_")).map(|guess| guess.headers[0].clone());
        draft.ask(
            "Which share of positions lies within the accuracy's radius?",
            header.map(|header| log.evidence(&header)).unwrap_or_default(),
            &[
                ("0.68", "what phones say as a rule"),
                ("0.95", "95 %, where the receiver says so"),
                ("0.5", "half of them: circular error probable (CEP)"),
                ("0.632", "root mean square of the distance (drms)"),
                ("0.982", "twice that (2drms)"),
            ],
            true,
        );
    }
    if logs.iter().any(|log| log.sample.whole.is_some_and(Whole::has_fixes)) {
        draft.push("");
        draft.push("[bases.occupations]");
        draft.push(format!(
            "from = {}   # \"stops\" (where it stood still), \"shots\" (their own times), or \"list\" (base, start, end)",
            quoted(UNDECIDED)
        ));
        draft.ask(
            "What tells when the receiver stood at which base?",
            "",
            &[
                ("stops", "where it stood still"),
                ("shots", "the times of the shots"),
                ("list", "a list with base, start and end"),
            ],
            false,
        );
    }
}

/// The column map of a log, its readings, and what it carries along.
fn columns_of(draft: &mut Draft, log: &Log, table: &str) {
    for guess in &log.guesses {
        let header = match guess.headers.as_slice() {
            [one] => quoted(one),
            several => format!("[{}]", several.iter().map(|header| quoted(header)).collect::<Vec<_>>().join(", ")),
        };
        draft.push(format!("{} = {header}  # {}", key(&guess.canonical), guess.reason));
        for ask in &guess.asks {
            let (what, choices) = ask.of_column(guess.headers.last().map_or("", String::as_str));
            draft.ask(what, log.evidence(&guess.headers[0]), choices, false);
        }
    }
    let carried = log.carried();
    if !carried.is_empty() {
        let carried: Vec<String> = carried.iter().map(|header| header.replace('\n', " ")).collect();
        draft.push(format!("# carried along as attributes: {}", carried.join(", ")));
    }
    for (canonical, words) in [("measure", "measures"), ("role", "roles")] {
        let Some(guess) = log.guesses.iter().find(|guess| guess.canonical == canonical && !guess.translated.is_empty()) else {
            continue;
        };
        draft.push("");
        draft.push(format!("[{table}.{words}]                   # the log's own word = what it means"));
        for (word, meaning) in &guess.translated {
            draft.push(format!("{} = {}", key(word), quoted(meaning)));
        }
    }
    if let Some(wide) = &log.wide {
        readings(draft, log, wide, table);
    } else if log.has("role") && !log.has("measure") {
        measure_of_roles(draft, log, table);
    }
}

fn readings(draft: &mut Draft, log: &Log, wide: &Wide, table: &str) {
    draft.push("");
    draft.push(format!("[{table}.values]"));
    draft.push(format!("measure = \"{}\"               # {}", wide.measure, wide.reason));
    let mut asks = wide.asks.iter();
    for reading in &wide.readings {
        draft.push("");
        draft.push(format!("[[{table}.readings]]"));
        let columns: Vec<String> =
            reading.columns.iter().map(|(name, header)| format!("{} = {}", key(name), quoted(header))).collect();
        draft.push(format!("columns = {{ {} }}", columns.join(", ")));
        for (name, header) in &reading.columns {
            for _ in 0..name.matches(UNDECIDED).count() {
                if let Some(ask) = asks.next() {
                    let (what, choices) = ask.of_column(header);
                    draft.ask(what, log.evidence(header), choices, false);
                }
            }
        }
        draft.push(format!("values = {{ role = \"{}\" }}", reading.role));
    }
}

/// Roles without kinds: which measurement they are of is told by the roles themselves, where only one has them.
fn measure_of_roles(draft: &mut Draft, log: &Log, table: &str) {
    let Some(header) = log.guesses.iter().find(|guess| guess.canonical == "role").map(|guess| guess.headers[0].clone()) else {
        return;
    };
    let Some(column) = log.sample.headers.iter().position(|own| *own == header) else { return };
    let Some(measure) = roles::measure_of(&roles::roles_in(log.sample, column)) else { return };
    draft.push("");
    draft.push(format!("[{table}.values]"));
    draft.push(format!("measure = \"{measure}\"               # the roles in \"{header}\" are those of a {measure}"));
}

fn tail(draft: &mut Draft, logs: &[Log]) {
    let shots: Vec<&Log> = logs.iter().filter(|log| log.sample.kind == LogKind::Shots).collect();
    let bases: Vec<&Log> = logs.iter().filter(|log| log.sample.kind == LogKind::Bases).collect();
    let has_bases = !bases.is_empty();
    draft.push("");
    draft.push("[instrument]                     # one standard error each, from the instrument's papers or a test; these are assumed without");
    draft.push(format!("# sigma_distance_m = {ASSUMED_SIGMA_DISTANCE_M}"));
    draft.push(format!("# sigma_azimuth_deg = {ASSUMED_SIGMA_AZIMUTH_DEG}"));
    draft.push(format!("# sigma_inclination_deg = {ASSUMED_SIGMA_INCLINATION_DEG}"));
    if has_bases {
        draft.push("");
        draft.push("[heights]");
        let is_vertical = |guess: &Guess| {
            ["inclination", "zenith", "vertical_distance"].iter().any(|name| guess.canonical.starts_with(name))
                || guess.asks.contains(&Ask::ZenithOrInclination)
        };
        let in_readings = |log: &Log| {
            log.wide
                .iter()
                .flat_map(|wide| &wide.readings)
                .flat_map(|reading| &reading.columns)
                .any(|(name, _)| name.starts_with("inclination"))
        };
        let has_vertical = shots.iter().any(|log| {
            log.guesses.iter().any(is_vertical)
                || in_readings(log)
                || ["inclination", "zenith", "vertical_distance"].iter().any(|name| log.has(name))
        });
        let known = shots.iter().all(|log| log.has("instrument_height")) && !shots.is_empty();
        if !known && (has_vertical || shots.is_empty()) {
            draft.push(format!(
                "instrument_height_m = {}   # of the instrument's axis over the base's ground point",
                quoted(UNDECIDED)
            ));
            draft.ask(
                "How high was the instrument over the base's point, in metres?",
                "no column says it; 0 where the bases are of its axis",
                &[],
                true,
            );
        } else if !known {
            draft.push("instrument_height_m = 0        # nothing vertical was measured");
        }
        if !shots.iter().any(|log| log.has("target_height")) || shots.is_empty() {
            draft.push(
                "target_height_m = 0            # 0: heights are those of the sighted spots; else their height over the ground",
            );
        }
        if logs.iter().any(|log| log.sample.whole.is_some_and(Whole::has_fixes)) {
            draft.push(format!("antenna_height_m = {}      # of a receiver's antenna over the ground point", quoted(UNDECIDED)));
            draft.ask("How high was the receiver's antenna over the ground, in metres?", "", &[], true);
        }
    }
    let magnetic = |guess: &Guess| guess.canonical.starts_with("magnetic") || guess.asks.contains(&Ask::North);
    if has_bases && shots.iter().any(|log| log.has("magnetic") || log.guesses.iter().any(magnetic)) {
        north(draft);
        draft.push("declination = \"model\"            # for magnetic azimuths; or degrees, east positive, set by hand");
    }
    // Grid azimuths of bases in degrees: the grid of the layers need not be the one that the circle was set to.
    let grid = |log: &&&Log| log.guesses.iter().any(|guess| guess.canonical.starts_with("grid_azimuth"));
    if let (Some(log), Some(_)) = (shots.iter().find(grid), centre(&bases)) {
        north(draft);
        draft.push(format!(
            "grid_crs = {}                # the map grid whose north the azimuths count from, such as \"EPSG:2154\"",
            quoted(UNDECIDED)
        ));
        draft.ask(
            "From the north of which map grid do the azimuths count?",
            format!("{} has grid azimuths; an EPSG code of a projected CRS", log.sample.label()),
            &[],
            false,
        );
    }
}

/// `[north]`, once.
fn north(draft: &mut Draft) {
    if !draft.lines.iter().any(|line| line == "[north]") {
        draft.push("");
        draft.push("[north]");
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Zones by NGA.SIG.0012 (2014), section 3: 6 degrees each from 180° W, but for 32V and Svalbard.
    #[test]
    fn utm_zones() {
        for (lon, lat, zone) in [
            (-84.9, 34.3, 16),
            (-53.0, 48.6, 22),
            (8.6, 60.8, 32),
            (5.3, 60.4, 32),
            (2.0, 60.4, 31),
            (15.6, 78.2, 33),
            (180.0, 0.0, 60),
        ] {
            assert_eq!(utm_zone(lon, lat), zone, "{lon} {lat}");
        }
    }
}
