//! A document as one HTML page: no script, nothing from elsewhere, readable without its style, and fit to be printed.
//!
//! The style and the typeface stand in the page, charts are drawings in it, and a policy in its head forbids browsers
//! to load anything. Landmarks, one level of headings under the title, contents that link to them, heads of columns
//! and of rows: a reader that speaks finds its way. What is wider than the window scrolls in a frame of its own, which the
//! keyboard reaches. Every text is escaped ([`escape`]); the same document gives the same bytes.

mod escape;
mod face;
mod frame;

use std::fmt::{Arguments, Write as _};

use super::PrintError;
use super::document::{Part, WORD};
use super::typeface::Face;

use escape::{escaped, lines};
use frame::Frames;

const STYLE: &str = include_str!("page/style.css");
const LANGUAGE: &str = "en";

/// A growing page.
struct Page {
    text: String,
    frames: Frames,
}

impl Page {
    fn put(&mut self, line: Arguments<'_>) {
        let _infallible = writeln!(self.text, "{line}");
    }
}

/// Writes the page of a document.
///
/// # Errors
/// [`PrintError`] when a row of a table does not fit its columns, or the typeface is damaged.
pub(super) fn page(title: &str, subtitle: &str, parts: &[Part]) -> Result<String, PrintError> {
    let mut page = Page { text: String::new(), frames: Frames::default() };
    page.head(title, subtitle);
    page.contents(parts);
    page.put(format_args!("<main id=\"main\" tabindex=\"-1\">"));
    let mut headings = 0;
    for part in parts {
        page.part(part, &mut headings)?;
    }
    page.put(format_args!("</main>"));
    page.foot(title, subtitle);
    Ok(page.text)
}

impl Page {
    fn head(&mut self, title: &str, subtitle: &str) {
        let (title, subtitle) = (escaped(title), escaped(subtitle));
        let name: Vec<&str> =
            [title.as_str(), subtitle.as_str()].into_iter().filter(|text| !text.trim().is_empty()).collect();
        self.put(format_args!(
            "<!DOCTYPE html>\n<html lang=\"{LANGUAGE}\">\n<head>\n<meta charset=\"utf-8\">"
        ));
        self.put(format_args!("<title>{}</title>", name.join(", ")));
        self.put(format_args!(
            "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
             <meta name=\"color-scheme\" content=\"light dark\">\n\
             <meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; \
             style-src 'unsafe-inline'; font-src data:\">\n<style>"
        ));
        for (face, weight) in [(Face::Regular, 400), (Face::Bold, 700)] {
            self.put(format_args!("{}", face::rule(face, weight)));
        }
        self.put(format_args!("{STYLE}</style>\n</head>\n<body>"));
        self.put(format_args!("<a class=\"skip\" href=\"#main\">Skip to the text</a>\n<header id=\"top\">"));
        self.put(format_args!("<h1>{title}</h1>\n<p class=\"subtitle\">{subtitle}</p>\n</header>"));
    }

    /// The headings, with links; none where there are fewer than two.
    fn contents(&mut self, parts: &[Part]) {
        let headings = parts.iter().filter_map(|part| match part {
            Part::Heading(text) => Some(text),
            _ => None,
        });
        if headings.clone().count() < 2 {
            return;
        }
        self.put(format_args!("<nav aria-labelledby=\"contents\">\n<h2 id=\"contents\">Contents</h2>\n<ol>"));
        for (number, text) in (1..).zip(headings) {
            self.put(format_args!("<li><a href=\"#part-{number}\">{}</a></li>", escaped(text)));
        }
        self.put(format_args!("</ol>\n</nav>"));
    }

    fn part(&mut self, part: &Part, headings: &mut usize) -> Result<(), PrintError> {
        match part {
            Part::Heading(text) => {
                *headings += 1;
                self.put(format_args!("<h2 id=\"part-{headings}\">{}</h2>", escaped(text)));
            }
            Part::Paragraph(text) => self.put(format_args!("<p>{}</p>", lines(text))),
            Part::Note(text) => self.put(format_args!("<p class=\"note\">{}</p>", lines(text))),
            Part::Callout(text) => self.put(format_args!(
                "<div class=\"callout\" role=\"note\">\n<p><span class=\"word\">{WORD}</span> {}</p>\n</div>",
                lines(text)
            )),
            Part::Figures(figures) => self.figures(figures),
            Part::Table { caption, table } => self.table(caption, table)?,
            Part::Chart { chart, height_mm } => self.chart(chart, *height_mm)?,
            Part::Break => self.put(format_args!("<hr class=\"break\">")),
        }
        Ok(())
    }

    fn figures(&mut self, figures: &[(String, String)]) {
        if figures.is_empty() {
            return;
        }
        self.put(format_args!("<dl class=\"figures\">"));
        for (label, value) in figures {
            let (label, value) = (escaped(label), escaped(value));
            self.put(format_args!("<div><dt>{label}</dt><dd>{value}</dd></div>"));
        }
        self.put(format_args!("</dl>"));
    }

    fn foot(&mut self, title: &str, subtitle: &str) {
        self.put(format_args!("<footer>\n<p>End of: {}, {}</p>", escaped(title), escaped(subtitle)));
        self.put(format_args!(
            "<p>This page holds all that it shows. It loads nothing and sends nothing.</p>\n\
             <p class=\"up\"><a href=\"#top\">Back to the top</a></p>\n</footer>\n</body>\n</html>"
        ));
    }
}
