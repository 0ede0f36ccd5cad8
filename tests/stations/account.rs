//! Every sentence of a receiver's log ends in one place, whatever became of it on the way.

use proptest::prelude::*;

use crate::stations::receiver::{Receiver, sentence};
use crate::stations::site::{Site, unnamed};

#[test]
fn bad_sentences_are_held_with_their_lines() {
    let mut lines: Vec<String> = Receiver::two_stands().text.lines().map(str::to_owned).collect();
    // RMC of second n stands on line 2 n + 1, GGA on line 2 n + 2.
    let gga = |second: usize| 2 * second + 1;
    lines[gga(10)] = lines[gga(10)].replace(",M,50.0", ",M,51.0");
    lines[gga(20)] = sentence("GPGGA,080020.00,,,,,0,00,,,M,,M,,").trim_end().to_owned();
    lines[gga(30)].truncate(30);
    lines[gga(40)] = sentence("GPGGA,080040.00,9646.0000000,N,00854.0000000,E,1,10,1,20.0,M,50.0,M,,").trim_end().to_owned();
    lines[gga(50)] = "noise".to_owned();
    lines[2 * 60] = sentence("GPRMC,080100.00,V,,,,,,,040526,,,N").trim_end().to_owned();
    let run = Site::new("log.nmea", lines.join("\r\n") + "\r\n", &unnamed(&[60])).map();
    assert_eq!(
        run.held(),
        [
            ("log.nmea", 22, "checksum"),
            ("log.nmea", 42, "no_fix"),
            ("log.nmea", 62, "checksum"),
            ("log.nmea", 82, "sentence"),
            ("log.nmea", 102, "sentence"),
            ("log.nmea", 121, "no_fix"),
        ]
    );
    assert!(run.held[0].sentence.starts_with("the checksum is "), "{}", run.held[0].sentence);
    assert!(run.held[1].sentence.contains("quality \"0\" says that the receiver had no fix"), "{}", run.held[1].sentence);
    assert!(run.held[3].sentence.contains("latitude \"9646.0000000\" is above 90 degrees"), "{}", run.held[3].sentence);
    // The RMC sentences of seconds 10, 20, 30, 40 and 50 are positions too, and stand in: 320 fixes.
    assert_eq!(run.counts("log.nmea"), [326, 240, 6, 80]);
}

#[test]
fn a_position_of_another_epoch_at_the_same_time_is_held() {
    let mut receiver = Receiver { rmc: false, ..Receiver::new() };
    receiver.stand(0..60, [0.0, 0.0]);
    // A clock that stood still for an epoch.
    receiver.fix(59, [0.5, 0.0], 0.0);
    let run = Site::new("log.nmea", receiver.text, &unnamed(&[60])).bases("date = \"2026-05-04\"").map();
    assert_eq!(run.held(), [("log.nmea", 61, "sentence")]);
    assert!(run.held[0].sentence.contains("did the receiver's clock stand still?"));
    assert_eq!(run.counts("log.nmea"), [61, 60, 1, 0]);
}

/// What may happen to a line of a log.
#[derive(Debug, Clone)]
enum Harm {
    Cut(usize),
    Changed(usize, char),
    Twice,
    Gone,
    Noise(String),
}

fn harm() -> impl Strategy<Value = Harm> {
    prop_oneof![
        (0usize..80).prop_map(Harm::Cut),
        ((0usize..80), proptest::char::range(' ', '~')).prop_map(|(at, sign)| Harm::Changed(at, sign)),
        Just(Harm::Twice),
        Just(Harm::Gone),
        "[ -~]{0,40}".prop_map(Harm::Noise),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 12, failure_persistence: None, ..ProptestConfig::default() })]

    /// `Site::map` itself holds the run to the account: every line counted once, held rows as they stand.
    #[test]
    fn whatever_happens_to_a_log(harms in proptest::collection::vec((0usize..640, harm()), 0..40)) {
        let mut lines: Vec<String> = Receiver::two_stands().text.lines().map(str::to_owned).collect();
        for (index, harm) in harms {
            let index = index % lines.len();
            match harm {
                Harm::Cut(at) => lines[index].truncate(at),
                Harm::Changed(at, sign) if at < lines[index].len() => lines[index].replace_range(at..=at, &sign.to_string()),
                Harm::Changed(..) => {}
                Harm::Twice => lines.insert(index, lines[index].clone()),
                Harm::Gone => drop(lines.remove(index)),
                Harm::Noise(noise) => lines[index] = noise,
            }
        }
        let run = Site::new("log.nmea", lines.join("\n") + "\n", &unnamed(&[60, 250])).map();
        let read = run.counts("log.nmea")[0] as usize;
        prop_assert!(read <= lines.len());
        prop_assert_eq!(run.features.len(), 2);
    }
}
