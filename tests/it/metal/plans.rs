//! How many to pour: known and recorded yields, several shapes, the metal to have ready, the weight to aim at.

use pourbook::metal::Mass;
use pourbook::metal::plan::{
    POURS_MAX, Prior, Quota, Window, Yield, chance, chance_at_most, grain, next_cavities, pours,
    pours_together, shared,
};
use pourbook::metal::probability::Probability;
use proptest::prelude::*;

fn mass(text: &str) -> Mass {
    Mass::parse(text).unwrap()
}

fn p(text: &str) -> Probability {
    text.parse().unwrap()
}

fn known(wanted: u32, share: &str) -> Quota {
    let yields = Yield::known(p(share)).unwrap();
    Quota { wanted, yields }
}

fn recorded(wanted: u32, good: u32, poured: u32) -> Quota {
    let yields = Yield::recorded(good, poured, Prior::UNIFORM).unwrap();
    Quota { wanted, yields }
}

#[track_caller]
fn near(found: Probability, wanted: f64, within: f64) {
    let found = found.value();
    assert!((found - wanted).abs() <= within, "{found}, not {wanted}");
}

#[test]
fn the_pours_for_a_known_yield() {
    // Computed with scipy.stats: r + nbinom.ppf(c, r, p), and binom.sf(r - 1, n, p).
    for (wanted, share, confidence, number) in [
        (36, "0.70", "0.50", 51),
        (36, "0.70", "0.80", 55),
        (36, "0.70", "0.90", 58),
        (36, "0.70", "0.95", 60),
        (36, "0.70", "0.99", 64),
        (10, "0.62", "0.95", 22),
        (12, "0.70", "0.95", 22),
    ] {
        assert_eq!(
            pours(known(wanted, share), p(confidence)),
            Some(number),
            "{wanted} at {confidence}"
        );
    }
    for (number, wanted, within) in [
        (60, 0.96376, 0.000_005),
        (59, 0.94756, 0.000_005),
        (48, 0.2796, 0.000_05),
        (51, 0.5325, 0.000_05),
        (54, 0.7559, 0.000_05),
        (57, 0.8966, 0.000_05),
    ] {
        near(chance(known(36, "0.70"), number), wanted, within);
    }
}

#[test]
fn the_pours_for_a_yield_that_is_only_recorded() {
    // Computed with scipy.stats.betabinom: 13 good of 18 and a uniform prior are Beta(14, 6).
    assert_eq!(pours(recorded(36, 13, 18), p("0.95")), Some(71));
    near(chance(recorded(36, 13, 18), 71), 0.95076, 0.000_005);
    near(chance(recorded(36, 13, 18), 70), 0.94466, 0.000_005);
    assert_eq!(pours(recorded(36, 40, 56), p("0.95")), Some(63), "Beta(41, 17)");
    // Nothing recorded and a uniform prior: of n pours every count is as likely as another, so the chance is
    // (n + 1 - r) / (n + 1), which is the rule of succession.
    near(chance(recorded(5, 0, 0), 19), 0.75, 1e-12);
    assert_eq!(pours(recorded(5, 0, 0), p("0.75")), Some(19));
    // A prior that is told instead.
    let told = Yield::recorded(0, 0, "14:6".parse().unwrap()).unwrap();
    assert_eq!(
        pours(
            Quota {
                wanted: 36,
                yields: told
            },
            p("0.95")
        ),
        Some(71)
    );
}

#[test]
fn three_shapes_are_three_quotas() {
    // Computed with scipy.stats: binom.sf(11, n, 0.7) cubed.
    let three = [known(12, "0.70"); 3];
    for (each, wanted) in [(18, 0.3759), (20, 0.6971), (22, 0.8882), (23, 0.9370)] {
        let blind: f64 = three.iter().map(|quota| chance(*quota, each).value()).product();
        assert!((blind - wanted).abs() < 0.000_05, "{each}: {blind}");
        let shared = shared(&three, 3 * each).unwrap();
        assert_eq!(shared.pours, [each; 3]);
        near(shared.chance, wanted, 0.000_05);
    }
    let plan = pours_together(&three, p("0.95")).unwrap();
    let total: u32 = plan.pours.iter().sum();
    assert!(
        plan.chance.value() >= 0.95 && total > 66 && total <= 72,
        "{plan:?}"
    );
    // One pour fewer would not do, however it is shared out.
    assert!(shared(&three, total - 1).unwrap().chance.value() < 0.95);
    assert_eq!(shared(&three, 35), None, "fewer than are wanted");
    // Poured just until it is full, each shape, the 36 need the pours of one quota of 36.
    near(chance_at_most(&three, 60), 0.96376, 0.000_005);
    near(chance_at_most(&three, 59), 0.94756, 0.000_005);
    near(chance_at_most(&three, 35), 0.0, 0.0);
}

