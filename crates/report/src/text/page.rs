//! A page of text: indents, wraps and colours.

use score::Verdict;

/// Widest line, in characters: an 80-column terminal with its last column free.
const WIDTH: usize = 79;

/// Whether text may carry terminal colours.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Paint {
    /// Plain text.
    #[default]
    Plain,
    /// ANSI escape sequences for colour and weight.
    Ansi,
}

pub(crate) struct Page {
    text: String,
    paint: Paint,
}

impl Page {
    pub(crate) fn new(paint: Paint) -> Self {
        Page {
            text: String::new(),
            paint,
        }
    }

    pub(crate) fn finish(self) -> String {
        self.text
    }

    /// The first line: the verdict in capitals and what it is about.
    pub(crate) fn verdict(&mut self, words: &str, verdict: Verdict, input: &str) {
        let capitals = words.to_uppercase();
        let shown = printable(input);
        let painted = self.painted(&capitals, colour(verdict));
        self.text.push_str(&format!("{painted}  {shown}\n"));
    }

    pub(crate) fn heading(&mut self, words: &str) {
        let painted = self.painted(words, "1");
        self.text.push_str(&format!("\n{painted}\n"));
    }

    /// A line as it is.
    pub(crate) fn line(&mut self, indent: usize, words: &str) {
        self.text
            .push_str(&format!("{:indent$}{}", "", printable(words)));
        while self.text.ends_with(' ') {
            self.text.pop();
        }
        self.text.push('\n');
    }

    /// A line that is made safe and painted already.
    pub(crate) fn raw(&mut self, line: &str) {
        self.text.push_str(line);
        self.text.push('\n');
    }

    pub(crate) fn blank(&mut self) {
        self.text.push('\n');
    }

    /// Words wrapped at an indent.
    pub(crate) fn paragraph(&mut self, indent: usize, words: &str) {
        self.paragraph_after(&" ".repeat(indent), words);
    }

    /// A dashed item, wrapped.
    pub(crate) fn item(&mut self, words: &str) {
        self.paragraph_after("  - ", words);
    }

    /// Words wrapped behind `lead`, later lines indented by its width.
    pub(crate) fn paragraph_after(&mut self, lead: &str, words: &str) {
        let indent = lead.chars().count();
        let words = printable(words);
        let mut line = String::new();
        let mut lead = lead.to_owned();
        for word in words.split_whitespace() {
            let length = line.chars().count();
            if length > 0 && indent + length + 1 + word.chars().count() > WIDTH {
                self.text.push_str(&format!("{lead}{line}\n"));
                lead = " ".repeat(indent);
                line.clear();
            }
            if !line.is_empty() {
                line.push(' ');
            }
            line.push_str(word);
        }
        self.text.push_str(&format!("{lead}{line}\n"));
    }

    /// `words` with an ANSI style, if colour was asked for.
    pub(crate) fn painted(&self, words: &str, style: &str) -> String {
        match self.paint {
            Paint::Plain => words.to_owned(),
            Paint::Ansi => format!("\u{1b}[{style}m{words}\u{1b}[0m"),
        }
    }

    /// A line that ends with a verdict in its colour.
    pub(crate) fn verdict_row(&mut self, row: &str, verdict: Verdict, words: &str) {
        let painted = self.painted(words, colour(verdict));
        self.text.push_str(&format!("{row}{painted}\n"));
    }
}

/// ANSI style of a verdict: bold, green, yellow, red or the default colour.
pub(crate) fn colour(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Pass => "1;32",
        Verdict::ConditionalPass | Verdict::ConditionalFail => "1;33",
        Verdict::Fail => "1;31",
        Verdict::NotJudged => "1",
    }
}

/// Text from files and names may hold control characters; a terminal must not act on them.
fn printable(text: &str) -> String {
    text.chars()
        .map(|c| if c.is_control() { '\u{FFFD}' } else { c })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn wraps_within_the_terminal_and_keeps_the_indent() {
        let mut page = Page::new(Paint::Plain);
        page.item(&"word ".repeat(40));
        let text = page.finish();
        assert!(text.lines().count() > 1);
        assert!(
            text.lines().all(|line| line.chars().count() <= WIDTH),
            "{text}"
        );
        assert!(
            text.lines()
                .skip(1)
                .all(|line| line.starts_with("    word")),
            "{text}"
        );
    }

    #[test]
    fn escape_sequences_of_a_file_name_do_not_reach_the_terminal() {
        let mut page = Page::new(Paint::Plain);
        page.verdict("pass", Verdict::Pass, "a\u{1b}[31mb.wav");
        assert_eq!(page.finish(), "PASS  a\u{FFFD}[31mb.wav\n");
    }
}
