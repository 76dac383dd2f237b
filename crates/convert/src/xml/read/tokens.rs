//! The markup of a document: tags and text, well formed and in the right namespace. Other features
//! of XML (document types, processing instructions, other encodings) are errors here.

use std::borrow::Cow;

use quick_xml::events::{BytesStart, BytesText, Event};
use quick_xml::name::{Namespace, ResolveResult};
use quick_xml::reader::NsReader;

use super::super::NAMESPACE;
use super::super::names::ROOT;
use super::super::text::{is_space, reference};
use super::attributes::{self, Attribute};
use crate::position::Counter;
use crate::{ConvertError, Location};

/// Deeper than any valid document, and too shallow to overload the reader.
const DEEPEST: usize = 64;
/// The namespaces of this format, without the version.
const NAMESPACES: &str = "https://obvert.example/ns/";
const INSTANCE: &str = "http://www.w3.org/2001/XMLSchema-instance";

/// A piece of the document, with the byte offset at which it starts.
#[derive(Debug)]
pub enum Token<'t> {
    /// A start tag.
    Start(Start<'t>),
    /// An end tag.
    End,
    /// A piece of text, with references resolved. Comments and CDATA sections split a text.
    Text {
        /// The text.
        text: Cow<'t, str>,
        /// Where it starts.
        offset: usize,
    },
    /// The end of the document.
    Eof,
}

/// A start tag. The name of an element in another namespace includes the prefix, which no element
/// of the format has.
#[derive(Debug)]
pub struct Start<'t> {
    /// Its name.
    pub name: &'t str,
    /// The namespace, if it is not that of the format.
    pub(super) foreign: Option<String>,
    /// Name and value of the attributes, except those about namespaces and schemas, with their
    /// offsets.
    pub attributes: Vec<(String, String, usize)>,
    /// Where it starts.
    pub offset: usize,
}

/// The tokens of a text.
pub struct Tokens<'t> {
    reader: NsReader<&'t [u8]>,
    text: &'t str,
    file: String,
    counter: Counter<'t>,
    /// Where the open elements start.
    open: Vec<usize>,
    root_seen: bool,
    /// Whether any vocabulary is allowed.
    any: bool,
}

impl std::fmt::Debug for Tokens<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Tokens").field("file", &self.file).field("offset", &self.offset()).finish()
    }
}

impl<'t> Tokens<'t> {
    pub(super) fn new(text: &'t str, file: &str) -> Self {
        let mut reader = NsReader::from_str(text);
        let config = reader.config_mut();
        config.expand_empty_elements = true;
        config.enable_all_checks(true);
        Self {
            reader,
            text,
            file: file.to_owned(),
            counter: Counter::new(text),
            open: Vec::new(),
            root_seen: false,
            any: false,
        }
    }

    /// The tokens of a document in any vocabulary. Names keep their prefixes.
    #[must_use]
    pub fn of_any(text: &'t str, file: &str) -> Self {
        Self { any: true, ..Self::new(text, file) }
    }

    /// The location of a byte of the text.
    pub(super) fn place(&mut self, offset: usize) -> Location {
        self.counter.location(offset, &self.file)
    }

    /// Line and column of a byte of the text.
    pub fn line_column(&mut self, offset: usize) -> (usize, usize) {
        self.counter.at(offset)
    }

    /// The offset of the first byte at or after an offset that is not white space.
    #[must_use]
    pub fn past_space(&self, offset: usize) -> usize {
        let rest = self.text.get(offset..).unwrap_or_default();
        self.text.len() - rest.trim_start_matches(is_space).len()
    }

    /// An error at a byte of the text.
    pub fn refuse(&mut self, offset: usize, message: impl Into<String>) -> ConvertError {
        ConvertError::Format { place: Some(self.place(offset)), message: message.into() }
    }

    fn offset(&self) -> usize {
        usize::try_from(self.reader.buffer_position()).unwrap_or(usize::MAX)
    }

