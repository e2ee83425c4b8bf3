//! Rows of delimited text, with the line on which each begins.
//!
//! Fields may be quoted with `"`; a quote within is doubled; a quoted field may hold delimiters and line breaks (RFC 4180).
//! Lines end in LF or CRLF. Blank lines are passed over and counted. A quote that is never closed spoils its own line only:
//! reading goes on with the next one. At most one row is held in memory.

use std::collections::VecDeque;
use std::io::BufRead;

use memchr::{memchr, memchr2_iter};

use super::fault::ExchangeError;

/// Longest line, in bytes.
pub const LONGEST: usize = 65_536;
/// Most lines that a quoted field may run over before its quote counts as never closed.
const LINES: usize = 100;
/// The mark with which some programs begin a UTF-8 file.
const BOM: &[u8] = b"\xEF\xBB\xBF";

/// Why a row has no fields that could be trusted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Broken {
    /// A quoted field has no end.
    Unclosed,
    /// Something other than a delimiter stands behind a closing quote.
    Behind,
}

impl Broken {
    /// What was expected instead.
    pub const fn expected(self) -> &'static str {
        match self {
            Self::Unclosed => "a closing quote",
            Self::Behind => "a delimiter behind the closing quote",
        }
    }
}

/// One row: its fields as bytes, or its text as it stands when it has no fields.
#[derive(Debug, Clone, Default)]
pub struct Row {
    line: u64,
    text: Vec<u8>,
    /// Where each field begins and ends in the text.
    bounds: Vec<(usize, usize)>,
    broken: Option<Broken>,
}

