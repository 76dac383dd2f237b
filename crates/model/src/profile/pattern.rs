//! Patterns in I-Regexp (RFC 9485), the regular expressions that every implementation reads alike.
//! They are matched against the whole text, in time proportional to its length, and are translated
//! to the syntax of the crate `regex`.

use regex::{Regex, RegexBuilder};

texts! {
    /// A regular expression (I-Regexp, RFC 9485) for a whole text.
    pub Pattern;
}

/// A compiled pattern.
#[derive(Clone, Debug)]
pub struct Matcher(Regex);

impl Matcher {
    /// Whether the whole text matches.
    #[must_use]
    pub fn matches(&self, text: &str) -> bool {
        self.0.is_match(text)
    }
}

/// Why a pattern is invalid.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("character {at}: {message}")]
pub struct PatternError {
    /// The position of the error in characters, from 1.
    pub at: usize,
    /// What is wrong.
    pub message: String,
}

/// Maximum repetitions of a piece, and maximum nesting of groups.
const MOST: u32 = 1000;
const DEEPEST: usize = 50;
/// Maximum memory of a compiled pattern, in bytes.
const LARGEST: usize = 1 << 20;

impl Pattern {
    /// Compiles the pattern.
    ///
    /// # Errors
    /// If it is not an I-Regexp, or is too large.
    ///
    /// ```
    /// use obvert_model::profile::Pattern;
    /// let pattern = Pattern::new("LM-[0-9]{3}").unwrap().compile().unwrap();
    /// assert!(pattern.matches("LM-014") && !pattern.matches("LM-014 ") && !pattern.matches("XLM-014"));
    /// ```
    pub fn compile(&self) -> Result<Matcher, PatternError> {
        let mut reader = Reader { chars: self.chars().collect(), at: 0, out: String::new() };
        reader.out.push_str(r"\A(?:");
        reader.alternatives(0)?;
        if reader.peek().is_some() {
            return Err(reader.error("a ) without its ("));
        }
        reader.out.push_str(r")\z");
        let built = RegexBuilder::new(&reader.out).size_limit(LARGEST).build();
        built.map(Matcher).map_err(|error| PatternError {
            at: 1,
            message: match error {
                regex::Error::CompiledTooBig(_) => {
                    "the pattern is too large; use fewer repetitions".to_owned()
                }
                _ => "the pattern names a class of characters that does not exist".to_owned(),
            },
        })
    }
}

struct Reader {
    chars: Vec<char>,
    at: usize,
    out: String,
}

impl Reader {
    fn peek(&self) -> Option<char> {
        self.chars.get(self.at).copied()
    }

    fn next(&mut self) -> Option<char> {
        let next = self.peek();
        self.at += usize::from(next.is_some());
        next
    }

    fn takes(&mut self, wanted: char) -> bool {
        let there = self.peek() == Some(wanted);
        self.at += usize::from(there);
        there
    }

    fn error(&self, message: impl Into<String>) -> PatternError {
        PatternError { at: self.at + 1, message: message.into() }
    }

    fn plain(&mut self, c: char) {
        self.out.push_str(&regex::escape(c.encode_utf8(&mut [0; 4])));
    }

    fn alternatives(&mut self, depth: usize) -> Result<(), PatternError> {
        while let Some(next) = self.peek() {
            match next {
                ')' => break,
                '|' => {
                    self.at += 1;
                    self.out.push('|');
                }
                _ => self.piece(depth)?,
            }
        }
        Ok(())
    }

    fn piece(&mut self, depth: usize) -> Result<(), PatternError> {
        match self.peek() {
            Some('(') => {
                if depth == DEEPEST {
                    return Err(self.error(format!("groups are nested more than {DEEPEST} deep")));
                }
                self.at += 1;
                if self.peek() == Some('?') {
                    return Err(
                        self.error("a group cannot begin with (?; RFC 9485 has plain groups only")
                    );
                }
                self.out.push_str("(?:");
                self.alternatives(depth + 1)?;
                if !self.takes(')') {
                    return Err(self.error("a ( without its )"));
                }
                self.out.push(')');
            }
            Some('[') => self.class()?,
            Some('.') => {
                self.at += 1;
                self.out.push_str(r"[^\n\r]");
            }
            Some('\\') => self.escape()?,
            Some(c @ ('*' | '+' | '?' | '{' | '}' | ']')) => {
                return Err(self.error(format!(
                    "{c} has nothing before it; write \\{c} for the character itself"
                )));
            }
            Some(c) => {
                self.at += 1;
                self.plain(c);
            }
            None => {}
        }
        self.repeat()
    }

    fn repeat(&mut self) -> Result<(), PatternError> {
        match self.peek() {
            Some(c @ ('*' | '+' | '?')) => {
                self.at += 1;
                self.out.push(c);
            }
            Some('{') => {
                self.at += 1;
                let least = self.number()?;
                let most = if self.takes(',') {
                    match self.peek() {
                        Some('}') => None,
                        _ => Some(self.number()?),
                    }
                } else {
                    Some(least)
                };
                if most.is_some_and(|most| most < least) {
                    return Err(self.error("the maximum is below the minimum"));
                }
                if !self.takes('}') {
                    return Err(self.error("a { without its }"));
                }
                let most = most.map_or_else(String::new, |most| most.to_string());
                self.out.push_str(&format!("{{{least},{most}}}"));
            }
            _ => return Ok(()),
        }
        match self.peek() {
            Some('*' | '+' | '?' | '{') => {
                Err(self.error("one repetition follows another; put the first in ( )"))
            }
            _ => Ok(()),
        }
    }

