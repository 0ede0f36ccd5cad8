//! XML 1.0 in pieces, each with its line: what the readers of GPX, KML and workbooks need of it.
//!
//! Names come without prefix; whether an element is of the outermost one's namespace is told beside
//! it. Entities are those of XML itself. Anything that is not well-formed is an error with its line.

use quick_xml::NsReader;
use quick_xml::XmlVersion;
use quick_xml::errors::{Error, IllFormedError};
use quick_xml::events::{BytesStart, Event};
use quick_xml::name::ResolveResult;

/// A piece of a document.
pub enum Piece {
    /// An element begins.
    Open(Open),
    /// Text of the element that is open.
    Text(String),
    /// The innermost element ends, at this byte.
    Close(usize),
    /// The document ends.
    End,
}

/// The begin of an element.
pub struct Open {
    /// Name without prefix.
    pub name: String,
    /// Whether it is in the namespace of the outermost element.
    pub is_own: bool,
    /// Attributes: name as it stands and value.
    pub attributes: Vec<(String, String)>,
    /// Line, counted from 1.
    pub line: u64,
    /// First byte.
    pub start: usize,
}

impl Open {
    /// The value of an attribute.
    pub fn attribute(&mut self, name: &str) -> Option<String> {
        self.attributes.iter_mut().find(|(key, _)| key == name).map(|(_, value)| std::mem::take(value))
    }
}

/// Cuts a document into its pieces.
pub struct Pieces<'t> {
    text: &'t str,
    reader: NsReader<&'t [u8]>,
    /// Byte up to which line ends are counted, and the line there.
    counted: (usize, u64),
    /// The open elements with their lines.
    open: Vec<(String, u64)>,
    /// Namespace of the outermost element, once that is read.
    own: Option<Option<String>>,
}

impl<'t> Pieces<'t> {
    /// At the begin of a text.
    pub fn new(text: &'t str) -> Pieces<'t> {
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        let mut reader = NsReader::from_str(text);
        reader.config_mut().expand_empty_elements = true;
        Pieces { text, reader, counted: (0, 1), open: Vec::new(), own: None }
    }

    /// The text between two bytes.
    pub fn slice(&self, start: usize, end: usize) -> &'t str {
        self.text.get(start..end).unwrap_or_default()
    }

    /// The next piece.
    ///
    /// # Errors
    /// When the text is not well-formed; the sentence begins with the line.
    #[allow(clippy::should_implement_trait)] // it ends with a piece of its own, not with none
    pub fn next(&mut self) -> Result<Piece, String> {
        loop {
            let start = self.reader.buffer_position() as usize;
            let (namespace, event) = match self.reader.read_resolved_event() {
                Ok((ResolveResult::Bound(namespace), event)) => (Ok(Some(namespace.as_ref().to_owned())), event),
                Ok((ResolveResult::Unbound, event)) => (Ok(None), event),
                Ok((ResolveResult::Unknown(prefix), event)) => (Err(prefix), event),
                Err(error) => return Err(self.damage(&error)),
            };
            let text = match event {
                Event::Start(tag) => return self.begin(&tag, namespace.ok(), start).map(Piece::Open),
                Event::End(_) => {
                    self.open.pop();
                    return Ok(Piece::Close(self.reader.buffer_position() as usize));
                }
                Event::Text(text) => text.xml10_content().into_owned(),
                Event::CData(text) => text.xml10_content().into_owned(),
                Event::GeneralRef(reference) => match reference.resolve_char_ref() {
                    Ok(Some(letter)) => letter.to_string(),
                    Ok(None) => match quick_xml::escape::resolve_predefined_entity(&reference.xml10_content()) {
                        Some(text) => text.to_owned(),
                        None => {
                            let name = reference.into_inner().into_owned();
                            return Err(self.at(start, &format!("&{name}; stands for nothing here; write & as &amp;")));
                        }
                    },
                    Err(error) => return Err(self.damage(&error)),
                },
                Event::Eof => return self.end().map(|()| Piece::End),
                Event::Empty(_) | Event::Comment(_) | Event::Decl(_) | Event::PI(_) | Event::DocType(_) => continue,
            };
            if !self.open.is_empty() {
                return Ok(Piece::Text(text));
            }
            if !text.trim().is_empty() {
                let place = if self.own.is_some() { "behind" } else { "before" };
                return Err(self.at(start, &format!("text stands {place} the outermost element: this is no sound XML")));
            }
        }
    }

