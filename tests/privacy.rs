//! Places that a catalogue keeps coarse: whoever has the output, the job's text and the program gets no nearer than the cell.
//!
//! The strongest attacker is played by two worlds. In both the same marks stand at the same places, but the crew stood
//! elsewhere in the cell and the nests lie elsewhere in theirs, and the logs are what the instrument would have read there.
//! Where the two outputs are the same to the last byte, nothing in them tells the one world from the other, whatever is
//! computed from them. The readings are computed by the frame of the library, not by what maps them.

use crate::support;

use std::collections::BTreeSet;
use std::fmt::Write;
use std::fs;
use std::path::Path;

use standoff::inside::geodesy::frame::{Ellipsoid, Geodetic, LocalFrame};
use support::small::Small;
use support::*;

/// Metres east, north and up of the origin.
type Place = [f64; 3];

const EYE_M: f64 = 1.5;

fn origin() -> Geodetic {
    Geodetic { lat_rad: 58.6f64.to_radians(), lon_rad: (-2.9f64).to_radians(), ellipsoid_height_m: 60.0 }
}

fn at(place: Place) -> Geodetic {
    let frame = LocalFrame::at(&origin(), &Ellipsoid::WGS84);
    Geodetic::from_earth_centred(frame.to_earth_centred(place), &Ellipsoid::WGS84)
}

/// What an instrument over a base reads to a place: true azimuth, inclination, slope and horizontal distance.
#[derive(Clone, Copy)]
struct Sight {
    azimuth_deg: f64,
    inclination_deg: f64,
    slope_m: f64,
    horizontal_m: f64,
}

fn sight(base: Place, target: Place) -> Sight {
    let frame = LocalFrame::at(&at(base), &Ellipsoid::WGS84);
    let [east, north, up] = frame.from_earth_centred(at(target).to_earth_centred(&Ellipsoid::WGS84));
    let (horizontal_m, rise_m) = (east.hypot(north), up - EYE_M);
    Sight {
        azimuth_deg: east.atan2(north).to_degrees().rem_euclid(360.0),
        inclination_deg: rise_m.atan2(horizontal_m).to_degrees(),
        slope_m: horizontal_m.hypot(rise_m),
        horizontal_m,
    }
}

/// Where the crew stood and what is to be kept coarse.
#[derive(Clone, Copy)]
struct World {
    a: Place,
    b: Place,
    nest: Place,
    other_nest: Place,
}

/// Within one cell of 1000 m, as the tests make sure of.
const WORLDS: [World; 2] = [
    World { a: [20.0, 35.0, 3.0], b: [-60.0, 110.0, 7.0], nest: [140.0, 60.0, 21.0], other_nest: [90.0, -40.0, 11.0] },
    World { a: [55.5, -48.25, 9.5], b: [-95.0, 61.0, 1.0], nest: [71.0, 152.0, 33.0], other_nest: [-30.0, 171.0, 2.5] },
];

/// Marks that are given away exactly; no coordinate lies near half a metre of the grid, no height near half a decimetre.
const STAKE: Place = [101.3, 14.2, 12.53];
const POLE: Place = [64.1, -71.3, 5.31];
const TREE: Place = [-41.7, 22.4, 8.12];
const TOP: Place = [-41.7, 22.4, 31.33];
const FENCE: [Place; 4] = [[151.2, 101.1, 4.2], [171.2, 121.3, 5.1], [201.4, 118.2, 6.3], [220.1, 90.2, 5.9]];

const HEADER: &str = "shot,base,time,code,feature,string,role,measure,true_azimuth_deg,inclination_deg,slope_distance_m,\
                      horizontal_distance_m,species,remark\n";

const CATALOGUE: &str = r#"
[[codes]]
code = "nest"
title = "Nest"
layer = "nests"
geometry = "point"
attributes = ["species"]
[[codes]]
code = "mark"
title = "Mark"
layer = "marks"
geometry = "point"
tolerance_horizontal95_m = 2.0
attributes = ["species"]
[[codes]]
code = "fence"
title = "Fence"
layer = "fences"
geometry = "line"
[layers.nests]
coarse_cell_m = 1000
[attributes.species]
type = "text"
"#;

/// The logs of a world.
struct Log {
    world: World,
    text: String,
    rows: usize,
}

/// What a row says beside its readings.
#[derive(Clone, Copy, Default)]
struct Says<'t> {
    code: &'t str,
    feature: &'t str,
    string: &'t str,
    role: &'t str,
    measure: &'t str,
}

impl Log {
    fn new(world: World) -> Log {
        Log { world, text: HEADER.to_owned(), rows: 0 }
    }

