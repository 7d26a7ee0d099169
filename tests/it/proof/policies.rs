//! Policies (C2SP tlog-policy) of every shape that is written are read back the same.

use pourbook::proof::{NoteSigner, Policy};
use proptest::prelude::*;

fn any_policy() -> impl Strategy<Value = Policy> {
    let url = proptest::option::of("https://[a-z.]{1,20}/[a-z]{0,9}");
    let log = ("[a-z0-9./\u{e9}-]{1,30}", any::<[u8; 32]>(), url)
        .prop_map(|(name, seed, url)| (NoteSigner::new(&name, &seed).unwrap().verifier(), url));
    let root = proptest::option::of("[A-Za-z0-9_-]{43}");
    (root, proptest::collection::vec(log, 0..4)).prop_map(|(root, logs)| Policy { root, logs })
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn a_policy_is_read_as_it_was_written(policy in any_policy()) {
        prop_assert_eq!(Policy::parse(&policy.to_string()), Ok(policy));
    }
}
