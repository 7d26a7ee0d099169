//! Streams: the widths of what comes in and of what leaves are those of their figures, whatever the book; and what is small,
//! negative or not accounted for is there to be seen.

use super::{narrow, now, received, statement_of};
use crate::check::DemoBook;
use crate::domain::histories::{self, Choice};
use pourbook::accounts::{Heading, Reckoning, Statement, StatementError};
use pourbook::domain::Amount;
use pourbook::metal::{FineMass, MassDifference, Metal};
use pourbook::pages::metal::{self, flow};
use pourbook::pages::pictures::{Branch, Row, Size, Stream, Tone};
use proptest::prelude::*;

fn branch(name: &str, amount: i64) -> Branch {
    Branch {
        name: name.to_owned(),
        figure: format!("{amount} steps"),
        amount,
        tone: Tone::Here,
        address: None,
    }
}

fn stream(inlets: &[i64], outlets: &[i64]) -> Stream {
    let named = |what: &str, amounts: &[i64]| -> Vec<Branch> {
        let each = amounts.iter().enumerate();
        each.map(|(number, amount)| branch(&format!("{what} {number}"), *amount))
            .collect()
    };
    Stream {
        id: "s".to_owned(),
        title: "A stream".to_owned(),
        description: "It flows.".to_owned(),
        inlets: named("in", inlets),
        rows: named("out", outlets).into_iter().map(Row::Branch).collect(),
        figure: |amount| format!("{amount} steps"),
        again: None,
    }
}

fn outlets(stream: &Stream) -> Vec<&Branch> {
    let rows = stream.rows.iter();
    rows.filter_map(|row| match row {
        Row::Branch(branch) => Some(branch),
        Row::Mark(..) => None,
    })
    .collect()
}

/// What comes in and what leaves are the same, as figures and as widths: to the last thousandth of a unit.
fn balances(stream: &Stream) {
    let amounts =
        |branches: &[&Branch]| -> i128 { branches.iter().map(|branch| i128::from(branch.amount)).sum() };
    let outlets = outlets(stream);
    let whole = amounts(&stream.inlets.iter().collect::<Vec<_>>());
    assert_eq!(whole, amounts(&outlets), "{}", stream.title);
    for size in Size::BOTH {
        let (came, left) = stream.ribbons(size);
        let widths = |ribbons: &[pourbook::pages::pictures::Ribbon]| -> i64 {
            ribbons.iter().map(|ribbon| ribbon.to - ribbon.from).sum()
        };
        assert_eq!(widths(&came), widths(&left), "{}", stream.title);
        let full = widths(&left);
        let least = if stream.again.is_some() { 10_000 } else { 100_000 };
        assert!(whole == 0 || full > least, "{}: {full}", stream.title);
        // One lies beside the other from bank to bank: in from the left, out from the right.
        let mut bank = 0;
        for ribbon in &came {
            assert_eq!(ribbon.from, bank);
            bank = ribbon.to;
        }
        for (ribbon, outlet) in left.iter().zip(&outlets) {
            assert_eq!(ribbon.to, bank);
            bank = ribbon.from;
            // Less than a thousandth of a unit off its true width.
            let off =
                i128::from(ribbon.to - ribbon.from) * whole - i128::from(full) * i128::from(outlet.amount);
            let most = if stream.again.is_some() { 2 * whole } else { whole };
            assert!(off.abs() < most, "{}: {}", stream.title, outlet.name);
        }
        assert_eq!(bank, 0, "{}", stream.title);
        // No ribbon lies over another.
        for pair in left.windows(2) {
            assert!(
                pair[1].top >= pair[0].top + (pair[0].to - pair[0].from),
                "{}",
                stream.title
            );
        }
    }
}

/// Lots add up to what was received, and every figure that is not zero is a branch.
fn tells_the_statement(stream: &Stream, statement: &Statement) {
    let branches = stream.inlets.iter().chain(outlets(stream));
    let drawn: i128 = branches.map(|branch| i128::from(branch.amount)).sum();
    let lines = statement
        .lines
        .iter()
        .map(|line| i128::from(line.amount.mass.units().abs()));
    assert_eq!(drawn, lines.sum::<i128>(), "{}", statement.metal);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, max_shrink_iters: 200, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn whatever_a_workshop_does_its_stream_runs_dry(steps in prop::collection::vec(any::<Choice>(), 40..200)) {
        let book = histories::book_with_customers(&steps).book;
        for metal in Metal::ALL {
            let statement = statement_of(&book, metal);
            let drawn = flow(&statement, &received(&book, metal), &now());
            balances(&drawn);
            tells_the_statement(&drawn, &statement);
        }
    }

    #[test]
    fn any_amounts_have_true_widths(outs in prop::collection::vec(0_i64..3_000_000_000, 0..40), cut in 0_usize..40) {
        let sum: i64 = outs.iter().sum();
        let first: i64 = outs.iter().take(cut).sum();
        balances(&stream(&[first, sum - first], &outs));
    }
}

