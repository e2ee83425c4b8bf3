//! A chart's SVG read back: what stands where, and what the axes make of it.

use std::collections::BTreeMap;

use packmuster::print::chart::Chart;

#[derive(Debug)]
struct Element {
    /// Kinds and names of the groups around it.
    groups: Vec<(String, String)>,
    name: String,
    fields: BTreeMap<String, String>,
    text: String,
}

/// The elements of a picture in the order of drawing.
pub(super) struct Picture {
    elements: Vec<Element>,
    pub(super) size: (f64, f64),
}

#[derive(Debug, Clone, Copy)]
pub(super) struct Rect {
    pub(super) x: f64,
    pub(super) y: f64,
    pub(super) width: f64,
    pub(super) height: f64,
}

/// A text with the box that it takes: capitals and the letters that reach below the line.
#[derive(Debug, Clone)]
pub(super) struct Text {
    pub(super) words: String,
    pub(super) size_pt: f64,
    pub(super) area: Rect,
}

impl Text {
    pub(super) fn middle(&self) -> f64 {
        self.area.x + self.area.width / 2.0
    }
}

/// What an axis says: places of ticks with their values.
pub(super) struct Axis {
    ticks: Vec<(f64, f64)>,
}

impl Axis {
    pub(super) fn value(&self, place: f64) -> f64 {
        let (one, other) = (self.ticks[0], self.ticks[self.ticks.len() - 1]);
        one.1 + (place - one.0) * (other.1 - one.1) / (other.0 - one.0)
    }

    pub(super) fn span(&self) -> f64 {
        self.ticks[self.ticks.len() - 1].1 - self.ticks[0].1
    }
}

fn plain(text: &str) -> String {
    text.replace("&lt;", "<").replace("&gt;", ">").replace("&quot;", "\"").replace("&amp;", "&")
}

impl Element {
    fn parse(line: &str, groups: &[(String, String)]) -> Self {
        let (head, rest) = line.trim_start_matches('<').split_once('>').unwrap();
        let (name, head) = head.split_once(' ').unwrap_or((head, ""));
        let parts: Vec<&str> = head.split('"').collect();
        let fields = parts
            .chunks_exact(2)
            .map(|pair| (pair[0].trim().trim_end_matches('=').to_owned(), plain(pair[1])))
            .collect();
        let text = plain(rest.split_once("</").map_or("", |(text, _)| text));
        Self { groups: groups.to_vec(), name: name.to_owned(), fields, text }
    }

    fn number(&self, field: &str) -> f64 {
        self.fields[field].parse().unwrap()
    }

    fn points(&self) -> Vec<(f64, f64)> {
        let pairs = self.fields["points"].split(' ');
        pairs
            .map(|pair| pair.split_once(',').unwrap())
            .map(|(x, y)| (x.parse().unwrap(), y.parse().unwrap()))
            .collect()
    }

    /// Whether it stands in a group of a kind; a name may stand at that group or at one around it.
    fn within(&self, kind: &str, name: &str) -> bool {
        let of_kind = |group: &str| group == kind || (kind == "bin" && group == "bin below");
        self.groups.iter().any(|group| of_kind(&group.0))
            && (name.is_empty() || self.groups.iter().any(|group| group.1 == name))
    }
}

impl Picture {
    pub(super) fn of(chart: &Chart) -> Self {
        Self::sized(chart, 160.0, 90.0)
    }

    pub(super) fn sized(chart: &Chart, width_mm: f32, height_mm: f32) -> Self {
        let svg = chart.svg(width_mm, height_mm).unwrap();
        assert!(!svg.contains("NaN") && !svg.contains("inf"), "{svg}");
        let mut groups: Vec<(String, String)> = Vec::new();
        let mut elements = Vec::new();
        for line in svg.lines() {
            if line == "</g>" {
                groups.pop().unwrap();
                continue;
            }
            let element = Element::parse(line, &groups);
            let field = |name: &str| element.fields.get(name).cloned().unwrap_or_default();
            if element.name == "g" {
                groups.push((field("class"), field("data-series")));
            } else {
                elements.push(element);
            }
        }
        assert!(groups.is_empty(), "{groups:?}");
        Self { elements, size: (f64::from(width_mm), f64::from(height_mm)) }
    }

