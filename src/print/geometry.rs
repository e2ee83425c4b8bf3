//! Where the labels lie on a sheet or roll, read from a small TOML text.
//!
//! A geometry that was read is possible: its labels lie on the page without overlapping, and the symbol of a tag fits a
//! label with its quiet zone, its modules no smaller than [`LEAST_MODULE_MM`]. Files come with the program in
//! `labels/`; a service with other stationery writes its own. Whether the text beside the symbol is large enough is
//! found by [`super::labels`].

use thiserror::Error;
use toml::{Table, Value};

use super::canvas::{Area, Place};
use super::qr::{LEAST_MODULE_MM, TAG_MODULES};

/// What may be lost to rounding when sizes are added up, mm.
const SLACK_MM: f32 = 0.01;

/// What is wrong with a geometry text.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum GeometryError {
    /// The text is not TOML.
    #[error("not a geometry file: {0}")]
    Toml(String),
    /// A field is missing.
    #[error("the field `{field}` is missing: {expected}")]
    Missing {
        /// The field.
        field: &'static str,
        /// What it should hold.
        expected: &'static str,
    },
    /// A field that no geometry has.
    #[error("the field `{field}` (value {value}) is not known; fields are {known}")]
    Unknown {
        /// The field.
        field: String,
        /// Its value.
        value: String,
        /// What would be known.
        known: String,
    },
    /// A value of the wrong kind, or out of range.
    #[error("the field `{field}` is {value}: {expected}")]
    Value {
        /// The field.
        field: &'static str,
        /// The value as it stands.
        value: String,
        /// What was expected.
        expected: String,
    },
}

/// Sheets with many labels, or a roll with one after the other.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// A sheet of labels.
    Sheet,
    /// A roll: every label is a page of its own.
    Roll,
}

/// Where the labels lie.
#[derive(Debug, Clone, PartialEq)]
pub struct Geometry {
    title: String,
    kind: Kind,
    page_width_mm: f32,
    page_height_mm: f32,
    columns: u16,
    rows: u16,
    label_width_mm: f32,
    label_height_mm: f32,
    pitch_x_mm: f32,
    pitch_y_mm: f32,
    margin_left_mm: f32,
    margin_top_mm: f32,
    module_mm: f32,
}

const ROLL_FIELDS: [&str; 5] = ["kind", "title", "label_width_mm", "label_height_mm", "module_mm"];
const SHEET_FIELDS: [&str; 8] = [
    "page_width_mm",
    "page_height_mm",
    "columns",
    "rows",
    "pitch_x_mm",
    "pitch_y_mm",
    "margin_left_mm",
    "margin_top_mm",
];

impl Geometry {
    /// Reads a geometry.
    ///
    /// ```
    /// use packmuster::print::geometry::Geometry;
    /// let text = "kind = 'roll'\ntitle = 'Roll'\nlabel_width_mm = 50\nlabel_height_mm = 25\nmodule_mm = 0.6";
    /// assert_eq!(Geometry::parse(text)?.positions(), 1);
    /// let wrong = Geometry::parse(&text.replace("0.6", "0.9")).unwrap_err().to_string();
    /// assert!(wrong.starts_with("the field `module_mm` is 0.9: "));
    /// # Ok::<(), packmuster::print::geometry::GeometryError>(())
    /// ```
    ///
    /// # Errors
    /// [`GeometryError`], which names the field and its value.
    pub fn parse(text: &str) -> Result<Self, GeometryError> {
        let table: Table = text
            .parse()
            .map_err(|error: toml::de::Error| GeometryError::Toml(error.to_string().trim().to_owned()))?;
        let kind = match string(&table, "kind", "`sheet` or `roll`")? {
            "sheet" => Kind::Sheet,
            "roll" => Kind::Roll,
            other => return Err(value("kind", format!("`{other}`"), "`sheet` or `roll` is expected")),
        };
        let known: Vec<&str> = match kind {
            Kind::Sheet => ROLL_FIELDS.into_iter().chain(SHEET_FIELDS).collect(),
            Kind::Roll => ROLL_FIELDS.to_vec(),
        };
        if let Some((field, value)) = table.iter().find(|(field, _)| !known.contains(&field.as_str())) {
            let (field, value) = (field.clone(), value.to_string());
            return Err(GeometryError::Unknown { field, value, known: known.join(", ") });
        }
        let geometry = Self::read(&table, kind)?;
        geometry.check()?;
        Ok(geometry)
    }

    fn read(table: &Table, kind: Kind) -> Result<Self, GeometryError> {
        let title = string(table, "title", "a line of text")?.trim().to_owned();
        if title.is_empty() || title.chars().count() > 60 || title.chars().any(char::is_control) {
            return Err(value("title", format!("`{title}`"), "1 to 60 characters on one line are expected"));
        }
        let label_width_mm = length(table, "label_width_mm", 10.0)?;
        let label_height_mm = length(table, "label_height_mm", 8.0)?;
        let module_mm = length(table, "module_mm", LEAST_MODULE_MM)?;
        let roll = Self {
            title,
            kind,
            page_width_mm: label_width_mm,
            page_height_mm: label_height_mm,
            columns: 1,
            rows: 1,
            label_width_mm,
            label_height_mm,
            pitch_x_mm: label_width_mm,
            pitch_y_mm: label_height_mm,
            margin_left_mm: 0.0,
            margin_top_mm: 0.0,
            module_mm,
        };
        Ok(match kind {
            Kind::Roll => roll,
            Kind::Sheet => Self {
                page_width_mm: length(table, "page_width_mm", 50.0)?,
                page_height_mm: length(table, "page_height_mm", 50.0)?,
                columns: number(table, "columns")?,
                rows: number(table, "rows")?,
                pitch_x_mm: length(table, "pitch_x_mm", label_width_mm)?,
                pitch_y_mm: length(table, "pitch_y_mm", label_height_mm)?,
                margin_left_mm: length(table, "margin_left_mm", 0.0)?,
                margin_top_mm: length(table, "margin_top_mm", 0.0)?,
                ..roll
            },
        })
    }

