//! Sentences of one epoch put together, kinds of fix, talkers, speeds, and the account of lines.

use jiff::civil::date;

use super::{gga, instants, log, read_all, rmc, sentence};
use crate::intake::nmea::looks_like;
use crate::job::FixKind;
use crate::records::base_row::{Coordinates, Height};
use crate::records::fix::{Fix, FixLog};
use crate::records::ledger::Reason;

fn logged(bodies: &[&str]) -> FixLog {
    read_all(&log(bodies), Some(date(2026, 5, 16)))
}

fn one(bodies: &[&str]) -> Fix {
    let log = logged(bodies);
    let [fix] = <[Fix; 1]>::try_from(log.fixes).unwrap();
    assert_eq!(log.held, [], "{bodies:?}");
    fix
}

#[test]
fn all_sentences_of_an_epoch_make_one_fix() {
    let fix = one(&[
        "GNRMC,101530.20,A,1230.6000,S,07715.3000,W,36.0,90.0,160526,,,R,V",
        "GNVTG,90.0,T,,M,35.0,N,64.8,K,R",
        "GNGNS,101530.20,1230.6001,S,07715.3000,W,RRNN,17,0.8,40.0,21.5,1.0,0007,V",
        "GNGGA,101530.20,1230.6000,S,07715.3000,W,4,18,0.7,41.25,M,21.50,M,1.0,0007",
        "GNGSA,A,3,01,02,03,04,,,,,,,,,1.5,0.9,1.2,1",
        "GNGSA,A,3,65,66,67,68,,,,,,,,,1.4,1.0,1.2,2",
        "GNGST,101530.20,1.1,0.014,0.009,34.5,0.011,0.012,0.021",
        "GNZDA,101530.20,16,05,2026,00,00",
        "GNGSV,1,1,01,02,45,120,40,1",
    ]);
    let expected = Fix {
        file: 0,
        line: 4,
        instant: "2026-05-16T10:15:30.2Z".parse().unwrap(),
        coordinates: Coordinates::Geographic { lat_deg: -12.51, lon_deg: -77.255 },
        height: Some(Height::Orthometric(41.25)),
        separation_m: Some(21.5),
        kind: FixKind::Fixed,
        satellites: Some(18),
        hdop: Some(0.7),
        pdop: Some(1.4),
        sigma_m: Some([0.012, 0.011, 0.021]),
        // 36 knots are 36 × 1852 m an hour.
        speed_m_s: Some(18.52),
    };
    assert_eq!(fix, expected);
}

#[test]
fn the_order_of_the_position_sentences_does_not_matter() {
    let kinds = [
        "GNGNS,101530,1230.6000,S,07715.3000,W,A,17,0.8,40.0,21.5,,",
        "GNRMC,101530,A,1230.6000,S,07715.3000,W,0.0,,160526,,,A",
        "GNGGA,101530,1230.6000,S,07715.3000,W,1,17,0.8,41.0,M,21.5,M,,",
    ];
    for order in [[0, 1, 2], [0, 2, 1], [1, 0, 2], [1, 2, 0], [2, 0, 1], [2, 1, 0]] {
        let fix = one(&order.map(|i| kinds[i]));
        assert_eq!(fix.height, Some(Height::Orthometric(41.0)));
        assert_eq!(fix.line, order.iter().position(|i| *i == 2).unwrap() as u64 + 1);
    }
    assert_eq!(one(&[kinds[1], kinds[0]]).height, Some(Height::Orthometric(40.0)), "GNS before RMC");
    assert_eq!(one(&[kinds[1]]).height, None);
}

#[test]
fn a_late_sentence_finds_its_own_epoch() {
    let log = logged(&[&gga("101530.00"), &gga("101530.10"), "GNGST,101530.0,,,,,0.011,0.012,0.021", &gga("101530.20")]);
    let sigmas: Vec<_> = log.fixes.iter().map(|fix| fix.sigma_m).collect();
    assert_eq!(sigmas, [Some([0.012, 0.011, 0.021]), None, None]);
}

