//! XML 1.0 in pieces, each with its line: what the readers of GPX, KML and workbooks need of it.
//!
//! Names come without prefix; whether an element is of the outermost one's namespace is told beside
//! it. Entities are those of XML itself. Anything that is not well-formed is an error with its line.

use quick_xml::NsReader;
use quick_xml::XmlVersion;
use quick_xml::errors::{Error, IllFormedError};
use quick_xml::events::{BytesStart, Event};
use quick_xml::name::ResolveResult;

/// Why a text is no sound XML, with the line.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("line {line}: {flaw}")]
pub struct XmlError {
    /// Line, counted from 1.
    pub line: u64,
    /// What is wrong there.
    pub flaw: XmlFlaw,
}

/// What is wrong in a place of a text.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum XmlFlaw {
    /// An entity that XML itself does not have.
    #[error("&{0}; stands for nothing here; write & as &amp;")]
    UnknownEntity(String),
    /// Text ahead of the outermost element.
    #[error("text stands before the outermost element: this is no sound XML")]
    TextBefore,
    /// Text after the outermost element.
    #[error("text stands behind the outermost element: this is no sound XML")]
    TextBehind,
    /// An element after the outermost one.
    #[error("<{0}> stands behind the outermost element: are two files run together?")]
    SecondRoot(String),
    /// Attributes of an element that cannot be read.
    #[error("the attributes of <{0}> are damaged")]
    Attributes(String),
    /// The end of the file within an element.
    #[error("the file ends before <{name}> of line {opened} does: it was cut short; copy it anew")]
    CutShort {
        /// The element.
        name: String,
        /// Line on which it begins.
        opened: u64,
    },
    /// The end of another element than the innermost one.
    #[error("</{found}> stands where <{name}> of line {opened} must end first")]
    WrongEnd {
        /// The element that is ended.
        found: String,
        /// The innermost one.
        name: String,
        /// Line on which that begins.
        opened: u64,
    },
    /// The end of an element without a begin.
    #[error("</{0}> ends what never began")]
    StrayEnd(String),
    /// An ampersand that begins no entity.
    #[error("a lone & stands here; in a GPX file it is written &amp;")]
    LoneAmpersand,
    /// A tag or comment without an end.
    #[error("what begins here never ends: the file is damaged or was cut short; copy it anew")]
    Unfinished,
    /// Anything else that is not well-formed.
    #[error("this is no sound XML: the file is damaged; copy it anew")]
    Damaged,
}

/// A piece of a document.
pub enum XmlPiece {
    /// An element begins.
    Open(OpenElement),
    /// Text of the element that is open.
    Text(String),
    /// The innermost element ends, at this byte.
    Close(usize),
    /// The document ends.
    End,
}

/// The begin of an element.
pub struct OpenElement {
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

impl OpenElement {
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
    /// When the text is not well-formed.
    #[allow(clippy::should_implement_trait)] // it ends with a piece of its own, not with none
    pub fn next(&mut self) -> Result<XmlPiece, XmlError> {
        loop {
            let start = self.reader.buffer_position() as usize;
            let (namespace, event) = match self.reader.read_resolved_event() {
                Ok((ResolveResult::Bound(namespace), event)) => (Ok(Some(namespace.as_ref().to_owned())), event),
                Ok((ResolveResult::Unbound, event)) => (Ok(None), event),
                Ok((ResolveResult::Unknown(prefix), event)) => (Err(prefix), event),
                Err(error) => return Err(self.damage(&error)),
            };
            let text = match event {
                Event::Start(tag) => return self.begin(&tag, namespace.ok(), start).map(XmlPiece::Open),
                Event::End(_) => {
                    self.open.pop();
                    return Ok(XmlPiece::Close(self.reader.buffer_position() as usize));
                }
                Event::Text(text) => text.xml10_content().into_owned(),
                Event::CData(text) => text.xml10_content().into_owned(),
                Event::GeneralRef(reference) => match reference.resolve_char_ref() {
                    Ok(Some(letter)) => letter.to_string(),
                    Ok(None) => match quick_xml::escape::resolve_predefined_entity(&reference.xml10_content()) {
                        Some(text) => text.to_owned(),
                        None => {
                            let name = reference.into_inner().into_owned();
                            return Err(self.at(start, XmlFlaw::UnknownEntity(name)));
                        }
                    },
                    Err(error) => return Err(self.damage(&error)),
                },
                Event::Eof => return self.end().map(|()| XmlPiece::End),
                Event::Empty(_) | Event::Comment(_) | Event::Decl(_) | Event::PI(_) | Event::DocType(_) => continue,
            };
            if !self.open.is_empty() {
                return Ok(XmlPiece::Text(text));
            }
            if !text.trim().is_empty() {
                let flaw = if self.own.is_some() { XmlFlaw::TextBehind } else { XmlFlaw::TextBefore };
                return Err(self.at(start, flaw));
            }
        }
    }

