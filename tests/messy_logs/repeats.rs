//! Rows and ids that come twice.

use crate::common::{Field, HEAD, good, shot};

const REPEATED: &str = "the same row stands earlier in the logs; it is mapped once";
const SAME_ID: &str =
    "the shot id stands earlier in this file for the same base and day with other readings: was the counter reset?";

/// The job reads a second shot log, too.
fn with_second(mut field: Field, name: &str, log: &str) -> Field {
    field.write(name, log);
    field.job = field.job.replace("files = [\"shots.csv\"]", &format!("files = [\"shots.csv\", \"{name}\"]"));
    field
}

#[test]
fn repeated_whole_rows_are_mapped_once() {
    let one = shot("A", 1, "10.5", "0", "20");
    let run = Field::new(HEAD.to_owned() + &one + &shot("A", 2, "11.5", "0", "21") + &one + &one).map();
    assert_eq!(
        run.held,
        [["shots.csv", "4", "repeated_row", "", "", REPEATED], ["shots.csv", "5", "repeated_row", "", "", REPEATED]]
    );
    assert_eq!(run.held_rows, [one.trim_end(), one.trim_end()]);
    assert_eq!(run.column("source_line"), ["2", "3"]);
}

#[test]
fn rows_repeated_in_another_file_are_mapped_once() {
    let run = with_second(Field::new(good(2)), "copy.csv", &good(3)).map();
    assert_eq!(
        run.held,
        [["copy.csv", "2", "repeated_row", "", "", REPEATED], ["copy.csv", "3", "repeated_row", "", "", REPEATED]]
    );
    assert_eq!(run.mapped(), 3);
}

#[test]
fn repeated_readings_with_neither_id_nor_time_are_kept() {
    let run = Field::new("base,true_azimuth_deg,horizontal_distance_m\nA,10,20\nA,10,20\n").map();
    let sentence = "the same reading stands earlier, and neither an id nor a time tells the two apart";
    assert_eq!(run.flagged(), [["shots.csv", "3", "repeated_reading", sentence]]);
    assert_eq!((run.mapped(), run.column("feature")), (2, vec!["shots.csv:2", "shots.csv:3"]));
}

#[test]
fn repeated_shot_ids_within_a_day() {
    // The counter starts again, the clock runs on.
    let again = shot("A", 1, "99", "0", "33").replace("T08:00:01", "T08:00:03");
    let run = Field::new(HEAD.to_owned() + &shot("A", 1, "10.5", "0", "20") + &shot("A", 2, "11.5", "0", "21") + &again).map();
    assert_eq!(run.flagged(), [["shots.csv", "4", "repeated_shot_id", SAME_ID]]);
    assert_eq!((run.column("shot"), run.column("flags")), (vec!["1", "2", "1"], vec!["", "", "repeated_shot_id"]));
}

#[test]
fn shot_ids_that_start_again_on_another_day_at_another_base_or_in_another_file() {
    let day = |base: &str, day: u32| shot(base, 1, &format!("{day}.5"), "0", "20").replace("05-04", &format!("05-{day:02}"));
    let field = Field::new(HEAD.to_owned() + &day("A", 4) + &day("A", 5) + &day("A", 6) + &day("B", 6));
    let other = HEAD.to_owned() + &day("A", 6).replace("6.5", "17");
    let run = with_second(field, "other.csv", &other).map();
    assert_eq!((run.mapped(), run.held.len(), run.flagged().len()), (5, 0, 0));
}

#[test]
fn the_day_of_a_shot_id_is_the_crews_own() {
    // 19:59 and 20:01 in New York lie on both sides of midnight UTC, and in one day of the crew.
    let head = "base,shot,time,true_azimuth_deg,horizontal_distance_m\n";
    let log = format!("{head}A,1,2026-05-04T19:59:00,10,20\nA,1,2026-05-04T20:01:00,11,21\nA,1,2026-05-05T00:01:00,12,22\n");
    let run = Field::new(log).with("SHOTS", "time_zone = \"America/New_York\"").map();
    assert_eq!(run.column("time"), ["2026-05-04T23:59:00.000Z", "2026-05-05T00:01:00.000Z", "2026-05-05T04:01:00.000Z"]);
    assert_eq!(run.flagged(), [["shots.csv", "3", "repeated_shot_id", SAME_ID]]);
}
