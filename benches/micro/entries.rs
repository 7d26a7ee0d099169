//! One entry, that of a tray of one piece: sealed, read, verified, hashed.

use super::ORIGIN;
use super::books::Grown;
use criterion::Criterion;
use pourbook::domain::*;
use pourbook::log::Store;
use pourbook::proof::{leaf_hash, node_hash};
use pourbook::record::{Signer, Unsealed, read, seal, verify_batch, verify_signature};
use std::hint::black_box;

/// Signatures of a batch.
const BATCH: usize = 512;

pub fn steps(criterion: &mut Criterion, grown: &mut Grown) {
    let index = grown.at_the_desk(|shop| {
        let piece = shop.pour(1)[0];
        let weighing = shop.weighing(piece);
        let submission = shop.submission(weighing);
        shop.turn(vec![submission])[0].index
    });
    let bytes = grown.reader().store().read(index).unwrap().unwrap();
    let entry = read(&bytes).unwrap();
    let drafts: Vec<Draft> = entry
        .events()
        .map(|event| Draft {
            event: event.clone(),
            private: Private::default(),
        })
        .collect();
    let signer = Signer::from_seed(&[2; 32]);
    let sealed_with = signer.public();
    let unsealed = Unsealed {
        iss: ORIGIN,
        jti: entry.payload.jti,
        iat: entry.payload.iat,
        by: entry.payload.by,
        at: None,
        keys: entry.payload.keys,
        drafts: &drafts,
        prev: entry.payload.prev.clone(),
    };
    let mut draw = Draw::new([1; 32]);
    let sealed = seal(&unsealed, &signer, &mut draw).unwrap().entry;
    let says = |step: &str| format!("{step}, an entry of {} bytes", sealed.len());
    criterion.bench_function(&says("seal"), |b| {
        b.iter(|| seal(&unsealed, &signer, &mut draw).unwrap())
    });
    criterion.bench_function(&says("read"), |b| b.iter(|| read(black_box(&sealed)).unwrap()));
    criterion.bench_function(&says("verify"), |b| {
        b.iter(|| verify_signature(black_box(&sealed), &sealed_with).unwrap());
    });
    let many = vec![(&*sealed, &sealed_with); BATCH];
    criterion.bench_function(&says(&format!("verify a batch of {BATCH}")), |b| {
        b.iter(|| verify_batch(black_box(&many)).unwrap());
    });
    criterion.bench_function(&says("leaf"), |b| b.iter(|| leaf_hash(black_box(&sealed))));
    let leaf = leaf_hash(&sealed);
    criterion.bench_function("node of a tree", |b| {
        b.iter(|| node_hash(black_box(&leaf), &leaf))
    });
}
