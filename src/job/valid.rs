//! Values of a job that types alone do not catch. A fault names its key and says what to write.

use std::path::Path;

use super::fault::JobFault;
use super::logs::is_vector;
use super::value_fault::{InstrumentFault, LONGEST_NAME, ValueFault};
use super::{
    Bases, Declination, Instrument, Job, JoinBy, LogFormat, NetworkSettings, OccupationSource, Occupations, calibration,
};

/// A clock that is off by more than some centuries is no clock, in seconds.
const GREATEST_CLOCK_OFFSET_S: f64 = 1e10;

/// The key of a value that cannot be used, and what is wrong with it.
pub(super) type KeyFault = (Vec<&'static str>, JobFault);

/// Checks all values.
pub(super) fn check(job: &Job) -> Result<(), KeyFault> {
    if let Some((key, problem)) = job.network.as_ref().and_then(NetworkSettings::fault) {
        return fault(&["network", key], problem.into());
    }
    check_name(&job.name)?;
    check_outputs(job)?;
    check_bases(job)?;
    check_instruments(job)?;
    check_north(job)?;
    check_limits(job)?;
    if job.is_local() {
        check_local(job)?;
    }
    check_fit(job)?;
    check_gnss(job)?;
    job.measures.check().or_else(|(key, problem)| fault(&["measures", key], problem.into()))
}

fn fault(path: &[&'static str], problem: ValueFault) -> Result<(), KeyFault> {
    Err((path.to_vec(), problem.into()))
}

/// The name that files are named after.
fn check_name(name: &str) -> Result<(), KeyFault> {
    if name.is_empty() || !name.chars().all(|c| c.is_ascii_alphanumeric() || c == '-' || c == '_') {
        return fault(&["name"], ValueFault::NameOfOtherLetters(name.to_owned()));
    }
    if name.len() > LONGEST_NAME {
        return fault(&["name"], ValueFault::NameTooLong(name.len()));
    }
    if is_device_name(name) {
        return fault(&["name"], ValueFault::NameOfDevice(name.to_owned()));
    }
    Ok(())
}

/// The CRS of the layers, the formats, the layers.
fn check_outputs(job: &Job) -> Result<(), KeyFault> {
    if job.crs.trim().is_empty() && job.bases.crs.is_none() && !job.has_no_bases() {
        return fault(&["crs"], ValueFault::NoCrs);
    }
    if job.formats.is_empty() {
        return fault(&["formats"], ValueFault::NoFormat);
    }
    if job.layers.is_empty() {
        return fault(&["layers"], ValueFault::NoLayer);
    }
    if job.instrument.is_some() && !job.instruments.is_empty() {
        return fault(&["instrument"], ValueFault::OneInstrumentAndSeveral);
    }
    Ok(())
}

/// Bases and known points: their systems and standard errors.
fn check_bases(job: &Job) -> Result<(), KeyFault> {
    let bases = &job.bases;
    for (table, bases) in std::iter::once(("bases", bases)).chain(job.known.iter().map(|known| ("known", known))) {
        let name_their_own = bases.files.iter().all(|file| is_vector(Path::new(file)));
        if bases.crs.is_none() && !job.is_local() && bases.crs_by_value.is_empty() && !name_their_own {
            return fault(&[table], ValueFault::NoCrsOfPositions(table));
        }
        if bases.crs_column.is_some() == bases.crs_by_value.is_empty() {
            return fault(&[table], ValueFault::CrsByValue);
        }
    }
    if job.known.as_ref().is_some_and(|known| known.occupations != Occupations::default()) {
        return fault(&["known", "occupations"], ValueFault::KnownOccupied);
    }
    for (key, sigma) in [("sigma_horizontal_m", bases.sigma_horizontal_m), ("sigma_vertical_m", bases.sigma_vertical_m)] {
        if sigma.is_some_and(|sigma| !is_sigma(sigma)) {
            return fault(&["bases", key], ValueFault::NotAboveZero(key));
        }
    }
    Ok(())
}

fn check_instruments(job: &Job) -> Result<(), KeyFault> {
    for instrument in job.instrument.iter().chain(job.instruments.values()) {
        check_instrument(instrument).map_err(|problem| {
            let table = if job.instrument.is_some() { "instrument" } else { "instruments" };
            (vec![table], ValueFault::Instrument { table, fault: problem }.into())
        })?;
    }
    if let Some(one) = &job.instrument {
        calibration::check(&one.calibrations).or_else(|problem| {
            fault(&["instrument", "calibrations"], ValueFault::Calibrations { table: "instrument".into(), fault: problem })
        })?;
    }
    for (name, instrument) in &job.instruments {
        calibration::check(&instrument.calibrations).or_else(|problem| {
            fault(&["instruments"], ValueFault::Calibrations { table: format!("instruments.{name}"), fault: problem })
        })?;
    }
    Ok(())
}

fn check_north(job: &Job) -> Result<(), KeyFault> {
    let north = &job.north;
    if north.sigma_declination_deg.is_some_and(|sigma| !(0.0..=180.0).contains(&sigma)) {
        return fault(&["north", "sigma_declination_deg"], ValueFault::NotInHalfCircle("sigma_declination_deg"));
    }
    if !(0.0..=180.0).contains(&north.sigma_orientation_deg) {
        return fault(&["north", "sigma_orientation_deg"], ValueFault::NotInHalfCircle("sigma_orientation_deg"));
    }
    if let Declination::Degrees(degrees) = north.declination
        && !(-180.0..=180.0).contains(&degrees)
    {
        return fault(&["north", "declination"], ValueFault::Declination(degrees));
    }
    Ok(())
}

/// The limits of the checks on rows, and the heights of instrument, target and antenna.
fn check_limits(job: &Job) -> Result<(), KeyFault> {
    if let Some([west, south, east, north]) = job.checks.area_deg {
        let longitudes = [west, east].iter().all(|lon| (-180.0..=180.0).contains(lon));
        if !longitudes || !(-90.0..=90.0).contains(&south) || !(south..=90.0).contains(&north) {
            return fault(&["checks", "area_deg"], ValueFault::Area);
        }
    }
    for (key, value) in [("steep_deg", job.checks.steep_deg), ("agreement_sigmas", job.checks.agreement_sigmas)] {
        if !(value > 0.0 && value.is_finite()) {
            return fault(&["checks", key], ValueFault::NotAboveZero(key));
        }
    }
    for (key, height) in [
        ("instrument_height_m", job.heights.instrument_height_m),
        ("target_height_m", job.heights.target_height_m),
        ("antenna_height_m", job.heights.antenna_height_m),
    ] {
        if height.is_some_and(|height| !height.is_finite()) {
            return fault(&["heights", key], ValueFault::NoMetres(key));
        }
    }
    Ok(())
}

/// What goes with a local frame, or without bases.
fn check_local(job: &Job) -> Result<(), KeyFault> {
    if job.has_no_bases() && job.bases != Bases::default() {
        return fault(&["bases", "files"], ValueFault::NoFileOfBases);
    }
    if job.has_no_bases() && !job.crs.is_empty() && job.crs != crate::geodesy::LOCAL {
        return fault(&["crs"], ValueFault::CrsWithoutBases);
    }
    if job.has_no_bases() && (job.known.is_some() || job.network.is_some()) {
        let key = if job.known.is_some() { "known" } else { "network" };
        return fault(&[key], ValueFault::NeedsBases(key));
    }
    for (table, bases) in std::iter::once(("bases", &job.bases)).chain(job.known.iter().map(|known| ("known", known))) {
        if bases.crs.as_deref().is_some_and(|crs| crs != crate::geodesy::LOCAL) || !bases.crs_by_value.is_empty() {
            return fault(&[table, "crs"], ValueFault::CrsInLocalFrame(table));
        }
    }
    match job.formats.iter().find_map(|format| format.wants_the_earth()).filter(|_| job.local_fit().is_none()) {
        Some(problem) => fault(&["formats"], ValueFault::FormatWantsTheEarth(problem)),
        None => Ok(()),
    }
}

/// What goes with the fit of a local frame.
fn check_fit(job: &Job) -> Result<(), KeyFault> {
    if job.local_fit().is_none() {
        return Ok(());
    }
    if job.crs != crate::geodesy::LOCAL || job.has_no_bases() {
        return fault(&["local", "fit"], ValueFault::FitOfNoFrame);
    }
    if job.network.is_some() || job.has_free_circles() {
        return fault(&["local", "fit"], ValueFault::FitAndNetwork);
    }
    Ok(())
}

/// Values of the keys on fixes, occupations and joins.
fn check_gnss(job: &Job) -> Result<(), KeyFault> {
    for bases in [Some(&job.bases), job.known.as_ref()].into_iter().flatten() {
        if let Some(date) = &bases.date
            && date.parse::<jiff::civil::Date>().is_err()
        {
            return fault(&["bases", "date"], ValueFault::NoDay(date.clone()));
        }
        if bases.epoch.is_some_and(|epoch| !(1900.0..2200.0).contains(&epoch)) {
            return fault(&["bases", "epoch"], ValueFault::Epoch);
        }
    }
    for (table, log) in logs(job) {
        if !(-GREATEST_CLOCK_OFFSET_S..=GREATEST_CLOCK_OFFSET_S).contains(&log.clock_offset_s) {
            return fault(&[table, "clock_offset_s"], ValueFault::ClockOffset(log.clock_offset_s));
        }
    }
    for (table, log) in logs(job) {
        if log.radius_share.is_some_and(|share| !(0.01..=0.9999).contains(&share)) {
            return fault(&[table, "radius_share"], ValueFault::RadiusShare);
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
            return fault(&["bases", "occupations", key], ValueFault::BelowZero(key));
        }
    }
    if occupations.list.is_some() {
        let path = ["bases", "occupations", "list"];
        if occupations.from.is_some_and(|from| from != OccupationSource::List) {
            return fault(&path, ValueFault::ListNotRead);
        }
        if job.join.by == Some(JoinBy::Interpolated) {
            return fault(&path, ValueFault::ListAndInterpolated);
        }
    }
    for (key, value) in [("limit_s", job.join.limit_s), ("gap_s", job.join.gap_s)] {
        if value.is_nan() || value < 0.0 {
            return fault(&["join", key], ValueFault::BelowZero(key));
        }
    }
    let quality = &job.bases.quality;
    for (key, value) in [("greatest_hdop", quality.greatest_hdop), ("greatest_pdop", quality.greatest_pdop)] {
        if value.is_some_and(|value| !is_sigma(value)) {
            return fault(&["bases", "quality", key], ValueFault::NotAboveZero(key));
        }
    }
    for (key, value) in
        [("sigma_geoid_grid_m", job.heights.sigma_geoid_grid_m), ("sigma_separation_m", job.heights.sigma_separation_m)]
    {
        if value.is_some_and(|value| !is_sigma(value)) {
            return fault(&["heights", key], ValueFault::NotAboveZero(key));
        }
    }
    let north = &job.north;
    if !(-180.0..=180.0).contains(&north.local_correction_deg) {
        return fault(&["north", "local_correction_deg"], ValueFault::LocalCorrection);
    }
    if !(0.0..=180.0).contains(&north.fore_back_limit_deg) {
        return fault(&["north", "fore_back_limit_deg"], ValueFault::NotInHalfCircle("fore_back_limit_deg"));
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

fn check_instrument(instrument: &Instrument) -> Result<(), InstrumentFault> {
    let sigmas = [
        ("sigma_distance_m", instrument.sigma_distance_m),
        ("sigma_azimuth_deg", instrument.sigma_azimuth_deg),
        ("sigma_inclination_deg", instrument.sigma_inclination_deg),
    ];
    for (key, sigma) in sigmas {
        if sigma.is_some_and(|sigma| !is_sigma(sigma)) {
            return Err(InstrumentFault::NotAboveZero(key));
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
            return Err(InstrumentFault::Outside { key, value, least, greatest });
        }
    }
    if let (Some(least), Some(greatest)) = (instrument.least_distance_m, instrument.greatest_distance_m)
        && least >= greatest
    {
        return Err(InstrumentFault::NoReach { least, greatest });
    }
    Ok(())
}