#[test]
fn dilutions_belong_to_the_epoch_that_they_stand_in() {
    let gsa = |pdop: &str| format!("GPGSA,A,3,01,02,03,,,,,,,,,,{pdop},1.1,1.0");
    let log = logged(&[&gsa("3.5"), &gga("101530"), &gsa("4.0"), &gga("101531"), &gsa("2.5"), &gsa("2.0"), &gga("101532")]);
    let pdops: Vec<_> = log.fixes.iter().map(|fix| fix.pdop).collect();
    assert_eq!(pdops, [Some(3.5), Some(2.0), None]);
    assert_eq!(log.other_lines, 4);
    let no_hdop = gga("101530").replace(",0.9,", ",,");
    assert_eq!(one(&[&no_hdop, &gsa("2.0")]).hdop, Some(1.1));
    assert_eq!(one(&[&gga("101530"), "GPGSA,A,1,,,,,,,,,,,,,99.99,99.99,99.99"]).pdop, None, "no fix, no dilution");
    assert_eq!(one(&[&gga("101530"), "GPGSA,A,1,,,,,,,,,,,,,,,"]).pdop, None);
    for (bad, column) in [
        ("GPGSA,A,4,01,02,03,,,,,,,,,,2.0,1.1,1.0", "mode"),
        ("GPGSA,X,3,01,02,03,,,,,,,,,,2.0,1.1,1.0", "selection"),
        ("GPGSA,A,3,01,02,03,,,,,,,,,,-2.0,1.1,1.0", "PDOP"),
        ("GPGSA,A,3,01,02,03,2.0,1.1,1.0", "number of fields"),
    ] {
        let log = logged(&[bad]);
        assert_eq!((log.held[0].fault.reason, &*log.held[0].fault.column), (Reason::Sentence, column));
    }
}

#[test]
fn every_talker_is_read_and_makers_own_sentences_are_passed_over() {
    for talker in ["GP", "GL", "GA", "GB", "BD", "GQ", "GI", "GN", "IN", "U7"] {
        assert_eq!(one(&[&gga("101530").replace("GPGGA", &format!("{talker}GGA"))]).satellites, Some(9));
    }
    let log = logged(&["PXXXR,1,2", "PXGGA,1", "GPGLL,1230.6,S,07715.3,W,101530,A", "GPTXT,01,01,02,antenna ok"]);
    assert_eq!((log.other_lines, log.held.len()), (4, 0));
    for odd in ["GGA,101530", "gpgga,101530", "GPXGGA,101530", "G PGGA,1"] {
        assert_eq!(logged(&[odd]).held[0].fault.column, "address", "{odd}");
    }
    let encapsulated = sentence("AIVDM,1,1,,A,1,0").replacen('$', "!", 1);
    assert_eq!(read_all(&encapsulated, None).other_lines, 1);
}

