//! The page of what the stock is worth: at cost and at spot, by where it is. What is not known is never shown as nothing.

use super::headings::Place;
use super::{Leaf, Standing, capital};
use crate::accounts::holders::Place as Holding;
use crate::accounts::stock::{Stock, StockLine, Value};
use crate::metal::{Currency, FineMass, Metal, Money, Rounding};
use crate::pages::pictures::{Amount, Pair, Pairs};
use maud::{Markup, html};
use std::collections::BTreeMap;

/// What stands at one place, summed.
struct Group {
    count: usize,
    fine: Option<FineMass>,
    cost: Value,
    spot: Value,
    insurer: Value,
}

const fn place_of(holding: Holding) -> &'static str {
    match holding {
        Holding::Unmelted { .. } => "lots, not melted yet",
        Holding::Heel { .. } => "heels",
        Holding::Crucible { .. } => "in the crucible",
        Holding::Jar { .. } => "in jars",
        Holding::AtRefiner { .. } => "at the refiner",
        Holding::Piece { state, .. } => piece(Place::of_state(state)),
        _ => "elsewhere",
    }
}

const fn piece(place: Place) -> &'static str {
    match place {
        Place::InStock => "pieces in stock",
        Place::GivenUp => "pieces given up, to be melted",
        Place::Archived => "pieces kept, never for sale",
        Place::AtOffice => "pieces at the assay office",
        _ => "pieces in work",
    }
}

