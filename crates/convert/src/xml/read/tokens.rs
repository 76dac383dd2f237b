//! The markup of a document: tags and text, well formed and in the right namespace. What XML offers
//! beyond that (document types, processing instructions, other encodings) ends the reading here.

use std::borrow::Cow;

use quick_xml::events::{BytesStart, Event};
use quick_xml::name::{Namespace, ResolveResult};
use quick_xml::reader::NsReader;

use super::super::NAMESPACE;
use super::super::names::ROOT;
use super::super::text::{is_space, reference};
use super::attributes::{self, Attribute};
use crate::position::Counter;
use crate::{ConvertError, Location};

/// Deeper than any valid document, and shallow enough that nobody can make the reader work.
const DEEPEST: usize = 64;
/// The namespaces of this format, without the version.
const NAMESPACES: &str = "https://obvert.example/ns/";
const INSTANCE: &str = "http://www.w3.org/2001/XMLSchema-instance";

/// A piece of the document, with the byte offset at which it begins.
#[derive(Debug)]
pub enum Token<'t> {
    /// A start tag.
    Start(Start<'t>),
    /// An end tag.
    End,
    /// A piece of text, references resolved; comments and CDATA sections cut a text into several.
    Text {
        /// The text.
        text: Cow<'t, str>,
        /// Where it begins.
        offset: usize,
    },
    /// The end of the document.
    Eof,
}

/// A start tag. An element of another namespace has its name with the prefix, which no element of
/// the format has.
#[derive(Debug)]
pub struct Start<'t> {
    /// Its name.
    pub name: &'t str,
    /// The namespace, when it is not that of the format.
    pub(super) foreign: Option<String>,
    /// Name and value of the attributes that are not about namespaces or schemas, with their
    /// offsets.
    pub attributes: Vec<(String, String, usize)>,
    /// Where it begins.
    pub offset: usize,
}