#[test]
fn the_next_cavities_go_to_the_shape_that_lacks_most() {
    assert_eq!(next_cavities(&[5, 3, 1], 3), [3, 0, 0]);
    assert_eq!(next_cavities(&[5, 3, 1], 6), [4, 2, 0]);
    assert_eq!(next_cavities(&[2, 2], 3), [2, 1]);
    assert_eq!(
        next_cavities(&[1, 0], 9),
        [1, 0],
        "no cavity is filled for nothing"
    );
    assert_eq!(next_cavities(&[], 9), [0; 0]);
    // Fewer are wanted of the shape that fails more often, and still it comes first: its chance is what counts.
    let plan = pours_together(&[known(6, "0.90"), known(5, "0.40")], p("0.95")).unwrap();
    let next = next_cavities(&plan.pours, 6);
    assert!(
        plan.pours[1] > plan.pours[0] && next[1] > next[0],
        "{plan:?} {next:?}"
    );
}

#[test]
fn what_can_never_be_filled_is_refused() {
    assert_eq!(Yield::known(p("0")), None);
    assert_eq!(Yield::recorded(3, 2, Prior::UNIFORM), None);
    assert_eq!(pours(known(1000, "0.000001"), p("0.95")), None);
    assert_eq!(pours_together(&[known(1000, "0.01")], p("0.95")), None);
    assert_eq!(pours_together(&[known(POURS_MAX + 1, "1")], p("0.95")), None);
    assert_eq!(pours(known(0, "0.5"), p("0.95")), Some(0));
    assert_eq!(pours(known(9, "1"), p("0.95")), Some(9));
    assert_eq!(pours_together(&[], p("0.95")).unwrap().pours, [0; 0]);
    for text in ["1", "0:1", "1:0", "1:-1", "1:1:1", "a:b", "1:1e3", "1:1000001"] {
        assert!(text.parse::<Prior>().is_err(), "{text}");
    }
}

#[test]
fn the_metal_to_have_ready_is_exact_and_never_too_little() {
    // (60 x 50.60 + 300) / (1 - 0.0009) = 3336 / 0.9991 = 3339.00510459…
    assert_eq!(
        grain(&[(60, mass("50.60"))], mass("300"), 900),
        Some(mass("3339.00511"))
    );
    assert_eq!(
        grain(&[(2, mass("1")), (3, mass("2"))], Mass::ZERO, 0),
        Some(mass("8"))
    );
    assert_eq!(grain(&[(1, mass("1"))], Mass::ZERO, 500_000), Some(mass("2")));
    assert_eq!(grain(&[(1, mass("1"))], Mass::ZERO, 1_000_000), None);
    assert_eq!(grain(&[(1, mass("1"))], Mass::ZERO, 2_000_000), None);
    assert_eq!(grain(&[(u32::MAX, Mass::MAX)], Mass::ZERO, 0), None);
    assert_eq!(grain(&[(1, Mass::MAX)], Mass::ZERO, 1), None);
}

#[test]
fn the_yield_that_a_spread_leaves() {
    // Computed with scipy.stats.norm: limits 100 and 102, aim 101.
    let limits = Window::of(mass("100"), mass("102"), Mass::ZERO).unwrap();
    assert_eq!(limits.best_aim(), mass("101"));
    for (sd, share) in [(0.5, 0.954), (0.7, 0.847), (0.9, 0.733), (1.2, 0.595)] {
        near(limits.yields(mass("101"), sd).unwrap(), share, 0.000_5);
    }
    // The guard band of 0.03 g at both ends costs some 1.5 % of pours at a deviation of 0.9 g.
    let guarded = Window::of(mass("100"), mass("102"), mass("0.03")).unwrap();
    let cost =
        limits.yields(mass("101"), 0.9).unwrap().value() - guarded.yields(mass("101"), 0.9).unwrap().value();
    assert!((cost - 0.015).abs() < 0.001, "{cost}");
    assert_eq!(Window::of(mass("100"), mass("102"), mass("1")), None);
    assert_eq!(Window::of(mass("100"), mass("102"), mass("102.5")), None);
    for sd in [0.0, -1.0, f64::NAN, f64::INFINITY] {
        assert_eq!(limits.yields(mass("101"), sd), None);
    }
}

