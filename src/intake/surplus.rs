//! Rows with more fields than the header: a remark with a separator of its own, which nobody put into quotes.
//!
//! The last fields are one remark where the last column is one of text that nothing is computed from, and the row makes no sense
//! with the surplus in any other place: there a column of numbers would hold something else. In doubt the row stays as it is.

use super::cell::CellFormat;
use super::delimited::{Row, Rows};
use crate::numeric::signs::Signs;

/// Surplus fields that are taken for one remark: more are a damaged line.
const GREATEST_SURPLUS: usize = 6;

/// What is known of a log's columns to tell where a surplus field belongs.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Remark {
    /// Whether all values of a column are numbers.
    numeric: Vec<bool>,
}

impl Remark {
    /// Of the rows that have a field for each of `width` headers; none where the last column is not one of text.
    pub fn find<'r, 't: 'r>(rows: impl Iterator<Item = &'r Rows<'t>>, width: usize) -> Option<Remark> {
        let format = CellFormat::default();
        let mut numeric = vec![None; width];
        let mut has_text = false;
        for rows in rows {
            let row = &rows.rows()[0];
            for (index, is) in numeric.iter_mut().enumerate() {
                let cell = rows.cell(row, index);
                if !format.is_no_reading(cell) {
                    *is = Some(is.unwrap_or(true) && is_number(cell));
                }
            }
            has_text |= is_text(rows.cell(row, width.checked_sub(1)?));
        }
        let numeric: Vec<bool> = numeric.into_iter().map(|is| is == Some(true)).collect();
        (has_text && numeric.last() == Some(&false)).then_some(Remark { numeric })
    }

    /// Whether the fields of a row from the last column on are one remark, and nothing else can be meant.
    pub fn is_one(&self, rows: &Rows, row: &Row) -> bool {
        let (width, got) = (self.numeric.len(), row.fields());
        let Some(surplus) = got.checked_sub(width).filter(|surplus| (1..=GREATEST_SURPLUS).contains(surplus)) else {
            return false;
        };
        let last = width - 1;
        let cells: Vec<&str> = (0..got).map(|index| rows.cell(row, index)).collect();
        let fits =
            |column: usize, cell: &str| !self.numeric[column] || is_number(cell) || CellFormat::default().is_no_reading(cell);
        let is_remark = cells[last..].iter().any(|cell| is_text(cell)) && (0..last).all(|column| fits(column, cells[column]));
        let elsewhere = |at: usize| {
            let own = &cells[at..=at + surplus];
            let is_field = !self.numeric[at] || is_parted_number(own);
            is_field
                && (0..at).all(|column| fits(column, cells[column]))
                && (at + 1..width).all(|column| fits(column, cells[column + surplus]))
        };
        is_remark && !(0..last).any(elsewhere)
    }
}

fn is_number(cell: &str) -> bool {
    let comma = Signs { decimal_comma: true, ..Signs::POINT };
    Signs::POINT.number(cell).is_some() || comma.number(cell).is_some()
}

fn is_text(cell: &str) -> bool {
    cell.chars().any(char::is_alphabetic) && !is_number(cell)
}

/// Whether fields are one number with commas in it: a decimal comma, or commas between thousands.
fn is_parted_number(cells: &[&str]) -> bool {
    let is_digits = |text: &str| !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
    let (Some((first, rest)), Some(last)) = (cells.split_first(), cells.last()) else { return false };
    is_digits(first.trim_start_matches(['-', '+']))
        && rest[..rest.len() - 1].iter().all(|part| is_digits(part))
        && last.split_once('.').map_or(is_digits(last), |(whole, part)| is_digits(whole) && is_digits(part))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::intake::delimited::Lines;

    fn cut(text: &str) -> Vec<Rows<'_>> {
        let each = Lines::new(text, b',', 1).map(|line| {
            let mut rows = Rows::default();
            rows.push(line, b',');
            rows
        });
        each.collect()
    }

    fn is_one(table: &str, line: &str) -> bool {
        let known = cut(table);
        let row = cut(line);
        Remark::find(known.iter(), known[0].rows()[0].fields()).is_some_and(|remark| remark.is_one(&row[0], &row[0].rows()[0]))
    }

    const TREES: &str = "P1,1,oak,18.8,97,3,\nP1,2,ash,25.6,56,5,forked\n";

    #[test]
    fn a_comma_in_a_remark_is_told_from_one_in_a_number() {
        assert!(is_one(TREES, "P1,9,fir,17.6,118,3,top hidden, 2nd leader"));
        assert!(is_one(TREES, "P1,9,fir,17.6,118,3,broken, leans, hollow"));
        // A decimal comma of its own: the angle would be 6.
        assert!(!is_one(TREES, "P1,9,fir,17,6,118,3,forked"));
        // Nothing but numbers behind: which is the surplus one is not told.
        assert!(!is_one(TREES, "P1,9,fir,17.6,118,3,4"));
        assert!(!is_one(TREES, "P1,9,fir,17.6,118,3,a,b,c,d,e,f,g,h"));
    }

    #[test]
    fn two_columns_of_text_leave_it_open() {
        let signs = "1,12.5,faded,left side\n2,13.5,bent,\n";
        assert!(!is_one(signs, "3,14.5,bent,rusted,right side"), "\"bent, rusted\" or \"rusted, right side\"");
        assert!(!is_one("1,2,3\n4,5,6\n", "1,2,3,4"), "no text at all");
    }
}
