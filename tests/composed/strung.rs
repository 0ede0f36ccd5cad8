//! Strings that join to features, corners that were shot again, and rows of refused measurements in the ledger.

use super::*;

/// Vertices by string and number: shot, base.
fn vertices(run: &Run) -> Vec<(String, String, String)> {
    let rows = run.layer("vertices").into_iter();
    rows.map(|v| (format!("{} {}", v["string"], v["number"]), v["feature"].clone(), v["base"].clone())).collect()
}

fn near(record: &Record, other: &Record) -> f64 {
    let number = |record: &Record, field: &str| record[field].parse::<f64>().unwrap();
    (number(record, "easting") - number(other, "easting")).hypot(number(record, "northing") - number(other, "northing"))
}

/// A wall from a plain pole to a plain post: the join rows have no readings at all, stand before the pole's own row, and name a feature of
/// one shot and one of three shots, which is mapped at their mean.
#[test]
fn a_string_joins_to_plain_features_without_readings() {
    let run = Run::new(
        "1,A,,join,pole,wall,1,,,\n2,A,,,W2,wall,2,100,0,50\n3,A,,join,post,wall,3,,,\n4,B,,,pole,,,180,0,60\n\
         5,A,,,post,,,130,0,40.0\n6,A,,,post,,,130,0,40.3\n7,A,,,post,,,130,0,40.3\n",
        "",
    );
    let want = [("wall 1", "pole", "B"), ("wall 2", "W2", "A"), ("wall 3", "post", "A")];
    assert_eq!(vertices(&run), want.map(|(vertex, feature, base)| (vertex.into(), feature.into(), base.into())));
    let (features, vertices) = (run.layer("features"), run.layer("vertices"));
    // No feature twice.
    let names: Vec<&str> = features.iter().map(|feature| feature["feature"].as_str()).collect();
    assert_eq!(names.iter().filter(|name| **name == "pole").count(), 1, "{names:?}");
    assert_eq!(names.iter().filter(|name| **name == "post").count(), 1, "{names:?}");
    for (vertex, name) in [(0, "pole"), (2, "post")] {
        let feature = features.iter().find(|feature| feature["feature"] == name).unwrap();
        // Layers have four decimals.
        assert!(near(&vertices[vertex], feature) < 2.0 * PRINTED, "{name}");
    }
    assert_eq!(run.summary["shots"]["composed"], json!(2));
    assert_eq!(run.layer("lines").len(), 1);
}

#[test]
fn a_name_that_nothing_has_is_held_and_told() {
    let run = Run::new("1,A,,,W1,wall,1,100,0,50\n2,A,,,W2,wall,2,110,0,50\n3,A,,join,pole,wall,3,,,\n", "");
    let say = "string wall cannot be joined here: no mapped feature is called pole; look for a shot of it that was held, or mend the name";
    assert_eq!(run.held(), say);
    assert!(run.summary["notes"].to_string().contains(&format!("shots.csv:4: {say}.")), "{}", run.summary["notes"]);
    assert_eq!(run.layer("lines")[0]["vertices"], "2");
}

