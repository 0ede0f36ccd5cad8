//! Instruments with every value settled: standard errors, and the corrections of a day.

use jiff::civil::Date;

use crate::geodesy::register::Shares;
use crate::job::{Calibration, Instrument};
use crate::records::echo::Echo;

/// Standard errors of a hand-held instrument where the job states none (common practice, no source).
pub const ASSUMED_SIGMA_DISTANCE_M: f64 = 0.3;
/// See [`ASSUMED_SIGMA_DISTANCE_M`].
pub const ASSUMED_SIGMA_AZIMUTH_DEG: f64 = 1.0;
/// See [`ASSUMED_SIGMA_DISTANCE_M`].
pub const ASSUMED_SIGMA_INCLINATION_DEG: f64 = 0.25;

/// An instrument with every value settled, in radians and metres.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Kit {
    /// Standard error of an azimuth.
    pub sigma_azimuth_rad: f64,
    /// Standard error of an inclination.
    pub sigma_inclination_rad: f64,
    sigma_distance_m: f64,
    sigma_distance_ratio: f64,
    /// What is added to azimuths.
    pub azimuth_correction_rad: f64,
    /// What is added to inclinations.
    pub inclination_correction_rad: f64,
    /// What is added to distances.
    pub distance_correction_m: f64,
    reflector_constant_m: f64,
    /// Standard error of the azimuth correction: shared by all shots of one calibration.
    pub sigma_azimuth_correction_rad: f64,
    /// Standard error of the inclination correction: shared likewise.
    pub sigma_inclination_correction_rad: f64,
    /// Standard error of the distance correction: shared likewise.
    pub sigma_distance_correction_m: f64,
    /// Which calibration these corrections are of: counted from 1 over all instruments of a job, 0 where they have no error.
    pub calibration: u32,
    /// Coefficient of refraction.
    pub refraction: f64,
    pub(crate) range_m: (Option<f64>, Option<f64>),
}

impl Kit {
    /// Standard error of a distance of `distance_m`.
    pub fn sigma_distance_m(&self, distance_m: f64) -> f64 {
        let by_length = self.sigma_distance_ratio * distance_m;
        if by_length == 0.0 { self.sigma_distance_m } else { self.sigma_distance_m.hypot(by_length) }
    }

    /// What its readings share with all others of its calibration; no declination.
    pub fn shares(&self) -> Shares {
        Shares {
            calibration: self.calibration,
            azimuth_rad: self.sigma_azimuth_correction_rad,
            inclination_rad: self.sigma_inclination_correction_rad,
            distance_m: self.sigma_distance_correction_m,
            ..Shares::default()
        }
    }

    /// The corrections with their standard errors in words: two calibrations of one instrument differ in them.
    pub fn corrections(&self) -> String {
        format!(
            "azimuths {} ± {}°, inclinations {} ± {}°, distances {} ± {} m",
            self.azimuth_correction_rad.to_degrees(),
            self.sigma_azimuth_correction_rad.to_degrees(),
            self.inclination_correction_rad.to_degrees(),
            self.sigma_inclination_correction_rad.to_degrees(),
            self.distance_correction_m,
            self.sigma_distance_correction_m
        )
    }

    /// The kit for a distance by an echo: a reflector has a constant of its own.
    pub(crate) fn for_echo(mut self, echo: Option<Echo>) -> Kit {
        if echo == Some(Echo::Prism) {
            self.distance_correction_m += self.reflector_constant_m;
        }
        self
    }

    /// The kit with the corrections that a calibration gives; those that it leaves out stay.
    fn calibrated(mut self, calibration: &Calibration) -> Kit {
        if let Some(degrees) = calibration.azimuth_correction_deg {
            self.azimuth_correction_rad = degrees.to_radians();
        }
        if let Some(degrees) = calibration.inclination_correction_deg {
            self.inclination_correction_rad = degrees.to_radians();
        }
        if let Some(metres) = calibration.distance_correction_m {
            self.distance_correction_m = metres;
        }
        self.sigma_azimuth_correction_rad = calibration.sigma_azimuth_correction_deg.unwrap_or(0.0).to_radians();
        self.sigma_inclination_correction_rad = calibration.sigma_inclination_correction_deg.unwrap_or(0.0).to_radians();
        self.sigma_distance_correction_m = calibration.sigma_distance_correction_m.unwrap_or(0.0);
        self
    }
}

/// An instrument through time: its own values, and those of its calibrations.
#[derive(Debug, Clone)]
pub(crate) struct Kits {
    own: Kit,
    /// First day, last day and kit of each calibration; the ranges share no day and stand in their order.
    dated: Vec<(Option<Date>, Option<Date>, Kit)>,
}

impl Kits {
    /// Numbers the calibrations from one more than `last`, which becomes the last number given.
    pub fn number(&mut self, last: &mut u32) {
        for (_, _, kit) in &mut self.dated {
            *last += 1;
            kit.calibration = *last;
        }
    }

    /// The kits of its calibrations, in the order of their numbers.
    pub fn calibrations(&self) -> impl Iterator<Item = &Kit> {
        self.dated.iter().map(|(_, _, kit)| kit)
    }