    /// Passes over all that is in the innermost open element, and its end.
    ///
    /// # Errors
    /// As [`Pieces::next`].
    pub fn skip(&mut self) -> Result<(), String> {
        self.text_of().map(drop)
    }

    /// The text of the innermost open element up to its end, without that of elements in it.
    ///
    /// # Errors
    /// As [`Pieces::next`].
    pub fn text_of(&mut self) -> Result<String, String> {
        let depth = self.open.len();
        let mut whole = String::new();
        loop {
            match self.next()? {
                Piece::Text(text) if self.open.len() == depth => whole.push_str(&text),
                Piece::Close(_) if self.open.len() < depth => return Ok(whole),
                Piece::End => return Ok(whole),
                Piece::Open(_) | Piece::Text(_) | Piece::Close(_) => {}
            }
        }
    }

    fn begin(&mut self, tag: &BytesStart, namespace: Option<Option<String>>, start: usize) -> Result<Open, String> {
        let name = tag.local_name().as_ref().to_owned();
        if self.open.is_empty() && self.own.is_some() {
            return Err(self.at(start, &format!("<{name}> stands behind the outermost element: are two files run together?")));
        }
        let mut attributes = Vec::new();
        for attribute in tag.attributes() {
            let broken = || format!("the attributes of <{name}> are damaged");
            let attribute = attribute.map_err(|_| self.at(start, &broken()))?;
            let value = attribute.normalized_value(XmlVersion::Implicit1_0).map_err(|_| self.at(start, &broken()))?;
            attributes.push((attribute.key.as_ref().to_owned(), value.into_owned()));
        }
        let line = self.line(start);
        self.open.push((tag.name().as_ref().to_owned(), line));
        let own = self.own.get_or_insert_with(|| namespace.clone().unwrap_or_default());
        Ok(Open { is_own: namespace.as_ref() == Some(own), name, attributes, line, start })
    }

    fn end(&mut self) -> Result<(), String> {
        match self.open.last() {
            None => Ok(()),
            Some((name, line)) => {
                let gist = format!("the file ends before <{name}> of line {line} does: it was cut short; copy it anew");
                Err(self.at(self.text.len(), &gist))
            }
        }
    }

    /// The line of a byte; bytes are asked for in order.
    fn line(&mut self, at: usize) -> u64 {
        let (counted, line) = self.counted;
        if at > counted {
            self.counted = (at, line + lines(&self.text.as_bytes()[counted..at]));
        }
        self.counted.1
    }

    fn at(&self, place: usize, gist: &str) -> String {
        let before = &self.text.as_bytes()[..place.min(self.text.len())];
        // The end of a file is told as its last line, not the one after it.
        let before = if before.len() == self.text.len() { before.strip_suffix(b"\n").unwrap_or(before) } else { before };
        format!("line {}: {gist}", 1 + lines(before))
    }

    /// What is wrong, in words of the file.
    fn damage(&self, error: &Error) -> String {
        let place = self.reader.error_position() as usize;
        match error {
            Error::IllFormed(IllFormedError::MismatchedEndTag { found, .. } | IllFormedError::UnmatchedEndTag(found)) => {
                let gist = match self.open.last() {
                    Some((name, line)) => format!("</{found}> stands where <{name}> of line {line} must end first"),
                    None => format!("</{found}> ends what never began"),
                };
                self.at(place, &gist)
            }
            Error::IllFormed(IllFormedError::UnclosedReference) => {
                self.at(place, "a lone & stands here; in a GPX file it is written &amp;")
            }
            Error::Syntax(_) => self.at(place, "what begins here never ends: the file is damaged or was cut short; copy it anew"),
            _ => self.at(place, "this is no sound XML: the file is damaged; copy it anew"),
        }
    }
}

fn lines(bytes: &[u8]) -> u64 {
    memchr::memchr_iter(b'\n', bytes).count() as u64
}