/// A square field of 20 m whose first corner is shot again, 5 cm off, so that the closing edge crosses the first; and one with a corner
/// shot twice in a row. Standard errors of 0.2 m in distance and 0.5° at 60 m, 0.5 m, explain both.
#[test]
fn a_corner_that_was_shot_again_is_one_corner() {
    let corners = [[40.0, 40.0, 0.0], [60.0, 40.0, 0.0], [60.0, 60.0, 0.0], [40.0, 60.0, 0.0]];
    let field = |all: &[[f64; 3]]| -> String {
        let row = |(i, at): (usize, &[f64; 3])| {
            let plain = shot(i + 1, "", "", "", *at);
            let readings = plain.splitn(8, ',').last().unwrap();
            format!("{},A,,{},F{i},field,,{readings}\n", i + 1, if i + 1 == all.len() { "close" } else { "" })
        };
        all.iter().enumerate().map(row).collect()
    };
    let [a, b, c, d] = corners;
    for (ring, what) in [
        (vec![a, b, c, d, [40.05, 39.95, 0.0]], "shot 5 lies 0.07 m from shot 1"),
        (vec![a, b, [60.04, 40.02, 0.0], [59.98, 39.97, 0.0], c, d], "shot 3 lies 0.04 m from shot 2"),
    ] {
        let run = Run::new(&field(&ring), "");
        let areas = run.layer("areas");
        assert_eq!((areas.len(), run.layer("lines").len()), (1, 0), "{}", run.summary["notes"]);
        // 400 m², and what the corner's 5 cm may do along sides of 20 m.
        assert_near(areas[0]["area_ellipsoid_m2"].parse().unwrap(), 400.0, 2.0);
        assert_eq!(areas[0]["vertices"], "4");
        assert!(areas[0]["warnings"].contains(what), "{}", areas[0]["warnings"]);
    }
    // Three metres off is another corner: it crosses, and is refused.
    let run = Run::new(&field(&[a, b, c, d, [43.0, 37.0, 0.0]]), "");
    assert_eq!((run.layer("areas").len(), run.layer("lines").len()), (0, 1));
    // Without a crossing the re-shot corner stays, and a word says so.
    let run = Run::new(&field(&[a, b, c, d, [39.97, 40.05, 0.0]]), "");
    assert_eq!(run.layer("areas")[0]["vertices"], "5");
    assert!(run.layer("areas")[0]["warnings"].contains("two vertices at one place"), "{:?}", run.layer("areas"));
}

/// A name that is started again is a string of its own, with its own times.
#[test]
fn strings_of_one_name_have_their_own_times() {
    let rows = "1,A,,,a,wall,,10,0,50,2026-05-04T08:00:00Z\n2,A,,end,b,wall,,20,0,50,2026-05-04T08:01:00Z\n\
                3,A,,,c,wall,,30,0,50,2026-05-04T09:00:00Z\n4,A,,end,d,wall,,40,0,50,2026-05-04T09:01:00Z\n";
    let header = HEADER.replace('\n', ",time\n");
    let run = Run::of(&Logs { rows, header: &header, ..LOGS });
    let times: Vec<String> = run.layer("lines").into_iter().map(|line| line["time"].clone()).collect();
    assert_eq!(times, ["2026-05-04T08:00:00.000Z", "2026-05-04T09:00:00.000Z"]);
}

/// Two full shots `from` and `to` of a line that has two rows `to`: it is refused, the shots stay mapped, and the ledger says why.
#[test]
fn a_refused_measurement_stands_in_the_ledger() {
    let run = Run::new("S1,A,missing_line,from,L1,,,0,0,100\nS2,A,missing_line,between,L1,,,60,0,100\n", "");
    assert_eq!(run.layer("features").len(), 2);
    let ledger = run.layer("ledger");
    let told: Vec<&Record> = ledger.iter().filter(|row| row["code"] == "not_composed").collect();
    assert_eq!(told.len(), 2);
    let say = "missing_line of L1: shot S2 has role \"between\"; it takes from and to, or the numbers 1, 2, 3, …";
    assert!(told.iter().all(|row| row["sentence"].ends_with(say) && row["record"] == "flagged"), "{told:?}");
    assert_eq!(run.summary["shots"]["flagged"], json!(2));
}

/// Shot ids are the log's own in every table.
#[test]
fn shot_ids_join_the_tables() {
    let run = Run::new(
        "S160,A,profile,start,R,,,0,0,50\nS161,A,profile,end,R,,,60,0,50\nS162,A,profile,point,R,,,30,0,48\n\
         S170,A,,,a,wall,,10,0,50\nS171,A,,,b,wall,,20,0,50\n",
        "",
    );
    let shots = |layer: &str| run.layer(layer).into_iter().map(|row| row["shot"].clone()).collect::<Vec<_>>();
    assert_eq!(shots("profiles"), ["S160", "S162", "S161"]);
    assert_eq!(shots("vertices"), ["S170", "S171"]);
    let features = shots("features");
    assert!(shots("profiles").iter().chain(&shots("vertices")).all(|shot| features.contains(shot)), "{features:?}");
}
