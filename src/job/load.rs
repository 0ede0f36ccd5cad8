//! Reading a job file: TOML, unknown keys refused with the nearest known one, values checked, file
//! patterns resolved. Every message names the line and says what to write.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::files::resolve;
use super::settings;
use super::{Bases, Instrument, Job, JoinBy, LogFormat, OccupationSource, Occupations, Shots};
use crate::disk;
use crate::units::gps_time::LeapSeconds;

/// A clock that is off by more than some centuries is no clock, in seconds.
const GREATEST_CLOCK_OFFSET_S: f64 = 1e10;
/// No job that a person writes is longer, in bytes.
const MOST_JOB_BYTES: u64 = 16 << 20;
/// Letters of a job's name: with the names of layer and format behind it no system finds it too long.
const LONGEST_NAME: usize = 100;

/// A job file that cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum JobError {
    /// It cannot be read.
    #[error("{}: cannot be read: {source}", path.display())]
    Read {
        /// The file.
        path: PathBuf,
        /// The system's reason.
        source: std::io::Error,
    },
    /// Something in it is wrong.
    #[error("{place}: {problem}")]
    Wrong {
        /// File and, where known, line.
        place: String,
        /// What is wrong and what to write.
        problem: String,
    },
}

/// Reads and checks a job file; its paths become relative to its folder. `-` stands for standard input, and the folder
/// is then the one that the program runs in.
///
/// # Errors
/// See [`JobError`].
pub fn load(path: &Path) -> Result<Job, JobError> {
    if path.as_os_str() == disk::STANDARD_INPUT {
        let wrong = |problem: String| JobError::Wrong { place: "standard input".into(), problem };
        let bytes = disk::read_standard_input(MOST_JOB_BYTES).map_err(|error| wrong(error.to_string()))?;
        let text = String::from_utf8(bytes).map_err(|_| wrong("it is not text in UTF-8".into()))?;
        return parse(&text, "standard input", Path::new("."));
    }
    let text = disk::read_text(path).map_err(|source| JobError::Read { path: path.to_owned(), source })?;
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    parse(&text, &path.display().to_string(), folder)
}

/// Reads and checks a job from its text. `name` is what messages call it; `folder` is where its
/// relative paths begin.
///
/// # Errors
/// See [`JobError`].
pub fn parse(text: &str, name: &str, folder: &Path) -> Result<Job, JobError> {
    let (mut job, document): (Job, _) = settings::read(text, name, "the job")?;
    let wrong = |offset, problem| document.wrong(offset, problem);
    let key_at = |path: &[&str]| document.offset_of(path);
    check(&job)
        .and_then(|()| check_gnss(&job))
        .and_then(|()| job.measures.check())
        .map_err(|(path, problem)| wrong(key_at(&path), problem))?;
    let out = folder.join(job.out.take().unwrap_or_else(|| PathBuf::from(format!("{}-layers", job.name))));
    if job.has_no_bases() {
        job.shots.log.has_no_bases = true;
        job.shots.per_file.values_mut().for_each(|log| log.has_no_bases = true);
    } else {
        job.bases.resolve(folder, Some(&out)).map_err(|problem| wrong(key_at(&["bases", "files"]), problem))?;
    }
    job.shots.resolve(folder, Some(&out)).map_err(|problem| wrong(key_at(&["shots", "files"]), problem))?;
    if let Some(list) = &mut job.bases.occupations.list {
        list.resolved = resolve(&list.files, folder, Some(&out))
            .map_err(|problem| wrong(key_at(&["bases", "occupations", "list", "files"]), problem))?;
    }
    if let Some(known) = &mut job.known {
        known.resolve(folder, Some(&out)).map_err(|problem| wrong(key_at(&["known", "files"]), problem))?;
    }
    for path in
        job.heights.geoid_grid.iter_mut().chain(&mut job.leap_seconds).chain(&mut job.catalogue).chain(&mut job.report.background)
    {
        *path = folder.join(&path);
    }
    if let Some(path) = &job.heights.geoid_grid {
        let unread = |error| wrong(key_at(&["heights", "geoid_grid"]), format!("{}: cannot be read: {error}", path.display()));
        disk::check(path).map_err(unread)?;
    }
    if job.crs.trim().is_empty() {
        job.crs = job.bases.crs.clone().unwrap_or_default();
    }
    job.read_leap_seconds().map_err(|problem| wrong(key_at(&["leap_seconds"]), problem))?;
    job.out = Some(out);
    Ok(job)
}

