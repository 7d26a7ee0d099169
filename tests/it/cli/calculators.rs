//! The calculators as they are typed and piped: figures, formula, refusals by member, and one answer for one line.

use super::{Desk, Outcome, pourbook};
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
fn a_reading_is_held_against_limits() {
    let scale = "--class II --e 0.01 --step 0.01 --repeatability 0.006";
    let question = |reading: &str| {
        json!({"conformity": {
            "reading": reading, "lower": "100", "class": "II", "e": "0.01", "step": "0.01", "repeatability": "0.006",
        }})
    };
    // The grades of ILAC-G8's three answers around 100.00 g with a band of 0.03 g; the probabilities were computed with scipy.
    for (reading, grade, probability, at_least) in [
        ("99.97", "under", "0.013914", "99.94"),
        ("99.98", "borderline", "0.071260", "99.95"),
        ("100.00", "borderline", "0.500000", "99.97"),
        ("100.02", "borderline", "0.928740", "99.99"),
        ("100.03", "accepted", "0.986086", "100.00"),
    ] {
        let told = alike(
            &format!("conformity --reading {reading} --lower 100 {scale}"),
            &question(reading),
        );
        let found =
            ["grade", "probability", "at_least", "guard_band"].map(|name| told[name].as_str().unwrap());
        assert_eq!(found, [grade, probability, at_least, "0.03"], "{reading}");
        assert_eq!(told["permissible_error"], "0.02");
        assert!(told["table"].as_str().unwrap().contains("OIML R 76-1:2006"));
    }
    typed(&format!(
        "conformity --reading 100.01 --lower 100 --upper 102 {scale}"
    ))
    .ends(
        0,
        &[
            "cannot tell with this scale, re-weigh once",
            "sqrt(0.02^2 / 3 + 0.006^2 + 0.01^2 / 6) = 0.013639 g",
        ],
    );
    typed("conformity --reading 1 --lower 1 --error 0.1 --step 0.1 --repeatability 0")
        .ends(0, &["supports no certificate"]);
    typed("conformity --reading 1001 --lower 1 --class II --e 0.01 --step 0.01 --repeatability 0")
        .ends(1, &["e: is zero, or the reading is beyond"]);
    typed("conformity --reading 1 --lower 1 --class IIII --e 0.01 --step 0.01 --repeatability 0")
        .ends(2, &["none of I, II, III"]);
}

#[test]
fn two_readings_are_compared() {
    let told = alike(
        "compare --first 100.42 --first-uncertainty 0.027 --second 100.39 --second-step 0.01",
        &json!({"comparison": {"first": "100.42", "first_uncertainty": "0.027", "second": "100.39", "second_step": "0.01"}}),
    );
    assert_eq!(told["verdict"], "agree");
    let compare = "compare --first 100.42 --first-uncertainty 0.027 --json";
    for (rest, verdict, step) in [
        ("--second 100.21 --second-step 0.01", "do-not-agree", None),
        (
            "--second 100.33 --second-step 0.01",
            "repeat-on-another-scale",
            None,
        ),
        // Two editions 0.2 g apart: a scale of 0.1 g cannot tell them, one of 0.01 g could.
        (
            "--second 100.4 --second-step 0.1 --apart 0.2",
            "cannot-tell-with-this-scale",
            Some("0.01"),
        ),
        ("--second 100.39 --second-step 0.01 --apart 0.2", "agree", None),
        (
            "--second 100.39 --second-step 0.01 --apart 0.01",
            "cannot-tell-with-this-scale",
            None,
        ),
        // What does not agree on a coarse scale does not agree.
        (
            "--second 99.0 --second-step 0.1 --apart 0.2",
            "do-not-agree",
            None,
        ),
    ] {
        let told = typed(&format!("{compare} {rest}")).ends(0, &[]).json();
        assert_eq!(told["verdict"], verdict, "{rest}");
        assert_eq!(told.get("step_needed").and_then(Value::as_str), step, "{rest}");
    }
    // The scale that is needed stands beside the finer of the two readings, whichever that is: by hand, 1.5 x sqrt(0.01^2 +
    // 0.062^2) is below 0.2, and 1.5 x 0.5 is not.
    for uncertainties in [("0.01", "0.5"), ("0.5", "0.01")] {
        let (first, second) = uncertainties;
        let told = typed(&format!(
            "compare --first 100 --first-uncertainty {first} --second 100 --second-uncertainty {second} --apart 0.2 --json"
        ));
        let told = told.ends(0, &[]).json();
        assert_eq!(told["step_needed"], "0.01", "{uncertainties:?}");
    }
    typed("compare --first 1 --first-uncertainty 0 --second 1 --second-uncertainty 0")
        .ends(1, &["second_uncertainty: is zero"]);
    typed("compare --first 1 --second 1").ends(2, &["--first-uncertainty"]);
}

