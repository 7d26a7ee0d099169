//! The calculators as they are typed and piped: figures, formula, refusals by member, and one answer for one line.

use super::{Outcome, pourbook};
use serde_json::{Value, json};
use std::io::Write;
use std::process::{Command, Stdio};

/// Pipes lines into `pourbook reckon`.
fn reckon(lines: &str) -> Outcome {
    let mut child = Command::new(env!("CARGO_BIN_EXE_pourbook"))
        .arg("reckon")
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    child.stdin.take().unwrap().write_all(lines.as_bytes()).unwrap();
    Outcome::of(child.wait_with_output().unwrap())
}

/// The words of a command line; what stands in quotes is one.
fn words(line: &str) -> Vec<&str> {
    let parts = line.split('"').enumerate();
    let words = parts.flat_map(|(at, part)| match at % 2 {
        0 => part.split_whitespace().collect::<Vec<_>>(),
        _ => vec![part],
    });
    words.collect()
}

#[track_caller]
fn typed(line: &str) -> Outcome {
    pourbook(&words(line))
}

/// What is typed, piped and printed as JSON is answered alike.
#[track_caller]
fn alike(line: &str, question: &Value) -> Value {
    let typed = typed(&format!("{line} --json")).ends(0, &[]).json();
    let piped = reckon(&format!("{question}\n")).ends(0, &[]).json();
    assert_eq!(piped["answer"], typed);
    typed
}

#[test]
fn gravity_is_told_with_its_formula() {
    typed("gravity --air 100.42 --gain 9.55 --water 21 --step 0.01").ends(
        0,
        &[
            "density               10.4827 g/cm3",
            "density = W (water - air) / D + air = 100.42 x (0.997995 - 0.0012) / 9.55 + 0.0012 = 10.4827 g/cm3",
            "It cannot say what an object is",
        ],
    );
    let told = alike(
        "gravity --air 100.42 --in-water 90.87 --water 21 --step 0.01 --alloy \"silver 999, copper 1\" --recorded 10.47 --recorded-uncertainty 0.03",
        &json!({"gravity": {
            "air": "100.42", "in_water": "90.87", "water": "21", "step": "0.01", "alloy": "silver 999, copper 1",
            "recorded": "10.47", "recorded_uncertainty": "0.03",
        }}),
    );
    assert_eq!(told["density"], "10.4827");
    assert_eq!(told["displacement"], "9.55");
    assert_eq!(told["recorded_agreement"], "agree");
    assert_eq!(told["alloy_agreement"], "agree");
    assert!(
        told["excluded"]
            .as_array()
            .unwrap()
            .contains(&json!("silver 925 with copper"))
    );
    assert!(
        told["fits"]
            .as_array()
            .unwrap()
            .contains(&json!("lead with tin, bismuth or molybdenum"))
    );
    let coarse = "gravity --air 100.4 --gain 9.5 --water 21 --step 0.1 --json";
    let coarse = typed(coarse).ends(0, &[]).json();
    assert_eq!(coarse["scale"], "cannot-tell-with-this-scale");
    assert_eq!(coarse["step_needed"], "0.01");
    assert!(coarse.get("excluded").is_none());
    // A piece with pores, lower than its alloy and equal to its own record.
    let porous = "gravity --air 104.00 --gain 10.00 --water 20 --step 0.01 --json \
        --recorded 10.37 --recorded-uncertainty 0.03 --alloy \"silver 999, copper 1\"";
    let porous = typed(porous).ends(0, &[]).json();
    assert_eq!(porous["recorded_agreement"], "agree");
    assert_eq!(porous["alloy_agreement"], "do-not-agree");
    assert_eq!(porous["porosity"], "low-as-if-porous");
}

#[test]
fn what_a_calculator_cannot_answer_is_refused_by_member_and_fact() {
    let gravity = "gravity --air 100.42 --water 21 --step 0.01";
    for (rest, code, says) in [
        (
            "--gain 100.42",
            1,
            "gain: the displacement is not below the weight in air",
        ),
        (
            "--in-water 100.43",
            1,
            "in_water: water carried nothing of the piece",
        ),
        ("--gain 9.555", 1, "gain: is no multiple of the scale's step"),
        ("--gain 9.55 --in-water 90", 2, "cannot be used with"),
        ("", 2, "--in-water"),
        ("--gain 9.55 --recorded 10.4", 2, "--recorded-uncertainty"),
        ("--gain -1", 2, "--gain"),
        ("--gain 9.55 --alloy \"silver 1\"", 2, "1000 in all"),
    ] {
        typed(&format!("{gravity} {rest}")).ends(code, &[says]);
    }
    typed("gravity --air 1 --gain 0.1 --step 0.1 --water 41").ends(2, &["0 to 40 only"]);
    typed("gravity --air 1 --gain 0.1 --step 0.1 --water -1").ends(2, &["below 0 degrees"]);
    typed("gravity --air 1 --gain 0.1 --step 0 --water 20").ends(1, &["step: the step of the scale is zero"]);
}

#[test]
fn each_line_is_answered_by_one_line() {
    let lines = [
        r#"{"gravity": {"air": "100.42", "gain": "9.55", "water": "21", "step": "0.01"}}"#,
        r#"{"gravity": {"air": "9.55", "gain": "100.42", "water": "21", "step": "0.01"}}"#,
        r#"{"gravity": {"air": 100, "gain": "9.55", "water": "21", "step": "0.01"}}"#,
        r#"{"gravity": {"air": "1", "gain": "0.1", "water": "21", "step": "0.1", "spoon": "1"}}"#,
        r#"{"spoon": {}}"#,
        r#"{"gravity": {}, "plan": {}}"#,
        "none",
    ];
    let outcome = reckon(&lines.join("\n"));
    assert_eq!(outcome.code, 2);
    let told: Vec<Value> = outcome
        .out
        .lines()
        .map(|line| serde_json::from_str(line).unwrap())
        .collect();
    assert_eq!(told.len(), lines.len());
    assert_eq!(told[0]["answer"]["density"], "10.4827");
    assert_eq!(told[1]["refused"]["member"], "gain");
    for (told, says) in told[2..]
        .iter()
        .zip(["string", "spoon", "none of", "one member", "expected"])
    {
        let why = told["unreadable"].as_str().unwrap();
        assert!(why.contains(says), "{why}");
    }
}
