//! Every sentence of `nmea_sentences.txt` against its label.

use std::str::FromStr;

use jiff::civil::Date;
use standoff::inside::intake::nmea::{Clues, looks_like, read};
use standoff::inside::records::base_row::{Coordinates, Height};
use standoff::inside::records::fix::{Fix, FixLog};
use standoff::inside::records::ledger::Reason;
use standoff::job::FixKind;

/// Half of the last printed digit of the degrees in the labels.
const LABEL_DEG: f64 = 0.5e-10;
/// Decimal fractions that are not exact in binary.
const ROUNDING: f64 = 1e-9;
/// What a label may tell and a fix does not keep.
const NOT_KEPT: [&str; 9] =
    ["age_s", "ref", "rms_m", "semi_major_m", "semi_minor_m", "orient_deg", "course_deg", "magvar", "nav_status"];

/// A labelled sentence.
struct Labelled {
    section: &'static str,
    label: String,
    sentence: String,
}

fn sentences() -> Vec<Labelled> {
    let path = format!("{}/tests/reference/nmea_sentences.txt", env!("CARGO_MANIFEST_DIR"));
    let text = std::fs::read_to_string(path).unwrap();
    let mut found = Vec::new();
    let mut above: Option<(&'static str, String)> = None;
    for line in text.lines() {
        let told = ["valid", "lenient", "broken"]
            .into_iter()
            .find_map(|section| Some((section, line.strip_prefix(&format!("# {section}: "))?.to_owned())));
        if told.is_some() {
            assert!(above.is_none(), "a label without a sentence: {above:?}");
            above = told;
        } else if !line.is_empty() && !line.starts_with('#') {
            let (section, label) = above.take().unwrap_or_else(|| panic!("a sentence without a label: {line}"));
            found.push(Labelled { section, label, sentence: line.to_owned() });
        }
    }
    assert!(above.is_none());
    found
}

fn section(name: &str, count: usize) -> Vec<Labelled> {
    let found: Vec<Labelled> = sentences().into_iter().filter(|found| found.section == name).collect();
    assert_eq!(found.len(), count, "sentences of the section {name}");
    found
}

/// A position at a time, for sentences that have none of their own.
fn position_at(time: &str) -> String {
    let body = format!("GPGGA,{time},4707.4813,S,12643.5291,W,1,09,0.92,18.3,M,-7.1,M,,");
    format!("${body}*{:02X}", body.bytes().fold(0, |sum, byte| sum ^ byte))
}

fn log(text: &str, date: Option<&str>) -> FixLog {
    read(text, 3, &Clues { date: date.map(|date| Date::from_str(date).unwrap()) })
}

/// The one fix of a valid sentence, helped out with what its kind does not tell.
fn fix_of(sentence: &str) -> Fix {
    let fields: Vec<&str> = sentence.split(',').collect();
    let (text, date, others, line) = match &fields[0][3..] {
        "GGA" => (sentence.to_owned(), Some("2025-06-14"), 0, 1),
        "RMC" => (sentence.to_owned(), None, 0, 1),
        "GST" => (format!("{sentence}\r\n{}\r\n", position_at(fields[1])), Some("2025-06-14"), 1, 2),
        "ZDA" => (format!("{sentence}\r\n{}\r\n", position_at(fields[1])), None, 1, 2),
        kind => panic!("{kind}"),
    };
    let FixLog { fixes, held, other_lines } = log(&text, date);
    assert_eq!((held, other_lines), (vec![], others), "{sentence}");
    let [fix] = <[Fix; 1]>::try_from(fixes).unwrap();
    assert_eq!((fix.file, fix.line), (3, line), "{sentence}");
    fix
}

fn assert_near(found: Option<f64>, expected: &str, tolerance: f64, what: &str) {
    let (found, expected) = (found.unwrap_or_else(|| panic!("{what} absent")), expected.parse::<f64>().unwrap());
    assert!((found - expected).abs() <= tolerance, "{what}: {found} against {expected}");
}

fn orthometric_m(fix: &Fix) -> Option<f64> {
    match fix.height {
        Some(Height::Orthometric(metres)) => Some(metres),
        Some(Height::Ellipsoid(_)) => panic!("a height of NMEA 0183 is above mean sea level"),
        None => None,
    }
}

/// Whether a fix has what one word of a label says; false where fixes do not keep it.
fn meets(fix: &Fix, key: &str, value: &str, what: &str) -> bool {
    let Coordinates::Geographic { lat_deg, lon_deg } = fix.coordinates else { panic!("{what}") };
    let sigma = |axis: usize| fix.sigma_m.map(|sigmas| sigmas[axis]);
    let civil = jiff::tz::Offset::UTC.to_datetime(fix.instant);
    match key {
        "lat" => assert_near(Some(lat_deg), value, LABEL_DEG, what),
        "lon" => assert_near(Some(lon_deg), value, LABEL_DEG, what),
        "msl_m" => assert_near(orthometric_m(fix), value, ROUNDING, what),
        "geoid_sep_m" => assert_near(fix.separation_m, value, ROUNDING, what),
        "ell_m" => assert_near(orthometric_m(fix).zip(fix.separation_m).map(|(h, n)| h + n), value, ROUNDING, what),
        "hdop" => assert_near(fix.hdop, value, ROUNDING, what),
        "speed_kn" => assert_near(fix.speed_m_s.map(|speed| speed * 3600.0 / 1852.0), value, ROUNDING, what),
        "sigma_lon_m" => assert_near(sigma(0), value, 0.0, what),
        "sigma_lat_m" => assert_near(sigma(1), value, 0.0, what),
        "sigma_alt_m" => assert_near(sigma(2), value, 0.0, what),
        "sats" => assert_eq!(fix.satellites, Some(value.parse().unwrap()), "{what}"),
        "date" => assert_eq!(civil.date(), value.parse().unwrap(), "{what}"),
        "utc" if value.contains('T') => assert_eq!(fix.instant, value.parse().unwrap(), "{what}"),
        "utc" => assert_eq!(civil.time(), value.parse().unwrap(), "{what}"),
        "quality" => {
            use FixKind::*;
            let kinds = [None, Some(Single), Some(Differential), Some(Single), Some(Fixed), Some(Float), Some(Estimated)];
            let kinds = [&kinds[..], &[Some(Manual), Some(Simulated)]].concat();
            assert_eq!(Some(fix.kind), kinds[value.parse::<usize>().unwrap()], "{what}");
        }
        "mode" => assert_eq!((value, fix.kind), ("R", FixKind::Fixed), "{what}"),
        _ => {
            assert!(NOT_KEPT.contains(&key), "{what}: {key} is not known");
            return false;
        }
    }
    true
}

#[test]
fn valid_sentences_give_what_their_labels_say() {
    let mut checked = 0;
    for Labelled { label, sentence, .. } in section("valid", 19) {
        assert!(looks_like(&sentence), "{sentence}");
        let fix = fix_of(&sentence);
        for (key, value) in label.split(' ').filter_map(|word| word.trim_end_matches(';').split_once('=')) {
            checked += usize::from(meets(&fix, key, value, &format!("{label}: {key}")));
        }
        assert_eq!(fix.separation_m.is_none(), label.contains("separation absent") || label.starts_with("RMC"), "{label}");
        assert_eq!(fix.sigma_m.is_some(), label.starts_with("GST"), "{label}");
        assert_eq!(fix.height.is_none(), label.starts_with("RMC"), "{label}");
        if label.contains("sigmas present") {
            assert_eq!(fix.sigma_m, Some([2.9, 3.2, 6.4]));
        }
    }
    assert_eq!(checked, 37, "values told by the labels");
}

#[test]
fn lenient_sentences_are_taken_but_for_the_one_without_a_checksum() {
    let [lower, missing, empty, long] = &section("lenient", 4)[..] else { panic!() };
    assert!(lower.label.contains("lower case"));
    assert_eq!(orthometric_m(&fix_of(&lower.sentence)), Some(18.3));

    assert!(missing.label.contains("no checksum"));
    assert_held(&log(&missing.sentence, Some("2025-06-14")), Reason::Checksum, "checksum", "", &missing.label);

    assert!(empty.label.contains("empty GST"));
    assert_eq!(fix_of(&empty.sentence).sigma_m, None);

    assert!(long.label.contains("longer than 82") && long.sentence.len() > 82);
    let fix = fix_of(&long.sentence);
    assert!(meets(&fix, "lat", "-47.1246878333", &long.label) && meets(&fix, "lon", "-126.7254855", &long.label));
    assert_eq!((orthometric_m(&fix), fix.separation_m, fix.kind), (Some(18.247), Some(-7.103), FixKind::Fixed));
}

fn assert_held(log: &FixLog, reason: Reason, column: &str, value: &str, label: &str) {
    assert_eq!((log.fixes.len(), log.other_lines), (0, 0), "{label}");
    let [held] = &log.held[..] else { panic!("{label}: {log:?}") };
    let fault = &held.fault;
    assert_eq!((fault.reason, &*fault.column, &*fault.value, held.line), (reason, column, value, 1), "{label}");
    assert!(!fault.sentence.is_empty());
}

/// Why a sentence is held, the field, and its value; `None` is a sound sentence of another kind.
type Outcome = Option<(Reason, &'static str, &'static str)>;

/// Broken sentences by the beginning of their label.
#[rustfmt::skip]
const BROKEN: [(&str, Outcome); 26] = [
    ("bad checksum (one bit off)", Some((Reason::Checksum, "checksum", "70"))),
    ("bad checksum (a digit", Some((Reason::Checksum, "checksum", "71"))),
    ("checksum not hexadecimal", Some((Reason::Checksum, "checksum", "G7"))),
    ("checksum of one digit", Some((Reason::Checksum, "checksum", "7"))),
    ("missing fields: GGA", Some((Reason::Sentence, "number of fields", "5"))),
    ("missing fields: GST", Some((Reason::Sentence, "number of fields", "4"))),
    ("missing hemisphere letter", Some((Reason::Sentence, "hemisphere of the latitude", ""))),
    ("wrong hemisphere letter", Some((Reason::Sentence, "hemisphere of the latitude", "E"))),
    ("no fix: GGA quality 0, empty", Some((Reason::NoFix, "quality", "0"))),
    ("no fix: GGA quality 0 with", Some((Reason::NoFix, "quality", "0"))),
    ("no fix: RMC status V", Some((Reason::NoFix, "status", "V"))),
    ("quality 1 but empty position", Some((Reason::Sentence, "latitude", ""))),
    ("minutes of latitude 60", Some((Reason::Sentence, "latitude", "4767.4813"))),
    ("latitude above 90", Some((Reason::Sentence, "latitude", "9100.0000"))),
    ("longitude above 180", Some((Reason::Sentence, "longitude", "18100.0000"))),
    ("time 25:61:61", Some((Reason::Sentence, "time", "256161.00"))),
    ("date 31 February", Some((Reason::Sentence, "date", "2025-02-31"))),
    ("height not a number", Some((Reason::Sentence, "height", "1x.3"))),
    ("height unit F", Some((Reason::Sentence, "unit of the height", "F"))),
    ("negative sigma", Some((Reason::Sentence, "sigma of the latitude", "-3.2"))),
    ("no start sign", Some((Reason::Sentence, "start sign", "GPGGA,101530.00,4707"))),
    ("two sentences run together", Some((Reason::Sentence, "start sign", "GPGGA,101530.00,4707"))),
    ("cut in the middle", Some((Reason::Checksum, "checksum", ""))),
    ("noise before the start sign", Some((Reason::Sentence, "start sign", "??x"))),
    ("unknown sentence type", None),
    ("empty line body", Some((Reason::Sentence, "address", ""))),
];

#[test]
fn broken_sentences_give_no_position_and_say_why() {
    let broken = section("broken", BROKEN.len());
    for (begins, outcome) in BROKEN {
        let found: Vec<&Labelled> = broken.iter().filter(|found| found.label.starts_with(begins)).collect();
        let [Labelled { label, sentence, .. }] = found[..] else { panic!("{begins}: {} labels", found.len()) };
        let log = log(sentence, Some("2025-06-14"));
        match outcome {
            Some((reason, column, value)) => assert_held(&log, reason, column, value, label),
            None => assert_eq!(log, FixLog { other_lines: 1, ..FixLog::default() }, "{label}"),
        }
    }
}

#[test]
fn the_whole_file_as_one_log_accounts_for_every_line() {
    let path = format!("{}/tests/reference/nmea_sentences.txt", env!("CARGO_MANIFEST_DIR"));
    let text = std::fs::read_to_string(path).unwrap();
    let log = log(&text, None);
    assert_eq!(log.fixes.len() + log.held.len() + log.other_lines as usize, text.lines().count());
}
