//! An invented receiver: what it would log while it stands and walks about a place.

use std::ops::Range;

use jiff::tz::Offset;
use jiff::{SignedDuration, Timestamp};

/// The place, in degrees.
pub const LAT_DEG: f64 = 46.1;
pub const LON_DEG: f64 = 8.9;
/// Height of the antenna above mean sea level and of the geoid above the ellipsoid, in metres.
pub const UP_M: f64 = 20.0;
pub const SEPARATION_M: f64 = 50.0;
/// WGS 84.
const SEMI_MAJOR_M: f64 = 6_378_137.0;
const FLATTENING: f64 = 1.0 / 298.257_223_563;
/// Standard error of a horizontal axis of a stand-alone fix with HDOP 1, in metres; the height's is 1.8 times that.
pub const SINGLE_M: f64 = 2.0;
/// Default correlation time of a receiver's errors, in seconds.
pub const CORRELATION_S: f64 = 120.0;

/// Metres in a degree of latitude and of longitude at the place, from the radii of curvature in the
/// meridian and in the prime vertical.
fn metres_a_degree() -> [f64; 2] {
    let e2 = FLATTENING * (2.0 - FLATTENING);
    let (s, c) = LAT_DEG.to_radians().sin_cos();
    let w2 = 1.0 - e2 * s * s;
    let meridian = SEMI_MAJOR_M * (1.0 - e2) / w2.powf(1.5);
    let prime = SEMI_MAJOR_M / w2.sqrt();
    [meridian.to_radians(), (prime * c).to_radians()]
}

/// Latitude and longitude so many metres east and north of the place.
pub fn degrees([east_m, north_m]: [f64; 2]) -> [f64; 2] {
    let [lat, lon] = metres_a_degree();
    [LAT_DEG + north_m / lat, LON_DEG + east_m / lon]
}

/// Metres east and north of the place.
pub fn metres(lat_deg: f64, lon_deg: f64) -> [f64; 2] {
    let [lat, lon] = metres_a_degree();
    [(lon_deg - LON_DEG) * lon, (lat_deg - LAT_DEG) * lat]
}

/// So many seconds after 8 o'clock on 4 May 2026, UTC.
pub fn at(second: i64) -> Timestamp {
    "2026-05-04T08:00:00Z".parse::<Timestamp>().unwrap() + SignedDuration::from_secs(second)
}

/// A sentence with its checksum.
pub fn sentence(body: &str) -> String {
    format!("${body}*{:02X}\n", body.bytes().fold(0, |sum, byte| sum ^ byte))
}

/// Standard error of the mean of `count` fixes one a second, each with standard error `sigma_m`:
/// σ²/n² · (n + 2 Σ (n − k) e^(−k/T)), k from 1 to n − 1.
pub fn sigma_of_mean(sigma_m: f64, count: i32) -> f64 {
    let n = f64::from(count);
    let sum: f64 = (1..count).map(|k| (n - f64::from(k)) * (-f64::from(k) / CORRELATION_S).exp()).sum();
    sigma_m / n * (n + 2.0 * sum).sqrt()
}

/// A receiver and its log so far.
#[derive(Clone)]
pub struct Receiver {
    pub text: String,
    /// What second 0 is.
    pub start: Timestamp,
    /// Digit of GGA.
    pub quality: u8,
    pub hdop: f64,
    /// Logs GSA with this PDOP.
    pub pdop: Option<f64>,
    /// Logs GST with standard errors of east, north and height in metres.
    pub gst: Option<[f64; 3]>,
    /// Logs RMC, with the date and the speed.
    pub rmc: bool,
}

impl Receiver {
    pub fn new() -> Receiver {
        Receiver { text: String::new(), start: at(0), quality: 1, hdop: 1.0, pdop: None, gst: None, rmc: true }
    }

    /// Two minutes at (0, 0), 80 s of walking 100 m east, two minutes there.
    pub fn two_stands() -> Receiver {
        let mut receiver = Receiver::new();
        receiver.stand(0..120, [0.0, 0.0]);
        receiver.walk(120..200, [0.0, 0.0], [100.0, 0.0]);
        receiver.stand(200..320, [100.0, 0.0]);
        receiver
    }

    /// A fix each second.
    pub fn stand(&mut self, seconds: Range<i64>, place: [f64; 2]) {
        seconds.for_each(|second| self.fix(second, place, 0.02));
    }

    /// A fix each second, from one place to the other, which is reached at the end.
    pub fn walk(&mut self, seconds: Range<i64>, from: [f64; 2], to: [f64; 2]) {
        let span = (seconds.end - seconds.start) as f64;
        let [e, n] = [to[0] - from[0], to[1] - from[1]];
        for second in seconds.clone() {
            let part = (second - seconds.start) as f64 / span;
            self.fix(second, [from[0] + part * e, from[1] + part * n], e.hypot(n) / span);
        }
    }

    /// One fix: RMC, GGA, GSA and GST, as far as the receiver logs them.
    pub fn fix(&mut self, second: i64, place: [f64; 2], speed_m_s: f64) {
        let utc = Offset::UTC.to_datetime(self.start + SignedDuration::from_secs(second));
        let time = utc.strftime("%H%M%S.00").to_string();
        let [lat, lon] = degrees(place);
        let minutes = |degrees: f64| (degrees.trunc(), degrees.fract() * 60.0);
        let ((lat, lat_minutes), (lon, lon_minutes)) = (minutes(lat), minutes(lon));
        let position = format!("{lat:02.0}{lat_minutes:010.7},N,{lon:03.0}{lon_minutes:010.7},E");
        if self.rmc {
            let mode = ["N", "A", "D", "A", "R", "F", "E", "M", "S"][usize::from(self.quality)];
            let date = utc.strftime("%d%m%y");
            let knots = speed_m_s * 3600.0 / 1852.0;
            self.text += &sentence(&format!("GPRMC,{time},A,{position},{knots:.2},,{date},,,{mode}"));
        }
        let (quality, hdop) = (self.quality, self.hdop);
        self.text += &sentence(&format!("GPGGA,{time},{position},{quality},10,{hdop},{UP_M:.1},M,{SEPARATION_M:.1},M,,"));
        if let Some(pdop) = self.pdop {
            self.text += &sentence(&format!("GPGSA,A,3,01,02,03,04,05,06,,,,,,,{pdop},{hdop},1.0"));
        }
        if let Some([east, north, up]) = self.gst {
            self.text += &sentence(&format!("GPGST,{time},,,,,{north},{east},{up}"));
        }
    }
}
