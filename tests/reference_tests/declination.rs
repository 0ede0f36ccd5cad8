//! Declination, its yearly change and its standard error against the published tables of the World Magnetic Model.

use jiff::civil::Date;
use standoff::inside::geodesy::north::{self, NorthError, WeakField};

use crate::reference::{Row, around_zero_deg, geodetic, table};

/// What single precision does to each horizontal component, in nT: one rounding of a field of 60,000 nT is 0.004 nT (2⁻²⁴
/// of it), and a sum of 90 terms gathers a dozen or so.
const SINGLE_PRECISION_NT: f64 = 0.05;
/// The published table of 2025 has X, and so H, off by up to 0.00072 nT.
const TABLE_SLIP_NT: f64 = 0.001;
/// Three rates of change of the WMM2020 report table are off beside their rounding; its collector takes 0.01 a year for all.
const REPORT_RATE_DEG: f64 = 0.01;

/// A row's place, its nearest day, and how many years that day is later than the row's decimal year.
fn place_and_day(row: &Row) -> (standoff::inside::geodesy::frame::Geodetic, Date, f64) {
    let decimal_year = row.number("decimal_year");
    let first = Date::new(decimal_year.floor() as i16, 1, 1).unwrap();
    let days_in_year = f64::from(first.days_in_year());
    let days = decimal_year.fract() * days_in_year;
    let date = first + jiff::Span::new().days(days.round() as i64);
    let at = geodetic(row.number("lat_deg"), row.number("lon_deg"), row.number("height_km") * 1000.0);
    (at, date, (days.round() - days) / days_in_year)
}

/// How far a declination moves where a horizontal component is off by `component_nt`: without bound as H goes to 0.
fn turned_deg(component_nt: f64, horizontal_nt: f64) -> f64 {
    (component_nt / horizontal_nt).to_degrees()
}

#[test]
fn declination_of_every_published_point() {
    let mut checked = 0;
    for row in table("wmm_test_values", 224) {
        let (at, date, later) = place_and_day(&row);
        let got = north::declination(&at, date).unwrap();
        assert_eq!(north::model_name(date), row.text("model"), "{date}");
        let (field, rate) = (row.number("H_nT"), row.number("dD_deg_per_yr"));
        // The product computes for whole days: the row is carried to its nearest day by its own rate.
        let apart = around_zero_deg(got.declination_rad.to_degrees() - row.number("D_deg") - rate * later);
        let allowed = row.half_digit("D_deg")
            + row.half_digit("dD_deg_per_yr") * later.abs()
            + turned_deg(SINGLE_PRECISION_NT + TABLE_SLIP_NT, field);
        assert!(apart.abs() < allowed, "{:?}: {got:?} is {apart}° off, {allowed}° allowed", row.0);
        let apart = got.horizontal_field_nt - field - row.number("dH_nT_per_yr") * later;
        let allowed = row.half_digit("H_nT")
            + row.half_digit("dH_nT_per_yr") * later.abs()
            // Both components.
            + SINGLE_PRECISION_NT * std::f64::consts::SQRT_2
            + TABLE_SLIP_NT;
        assert!(apart.abs() < allowed, "{:?}: {got:?} is {apart} nT off, {allowed} nT allowed", row.0);
        checked += 1;
    }
    assert_eq!(checked, 224);
}

#[test]
fn yearly_change_of_every_published_point() {
    /// Years before and after the date that the change is taken over, cut at the ends of the model's span.
    const STEP: f64 = 183.0 / 365.25;
    let mut checked = 0;
    for row in table("wmm_test_values", 224) {
        let (at, date, _) = place_and_day(&row);
        let got = north::yearly_change_rad(&at, date).unwrap().to_degrees();
        let (field, rate_deg) = (row.number("H_nT"), row.number("dD_deg_per_yr"));
        let (turn, growth) = (rate_deg.to_radians(), row.number("dH_nT_per_yr") / field);
        // X and Y are linear in time, so that D' = L/H² with L constant, whence D'' = -2D'H'/H and
        // |D'''| ≤ |D'|(2D'² + 6(H'/H)²). The quotient over a step to one side is off by D''/2 and D'''/6 of it.
        let curved = (0.5 * STEP * 2.0 * turn * growth).abs()
            + (STEP * STEP / 6.0 * turn * (2.0 * turn * turn + 6.0 * growth * growth)).abs();
        let printed = if row.text("table") == "report-12" { REPORT_RATE_DEG } else { row.half_digit("dD_deg_per_yr") };
        let allowed = printed + curved.to_degrees() * 1.01 + 2.0 * turned_deg(SINGLE_PRECISION_NT, field) / STEP;
        assert!((got - rate_deg).abs() < allowed, "{:?}: {got}, {allowed} allowed", row.0);
        checked += 1;
    }
    assert_eq!(checked, 224);
}

