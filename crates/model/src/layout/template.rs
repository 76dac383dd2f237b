//! Texts with fields in braces, from which a layout composes values:
//! `{pipes.upstream}/{pipes.downstream}`.

use super::Target;
use crate::profile::{FieldPath, FieldPathError};

/// A text with fields in braces, with the paths resolved.
///
/// ```
/// use obvert_model::layout::{Target, Template};
///
/// let template = Template::parse("{pipes.upstream}-{pipes.downstream}").map_err(|errors| errors[0].clone())?;
/// let text = template.fill(|field| (field == Target::PIPE_UPSTREAM).then(|| "MH-1".to_owned()));
/// assert_eq!(text, None);
/// let text = template.fill(|field| Some(field.path().len().to_string()));
/// assert_eq!(text.as_deref(), Some("14-16"));
/// # Ok::<(), obvert_model::layout::TemplateError>(())
/// ```
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Template {
    /// The text before the first field.
    start: String,
    /// Each field, with the text after it.
    fields: Vec<(Target, String)>,
}

/// Why a text is not a template.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum TemplateError {
    /// A brace without the path of a field.
    #[error(
        "a brace is not followed by the path of a field and a closing brace, such as {{pipes.id}}"
    )]
    Brace,
    /// A path of a field that the format does not have.
    #[error(transparent)]
    Path(#[from] FieldPathError),
}

impl Template {
    /// In the id of the document: a digest of the rows of the table. [`Template::fill`] leaves it as
    /// it is.
    pub const DIGEST: &'static str = "{digest}";

    /// Resolves the paths in the braces of a text.
    ///
    /// # Errors
    /// With every problem of its braces.
    pub fn parse(text: &str) -> Result<Self, Vec<TemplateError>> {
        let mut pieces = text.split('{');
        let mut start = pieces.next().unwrap_or_default().to_owned();
        let (mut fields, mut errors) = (Vec::<(Target, String)>::new(), Vec::new());
        for piece in pieces {
            if piece.starts_with(&Self::DIGEST[1..]) {
                let before = fields.last_mut().map_or(&mut start, |(_, behind)| behind);
                before.push('{');
                before.push_str(piece);
                continue;
            }
            match field(piece) {
                Ok(found) => fields.push(found),
                Err(error) => errors.push(error),
            }
        }
        if errors.is_empty() { Ok(Self { start, fields }) } else { Err(errors) }
    }

    /// Whether it has the digest of the rows.
    #[must_use]
    pub fn has_digest(&self) -> bool {
        let behind = self.fields.iter().map(|(_, behind)| behind);
        std::iter::once(&self.start).chain(behind).any(|text| text.contains(Self::DIGEST))
    }

    /// The fields in its braces.
    pub fn fields(&self) -> impl Iterator<Item = Target> {
        self.fields.iter().map(|(target, _)| *target)
    }

    /// The text with the values of its fields; `None` if one is absent.
    pub fn fill(&self, value: impl Fn(Target) -> Option<String>) -> Option<String> {
        let mut filled = self.start.clone();
        for (target, behind) in &self.fields {
            filled.push_str(&value(*target)?);
            filled.push_str(behind);
        }
        Some(filled)
    }
}

/// The field before a closing brace, and the text after it.
fn field(piece: &str) -> Result<(Target, String), TemplateError> {
    let (path, behind) = piece.split_once('}').ok_or(TemplateError::Brace)?;
    let path: FieldPath = path.parse().map_err(|_| TemplateError::Brace)?;
    Ok((Target::resolve(&path)?, behind.to_owned()))
}
