//! Texts of a survey in a page. They are escaped, so that they contain no markup and cannot hide or
//! reverse other text.

use std::fmt::{self, Write};

use crate::output::{Block, blocks};

/// A text, escaped for an element or an attribute in double quotes.
pub(super) struct Text<'t>(pub(super) &'t str);

impl fmt::Display for Text<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for c in self.0.chars() {
            match c {
                '&' => f.write_str("&amp;")?,
                '<' => f.write_str("&lt;")?,
                '>' => f.write_str("&gt;")?,
                '"' => f.write_str("&quot;")?,
                '\'' => f.write_str("&#39;")?,
                '\n' | '\t' => f.write_char(' ')?,
                c if shown_by_number(c) => write!(f, "[U+{:04X}]", u32::from(c))?,
                c => f.write_char(c)?,
            }
        }
        Ok(())
    }
}

/// Whether a character is replaced by its number: control characters, characters that set the
/// direction of text (Unicode Standard Annex 9), invisible characters that make two texts look the
/// same, line and paragraph separators, and characters that HTML forbids.
fn shown_by_number(c: char) -> bool {
    c.is_control()
        || matches!(
            c,
            '\u{61C}' | '\u{200B}' | '\u{200E}' | '\u{200F}' | '\u{2028}'..='\u{202E}' | '\u{2060}'..='\u{206F}'
                | '\u{FEFF}' | '\u{FFF9}'..='\u{FFFB}' | '\u{E0001}'..='\u{E007F}'
        )
        || u32::from(c) & 0xFFFE == 0xFFFE
        || matches!(c, '\u{FDD0}'..='\u{FDEF}')
}

/// Paragraphs and lists with code between backticks, as in the documentation of rules.
pub(super) struct Paragraphs<'t>(pub(super) &'t str);

impl fmt::Display for Paragraphs<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for block in blocks(self.0) {
            match block {
                Block::Paragraph(text) => write!(f, "<p>{}</p>", Inline(&text))?,
                Block::List(items) => {
                    f.write_str("<ul>")?;
                    for item in items {
                        write!(f, "<li>{}</li>", Inline(&item))?;
                    }
                    f.write_str("</ul>")?;
                }
            }
        }
        Ok(())
    }
}

/// A line of text with code between backticks.
pub(super) struct Inline<'t>(pub(super) &'t str);

impl fmt::Display for Inline<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut parts = self.0.split('`').peekable();
        let mut code = false;
        while let Some(part) = parts.next() {
            // A backtick without a partner stays as it is.
            match (code, parts.peek().is_some()) {
                (true, true) => write!(f, "<code>{}</code>", Text(part))?,
                (true, false) => write!(f, "`{}", Text(part))?,
                _ => write!(f, "{}", Text(part))?,
            }
            code = !code;
        }
        Ok(())
    }
}
