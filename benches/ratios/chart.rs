//! A chart of lines on two logarithmic axes, as SVG with a title and a description: no library, no script.

use super::table::figure;
use std::fmt::Write;

/// One line: its name, and points with values above zero.
pub struct Line<'a> {
    pub name: &'a str,
    pub points: Vec<(f64, f64)>,
}

const WIDE: f64 = 860.0;
const HIGH: f64 = 460.0;
/// Where the axes are: left, right, top, bottom.
const FRAME: (f64, f64, f64, f64) = (84.0, 560.0, 20.0, 410.0);
/// Colours that can be told apart by most eyes (Okabe and Ito), and dashes, so that none is told by colour alone.
const COLOURS: [&str; 9] = [
    "#000000", "#e69f00", "#56b4e9", "#009e73", "#0072b2", "#d55e00", "#cc79a7", "#666666", "#7a5c00",
];
const DASHES: [&str; 3] = ["", "8 4", "2 3"];
/// The least distance between two names, units of the picture.
const NAME_HIGH: f64 = 18.0;

/// From the least to the most of some values, in whole powers of ten.
fn decades(values: impl Iterator<Item = f64> + Clone) -> (f64, f64) {
    let least = values.clone().fold(f64::INFINITY, f64::min).log10().floor();
    let most = values.fold(0.0_f64, f64::max).log10().ceil();
    (least, if most > least { most } else { least + 1.0 })
}

/// What one line says, in words.
fn told(line: &Line) -> String {
    let each = line
        .points
        .iter()
        .map(|(x, y)| format!("{} us at {}", figure(*y), figure(*x)));
    format!("{}: {}", line.name, each.collect::<Vec<_>>().join(", "))
}

/// Draws the lines.
pub fn chart(lines: &[Line]) -> String {
    let points = || lines.iter().flat_map(|line| line.points.iter().copied());
    let (across, up) = (decades(points().map(|p| p.0)), decades(points().map(|p| p.1)));
    let (left, right, top, bottom) = FRAME;
    let x = |value: f64| left + (value.log10() - across.0) / (across.1 - across.0) * (right - left);
    let y = |value: f64| bottom - (value.log10() - up.0) / (up.1 - up.0) * (bottom - top);
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {WIDE} {HIGH}\" role=\"img\" aria-labelledby=\"title desc\" \
         font-family=\"sans-serif\" font-size=\"13\">\n<title id=\"title\">What one operation costs as a book grows</title>\n\
         <desc id=\"desc\">Microseconds against entries of the book, both axes logarithmic. {}.</desc>\n\
         <rect width=\"{WIDE}\" height=\"{HIGH}\" fill=\"#fff\"/>\n",
        lines.iter().map(told).collect::<Vec<_>>().join(". ")
    );
    for power in across.0 as i32..=across.1 as i32 {
        let (at, says) = (x(10_f64.powi(power)), figure(10_f64.powi(power)));
        let _ = writeln!(
            svg,
            "<path d=\"M{at:.1} {top}V{bottom}\" stroke=\"#ddd\"/><text x=\"{at:.1}\" y=\"{:.1}\" text-anchor=\"middle\">{says}</text>",
            bottom + 18.0
        );
    }
    for power in up.0 as i32..=up.1 as i32 {
        let (at, says) = (y(10_f64.powi(power)), figure(10_f64.powi(power)));
        let _ = writeln!(
            svg,
            "<path d=\"M{left} {at:.1}H{right}\" stroke=\"#ddd\"/><text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"end\">{says}</text>",
            left - 6.0,
            at + 4.0
        );
    }
    let _ = writeln!(
        svg,
        "<text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"middle\">entries of the book</text>\n\
         <text x=\"16\" y=\"{:.1}\" text-anchor=\"middle\" transform=\"rotate(-90 16 {:.1})\">microseconds</text>",
        (left + right) / 2.0,
        bottom + 38.0,
        (top + bottom) / 2.0,
        (top + bottom) / 2.0
    );
    // Names stand beside the ends of their lines, from the highest down, moved apart where they would touch.
    let end = |line: &Line| line.points.last().map_or(bottom, |point| y(point.1));
    let mut order: Vec<usize> = (0..lines.len()).collect();
    order.sort_by(|a, b| end(&lines[*a]).total_cmp(&end(&lines[*b])));
    let mut free = top;
    for (place, number) in order.iter().enumerate() {
        let (line, left_over) = (&lines[*number], (order.len() - place) as f64);
        let (colour, dash) = (COLOURS[number % COLOURS.len()], DASHES[number % DASHES.len()]);
        let drawn: Vec<String> = line
            .points
            .iter()
            .map(|(a, b)| format!("{:.1},{:.1}", x(*a), y(*b)))
            .collect();
        let at = end(line)
            .max(free)
            .min(bottom + NAME_HIGH - left_over * NAME_HIGH);
        free = at + NAME_HIGH;
        let _ = writeln!(
            svg,
            "<polyline points=\"{}\" fill=\"none\" stroke=\"{colour}\" stroke-width=\"2\" stroke-dasharray=\"{dash}\"/>\n\
             <path d=\"M{:.1} {:.1}L{:.1} {at:.1}\" stroke=\"{colour}\" stroke-width=\"0.7\"/>\n\
             <text x=\"{:.1}\" y=\"{:.1}\" fill=\"{colour}\">{}</text>",
            drawn.join(" "),
            line.points.last().map_or(right, |point| x(point.0)),
            end(line),
            right + 20.0,
            right + 24.0,
            at + 4.0,
            line.name
        );
    }
    svg.push_str("</svg>\n");
    svg
}
