//! Cells of a line and the numbers in them.

/// How a table is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Dialect {
    /// Between cells; a space stands for any run of spaces and tabs, `None` for a single column.
    pub(crate) delimiter: Option<u8>,
    /// `.` or `,`.
    pub(crate) decimal: u8,
}

impl Dialect {
    pub(crate) fn delimiter_name(self) -> &'static str {
        match self.delimiter {
            Some(b',') => "comma",
            Some(b';') => "semicolon",
            Some(b'\t') => "tab",
            Some(_) => "space",
            None => "one column",
        }
    }
}

/// The cells of a line, trimmed, without their quotes.
pub(crate) fn split(line: &[u8], delimiter: Option<u8>) -> impl Iterator<Item = &[u8]> {
    let line = line.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(line);
    let line = if delimiter == Some(b'\t') {
        line
    } else {
        line.trim_ascii()
    };
    Cells {
        rest: Some(line),
        delimiter,
    }
}

struct Cells<'a> {
    rest: Option<&'a [u8]>,
    delimiter: Option<u8>,
}

impl<'a> Iterator for Cells<'a> {
    type Item = &'a [u8];

    fn next(&mut self) -> Option<&'a [u8]> {
        let rest = self.rest?;
        let mut quoted = false;
        let end = rest.iter().position(|&byte| {
            quoted ^= byte == b'"';
            !quoted && self.is_delimiter(byte)
        });
        let cell = &rest[..end.unwrap_or(rest.len())];
        self.rest = end.map(|end| {
            let after = &rest[end + 1..];
            if self.delimiter == Some(b' ') {
                after.trim_ascii_start()
            } else {
                after
            }
        });
        Some(unquote(cell))
    }
}

impl Cells<'_> {
    fn is_delimiter(&self, byte: u8) -> bool {
        match self.delimiter {
            Some(b' ') => byte == b' ' || byte == b'\t',
            Some(delimiter) => byte == delimiter,
            None => false,
        }
    }
}

fn unquote(cell: &[u8]) -> &[u8] {
    let cell = cell.trim_ascii();
    match cell {
        [b'"', inner @ .., b'"'] => inner.trim_ascii(),
        _ => cell,
    }
}

/// The finite number in a cell. Words for "not a number" and infinity are none.
pub(crate) fn number(cell: &[u8], decimal: u8) -> Option<f64> {
    // The words that the standard parser also takes all have letters beyond the exponent's.
    if cell.is_empty()
        || !cell
            .iter()
            .all(|byte| matches!(byte, b'0'..=b'9' | b'+' | b'-' | b'.' | b',' | b'e' | b'E'))
    {
        return None;
    }
    let text = std::str::from_utf8(cell).ok()?;
    if decimal == b'.' {
        return text.parse().ok().filter(|value: &f64| value.is_finite());
    }
    // A comma without a digit after it is a delimiter, not a decimal comma.
    let after = text.split_once(',').map_or("0", |(_, after)| after);
    if text.contains('.') || !after.starts_with(|c: char| c.is_ascii_digit()) {
        return None;
    }
    text.replacen(',', ".", 1)
        .parse()
        .ok()
        .filter(|value: &f64| value.is_finite())
}

/// How finely the numbers of a column are written.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Fineness {
    /// Smallest unit of a last digit.
    finest: f64,
    /// Most significant digits of a number.
    digits: i32,
}

impl Fineness {
    /// Takes in one more number of the column.
    pub(crate) fn add(&mut self, cell: &[u8], decimal: u8) {
        let unit = last_digit(cell, decimal);
        self.finest = if self.finest == 0.0 {
            unit
        } else {
            self.finest.min(unit)
        };
        self.digits = self.digits.max(significant_digits(cell));
    }

    /// What a number may be wrong by, twice over: one unit of the last digit that was kept.
    ///
    /// Some writers keep a number of decimals, others a number of digits, and many leave out zeros
    /// at the end: `0.5` may stand for `0.500000`.
    pub(crate) fn resolution(self, cell: &[u8], value: f64, decimal: u8) -> f64 {
        let kept = if value == 0.0 {
            self.finest
        } else {
            let magnitude = value.abs().log10().floor() as i32;
            10f64.powi(magnitude.saturating_add(1 - self.digits))
        };
        last_digit(cell, decimal).min(kept.max(self.finest))
    }
}

/// One unit of the last digit written: `0.001` for `12.345`, `0.01` for `1.50e0`.
fn last_digit(cell: &[u8], decimal: u8) -> f64 {
    let (mantissa, exponent) = parts(cell);
    let decimals = mantissa
        .iter()
        .position(|&byte| byte == decimal)
        .map_or(0, |at| mantissa.len() - at - 1);
    let decimals = i32::try_from(decimals).unwrap_or(i32::MAX);
    10f64.powi(exponent.saturating_sub(decimals))
}

fn significant_digits(cell: &[u8]) -> i32 {
    let (mantissa, _) = parts(cell);
    let digits = mantissa
        .iter()
        .filter(|byte| byte.is_ascii_digit())
        .skip_while(|&&digit| digit == b'0');
    i32::try_from(digits.count()).unwrap_or(i32::MAX)
}

/// Mantissa and exponent of a number in writing.
fn parts(cell: &[u8]) -> (&[u8], i32) {
    let at = cell
        .iter()
        .position(|byte| byte.eq_ignore_ascii_case(&b'e'));
    let (mantissa, exponent) = cell.split_at(at.unwrap_or(cell.len()));
    let digits = exponent
        .get(1..)
        .and_then(|digits| std::str::from_utf8(digits).ok());
    (
        mantissa,
        digits.and_then(|digits| digits.parse().ok()).unwrap_or(0),
    )
}

pub(crate) fn is_blank(line: &[u8]) -> bool {
    line.iter()
        .all(|byte| byte.is_ascii_whitespace() || *byte == 0x1A)
}

/// Lines that loggers mark as remarks.
pub(crate) fn is_comment(line: &[u8], dialect: Dialect) -> bool {
    match line.trim_ascii() {
        [b'#' | b'%' | b'!' | b'\'', ..] | [b'/', b'/', ..] => true,
        [b';', ..] => dialect.delimiter != Some(b';'),
        _ => false,
    }
}