    /// A row with the cells of its readings.
    fn row(&mut self, base: &str, says: Says, cells: [String; 4]) {
        self.rows += 1;
        let (id, Says { code, feature, string, role, measure }) = (self.rows, says);
        let [azimuth, inclination, slope, horizontal] = cells;
        let place = if base == "A" { self.world.a } else { self.world.b };
        // A column of the log that gives the base away.
        let remark = format!("stood at {:.3} {:.3}", place[0], place[1]);
        writeln!(
            self.text,
            "S{id},{base},2026-05-04T08:{:02}:{:02}Z,{code},{feature},{string},{role},{measure},{azimuth},{inclination},{slope},{horizontal},heron,{remark}",
            id / 60,
            id % 60
        )
        .unwrap();
    }

    fn sight(&self, base: &str, target: Place) -> Sight {
        sight(if base == "A" { self.world.a } else { self.world.b }, target)
    }

    /// A shot with azimuth, inclination and distance.
    fn shot(&mut self, base: &str, target: Place, says: Says) {
        let s = self.sight(base, target);
        self.row(base, says, [s.azimuth_deg.to_string(), s.inclination_deg.to_string(), s.slope_m.to_string(), String::new()]);
    }

    /// Angles alone.
    fn angles(&mut self, base: &str, target: Place, says: Says) {
        let s = self.sight(base, target);
        self.row(base, says, [s.azimuth_deg.to_string(), s.inclination_deg.to_string(), String::new(), String::new()]);
    }

    fn mark(&mut self, base: &str, target: Place, name: &str) {
        self.shot(base, target, Says { code: "mark", feature: name, ..Says::default() });
    }

    fn nest(&mut self, base: &str, target: Place, name: &str) {
        self.shot(base, target, Says { code: "nest", feature: name, ..Says::default() });
    }
}

fn part<'t>(measure: &'t str, feature: &'t str, role: &'t str, code: &'t str) -> Says<'t> {
    Says { measure, feature, role, code, ..Says::default() }
}

fn in_string<'t>(string: &'t str, code: &'t str, role: &'t str, feature: &'t str) -> Says<'t> {
    Says { string, code, role, feature, ..Says::default() }
}

/// Bases as delimited text, with more columns than the program knows.
fn bases(world: World) -> String {
    let mut text = "base,lat_deg,lon_deg,ellipsoid_height_m,seen\n".to_owned();
    for (name, place) in [("A", world.a), ("B", world.b)] {
        let at = at(place);
        writeln!(
            text,
            "{name},{},{},{},nest at {:.1} {:.1}",
            at.lat_rad.to_degrees(),
            at.lon_rad.to_degrees(),
            at.ellipsoid_height_m,
            world.nest[0],
            world.nest[1]
        )
        .unwrap();
    }
    text
}

/// A job of a world; `more` are lines of it.
fn job(log: &Log, more: &str) -> Small {
    let job = Small::new(&log.text, "catalogue = \"shore.toml\"", more);
    job.write("shore.toml", CATALOGUE);
    job.write("bases.csv", &bases(log.world));
    job
}

/// Maps both worlds: the outputs must be the same, and the exact ones different. Gives the two jobs.
#[track_caller]
fn nothing_is_told(what: &str, logs: impl Fn(&mut Log), change: impl Fn(&Small, World)) -> [Small; 2] {
    let jobs = WORLDS.map(|world| {
        let mut log = Log::new(world);
        logs(&mut log);
        let job = job(&log, "");
        change(&job, world);
        let ran = standoff(job.folder.path(), &["map", "job.toml", "--out", "out"]).exits(0);
        fs::write(job.folder.path().join("said.txt"), ran.out + &ran.err).unwrap();
        standoff(job.folder.path(), &["map", "job.toml", "--out", "exact", "--exact-places", "--quiet"]).exits(0);
        job
    });
    let of = |name: &str| jobs.each_ref().map(|job| job.folder.path().join(name));
    let [exact, other] = of("exact");
    assert!(difference(&exact, &other).is_some(), "{what}: the two worlds are one, and this test says nothing");
    for base in 0..2 {
        // The worlds are of one cell, or they may be told apart.
        let cell = |folder: &Path| {
            let base = &table(&folder.join("csv/cove.bases.csv"))[base];
            ["easting", "northing"].map(|axis| (base[axis].parse::<f64>().unwrap() / 1000.0).floor() as i64)
        };
        assert_eq!(cell(&exact), cell(&other), "{what}");
    }
    let [out, other] = of("out");
    if let Some(difference) = difference(&out, &other) {
        panic!("{what}: {difference}\n{}", words_of_difference(&out, &other));
    }
    let [said, other] = of("said.txt");
    assert_eq!(read(&said), read(&other), "{what}");
    jobs
}

/// The lines in which text files of two folders differ.
fn words_of_difference(one: &Path, other: &Path) -> String {
    let mut found = String::new();
    for name in files(one).intersection(&files(other)) {
        let (Ok(a), Ok(b)) = (fs::read_to_string(one.join(name)), fs::read_to_string(other.join(name))) else { continue };
        for (a, b) in a.lines().zip(b.lines()).filter(|(a, b)| a != b).take(3) {
            writeln!(found, "{name}:\n  {}\n  {}", &a[..a.len().min(900)], &b[..b.len().min(900)]).unwrap();
        }
    }
    found
}