#[test]
fn standard_error_of_every_published_point() {
    let constants = table("wmm_error_model", 4);
    let constant = |model: &str, quantity: &str| {
        let mut found = constants.iter().filter(|row| row.text("model") == model && row.text("quantity") == quantity);
        let value = found.next().unwrap().number("value");
        assert!(found.next().is_none(), "{model} {quantity} stands twice");
        value
    };
    let mut checked = 0;
    for row in table("wmm_test_values", 224) {
        let (at, date, later) = place_and_day(&row);
        let got_deg = north::declination(&at, date).unwrap().sigma_rad.to_degrees();
        let field = row.number("H_nT") + row.number("dH_nT_per_yr") * later;
        let by_field = constant(row.text("model"), "sigma_D_coef") / field;
        let want = constant(row.text("model"), "sigma_D_const").hypot(by_field);
        // σ answers to H no more than b/H does, and is computed in single precision.
        let field_off = row.half_digit("H_nT") + row.half_digit("dH_nT_per_yr") * later.abs() + SINGLE_PRECISION_NT * 1.5;
        let allowed = by_field * field_off / field + 4.0 * want * f64::from(f32::EPSILON);
        assert!((got_deg - want).abs() < allowed, "{:?}: {got_deg}, published {want}, {allowed} allowed", row.0);
        checked += 1;
    }
    assert_eq!(checked, 224);
}

#[test]
fn weak_fields_of_the_published_points() {
    let (mut caution, mut blackout, mut strong) = (0, 0, 0);
    for row in table("wmm_test_values", 224) {
        let (at, date, _) = place_and_day(&row);
        let field = row.number("H_nT");
        // Zones of the technical report of WMM2025, section 1.8. No row lies within 89 nT of a limit.
        let (want, count) = match field {
            ..2000.0 => (Some(WeakField::Blackout), &mut blackout),
            ..6000.0 => (Some(WeakField::Caution), &mut caution),
            _ => (None, &mut strong),
        };
        assert_eq!(north::declination(&at, date).unwrap().zone, want, "{:?}", row.0);
        *count += 1;
    }
    assert_eq!((blackout, caution, strong), (5, 13, 206));
}

#[test]
fn dates_outside_the_models_are_refused() {
    let at = geodetic(46.0, 9.0, 250.0);
    for (date, model) in [
        (Date::constant(2020, 1, 1), "WMM2020"),
        (Date::constant(2024, 12, 31), "WMM2020"),
        (Date::constant(2025, 1, 1), "WMM2025"),
        (Date::constant(2029, 12, 31), "WMM2025"),
    ] {
        assert!(north::declination(&at, date).is_ok(), "{date}");
        assert_eq!(north::model_name(date), model);
    }
    for date in [Date::constant(2019, 12, 31), Date::constant(2030, 1, 1)] {
        let want = NorthError::Date { date };
        assert_eq!(north::declination(&at, date), Err(want.clone()));
        assert_eq!(
            want.to_string(),
            format!(
                "the World Magnetic Models built in cover 2020-01-01 to 2029-12-31, not {date}; \
                 write the declination of that date in degrees: declination = -1.5 under [north]"
            )
        );
    }
}

#[test]
fn yearly_change_outside_the_models_was_that_of_their_first_or_last_half_year() {
    for date in [Date::constant(2019, 12, 31), Date::constant(2030, 1, 1)] {
        let got = north::yearly_change_rad(&geodetic(46.0, 9.0, 250.0), date);
        assert_eq!(got, Err(NorthError::Date { date }));
    }
}

/// The published tables count longitudes to 240°; the crate under the product takes 180° at most.
#[test]
fn declination_is_the_same_a_full_turn_away() {
    let date = Date::constant(2026, 7, 1);
    let of = |lon_deg| north::declination(&geodetic(-80.0, lon_deg, 0.0), date).unwrap();
    assert_eq!(of(240.0), of(-120.0));
    assert_eq!(of(180.0), of(-180.0));
}