fn any_yield() -> impl Strategy<Value = Yield> {
    prop_oneof![
        (0_u32..=1_000_000_000).prop_map(|share| {
            Yield::known(Probability::new(f64::from(share.max(1)) / 1e9).unwrap()).unwrap()
        }),
        (0_u32..200, 0_u32..200)
            .prop_map(|(good, bad)| { Yield::recorded(good, good + bad, Prior::UNIFORM).unwrap() }),
    ]
}

/// The chance by its definition: the sum over all counts of good ones, each probability a product of single pours.
fn by_definition(quota: Quota, pours: u32, good: f64, bad: f64) -> f64 {
    // ways[g] is the probability of g good ones; the next pour is good with (good + g) / (good + bad + n).
    let mut ways = vec![1.0];
    for n in 0..pours {
        let mut next = vec![0.0; ways.len() + 1];
        for (g, way) in ways.iter().enumerate() {
            let share = (good + g as f64) / (good + bad + f64::from(n));
            next[g + 1] += way * share;
            next[g] += way * (1.0 - share);
        }
        ways = next;
    }
    ways.iter().skip(quota.wanted as usize).sum()
}

proptest! {
    #[test]
    fn a_recorded_yield_is_an_urn(good in 0_u32..30, bad in 0_u32..30, wanted in 0_u32..20, more in 0_u32..20) {
        let quota = recorded(wanted, good, good + bad);
        let urn = by_definition(quota, wanted + more, f64::from(good) + 1.0, f64::from(bad) + 1.0);
        let found = chance(quota, wanted + more).value();
        prop_assert!((found - urn).abs() < 1e-10, "{found} {urn}");
    }

    #[test]
    fn a_plan_is_enough_and_never_wild(
        quotas in proptest::collection::vec((0_u32..40, any_yield()), 0..4),
        confidence in 1_u32..999,
    ) {
        let quotas: Vec<Quota> = quotas.into_iter().map(|(wanted, yields)| Quota { wanted, yields }).collect();
        let confidence = Probability::new(f64::from(confidence) / 1000.0).unwrap();
        let Some(plan) = pours_together(&quotas, confidence) else { return Ok(()); };
        let product: f64 = quotas.iter().zip(&plan.pours).map(|(quota, n)| chance(*quota, *n).value()).product();
        prop_assert!((product - plan.chance.value()).abs() < 1e-9);
        prop_assert!(plan.chance.value() + 1e-9 >= confidence.value());
        let total: u32 = plan.pours.iter().sum();
        for (quota, n) in quotas.iter().zip(&plan.pours) {
            prop_assert!(*n >= quota.wanted);
        }
        if total <= 400 {
            let most = chance_at_most(&quotas, total).value();
            prop_assert!(most + 1e-9 >= plan.chance.value(), "{most} {}", plan.chance.value());
        }
    }

    #[test]
    fn one_more_pour_never_lowers_a_chance(wanted in 0_u32..300, n in 0_u32..600, yields in any_yield()) {
        let quota = Quota { wanted, yields };
        let (now, next) = (chance(quota, n).value(), chance(quota, n + 1).value());
        prop_assert!(now.is_finite() && (0.0..=1.0).contains(&next) && next >= now);
        if n < wanted {
            prop_assert_eq!(now, 0.0);
        }
    }

    #[test]
    fn no_other_aim_has_a_greater_yield(
        lower in 1_i64..1_000_000, width in 3_i64..1_000_000, sd in 0.001_f64..10.0, off in -500_000_i64..500_000,
    ) {
        let units = |units: i64| Mass::from_units(units).unwrap();
        let window = Window::of(units(lower), units(lower + width), Mass::ZERO).unwrap();
        let best = window.best_aim();
        let other = units((best.units() + off).max(0));
        let at = |mean: Mass| window.yields(mean, sd).unwrap().value();
        // An odd width has its middle between two steps, so the two are alike to a hair.
        prop_assert!(at(other) <= at(best) + 1e-6, "{} {}", at(other), at(best));
    }
}
