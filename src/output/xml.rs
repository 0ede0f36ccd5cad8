//! XML on its way: elements that are closed by the call that opened them. What XML 1.0 cannot hold is left out.

use quick_xml::Writer;
use quick_xml::events::{BytesDecl, BytesEnd, BytesStart, BytesText, Event};

/// A document that grows from its start to its end, indented by two spaces.
pub(in crate::output) struct Document {
    writer: Writer<Vec<u8>>,
}

impl Document {
    /// A document with the XML declaration.
    pub(in crate::output) fn declared() -> Document {
        let mut document = Document::bare();
        document.declares();
        document
    }

    /// The XML declaration.
    pub(in crate::output) fn declares(&mut self) {
        self.event(Event::Decl(BytesDecl::new("1.0", Some("UTF-8"), None)));
    }

    /// A document with a document type and no declaration.
    pub(in crate::output) fn typed(doctype: &str) -> Document {
        let mut document = Document::bare();
        document.event(Event::DocType(BytesText::from_escaped(doctype)));
        document
    }

    /// A piece of a document, all on one line.
    pub(in crate::output) fn on_one_line() -> Document {
        Document { writer: Writer::new(Vec::new()) }
    }

    fn bare() -> Document {
        Document { writer: Writer::new_with_indent(Vec::new(), b' ', 2) }
    }

    /// Everything so far, with a line end.
    pub(in crate::output) fn text(self) -> String {
        let mut text = String::from_utf8_lossy(&self.writer.into_inner()).into_owned();
        text.push('\n');
        text
    }

    /// An element with elements inside.
    pub(in crate::output) fn within(&mut self, name: &str, attributes: &[(&str, &str)], inside: impl FnOnce(&mut Document)) {
        self.begins(name, attributes);
        inside(self);
        self.ends(name);
    }

    /// An element with nothing inside.
    pub(in crate::output) fn empty(&mut self, name: &str, attributes: &[(&str, &str)]) {
        self.event(Event::Empty(started(name, attributes)));
    }

    /// An element with text inside.
    pub(in crate::output) fn leaf(&mut self, name: &str, value: &str) {
        self.text_within(name, &[], value);
    }

    /// An element with attributes and text inside.
    pub(in crate::output) fn text_within(&mut self, name: &str, attributes: &[(&str, &str)], value: &str) {
        self.begins(name, attributes);
        self.event(Event::Text(BytesText::new(&held(value))));
        self.ends(name);
    }

    /// Text between the elements of one that mixes them.
    pub(in crate::output) fn words(&mut self, value: &str) {
        self.event(Event::Text(BytesText::new(&held(value))));
    }

    /// An element that is begun here and ended by [`Document::ends`], in another piece.
    pub(in crate::output) fn begins(&mut self, name: &str, attributes: &[(&str, &str)]) {
        self.event(Event::Start(started(name, attributes)));
    }

    /// The end of an element that another piece began.
    pub(in crate::output) fn ends(&mut self, name: &str) {
        self.event(Event::End(BytesEnd::new(name)));
    }

    fn event(&mut self, event: Event) {
        // Writing into memory does not fail.
        let _ = self.writer.write_event(event);
    }
}

fn started<'n>(name: &'n str, attributes: &[(&str, &str)]) -> BytesStart<'n> {
    let mut start = BytesStart::new(name);
    for (key, value) in attributes {
        start.push_attribute((*key, held(value).as_str()));
    }
    start
}

/// A text as it stands in an element or an attribute.
pub(in crate::output) fn escaped(value: &str) -> String {
    quick_xml::escape::escape(held(value)).into_owned()
}

/// A text without what XML cannot hold.
fn held(value: &str) -> String {
    value.chars().filter(|sign| is_character(*sign)).collect()
}

/// Whether XML 1.0 can hold a character (section 2.2, production 2).
fn is_character(sign: char) -> bool {
    matches!(sign, '\t' | '\n' | '\r' | ' '..='\u{d7ff}' | '\u{e000}'..='\u{fffd}' | '\u{10000}'..)
}
