//! A small writer of SVG.

use std::fmt::Write;

/// A drawing under construction. Lengths are in user units, printed with one decimal.
#[derive(Debug)]
pub struct Svg {
    out: String,
}

/// Where a text is anchored.
#[derive(Clone, Copy, Debug)]
pub enum Anchor {
    /// At its first letter.
    Start,
    /// In the middle.
    Middle,
    /// At its last letter.
    End,
}

impl Svg {
    /// An empty drawing with a title and a description for those who do not see it.
    pub fn new(class: &str, width: f64, height: f64, title: &str, description: &str) -> Self {
        let mut svg = Self { out: String::new() };
        let (title, description) = (escaped(title), escaped(description));
        svg.put(&format!(
            "<svg class=\"{class}\" viewBox=\"0 0 {width:.0} {height:.0}\" role=\"img\"><title>{title}</title>"
        ));
        if !description.is_empty() {
            svg.put(&format!("<desc>{description}</desc>"));
        }
        svg
    }

    /// A rectangle; `tip` is shown where a pointer rests on it.
    pub fn rect(&mut self, class: &str, (x, y): (f64, f64), (width, height): (f64, f64), tip: &str) {
        let open =
            format!("<rect class=\"{class}\" x=\"{x:.1}\" y=\"{y:.1}\" width=\"{width:.1}\" height=\"{height:.1}\"");
        match tip {
            "" => self.put(&format!("{open}/>")),
            tip => self.put(&format!("{open}><title>{}</title></rect>", escaped(tip))),
        }
    }

    /// A straight line.
    pub fn line(&mut self, class: &str, (x1, y1): (f64, f64), (x2, y2): (f64, f64)) {
        self.put(&format!("<line class=\"{class}\" x1=\"{x1:.1}\" y1=\"{y1:.1}\" x2=\"{x2:.1}\" y2=\"{y2:.1}\"/>"));
    }

    /// A line through points.
    pub fn path(&mut self, class: &str, points: &[(f64, f64)]) {
        let mut d = String::new();
        for (k, (x, y)) in points.iter().enumerate() {
            // Writing to a string cannot fail.
            let _ = write!(d, "{}{x:.1} {y:.1}", if k == 0 { "M" } else { "L" });
        }
        self.put(&format!("<path class=\"{class}\" d=\"{d}\"/>"));
    }

    /// A text on its baseline.
    pub fn text(&mut self, class: &str, anchor: Anchor, (x, y): (f64, f64), text: &str) {
        let anchor = match anchor {
            Anchor::Start => "start",
            Anchor::Middle => "middle",
            Anchor::End => "end",
        };
        let text = escaped(text);
        self.put(&format!("<text class=\"{class}\" text-anchor=\"{anchor}\" x=\"{x:.1}\" y=\"{y:.1}\">{text}</text>"));
    }

    /// The finished drawing.
    pub fn finish(mut self) -> String {
        self.put("</svg>");
        self.out
    }

    fn put(&mut self, part: &str) {
        self.out.push_str(part);
    }
}

/// A text that may stand in an element or an attribute.
pub fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            c => out.push(c),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn texts_cannot_leave_their_element() {
        let mut svg = Svg::new("x", 10.0, 10.0, "a < b", "");
        svg.text("t", Anchor::End, (0.0, 0.0), "</text><script>");
        let drawing = svg.finish();
        assert!(drawing.contains("&lt;/text&gt;&lt;script&gt;") && !drawing.contains("<script"), "{drawing}");
    }
}