impl Job {
    /// Gives each log the steps of GPS time.
    fn read_leap_seconds(&mut self) -> Result<(), String> {
        let steps = match &self.leap_seconds {
            None => LeapSeconds::builtin(),
            Some(path) => {
                let text = disk::read_text(path).map_err(|error| format!("{}: cannot be read: {error}", path.display()))?;
                Arc::new(LeapSeconds::parse(&text).map_err(|problem| format!("{}: {problem}", path.display()))?)
            }
        };
        let lists = self.bases.occupations.list.iter_mut().map(|list| &mut list.log);
        let known = self.known.iter_mut().flat_map(|known| std::iter::once(&mut known.log).chain(known.per_file.values_mut()));
        let single = self.bases.per_file.values_mut().chain(self.shots.per_file.values_mut());
        for log in [&mut self.bases.log, &mut self.shots.log].into_iter().chain(lists).chain(known).chain(single) {
            log.leap_seconds = Some(steps.clone());
        }
        Ok(())
    }
}

impl Bases {
    /// Finds the files that the patterns stand for; `output` is the folder that the job writes.
    ///
    /// # Errors
    /// When a pattern matches nothing.
    pub fn resolve(&mut self, folder: &Path, output: Option<&Path>) -> Result<(), String> {
        self.resolved = resolve(&self.files, folder, output)?;
        Ok(())
    }
}

impl Shots {
    /// Finds the files that the patterns stand for; `output` is the folder that the job writes.
    ///
    /// # Errors
    /// When a pattern matches nothing.
    pub fn resolve(&mut self, folder: &Path, output: Option<&Path>) -> Result<(), String> {
        self.resolved = resolve(&self.files, folder, output)?;
        Ok(())
    }
}

