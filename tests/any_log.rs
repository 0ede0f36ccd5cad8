//! Any bytes may stand in a log: the run ends with every row mapped or held, or with a message, and
//! never with a panic.

use crate::common;

use proptest::prelude::*;
use standoff::inside::output::write::Discard;
use standoff::inside::run;
use standoff::job;

/// Runs the usual job on these logs; the counts of a run that ends well must add up.
fn run(bases: &[u8], shots: &[u8]) -> Option<(u64, u64)> {
    let field = common::Field::new(shots);
    field.write("bases.csv", bases);
    let job = job::parse(&field.job, "job.toml", field.folder.path()).unwrap();
    let mut sink = Discard::default();
    let account = run::run(&job, &mut sink, &|_, _| {}).ok()?;
    assert_eq!(account.shots.read, account.shots.mapped + account.shots.held_total());
    assert_eq!(account.bases.read, account.bases.mapped + account.bases.held_total());
    assert_eq!(sink.held.len() as u64, account.held_total());
    Some((account.shots.read, account.shots.mapped))
}

/// Fields as they come: good ones, bad ones, and noise.
fn field() -> impl Strategy<Value = String> {
    prop_oneof![
        4 => prop::sample::select(vec!["A", "B", "10", "359.9", "-2.5", "45.27", "2026-05-04T08:00:01Z", ""]).prop_map(str::to_owned),
        2 => prop::sample::select(vec!["---", "NaN", "9999", "1e308", "-0", "90", "-90", "400", "\"", "\"a\"\"b\"", "#", "\u{feff}", "é", "0x10", "+5", "1,5"]).prop_map(str::to_owned),
        1 => "\\PC{0,12}",
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    #[test]
    fn any_rows_under_a_good_header(rows in prop::collection::vec(prop::collection::vec(field(), 5..9), 0..30), end in prop::sample::select(vec!["\n", "\r\n", ""])) {
        let body: Vec<String> = rows.iter().map(|row| row.join(",")).collect();
        let log = format!("{}{}{end}", common::HEAD, body.join("\n"));
        run(common::BASES.as_bytes(), log.as_bytes());
    }

    #[test]
    fn any_bytes_at_all(bytes in prop::collection::vec(any::<u8>(), 0..400), as_bases in any::<bool>()) {
        if as_bases {
            run(&bytes, common::good(3).as_bytes());
        } else {
            run(common::BASES.as_bytes(), &bytes);
        }
    }

    #[test]
    fn any_cut_of_a_good_log(cut in 0usize..700, encoding in 0..3) {
        let log = common::good(12);
        let bytes: Vec<u8> = match encoding {
            0 => log.into_bytes(),
            1 => log.encode_utf16().flat_map(u16::to_le_bytes).collect(),
            _ => [vec![0xfe, 0xff], log.encode_utf16().flat_map(u16::to_be_bytes).collect()].concat(),
        };
        let cut = cut.min(bytes.len());
        if let Some((read, mapped)) = run(common::BASES.as_bytes(), &bytes[..cut]) {
            // Only the last row can be spoilt by the cut.
            prop_assert!(read - mapped <= 1, "{read} read, {mapped} mapped");
        }
    }
}