fn unchanged(_: &Small, _: World) {}

#[test]
fn features_and_held_rows() {
    let jobs = nothing_is_told(
        "features",
        |log| {
            let world = log.world;
            log.nest("A", world.nest, "N1");
            log.nest("B", world.other_nest, "N2");
            log.mark("A", STAKE, "stake");
            log.mark("A", POLE, "pole");
            log.mark("B", TREE, "tree");
            // Held, with what it says of the place; steep; without a height.
            log.row("A", Says { code: "nest", ..Says::default() }, ["12.5", "3", "", ""].map(str::to_owned));
            let level = log.sight("A", FENCE[0]);
            log.row(
                "A",
                Says { code: "mark", feature: "flat", ..Says::default() },
                [level.azimuth_deg.to_string(), String::new(), String::new(), level.horizontal_m.to_string()],
            );
        },
        unchanged,
    );
    // What may be told is told.
    let nests = jobs[0].layer("nests");
    assert_eq!(nests.len(), 2);
    assert_eq!(nests[0]["species"], "heron");
    let (mark, exact) = (jobs[0].feature("marks", "stake"), table(&jobs[0].folder.path().join("exact/csv/cove.marks.csv")));
    let number = |text: &String| text.parse::<f64>().unwrap();
    for (field, within) in [("easting", 0.5), ("northing", 0.5), ("ellipsoid_height_m", 0.05)] {
        let off = number(&mark[field]) - number(&exact[0][field]);
        assert!(off.abs() <= within + 1e-9 && off != 0.0, "{field}: {off}");
    }
    let said = read(&jobs[0].folder.path().join("said.txt"));
    assert!(said.contains("The exact places of nests are withheld") && said.contains("Keep private"), "{said}");
}

#[test]
fn features_shot_more_than_once() {
    nothing_is_told(
        "repeats",
        |log| {
            let world = log.world;
            for base in ["A", "A", "B"] {
                log.mark(base, STAKE, "stake");
                log.nest(base, world.nest, "N1");
            }
        },
        unchanged,
    );
}

#[test]
fn heights() {
    let jobs = nothing_is_told(
        "heights",
        |log| {
            let world = log.world;
            // Of a tree: its distance would be that to the base.
            log.shot("A", TREE, part("height", "oak", "foot", "mark"));
            log.angles("A", TOP, part("height", "oak", "top", "mark"));
            log.shot("B", POLE, part("height", "pole", "foot", ""));
            log.shot("B", [POLE[0], POLE[1], POLE[2] + 9.04], part("height", "pole", "top", ""));
            // Of a nest over its ground.
            log.shot("A", world.nest, part("height", "N1", "top", "nest"));
            log.angles("A", [world.nest[0], world.nest[1], 0.0], part("height", "N1", "foot", "nest"));
        },
        unchanged,
    );
    let values = jobs[0].layer("measurements");
    let heights: Vec<(&str, &str)> = values
        .iter()
        .filter(|value| value["quantity"] == "height_m")
        .map(|value| (value["name"].as_str(), value["value"].as_str()))
        .collect();
    // 31.33 - 8.12 and 9.04 m, to the decimetre; nothing of the nest.
    assert_eq!(heights, [("oak", "23.2"), ("pole", "9")]);
    assert!(values.iter().all(|value| value["sigma"].is_empty() && value["low95"].is_empty() && value["warnings"].is_empty()));
    assert!(values.iter().all(|value| value["quantity"] != "distance_m" || value["value"].is_empty()));
}

#[test]
fn missing_lines() {
    nothing_is_told(
        "missing lines",
        |log| {
            let world = log.world;
            log.shot("A", STAKE, part("missing_line", "to the nest", "from", "mark"));
            log.shot("A", world.nest, part("missing_line", "to the nest", "to", "nest"));
            log.shot("A", STAKE, part("missing_line", "between marks", "from", "mark"));
            log.shot("A", POLE, part("missing_line", "between marks", "to", "mark"));
            for (number, (place, code)) in [(STAKE, "mark"), (world.other_nest, "nest"), (POLE, "mark")].into_iter().enumerate() {
                log.shot("A", place, part("missing_line", "chain", ["1", "2", "3"][number], code));
            }
        },
        unchanged,
    );
}

