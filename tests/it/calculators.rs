//! The calculators over wild questions: each is answered, refused by a member that it has, or unreadable; no answer holds what
//! is no number, and none takes long.

use pourbook::calculators::CALCULATORS;
use proptest::prelude::*;
use serde_json::{Map, Value, json};

/// Texts that people and programs send for a quantity, odd ones among them.
fn quantity() -> impl Strategy<Value = Value> {
    let odd = [
        "",
        "0",
        "-1",
        "NaN",
        "inf",
        "1e9",
        "0.00001",
        "0.01",
        "0.1",
        "1",
        "40",
        "999.9",
        "100000000",
        "99999999999",
        "1,5",
        "5 g",
        "0.999999999",
        "1:1",
        "0.001:1000000",
        "II",
        "silver 925, copper 75",
        "tungsten 1000",
    ];
    prop_oneof![
        3 => (0_u32..1_000_000, 0_u32..6).prop_map(|(units, decimals)| {
            let scale = 10_u32.pow(decimals);
            let (whole, part) = (units / scale, units % scale);
            json!(if decimals == 0 { whole.to_string() } else { format!("{whole}.{part:0width$}", width = decimals as usize) })
        }),
        1 => proptest::sample::select(odd.to_vec()).prop_map(|text| json!(text)),
        1 => prop_oneof![Just(json!(0)), Just(json!(4_294_967_295_u32)), Just(json!(-1)), Just(Value::Null), Just(json!([])), Just(json!(1.5))],
    ]
}

fn shapes() -> impl Strategy<Value = Value> {
    let shape = (
        prop_oneof![4 => 0_u32..60, 1 => Just(10_000_u32), 1 => Just(u32::MAX)],
        prop_oneof![
            3 => (0_u32..100, 0_u32..100).prop_map(|(good, bad)| json!({"good": good, "poured": good + bad})),
            2 => quantity().prop_map(|share| json!({"yield": share})),
            1 => Just(json!({"good": 1, "poured": 0})),
        ],
        proptest::option::of(quantity()),
    );
    let shape = shape.prop_map(|(wanted, mut shape, mean)| {
        shape["wanted"] = json!(wanted);
        if let Some(mean) = mean {
            shape["mean"] = mean;
        }
        shape
    });
    proptest::collection::vec(shape, 0..4).prop_map(|shapes| {
        let named = shapes.into_iter().enumerate().map(|(at, mut shape)| {
            shape["shape"] = json!(format!("shape{at}"));
            shape
        });
        Value::Array(named.collect())
    })
}

const MEMBERS: [&[&str]; 3] = [
    &[
        "air",
        "in_water",
        "gain",
        "water",
        "step",
        "recorded",
        "recorded_uncertainty",
        "alloy",
    ],
    &[
        "reading",
        "lower",
        "upper",
        "class",
        "e",
        "error",
        "step",
        "repeatability",
    ],
    &[
        "first",
        "first_uncertainty",
        "first_step",
        "second",
        "second_uncertainty",
        "second_step",
        "apart",
    ],
];
const OF_A_PLAN: [&str; 11] = [
    "confidence",
    "prior",
    "cavities",
    "melts",
    "heel",
    "loss_ppm",
    "lower",
    "upper",
    "sd",
    "guard",
    "mean",
];

fn members(names: &'static [&'static str]) -> impl Strategy<Value = Map<String, Value>> {
    let values = proptest::collection::vec(proptest::option::weighted(0.6, quantity()), names.len());
    values.prop_map(move |values| {
        let given = names
            .iter()
            .zip(values)
            .filter_map(|(name, value)| Some(((*name).to_owned(), value?)));
        given.collect()
    })
}

fn question() -> impl Strategy<Value = (&'static str, Value)> {
    let plan = (shapes(), members(&OF_A_PLAN)).prop_map(|(shapes, mut plan)| {
        plan.insert("shapes".into(), shapes);
        ("plan", Value::Object(plan))
    });
    prop_oneof![
        members(MEMBERS[0]).prop_map(|question| ("gravity", Value::Object(question))),
        members(MEMBERS[1]).prop_map(|question| ("conformity", Value::Object(question))),
        members(MEMBERS[2]).prop_map(|question| ("comparison", Value::Object(question))),
        plan,
    ]
}

#[track_caller]
fn holds_numbers_only(word: &str, value: &Value, question: &Value) {
    match value {
        Value::String(text) => {
            for token in text.split([' ', '(', ')', '/', '^', '=', ',']) {
                assert!(
                    !["NaN", "inf", "-inf", "-NaN"].contains(&token),
                    "{word} {question}: {text}"
                );
            }
        }
        Value::Array(items) => items
            .iter()
            .for_each(|item| holds_numbers_only(word, item, question)),
        Value::Object(members) => members
            .values()
            .for_each(|member| holds_numbers_only(word, member, question)),
        _ => {}
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(1500))]
    #[test]
    fn a_wild_question_is_answered_or_refused((word, question) in question()) {
        let known = CALCULATORS.iter().find(|known| known.word == word).unwrap();
        match (known.answer)(question.clone()) {
            Ok(Ok(answer)) => {
                holds_numbers_only(word, &answer.to_json(), &question);
                holds_numbers_only(word, &json!(answer.to_text()), &question);
            }
            Ok(Err(refused)) => {
                let known = MEMBERS.iter().copied().flatten().chain(&OF_A_PLAN).chain(&["shapes"]);
                prop_assert!(known.into_iter().any(|name| *name == refused.member), "{refused}");
                prop_assert!(!refused.fact.is_empty());
            }
            Err(unreadable) => prop_assert!(!unreadable.to_string().is_empty()),
        }
    }
}
