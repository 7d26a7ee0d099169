//! What holds together, and what does not: published signatures, many of few keys, and what weights are for.

use super::{Signed, hold_together};
use ed25519_dalek::{Signature, Signer as _, SigningKey, VerifyingKey};

/// RFC 8032, section 7.1, tests 1 to 3, from memory: key, message, signature. A slip would fail below, and strictly too.
const PUBLISHED: [(&str, &str, &str); 3] = [
    (
        "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
        "",
        "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b",
    ),
    (
        "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
        "72",
        "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00",
    ),
    (
        "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
        "af82",
        "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984dc6594a7c15e9716ed28dc027beceea1ec40a",
    ),
];

fn bytes(hex: &str) -> Vec<u8> {
    let digits = hex.as_bytes().chunks(2);
    digits
        .map(|pair| u8::from_str_radix(std::str::from_utf8(pair).unwrap(), 16).unwrap())
        .collect()
}

#[test]
fn published_signatures_hold_together_and_not_under_each_others_keys() {
    let keys = PUBLISHED.map(|(key, ..)| VerifyingKey::from_bytes(&bytes(key).try_into().unwrap()).unwrap());
    let messages = PUBLISHED.map(|(_, message, _)| bytes(message));
    let signatures = PUBLISHED.map(|(.., signature)| Signature::from_slice(&bytes(signature)).unwrap());
    let signed = |order: [usize; 3]| -> Vec<Signed<'_>> {
        (0..3)
            .map(|i| Signed {
                message: &messages[i],
                signature: signatures[i],
                key: &keys[order[i]],
            })
            .collect()
    };
    assert!(hold_together(&signed([0, 1, 2])));
    assert!(!hold_together(&signed([0, 2, 1])));
    for (i, key) in keys.iter().enumerate() {
        key.verify_strict(&messages[i], &signatures[i]).unwrap();
    }
}

/// As many as stand in a log: few keys, each of them again and again.
fn many<'a>(keys: &'a [(SigningKey, VerifyingKey)], messages: &'a [String]) -> Vec<Signed<'a>> {
    messages
        .iter()
        .zip(keys.iter().cycle())
        .map(|(message, (secret, key))| Signed {
            message: message.as_bytes(),
            signature: secret.sign(message.as_bytes()),
            key,
        })
        .collect()
}

#[test]
fn whatever_is_changed_of_one_among_many_they_hold_together_no_more() {
    let keys = [1, 2, 3].map(|seed| SigningKey::from_bytes(&[seed; 32]));
    let keys = keys.map(|key| (key.clone(), key.verifying_key()));
    let messages: Vec<String> = (0..600).map(|n| format!("poured {n}")).collect();
    let whole = many(&keys, &messages);
    // Both ways of adding up points: of some, and of several hundred.
    for count in [0, 1, 2, 40, 600] {
        assert!(hold_together(&whole[..count]), "{count}");
    }
    for at in [0, 299, 599] {
        let one = &whole[at];
        let (r, s) = (*one.signature.r_bytes(), *one.signature.s_bytes());
        let holds_with = |other: Signed<'_>| {
            let mut spoilt = whole.clone();
            spoilt[at] = other;
            hold_together(&spoilt)
        };
        let signed = |signature| Signed {
            signature,
            ..one.clone()
        };
        let message = b"poured once more";
        let key = &keys[(at + 1) % 3].1;
        assert!(holds_with(one.clone()));
        assert!(
            !holds_with(Signed {
                message,
                ..one.clone()
            }),
            "message {at}"
        );
        assert!(!holds_with(Signed { key, ..one.clone() }), "key {at}");
        assert!(
            !holds_with(signed(whole[(at + 3) % 600].signature)),
            "another's {at}"
        );
        for bit in 0..8 {
            let flipped = |mut half: [u8; 32]| {
                half[5] ^= 1 << bit;
                half
            };
            assert!(
                !holds_with(signed(Signature::from_components(flipped(r), s))),
                "R {at}"
            );
            assert!(
                !holds_with(signed(Signature::from_components(r, flipped(s)))),
                "s {at}"
            );
        }
    }
}

#[test]
fn two_wrongs_make_no_right_and_s_has_one_spelling() {
    let secret = SigningKey::from_bytes(&[4; 32]);
    let key = secret.verifying_key();
    let messages = ["gold".to_owned(), "silver".to_owned()];
    let pair = [(secret, key)];
    let signed = many(&pair, &messages);
    // Without weights, s could go from one signature to the other: the sum would be the same.
    let crossed: Vec<Signed<'_>> = signed
        .iter()
        .zip(signed.iter().rev())
        .map(|(one, other)| Signed {
            signature: Signature::from_components(*one.signature.r_bytes(), *other.signature.s_bytes()),
            ..one.clone()
        })
        .collect();
    assert!(hold_together(&signed) && !hold_together(&crossed));
    // RFC 8032, section 5.1.7: s is below the order of the group. This is the order, little-endian (5.1), added to s.
    let order = bytes("edd3f55c1a631258d69cf7a2def9de1400000000000000000000000000000010");
    let mut s = *signed[0].signature.s_bytes();
    let mut carry = 0;
    for (byte, add) in s.iter_mut().zip(order) {
        let sum = u16::from(*byte) + u16::from(add) + carry;
        *byte = sum.to_le_bytes()[0];
        carry = sum >> 8;
    }
    let mut long = signed.clone();
    long[0].signature = Signature::from_components(*signed[0].signature.r_bytes(), s);
    assert!(!hold_together(&long));
}
