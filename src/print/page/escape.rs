//! Texts on their way into a page: whatever they hold, they stay texts.

/// A text for an element or a quoted attribute. Line feeds and tabs become spaces. Control characters go, and with them
/// the marks that turn the direction of writing: with these a name could turn the letters after it around.
pub(super) fn escaped(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for character in text.chars() {
        match character {
            '&' => safe.push_str("&amp;"),
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            '"' => safe.push_str("&quot;"),
            '\'' => safe.push_str("&#39;"),
            '\n' | '\t' => safe.push(' '),
            hidden if hidden.is_control() || turns(hidden) => {}
            other => safe.push(other),
        }
    }
    safe
}

/// Whether a character turns the direction of writing, or is none.
pub(super) fn turns(character: char) -> bool {
    matches!(character, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{fffe}' | '\u{ffff}')
}

/// A running text, in which line feeds begin new lines.
pub(super) fn lines(text: &str) -> String {
    text.lines().map(escaped).collect::<Vec<_>>().join("<br>\n")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_gets_out_of_a_text() {
        assert_eq!(
            escaped("<b class=\"a\">R&D's</b>"),
            "&lt;b class=&quot;a&quot;&gt;R&amp;D&#39;s&lt;/b&gt;"
        );
        assert_eq!(escaped("a\u{0}b\u{7}\r\nc\td\u{202e}e\u{85}f"), "ab c def");
        assert_eq!(lines("one\r\ntwo <\n\nfour"), "one<br>\ntwo &lt;<br>\n<br>\nfour");
        assert_eq!(escaped("31 ± 6 → Größe"), "31 ± 6 → Größe");
    }
}