#[test]
fn widths_and_sights_onto_planes() {
    nothing_is_told(
        "widths",
        |log| {
            let nest = log.world.nest;
            // A stem: sights past both sides of it touch it, whichever way it is seen.
            for (name, centre, radius_m, code) in [("stem", STAKE, 0.6, "mark"), ("nest tree", nest, 0.8, "nest")] {
                let distance_m = log.sight("A", centre).horizontal_m;
                let half = (radius_m / distance_m).asin();
                for (role, side) in [("left", -half), ("right", half)] {
                    let s = log.sight("A", centre);
                    let azimuth = (s.azimuth_deg + side.to_degrees()).rem_euclid(360.0);
                    log.row(
                        "A",
                        part("width", name, role, code),
                        [azimuth.to_string(), s.inclination_deg.to_string(), String::new(), String::new()],
                    );
                }
                log.row(
                    "A",
                    part("width", name, "near_face", code),
                    [String::new(), String::new(), String::new(), (distance_m - radius_m).to_string()],
                );
            }
            // A sight onto a wall of two marks.
            let on_the_wall = [(STAKE[0] + POLE[0]) / 2.0, (STAKE[1] + POLE[1]) / 2.0, 10.0];
            log.shot("A", STAKE, part("plane_sight", "wall", "plane_1", "mark"));
            log.shot("A", POLE, part("plane_sight", "wall", "plane_2", "mark"));
            log.angles("A", on_the_wall, part("plane_sight", "wall", "sight", "mark"));
        },
        unchanged,
    );
}

#[test]
fn spans_planes_volumes_and_profiles() {
    nothing_is_told(
        "spans",
        |log| {
            let world = log.world;
            let wire = |share: f64| {
                let drop = 4.0 * 3.0 * share * (1.0 - share);
                [FENCE[0][0] + share * 60.0, FENCE[0][1] - share * 5.0, 20.0 - drop]
            };
            log.shot("A", wire(0.0), part("span", "K1", "support_a", ""));
            log.shot("A", wire(1.0), part("span", "K1", "support_b", ""));
            for share in [0.25, 0.5, 0.75] {
                log.shot("A", wire(share), part("span", "K1", "wire", ""));
            }
            log.shot("A", [FENCE[0][0] + 30.0, FENCE[0][1] - 2.5, 4.0], part("span", "K1", "ground", ""));
            // A nest under the wire: the span has a row that is kept coarse.
            log.shot("B", wire(0.0), part("span", "K2", "support_a", ""));
            log.shot("B", wire(1.0), part("span", "K2", "support_b", ""));
            log.shot("B", wire(0.5), part("span", "K2", "wire", ""));
            log.shot("B", world.nest, part("span", "K2", "object", "nest"));
            let corners = [[0.0, 0.0], [4.1, 0.0], [4.1, 3.2], [0.0, 3.2]];
            for [along, up] in corners {
                log.shot("A", [STAKE[0] + along, STAKE[1] + 0.3 * along, STAKE[2] + up], part("plane", "face", "face", "mark"));
            }
            log.shot("B", world.other_nest, part("plane", "nest wall", "face", "nest"));
            for [along, up] in &corners[..3] {
                log.shot("B", [STAKE[0] + along, STAKE[1], STAKE[2] + up], part("plane", "nest wall", "face", "mark"));
            }
            for (east, north) in [(0.0, 0.0), (20.0, 0.0), (20.0, 20.0), (0.0, 20.0)] {
                log.shot("A", [POLE[0] + east, POLE[1] + north, 2.1], part("volume", "heap", "toe", ""));
            }
            log.shot("A", [POLE[0] + 10.0, POLE[1] + 10.0, 7.3], part("volume", "heap", "top", ""));
            log.shot("A", FENCE[0], part("profile", "P1", "start", ""));
            log.shot("A", FENCE[3], part("profile", "P1", "end", ""));
            log.shot("A", FENCE[1], part("profile", "P1", "point", ""));
            // Far beside the line, which a warning would tell in words.
            log.shot("A", world.nest, part("profile", "P1", "point", "nest"));
        },
        unchanged,
    );
}

#[test]
fn strings() {
    let jobs = nothing_is_told(
        "strings",
        |log| {
            let world = log.world;
            log.nest("A", world.nest, "N1");
            for place in FENCE {
                log.shot("A", place, in_string("fence", "fence", "", ""));
            }
            // To the nest by its name, and over a nest.
            for place in &FENCE[..2] {
                log.shot("A", *place, in_string("path to the nest", "fence", "", ""));
            }
            log.shot("A", world.nest, in_string("path to the nest", "fence", "join", "N1"));
            for place in &FENCE[..2] {
                log.shot("B", *place, in_string("over a nest", "", "", ""));
            }
            log.shot("B", world.other_nest, in_string("over a nest", "nest", "", "N2"));
            for (i, place) in [STAKE, FENCE[0], FENCE[2]].into_iter().enumerate() {
                log.shot("B", place, in_string("plot", "", if i == 2 { "close" } else { "" }, ""));
            }
        },
        unchanged,
    );
    let names: BTreeSet<String> =
        ["fences", "lines", "areas"].iter().flat_map(|layer| jobs[0].layer(layer)).map(|line| line["name"].clone()).collect();
    assert_eq!(names, ["fence", "plot"].map(str::to_owned).into());
}