#[test]
fn the_demo_is_drawn_as_it_stands_at_every_twentieth_position() {
    let demo = DemoBook::make();
    let reader = demo.reader();
    let mut reckoning = Reckoning::new("brackenfold.example/log");
    let mut drawn = 0;
    for position in (0..=reader.head().size).step_by(20).chain([reader.head().size]) {
        reckoning.advance(reader.store(), position).unwrap();
        for metal in reckoning.metals() {
            let statement = reckoning.statement(metal).unwrap();
            let stream = flow(&statement, &received(reckoning.book(), metal), &now());
            balances(&stream);
            tells_the_statement(&stream, &statement);
            drawn += 1;
        }
    }
    assert!(drawn > 30, "only {drawn} were drawn");
    let statement = reckoning.statement(Metal::Silver).unwrap();
    let picture = flow(&statement, &received(reckoning.book(), Metal::Silver), &now())
        .picture()
        .0;
    for words in [
        "Lost in melting",
        "Taken for the assay",
        "Lighter when weighed again",
        "0.02 g",
        "Found at stock-takes",
    ] {
        assert!(picture.contains(words), "{words} is not named");
    }
}

#[test]
fn an_empty_book_and_a_single_lot_are_drawn() {
    let empty = statement_of(&pourbook::domain::Book::default(), Metal::Silver);
    let drawn = flow(&empty, &[], &now());
    balances(&drawn);
    let picture = drawn.picture().0;
    assert!(
        !picture.contains("<path") && !picture.contains("ACCOUNTED"),
        "{picture}"
    );
    let one = stream(&[5], &[5]);
    balances(&one);
    assert_eq!(one.ribbons(Size::Narrow).1.len(), 1);
}

#[test]
fn a_thousand_branches_are_all_named_and_small_inlets_come_in_together() {
    let amounts: Vec<i64> = (1..=1_000).collect();
    let wide = stream(&amounts, &amounts);
    balances(&wide);
    let picture = wide.picture().0;
    let drawn = narrow(&picture);
    assert!(drawn.contains(">in 999<") && drawn.contains(">994 others, each smaller<"));
    assert!(drawn.contains(">494515 steps<"), "the sum of the 994 smallest");
    for number in 0..1_000 {
        assert!(drawn.contains(&format!(">out {number}<")), "{number}");
    }
}

/// What was found to be more than the book said is below zero under its heading: it comes in, and nothing is hidden by it.
#[test]
fn a_heading_below_zero_comes_in() {
    let amount = |units: i64| Amount {
        mass: MassDifference::from_units(units).unwrap(),
        fine: FineMass::ZERO,
    };
    let mut statement = statement_of(&pourbook::domain::Book::default(), Metal::Gold);
    for line in &mut statement.lines {
        line.amount = match line.heading {
            Heading::Received => amount(10_000_000),
            Heading::Unmelted => amount(10_259_000),
            Heading::StocktakeVariance => amount(-259_000),
            _ => amount(0),
        };
    }
    let drawn = flow(&statement, &[(1, 10_000_000)], &now());
    balances(&drawn);
    let found = drawn
        .inlets
        .iter()
        .find(|inlet| inlet.name == "Found at stock-takes")
        .unwrap();
    assert_eq!((found.amount, found.figure.as_str()), (259_000, "2.59 g"));
}

/// A stream that does not run dry says so by itself, on the side where something is missing.
#[test]
fn what_is_not_accounted_for_is_loud() {
    for (inlets, outlets, words, figure) in [
        ([70, 30], [60, 37], "NOT ACCOUNTED FOR", "3 steps"),
        ([60, 37], [70, 30], "CAME FROM NOWHERE", "3 steps"),
    ] {
        let picture = stream(&inlets, &outlets).picture().0;
        let drawn = narrow(&picture);
        assert!(
            drawn.contains(words) && drawn.contains(&format!(">{figure}<")),
            "{drawn}"
        );
        assert!(drawn.contains("class=\"ribbon unexplained\""), "{drawn}");
        assert!(drawn.contains("class=\"name loud\""), "{drawn}");
    }
    let picture = stream(&[70, 30], &[60, 40]).picture().0;
    assert!(!picture.contains("unexplained"), "{picture}");
}