    fn number(&mut self) -> Result<u32, PatternError> {
        let start = self.at;
        while self.peek().is_some_and(|c| c.is_ascii_digit()) {
            self.at += 1;
        }
        let digits: String = self.chars[start..self.at].iter().collect();
        match digits.parse::<u32>() {
            Ok(number) if number <= MOST => Ok(number),
            _ if digits.is_empty() => {
                Err(self.error("a number is expected; write \\{ for the character itself"))
            }
            _ => Err(PatternError {
                at: start + 1,
                message: format!("more than {MOST} repetitions; use fewer"),
            }),
        }
    }

    /// An escape outside a class or in one.
    fn escape(&mut self) -> Result<(), PatternError> {
        self.at += 1;
        match self.next() {
            Some(c @ ('n' | 'r' | 't')) => self.out.extend(['\\', c]),
            Some(c @ ('p' | 'P')) => self.category(c)?,
            Some(c) if r"()*+-.?[\]^{|}".contains(c) => self.plain(c),
            None => return Err(self.error("the pattern ends with a \\")),
            Some(c) => {
                self.at -= 1;
                let instead = match c {
                    'd' => "; write [0-9]",
                    'w' => "; write [A-Za-z0-9_]",
                    's' => "; write the space itself, or [ \\t]",
                    'b' | 'A' | 'z' => "; a pattern always matches the whole text",
                    '$' | '/' => "; write it without the \\",
                    _ => "",
                };
                return Err(self.error(format!("\\{c} is not an escape of RFC 9485{instead}")));
            }
        }
        Ok(())
    }

    fn category(&mut self, sign: char) -> Result<(), PatternError> {
        let start = self.at;
        if !self.takes('{') {
            return Err(self.error("a category is written in { }, such as \\p{Lu}"));
        }
        let mut name = String::new();
        while let Some(c) = self.peek().filter(|c| *c != '}') {
            name.push(c);
            self.at += 1;
        }
        let minors = [
            ('L', "lmotu"),
            ('M', "cen"),
            ('N', "dlo"),
            ('P', "cdefios"),
            ('Z', "lps"),
            ('S', "ckmo"),
            ('C', "cfno"),
        ];
        let mut chars = name.chars();
        let minor = chars.next().and_then(|major| minors.iter().find(|(known, _)| *known == major));
        let known = match (minor, chars.next(), chars.next()) {
            (Some(_), None, _) => true,
            (Some((_, minors)), Some(minor), None) => minors.contains(minor),
            _ => false,
        };
        if !known || !self.takes('}') {
            let message = format!("{name:?} is not a general category of Unicode, such as L or Lu");
            return Err(PatternError { at: start + 2, message });
        }
        self.out.push_str(&format!("\\{sign}{{{name}}}"));
        Ok(())
    }

    fn class(&mut self) -> Result<(), PatternError> {
        let start = self.at;
        let unclosed = PatternError { at: start + 1, message: "a [ without its ]".to_owned() };
        self.at += 1;
        self.out.push('[');
        if self.takes('^') {
            self.out.push('^');
        }
        let mut first = true;
        loop {
            match self.peek() {
                None => return Err(unclosed),
                Some(']') if !first => break,
                Some(']') => {
                    return Err(self.error("an empty [ ]; write \\] for the character itself"));
                }
                Some('[') => {
                    return Err(self.error("[ in a class; write \\[ for the character itself"));
                }
                Some('-') => {
                    let last = self.chars.get(self.at + 1) == Some(&']');
                    if !first && !last {
                        return Err(
                            self.error("- between two ranges; put it first or last, or write \\-")
                        );
                    }
                    self.at += 1;
                    self.plain('-');
                }
                Some('\\') if matches!(self.chars.get(self.at + 1), Some('p' | 'P')) => {
                    self.escape()?
                }
                Some(_) => self.range()?,
            }
            first = false;
        }
        self.at += 1;
        self.out.push(']');
        Ok(())
    }

    fn range(&mut self) -> Result<(), PatternError> {
        let start = self.at;
        let low = self.class_char()?;
        let to = self.peek() == Some('-')
            && self.chars.get(self.at + 1).is_some_and(|next| *next != ']');
        if !to {
            self.plain(low);
            return Ok(());
        }
        self.at += 1;
        if matches!(self.peek(), Some('[' | '-')) {
            return Err(self.error("a range ends in a character, such as a-z"));
        }
        let high = self.class_char()?;
        if high < low {
            return Err(PatternError {
                at: start + 1,
                message: format!("{low}-{high} is an empty range"),
            });
        }
        self.plain(low);
        self.out.push('-');
        self.plain(high);
        Ok(())
    }

    /// One character of a class, escaped or not.
    fn class_char(&mut self) -> Result<char, PatternError> {
        if self.peek() != Some('\\') {
            return self.next().ok_or_else(|| self.error("a [ without its ]"));
        }
        let mark = self.out.len();
        self.escape()?;
        let escaped = self.chars[self.at - 1];
        self.out.truncate(mark);
        Ok(match escaped {
            'n' => '\n',
            'r' => '\r',
            't' => '\t',
            '}' if self.chars[self.at - 2] != '\\' => {
                return Err(self.error("a category cannot be the end of a range"));
            }
            c => c,
        })
    }
}
