//! The offline check of one piece's proof file, without the server.
fn main() {}