#[test]
fn kinds_of_fix() {
    use FixKind::*;
    let digits = [Single, Differential, Single, Fixed, Float, Estimated, Manual, Simulated];
    for (digit, kind) in (1..).zip(digits) {
        assert_eq!(one(&[&gga("101530").replace(",W,1,", &format!(",W,{digit},"))]).kind, kind);
    }
    for odd in ["9", "", "11", "A"] {
        let log = logged(&[&gga("101530").replace(",W,1,", &format!(",W,{odd},"))]);
        assert_eq!((log.held[0].fault.reason, &*log.held[0].fault.column), (Reason::Sentence, "quality"), "{odd}");
    }
    let letters =
        [("A", Single), ("D", Differential), ("R", Fixed), ("F", Float), ("E", Estimated), ("M", Manual), ("S", Simulated)];
    for (letter, kind) in letters {
        assert_eq!(one(&[&rmc("101530", "160526").replace(",,,A", &format!(",,,{letter}"))]).kind, kind);
        let gns = format!("GNGNS,101530,1230.6,S,07715.3,W,N{letter}N,17,0.8,40.0,21.5,,");
        assert_eq!(one(&[&gns]).kind, kind);
    }
    assert_eq!(one(&["GNGNS,101530,1230.6,S,07715.3,W,ADRF,17,0.8,40.0,21.5,,"]).kind, Fixed, "the best of four systems");
    assert_eq!(one(&["GPRMC,101530,A,1230.6,S,07715.3,W,0.0,,160526,,"]).kind, Unknown, "before mode letters were told");
    assert_eq!(one(&["GPRMC,101530,A,1230.6,S,07715.3,W,0.0,,160526,,,"]).kind, Unknown);
    for (body, reason, column) in [
        ("GNGNS,101530,,,,,NN,00,,,,,", Reason::NoFix, "mode"),
        ("GNGNS,101530,1230.6,S,07715.3,W,Ax,17,0.8,40.0,21.5,,", Reason::Sentence, "mode"),
        ("GNGNS,101530,1230.6,S,07715.3,W,,17,0.8,40.0,21.5,,", Reason::Sentence, "mode"),
        ("GPRMC,101530,A,1230.6,S,07715.3,W,0.0,,160526,,,N", Reason::NoFix, "mode"),
        ("GPRMC,101530,A,1230.6,S,07715.3,W,0.0,,160526,,,X", Reason::Sentence, "mode"),
        ("GPRMC,101530,A,1230.6,S,07715.3,W,0.0,,160526,,,AA", Reason::Sentence, "mode"),
        ("GPRMC,,V,,,,,,,,,,N", Reason::NoFix, "status"),
        ("GPRMC,101530,B,1230.6,S,07715.3,W,0.0,,160526,,,A", Reason::Sentence, "status"),
    ] {
        let log = logged(&[body]);
        assert_eq!((log.held[0].fault.reason, &*log.held[0].fault.column), (reason, column), "{body}");
    }
}

#[test]
fn speeds() {
    let with = |vtg: &str| one(&[&gga("101530"), vtg]).speed_m_s;
    assert_eq!(with("GPVTG,,T,,M,18.0,N,,K,A"), Some(9.26));
    assert_eq!(with("GPVTG,,T,,M,,N,36.0,K,A"), Some(10.0));
    assert_eq!(with("GPVTG,,T,,M,,N,,K,N"), None);
    assert_eq!(with("GPVTG,90.0,88.0,18.0,33.3"), None, "the oldest form names no units");
    assert_eq!(logged(&["GPVTG,,T,,M,-1.0,N,,K,A"]).held[0].fault.column, "speed");
    assert_eq!(logged(&[&rmc("101530", "160526").replace(",0.0,", ",-0.1,")]).held[0].fault.column, "speed");
}

#[test]
fn a_second_position_of_the_same_kind_and_time() {
    let again = gga("101530").replace("GPGGA", "GNGGA");
    let log = logged(&[&gga("101530"), &again]);
    assert_eq!((log.fixes.len(), log.other_lines), (1, 1), "the same position is merged");
    let elsewhere = gga("101530").replace("1230.6000", "1230.6010");
    let log = logged(&[&gga("101530"), &gga("101531"), &elsewhere]);
    assert_eq!((log.fixes.len(), log.held.len()), (2, 1));
    let fault = &log.held[0].fault;
    assert_eq!((&*fault.column, &*fault.value, log.held[0].line), ("time", "101530", 3));
    assert!(fault.sentence.starts_with("GGA of line 1 has the same time of day and another position"), "{fault:?}");
}

#[test]
fn a_broken_or_void_sentence_leaves_the_others_of_its_epoch() {
    let log = logged(&["GPGGA,101530,9130.6000,S,07715.3000,W,1,09,0.9,10.0,M,5.0,M,,", &rmc("101530", "160526")]);
    assert_eq!((log.fixes[0].line, log.fixes[0].height, log.held[0].line), (2, None, 1));
    let log = logged(&[&gga("101530"), "GPRMC,101530,V,,,,,,,160526,,,N"]);
    assert_eq!((log.fixes[0].line, log.held[0].fault.reason), (1, Reason::NoFix));
}