#[test]
fn what_no_reading_says_is_never_said() {
    for line in [
        "gravity --air 100.42 --gain 9.55 --water 21 --step 0.01 --recorded 10.47 --recorded-uncertainty 0.03",
        "gravity --air 100.42 --gain 9.05 --water 21 --step 0.01 --recorded 10.47 --recorded-uncertainty 0.03",
        "compare --first 100.42 --first-uncertainty 0.027 --second 100.39 --second-step 0.01",
        "compare --first 100.42 --first-uncertainty 0.027 --second 99.39 --second-step 0.01",
    ] {
        let told = typed(line).ends(0, &[]).out.to_lowercase();
        for word in ["genuine", "fake", "counterfeit", "authentic"] {
            assert!(!told.contains(word), "{line}: {told}");
        }
    }
}

#[test]
fn pours_are_planned_with_and_without_a_book() {
    let told = alike(
        "plan --shape round:36:0.70",
        &json!({"plan": {"shapes": [{"shape": "round", "wanted": 36, "yield": "0.7"}]}}),
    );
    assert_eq!(told["pours"], 60);
    assert!(told.get("grain").is_none() && told.get("aim").is_none() && told.get("within_least").is_none());
    typed("plan --shape round:36:13/18").ends(
        0,
        &[
            "71 pours for 36 good",
            "P(BetaBin(n, 14, 6) >= 36) >= 0.95: n = 71",
        ],
    );
    typed("plan --shape a:1:0.5 --lower 100 --upper 102 --sd 0.9 --guard 0.03 --mean 100.2").ends(
        0,
        &[
            "101.00 g",
            "at the mean so far",
            "Phi((102.00 - 0.03 - 101.00)/0.90)",
        ],
    );
    for (line, code, says) in [
        ("plan", 2, "--shape"),
        ("plan --shape a:1", 2, "NAME:WANTED:YIELD"),
        ("plan --shape a:1:2", 2, "1, which is certain"),
        ("plan --shape a:1:0.5:1:1", 2, "NAME:WANTED:YIELD"),
        ("plan --shape a:1:0", 1, "a yield of 0"),
        ("plan --shape a:1:0.5 --shape a:1:0.5", 1, "named twice"),
        ("plan --shape a:1:3/2", 1, "more are good than were poured"),
        (
            "plan --shape a:1:0.5 --confidence 0",
            1,
            "confidence: must be above 0 and below 1",
        ),
        ("plan --shape a:1:0.5 --melts 2", 1, "needs the cavities"),
        ("plan --shape a:1:0.5 --heel 2", 1, "mean mass"),
        (
            "plan --shape a:1:0.5:5 --loss-ppm 1000000",
            1,
            "loss_ppm: leaves nothing",
        ),
        (
            "plan --shape a:1:0.5 --lower 1 --upper 2 --sd 0",
            1,
            "sd: is zero",
        ),
        (
            "plan --shape a:1:0.5 --lower 1 --upper 2 --sd 1 --guard 0.5",
            1,
            "guard: the guard bands leave nothing",
        ),
        ("plan ./book", 2, "--series"),
        ("plan --series TW", 2, "<DIR>"),
    ] {
        typed(line).ends(code, &[says]);
    }
    let desk = Desk::new();
    let book = desk.demo();
    typed(&format!("plan {book} --series TW --melts 2"))
        .ends(0, &["TW oval: 12 of 12 numbered", "aim at 50.60 g"]);
    let told = typed(&format!("plan {book} --series TW --json")).ends(0, &[]);
    assert_eq!(
        told.members(),
        ["code", "plan", "position", "recorded", "series", "shapes"]
    );
    typed(&format!("plan {book} --series QQ")).ends(1, &["no series of this book"]);
    typed(&format!("plan {book} --series tw")).ends(2, &["not the code of a series"]);
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

#[test]
fn a_charge_is_blended_raised_and_lowered() {
    typed("blend --part 500@999 --part 40@alloy --standard 925").ends(
        0,
        &[
            "fineness, rounded down  925.0 parts per thousand",
            "(500.00 g x 999.0 + 40.00 g x 0.0) / 540.00 g = 499.50 g fine / 540.00 g = 925.0 parts per thousand",
            "Never aim at the limit",
            "Local codes and licensed practice go before this.",
        ],
    );
    // Computed: 300 x (999.0 - 998.6) / (999.9 - 999.0) = 133.333...
    let told = alike(
        "raise --charge 300@998.6 --standard 999 --lot 999.9 --step 0.01",
        &json!({"raise": {"charge": ["300@998.6"], "standard": "999", "lots": ["999.9"], "step": "0.01"}}),
    );
    assert_eq!(
        told["additions"],
        json!([{"lot": 0, "fineness": "999.9", "mass": "133.34", "exact": "400/3"}])
    );
    assert_eq!(
        (&told["direction"], &told["fineness"]),
        (&json!("raise"), &json!("999.0"))
    );
    let told = alike(
        "raise --charge 500@999 --standard 925 --uncertainty 0.5 --lot copper=100@alloy --step 0.01",
        &json!({"raise": {"charge": ["500@999"], "standard": "925", "uncertainty": "0.5", "lots": ["copper=100@alloy"],
            "step": "0.01"}}),
    );
    assert_eq!(
        (&told["target"], &told["added"]),
        (&json!("925.5"), &json!("39.70"))
    );
    assert_eq!(told["additions"][0]["name"], "copper");
    typed("raise --charge 300@998.6 --standard 999 --lot 998.9 --step 0.01")
        .ends(1, &["standard: the target of 999.0"]);
    typed("raise --charge 300@998.6 --standard 999 --lot 1000.5 --step 0.01")
        .ends(2, &["1000 parts per thousand"]);
    typed("raise --charge 300 --standard 999 --step 0.01").ends(2, &["grams and a fineness, like 300@998.6"]);
}

#[test]
fn units_are_converted_and_bars_stated() {
    let told = alike(
        "convert 102.53 g ozt --decimals 3 --rounding down",
        &json!({"convert": {"amount": "102.53", "from": "g", "to": "ozt", "decimals": 3, "rounding": "down"}}),
    );
    assert_eq!((&told["result"], &told["unit"]), (&json!("3.296"), &json!("ozt")));
    // 102.53 / 31.1034768 in lowest terms, from Python's fractions.
    assert_eq!(told["exact"], "64081250/19439673");
    assert_eq!(
        told["formula"],
        json!(["102.53 g x 1000.00000 mg per g / 31103.47680 mg per ozt = 3.296 ozt"])
    );
    typed("convert 1 oz g").ends(2, &["refused, never converted"]);
    typed("convert 1 g ozt --decimals 13").ends(1, &["decimals: is more than 12"]);
    let told = alike(
        "bar --metal gold --weighed 401.127 --fineness 995.8",
        &json!({"bar": {"metal": "gold", "weighed": "401.127", "fineness": "995.8"}}),
    );
    assert_eq!(
        (&told["gross"], &told["fine"]),
        (&json!("401.125"), &json!("399.440"))
    );
}

#[test]
fn a_price_is_told_with_its_tax_and_what_to_ask() {
    let told = alike(
        "price --metal silver --mass 102.53 --spot \"24.51 GBP\" --premium-percent 28 --weight ozt-0.001 --vat standard --day 2026-11-25",
        &json!({"price": {"metal": "silver", "mass": "102.53", "spot": "24.51 GBP", "premium_percent": "28",
            "weight": "ozt-0.001", "vat": "standard", "day": "2026-11-25"}}),
    );
    let amounts = [&told["ounces"], &told["net"], &told["vat"], &told["gross"]];
    assert_eq!(amounts, ["3.296", "103.40 GBP", "20.68 GBP", "124.08 GBP"]);
    assert_eq!(told["vat_row"]["from"], "2011-01-04");
    typed("price --metal gold --mass 20 --fineness 999.9 --spot \"2600 GBP\" --premium-percent 5 --weight gram --vat investment_gold")
        .ends(0, &["value added tax  0.00 GBP", "Ask the revenue or a licensed adviser"]);
    let mixed =
        "--mass 1 --spot \"24.51 GBP\" --fees \"4 EUR\" --premium-percent 0 --weight gram --vat standard";
    typed(&format!("price --metal silver {mixed}")).ends(1, &["fees: the fees are in EUR"]);
    let below = "--mass 1 --spot \"24.51 GBP\" --premium-percent -100.5 --weight gram --vat standard";
    typed(&format!("price --metal silver {below}")).ends(2, &["too small: at least -100"]);
    typed("vat --gross \"141.60 GBP\"").ends(
        0,
        &[
            "value added tax in it  23.60 GBP",
            "141.60 GBP x 20 / (100 + 20) = 23.60 GBP",
        ],
    );
    typed("vat --gross \"100 GBP\" --day 2010-06-01").ends(0, &["14.89 GBP"]);
    typed("vat --gross \"100 GBP\" --day 1980-01-01").ends(1, &["day: no row of the table"]);
    typed("vat \"--gross=-1 GBP\"").ends(1, &["gross: a gross amount is never below zero, this is -1 GBP"]);
}
