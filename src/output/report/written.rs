//! How the values of the input files were read, in words: separators, signs of numbers, orders of dates.

use crate::intake::log::InputFile;
use crate::intake::written::{Written, WrittenDates, WrittenNumbers};
use crate::numeric::signs::Signs;

/// Files named in one sentence; the rest is counted.
const FILES_NAMED: usize = 4;

/// A sentence for each way in which delimited files are written, with the files.
pub fn sentences(files: &[InputFile]) -> Vec<String> {
    let mut ways: Vec<(String, Vec<&str>)> = Vec::new();
    for file in files {
        let Some(separator) = file.separator else { continue };
        let way = way(separator, file.encoding, &file.written);
        match ways.iter_mut().find(|(known, _)| *known == way) {
            Some((_, names)) => names.push(&file.name),
            None => ways.push((way, vec![&file.name])),
        }
    }
    ways.into_iter()
        .map(|(way, names)| {
            let more = names.len().saturating_sub(FILES_NAMED);
            let named = names[..names.len() - more].join(", ");
            if more > 0 { format!("{named} and {more} more: {way}") } else { format!("{named}: {way}") }
        })
        .collect()
}

fn way(separator: char, encoding: &str, written: &Written) -> String {
    let separator = match separator {
        '\t' => "a tab".to_owned(),
        sign => format!("\"{sign}\""),
    };
    let mut parts = vec![format!("separator {separator}, {}", signs(written.signs))];
    if encoding != "UTF-8" {
        parts.push(encoding.to_owned());
    }
    parts.extend(written.columns.iter().map(|column| numbers(column, written.signs)));
    parts.extend(written.dates.iter().map(dates));
    parts.join("; ")
}

fn signs(signs: Signs) -> String {
    let decimal = if signs.decimal_comma { "decimal comma" } else { "decimal point" };
    match signs.thousands {
        Some(sign) => format!("{decimal}, thousands parted by {}", sign.words()),
        None => decimal.to_owned(),
    }
}

fn told((line, value): &(u64, String)) -> String {
    format!(" ({value} in line {line})")
}

fn numbers(column: &WrittenNumbers, of_file: Signs) -> String {
    let told = column.told_by.as_ref().map(told).unwrap_or_default();
    let how = match column.signs.thousands {
        Some(sign) if column.signs.decimal_comma == of_file.decimal_comma => format!("thousands parted by {}", sign.words()),
        _ => signs(column.signs),
    };
    format!("{how} in \"{}\"{told}", column.header)
}

fn dates(column: &WrittenDates) -> String {
    let mut parts = Vec::new();
    if let Some(order) = column.order {
        parts.push(format!("{}{}", order.words(), column.told_by.as_ref().map(told).unwrap_or_default()));
    }
    if let Some(example) = &column.serial {
        parts.push(format!("day numbers of a spreadsheet{}", told(example)));
    }
    if let Some(example) = &column.epoch {
        parts.push(format!("seconds since 1970{}", told(example)));
    }
    format!("dates in \"{}\": {}", column.header, parts.join(", "))
}