type Fault = (Vec<&'static str>, String);

/// Values that types alone do not catch.
fn check(job: &Job) -> Result<(), Fault> {
    if let Some((key, problem)) = job.network.as_ref().and_then(super::Network::fault) {
        return Err((vec!["network", key], problem));
    }
    let fault = |path: &[&'static str], problem: String| Err((path.to_vec(), problem));
    if job.name.is_empty() || !job.name.chars().all(|c| c.is_ascii_alphanumeric() || c == '-' || c == '_') {
        return fault(&["name"], format!("name = \"{}\": use letters, digits, - and _; files are named after it", job.name));
    }
    if job.name.len() > LONGEST_NAME {
        return fault(
            &["name"],
            format!("name has {} letters; files are named after it: use {LONGEST_NAME} at most", job.name.len()),
        );
    }
    if is_device_name(&job.name) {
        let problem =
            format!("name = \"{}\" is the name of a device on some systems, and files are named after it; use another", job.name);
        return fault(&["name"], problem);
    }
    if job.crs.trim().is_empty() && job.bases.crs.is_none() && !job.has_no_bases() {
        return fault(
            &["crs"],
            "the job lacks the key `crs`, the CRS of the layers; write crs = \"EPSG:32630\" or the like".into(),
        );
    }
    if job.formats.is_empty() {
        return fault(&["formats"], "formats is empty; name at least one, such as \"gpkg\"".into());
    }
    if job.layers.is_empty() {
        return fault(&["layers"], "layers is empty; leave the key out for all".into());
    }
    if job.instrument.is_some() && !job.instruments.is_empty() {
        return fault(&["instrument"], "[instrument] and [instruments] both stand here; keep one".into());
    }
    let bases = &job.bases;
    for (table, bases) in std::iter::once(("bases", bases)).chain(job.known.iter().map(|known| ("known", known))) {
        let name_their_own = bases.files.iter().all(|file| is_vector(Path::new(file)));
        if bases.crs.is_none() && !job.is_local() && bases.crs_by_value.is_empty() && !name_their_own {
            let problem = format!("[{table}] has no crs; write the one the positions are in, such as crs = \"EPSG:4979\"");
            return fault(&[table], problem);
        }
        if bases.crs_column.is_some() == bases.crs_by_value.is_empty() {
            let problem = "crs_column and crs_by_value go together: the column, and what its values stand for";
            return fault(&[table], problem.into());
        }
    }
    if job.known.as_ref().is_some_and(|known| known.occupations != Occupations::default()) {
        let problem = "known points are not occupied: their occupations are not read; write them under [bases.occupations]";
        return fault(&["known", "occupations"], problem.into());
    }
    for (key, sigma) in [("sigma_horizontal_m", bases.sigma_horizontal_m), ("sigma_vertical_m", bases.sigma_vertical_m)] {
        if sigma.is_some_and(|sigma| !is_sigma(sigma)) {
            return fault(&["bases", key], format!("{key} must be above 0"));
        }
    }
    for instrument in job.instrument.iter().chain(job.instruments.values()) {
        check_instrument(instrument).map_err(|problem| {
            let table = if job.instrument.is_some() { "instrument" } else { "instruments" };
            (vec![table], format!("[{table}]: {problem}"))
        })?;
    }
    if let Some(one) = &job.instrument {
        super::calibration::check(&one.calibrations)
            .map_err(|problem| (vec!["instrument", "calibrations"], format!("[[instrument.calibrations]]: {problem}")))?;
    }
    for (name, instrument) in &job.instruments {
        super::calibration::check(&instrument.calibrations)
            .map_err(|problem| (vec!["instruments"], format!("[[instruments.{name}.calibrations]]: {problem}")))?;
    }
    let north = &job.north;
    if north.sigma_declination_deg.is_some_and(|sigma| !(0.0..=180.0).contains(&sigma)) {
        return fault(&["north", "sigma_declination_deg"], "sigma_declination_deg must be 0 to 180".into());
    }
    if !(0.0..=180.0).contains(&north.sigma_orientation_deg) {
        return fault(&["north", "sigma_orientation_deg"], "sigma_orientation_deg must be 0 to 180".into());
    }
    if let super::Declination::Degrees(degrees) = north.declination
        && !(-180.0..=180.0).contains(&degrees)
    {
        return fault(&["north", "declination"], format!("declination = {degrees}: degrees from -180 to 180, east positive"));
    }
    if let Some([west, south, east, north]) = job.checks.area_deg {
        let longitudes = [west, east].iter().all(|lon| (-180.0..=180.0).contains(lon));
        if !longitudes || !(-90.0..=90.0).contains(&south) || !(south..=90.0).contains(&north) {
            return fault(&["checks", "area_deg"], "area_deg is west, south, east, north in degrees".into());
        }
    }
    for (key, value) in [("steep_deg", job.checks.steep_deg), ("agreement_sigmas", job.checks.agreement_sigmas)] {
        if !(value > 0.0 && value.is_finite()) {
            return fault(&["checks", key], format!("{key} must be above 0"));
        }
    }
    for (key, height) in [
        ("instrument_height_m", job.heights.instrument_height_m),
        ("target_height_m", job.heights.target_height_m),
        ("antenna_height_m", job.heights.antenna_height_m),
    ] {
        if height.is_some_and(|height| !height.is_finite()) {
            return fault(&["heights", key], format!("{key} must be a number of metres"));
        }
    }
    if job.is_local() {
        check_local(job)?;
    }
    Ok(())
}

/// What goes with a local frame, or without bases.
fn check_local(job: &Job) -> Result<(), Fault> {
    let fault = |path: &[&'static str], problem: String| Err((path.to_vec(), problem));
    if job.has_no_bases() && job.bases != Bases::default() {
        let problem = "files is empty; name at least one log, or leave [bases] out for a job without bases";
        return fault(&["bases", "files"], problem.into());
    }
    if job.has_no_bases() && !job.crs.is_empty() && job.crs != crate::geodesy::LOCAL {
        let problem = "a job without bases has no place in any crs; name the base logs under [bases], or leave crs out";
        return fault(&["crs"], problem.into());
    }
    if job.has_no_bases() && (job.known.is_some() || job.network.is_some()) {
        let key = if job.known.is_some() { "known" } else { "network" };
        return fault(
            &[key],
            format!("[{key}] needs bases; name their logs under [bases], in crs = \"local\" where they have no place"),
        );
    }
    for (table, bases) in std::iter::once(("bases", &job.bases)).chain(job.known.iter().map(|known| ("known", known))) {
        if bases.crs.as_deref().is_some_and(|crs| crs != crate::geodesy::LOCAL) || !bases.crs_by_value.is_empty() {
            let problem = format!(
                "crs = \"local\" is for bases in local coordinates; leave the crs of [{table}] out, or name one for the layers"
            );
            return fault(&[table, "crs"], problem);
        }
    }
    match job.formats.iter().find_map(|format| format.wants_the_earth()) {
        Some(problem) => fault(&["formats"], problem.into()),
        None => Ok(()),
    }
}

/// Values of the keys on fixes, occupations and joins.
fn check_gnss(job: &Job) -> Result<(), Fault> {
    let fault = |path: &[&'static str], problem: String| Err((path.to_vec(), problem));
    for bases in [Some(&job.bases), job.known.as_ref()].into_iter().flatten() {
        if let Some(date) = &bases.date
            && date.parse::<jiff::civil::Date>().is_err()
        {
            return fault(&["bases", "date"], format!("date = \"{date}\": write a day such as \"2026-05-04\""));
        }
        if bases.epoch.is_some_and(|epoch| !(1900.0..2200.0).contains(&epoch)) {
            return fault(&["bases", "epoch"], "epoch is a year with its fraction, such as 2026.4".into());
        }
    }
    for (table, log) in logs(job) {
        if !(-GREATEST_CLOCK_OFFSET_S..=GREATEST_CLOCK_OFFSET_S).contains(&log.clock_offset_s) {
            let problem = format!("clock_offset_s = {}: write seconds that are added to every time", log.clock_offset_s);
            return fault(&[table, "clock_offset_s"], problem);
        }
    }
    for (table, log) in logs(job) {
        if log.radius_share.is_some_and(|share| !(0.01..=0.9999).contains(&share)) {
            return fault(&[table, "radius_share"], "radius_share is a share of 1, such as 0.68".into());
        }
    }
    let occupations = &job.bases.occupations;
    for (key, value) in [
        ("least_duration_s", occupations.least_duration_s),
        ("greatest_speed_m_s", occupations.greatest_speed_m_s),
        ("greatest_spread_m", occupations.greatest_spread_m),
        ("margin_s", occupations.margin_s),
        ("break_s", occupations.break_s),
        ("correlation_s", occupations.correlation_s),
    ] {
        if !(value >= 0.0 && value.is_finite()) {
            return fault(&["bases", "occupations", key], format!("{key} must be 0 or more"));
        }
    }
    if occupations.list.is_some() {
        let path = ["bases", "occupations", "list"];
        if occupations.from.is_some_and(|from| from != OccupationSource::List) {
            return fault(&path, "from under [bases.occupations] does not read the list; remove the list or from".into());
        }
        if job.join.by == Some(JoinBy::Interpolated) {
            let problem = "by = \"interpolated\" under [join] takes the receiver's position at each shot and reads no list of \
                           occupations; remove one of the two";
            return fault(&path, problem.into());
        }
    }
    for (key, value) in [("limit_s", job.join.limit_s), ("gap_s", job.join.gap_s)] {
        if value.is_nan() || value < 0.0 {
            return fault(&["join", key], format!("{key} must be 0 or more"));
        }
    }
    let quality = &job.bases.quality;
    for (key, value) in [("greatest_hdop", quality.greatest_hdop), ("greatest_pdop", quality.greatest_pdop)] {
        if value.is_some_and(|value| !is_sigma(value)) {
            return fault(&["bases", "quality", key], format!("{key} must be above 0"));
        }
    }
    for (key, value) in
        [("sigma_geoid_grid_m", job.heights.sigma_geoid_grid_m), ("sigma_separation_m", job.heights.sigma_separation_m)]
    {
        if value.is_some_and(|value| !is_sigma(value)) {
            return fault(&["heights", key], format!("{key} must be above 0"));
        }
    }
    let north = &job.north;
    if !(-180.0..=180.0).contains(&north.local_correction_deg) {
        return fault(&["north", "local_correction_deg"], "local_correction_deg must be -180 to 180, east positive".into());
    }
    if !(0.0..=180.0).contains(&north.fore_back_limit_deg) {
        return fault(&["north", "fore_back_limit_deg"], "fore_back_limit_deg must be 0 to 180".into());
    }
    Ok(())
}

/// How each log is written, and the table of the job that says so.
fn logs(job: &Job) -> impl Iterator<Item = (&'static str, &LogFormat)> {
    let bases = std::iter::once(("bases", &job.bases)).chain(job.known.iter().map(|known| ("known", known)));
    let of_bases = bases.flat_map(|(table, bases)| {
        let list = bases.occupations.list.iter().map(|list| &list.log);
        std::iter::once(&bases.log).chain(bases.per_file.values()).chain(list).map(move |log| (table, log))
    });
    of_bases.chain(std::iter::once(&job.shots.log).chain(job.shots.per_file.values()).map(|log| ("shots", log)))
}

/// Whether a system takes a name, with any ending behind it, for a device (Microsoft, "Naming files, paths, and
/// namespaces").
pub fn is_device_name(name: &str) -> bool {
    let name = name.to_ascii_uppercase();
    let is_port = |port: &str| {
        let number = name.strip_prefix(port);
        number.is_some_and(|number| number.len() == 1 && number.bytes().all(|digit| digit.is_ascii_digit()))
    };
    ["CON", "PRN", "AUX", "NUL"].contains(&name.as_str()) || is_port("COM") || is_port("LPT")
}

fn is_sigma(value: f64) -> bool {
    value > 0.0 && value.is_finite()
}

fn check_instrument(instrument: &Instrument) -> Result<(), String> {
    let sigmas = [
        ("sigma_distance_m", instrument.sigma_distance_m),
        ("sigma_azimuth_deg", instrument.sigma_azimuth_deg),
        ("sigma_inclination_deg", instrument.sigma_inclination_deg),
    ];
    for (key, sigma) in sigmas {
        if sigma.is_some_and(|sigma| !is_sigma(sigma)) {
            return Err(format!("{key} must be above 0"));
        }
    }
    let others = [
        ("azimuth_correction_deg", instrument.azimuth_correction_deg, -360.0, 360.0),
        ("inclination_correction_deg", instrument.inclination_correction_deg, -90.0, 90.0),
        ("distance_correction_m", instrument.distance_correction_m, -1000.0, 1000.0),
        ("sigma_distance_ppm", instrument.sigma_distance_ppm, 0.0, 1e6),
        ("refraction", instrument.refraction, -5.0, 5.0),
    ];
    for (key, value, least, greatest) in others {
        if !(least..=greatest).contains(&value) {
            return Err(format!("{key} = {value} must lie between {least} and {greatest}"));
        }
    }
    if let (Some(least), Some(greatest)) = (instrument.least_distance_m, instrument.greatest_distance_m)
        && least >= greatest
    {
        return Err(format!("least_distance_m = {least} is not below greatest_distance_m = {greatest}"));
    }
    Ok(())
}

/// Whether a file's name ends as that of a vector file does: gpkg, shp, geojson, json, fgb. These name their CRS themselves.
pub fn is_vector(path: &Path) -> bool {
    let ending = path.extension().and_then(|ending| ending.to_str()).map(str::to_ascii_lowercase);
    matches!(ending.as_deref(), Some("gpkg" | "shp" | "geojson" | "json" | "fgb"))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn problem(text: &str) -> String {
        parse(text, "job.toml", Path::new("/nowhere")).unwrap_err().to_string()
    }

    const HEAD: &str = "name = \"a\"\ncrs = \"EPSG:32630\"\n";

    #[test]
    fn unknown_keys_name_the_line_and_the_nearest_key() {
        let text =
            format!("{HEAD}[bases]\nfiles = [\"b.csv\"]\ncrs = \"EPSG:4979\"\nseparater = \";\"\n[shots]\nfiles = [\"s.csv\"]\n");
        assert_eq!(problem(&text), "job.toml:6: unknown key separater in [bases]; did you mean separator?");
        assert_eq!(
            problem(&format!("{HEAD}[instrument]\nsigma_azimut_deg = 1.0\n")),
            "job.toml:4: unknown key sigma_azimut_deg in [instrument]; did you mean sigma_azimuth_deg?"
        );
    }

    #[test]
    fn values_of_a_wrong_type_say_which_is_wanted() {
        assert_eq!(
            problem(&format!("{HEAD}[shots]\nfiles = \"s.csv\"\n")),
            "job.toml:4: shots.files must be a list in [ ], not a text in quotes"
        );
        assert_eq!(
            problem(&format!("{HEAD}allow_ballpark = \"yes\"\n")),
            "job.toml:3: allow_ballpark must be true or false, not a text in quotes"
        );
    }

    #[test]
    fn undecided_marks_refuse_to_run() {
        let text = format!("{HEAD}[shots]\nfiles = [\"s.csv\"]\n[shots.columns]\n\"??_azimuth_deg\" = \"AZ\"\n");
        assert_eq!(
            problem(&text),
            "job.toml:6: \"??_azimuth_deg\" is still undecided: put in place of ?? what its comment asks for"
        );
        assert!(
            problem(&text.replace("\"??_azimuth_deg\" = \"AZ\"", "magnetic_azimuth_deg = \"??\"")).contains("still undecided")
        );
    }

    #[test]
    fn names_of_devices_and_endless_names_are_refused() {
        let named = |name: &str| {
            problem(&format!(
                "name = \"{name}\"\ncrs = \"EPSG:32630\"\n[bases]\nfiles=[]\ncrs=\"EPSG:4979\"\n[shots]\nfiles=[]\n"
            ))
        };
        for device in ["CON", "con", "Nul", "PRN", "aux", "COM1", "lpt9"] {
            assert!(named(device).contains("is the name of a device on some systems"), "{}", named(device));
        }
        for name in ["CONE", "COM", "COM10", "lpt", "nul-1"] {
            assert!(named(name).contains("files is empty"), "{}", named(name));
        }
        assert!(named(&"n".repeat(101)).contains("use 100 at most"));
        assert!(named(&"n".repeat(100)).contains("files is empty"));
    }

    #[test]
    fn missing_keys_and_files() {
        assert!(problem("crs = \"EPSG:4326\"\n").contains("the job lacks the key"), "{}", problem("crs = \"EPSG:4326\"\n"));
        let text = format!("{HEAD}[bases]\nfiles = [\"b.csv\"]\ncrs = \"EPSG:4979\"\n[shots]\nfiles = [\"s.csv\"]\n");
        assert_eq!(problem(&text), "job.toml:4: no file /nowhere/b.csv");
        assert!(problem("name = \n").starts_with("job.toml:1: not TOML"));
    }

    #[test]
    fn calibrations_name_their_line_and_their_dates() {
        let of = |header: &str, lines: &str| {
            let logs = "[bases]\nfiles=[]\ncrs=\"EPSG:4979\"\n[shots]\nfiles=[]\n";
            problem(&format!("{HEAD}{logs}{header}\n{lines}\n"))
        };
        assert_eq!(
            of("[[instrument.calibrations]]", "from = \"2026-06-30\"\nto = \"2026-04-01\"\ndistance_correction_m = 0.05"),
            "job.toml:8: [[instrument.calibrations]]: the calibration 2026-06-30 to 2026-04-01 ends before it begins; \
             change from or to"
        );
        let twice =
            "azimuth_correction_deg = 1\n[[instruments.old.calibrations]]\nto = \"2026-01-01\"\nazimuth_correction_deg = 2";
        assert_eq!(
            of("[[instruments.old.calibrations]]", twice),
            "job.toml:8: [[instruments.old.calibrations]]: the calibrations \"every date\" and \"up to 2026-01-01\" overlap; \
             end the first the day before the next begins"
        );
        assert_eq!(
            of("[[instrument.calibrations]]", "from = \"2026-02-30\"\ndistance_correction_m = 0.05"),
            "job.toml:9: \"2026-02-30\" is no day of the calendar; write it as \"2026-04-01\""
        );
        assert_eq!(
            of("[[instrument.calibrations]]", "form = \"2026-02-20\""),
            "job.toml:9: unknown key form in [instrument.calibrations]; did you mean from?"
        );
    }

    #[test]
    fn the_declination_is_a_word_or_a_number() {
        let of = |value: &str| {
            let text = format!("{HEAD}[north]\ndeclination = {value}\n[bases]\nfiles=[]\ncrs=\"EPSG:4979\"\n[shots]\nfiles=[]\n");
            problem(&text)
        };
        assert!(of("\"modell\"").contains("\"model\", or a number of degrees"), "{}", of("\"modell\""));
        assert!(of("200").contains("-180 to 180"));
        assert!(of("\"model\"").contains("files is empty"));
        assert!(of("-1").contains("files is empty"));
    }
}
