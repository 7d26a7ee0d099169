//! README.md quotes the measured table as the last whole run of `scripts/bench` wrote it: a figure that somebody improves by hand,
//! or a run whose table was not taken over, is found here.

use std::path::Path;

const START: &str = "<!-- measured: written by scripts/bench -->\n";
const END: &str = "<!-- measured: end -->\n";

fn text(name: &str) -> String {
    std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join(name)).unwrap()
}

/// The rows of the table of ratios: six cells a row.
fn rows(text: &str) -> Vec<&str> {
    let is_row = |line: &&str| line.starts_with("| ") && line.matches(" |").count() == 6;
    text.lines().filter(is_row).collect()
}

#[test]
fn the_readme_quotes_what_was_measured() {
    let readme = text("README.md");
    let (_, rest) = readme.split_once(START).expect("the mark where the table begins");
    let (quoted, _) = rest.split_once(END).expect("the mark where it ends");
    let measured = text("benches/measured.md");
    assert!(rows(&measured).len() > 20, "{} rows", rows(&measured).len());
    assert_eq!(rows(quoted), rows(&measured));
}

#[test]
fn the_chart_has_a_title_and_a_description() {
    let chart = text("benches/growth.svg");
    for part in [
        "role=\"img\"",
        "aria-labelledby=\"title desc\"",
        "<title id=\"title\">",
        "<desc id=\"desc\">",
    ] {
        assert!(chart.contains(part), "{part}");
    }
    assert!(chart.matches("<polyline").count() > 5, "{chart}");
}
