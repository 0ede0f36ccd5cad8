//! Tables of the page: plain without scripts; with them they sort and filter.

use askama::Template;

/// A table.
#[derive(Template, Default)]
#[template(path = "table.html")]
pub struct Table {
    /// Its place in the page.
    pub id: String,
    /// What it is of.
    pub caption: String,
    /// A sentence under the caption; empty for none.
    pub note: String,
    /// The columns.
    pub columns: Vec<Head>,
    /// The rows.
    pub rows: Vec<TableRow>,
    /// Sentences on single rows, to be opened.
    pub remarks: Vec<String>,
}

/// A column's head.
pub struct Head {
    /// Title.
    pub title: String,
    /// Unit; empty for none.
    pub unit: &'static str,
    /// Whether it has numbers.
    pub is_number: bool,
}

/// A row.
#[derive(Default)]
pub struct TableRow {
    /// What is to be read with a warning.
    pub warned: bool,
    /// The cells.
    pub cells: Vec<TableCell>,
}

/// A cell.
#[derive(Debug, Clone, PartialEq)]
pub enum TableCell {
    /// Text or a number.
    Text(String),
    /// Text that leads to a place in the page.
    Link {
        /// The text.
        text: String,
        /// The place.
        to: String,
    },
}

impl From<String> for TableCell {
    fn from(text: String) -> TableCell {
        TableCell::Text(clean(&text))
    }
}

impl From<&str> for TableCell {
    fn from(text: &str) -> TableCell {
        TableCell::Text(clean(text))
    }
}

impl TableCell {
    /// A link.
    pub fn link(text: &str, to: String) -> TableCell {
        TableCell::Link { text: clean(text), to }
    }
}

impl TableCell {
    /// Whether its text may take several lines: others stay on one.
    fn is_long(&self) -> bool {
        let (TableCell::Text(text) | TableCell::Link { text, .. }) = self;
        text.len() > LONG
    }

    /// The classes of its cell in the table.
    pub fn classes(&self) -> &'static str {
        let (TableCell::Text(text) | TableCell::Link { text, .. }) = self;
        // A browser breaks lines at blanks, hyphens and slashes.
        let has_long_word = text.split([' ', '-', '/']).any(|word| word.chars().count() > UNBROKEN);
        match (self.is_long(), has_long_word) {
            (true, true) => "l b",
            (true, false) => "l",
            (false, true) => "b",
            (false, false) if text.is_empty() || text.chars().count() > SHORT => "",
            (false, false) => "s",
        }
    }
}

/// Bytes beyond which a cell's text may take several lines.
const LONG: usize = 34;
/// Letters of a word or a number that stays whole on paper, too.
const SHORT: usize = 12;
/// Letters without a place to break beyond which a narrow sheet of paper breaks them anywhere.
const UNBROKEN: usize = 20;

/// Signs that control something become a visible stand-in.
pub fn clean(text: &str) -> String {
    text.chars()
        .map(|sign| match sign {
            '\t' | '\n' | '\r' => ' ',
            _ if sign.is_control() => '\u{fffd}',
            _ => sign,
        })
        .collect()
}

impl Table {
    /// An empty table.
    pub fn new(id: &str, caption: &str) -> Table {
        Table { id: id.to_owned(), caption: clean(caption), ..Table::default() }
    }

    /// Adds a column of text.
    pub fn text(mut self, title: &str) -> Table {
        self.columns.push(Head { title: title.to_owned(), unit: "", is_number: false });
        self
    }

    /// Adds a column of numbers.
    pub fn number(mut self, title: &str, unit: &'static str) -> Table {
        self.columns.push(Head { title: title.to_owned(), unit, is_number: true });
        self
    }

    /// Adds a row.
    pub fn row(&mut self, cells: Vec<TableCell>) {
        self.rows.push(TableRow { warned: false, cells });
    }

    /// Takes out the columns in which no row says anything.
    pub fn without_empty_columns(mut self) -> Table {
        let says =
            |i: usize| self.rows.iter().any(|row| row.cells.get(i).is_some_and(|cell| *cell != TableCell::Text(String::new())));
        let keep: Vec<bool> = (0..self.columns.len()).map(says).collect();
        let mut kept = keep.iter();
        self.columns.retain(|_| kept.next() == Some(&true));
        for row in &mut self.rows {
            let mut kept = keep.iter();
            row.cells.retain(|_| kept.next() == Some(&true));
        }
        self
    }

    /// As HTML.
    pub fn html(&self) -> String {
        rendered(self)
    }
}

/// A template as HTML. Writing to a String does not fail; what failed all the same would be said in its place.
pub fn rendered(template: &impl Template) -> String {
    template.render().unwrap_or_else(|error| format!("<p class=\"note\">This part could not be written: {error}.</p>"))
}
