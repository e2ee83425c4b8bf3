//! Which column of a file holds which field, found once from its heading.

use super::fault::ExchangeError;
use super::mapping::Mapping;
use super::table::Row;

/// How often a field may stand in a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Wanted {
    /// It must be there, once.
    Once,
    /// It may be there, once.
    Maybe,
    /// It may be there any number of times.
    Often,
}

/// A field of a table.
#[derive(Debug, Clone, Copy)]
pub struct Field {
    /// Our name for it, which is its heading where no mapping says otherwise.
    pub name: &'static str,
    /// How often it may be there.
    pub wanted: Wanted,
}

/// A kind of table: its name and fields. A field is known by its place.
#[derive(Debug, Clone, Copy)]
pub struct Shape {
    /// Its name.
    pub name: &'static str,
    /// Its fields.
    pub fields: &'static [Field],
}

/// The columns of one file.
#[derive(Debug, Clone)]
pub struct Layout {
    places: Vec<Vec<usize>>,
    labels: Vec<String>,
    heading: Vec<String>,
    unread: Vec<String>,
}

impl Layout {
    /// Finds the fields of a table in a heading. Headings are compared without regard to case or spaces around them.
    ///
    /// # Errors
    /// When the mapping names a field that there is not, or the heading lacks a column or has one twice.
    pub fn find(shape: Shape, mapping: &Mapping, file: &str, heading: &Row) -> Result<Self, ExchangeError> {
        let known = |name: &str| shape.fields.iter().any(|field| field.name == name);
        if let Some(column) = mapping.columns.iter().find(|column| !known(&column.field)) {
            let names: Vec<&str> = shape.fields.iter().map(|field| field.name).collect();
            return Err(ExchangeError::Field {
                given: column.field.clone(),
                table: shape.name,
                known: names.join(", "),
            });
        }
        let heading = texts(file, heading)?;
        let mut layout =
            Self { places: Vec::new(), labels: Vec::new(), heading: heading.clone(), unread: heading };
        let mut missing = Vec::new();
        for field in shape.fields {
            layout.take(*field, mapping, file, &mut missing)?;
        }
        if missing.is_empty() {
            return Ok(layout);
        }
        let found: Vec<String> = layout.heading.iter().map(|name| format!("`{name}`")).collect();
        Err(ExchangeError::Missing {
            file: file.to_owned(),
            missing: missing.join(", "),
            found: found.join(", "),
        })
    }

    fn take(
        &mut self,
        field: Field,
        mapping: &Mapping,
        file: &str,
        missing: &mut Vec<String>,
    ) -> Result<(), ExchangeError> {
        let mapped: Vec<&str> = mapping
            .columns
            .iter()
            .filter(|column| column.field == field.name)
            .map(|column| column.heading.as_str())
            .collect();
        if mapped.len() > 1 && field.wanted != Wanted::Often {
            return Err(ExchangeError::Several { field: field.name.to_owned() });
        }
        let named = !mapped.is_empty();
        let headings = if named { mapped } else { vec![field.name] };
        let mut places = Vec::new();
        let mut label = field.name.to_owned();
        for heading in headings {
            let found: Vec<usize> = self.places_of(heading);
            if found.len() > 1 && field.wanted != Wanted::Often {
                let (file, heading) = (file.to_owned(), heading.to_owned());
                return Err(ExchangeError::Ambiguous { file, heading, field: field.name });
            }
            if found.is_empty() && named {
                missing.push(format!("`{heading}` (for {})", field.name));
            } else if found.is_empty() && field.wanted == Wanted::Once {
                missing.push(format!("`{heading}`"));
            }
            if !heading.eq_ignore_ascii_case(field.name) {
                label = format!("{} ({heading})", field.name);
            }
            self.unread.retain(|name| !name.eq_ignore_ascii_case(heading));
            places.extend(found);
        }
        self.places.push(places);
        self.labels.push(label);
        Ok(())
    }

    fn places_of(&self, heading: &str) -> Vec<usize> {
        let same = |(place, name): (usize, &String)| name.eq_ignore_ascii_case(heading).then_some(place);
        self.heading.iter().enumerate().filter_map(same).collect()
    }

    /// The places of a field's columns.
    pub fn places(&self, field: usize) -> &[usize] {
        self.places.get(field).map(Vec::as_slice).unwrap_or_default()
    }

    /// A field's name for messages, with the file's heading where that is another.
    pub fn label(&self, field: usize) -> &str {
        self.labels.get(field).map(String::as_str).unwrap_or_default()
    }

    /// The heading as it stands.
    pub fn heading(&self) -> &[String] {
        &self.heading
    }

    /// The columns that are not read.
    pub fn unread(&self) -> &[String] {
        &self.unread
    }
}

fn texts(file: &str, heading: &Row) -> Result<Vec<String>, ExchangeError> {
    let bad = |expected| ExchangeError::Heading { file: file.to_owned(), line: heading.line(), expected };
    if let Some(broken) = heading.broken() {
        return Err(bad(broken.expected()));
    }
    let mut texts = Vec::new();
    for cell in heading.cells() {
        let text = std::str::from_utf8(cell).map_err(|_not_text| bad("UTF-8 text"))?;
        texts.push(text.trim().to_owned());
    }
    Ok(texts)
}