#[test]
fn networks_and_backsights() {
    for network in ["", "[network]\n"] {
        let jobs = nothing_is_told(
            "networks",
            |log| {
                let world = log.world;
                for base in ["A", "B"] {
                    log.mark(base, STAKE, "stake");
                    log.mark(base, POLE, "pole");
                    log.nest(base, world.nest, "N1");
                }
                log.shot("A", world.b, Says { role: "foresight", feature: "B", ..Says::default() });
                log.shot("B", world.a, Says { role: "backsight", feature: "A", ..Says::default() });
                log.shot("A", FENCE[3], Says { role: "backsight", feature: "K", ..Says::default() });
            },
            |job, _| {
                let text = read(&job.folder.path().join("job.toml"));
                let known = "[known]\nfiles = [\"known.csv\"]\ncrs = \"EPSG:4979\"\n";
                job.write("job.toml", &format!("{text}{network}{known}"));
                let at = at(FENCE[3]);
                let (lat, lon) = (at.lat_rad.to_degrees(), at.lon_rad.to_degrees());
                let sigmas = "sigma_horizontal_m,sigma_vertical_m";
                job.write(
                    "known.csv",
                    &format!(
                        "base,lat_deg,lon_deg,ellipsoid_height_m,{sigmas}\nK,{lat},{lon},{},0.02,0.02\n",
                        at.ellipsoid_height_m
                    ),
                );
            },
        );
        let bases = jobs[0].layer("bases");
        assert!(
            bases.iter().all(|base| base["sigma_azimuth_correction_deg"].is_empty() && base["azimuth_correction_deg"].is_empty())
        );
    }
}

#[test]
fn kinds_of_base_logs() {
    let logs = |log: &mut Log| {
        let world = log.world;
        log.nest("A", world.nest, "N1");
        log.mark("B", STAKE, "stake");
    };
    let use_file = |job: &Small, name: &str, text: &str, more: &str| {
        let as_was = read(&job.folder.path().join("job.toml"));
        job.write(
            "job.toml",
            &as_was
                .replace("\"bases.csv\"", &format!("\"{name}\""))
                .replace("[heights]", &format!("{more}\n[heights]\nantenna_height_m = 0")),
        );
        job.write(name, text);
    };
    nothing_is_told("a GPX file", logs, |job, world| {
        let points: String = [("A", world.a), ("B", world.b)]
            .iter()
            .map(|(name, place)| {
                let at = at(*place);
                format!(
                    "<wpt lat=\"{}\" lon=\"{}\"><ele>{}</ele><name>{name}</name><desc>near {:.0}</desc></wpt>",
                    at.lat_rad.to_degrees(),
                    at.lon_rad.to_degrees(),
                    at.ellipsoid_height_m,
                    world.nest[0]
                )
            })
            .collect();
        let text = format!("<gpx xmlns=\"http://www.topografix.com/GPX/1/1\" version=\"1.1\">{points}</gpx>");
        let as_was = read(&job.folder.path().join("job.toml"));
        job.write("job.toml", &as_was.replace("crs = \"EPSG:4979\"", "crs = \"EPSG:4979\"\ngpx_heights = \"ellipsoid\""));
        use_file(job, "bases.gpx", &text, "");
    });
    nothing_is_told("a GeoJSON layer", logs, |job, world| {
        let features: Vec<serde_json::Value> = [("A", world.a), ("B", world.b)]
            .iter()
            .map(|(name, place)| {
                let at = at(*place);
                let position = [at.lon_rad.to_degrees(), at.lat_rad.to_degrees()];
                serde_json::json!({
                    "type": "Feature",
                    "geometry": { "type": "Point", "coordinates": position },
                    "properties": { "base": name, "ellipsoid_height_m": at.ellipsoid_height_m, "note": format!("{:.2}", world.nest[1]) },
                })
            })
            .collect();
        let text = serde_json::json!({ "type": "FeatureCollection", "features": features }).to_string();
        use_file(job, "bases.geojson", &text, "");
    });
    nothing_is_told("fixes of a receiver", logs, |job, world| {
        // Each stop of ten minutes, one fix a minute, the second with a fix that lies off and is set aside.
        let mut text = "time,lat_deg,lon_deg,ellipsoid_height_m,base,hdop\n".to_owned();
        for (name, place, hour) in [("A", world.a, 7), ("B", world.b, 9)] {
            for minute in 0..10 {
                let off_m = if minute == 4 { 40.0 } else { 0.0 };
                let at = at([place[0] + off_m, place[1], place[2]]);
                let (lat, lon) = (at.lat_rad.to_degrees(), at.lon_rad.to_degrees());
                writeln!(text, "2026-05-04T0{hour}:{minute:02}:00Z,{lat},{lon},{},{name},1.1", at.ellipsoid_height_m).unwrap();
            }
        }
        use_file(job, "fixes.csv", &text, "[bases.occupations]\nfrom = \"column\"");
    });
}

