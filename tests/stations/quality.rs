//! What fixes must be good for: kind of fix, dilutions, number of epochs; and the shots of bases that are not.

use crate::stations::receiver::{Receiver, SINGLE_M, sigma_of_mean};
use crate::stations::site::{Mapped, PRINTED_M, Site, assert_at, assert_near, named, unnamed};

/// A minute at A with fixed ambiguities, a minute at B without corrections.
fn two_kinds() -> Receiver {
    let mut receiver = Receiver { quality: 4, ..Receiver::new() };
    receiver.stand(0..60, [0.0, 0.0]);
    receiver.quality = 1;
    receiver.stand(1000..1060, [100.0, 0.0]);
    receiver
}

fn map(receiver: Receiver, shots: &str, rules: &str) -> Mapped {
    Site::new("log.nmea", receiver.text, shots).bases(&format!("[bases.quality]\n{rules}")).map()
}

#[test]
fn fixes_of_a_kind_that_the_job_does_not_take() {
    let run = map(two_kinds(), &named(&[("A", 30), ("B", 1030)]), "least_fix = \"float\"");
    assert_eq!(run.names(), ["A"]);
    assert_eq!(run.base("A")["fix_kind"], "fixed 60");
    // Standard error of a fixed solution: 15 mm times HDOP.
    assert_near(run.base("A"), "sigma_horizontal_m", sigma_of_mean(0.015, 60), PRINTED_M);
    assert_eq!(run.counts("log.nmea"), [120, 60, 60, 0]);
    let held = run.held_of("log.nmea");
    assert!(
        held.iter().all(|held| held.reason == "poor_fix" && held.sentence == "the fix is single; the job wants float or better")
    );
    // GGA of second 1000 is the 61st.
    assert_eq!(held[0].source_line, 122);
    let [shot] = run.held_of("shots.csv")[..] else { panic!() };
    assert_eq!((shot.source_line, shot.reason.as_str()), (3, "unknown_base"));
    assert_eq!(
        shot.sentence,
        "base B has no position: no usable fix of a receiver lies between 2026-05-04T08:16:40Z and 2026-05-04T08:17:40Z"
    );
}

#[test]
fn estimated_and_simulated_fixes_are_taken_only_on_demand() {
    for (quality, word) in [(6, "estimated"), (7, "manual"), (8, "simulated")] {
        let mut receiver = two_kinds();
        receiver.quality = quality;
        receiver.stand(2000..2060, [200.0, 0.0]);
        let run = map(receiver.clone(), &unnamed(&[30]), "");
        assert_eq!(run.counts("log.nmea"), [180, 120, 60, 0], "{word}");
        let run = map(receiver, &unnamed(&[2030]), &format!("least_fix = \"{word}\""));
        assert_eq!(run.counts("log.nmea"), [180, 180, 0, 0], "{word}");
        assert_eq!(run.base("stop 3")["fix_kind"], format!("{word} 60"));
    }
}

#[test]
fn fixes_with_a_large_dilution() {
    let mut receiver = Receiver { pdop: Some(1.9), ..Receiver::new() };
    receiver.stand(0..60, [0.0, 0.0]);
    (receiver.hdop, receiver.pdop) = (3.5, Some(4.5));
    receiver.stand(60..70, [0.0, 0.0]);
    let all = map(receiver.clone(), &unnamed(&[30]), "");
    assert_eq!((all.base("stop 1")["hdop"].as_str(), all.base("stop 1")["pdop"].as_str()), ("3.5", "4.5"));
    for (rule, say) in [
        ("greatest_hdop = 2.0", "hdop 3.5 is above 2, the largest that the job allows"),
        ("greatest_pdop = 4.0", "pdop 4.5 is above 4, the largest that the job allows"),
    ] {
        let run = map(receiver.clone(), &unnamed(&[30]), rule);
        assert_eq!(run.counts("log.nmea"), [70, 60, 10, 0]);
        assert!(run.held.iter().all(|held| held.reason == "poor_fix" && held.sentence == say), "{:?}", run.held);
        assert_eq!((run.base("stop 1")["hdop"].as_str(), run.base("stop 1")["pdop"].as_str()), ("1", "1.9"));
        assert_near(run.base("stop 1"), "sigma_horizontal_m", sigma_of_mean(SINGLE_M, 60), PRINTED_M);
    }
}

#[test]
fn a_base_of_too_few_epochs_holds_its_shots() {
    let mut receiver = two_kinds();
    receiver.stand(2000..2009, [200.0, 0.0]);
    let shots = named(&[("A", 30), ("B", 1030), ("C", 2004)]);
    let run = map(receiver, &shots, "least_epochs = 10");
    assert_eq!(run.names(), ["A", "B"]);
    assert_eq!(run.counts("log.nmea"), [129, 120, 9, 0]);
    let say = "base C has 9 epochs; the job wants 10";
    assert!(run.held_of("log.nmea").iter().all(|held| held.reason == "few_epochs" && held.sentence == say));
    let [shot] = run.held_of("shots.csv")[..] else { panic!() };
    assert_eq!((shot.reason.as_str(), shot.sentence.as_str()), ("base_held", format!("base C was held: {say}").as_str()));
}

#[test]
fn points_meet_the_rules_too() {
    let log = "base,lat_deg,lon_deg,ellipsoid_height_m,fix_kind,hdop,pdop\n\
               A,46.1,8.9,70,fixed,0.9,1.5\nB,46.1,8.9,70,single,0.9,1.5\nC,46.1,8.9,70,Fixed,2.5,3\nD,46.1,8.9,70,fixed,1,6.5\n\
               E,46.1,8.9,70,good,1,2\n";
    let shots = named(&[("A", 0), ("B", 1), ("C", 2), ("D", 3), ("E", 4)]);
    let rules = "[bases.quality]\nleast_fix = \"float\"\ngreatest_hdop = 2.0\ngreatest_pdop = 6.0";
    let run = Site::new("points.csv", log, &shots).bases(rules).map();
    assert_eq!(run.joined(), [("1", "A")]);
    assert_at(run.shot("1"), [40.0, 0.0]);
    let sentences: Vec<(u64, &str)> =
        run.held_of("points.csv").iter().map(|held| (held.source_line, held.sentence.as_str())).collect();
    assert_eq!(
        sentences[..3],
        [
            (3, "the fix is single; the job wants float or better"),
            (4, "hdop 2.5 is above 2, the largest that the job allows"),
            (5, "pdop 6.5 is above 6, the largest that the job allows"),
        ]
    );
    assert!(sentences[3].1.starts_with("fix_kind \"good\" is no kind of fix; write one of simulated, manual,"));
    let shots: Vec<(u64, &str)> = run.held_of("shots.csv").iter().map(|held| (held.source_line, held.reason.as_str())).collect();
    assert_eq!(shots, [(3, "base_held"), (4, "base_held"), (5, "base_held"), (6, "base_held")]);
    assert_eq!(run.held_of("shots.csv")[0].sentence, "base B was held: the fix is single; the job wants float or better");
}