#[test]
fn heights_need_metres_and_may_be_absent() {
    let with = |tail: &str| format!("GPGGA,101530,1230.6,S,07715.3,W,1,09,0.9,{tail}");
    let fix = one(&[&with("10.0,M,,,,")]);
    assert_eq!((fix.height, fix.separation_m), (Some(Height::Orthometric(10.0)), None));
    assert_eq!(one(&[&with(",M,5.0,M,,")]).height, None);
    assert_eq!(logged(&[&with("10.0,,5.0,M,,")]).held[0].fault.column, "unit of the height");
    assert_eq!(logged(&[&with("10.0,M,5.0,f,,")]).held[0].fault.column, "unit of the geoid separation");
    for odd in ["inf", "nan", "1e3", "--1", ".", "+", "1.2.3", "١"] {
        assert_eq!(logged(&[&with(&format!("{odd},M,5.0,M,,"))]).held[0].fault.column, "height", "{odd}");
    }
    let huge = "9".repeat(400);
    assert_eq!(logged(&[&with(&format!("{huge},M,5.0,M,,"))]).held[0].fault.column, "height");
}

#[test]
fn zeros_have_no_sign_and_limits_are_allowed() {
    let at = |place: &str| match one(&[&format!("GPGGA,101530,{place},1,09,0.9,10.0,M,5.0,M,,")]).coordinates {
        Coordinates::Geographic { lat_deg, lon_deg } => (lat_deg, lon_deg),
        other => panic!("{other:?}"),
    };
    let (lat, lon) = at("0000.0,S,00000.0,W");
    assert!(lat == 0.0 && lat.is_sign_positive() && lon == 0.0 && lon.is_sign_positive());
    assert_eq!(at("9000.000,N,18000.000,E"), (90.0, 180.0));
    for odd in ["9000.001,N,00000.0,E", "0000.0,N,18000.001,E", "000.0,N,00000.0,E", "00-1.0,N,00000.0,E", "0000.0,n,00000.0,E"] {
        assert_eq!(logged(&[&format!("GPGGA,101530,{odd},1,09,0.9,10.0,M,5.0,M,,")]).held.len(), 1, "{odd}");
    }
}

#[test]
fn a_messy_log_accounts_for_every_line() {
    let good = sentence(&gga("101530"));
    let cut = &good[..good.len() - 9];
    let text = format!(
        "# Pier survey, receiver 2\r\n\r\n{good}\r\n  {}\n\u{fffd}\u{0}{good}\r\n{good}{good}\r\n{good}xyz\r\nönly noise\r\n{cut}",
        sentence(&gga("101531"))
    );
    let log = read_all(&text, Some(date(2026, 5, 16)));
    assert_eq!(instants(&log), ["2026-05-16T10:15:30Z", "2026-05-16T10:15:31Z"]);
    assert_eq!((log.fixes[0].line, log.fixes[1].line, log.other_lines), (3, 4, 2));
    let told: Vec<_> =
        log.held.iter().map(|held| (held.line, held.fault.reason, &*held.fault.column, &*held.fault.value)).collect();
    let followed = format!("{}xyz", &good[good.len() - 2..]);
    let expected = [
        (5, Reason::Sentence, "start sign", "\u{fffd}\u{0}"),
        (6, Reason::Sentence, "start sign", "GPGGA,101530,1230.60"),
        (7, Reason::Sentence, "checksum", &followed),
        (8, Reason::Sentence, "start sign", "önly noise"),
        (9, Reason::Checksum, "checksum", ""),
    ];
    assert_eq!(told, expected);
    assert_eq!(read_all("", None), FixLog::default());
}

#[test]
fn a_log_is_known_by_its_first_lines() {
    assert!(looks_like(&format!("\r\n# pier\r\nG,1,2\r\n{}", log(&[&gga("101530"), "GPGSV,1"]))));
    assert!(looks_like("!AIVDM,1,1,,A,1,0*00"));
    for other in ["", "\n\n", "# GPGGA", "base,lat_deg,lon_deg\nA,1,2\n", "$12.50,paid\n", "$\n$\n", "a,b\n$GPGGA,1\n"] {
        assert!(!looks_like(other), "{other}");
    }
}