    /// Passes over all that is in the innermost open element, and its end.
    ///
    /// # Errors
    /// As [`Pieces::next`].
    pub fn skip(&mut self) -> Result<(), XmlError> {
        self.text_of().map(drop)
    }

    /// The text of the innermost open element up to its end, without that of elements in it.
    ///
    /// # Errors
    /// As [`Pieces::next`].
    pub fn text_of(&mut self) -> Result<String, XmlError> {
        let depth = self.open.len();
        let mut whole = String::new();
        loop {
            match self.next()? {
                XmlPiece::Text(text) if self.open.len() == depth => whole.push_str(&text),
                XmlPiece::Close(_) if self.open.len() < depth => return Ok(whole),
                XmlPiece::End => return Ok(whole),
                XmlPiece::Open(_) | XmlPiece::Text(_) | XmlPiece::Close(_) => {}
            }
        }
    }

    fn begin(&mut self, tag: &BytesStart, namespace: Option<Option<String>>, start: usize) -> Result<OpenElement, XmlError> {
        let name = tag.local_name().as_ref().to_owned();
        if self.open.is_empty() && self.own.is_some() {
            return Err(self.at(start, XmlFlaw::SecondRoot(name)));
        }
        let mut attributes = Vec::new();
        for attribute in tag.attributes() {
            let broken = || self.at(start, XmlFlaw::Attributes(name.clone()));
            let attribute = attribute.map_err(|_| broken())?;
            let value = attribute.normalized_value(XmlVersion::Implicit1_0).map_err(|_| broken())?;
            attributes.push((attribute.key.as_ref().to_owned(), value.into_owned()));
        }
        let line = self.line(start);
        self.open.push((tag.name().as_ref().to_owned(), line));
        let own = self.own.get_or_insert_with(|| namespace.clone().unwrap_or_default());
        Ok(OpenElement { is_own: namespace.as_ref() == Some(own), name, attributes, line, start })
    }

    fn end(&mut self) -> Result<(), XmlError> {
        match self.open.last() {
            None => Ok(()),
            Some((name, opened)) => Err(self.at(self.text.len(), XmlFlaw::CutShort { name: name.clone(), opened: *opened })),
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

    fn at(&self, place: usize, flaw: XmlFlaw) -> XmlError {
        let before = &self.text.as_bytes()[..place.min(self.text.len())];
        // The end of a file is told as its last line, not the one after it.
        let before = if before.len() == self.text.len() { before.strip_suffix(b"\n").unwrap_or(before) } else { before };
        XmlError { line: 1 + lines(before), flaw }
    }

    /// What is wrong, in words of the file.
    fn damage(&self, error: &Error) -> XmlError {
        let flaw = match error {
            Error::IllFormed(IllFormedError::MismatchedEndTag { found, .. } | IllFormedError::UnmatchedEndTag(found)) => {
                let found = found.clone();
                match self.open.last() {
                    Some((name, opened)) => XmlFlaw::WrongEnd { found, name: name.clone(), opened: *opened },
                    None => XmlFlaw::StrayEnd(found),
                }
            }
            Error::IllFormed(IllFormedError::UnclosedReference) => XmlFlaw::LoneAmpersand,
            Error::Syntax(_) => XmlFlaw::Unfinished,
            _ => XmlFlaw::Damaged,
        };
        self.at(self.reader.error_position() as usize, flaw)
    }
}

fn lines(bytes: &[u8]) -> u64 {
    memchr::memchr_iter(b'\n', bytes).count() as u64
}