/// Numbers that a world must not give away: of the base and of the nests, and the readings.
fn secrets(job: &Small) -> Vec<f64> {
    // From the GeoPackage, which has all bits of them.
    let connection = rusqlite::Connection::open(job.folder.path().join("exact/cove.gpkg")).unwrap();
    let mut numbers = Vec::new();
    for layer in ["bases", "nests"] {
        for field in [
            "easting",
            "northing",
            "lat_deg",
            "lon_deg",
            "ellipsoid_height_m",
            "orthometric_height_m",
            "horizontal_distance_m",
            "true_azimuth_deg",
            "convergence_deg",
            "grid_scale",
        ] {
            let Ok(mut statement) = connection.prepare(&format!("SELECT {layer}.\"{field}\" FROM {layer}")) else { continue };
            let found = statement.query_map([], |row| row.get::<_, Option<f64>>(0)).unwrap();
            numbers.extend(found.filter_map(Result::unwrap));
        }
    }
    numbers
}

/// Forms in which bytes may hold a number: of eight and four bytes in either order, an angle in radians, text with six digits and more,
/// with a point or a comma and in two bytes a letter.
fn forms(number: f64) -> Vec<(&'static str, Vec<u8>)> {
    let (single, turned) = (number as f32, number.to_radians());
    let mut forms = vec![
        ("eight bytes", number.to_le_bytes().to_vec()),
        ("eight bytes", number.to_be_bytes().to_vec()),
        ("eight bytes, radians", turned.to_le_bytes().to_vec()),
        ("eight bytes, radians", turned.to_be_bytes().to_vec()),
    ];
    // A round number in four bytes is found by chance.
    if f64::from(single) != number.round() {
        forms.extend([("four bytes", single.to_le_bytes().to_vec()), ("four bytes", single.to_be_bytes().to_vec())]);
    }
    let text = format!("{number}");
    // Metres to the millimetre; degrees, which have fewer digits before the point, to a few of them.
    let kept: String = text.chars().take(text.find('.').map_or(text.len(), |point| (point + 4).max(8))).collect();
    if kept.chars().filter(char::is_ascii_digit).count() >= 6 {
        forms.push(("text, two bytes a letter", kept.encode_utf16().flat_map(u16::to_le_bytes).collect()));
        forms.push(("text with a comma", kept.replace('.', ",").into_bytes()));
        forms.push(("text", kept.into_bytes()));
    }
    forms
}

/// How some bytes hold a number.
fn holds(bytes: &[u8], number: f64) -> Option<String> {
    let found = forms(number).into_iter().find(|(_, form)| memchr::memmem::find(bytes, form).is_some());
    found.map(|(what, _)| format!("{number} as {what}"))
}

#[test]
fn the_search_finds_every_form_of_a_number() {
    let number = 507_368.260_013_75;
    let bytes = |form: &[u8]| [b"before ", form, b" behind"].concat();
    let forms = forms(number);
    assert_eq!(forms.len(), 9);
    for (what, form) in &forms {
        assert!(holds(&bytes(form), number).is_some(), "{what}");
        assert!(holds(&bytes(&form[1..]), number).is_none(), "{what}");
    }
    assert!(holds(&bytes(b"507367.99"), number).is_none());
}

/// Every table of a GeoPackage, whatever its columns are: real and whole numbers, text, blobs, as the database reads them.
#[test]
fn no_value_of_any_column_holds_an_exact_place() {
    let jobs = nothing_is_told("columns", nests_and_marks, unchanged);
    let folder = jobs[0].folder.path();
    let secrets = secrets(&jobs[0]);
    let searched = |file: &str| {
        let connection = rusqlite::Connection::open(folder.join(file)).unwrap();
        let names = |sql: &str| -> Vec<String> {
            connection.prepare(sql).unwrap().query_map([], |row| row.get(0)).unwrap().map(Result::unwrap).collect()
        };
        let (mut found, mut kinds) = (Vec::new(), BTreeSet::new());
        for table in names("SELECT name FROM sqlite_master WHERE type = 'table' AND rootpage > 0") {
            let mut statement = connection.prepare(&format!("SELECT * FROM \"{table}\"")).unwrap();
            let columns = statement.column_count();
            let mut rows = statement.query([]).unwrap();
            while let Some(row) = rows.next().unwrap() {
                for column in 0..columns {
                    use rusqlite::types::ValueRef;
                    let (kind, bytes) = match row.get_ref(column).unwrap() {
                        ValueRef::Null => continue,
                        ValueRef::Integer(whole) => ("integer", (whole as f64).to_le_bytes().to_vec()),
                        ValueRef::Real(real) => ("real", real.to_le_bytes().to_vec()),
                        ValueRef::Text(text) => ("text", text.to_vec()),
                        ValueRef::Blob(blob) => ("blob", blob.to_vec()),
                    };
                    kinds.insert(kind);
                    let told = secrets.iter().filter_map(|number| holds(&bytes, *number));
                    found.extend(told.map(|what| format!("{table} {column} ({kind}): {what}")));
                }
            }
        }
        // Free pages would keep what was deleted.
        let free: i64 = connection.query_row("PRAGMA freelist_count", [], |row| row.get(0)).unwrap();
        assert_eq!(free, 0, "{file}");
        (found, kinds)
    };
    let (found, kinds) = searched("out/cove.gpkg");
    assert_eq!(found, Vec::<String>::new());
    assert_eq!(kinds, ["blob", "integer", "real", "text"].into());
    let (exact, _) = searched("exact/cove.gpkg");
    for kind in ["(real)", "(blob)"] {
        assert!(exact.iter().any(|found| found.contains(kind)), "{kind}: {exact:?}");
    }
}

