//! What `standoff check` says of each base.

use crate::stations::receiver::{Receiver, SINGLE_M, sigma_of_mean};
use crate::stations::site::{Site, number, unnamed};

#[test]
fn each_base_in_a_block() {
    let mut receiver = Receiver::two_stands();
    receiver.fix(330, [100.0, 0.0], 5.0);
    let shots = unnamed(&[30, 250, 260]).replace("true_azimuth_deg", "magnetic_azimuth_deg");
    let site = Site::new("log.nmea", receiver.text, &shots);
    site.write("known.csv", "base,lat_deg,lon_deg,ellipsoid_height_m\ntower,46.101,8.9,90\n");
    let known = "[known]\nfiles = [\"known.csv\"]\ncrs = \"EPSG:4979\"\nsigma_horizontal_m = 0.1\nsigma_vertical_m = 0.2";
    let site = site.tables(known);
    let declination = number(site.map().shot("1"), "declination_deg");
    let out = crate::support::standoff(site.folder.path(), &["check", "job.toml", "--bases"]).exits(0).out;
    let sigma = sigma_of_mean(SINGLE_M, 120);
    let block = |name: &str| {
        let begin = out.find(&format!("{name}  ")).unwrap_or_else(|| panic!("no {name} in\n{out}"));
        let lines: Vec<&str> = out[begin..].lines().collect();
        let end = (1..lines.len()).find(|i| !lines[*i].starts_with("  ")).unwrap_or(lines.len());
        lines[..end].join("\n")
    };
    assert_eq!(
        block("stop 1"),
        format!(
            "stop 1  46.100000 N 8.900000 E, standard error {sigma:.2} m on each axis\n  \
             from    log.nmea:2, 120 fixes of 2026-05-04 08:00:00 to 08:01:59 UTC (119 s), 0 set aside, spread 0.00 m; single 120; \
             worst HDOP 1.0\n  \
             height  68.00 m above the ellipsoid, 18.00 m above the geoid; given as ellipsoidal, standard error {:.2} m; geoid +50.00 m \
             by the receiver's own table, standard error 1.00 m\n  \
             north   declination {declination:+.2} deg on 2026-05-04 (standard error 0.{}); convergence {:+.2} deg\n  \
             shots   1 shot mapped from it",
            1.8 * sigma,
            between(&out, "(standard error 0.", ");"),
            // (λ − 9°) sin φ.
            -0.1 * 46.1f64.to_radians().sin()
        )
    );
    assert!(block("stop 2").ends_with("shots   2 shots mapped from it"));
    assert!(
        block("tower").contains("from    known.csv:2\n") && block("tower").ends_with("shots   0 shots mapped from it"),
        "{out}"
    );
    assert!(out.contains(
        "3 of 3 shots mapped, 0 held, 0 flagged; 3 bases of 241 fixes and points, 0 held, 81 outside every occupation"
    ));
}

/// What stands between two texts: the model's standard error, which is held to its source elsewhere.
fn between<'t>(text: &'t str, before: &str, behind: &str) -> &'t str {
    let begin = text.find(before).unwrap_or_else(|| panic!("no {before:?} in\n{text}")) + before.len();
    let length = text[begin..].find(behind).unwrap_or_else(|| panic!("no {behind:?} in\n{text}"));
    &text[begin..begin + length]
}

#[test]
fn held_fixes_are_named_by_line() {
    let mut receiver = Receiver::new();
    receiver.stand(0..60, [0.0, 0.0]);
    receiver.text += "$GPGGA,080100.00,4606.0000000,N,00854.0000000,E,1,10,1,20.0,M,50.0,M,,*00\n";
    let ran = Site::new("log.nmea", receiver.text, &unnamed(&[30])).run("check").exits(0);
    assert!(ran.out.contains("  log.nmea:121: the checksum is 00, and that of what arrived is"), "{}", ran.out);
}
