//! Makes wrong inputs of right ones: the same for the same seed.

/// Bytes that readers treat apart.
const ODD: [&[u8]; 24] = [
    b"0",
    b"-",
    b"+",
    b".",
    b",",
    b"e9",
    b"\"",
    b"\\",
    b"{",
    b"}",
    b"[",
    b"]",
    b":",
    b"\n",
    b"\r\n",
    b" ",
    b"\0",
    b"\xff",
    b"\xc3\xa9",
    b"=",
    b"/",
    b"~",
    b"18446744073709551616",
    b"\\u0000",
];

/// A mutator with its chance (splitmix64).
pub struct Mutator(u64);

impl Mutator {
    /// Begins anew for a seed and a target.
    pub fn new(seed: u64, target: &str) -> Self {
        let mixed = target.bytes().fold(seed, |mixed, byte| {
            mixed.wrapping_mul(0x100_0000_01b3) ^ u64::from(byte)
        });
        Self(mixed)
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    }

    fn below(&mut self, bound: usize) -> usize {
        (self.next() % bound.max(1) as u64) as usize
    }

    /// One input: a seed, changed in one to eight places.
    pub fn input(&mut self, seeds: &[Vec<u8>]) -> Vec<u8> {
        let mut input = seeds[self.below(seeds.len())].clone();
        for _ in 0..=self.below(8) {
            self.change(&mut input, seeds);
        }
        input
    }

    fn change(&mut self, input: &mut Vec<u8>, seeds: &[Vec<u8>]) {
        let at = self.below(input.len() + 1);
        let end = (at + self.below(1 + input.len() / 4)).min(input.len());
        match self.below(9) {
            0 if at < input.len() => input[at] ^= 1 << self.below(8),
            1 if at < input.len() => input[at] = self.next() as u8,
            2 => drop(input.drain(at..end)),
            3 => input.truncate(at),
            4 => {
                let odd = ODD[self.below(ODD.len())];
                input.splice(at..at, odd.iter().copied());
            }
            5 if at < input.len() => {
                let odd = ODD[self.below(ODD.len())];
                input.splice(at..at + 1, odd.iter().copied());
            }
            // A part twice, up to long ones: nesting and lengths.
            6 => {
                let part = input[at..end].to_vec();
                for _ in 0..=self.below(12) {
                    if input.len() < 200_000 {
                        input.splice(at..at, part.iter().copied());
                    }
                }
            }
            // A part of another seed.
            7 => {
                let other = &seeds[self.below(seeds.len())];
                let from = self.below(other.len() + 1);
                let to = (from + self.below(1 + other.len() / 2)).min(other.len());
                input.splice(at..end, other[from..to].iter().copied());
            }
            _ if at < input.len() && input[at].is_ascii_digit() => input[at] = b'0' + self.below(10) as u8,
            _ => {}
        }
    }
}