impl Row {
    /// A row that was put together from what stands on a line of a file.
    pub fn of<'a>(line: u64, cells: impl IntoIterator<Item = &'a str>) -> Self {
        let mut row = Self { line, ..Self::default() };
        for cell in cells {
            row.text.extend_from_slice(cell.as_bytes());
            row.end_field();
        }
        row
    }

    /// The line on which it begins, from 1.
    pub const fn line(&self) -> u64 {
        self.line
    }

    /// Why its fields cannot be trusted, if so; it then has one field, the text as it stands.
    pub const fn broken(&self) -> Option<Broken> {
        self.broken
    }

    /// How many fields it has.
    pub fn len(&self) -> usize {
        self.bounds.len()
    }

    /// True when it has no field.
    pub fn is_empty(&self) -> bool {
        self.bounds.is_empty()
    }

    /// A field by its place.
    pub fn cell(&self, place: usize) -> Option<&[u8]> {
        let &(start, end) = self.bounds.get(place)?;
        self.text.get(start..end)
    }

    /// Every field, in order.
    pub fn cells(&self) -> impl Iterator<Item = &[u8]> {
        (0..self.len()).filter_map(|place| self.cell(place))
    }

    /// True when every field is UTF-8 text.
    pub fn is_text(&self) -> bool {
        self.cells().all(|cell| std::str::from_utf8(cell).is_ok())
    }

    fn clear(&mut self, line: u64) {
        self.line = line;
        self.text.clear();
        self.bounds.clear();
        self.broken = None;
    }

    fn end_field(&mut self) {
        let start = self.bounds.last().map_or(0, |&(_, end)| end);
        self.bounds.push((start, self.text.len()));
    }

    /// Takes a line without quotes as it stands, and leaves the room of the last one in its place; false, and nothing taken,
    /// if it has a quote.
    fn take_plain(&mut self, line: &mut Vec<u8>, delimiter: u8) -> bool {
        let length = content(line).0.len();
        let mut start = 0;
        for place in memchr2_iter(delimiter, b'"', line) {
            if line.get(place) == Some(&b'"') {
                self.bounds.clear();
                return false;
            }
            self.bounds.push((start, place));
            start = place + 1;
        }
        self.bounds.push((start, length));
        std::mem::swap(&mut self.text, line);
        true
    }

    /// Gives the row up: its one field is the text as it stands.
    fn give_up(&mut self, line: u64, text: &[u8], broken: Broken) {
        self.clear(line);
        self.text.extend_from_slice(content(text).0);
        self.end_field();
        self.broken = Some(broken);
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum State {
    /// Before the first byte of a field.
    Start,
    /// In a field without quotes.
    Plain,
    /// Behind an opening quote.
    Quoted,
    /// Behind a quote that closes, or is doubled.
    Closed,
    /// Behind something that cannot follow a closing quote.
    Behind,
}

impl State {
    fn take(self, byte: u8, delimiter: u8, row: &mut Row) -> Self {
        match self {
            Self::Start if byte == b'"' => Self::Quoted,
            Self::Quoted if byte == b'"' => Self::Closed,
            Self::Start | Self::Plain | Self::Closed if byte == delimiter => {
                row.end_field();
                Self::Start
            }
            Self::Start | Self::Plain => {
                row.text.push(byte);
                Self::Plain
            }
            Self::Closed if byte != b'"' => Self::Behind,
            Self::Quoted | Self::Closed => {
                row.text.push(byte);
                Self::Quoted
            }
            Self::Behind => Self::Behind,
        }
    }
}

/// A table that is being read.
#[derive(Debug)]
pub struct Table<R> {
    input: R,
    file: String,
    delimiter: u8,
    /// The number of the line that is read next.
    next: u64,
    line: Vec<u8>,
    /// Lines that were read ahead behind a quote without end.
    held: VecDeque<Vec<u8>>,
}

impl<R: BufRead> Table<R> {
    /// Begins to read; `file` is its name for messages.
    pub fn new(input: R, file: impl Into<String>, delimiter: u8) -> Self {
        Self { input, file: file.into(), delimiter, next: 1, line: Vec::new(), held: VecDeque::new() }
    }

    /// The file's name for messages.
    pub fn file(&self) -> &str {
        &self.file
    }

    /// Passes over lines above the heading.
    ///
    /// # Errors
    /// When the file cannot be read, or a line is longer than [`LONGEST`].
    pub fn pass_lines(&mut self, lines: u64) -> Result<(), ExchangeError> {
        for _ in 0..lines {
            if !self.next_line()? {
                break;
            }
        }
        Ok(())
    }

    /// Reads the next row into `row`; false behind the last.
    ///
    /// # Errors
    /// When the file cannot be read on, or a line is longer than [`LONGEST`].
    pub fn read(&mut self, row: &mut Row) -> Result<bool, ExchangeError> {
        loop {
            let line = self.next;
            if !self.next_line()? {
                return Ok(false);
            }
            if !content(&self.line).0.is_empty() {
                self.split(row, line)?;
                return Ok(true);
            }
        }
    }

    /// Splits the row that begins on the line at hand, and reads on while a quote is open.
    fn split(&mut self, row: &mut Row, line: u64) -> Result<(), ExchangeError> {
        row.clear(line);
        if row.take_plain(&mut self.line, self.delimiter) {
            return Ok(());
        }
        let mut state = self.feed(State::Start, row);
        let mut lines = Vec::new();
        while state == State::Quoted && lines.len() < LINES {
            lines.push(self.line.clone());
            if !self.next_line()? {
                self.line.clear();
                break;
            }
            state = self.feed(state, row);
        }
        match state {
            State::Quoted => {
                lines.push(std::mem::take(&mut self.line));
                let mut lines = lines.into_iter().filter(|line| !line.is_empty());
                let first = lines.next().unwrap_or_default();
                row.give_up(line, &first, Broken::Unclosed);
                self.next = line + 1;
                let ahead: Vec<Vec<u8>> = lines.collect();
                for line in ahead.into_iter().rev() {
                    self.held.push_front(line);
                }
            }
            State::Behind => {
                lines.push(self.line.clone());
                row.give_up(line, &lines.concat(), Broken::Behind);
            }
            State::Start | State::Plain | State::Closed => row.end_field(),
        }
        Ok(())
    }

    /// Takes the line at hand into the row.
    fn feed(&self, mut state: State, row: &mut Row) -> State {
        let (content, ending) = content(&self.line);
        for &byte in content {
            state = state.take(byte, self.delimiter, row);
        }
        if state == State::Quoted {
            row.text.extend_from_slice(ending);
        }
        state
    }

    fn next_line(&mut self) -> Result<bool, ExchangeError> {
        self.line.clear();
        if let Some(line) = self.held.pop_front() {
            self.line = line;
        } else {
            self.fill_line().map_err(|source| ExchangeError::Io { file: self.file.clone(), source })?;
            if self.line.len() > LONGEST {
                let file = self.file.clone();
                return Err(ExchangeError::TooLong { file, line: self.next, most: LONGEST });
            }
            if self.next == 1 && self.line.starts_with(BOM) {
                self.line.drain(..BOM.len());
                // A file of nothing but the mark is empty.
                if self.line.is_empty() {
                    return Ok(false);
                }
            }
        }
        if self.line.is_empty() {
            return Ok(false);
        }
        self.next += 1;
        Ok(true)
    }

    /// Reads until a line feed, the end, or beyond [`LONGEST`].
    fn fill_line(&mut self) -> std::io::Result<()> {
        loop {
            let ahead = match self.input.fill_buf() {
                Err(error) if error.kind() == std::io::ErrorKind::Interrupted => continue,
                ahead => ahead?,
            };
            let end = memchr(b'\n', ahead).map(|place| place + 1);
            let taken = end.unwrap_or(ahead.len());
            self.line.extend_from_slice(ahead.get(..taken).unwrap_or_default());
            self.input.consume(taken);
            if end.is_some() || taken == 0 || self.line.len() > LONGEST {
                return Ok(());
            }
        }
    }
}

/// A line without its ending, and the ending.
fn content(line: &[u8]) -> (&[u8], &[u8]) {
    let bare = line.strip_suffix(b"\r\n").or_else(|| line.strip_suffix(b"\n")).unwrap_or(line);
    line.split_at(bare.len())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rows(text: &[u8], delimiter: u8) -> Vec<(u64, Vec<String>, Option<Broken>)> {
        let mut table = Table::new(text, "t.csv", delimiter);
        let mut row = Row::default();
        let mut rows = Vec::new();
        while table.read(&mut row).unwrap() {
            let cells = row.cells().map(|cell| String::from_utf8_lossy(cell).into_owned()).collect();
            rows.push((row.line(), cells, row.broken()));
        }
        rows
    }

    fn plain(line: u64, cells: &[&str]) -> (u64, Vec<String>, Option<Broken>) {
        (line, cells.iter().map(|&cell| cell.to_owned()).collect(), None)
    }

    #[test]
    fn lines_are_counted_through_quotes_blank_lines_and_crlf() {
        let text = b"\xEF\xBB\xBFa;b\r\n\r\n\"x\r\n\"\"y\"\"\";2\r\n3;\"\"\n;\n5;6";
        let expected = [
            plain(1, &["a", "b"]),
            plain(3, &["x\r\n\"y\"", "2"]),
            plain(5, &["3", ""]),
            plain(6, &["", ""]),
            plain(7, &["5", "6"]),
        ];
        assert_eq!(rows(text, b';'), expected);
    }

    #[test]
    fn a_quote_without_end_spoils_its_own_line_only() {
        let found = rows(b"a,b\n\"1,2\n3,4\n\"5\"6,7\n8,9\n", b',');
        assert_eq!(found[1].2, Some(Broken::Behind));
        let found = rows(b"a,b\n\"1,2\n3,4\n5,6\n", b',');
        assert_eq!(found[1], (2, vec!["\"1,2".to_owned()], Some(Broken::Unclosed)));
        assert_eq!(found[2..], [plain(3, &["3", "4"]), plain(4, &["5", "6"])]);
    }

    #[test]
    fn every_stray_quote_is_read_in_bounded_time() {
        let text = "\"open\n".repeat(20_001);
        assert_eq!(rows(text.as_bytes(), b',').len(), 10_001);
    }

    #[test]
    fn a_line_without_end_is_refused() {
        let text = vec![b'x'; LONGEST + 1];
        let mut table = Table::new(text.as_slice(), "t.csv", b',');
        let error = table.read(&mut Row::default()).unwrap_err();
        assert_eq!(error.to_string(), "t.csv:1: the line is longer than 65536 bytes");
    }

    proptest::proptest! {
        /// What another writer of CSV quotes, this reader gives back.
        #[test]
        fn what_the_csv_crate_writes_reads_back(
            cells in proptest::collection::vec(proptest::collection::vec("[a-z,;\"\r\n é]{0,6}", 2..5), 1..8)
        ) {
            let mut writer = csv::WriterBuilder::new().flexible(true).from_writer(Vec::new());
            for row in &cells {
                writer.write_record(row).unwrap();
            }
            let text = writer.into_inner().unwrap();
            let read: Vec<Vec<String>> = rows(&text, b',').into_iter().map(|row| row.1).collect();
            proptest::prop_assert_eq!(read, cells);
        }
    }
}