/// What is thinner than a stroke is drawn as a broken line, and then again and again until it is seen as it is.
#[test]
fn what_is_thin_is_drawn_again_until_it_is_seen() {
    let thin = stream(&[1_000_000_000], &[999_987_654, 12_000, 300, 40, 5, 1]);
    balances(&thin);
    let mut seen: Vec<String> = Vec::new();
    let mut now = thin.clone();
    let last = loop {
        let (times, whole) = now.again.unwrap_or((1, 1_000_000_000));
        assert_eq!(whole, 1_000_000_000);
        let (_, left) = now.ribbons(Size::Narrow);
        for (ribbon, outlet) in left.iter().zip(outlets(&now)) {
            let wide = ribbon.to - ribbon.from;
            // As many times as wide as it says, to the last thousandth of a unit.
            let true_width = 104_000 * i128::from(outlet.amount) * i128::from(times) / i128::from(whole);
            assert!(
                (i128::from(wide) - true_width).abs() <= 1,
                "{}: {wide}, {true_width}",
                outlet.name
            );
            if wide >= 1_000 {
                seen.push(outlet.name.clone());
            }
        }
        match now.thin() {
            Some(closer) => {
                balances(&closer);
                assert!(closer.again.unwrap().0 >= 10 * times);
                now = closer;
            }
            None => break times,
        }
    };
    for number in 0..6 {
        assert!(
            seen.contains(&format!("out {number}")),
            "out {number} is never seen: {seen:?}"
        );
    }
    let picture = thin.picture().0;
    assert!(picture.contains("class=\"thin here\""));
    assert!(picture.contains(&format!("{last} times as wide")), "{last}");
}

/// One image with its title and description, in two arrangements whose ids differ; its links are no stops for the keyboard.
#[test]
fn a_picture_is_titled_described_and_an_image() {
    let mut titled = stream(&[3], &[1, 2]);
    titled.rows.push(Row::Mark("halfway".to_owned(), "0".to_owned()));
    assert_eq!(titled.picture().0.matches("role=\"img\"").count(), 2);
    if let Some(Row::Branch(branch)) = titled.rows.first_mut() {
        branch.address = Some("/metal/silver/under/heels".to_owned());
    }
    let picture = titled.picture().0;
    assert_eq!(
        picture.matches("role=\"group\"").count(),
        2,
        "an image has no links within"
    );
    for size in ["narrow", "wide"] {
        let labelled = format!("aria-labelledby=\"s-{size}-title s-{size}-told\"");
        assert_eq!(picture.matches(&labelled).count(), 1);
        assert!(picture.contains(&format!("<title id=\"s-{size}-title\">A stream</title>")));
        assert!(picture.contains(&format!("<desc id=\"s-{size}-told\">It flows.</desc>")));
    }
    assert_eq!(
        picture
            .matches("<a href=\"/metal/silver/under/heels\" tabindex=\"-1\" aria-label=\"out 0: 1 steps\">")
            .count(),
        2
    );
    assert!(!picture.contains("style="));
}

/// Where rows and movements differ, no figure is shown, and the page is loud about it; the other metals still are.
#[test]
fn a_book_that_contradicts_itself_shows_no_figure_of_that_metal() {
    let why = StatementError::Differs {
        metal: Metal::Silver,
        heading: Heading::Heels,
    };
    let page = metal::untold(Metal::Silver, why, &now()).main.0;
    assert!(
        page.contains("class=\"notice grave\"") && page.contains("silver differ under heels"),
        "{page}"
    );
    assert!(!page.contains("<svg") && !page.contains(" g</td>"), "{page}");
    let gold = statement_of(&pourbook::domain::Book::default(), Metal::Gold);
    let overview = metal::overview(&[Err(Metal::Silver), Ok(gold)], &[], false, now())
        .main
        .0;
    assert!(
        overview.contains("The book contradicts itself about silver.") && overview.contains(">Gold</a>"),
        "{overview}"
    );
}

/// A statement whose difference is not zero says so above everything else, whatever the stream shows.
#[test]
fn a_statement_that_does_not_add_up_is_loud() {
    let mut statement = statement_of(&pourbook::domain::Book::default(), Metal::Silver);
    let page = |statement: &Statement| {
        let seen = metal::StatementSeen {
            statement,
            lots: &[],
            looks: &[],
            standing: now(),
        };
        metal::statement(&seen).main.0
    };
    assert!(page(&statement).contains("It adds up."));
    statement.difference.mass = MassDifference::from_units(-1).unwrap();
    let loud = page(&statement);
    assert!(
        loud.contains("role=\"alert\"") && loud.contains("-0.00001 g of silver are not accounted for"),
        "{loud}"
    );
    assert!(!loud.contains("It adds up."));
}
