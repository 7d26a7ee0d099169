//! `verify`: the offline check of one piece's proof file. It needs no server, no network and no book.

use super::Failure;
use crate::check::{Report, Trust, check_piece};
use crate::proof::{Policy, is_thumbprint};
use std::path::PathBuf;

/// Check a piece's proof file against the root key that you trust.
#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:
  pourbook-verify TW-0007-65.proof.json --root kPrK_qmxVWaYVA9wwBF6Iuo3vVzz7TxHCTwXBygrS4k
  pourbook-verify TW-0007-65.proof.json --policy ./policy --json

The thumbprint stands on the workshop's certificates. Take it from there, not from whoever gave you the file.
`pourbook verify` makes the same check.
Exit code: 0 it holds, 1 it does not hold, 2 it cannot be read.
With --json: {\"steps\": [{\"name\", \"checked\", \"holds\", \"found\"}], \"conclusion\": \"holds\", \"does_not_hold\", \"unreadable\" or
\"not_understood\", with \"size\", \"step\", \"why\" or \"what\", \"facts\": {\"serial\", \"pour\", \"weight_grams\" and more}}.")]
pub struct VerifyArguments {
    /// The proof file.
    pub file: PathBuf,
    /// RFC 7638 thumbprint of the root key that you trust.
    #[arg(long, required_unless_present = "policy", value_parser = thumbprint, allow_hyphen_values = true)]
    pub root: Option<String>,
    /// A policy file with a `# root` line.
    #[arg(long)]
    pub policy: Option<PathBuf>,
    /// Print the report as JSON.
    #[arg(long)]
    pub json: bool,
}

/// Holds a typed root against the form of a thumbprint, so that a slip is not taken for a record that does not hold. It may be
/// typed in groups, as certificates print it.
///
/// # Errors
/// What a thumbprint looks like.
pub fn thumbprint(typed: &str) -> Result<String, String> {
    let typed: String = typed.split_whitespace().collect();
    if is_thumbprint(&typed) {
        Ok(typed)
    } else {
        Err(format!(
            "a root thumbprint has 43 characters A-Z a-z 0-9 - _ (RFC 7638), this has {}; compare it with the certificate",
            typed.chars().count()
        ))
    }
}

/// Makes the check and gives what to print, and the exit code.
///
/// # Errors
/// [`Failure`] if a file cannot be read.
pub fn verify(
    arguments: &VerifyArguments,
    read: &dyn Fn(&std::path::Path) -> std::io::Result<Vec<u8>>,
) -> Result<(String, u8), Failure> {
    let load = |path: &PathBuf| {
        read(path).map_err(|error| Failure::unusable(format!("{}: {error}", path.display())))
    };
    let mut policy = None;
    if let Some(path) = &arguments.policy {
        let text = String::from_utf8(load(path)?)
            .map_err(|_| Failure::unusable(format!("{}: a policy is UTF-8 text", path.display())))?;
        let parsed = Policy::parse(&text);
        policy = Some(parsed.map_err(|why| Failure::unusable(format!("{}: {why}", path.display())))?);
    }
    let named = policy.as_ref().and_then(|policy| policy.root.clone());
    let root = match (arguments.root.clone(), named) {
        (Some(root), Some(named)) if root != named => {
            return Err(Failure::unusable(format!(
                "--root says {root}, the policy says {named}"
            )));
        }
        (Some(root), _) | (None, Some(root)) => root,
        (None, None) => {
            return Err(Failure::unusable(
                "the policy has no `# root <thumbprint>` line: give --root",
            ));
        }
    };
    let report = check_piece(&load(&arguments.file)?, &Trust { root, policy });
    let code = report.exit_code();
    Ok((print(&report, arguments.json), code))
}

fn print(report: &Report, json: bool) -> String {
    if json {
        return serde_json::to_string_pretty(report).unwrap_or_default();
    }
    report.to_string()
}