    fn check(&self) -> Result<(), GeometryError> {
        let last = self.label(usize::from(self.columns) * usize::from(self.rows) - 1);
        let (right_mm, bottom_mm) = (last.right_mm(), last.bottom_mm());
        if right_mm > self.page_width_mm + SLACK_MM {
            let seen = format!("{} on a page of {} mm", self.columns, self.page_width_mm);
            let why = format!("the last column would end at {right_mm:.2} mm");
            return Err(value("columns", seen, why));
        }
        if bottom_mm > self.page_height_mm + SLACK_MM {
            let seen = format!("{} on a page of {} mm", self.rows, self.page_height_mm);
            let why = format!("the last row would end at {bottom_mm:.2} mm");
            return Err(value("rows", seen, why));
        }
        let least_mm = self.label_width_mm.min(self.label_height_mm);
        if self.symbol_mm() > least_mm + SLACK_MM {
            let side_mm = self.symbol_mm();
            let why = format!(
                "{TAG_MODULES} modules (symbol and quiet zone) make {side_mm:.2} mm, and the label has \
                 {least_mm} mm"
            );
            return Err(value("module_mm", self.module_mm.to_string(), why));
        }
        Ok(())
    }

    /// A line of text for people.
    pub fn title(&self) -> &str {
        &self.title
    }

    /// Sheet or roll.
    pub const fn kind(&self) -> Kind {
        self.kind
    }

    /// Size of the page, width and height, mm. On a roll the page is the label.
    pub const fn page_mm(&self) -> (f32, f32) {
        (self.page_width_mm, self.page_height_mm)
    }

    /// Size of a label, width and height, mm.
    pub const fn label_mm(&self) -> (f32, f32) {
        (self.label_width_mm, self.label_height_mm)
    }

    /// Side of a module of the symbol, mm.
    pub const fn module_mm(&self) -> f32 {
        self.module_mm
    }

    /// Side of a tag's symbol with its quiet zone, mm.
    pub fn symbol_mm(&self) -> f32 {
        f32::from(TAG_MODULES) * self.module_mm
    }

    /// How many labels lie on a page.
    pub fn positions(&self) -> usize {
        usize::from(self.columns) * usize::from(self.rows)
    }

    /// The label at a position, from 0, row by row; positions beyond the page count on from its first.
    pub fn label(&self, position: usize) -> Area {
        let column = position % usize::from(self.columns);
        let row = position / usize::from(self.columns) % usize::from(self.rows);
        let [column, row] = [column, row].map(|n| f32::from(u16::try_from(n).unwrap_or(0)));
        let corner = Place::new(
            self.margin_left_mm + column * self.pitch_x_mm,
            self.margin_top_mm + row * self.pitch_y_mm,
        );
        Area::new(corner, self.label_width_mm, self.label_height_mm)
    }
}

fn value(field: &'static str, value: impl Into<String>, expected: impl Into<String>) -> GeometryError {
    GeometryError::Value { field, value: value.into(), expected: expected.into() }
}

fn get<'a>(
    table: &'a Table,
    field: &'static str,
    expected: &'static str,
) -> Result<&'a Value, GeometryError> {
    table.get(field).ok_or(GeometryError::Missing { field, expected })
}

fn string<'a>(
    table: &'a Table,
    field: &'static str,
    expected: &'static str,
) -> Result<&'a str, GeometryError> {
    let found = get(table, field, expected)?;
    found.as_str().ok_or_else(|| value(field, found.to_string(), format!("{expected} is expected")))
}

fn number(table: &Table, field: &'static str) -> Result<u16, GeometryError> {
    let found = get(table, field, "a whole number from 1 to 100")?;
    let number = found.as_integer().and_then(|number| u16::try_from(number).ok());
    number
        .filter(|number| (1..=100).contains(number))
        .ok_or_else(|| value(field, found.to_string(), "a whole number from 1 to 100 is expected"))
}

/// A length in mm, from `least_mm` to a metre. Millimetres may be written as a whole number.
fn length(table: &Table, field: &'static str, least_mm: f32) -> Result<f32, GeometryError> {
    let found = get(table, field, "a length in mm")?;
    let length_mm = match found {
        Value::Integer(_) | Value::Float(_) => found.clone().try_into::<f32>().ok(),
        _ => None,
    };
    length_mm.filter(|&length| length.is_finite() && length >= least_mm && length <= 1000.0).ok_or_else(
        || value(field, found.to_string(), format!("a length of {least_mm} to 1000 mm is expected")),
    )
}