    /// The next token.
    ///
    /// # Errors
    /// At the first thing that is not well-formed XML, or that this format does not allow.
    #[allow(clippy::should_implement_trait)]
    pub fn next(&mut self) -> Result<Token<'t>, ConvertError> {
        loop {
            let offset = self.offset();
            let event = match self.reader.read_event() {
                Ok(event) => event,
                Err(error) => {
                    let at = usize::try_from(self.reader.error_position()).unwrap_or(offset);
                    let message = format!("not well-formed XML: {error}");
                    return Err(self.refuse(at.min(self.text.len()), message));
                }
            };
            if let Some(token) = self.token(event, offset)? {
                return Ok(token);
            }
        }
    }

    /// The token of an event; `None` for one that has no content, such as a comment.
    fn token(
        &mut self,
        event: Event<'_>,
        offset: usize,
    ) -> Result<Option<Token<'t>>, ConvertError> {
        match event {
            Event::Start(tag) => return self.start(&tag, offset).map(Token::Start).map(Some),
            Event::End(_) => {
                self.open.pop();
                return Ok(Some(Token::End));
            }
            Event::Text(piece) => return self.text(&piece, offset),
            Event::CData(piece) => {
                // Outside the root even an empty one is not allowed.
                self.check_inside(offset)?;
                let text = Cow::Owned(piece.xml10_content().into_owned());
                return Ok(Some(Token::Text { text, offset }));
            }
            Event::GeneralRef(name) => {
                let Some(letter) = reference(&name) else {
                    return Err(self.refuse(offset, attributes::unknown_reference(&name)));
                };
                self.check_inside(offset)?;
                return Ok(Some(Token::Text { text: letter.to_string().into(), offset }));
            }
            // `expand_empty_elements` turns an empty element into a start and an end.
            Event::Empty(_) | Event::Comment(_) => {}
            Event::Decl(declaration) => {
                // The byte-order mark before it has been removed.
                if offset != 0 {
                    return Err(self.refuse(
                        offset,
                        "not well-formed XML: the XML declaration must be first in the file",
                    ));
                }
                let text = declaration.strip_prefix("xml").unwrap_or_default().to_owned();
                self.declaration(&text)?;
            }
            Event::DocType(_) => {
                return Err(self.refuse(
                    offset,
                    "document type declarations are not read, since they can make a reader expand text and fetch files; remove it",
                ));
            }
            Event::PI(_) => {
                return Err(self
                    .refuse(offset, "the format has no processing instructions; remove this one"));
            }
            Event::Eof => return self.eof().map(Some),
        }
        Ok(None)
    }

    fn text(
        &mut self,
        piece: &BytesText<'_>,
        offset: usize,
    ) -> Result<Option<Token<'t>>, ConvertError> {
        if let Some(at) = piece.find("]]>") {
            return Err(
                self.refuse(offset + at, "not well-formed XML: ]]> in a text; write it as ]]&gt;")
            );
        }
        // The text differs from the source only if line ends have to be normalised.
        let text = match self.text.get(offset..offset + piece.len()) {
            Some(source) if !source.contains('\r') => Cow::Borrowed(source),
            _ => Cow::Owned(piece.xml10_content().into_owned()),
        };
        let text = self.content(text, offset)?;
        Ok(text.map(|text| Token::Text { text, offset }))
    }

    fn check_inside(&mut self, offset: usize) -> Result<(), ConvertError> {
        if self.open.is_empty() {
            return Err(self.refuse(offset, "not well-formed XML: text outside the root element"));
        }
        Ok(())
    }

    fn eof(&mut self) -> Result<Token<'t>, ConvertError> {
        let message = if let Some(start) = self.open.pop() {
            let rest = self.text.get(start + 1..).unwrap_or_default();
            let mut words = rest.split(|letter| is_space(letter) || letter == '>');
            let name = words.next().unwrap_or_default();
            let line = self.place(start).line;
            format!(
                "the file ends inside <{name}>, which starts on line {line}; the file is cut off, so fetch it again"
            )
        } else if self.root_seen {
            return Ok(Token::Eof);
        } else if self.any {
            "the file has no element".to_owned()
        } else {
            format!("the file has no <{ROOT}> element")
        };
        Err(self.refuse(self.text.len(), message))
    }

    /// Text inside the root. Outside, only white space is allowed, which gives no token.
    fn content(
        &mut self,
        text: Cow<'t, str>,
        offset: usize,
    ) -> Result<Option<Cow<'t, str>>, ConvertError> {
        if !self.open.is_empty() {
            return Ok(Some(text));
        }
        match text.find(|letter| !is_space(letter)) {
            None => Ok(None),
            Some(at) => {
                Err(self.refuse(offset + at, "not well-formed XML: text outside the root element"))
            }
        }
    }

    fn start(&mut self, tag: &BytesStart<'_>, offset: usize) -> Result<Start<'t>, ConvertError> {
        let length = tag.name().into_inner().len();
        let qualified = self.text.get(offset + 1..offset + 1 + length).unwrap_or_default();
        if !attributes::is_qualified(qualified) {
            return Err(self.refuse(
                offset,
                format!(
                    "not well-formed XML: {:?} is not a valid name of an element",
                    short(qualified)
                ),
            ));
        }
        let raw = attributes::parse(tag.attributes_raw()).map_err(|(at, message)| {
            self.refuse(
                offset + 1 + qualified.len() + at,
                format!("not well-formed XML: {message}"),
            )
        })?;
        let begins = offset + 1 + qualified.len();
        let mut attributes = Vec::new();
        for attribute in raw {
            let at = begins + attribute.offset;
            if let Some(name) = self.attribute(&attribute, at)? {
                attributes.push((name, attribute.value, at));
            }
        }
        let local = qualified.split_once(':').map_or(qualified, |(_, local)| local);
        let (namespace, _) = self.reader.resolver().resolve_element(tag.name());
        let foreign = match namespace {
            ResolveResult::Bound(Namespace(NAMESPACE)) => None,
            ResolveResult::Bound(Namespace(other)) => Some(other.to_owned()),
            ResolveResult::Unbound => Some(String::new()),
            ResolveResult::Unknown(prefix) => {
                return Err(self.refuse(
                    offset,
                    format!("not well-formed XML: the prefix {prefix:?} is not declared"),
                ));
            }
        };
        if self.open.is_empty() {
            if self.root_seen {
                return Err(self.refuse(offset, "not well-formed XML: a second root element"));
            }
            self.root_seen = true;
            if !self.any {
                self.root(local, foreign.as_deref(), offset)?;
            }
        }
        if self.open.len() >= DEEPEST {
            return Err(self.refuse(
                offset,
                format!("elements are nested more than {DEEPEST} deep; no survey needs that"),
            ));
        }
        self.open.push(offset);
        let name = if foreign.is_some() || self.any { qualified } else { local };
        Ok(Start { name, foreign, attributes, offset })
    }

    /// The name of an attribute; `None` for one about namespaces or schemas.
    fn attribute(
        &mut self,
        attribute: &Attribute<'_>,
        at: usize,
    ) -> Result<Option<String>, ConvertError> {
        let Some((prefix, local)) = attribute.name.split_once(':') else {
            return Ok((attribute.name != "xmlns").then(|| attribute.name.to_owned()));
        };
        if prefix == "xmlns" {
            if attribute.value.is_empty() {
                return Err(self.refuse(
                    at,
                    format!("not well-formed XML: the prefix {local:?} has an empty namespace"),
                ));
            }
            return Ok(None);
        }
        let name = quick_xml::name::QName(attribute.name);
        match self.reader.resolver().resolve_attribute(name).0 {
            ResolveResult::Bound(Namespace(INSTANCE))
                if matches!(local, "schemaLocation" | "noNamespaceSchemaLocation") =>
            {
                Ok(None)
            }
            ResolveResult::Unknown(prefix) => Err(self
                .refuse(at, format!("not well-formed XML: the prefix {prefix:?} is not declared"))),
            _ => Ok(Some(attribute.name.to_owned())),
        }
    }

    fn root(
        &mut self,
        local: &str,
        foreign: Option<&str>,
        offset: usize,
    ) -> Result<(), ConvertError> {
        let message = match foreign {
            None if local == ROOT => return Ok(()),
            None => format!("the root element is <{local}>; expected <{ROOT}>"),
            Some("") => format!(
                "the root element <{local}> has no namespace; write <{ROOT} xmlns=\"{NAMESPACE}\">"
            ),
            Some(other) => match other.strip_prefix(NAMESPACES) {
                Some(version) => format!(
                    "the document has version {:?} of the format; this reader supports version {:?}",
                    short(version),
                    NAMESPACE.strip_prefix(NAMESPACES).unwrap_or_default()
                ),
                None => {
                    format!(
                        "the root element is in the namespace {:?}; expected {NAMESPACE:?}",
                        short(other)
                    )
                }
            },
        };
        Err(self.refuse(offset, message))
    }

    /// The XML declaration, by production 23 of the recommendation.
    fn declaration(&mut self, text: &str) -> Result<(), ConvertError> {
        let wrong = "not well-formed XML: write the XML declaration as <?xml version=\"1.0\" encoding=\"UTF-8\"?>";
        let Ok(parts) = attributes::parse(text) else { return Err(self.refuse(0, wrong)) };
        let mut parts = parts.iter().peekable();
        match parts.next() {
            Some(Attribute { name: "version", value, .. }) if value == "1.0" => {}
            Some(Attribute { name: "version", value, .. }) => {
                let message = format!(
                    "XML version {:?} is not supported; save the document as XML 1.0",
                    short(value)
                );
                return Err(self.refuse(0, message));
            }
            _ => return Err(self.refuse(0, wrong)),
        }
        if let Some(encoding) = parts.next_if(|part| part.name == "encoding")
            && !encoding.value.eq_ignore_ascii_case("utf-8")
            // A caller that reads any vocabulary has decoded the document already.
            && !self.any
        {
            let message = format!(
                "the encoding is {:?}; save the document as UTF-8 and declare it",
                short(&encoding.value)
            );
            return Err(self.refuse(0, message));
        }
        if let Some(standalone) = parts.next_if(|part| part.name == "standalone")
            && !matches!(standalone.value.as_str(), "yes" | "no")
        {
            return Err(self.refuse(0, wrong));
        }
        if parts.next().is_some() { Err(self.refuse(0, wrong)) } else { Ok(()) }
    }
}

/// The beginning of a text, for a message.
pub(super) fn short(text: &str) -> String {
    let mut short: String = text.chars().take(60).collect();
    if short.len() < text.len() {
        short.push('…');
    }
    short
}