    fn all<'a>(&'a self, tag: &'a str, kind: &'a str, name: &'a str) -> impl Iterator<Item = &'a Element> {
        self.elements.iter().filter(move |element| element.name == tag && element.within(kind, name))
    }

    pub(super) fn lines(&self, kind: &str, name: &str) -> Vec<Vec<(f64, f64)>> {
        self.all("polyline", kind, name).map(Element::points).collect()
    }

    pub(super) fn shapes(&self, kind: &str, name: &str) -> Vec<Vec<(f64, f64)>> {
        self.all("polygon", kind, name).map(Element::points).collect()
    }

    pub(super) fn fills(&self, kind: &str, name: &str) -> Vec<String> {
        self.all("polygon", kind, name).map(|shape| shape.fields["fill"].clone()).collect()
    }

    pub(super) fn rects(&self, kind: &str, name: &str) -> Vec<Rect> {
        self.all("rect", kind, name)
            .map(|rect| {
                let [x, y, width, height] = ["x", "y", "width", "height"].map(|field| rect.number(field));
                Rect { x, y, width, height }
            })
            .collect()
    }

    /// How early the first element of a group is drawn.
    pub(super) fn first(&self, kind: &str, name: &str) -> usize {
        self.elements.iter().position(|element| element.within(kind, name)).unwrap()
    }

    /// All points, with what the axes say of them.
    pub(super) fn values(&self, places: &[(f64, f64)]) -> Vec<(f64, f64)> {
        let (across, up) = (self.axis("across"), self.axis("up"));
        places.iter().map(|&(x, y)| (across.value(x), up.value(y))).collect()
    }

    /// An axis by the texts of its ticks; all of them agree.
    pub(super) fn axis(&self, which: &str) -> Axis {
        let kind = format!("tick {which}");
        let mut place = f64::NAN;
        let mut ticks = Vec::new();
        for element in self.elements.iter().filter(|element| element.within(&kind, "")) {
            if element.name == "polyline" {
                let first = element.points()[0];
                place = if which == "up" { first.1 } else { first.0 };
            } else if let Ok(value) = element.text.replace(',', "").parse::<f64>() {
                ticks.push((place, value));
            }
        }
        let axis = Axis { ticks };
        for &(place, value) in &axis.ticks {
            assert!((axis.value(place) - value).abs() < 1e-3 * axis.span(), "{which}: {value}");
        }
        axis
    }

    pub(super) fn texts(&self) -> Vec<Text> {
        self.elements
            .iter()
            .filter(|element| element.name == "text")
            .map(|text| {
                let (size, width) = (text.number("font-size"), text.number("textLength"));
                let share = match text.fields["text-anchor"].as_str() {
                    "start" => 0.0,
                    "middle" => 0.5,
                    _ => 1.0,
                };
                let (x, y) = (text.number("x") - share * width, text.number("y") - 0.75 * size);
                let area = Rect { x, y, width, height: 0.98 * size };
                Text { words: text.text.clone(), size_pt: size * 72.0 / 25.4, area }
            })
            .collect()
    }

    /// Everything that is drawn, as the farthest places that it reaches to.
    pub(super) fn reach(&self) -> Vec<(f64, f64)> {
        let marks =
            self.elements.iter().filter(|element| matches!(element.name.as_str(), "polyline" | "polygon"));
        let rects =
            self.elements.iter().filter(|element| element.name == "rect" && element.fields.contains_key("x"));
        let corners = rects.flat_map(|rect| {
            let (x, y) = (rect.number("x"), rect.number("y"));
            [(x, y), (x + rect.number("width"), y + rect.number("height"))]
        });
        marks.flat_map(Element::points).chain(corners).collect()
    }
}
