//! The tour of README.md, typed as it stands there.

use std::path::Path;
use std::process::Command;

const README: &str = include_str!("../../../README.md");

/// The first block of the tour: each `$` line is run by a shell, and prints the lines that stand below it, in that order.
/// What README.md leaves out of an output (how long it took) may stand between.
#[test]
fn the_five_minutes_of_the_readme_are_true() {
    let tour = README.split("## Five minutes").nth(1).unwrap();
    let block = tour.split("```").nth(1).unwrap().trim();
    let folder = tempfile::tempdir().unwrap();
    assert_eq!(is_true(block, folder.path()), 4);
}

#[test]
fn what_the_readme_shows_of_shares_and_recalls_is_true() {
    let shown = README.split("Metal is followed through").nth(1).unwrap();
    let block = shown.split("```").nth(1).unwrap().trim();
    let folder = tempfile::tempdir().unwrap();
    is_true("$ pourbook demo ./demo-book\n", folder.path());
    assert_eq!(is_true(block, folder.path()), 2);
}

/// Runs each command of a block; how many there are.
fn is_true(block: &str, folder: &Path) -> usize {
    let bins = Path::new(env!("CARGO_BIN_EXE_pourbook")).parent().unwrap();
    let path = format!("{}:{}", bins.display(), std::env::var("PATH").unwrap());
    let mut commands = 0;
    for step in block.split("$ ").filter(|step| !step.is_empty()) {
        let (command, wanted) = step.split_once('\n').unwrap();
        let output = Command::new("sh")
            .args(["-c", command])
            .current_dir(folder)
            .env("PATH", &path)
            .output()
            .unwrap();
        let printed = String::from_utf8(output.stdout).unwrap();
        assert!(
            output.status.success(),
            "{command}: {}",
            String::from_utf8_lossy(&output.stderr)
        );
        let mut lines = printed.lines();
        for line in wanted.lines().filter(|line| !line.is_empty()) {
            assert!(
                lines.any(|printed| printed == line),
                "README.md says of `{command}`\n{line}\nbut it prints\n{printed}"
            );
        }
        commands += 1;
    }
    commands
}