    /// The kit of a date. An error where it hangs on a date that is not known.
    pub fn at(&self, date: Option<Date>) -> Result<Kit, ()> {
        match (self.dated.as_slice(), date) {
            ([], _) => Ok(self.own),
            ([(None, None, kit)], _) => Ok(*kit),
            (_, None) => Err(()),
            (dated, Some(date)) => {
                // The last range that has begun.
                let begun = dated.partition_point(|(from, _, _)| from.is_none_or(|from| from <= date));
                Ok(match begun.checked_sub(1).map(|i| &dated[i]) {
                    Some((_, to, kit)) if to.is_none_or(|to| date <= to) => *kit,
                    _ => self.own,
                })
            }
        }
    }
}

impl From<&Instrument> for Kits {
    fn from(instrument: &Instrument) -> Kits {
        let own = Kit::from(instrument);
        let mut dated: Vec<_> = instrument
            .calibrations
            .iter()
            .map(|calibration| (calibration.from.map(|day| day.0), calibration.to.map(|day| day.0), own.calibrated(calibration)))
            .collect();
        dated.sort_by_key(|(from, _, _)| *from);
        Kits { own, dated }
    }
}

impl From<&Instrument> for Kit {
    fn from(instrument: &Instrument) -> Kit {
        Kit {
            sigma_azimuth_rad: instrument.sigma_azimuth_deg.unwrap_or(ASSUMED_SIGMA_AZIMUTH_DEG).to_radians(),
            sigma_inclination_rad: instrument.sigma_inclination_deg.unwrap_or(ASSUMED_SIGMA_INCLINATION_DEG).to_radians(),
            sigma_distance_m: instrument.sigma_distance_m.unwrap_or(ASSUMED_SIGMA_DISTANCE_M),
            sigma_distance_ratio: instrument.sigma_distance_ppm * 1e-6,
            azimuth_correction_rad: instrument.azimuth_correction_deg.to_radians(),
            inclination_correction_rad: instrument.inclination_correction_deg.to_radians(),
            distance_correction_m: instrument.distance_correction_m,
            reflector_constant_m: instrument.reflector_constant_m,
            sigma_azimuth_correction_rad: 0.0,
            sigma_inclination_correction_rad: 0.0,
            sigma_distance_correction_m: 0.0,
            calibration: 0,
            refraction: instrument.refraction,
            range_m: (instrument.least_distance_m, instrument.greatest_distance_m),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::job::Day;

    #[test]
    fn a_share_of_the_distance_is_added_in_quadrature() {
        let kit = Kit { sigma_distance_m: 0.1, sigma_distance_ratio: 0.0, ..Kit::from(&Instrument::default()) };
        assert_eq!(kit.sigma_distance_m(1234.5), 0.1);
        let kit = Kit { sigma_distance_m: 0.3, sigma_distance_ratio: 0.004, ..kit };
        assert!((kit.sigma_distance_m(100.0) - 0.5).abs() < 1e-15);
        assert_eq!(kit.sigma_distance_m(0.0), 0.3);
    }

    #[test]
    fn the_kit_is_that_of_the_date() {
        let date = |text: &str| text.parse::<Date>().unwrap();
        let calibration = |from: Option<&str>, to: Option<&str>, azimuth_correction_deg| Calibration {
            from: from.map(date).map(Day),
            to: to.map(date).map(Day),
            azimuth_correction_deg: Some(azimuth_correction_deg),
            sigma_azimuth_correction_deg: Some(0.2),
            ..Calibration::default()
        };
        let mut instrument = Instrument { azimuth_correction_deg: 9.0, inclination_correction_deg: 0.5, ..Instrument::default() };
        let at = |instrument: &Instrument, day: &str| {
            let kit = Kits::from(instrument).at(Some(date(day))).unwrap();
            (kit.azimuth_correction_rad.to_degrees().round(), kit.sigma_azimuth_correction_rad > 0.0)
        };
        assert_eq!(at(&instrument, "2026-05-04"), (9.0, false));
        assert!(Kits::from(&instrument).at(None).is_ok());
        instrument.calibrations = vec![
            calibration(Some("2026-08-01"), None, 3.0),
            calibration(None, Some("2026-03-31"), 1.0),
            calibration(Some("2026-04-01"), Some("2026-06-30"), 2.0),
        ];
        for (day, correction) in [
            ("1999-01-01", 1.0),
            ("2026-03-31", 1.0),
            ("2026-04-01", 2.0),
            ("2026-06-30", 2.0),
            ("2026-08-01", 3.0),
            ("2099-01-01", 3.0),
        ] {
            assert_eq!(at(&instrument, day), (correction, true), "{day}");
        }
        // In no range: the instrument's own.
        assert_eq!(at(&instrument, "2026-07-01"), (9.0, false));
        assert_eq!(at(&instrument, "2026-07-31"), (9.0, false));
        let kits = Kits::from(&instrument);
        assert!(kits.at(None).is_err());
        // What a calibration leaves out is the instrument's own.
        assert_eq!(kits.at(Some(date("2026-05-01"))).unwrap().inclination_correction_rad, 0.5f64.to_radians());
        // One for every date needs none.
        instrument.calibrations = vec![calibration(None, None, 4.0)];
        assert_eq!(Kits::from(&instrument).at(None).unwrap().azimuth_correction_rad, 4f64.to_radians());
    }
}