fn groups(lines: &[StockLine]) -> Vec<((Metal, &'static str), Group)> {
    let mut order: Vec<(Metal, &'static str)> = Vec::new();
    let mut all: BTreeMap<(Metal, &'static str), Group> = BTreeMap::new();
    for line in lines {
        let key = (line.metal, place_of(line.place));
        if !order.contains(&key) {
            order.push(key);
        }
        let group = all.entry(key).or_insert_with(|| Group {
            count: 0,
            fine: Some(FineMass::ZERO),
            cost: nothing(),
            spot: nothing(),
            insurer: nothing(),
        });
        group.count += 1;
        let fine: Option<FineMass> = line.fine.parse().ok();
        group.fine = group.fine.zip(fine).and_then(|(sum, fine)| sum.checked_add(fine));
        add(&mut group.cost, &line.cost);
        add(&mut group.spot, &line.spot);
        add(&mut group.insurer, &line.insurer);
    }
    order.sort_by_key(|(metal, _)| *metal);
    order
        .into_iter()
        .filter_map(|key| Some((key, all.remove(&key)?)))
        .collect()
}

const fn nothing() -> Value {
    Value {
        known: true,
        amounts: Vec::new(),
    }
}

fn add(sum: &mut Value, value: &Value) {
    sum.known &= value.known;
    for money in &value.amounts {
        let same = sum
            .amounts
            .iter_mut()
            .find(|known| known.currency() == money.currency());
        match same.map(|known| (known.checked_add(*money), known)) {
            Some((Some(more), known)) => *known = more,
            // Beyond what can be written, it is not known.
            Some((None, _)) => sum.known = false,
            None => sum.amounts.push(*money),
        }
    }
}

/// A value in words. What is known in part says so; what is not known at all is no amount.
fn told(value: &Value) -> String {
    let amounts: Vec<String> = value.amounts.iter().map(Money::to_string).collect();
    match (value.known, amounts.is_empty()) {
        (true, true) => "nothing".to_owned(),
        (true, false) => amounts.join(" and "),
        (false, true) => "not known".to_owned(),
        (false, false) => format!("{} and more that is not known", amounts.join(" and ")),
    }
}

/// The one currency of all values; none where there are several, whose bars would not be of one scale.
fn only_currency(stock: &Stock) -> Option<Currency> {
    let sums = [&stock.cost, &stock.spot];
    let mut currencies: Vec<Currency> = sums
        .iter()
        .flat_map(|value| &value.amounts)
        .map(Money::currency)
        .collect();
    currencies.sort();
    currencies.dedup();
    match currencies.as_slice() {
        [only] => Some(*only),
        _ => None,
    }
}

/// Hundredths of the currency, as values are printed.
fn hundredths(value: &Value) -> i128 {
    let money = value.amounts.first().map(|money| {
        let mut amount = money.amount();
        amount.rescale(2);
        amount.mantissa()
    });
    money.unwrap_or(0).max(0)
}

/// The picture of a stock in one currency.
fn picture(stock: &Stock, groups: &[((Metal, &'static str), Group)]) -> Option<Pairs> {
    only_currency(stock)?;
    let amount = |name: &'static str, value: &Value| Amount {
        name,
        figure: told(value),
        value: hundredths(value),
        open: !value.known,
    };
    let pairs = groups.iter().map(|((metal, place), group)| Pair {
        name: format!("{}, {place}", capital(metal.word())),
        amounts: [amount("at cost", &group.cost), amount("at spot", &group.spot)],
    });
    Some(Pairs {
        id: "stock".to_owned(),
        title: "What the stock is worth".to_owned(),
        description: format!(
            "Two bars for each place, at cost and at spot. Together: at cost {}, at spot {}. The table below has every figure.",
            told(&stock.cost),
            told(&stock.spot)
        ),
        pairs: pairs.collect(),
    })
}

/// The page. `notes`: where a spot price is noted, for who may.
#[must_use]
pub fn stock(stock: &Stock, standing: Standing, notes: Option<&str>) -> Leaf {
    let title = "What the stock is worth".to_owned();
    let groups = groups(&stock.lines);
    let main = html! {
        header .plate { h1 { span .name { (title) } } (standing.told("/metal/stock")) }
        section aria-labelledby="together" {
            h2 #together { "Together" }
            dl .label {
                div { dt { "At cost" } dd { strong { (told(&stock.cost)) } } }
                div { dt { "At spot" } dd { strong { (told(&stock.spot)) } } }
                div { dt { "For the insurer" } dd { strong { (told(&stock.insurer)) } p .fine { (stock.rule) } } }
            }
            (spots(stock, &standing))
            @if let Some(path) = notes { p .ways { a .button href=(path) { "Note a spot price" } } }
        }
        section aria-labelledby="places" {
            h2 #places { "By where it is" }
            @match picture(stock, &groups) {
                Some(pairs) if !groups.is_empty() => (pairs.picture()),
                _ if groups.is_empty() => p { "There is no stock." },
                _ => p { "There is no picture: amounts in several currencies, or in none, are not of one scale." },
            }
            @if !groups.is_empty() { (table(stock, &groups)) }
            p .fine { "Customers’ metal is none of it. Work, marks and dies are not in the cost. This is no tax or insurance advice." }
        }
    };
    Leaf::new(title, main)
}

fn spots(stock: &Stock, standing: &Standing) -> Markup {
    html! {
        @if stock.spots.is_empty() {
            p { "No spot price was noted, so nothing is known at spot." }
        } @else {
            p .fine {
                "Spot prices, of a troy ounce: "
                @for (number, spot) in stock.spots.iter().enumerate() {
                    @if number > 0 { "; " }
                    (spot.metal) " " (spot.price) ", of " (standing.moment(spot.priced_at))
                }
                "."
            }
        }
    }
}

fn table(stock: &Stock, groups: &[((Metal, &'static str), Group)]) -> Markup {
    html! {
        div .wide tabindex="0" role="region" aria-label="Stock" {
            table .figures {
                thead { tr {
                    th scope="col" { "Where" } th scope="col" .number { "At cost" } th scope="col" .number { "At spot" }
                    th scope="col" .number { "For the insurer" } th scope="col" .number { "Fine grams" } th scope="col" .number { "Things" }
                } }
                tbody {
                    @for ((metal, place), group) in groups {
                        tr {
                            th scope="row" { (capital(metal.word())) ", " (place) }
                            td .number { (told(&group.cost)) }
                            td .number { (told(&group.spot)) }
                            td .number { (told(&group.insurer)) }
                            td .number { @match group.fine { Some(fine) => (fine.grams(5, Rounding::HalfUp)), None => "not known" } }
                            td .number { (group.count) }
                        }
                    }
                    tr .part {
                        th scope="row" { "Together" }
                        td .number { (told(&stock.cost)) }
                        td .number { (told(&stock.spot)) }
                        td .number { (told(&stock.insurer)) }
                        td {}
                        td .number { (stock.lines.len()) }
                    }
                }
            }
        }
    }
}