/// Nests from both bases, marks, and a height of a nest.
fn nests_and_marks(log: &mut Log) {
    let world = log.world;
    log.nest("A", world.nest, "N1");
    log.nest("B", world.other_nest, "N2");
    log.mark("A", STAKE, "stake");
    log.mark("B", POLE, "pole");
    log.shot("A", world.nest, part("height", "N1", "top", "nest"));
}

/// The bytes, and behind them what is packed in them.
fn unpacked(mut bytes: Vec<u8>) -> Vec<u8> {
    let mut inside = Vec::new();
    if let Ok(mut archive) = zip::ZipArchive::new(std::io::Cursor::new(&bytes)) {
        for index in 0..archive.len() {
            std::io::Read::read_to_end(&mut archive.by_index(index).unwrap(), &mut inside).unwrap();
        }
    }
    bytes.extend(inside);
    bytes
}

#[test]
fn no_byte_of_any_file_holds_an_exact_place() {
    let jobs = nothing_is_told("bytes", nests_and_marks, unchanged);
    let secrets = secrets(&jobs[0]);
    assert!(secrets.len() >= 20, "{secrets:?}");
    let searched = |folder: &str| {
        let mut found = Vec::new();
        for name in files(&jobs[0].folder.path().join(folder)) {
            let bytes = unpacked(fs::read(jobs[0].folder.path().join(folder).join(&name)).unwrap());
            found.extend(secrets.iter().filter_map(|number| holds(&bytes, *number)).map(|what| format!("{name}: {what}")));
        }
        found
    };
    assert_eq!(searched("out"), Vec::<String>::new());
    // The search finds what is there: in the exact copy, in every format but DXF, which has no heights.
    let exact = searched("exact");
    for ending in [".gpkg", ".csv", ".shp", ".fgb", ".geojson", ".kml", ".kmz", ".gpx", ".bases.json"] {
        assert!(exact.iter().any(|found| found.contains(&format!("{ending}: "))), "{ending}: {exact:?}");
    }
}

/// What was edited in the exact map and in the coarse one, carried over to a coarse run: what a person typed of a place stays where it was typed.
#[test]
fn edits_that_are_kept() {
    let jobs = nothing_is_told("before edits", nests_and_marks, unchanged);
    for (job, world) in jobs.iter().zip(WORLDS) {
        let at = format!("{:.3} {:.3}", world.nest[0], world.nest[1]);
        let edit = |file: &str, statements: &[&str]| {
            let open_flags = gdal::GdalOpenFlags::GDAL_OF_VECTOR | gdal::GdalOpenFlags::GDAL_OF_UPDATE;
            let options = gdal::DatasetOptions { open_flags, ..Default::default() };
            let dataset = gdal::Dataset::open_ex(job.folder.path().join(file), options).unwrap();
            for statement in statements {
                dataset.execute_sql(statement, None, gdal::vector::sql::Dialect::DEFAULT).unwrap();
            }
            dataset.close().unwrap();
        };
        edit(
            "exact/cove.gpkg",
            &[
                "UPDATE nests SET feature = 'nest one', species = 'egret' WHERE feature = 'N1'",
                &format!("UPDATE nests SET remark = 'it is at {at}' WHERE feature = 'nest one'"),
                "UPDATE nests SET geom = (SELECT geom FROM bases LIMIT 1), easting = 1 + easting WHERE feature = 'nest one'",
                "UPDATE marks SET feature = 'peg' WHERE feature = 'stake'",
                "UPDATE bases SET base = 'stand' WHERE base = 'A'",
                "ALTER TABLE nests ADD COLUMN note TEXT",
                &format!("UPDATE nests SET note = 'seen at {at}'"),
                "DELETE FROM nests WHERE feature = 'N2'",
            ],
        );
        edit(
            "out/cove.gpkg",
            &["UPDATE nests SET species = 'egret' WHERE feature = 'N1'", "DELETE FROM marks WHERE feature = 'pole'"],
        );
        for (old, out) in [("exact", "kept"), ("out", "kept-coarse")] {
            let old = format!("{old}/cove.gpkg");
            let ran = standoff(job.folder.path(), &["map", "job.toml", "--out", out, "--keep-edits", &old]).exits(0);
            fs::write(job.folder.path().join(format!("{out}.txt")), ran.out + &ran.err).unwrap();
        }
        // Coarse records have no shot: edits of exact ones are told without their values, those of coarse ones are carried over.
        let edits = |out: &str| read(&job.folder.path().join(out).join("edits.csv"));
        let no_record = "not_carried,no record of this run is of that feature and shot,nests,N1,S1,shots.csv,2,changed";
        for told in [&*format!("{no_record},note,,\n"), "carried,,marks,stake,S3,shots.csv,4,changed,feature,stake,peg\n"] {
            assert!(edits("kept").contains(told), "{told}: {}", edits("kept"));
        }
        for told in ["carried,,nests,N1,,", "changed,species,heron,egret\n", "carried,,marks,pole,"] {
            assert!(edits("kept-coarse").contains(told), "{told}: {}", edits("kept-coarse"));
        }
    }
    for out in ["kept", "kept-coarse"] {
        let [one, other] = jobs.each_ref().map(|job| job.folder.path().join(out));
        if let Some(difference) = difference(&one, &other) {
            panic!("{out}: {difference}\n{}", words_of_difference(&one, &other));
        }
        let [said, other] = jobs.each_ref().map(|job| job.folder.path().join(format!("{out}.txt")));
        assert_eq!(read(&said), read(&other), "{out}");
    }
}

