//! Text to words: numbers, names, signs.

use std::ops::Range;

use super::error::{EquationError, EquationProblem};

/// A word of an equation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Token<'t> {
    Number(f64),
    Name(&'t str),
    Sign(char),
    End,
}

/// Words with the bytes that they take up.
pub(super) fn words(text: &str) -> Result<Vec<(Token<'_>, Range<usize>)>, EquationError> {
    let mut result = Vec::new();
    let mut rest = text.char_indices().peekable();
    while let Some(&(start, letter)) = rest.peek() {
        let after = |allowed: fn(char) -> bool| {
            text[start..]
                .find(|c| !allowed(c))
                .map_or(text.len(), |length| start + length)
        };
        let end = if letter.is_whitespace() {
            after(char::is_whitespace)
        } else if letter.is_alphabetic() || letter == '_' {
            let end = after(|c| c.is_alphanumeric() || c == '_');
            result.push((Token::Name(&text[start..end]), start..end));
            end
        } else if letter.is_ascii_digit() || letter == '.' {
            let end = number_end(text, start);
            let number = text[start..end]
                .parse::<f64>()
                .ok()
                .filter(|v| v.is_finite());
            let value = number.ok_or_else(|| {
                let found = text[start..end].to_owned();
                EquationError::new(EquationProblem::Number { found }, start..end, text)
            })?;
            result.push((Token::Number(value), start..end));
            end
        } else if "+-*/^(),=".contains(letter) {
            let end = start + 1;
            if letter == '*' && text[end..].starts_with('*') {
                let problem = EquationProblem::Character {
                    found: '*',
                    hint: Some("write `^` for a power"),
                };
                return Err(EquationError::new(problem, start..end + 1, text));
            }
            result.push((Token::Sign(letter), start..end));
            end
        } else {
            let problem = EquationProblem::Character {
                found: letter,
                hint: hint(letter),
            };
            return Err(EquationError::new(
                problem,
                start..start + letter.len_utf8(),
                text,
            ));
        };
        while rest.next_if(|(at, _)| *at < end).is_some() {}
    }
    result.push((Token::End, text.len()..text.len()));
    Ok(result)
}

/// Where the number that starts at `start` ends: digits, a point, and an exponent if digits follow it.
fn number_end(text: &str, start: usize) -> usize {
    let bytes = text.as_bytes();
    let digits = |mut at: usize| {
        while bytes.get(at).is_some_and(u8::is_ascii_digit) {
            at += 1;
        }
        at
    };
    let mut end = digits(start);
    if bytes.get(end) == Some(&b'.') {
        end = digits(end + 1);
    }
    if matches!(bytes.get(end), Some(b'e' | b'E')) {
        let sign = usize::from(matches!(bytes.get(end + 1), Some(b'+' | b'-')));
        let exponent = digits(end + 1 + sign);
        if exponent > end + 1 + sign {
            end = exponent;
        }
    }
    end
}

fn hint(letter: char) -> Option<&'static str> {
    match letter {
        '×' | '·' | '∙' | '⋅' => Some("write `*` to multiply"),
        '÷' => Some("write `/` to divide"),
        '−' | '–' | '—' => Some("write `-` (the plain hyphen) to subtract"),
        '²' | '³' => Some("write `^2`, `^3` for powers"),
        '[' | ']' | '{' | '}' => Some("use round brackets"),
        ';' => Some("arguments are separated by `,`"),
        '"' | '\'' | '`' => Some("names are written without quotes"),
        _ => None,
    }
}
