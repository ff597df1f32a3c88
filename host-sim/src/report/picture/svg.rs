//! SVG text, piece by piece.

use std::fmt::Write as _;

/// An SVG document being written.
#[derive(Clone, Debug, Default)]
pub struct Svg(String);

/// How a text stands at its place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Anchor {
    /// It begins there.
    Start,
    /// It is centred there.
    Middle,
    /// It ends there.
    End,
}

/// Colours for paper and for a dark screen; nothing else depends on them.
const STYLE: &str = "\
text{font-family:system-ui,-apple-system,'Segoe UI',Roboto,'DejaVu Sans',sans-serif;font-size:12px;fill:#1d2733}
.paper{fill:#ffffff}.title{font-size:18px;font-weight:600}.muted{fill:#586572}.small{font-size:11px}
.alert{fill:#b3261e;font-weight:700;letter-spacing:.04em}
.mark{font-size:104px;font-weight:700;letter-spacing:.06em;fill:#1d2733;fill-opacity:.045}
.grid{stroke:#e4e8ec;stroke-width:1;fill:none}.frame{stroke:#9aa5b0;stroke-width:1;fill:none}
.tick{stroke:#9aa5b0;stroke-width:1}.off{fill:#7b8794;fill-opacity:.13}.break{stroke:#7b8794;stroke-width:1.2;fill:none}
.band{fill:#2c8f5a;fill-opacity:.14}.target{stroke:#2c8f5a;stroke-width:1.2;stroke-dasharray:5 4;fill:none}
.range{fill:#0b6a8d;fill-opacity:.24}.flow{stroke:#0b6a8d;stroke-width:1.6;fill:none;stroke-linejoin:round}
.volume{stroke:#a4570a;stroke-width:2.2;fill:none;stroke-linejoin:round;stroke-linecap:round}.volume-text{fill:#8a4706;font-weight:600}
.drop{stroke:#6b4aa8;stroke-width:1.6;fill:none;stroke-linejoin:round}.drop-range{fill:#6b4aa8;fill-opacity:.22}
.battery{stroke:#3f7a1f;stroke-width:2;fill:none;stroke-linejoin:round}
.fault{fill:#b3261e;fill-opacity:.16}.mark-line{stroke:#b3261e;stroke-width:1;stroke-dasharray:2 3;fill:none}
.trip{stroke:#b3261e;stroke-width:1.6;fill:none}
.mark-text{font-size:11px;fill:#8c1d16;stroke:#ffffff;stroke-width:4px;stroke-linejoin:round;paint-order:stroke}.trip-text{font-weight:700}
@media (prefers-color-scheme:dark){
text{fill:#e4e9ee}.paper{fill:#12171c}.muted{fill:#9fabb7}.alert{fill:#ff8a80}.mark{fill:#e4e9ee;fill-opacity:.06}
.grid{stroke:#28313a}.frame,.tick{stroke:#5d6975}.off{fill:#93a1ae}.break{stroke:#93a1ae}
.band{fill:#4cc38a;fill-opacity:.15}.target{stroke:#4cc38a}.range{fill:#4bb9de;fill-opacity:.26}.flow{stroke:#5cc6ea}
.volume{stroke:#f0a445}.volume-text{fill:#f5bd74}
.drop{stroke:#b79df0}.drop-range{fill:#b79df0}.battery{stroke:#8fcf6a}.fault{fill:#ff8a80;fill-opacity:.2}
.mark-line,.trip{stroke:#ff8a80}.mark-text{fill:#ffb4ab;stroke:#12171c}}
";

impl Svg {
    /// Begins a document of a size, with what it shows for people who cannot see it.
    pub fn begin(width: f64, height: f64, title: &str, description: &str) -> Self {
        let mut svg = Self::default();
        let _ = write!(
            svg.0,
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width} {height}\" width=\"{width}\" \
             height=\"{height}\" role=\"img\" aria-labelledby=\"what about\">\n\
             <title id=\"what\">{}</title>\n<desc id=\"about\">{}</desc>\n<style>{STYLE}</style>\n\
             <rect class=\"paper\" width=\"{width}\" height=\"{height}\"/>\n",
            escaped(title),
            escaped(description)
        );
        svg
    }

    /// The whole document.
    pub fn end(mut self) -> String {
        self.0.push_str("</svg>\n");
        self.0
    }

    /// A text.
    pub fn text(&mut self, class: &str, (x, y): (f64, f64), anchor: Anchor, text: &str) {
        let _ = writeln!(
            self.0,
            "<text class=\"{class}\" x=\"{}\" y=\"{}\"{}>{}</text>",
            px(x),
            px(y),
            anchor.attribute(),
            escaped(text)
        );
    }

    /// A text that reads upwards.
    pub fn text_up(&mut self, class: &str, (x, y): (f64, f64), anchor: Anchor, text: &str) {
        let _ = writeln!(
            self.0,
            "<text class=\"{class}\" transform=\"translate({} {}) rotate(-90)\"{}>{}</text>",
            px(x),
            px(y),
            anchor.attribute(),
            escaped(text)
        );
    }

    /// A rectangle from its corners.
    pub fn rect(&mut self, class: &str, (x0, y0): (f64, f64), (x1, y1): (f64, f64)) {
        let _ = writeln!(
            self.0,
            "<rect class=\"{class}\" x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\"/>",
            px(x0),
            px(y0),
            px((x1 - x0).max(0.0)),
            px((y1 - y0).max(0.0))
        );
    }

    /// A line through points.
    pub fn line(&mut self, class: &str, points: &[(f64, f64)]) {
        self.points("polyline", class, points);
    }

    /// An area with these corners.
    pub fn area(&mut self, class: &str, points: &[(f64, f64)]) {
        self.points("polygon", class, points);
    }

    fn points(&mut self, element: &str, class: &str, points: &[(f64, f64)]) {
        let _ = write!(self.0, "<{element} class=\"{class}\" points=\"");
        for (i, (x, y)) in points.iter().enumerate() {
            let gap = if i == 0 { "" } else { " " };
            let _ = write!(self.0, "{gap}{},{}", px(*x), px(*y));
        }
        self.0.push_str("\"/>\n");
    }

    /// What `draw` draws is cut off at the edges of a rectangle.
    pub fn clipped(
        &mut self,
        name: &str,
        (x0, y0): (f64, f64),
        (x1, y1): (f64, f64),
        draw: impl FnOnce(&mut Self),
    ) {
        let _ = writeln!(
            self.0,
            "<clipPath id=\"{name}\"><rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\"/></clipPath>\n\
             <g clip-path=\"url(#{name})\">",
            px(x0),
            px(y0),
            px(x1 - x0),
            px(y1 - y0)
        );
        draw(self);
        self.0.push_str("</g>\n");
    }
}

impl Anchor {
    const fn attribute(self) -> &'static str {
        match self {
            Self::Start => "",
            Self::Middle => " text-anchor=\"middle\"",
            Self::End => " text-anchor=\"end\"",
        }
    }
}

/// A coordinate to a tenth of a pixel.
fn px(value: f64) -> String {
    let text = format!("{value:.1}");
    match text.strip_suffix(".0") {
        Some("-0") => "0".to_owned(),
        Some(whole) => whole.to_owned(),
        None => text,
    }
}

fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            // Not allowed in XML at all.
            c if c.is_control() => out.push(' '),
            c => out.push(c),
        }
    }
    out
}