#[test]
fn marks_do_not_give_the_base_away_by_the_steps_of_their_readings() {
    // Readings to a tenth of a degree and a decimetre. Every place of the base from which all marks lie at whole steps would be
    // found by trial if the marks were exact; to the metre, many places do.
    let mut log = Log::new(WORLDS[0]);
    let marks: Vec<Place> = (0..12).map(|i| [60.0 + 13.7 * f64::from(i), 20.0 + 31.3 * f64::from(i % 5), 3.0]).collect();
    for (i, place) in marks.iter().enumerate() {
        let s = log.sight("A", *place);
        let name = format!("M{i}");
        log.row(
            "A",
            Says { code: "mark", feature: &name, ..Says::default() },
            [format!("{:.1}", s.azimuth_deg), String::new(), String::new(), format!("{:.1}", s.horizontal_m)],
        );
    }
    log.nest("A", WORLDS[0].nest, "N1");
    let job = job(&log, "");
    job.ran(&[]).exits(0);
    standoff(job.folder.path(), &["map", "job.toml", "--out", "exact", "--exact-places", "--quiet"]).exits(0);
    let places = |folder: &str, layer: &str| -> Vec<[f64; 2]> {
        let records = table(&job.folder.path().join(format!("{folder}/csv/cove.{layer}.csv")));
        records.iter().map(|record| ["easting", "northing"].map(|axis| record[axis].parse().unwrap())).collect()
    };
    let base = places("exact", "bases")[0];
    // How far the distances from a trial place are from whole decimetres: its root mean square. Half of a step at random is 0.29.
    let misfit = |marks: &[[f64; 2]], at: [f64; 2]| {
        let scale = 0.9996;
        let sum: f64 = marks
            .iter()
            .map(|mark| {
                let steps = (mark[0] - at[0]).hypot(mark[1] - at[1]) / scale / 0.1;
                (steps - steps.round()).powi(2)
            })
            .sum();
        (sum / marks.len() as f64).sqrt()
    };
    let rank = |marks: &[[f64; 2]]| {
        let true_misfit = misfit(marks, base);
        let trials = (-300..=300).flat_map(|east| (-30..=30).map(move |north| [f64::from(east) * 0.7, f64::from(north) * 7.1]));
        trials.filter(|trial| misfit(marks, [base[0] + trial[0], base[1] + trial[1]]) < true_misfit).count()
    };
    let trials = 601 * 61;
    assert!(rank(&places("exact", "marks")) < trials / 200, "the attack finds the base among exact marks");
    assert!(rank(&places("out", "marks")) > trials / 100, "the base stands out among marks to the metre");
}

#[test]
fn a_job_that_tells_a_place_is_refused() {
    let mut log = Log::new(WORLDS[0]);
    log.nest("A", WORLDS[0].nest, "N1");
    let job = job(&log, "");
    let text = read(&job.folder.path().join("job.toml"));
    job.write("job.toml", &format!("{text}[bases.values]\nlat_deg = \"58.6\"\n"));
    job.write("bases.csv", "base,lon_deg,ellipsoid_height_m\nA,-2.9,60\n");
    let refused = job.ran(&[]).exits(1);
    assert!(refused.err.contains("lat_deg under [bases.values] is a place in the text of the job"), "{}", refused.err);
    job.ran(&["--exact-places"]).exits(0);
}

#[test]
fn check_says_that_what_it_prints_is_private() {
    let mut log = Log::new(WORLDS[0]);
    log.nest("A", WORLDS[0].nest, "N1");
    let job = job(&log, "");
    let ran = standoff(job.folder.path(), &["check", "job.toml"]).exits(0);
    assert!(ran.out.starts_with("exact places: the catalogue keeps places coarse, "), "{}", ran.out);
    assert!(ran.out.contains("58.6"), "it prints them");
}