/// The tokens of a text.
pub struct Tokens<'t> {
    reader: NsReader<&'t [u8]>,
    text: &'t str,
    file: String,
    counter: Counter<'t>,
    /// Where the elements begin that are open.
    open: Vec<usize>,
    root_seen: bool,
    /// Whether it is a document of any vocabulary, and not one of this format.
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

    /// The tokens of a document in whatever vocabulary. Names keep their prefixes.
    #[must_use]
    pub fn of_any(text: &'t str, file: &str) -> Self {
        Self { any: true, ..Self::new(text, file) }
    }

    /// Where a byte of the text stands.
    pub(super) fn place(&mut self, offset: usize) -> Location {
        self.counter.location(offset, &self.file)
    }

    /// Line and column of a byte of the text.
    pub fn line_column(&mut self, offset: usize) -> (usize, usize) {
        self.counter.at(offset)
    }

    /// The first byte from an offset on that is not white space.
    #[must_use]
    pub fn past_space(&self, offset: usize) -> usize {
        let rest = self.text.get(offset..).unwrap_or_default();
        self.text.len() - rest.trim_start_matches(is_space).len()
    }

    /// An error at a byte of the text.
    pub fn refuse(&mut self, offset: usize, message: impl Into<String>) -> ConvertError {
        ConvertError::Form { place: Some(self.place(offset)), message: message.into() }
    }

    fn offset(&self) -> usize {
        usize::try_from(self.reader.buffer_position()).unwrap_or(usize::MAX)
    }

    /// The next token.
    ///
    /// # Errors
    /// At the first thing that is not well-formed XML, or is never read.
    #[allow(clippy::should_implement_trait)]
    pub fn next(&mut self) -> Result<Token<'t>, ConvertError> {
        loop {
            let offset = self.offset();
            let event = match self.reader.read_event() {
                Ok(event) => event,
                Err(error) => {
                    let at = usize::try_from(self.reader.error_position()).unwrap_or(offset);
                    return Err(self
                        .refuse(at.min(self.text.len()), format!("not well-formed XML: {error}")));
                }
            };
            match event {
                Event::Start(tag) => return self.start(&tag, offset).map(Token::Start),
                // `expand_empty_elements` has made a start and an end of it.
                Event::Empty(_) => {}
                Event::End(_) => {
                    self.open.pop();
                    return Ok(Token::End);
                }
                Event::Text(piece) => {
                    if let Some(at) = piece.find("]]>") {
                        return Err(self.refuse(
                            offset + at,
                            "not well-formed XML: ]]> in a text; write it as ]]&gt;",
                        ));
                    }
                    // Only where line ends must be made alike does the text differ from the source.
                    let text = match self.text.get(offset..offset + piece.len()) {
                        Some(source) if !source.contains('\r') => Cow::Borrowed(source),
                        _ => Cow::Owned(piece.xml10_content().into_owned()),
                    };
                    if let Some(text) = self.content(text, offset)? {
                        return Ok(Token::Text { text, offset });
                    }
                }
                Event::CData(piece) => {
                    let text = Cow::Owned(piece.xml10_content().into_owned());
                    // Not even an empty one may stand outside the root.
                    if self.open.is_empty() {
                        return Err(self
                            .refuse(offset, "not well-formed XML: text outside the root element"));
                    }
                    return Ok(Token::Text { text, offset });
                }
                Event::GeneralRef(name) => {
                    let Some(letter) = reference(&name) else {
                        return Err(self.refuse(offset, attributes::unknown_reference(&name)));
                    };
                    if self.open.is_empty() {
                        return Err(self
                            .refuse(offset, "not well-formed XML: text outside the root element"));
                    }
                    return Ok(Token::Text { text: letter.to_string().into(), offset });
                }
                Event::Comment(_) => {}
                Event::Decl(declaration) => {
                    // The mark before it has been taken off with the bytes.
                    if offset != 0 {
                        return Err(self.refuse(
                            offset,
                            "not well-formed XML: the XML declaration must stand first",
                        ));
                    }
                    let text = declaration.strip_prefix("xml").unwrap_or_default().to_owned();
                    self.declaration(&text)?;
                }
                Event::DocType(_) => {
                    return Err(self.refuse(
                        offset,
                        "a document type declaration, which is never read: it can make a reader expand and fetch things; take it out",
                    ));
                }
                Event::PI(_) => {
                    return Err(self.refuse(
                        offset,
                        "a processing instruction, which the format does not have; take it out",
                    ));
                }
                Event::Eof => {
                    if let Some(begins) = self.open.pop() {
                        let rest = self.text.get(begins + 1..).unwrap_or_default();
                        let name = rest
                            .split(|letter| is_space(letter) || letter == '>')
                            .next()
                            .unwrap_or_default();
                        let begins = self.place(begins).line;
                        return Err(self.refuse(
                            self.text.len(),
                            format!(
                                "the file ends inside <{name}>, which begins on line {begins}; it has been cut off"
                            ),
                        ));
                    }
                    if !self.root_seen {
                        return Err(self.refuse(
                            self.text.len(),
                            if self.any {
                                "the file has no element".to_owned()
                            } else {
                                format!("the file has no <{ROOT}> element")
                            },
                        ));
                    }
                    return Ok(Token::Eof);
                }
            }
        }
    }

    /// Text inside the root; outside, only white space is allowed and gives nothing.
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
                format!("not well-formed XML: {:?} is no name of an element", short(qualified)),
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
                    format!("not well-formed XML: nothing binds the prefix {prefix:?}"),
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
                format!("elements nested more than {DEEPEST} deep; no survey is"),
            ));
        }
        self.open.push(offset);
        let name = if foreign.is_some() || self.any { qualified } else { local };
        Ok(Start { name, foreign, attributes, offset })
    }

    /// The name of an attribute that says something about the document; `None` for those about
    /// namespaces and schemas.
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
                    format!("not well-formed XML: the prefix {local:?} is bound to nothing"),
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
                .refuse(at, format!("not well-formed XML: nothing binds the prefix {prefix:?}"))),
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
            None => format!("the root element is <{local}>, where <{ROOT}> is expected"),
            Some("") => format!(
                "the root element <{local}> is in no namespace; write <{ROOT} xmlns=\"{NAMESPACE}\">"
            ),
            Some(other) => match other.strip_prefix(NAMESPACES) {
                Some(version) => format!(
                    "the document is of version {:?} of the format; this reader knows version {:?}",
                    short(version),
                    NAMESPACE.strip_prefix(NAMESPACES).unwrap_or_default()
                ),
                None => {
                    format!(
                        "the root element is in the namespace {:?}, where {NAMESPACE:?} is expected",
                        short(other)
                    )
                }
            },
        };
        Err(self.refuse(offset, message))
    }

    /// The XML declaration, by production 23 of the recommendation.
    fn declaration(&mut self, text: &str) -> Result<(), ConvertError> {
        let wrong = "not well-formed XML: the XML declaration must be like <?xml version=\"1.0\" encoding=\"UTF-8\"?>";
        let Ok(parts) = attributes::parse(text) else { return Err(self.refuse(0, wrong)) };
        let mut parts = parts.iter().peekable();
        match parts.next() {
            Some(Attribute { name: "version", value, .. }) if value == "1.0" => {}
            Some(Attribute { name: "version", value, .. }) => {
                let message =
                    format!("XML version {:?}; save the document as XML 1.0", short(value));
                return Err(self.refuse(0, message));
            }
            _ => return Err(self.refuse(0, wrong)),
        }
        if let Some(encoding) = parts.next_if(|part| part.name == "encoding")
            && !encoding.value.eq_ignore_ascii_case("utf-8")
            // The caller that reads any vocabulary has decoded the document by its declaration.
            && !self.any
        {
            let message = format!(
                "the encoding {:?}; save the document as UTF-8 and say so",
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
