//! Properties on any text: no panic, every line accounted for, no damaged sentence taken, every fix in range.

use jiff::civil::date;
use proptest::prelude::*;

use super::{gga, read_all, rmc, sentence};
use crate::intake::nmea::looks_like;
use crate::records::base_row::Coordinates;
use crate::records::fix::FixLog;

/// Reads with and without a day; each run checks its account.
fn read_both(text: &str) -> FixLog {
    looks_like(text);
    read_all(text, None);
    let log = read_all(text, Some(date(2026, 5, 16)));
    for fix in &log.fixes {
        let Coordinates::Geographic { lat_deg, lon_deg } = fix.coordinates else { panic!("{fix:?}") };
        assert!((-90.0..=90.0).contains(&lat_deg) && (-180.0..=180.0).contains(&lon_deg), "{fix:?}");
        assert!(fix.sigma_m.is_none_or(|sigmas| sigmas.iter().all(|sigma| *sigma >= 0.0)), "{fix:?}");
    }
    log
}

fn body() -> impl Strategy<Value = String> {
    prop_oneof![
        Just(gga("235959.50")),
        Just(rmc("000000.50", "170526")),
        Just("GNGNS,101530,1230.6,S,07715.3,W,RRNN,17,0.8,40.0,21.5,1.0,0007,V".to_owned()),
        Just("GNGST,235959.50,1.1,0.014,0.009,34.5,0.011,0.012,0.021".to_owned()),
        Just("GNZDA,101530,16,05,2026,00,00".to_owned()),
        Just("GNGSA,A,3,01,02,03,04,,,,,,,,,1.5,0.9,1.2,1".to_owned()),
        Just("GNVTG,90.0,T,,M,35.0,N,64.8,K,R".to_owned()),
    ]
}

/// Fields that are nearly right.
fn field() -> impl Strategy<Value = String> {
    prop_oneof![
        "[0-9]{0,6}(\\.[0-9]{0,4})?",
        "[-+.0-9NSEWMAVTKRD]{0,6}",
        Just("1230.6000".to_owned()),
        Just("235960.5".to_owned()),
        "\\PC{0,4}",
    ]
}

/// A body with one field in another's stead, or left out, or a character more.
fn mutated() -> impl Strategy<Value = String> {
    (body(), any::<prop::sample::Index>(), field(), 0..3).prop_map(|(body, at, new, how)| {
        let mut fields: Vec<&str> = body.split(',').collect();
        let at = at.index(fields.len());
        let longer = format!("{}{new}", fields[at]);
        match how {
            0 => fields[at] = &new,
            1 => drop(fields.remove(at)),
            _ => fields[at] = &longer,
        }
        fields.join(",")
    })
}

proptest! {
    #[test]
    fn any_text_is_read(text in any::<String>()) {
        read_both(&text);
    }

    #[test]
    fn any_lines_of_sentence_characters_are_read(lines in prop::collection::vec("[$!*,.0-9A-F\r# é-]{0,30}", 0..8)) {
        read_both(&lines.join("\n"));
    }

    #[test]
    fn mutated_sentences_with_right_checksums_are_read(bodies in prop::collection::vec(mutated(), 0..12)) {
        let lines: Vec<String> = bodies.iter().map(|body| sentence(body)).collect();
        read_both(&lines.join("\r\n"));
    }

    #[test]
    fn any_fields_are_read(kind in "(GGA|GNS|RMC|ZDA|GST|GSA|VTG)", fields in prop::collection::vec(field(), 0..20)) {
        let log = read_both(&sentence(&format!("GN{kind},{}", fields.join(","))));
        prop_assert!(log.fixes.len() <= 1);
    }

    /// One changed character changes the exclusive or, so that no such sentence gives a fix.
    #[test]
    fn a_changed_character_is_never_taken(at in any::<prop::sample::Index>(), new in "[ -#%-)+-~]") {
        let whole = sentence(&gga("101530"));
        // Between the start sign and the asterisk.
        let at = 1 + at.index(whole.len() - 4);
        let changed = format!("{}{new}{}", &whole[..at], &whole[at + 1..]);
        let log = read_both(&changed);
        prop_assert_eq!(log.fixes.len(), usize::from(changed == whole));
    }

    /// A cut sentence gives no fix.
    #[test]
    fn a_cut_sentence_is_never_taken(length in 1usize..60) {
        let whole = sentence(&gga("101530"));
        let log = read_both(&whole[..length]);
        prop_assert_eq!((log.fixes.len(), log.held.len()), (0, 1));
    }
}
