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
        "alloy",
        "24.51 GBP",
        "999999999999.99 GBP",
        "-1 GBP",
        "2011-02-30",
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

/// The members of each question that are drawn from [`quantity`]; beside them a plan has shapes, and the others lists.
const MEMBERS: &[(&str, &[&str])] = &[
    (
        "gravity",
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
    ),
    (
        "conformity",
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
    ),
    (
        "comparison",
        &[
            "first",
            "first_uncertainty",
            "first_step",
            "second",
            "second_uncertainty",
            "second_step",
            "apart",
        ],
    ),
    (
        "plan",
        &[
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
        ],
    ),
    ("blend", &["standard", "uncertainty"]),
    ("raise", &["standard", "uncertainty", "step"]),
    ("convert", &["amount", "decimals"]),
    ("bar", &["weighed", "fineness"]),
    (
        "price",
        &["mass", "fineness", "spot", "premium_percent", "fees", "decimals"],
    ),
    ("vat", &["gross", "day", "decimals"]),
];

/// The other members of each question: lists, and words of closed sets.
fn others(word: &str) -> BoxedStrategy<Vec<(&'static str, Value)>> {
    let parts = || proptest::collection::vec(part(), 0..4).prop_map(Value::Array);
    let metal = || proptest::sample::select(vec![json!("gold"), json!("silver"), json!("copper")]);
    match word {
        "plan" => shapes().prop_map(|shapes| vec![("shapes", shapes)]).boxed(),
        "blend" => parts().prop_map(|parts| vec![("parts", parts)]).boxed(),
        "raise" => (parts(), parts())
            .prop_map(|(charge, lots)| vec![("charge", charge), ("lots", lots)])
            .boxed(),
        "convert" => proptest::sample::subsequence(vec!["g", "ozt", "gr", "kg"], 2)
            .prop_map(|units| vec![("from", json!(units[0])), ("to", json!(units[1]))])
            .boxed(),
        "bar" => metal().prop_map(|metal| vec![("metal", metal)]).boxed(),
        "price" => (metal(), any::<bool>())
            .prop_map(|(metal, fine)| {
                let rules = [("weight", json!("ozt-0.001")), ("vat", json!("standard"))];
                let of = [("metal", metal), ("by_fine_weight", json!(fine))];
                rules.into_iter().chain(of).collect()
            })
            .boxed(),
        _ => Just(vec![]).boxed(),
    }
}

/// Something with a fineness, as charges and lots are typed.
fn part() -> impl Strategy<Value = Value> {
    (quantity(), quantity()).prop_map(|(mass, fineness)| match (mass.as_str(), fineness.as_str()) {
        (Some(mass), Some(fineness)) => json!(format!("{mass}@{fineness}")),
        _ => fineness,
    })
}

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
    proptest::sample::select(MEMBERS.to_vec()).prop_flat_map(|(word, names)| {
        (members(names), others(word)).prop_map(move |(mut question, others)| {
            question.extend(others.into_iter().map(|(name, value)| (name.to_owned(), value)));
            (word, Value::Object(question))
        })
    })
}

#[test]
fn every_calculator_is_asked() {
    let asked: Vec<&str> = MEMBERS.iter().map(|(word, _)| *word).collect();
    assert!(CALCULATORS.iter().all(|known| asked.contains(&known.word)));
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
    #![proptest_config(ProptestConfig::with_cases(3000))]
    #[test]
    fn a_wild_question_is_answered_or_refused((word, question) in question()) {
        let known = CALCULATORS.iter().find(|known| known.word == word).unwrap();
        match (known.answer)(question.clone()) {
            Ok(Ok(answer)) => {
                holds_numbers_only(word, &answer.to_json(), &question);
                holds_numbers_only(word, &json!(answer.to_text()), &question);
            }
            Ok(Err(refused)) => {
                let names = MEMBERS.iter().filter(|(known, _)| *known == word).flat_map(|(_, names)| *names);
                let given = question.as_object().unwrap().keys().map(String::as_str);
                let mut known = names.copied().chain(given);
                prop_assert!(known.any(|name| name == refused.member), "{word}: {refused}");
                prop_assert!(!refused.fact.is_empty());
            }
            Err(unreadable) => prop_assert!(!unreadable.to_string().is_empty()),
        }
    }
}
