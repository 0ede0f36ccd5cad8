//! What the settings of a log say of how it is written.

use std::collections::BTreeMap;

use jiff::SignedDuration;

use super::error::SettingError;
use crate::intake::cell::{CellFormat, time_zone};
use crate::job::{LogFormat, SignFault};
use crate::numeric::words;
use crate::records::echo::Echo;
use crate::units::gps_time::LeapSeconds;

/// The standard error of each axis for a radius of 1 that holds a share of positions: of two axes that err alike and apart
/// from each other, the distance has a Rayleigh distribution, share = 1 - exp(-r²/2σ²) (N. L. Johnson, S. Kotz, N. Balakrishnan,
/// "Continuous Univariate Distributions" 1, ch. 18).
pub(super) fn sigma_of_radius(share: f64) -> f64 {
    1.0 / (-2.0 * (1.0 - share).ln()).sqrt()
}

/// What a log's words for echoes mean.
pub(super) fn returns(log: &LogFormat) -> Result<BTreeMap<String, Echo>, SettingError> {
    let meaning = |(word, echo): (&String, &String)| match Echo::read(echo) {
        Some(known) => Ok((words::bare(word), known)),
        None => Err(SettingError::Echo { word: word.clone(), echo: echo.clone() }),
    };
    log.returns.iter().map(meaning).collect()
}

/// How a log's settings say that its values are written; the decimal sign is found later.
pub(super) fn cell_format(log: &LogFormat) -> Result<CellFormat, SettingError> {
    let is_gps = log.time_zone.as_deref().is_some_and(|name| name.eq_ignore_ascii_case("gps"));
    let zone = log.time_zone.as_deref().filter(|_| !is_gps);
    Ok(CellFormat {
        no_reading: log.no_reading.clone(),
        time_zone: zone.map(time_zone).transpose()?,
        gps: is_gps.then(|| log.leap_seconds.clone().unwrap_or_else(LeapSeconds::builtin)),
        clock_offset: SignedDuration::try_from_secs_f64(log.clock_offset_s)
            .map_err(|_| SettingError::ClockOffset(log.clock_offset_s))?,
    })
}

/// Whether the signs that the job names are signs of numbers.
pub(super) fn check_signs(log: &LogFormat) -> Result<(), SignFault> {
    log.fault_of_signs().map_or(Ok(()), Err)
}
