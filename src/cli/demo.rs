//! `demo`.
use super::Failure;
/// x
#[derive(Debug, clap::Args)]
pub struct DemoArguments {}
pub(super) fn demo(_: &DemoArguments) -> Result<String, Failure> {
    Ok(String::new())
}
